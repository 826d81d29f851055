"""CSV with shapes as text, as a GIS, its clipboard and a database write it."""

import csv
import json

import openpyxl
import pyogrio
import pyproj
import pytest
import shapely

from geosand.areas.ellipsoid import ellipsoid_areas_m2
from geosand.errors import Refused
from geosand.formats.boundaries import Choice, read_boundaries
from geosand.formats.boundaries.files.wkt_tables import holds_shapes, read_wkt_table
from geosand.formats.boundaries.sites.settling import settle
from tests.formats.boundaries.conftest import UTM, blob, to_lon_lat


def areas_of(found):
    areas = ellipsoid_areas_m2(found.features.geometry)
    return dict(zip(found.features.id.tolist(), areas.tolist(), strict=True))


def truth(course):
    shapes = [to_lon_lat(shape) for *_, shape in course]
    areas = ellipsoid_areas_m2(shapely.from_wkb(shapely.to_wkb(shapes)))
    return dict(zip([row[0] for row in course], areas.tolist(), strict=True))


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
@pytest.mark.parametrize("head", ["WKT", "wkt_geom", "geometry"])
def test_any_separator_and_head(course, tmp_path, separator, head):
    lines = [separator.join([head, "id", "kind"])]
    lines += [separator.join([f'"{g.wkt}"', i, k]) for i, _, k, g in course]
    (tmp_path / "s.csv").write_text("\n".join(lines), encoding="utf-8")
    found = read_boundaries(tmp_path / "s.csv", crs=UTM)
    assert areas_of(found) == pytest.approx(truth(course), rel=3e-7)
    assert found.features.kind.tolist() == [row[2] for row in course]
    with pytest.raises(Refused, match="does not say in which coordinate reference system"):
        read_boundaries(tmp_path / "s.csv")


def test_as_gdal_writes_it_with_a_prj_beside(course, tmp_path):
    import geopandas

    frame = geopandas.GeoDataFrame(
        {"id": [r[0] for r in course], "kind": [r[2] for r in course]},
        geometry=[r[3] for r in course],
        crs=UTM,
    )
    pyogrio.write_dataframe(frame, tmp_path / "s.csv", driver="CSV", GEOMETRY="AS_WKT")
    (tmp_path / "s.prj").write_text(pyproj.CRS(UTM).to_wkt("WKT1_ESRI"))
    assert areas_of(read_boundaries(tmp_path / "s.csv")) == pytest.approx(truth(course), rel=3e-7)
    (tmp_path / "s.prj").write_text("+init=/etc/passwd:1")  # nothing but WKT is taken from it
    with pytest.raises(Refused, match="does not say in which coordinate reference system"):
        read_boundaries(tmp_path / "s.csv")


def test_the_code_of_a_database_and_long_outlines(course, tmp_path):
    rows = [(i, k, g) for i, _, k, g in course]
    rows.append(("long", "lawn", blob(0, 300, 30, corners=9000)))  # over 131,072 signs
    lines = [f'{i},{k},"SRID=25832;{g.wkt}"' for i, k, g in rows]
    (tmp_path / "s.csv").write_text("\n".join(["id,kind,geom", *lines]), encoding="utf-8")
    found = read_boundaries(tmp_path / "s.csv")
    assert found.source_crs == UTM
    assert areas_of(found) == pytest.approx(truth([(i, "", k, g) for i, k, g in rows]), rel=3e-7)


def test_a_row_that_is_no_shape_costs_itself_and_is_asked_about(tmp_path):
    rows = [
        'a;"POLYGON ((560000 5906000,560020 5906000,560020 5906020))"',
        'b;"POLYGON ((560030 5906000,oops"',
        "c;",
        "d;CURVEPOLYGON(CIRCULARSTRING(1 0,0 1,-1 0,0 -1,1 0))",
        "e;POLYGON EMPTY",
        'f;"POLYGON ((inf 5906000,560020 5906000,560020 5906020,inf 5906000))"',
        'g;"POLYGON Z ((560050 5906000 5,560070 5906000 5,560070 5906020 5,560050 5906000 5))"',
    ]
    (tmp_path / "s.csv").write_text("\n".join(["id;wkt", *rows]), encoding="utf-8")
    found = read_boundaries(tmp_path / "s.csv", crs=UTM, kind="tee")
    assert found.features.id.tolist() == ["a", "g"]
    assert found.features.elevation_m[1] == 5
    assert [(item.place, item.reason, item.lost) for item in found.tally.left_out] == [
        ("row 3", "its WKT can not be read ('POLYGON ((560030 5906000,oops')", True),
        ("row 4", "it has no geometry", False),
        ("row 5", "it has arcs (CURVEPOLYGON): export it as GeoPackage", True),
        ("row 6", "it is empty", False),
        ("row 7", "a coordinate is not finite", True),
    ]
    assert any(
        "1 outline does not return to the first corner (row 2" in f.text for f in found.findings
    )
    assert len(settle(found, Choice()).faults) == 3


def test_only_a_table_with_such_a_head_and_a_shape_is_read_so():
    assert holds_shapes(b"id;GEOM\r\n1;Polygon Z((0 0 0))")
    assert not holds_shapes(b"P,N,E,geom\n1,5906000,560000,green")
    assert not holds_shapes(b"P,N,E,geometer\n1,5906000,560000,polygon (1)")


@pytest.mark.parametrize(
    "table",
    [
        'id,kind,shape,wkt\ng1,green,round,"{}"\n',
        'id,kind,geom,wkt\ng1,green,0103000000,"{}"\n',
        'id,kind,"wkt","note"\ng1,green,"{}",none\n',
    ],
)
def test_the_column_of_shapes_is_the_one_that_holds_some(tmp_path, table):
    square = "POLYGON ((2 51, 2.0002 51, 2.0002 51.0002, 2 51.0002, 2 51))"
    path = tmp_path / "a.csv"
    path.write_text(table.format(square))
    assert holds_shapes(path.read_bytes())
    (layer,) = read_wkt_table(path, "a.csv")
    assert layer.drawn[0].geometry.wkt == square
    assert layer.drawn[0].attributes["id"] == "g1"


@pytest.mark.parametrize("head", ["parcel geometry", "geom_wkt", "WktGeometry", "Umriss"])
def test_areas_tell_a_table_of_shapes_whatever_its_head(head):
    """Without a head the first outline would be taken for one: such stay what they are."""
    row = b'"POLYGON ((0 0, 1 0, 1 1, 0 0))",a\n'
    assert holds_shapes(head.encode() + b",id\n" + row)
    assert not holds_shapes(b"1," + row + b"2," + row)


@pytest.mark.parametrize("with_code", [True, False])
def test_binary_in_hex_as_a_database_copies_it_out(course, tmp_path, with_code):
    shapes = shapely.set_srid([g for *_, g in course], 25832)
    texts = shapely.to_wkb(shapes, hex=True, include_srid=with_code)
    lines = [
        "id,kind,geom",
        *(f"{row[0]},{row[2]},{t}" for row, t in zip(course, texts, strict=True)),
    ]
    (tmp_path / "s.csv").write_text("\n".join(lines), encoding="utf-8")
    found = read_boundaries(tmp_path / "s.csv", crs=None if with_code else UTM)
    assert areas_of(found) == pytest.approx(truth(course), rel=3e-7)
    assert found.source_crs == UTM


def test_points_and_shapes_in_a_workbook(course, tmp_path):
    book = openpyxl.Workbook()
    book.active.append(["Handed over on 2 April"])
    shapes = book.create_sheet("Shapes")
    shapes.append(["id", "kind", "wkt"])
    for row in course:
        shapes.append([row[0], row[2], row[3].wkt])
    points = book.create_sheet("Points")
    points.append(["Point", "Easting\n(m)", "Northing\n(m)", "Code"])
    for k, (x, y) in enumerate([(0, 0), (20, 0), (20, 30), (0, 30)]):
        points.append([k, 560300.25 + x, 5906000.5 + y, "TEE" + " CL" * (k == 3)])
    sums = book.create_sheet("Sums")  # numbers, but no places
    sums.append(["Greens", "Tees"])
    sums.append([9000, 4000])
    book.save(tmp_path / "survey.xlsx")
    found = read_boundaries(tmp_path / "survey.xlsx", crs=UTM)
    areas = areas_of(found)
    # of UTM's 0.9996 at its middle: 600 / scale², here within 0.04 %
    assert areas.pop("points-tee") == pytest.approx(600, rel=8e-4)
    assert areas == pytest.approx(truth(course), rel=3e-7)
    assert any(
        "not read from the archive: sheet Sheet, sheet Sums" in f.text for f in found.findings
    )


@pytest.mark.parametrize("name", ["course.wkt", "course.txt"])
@pytest.mark.parametrize("joint", ["\n", ",\n", "; "])
def test_a_text_of_nothing_but_shapes(course, tmp_path, name, joint):
    """Shapes over several lines, one with a code of its CRS, a hole and parts among them."""
    shapes = [shape.wkt.replace(", ", ",\n  ") for *_, shape in course]
    code = "SRID=25832;" if joint == "\n" else ""
    (tmp_path / name).write_text(joint.join(code + text for text in shapes))
    found = read_boundaries(tmp_path / name, crs=None if code else UTM)
    areas = list(areas_of(found).values())
    assert areas == pytest.approx(list(truth(course).values()), rel=3e-7)


def test_points_and_lines_between_shapes_take_none_of_them_along(course, tmp_path):
    first, second = (shape for *_, shape in list(course)[:2])
    line = "LINESTRING (560000 5906000, 560001 5906001)"
    (tmp_path / "a.wkt").write_text(
        "\n".join([first.wkt, "POINT (560000 5906000)", line, second.wkt])
    )
    areas = list(areas_of(read_boundaries(tmp_path / "a.wkt", crs=UTM)).values())
    assert areas == pytest.approx(list(truth(course).values())[:2], rel=3e-7)


def test_the_class_in_words_goes_before_its_code(tmp_path):
    """Extracts of the open map community have fclass, in words, behind a code of numbers."""
    lines = ["wkt\tosm_id\tcode\tfclass", f"{to_lon_lat(blob(0, 0, 13)).wkt}\t7\t2253\tpitch"]
    (tmp_path / "a.csv").write_text("\n".join(lines))
    assert read_boundaries(tmp_path / "a.csv", crs="EPSG:4326").features.kind.tolist() == ["pitch"]


@pytest.mark.parametrize(
    "head", ["FeatureType", "FEATURETYP", "feature_ty", "FeatType", "Surf Type"]
)
def test_the_column_of_kinds_is_known_however_its_words_are_parted(tmp_path, head):
    """A Shapefile keeps ten letters of a head (ESRI Shapefile Technical Description, dBASE)."""
    head = head.replace("Surf", "Surface")
    lines = [f"wkt\t{head}", f"{to_lon_lat(blob(0, 0, 13)).wkt}\tGRN"]
    (tmp_path / "a.csv").write_text("\n".join(lines))
    assert read_boundaries(tmp_path / "a.csv", crs="EPSG:4326").features.kind.tolist() == ["green"]


@pytest.mark.parametrize("heads", ["TYPE\ttype_", "type_\tTYPE"])
def test_of_two_heads_that_are_alike_the_usual_one_counts(tmp_path, heads):
    values = {"TYPE": "green", "type_": "tee"}
    row = "\t".join(values[head] for head in heads.split("\t"))
    path = tmp_path / "a.csv"
    path.write_text(f"wkt\t{heads}\n{to_lon_lat(blob(0, 0, 13)).wkt}\t{row}")
    assert read_boundaries(path, crs="EPSG:4326").features.kind.tolist() == ["green"]


def test_a_table_between_upright_strokes_needs_no_quotes(course, tmp_path):
    """As a database's console prints it; a kind is quoted, and holds a comma."""
    lines = ["id|note|wkt", *(f'{i}|"{k}, mown"|{g.wkt}' for i, _, k, g in course)]
    (tmp_path / "s.csv").write_text("\r\n".join(lines), encoding="utf-8")
    found = read_boundaries(tmp_path / "s.csv", crs=UTM, kind="green")
    assert areas_of(found) == pytest.approx(truth(course), rel=3e-7)
    assert found.features.attributes[3]["note"] == "fairway, mown"
    for encoding in ("utf-8-sig", "utf-16"):
        text = "\n".join(["id|name|wkt", *(f'{i}|"{n}"|{g.wkt}' for i, n, _, g in course)])
        (tmp_path / "s.csv").write_text(text.replace("id|", '"id"|', 1), encoding=encoding)
        found = read_boundaries(tmp_path / "s.csv", crs=UTM, kind="green")
        assert found.features.id.tolist() == [row[0] for row in course]


def test_a_quote_that_is_never_closed_swallows_no_rows_between_upright_strokes(course, tmp_path):
    lines = ["id|name|wkt", *(f"{i}|{n}|{g.wkt}" for i, n, _, g in course)]
    lines[2] = lines[2].replace("|", '|"', 1)
    (tmp_path / "s.csv").write_text("\n".join(lines), encoding="utf-8")
    with pytest.raises(Refused, match="row 3: is not CSV: a quote that begins there is never clos"):
        read_boundaries(tmp_path / "s.csv", crs=UTM)


@pytest.mark.parametrize("head", ["Geo Shape", "geometry", "geojson"])
@pytest.mark.parametrize("turned", [False, True])  # which of its members comes first
def test_geojson_in_a_column_as_open_data_portals_write_it(course, tmp_path, head, turned):
    with (tmp_path / "s.csv").open("w", newline="", encoding="utf-8") as file:
        rows = csv.writer(file, delimiter=";")
        rows.writerow(["id", "kind", head, "geo_point_2d"])
        for ident, _, kind, shape in course:
            cell = json.loads(shapely.to_geojson(to_lon_lat(shape)))
            cell = dict(reversed(cell.items())) if turned else cell
            rows.writerow([ident, kind, json.dumps(cell), "53.3, 9.9"])
        rows.writerow(["x", "tee", '{"type": "Polygon", "coordinates": [[[1, 2]', ""])
        rows.writerow(["y", "tee", '{"type": "Polygon", "coordinates": [[["a", "b"]]]}', ""])
    found = read_boundaries(tmp_path / "s.csv")
    assert areas_of(found) == pytest.approx(truth(course), rel=3e-7)
    assert found.features.kind.tolist() == [row[2] for row in course]
    assert [(item.place, item.reason) for item in found.tally.left_out] == [
        ("row 6", 'its GeoJSON can not be read (\'{"type": "Polygon", "coordinat\')'),
        ("row 7", "its coordinates hold text"),
    ]


def test_geojson_of_a_grid_in_a_column_takes_the_crs_that_is_said(course, tmp_path):
    lines = [f"{i};{k};{shapely.to_geojson(g)}" for i, _, k, g in course]
    (tmp_path / "s.csv").write_text("\n".join(["id;kind;geometry", *lines]), encoding="utf-8")
    with pytest.raises(Refused, match="is labelled lon/lat, but these are numbers of a grid"):
        read_boundaries(tmp_path / "s.csv")
    found = read_boundaries(tmp_path / "s.csv", crs=UTM)
    assert areas_of(found) == pytest.approx(truth(course), rel=3e-7)
    assert not any("it says" in f.text for f in found.findings)


@pytest.mark.parametrize("text", ["WKT,fid\n{},1\n", "{}"], ids=["in a column", "bare"])
def test_a_table_of_lines_is_told_as_that_and_closed_ones_are_outlines(course, tmp_path, text):
    """A GIS exports lines so, too; it was taken for survey points in an unknown order."""
    ident, _, _, shape = course[0]
    line = f'"{shape.exterior.wkt}"'.replace("LINEARRING", "LINESTRING")
    text = text.format(line if "WKT" in text else line.strip('"'))
    (tmp_path / "green.csv").write_text(text)
    found = read_boundaries(tmp_path / "green.csv", crs=UTM, kind="green")
    areas = ellipsoid_areas_m2(found.features.geometry)
    assert areas == pytest.approx([truth(course)[ident]], rel=3e-7)
    (tmp_path / "tees.csv").write_text('WKT,name\n"POINT (560000 5906000)",Tee 1\n')
    found = read_boundaries(tmp_path / "tees.csv", crs=UTM)
    assert [left.reason for left in found.tally.left_out] == ["a point"]


@pytest.mark.parametrize("heads", ["name,easting,northing", "name,lat,lon"])
def test_points_with_their_places_in_columns_too_stay_a_survey(heads):
    """A GIS writes each corner's point beside what the receiver said: outlines became points."""
    rows = b',geom\na,1,2,"%s (1 2)"\n'
    assert not holds_shapes(heads.encode() + rows % b"POINT")
    assert holds_shapes(heads.encode() + rows % b"LINESTRING")
    assert holds_shapes(b"name,height,age" + rows % b"POINT")


def test_of_two_columns_of_shapes_that_of_areas_is_taken(course, tmp_path):
    lines = ["geom,outline,id"]
    lines += [f'"{g.centroid.wkt}","{g.wkt}",{i}' for i, _, _, g in course]
    (tmp_path / "s.csv").write_text("\n".join(lines))
    found = read_boundaries(tmp_path / "s.csv", crs=UTM)
    assert areas_of(found) == pytest.approx(truth(course), rel=3e-7)
