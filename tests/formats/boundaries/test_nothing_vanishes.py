"""Kinds, names, ids, folders, collections, broken rings: all is read or listed."""

import re

import geopandas
import numpy as np
import pytest
import shapely

from geosand.errors import Refused
from geosand.formats.boundaries import Choice, read_boundaries
from geosand.formats.boundaries.sites.settling import settle
from tests.formats.boundaries.kml_files import kml, placemark, square

from .conftest import LAT, LON, feature


def test_a_folder_a_hole_and_every_polygon_called_green(tmp_path):
    folders = "".join(
        f"<Folder><name>Hole {k}</name>{placemark('green', square(k))}"
        f"{placemark('tee', square(k + 30))}</Folder>"
        for k in range(1, 19)
    )
    found = read_boundaries(kml(tmp_path, f"<Folder><name>Front</name>{folders}</Folder>"))
    assert found.tally.read == 36
    assert dict(found.tally.by_kind) == {"green": 18, "tee": 18}
    assert found.features.id[:3].tolist() == ["hole-1-green", "hole-1-tee", "hole-2-green"]
    assert set(found.features.id_from) == {"name"}
    assert found.features.elevation_m == pytest.approx([41.0] * 36)
    assert len(set(found.features.id)) == 36


def test_a_thing_in_the_folder_of_greens_that_is_called_something_else_is_told(tmp_path):
    """The other way round is usual: a bunker is called after its green."""
    greens = placemark("Bunker 4", square(1)) + placemark("Green 4", square(2))
    bunkers = placemark("Green 4 left", square(3))
    folders = f"<Folder><name>Greens</name>{greens}</Folder>"
    folders += f"<Folder><name>Bunkers</name>{bunkers}</Folder>"
    found = read_boundaries(kml(tmp_path, folders))
    assert found.features.kind.tolist() == ["green", "green", "bunker"]
    told = [f for f in found.findings if "change its kind if the name is right" in f.text]
    assert [str(f.about) for f in told] == [found.features.id[0]]
    said = "its name 'Bunker 4' says bunker, but 'Greens', in which it stands, green"
    assert said in told[0].text
    alike = read_boundaries(kml(tmp_path, greens), kind="green")  # as a person said, in no folder
    assert not [f for f in alike.findings if "in which it stands" in f.text]


def test_a_misspelt_name_in_the_folder_of_a_hole_is_told(tmp_path):
    """The folder "Hole 1" says nothing of what is in it, so it is no kind for what is not known."""
    inside = placemark("gren", square(1)) + placemark("", square(2)) + placemark("Tees", square(3))
    trees = f"<Folder><name>Trees</name>{placemark('Oak', square(4))}</Folder>"
    found = read_boundaries(kml(tmp_path, f"<Folder><name>Hole 1</name>{inside}</Folder>{trees}"))
    assert found.features.kind.tolist() == ["other", "other", "tee", "other"]
    texts = [f.text for f in found.findings]
    assert (
        "its kind 'gren' is not known; did you mean green?; it is kept as other"
        " (placemark 1 'gren' in folder 'Hole 1')" in texts
    )
    assert "it has no kind; it is kept as other (placemark 2 in folder 'Hole 1')" in texts
    assert "'Trees' is taken as other (1 surface)" in texts
    assert not any("'Hole 1' is" in text for text in texts)


def test_kml_attributes_collections_and_the_rest(tmp_path):
    data = '<ExtendedData><Data name="kind"><value>bunker</value></Data></ExtendedData>'
    two = (
        "<Placemark><name>Pair</name><MultiGeometry><Point><coordinates>9.9,53.3</coordinates>"
        "</Point>"
        + re.sub(r"</?Placemark>|<name>.*?</name>", "", placemark("", square(3)))
        + "</MultiGeometry></Placemark>"
    )
    line = (
        "<Placemark><name>cart path</name><LineString><coordinates>9.9,53.3 9.91,53.3"
        "</coordinates></LineString></Placemark>"
    )
    pin = (
        "<Placemark><name>pin</name><Point><coordinates>9.9,53.3</coordinates></Point></Placemark>"
    )
    link = "<NetworkLink><Link><href>http://x.invalid/a.kml</href></Link></NetworkLink>"
    found = read_boundaries(
        kml(tmp_path, placemark("Left", square(1), data) + two + line + pin + link)
    )
    assert found.features.kind.tolist() == ["bunker", "other"]
    assert found.tally.read == 4
    assert [(i.name, i.reason, i.partly) for i in found.tally.left_out] == [
        ("Pair", "1 point beside its polygons", True),
        ("cart path", "a line", False),
        ("pin", "a point", False),
    ]
    texts = " ".join(f.text for f in found.findings)
    assert "1 link to another file is not followed" in texts
    assert "its kind 'Pair' is not known" in texts
    assert "4 read, 2 became surfaces (1 bunker, 1 other), 2 left out" in str(found.tally)


def test_a_misspelt_and_a_missing_kind_are_listed_not_dropped(write_geojson):
    rows = [
        feature(square(1), id="a", kind="greeen"),
        feature(square(2), id="b", kind=None),
        feature(square(3), id="c", kind="Greens"),
    ]
    found = read_boundaries(write_geojson(rows))
    assert found.features.kind.tolist() == ["other", "other", "green"]
    told = {f.about: f.text for f in found.findings}
    assert told["a"] == (
        "its kind 'greeen' is not known; did you mean green?; it is kept as other (feature 1)"
    )
    assert told["b"] == "it has no kind; it is kept as other (feature 2)"
    assert told["kinds"] == "'Greens' is taken as green (1 surface)"


def test_one_bad_ring_costs_that_feature(write_geojson):
    bow = shapely.Polygon(
        [(LON, LAT), (LON + 1e-3, LAT + 1e-3), (LON + 1e-3, LAT), (LON, LAT + 1e-3)]
    )
    rows = [
        feature(square(1), id="good", kind="green"),
        feature(bow, id="bow", kind="green"),
        {
            "type": "Feature",
            "properties": {"id": "two"},
            "geometry": {
                "type": "Polygon",
                "coordinates": [[[LON, LAT], [LON, LAT + 0.1], [LON, LAT]]],
            },
        },
        {
            "type": "Feature",
            "properties": {"id": "text"},
            "geometry": {"type": "Polygon", "coordinates": [[["a", "b"]]]},
        },
        {
            "type": "Feature",
            "properties": {"id": "inf"},
            "geometry": {
                "type": "Polygon",
                "coordinates": [[[LON, 1e999], [LON, LAT], [LON + 1, LAT]]],
            },
        },
        {"type": "Feature", "properties": {"id": "null"}, "geometry": None},
        {"type": "Nothing"},
    ]
    path = write_geojson(rows)
    path.write_text(path.read_text().replace("1e+999", "1e999").replace("Infinity", "1e999"))
    found = read_boundaries(path)
    assert found.features.id.tolist() == ["good"]
    reasons = {i.place: i.reason for i in found.tally.left_out}
    assert reasons["feature 2"].startswith("its outline crosses or touches itself (self-inters")
    assert "at lon 9.9005" in reasons["feature 2"]
    assert reasons["feature 3"] == "a ring has 2 corners; 3 are needed"
    assert reasons["feature 4"] == "its coordinates hold text"
    assert reasons["feature 5"] == "a coordinate is not finite"
    assert reasons["feature 6"] == "it has no geometry"
    assert reasons["feature 7"] == "it is no Feature (RFC 7946, 3.2)"
    assert found.tally.read == 7


def test_a_ring_without_its_last_position_is_closed(write_geojson):
    ring = shapely.get_coordinates(square(1)).tolist()[:-1]
    shape = {"type": "Polygon", "coordinates": [ring]}
    path = write_geojson([{"type": "Feature", "properties": {"kind": "tee"}, "geometry": shape}])
    assert read_boundaries(path).features.geometry[0].equals(square(1))


def test_a_ring_that_was_closed_is_told(write_geojson):
    rows = [feature(square(k), id=f"g{k}", kind="green") for k in range(3)]
    assert not any("first corner" in f.text for f in read_boundaries(write_geojson(rows)).findings)
    rows[1]["geometry"]["coordinates"][0].pop()
    texts = [f.text for f in read_boundaries(write_geojson(rows)).findings]
    assert (
        "1 outline does not return to the first corner (feature 2; RFC 7946, 3.1.6): its end is"
        " joined to it by a straight line. Check that no corner is missing" in texts
    )
    rows[2]["geometry"] = {
        "type": "GeometryCollection",
        "geometries": [
            {
                "type": "MultiPolygon",
                "coordinates": [[list(map(list, square(5).exterior.coords))[:-1]]],
            }
        ],
    }
    texts = " ".join(f.text for f in read_boundaries(write_geojson(rows)).findings)
    assert "2 outlines do not return to the first corner (the first is feature 2;" in texts


def test_an_outline_in_another_member_is_read(write_geojson):
    rows = [feature(square(1), id="a", kind="green"), feature(None, id="b", kind="green")]
    rows[1]["place"] = feature(square(2))["geometry"]
    found = read_boundaries(write_geojson(rows))
    assert found.features.id.tolist() == ["a", "b"] and not found.tally.left_out


def test_an_id_that_is_a_kind_is_changed_and_told(write_geojson):
    rows = [feature(square(1), id="green", kind="green"), feature(square(2), kind="tee")]
    found = read_boundaries(write_geojson(rows))
    assert found.features.id.tolist() == ["green-1", "tee-1"]
    said = [(f.about, f.text) for f in found.findings]
    assert ("green-1", "its id in the file is 'green'") in said
    assert ("in.geojson", "1 surface has no id and no telling name: numbered by kind") in said


def test_an_id_that_many_share_is_none(write_geojson):
    """A GIS writes Id 0 in every row; by such a number a later survey would be matched wrongly."""
    rows = [feature(square(k), Id=0, kind="green") for k in range(3)]
    rows += [feature(square(3), Id=7, kind="tee"), feature(square(4), Id=7, kind="tee")]
    found = read_boundaries(write_geojson(rows))
    assert found.features.id.tolist() == ["green-1", "green-2", "green-3", "7", "7-2"]
    assert found.features.id_from.tolist() == ["number"] * 3 + ["column"] * 2
    text = "3 surfaces share their id with others in the file ('0'): it is not used"
    assert text in [f.text for f in found.findings]
    said = read_boundaries(write_geojson(rows), id_column="Id").features  # as a person asked
    assert said.id.tolist() == ["0", "0-2", "0-3", "7", "7-2"]


def test_what_a_surface_is_laid_with_is_no_id(write_geojson):
    rows = [feature(square(k), Surface="Rye", name=f"Green {k}", kind="green") for k in (1, 2, 3)]
    found = read_boundaries(write_geojson(rows))
    assert found.features.id.tolist() == ["green-1", "green-2", "green-3"]


def test_parts_of_one_thing_share_its_id(write_geojson):
    rows = [feature(shapely.MultiPolygon([square(1), square(2), square(3)]), id="t4", kind="tee")]
    ids = read_boundaries(write_geojson(rows), split_parts=True).features.id
    assert ids.tolist() == ["t4", "t4-2", "t4-3"]


def test_parts_split_or_kept(write_geojson):
    rows = [feature(shapely.MultiPolygon([square(1), square(2)]), id="t4", kind="tee")]
    path = write_geojson(rows)
    assert read_boundaries(path).features.id.tolist() == ["t4"]
    assert read_boundaries(path, split_parts=True).features.id.tolist() == ["t4", "t4-2"]


def test_parts_are_judged_and_mended_each_by_itself(write_geojson):
    """Whole, the three would be one outline that crosses itself; apart only the bow-tie does."""
    size = 1e-4
    bow = shapely.Polygon(
        [(LON, LAT), (LON + size, LAT + size), (LON + size, LAT), (LON, LAT + size)]
    )
    twice = shapely.affinity.translate(square(3), size / 4, 0)
    shape = shapely.MultiPolygon([square(3), twice, bow])
    path = write_geojson([feature(shape, id="t4", kind="tee")])
    assert len(read_boundaries(path).broken) == 1
    found = read_boundaries(path, split_parts=True)
    assert found.features.id.tolist() == ["t4", "t4-2"]
    assert found.broken.id.tolist() == ["t4-3"]
    (left,) = found.tally.left_out
    assert left.partly and left.reason.startswith("its outline crosses or touches itself")
    assert str(found.tally).startswith("1 read, 1 of them became 2 surfaces (2 tee), none left out")


def test_the_halves_at_180_degrees_are_one_part(write_geojson):
    across = shapely.box(179.9999, -17, 180.0001, -16.9998)
    apart = shapely.box(179.9991, -17, 179.9993, -16.9998)
    shape = shapely.MultiPolygon([across, apart])
    found = read_boundaries(write_geojson([feature(shape, id="t", kind="tee")]))
    said = [f.text for f in found.findings]
    text = "1 surface has parts that lie apart: t (2); --split-parts makes a surface of each"
    assert text in said and not any("clockwise" in t for t in said)
    found = read_boundaries(write_geojson([feature(shape, id="t", kind="tee")]), split_parts=True)
    assert found.features.id.tolist() == ["t", "t-2"]
    assert shapely.get_num_geometries(found.features.geometry).tolist() == [2, 1]


def test_polygons_of_collections_are_kept(write_geojson):
    shape = shapely.GeometryCollection(
        [shapely.Point(LON, LAT), shapely.GeometryCollection([square(1)]), square(2)]
    )
    found = read_boundaries(write_geojson([feature(shape, id="x", kind="tee")]))
    assert len(found.features.geometry[0].geoms) == 2
    assert found.tally.left_out[0].reason == "1 point beside its polygons"


def test_closed_lines_of_a_known_kind_are_outlines(write_geojson):
    rows = [
        feature(square(1).exterior, id="g", kind="green"),
        feature(square(2).exterior, id="loop", kind="cart path"),
        feature(shapely.LineString([(LON, LAT), (LON, LAT + 0.001)]), kind="green"),
    ]
    found = read_boundaries(write_geojson(rows))
    assert found.features.id.tolist() == ["g"]
    assert [i.reason for i in found.tally.left_out] == ["a line", "a line"]


def test_columns_named_by_the_user(write_geojson):
    rows = [feature(square(1), nr=7, art="green", what="Seventh")]
    path = write_geojson(rows)
    found = read_boundaries(path, id_column="nr", kind_column="art", name_column="what")
    table = found.features
    assert (table.id[0], table.kind[0], table.name[0]) == ("7", "green", "Seventh")
    with pytest.raises(Refused, match="there is no column 'colour'; allowed: art, nr, what"):
        read_boundaries(path, kind_column="colour")
    with pytest.raises(Refused, match="'sand pit' is no kind"):
        read_boundaries(path, kind="sand pit")


def test_numbers_in_folders_of_kinds_are_told_apart_by_these(tmp_path):
    folders = "".join(
        f"<Folder><name>{name}</name>{placemark('1', square(k))}{placemark('2', square(k + 9))}"
        "</Folder>"
        for k, name in enumerate(("GREENS", "Tees"))
    )
    table = read_boundaries(kml(tmp_path, folders)).features
    assert table.id.tolist() == ["greens-1", "greens-2", "tees-1", "tees-2"]
    assert table.name.tolist() == ["GREENS 1", "GREENS 2", "Tees 1", "Tees 2"]


def test_a_null_that_a_gis_writes_into_a_placemark_is_no_name(tmp_path):
    data = "<ExtendedData><{0} name='Label'>{1}&lt;Null&gt;{2}</{0}></ExtendedData>"
    simple = data.format("SimpleData", "", "")
    plain = data.format("Data", "<value>", "</value>")
    body = "".join(
        placemark("&lt;Null&gt;", square(k), extra) for k, extra in enumerate((simple, plain))
    )
    table = read_boundaries(kml(tmp_path, body), kind="green").features
    assert table.id.tolist() == ["green-1", "green-2"]
    assert not any("Null" in text for text in [*table.name, *table.place])


def test_bulk_of_equal_names_stays_quick(write_geojson):
    rows = [feature(square(k / 1000), kind="green", name="green") for k in range(20_000)]
    found = read_boundaries(write_geojson(rows))
    assert len(set(found.features.id)) == 20_000
    assert found.tally.read == 20_000


def collapsed(count):
    """A ring of so many corners, as rounding leaves of what is smaller than its step."""
    corners = [[LON + 3e-4 + k * 1e-5, LAT + 3e-4] for k in range(count)]
    return [*corners, corners[0]] if count > 1 else corners * 4


@pytest.mark.parametrize("count", [1, 2])
@pytest.mark.parametrize("where", ["hole", "part"])
@pytest.mark.parametrize("ending", ["geojson", "gpkg", "kml"])
def test_a_ring_without_ground_costs_no_surface(tmp_path, write_geojson, count, where, ending):
    """It is asked about, and the repair deletes it: GeoJSON of 7 decimals, coarse databases."""
    shell = shapely.get_coordinates(square(1)).tolist()
    ring = shapely.linearrings(np.array(collapsed(count)))
    shape = shapely.polygons(shapely.linearrings(shell), holes=[ring])
    if where == "part":
        shape = shapely.multipolygons([shapely.polygons(ring), square(1)])
    if ending == "gpkg":
        table = geopandas.GeoDataFrame({"id": ["a"], "kind": ["green"]}, geometry=[shape], crs=4326)
        table.to_file(path := tmp_path / "in.gpkg")
    elif ending == "geojson":
        path = write_geojson([feature(shape, id="a", kind="green")])
    else:
        parts = "".join(map(kml_polygon, shapely.get_parts(shape)))
        body = f"<MultiGeometry>{parts}</MultiGeometry>"
        path = kml(tmp_path, f"<Placemark><name>Green 1</name>{body}</Placemark>")
    read = read_boundaries(path)
    (fault,) = settle(read, Choice()).faults
    assert "a ring of it has fewer than three corners at lon 9.900" in fault.found
    assert fault.found.endswith("m² without it")
    assert fault.remedy == "--repair deletes it, --accept leaves the surface out"
    done = settle(read, Choice(repair=True))
    assert not done.faults and not done.boundaries.tally.left_out
    (mended,) = done.mended
    assert mended.text == "rings of fewer than three corners deleted"
    assert shapely.equals(done.boundaries.features.geometry[0], square(1))


def kml_polygon(polygon):
    def side(ring, name):
        places = " ".join(f"{x!r},{y!r}" for x, y in shapely.get_coordinates(ring).tolist())
        ring = f"<LinearRing><coordinates>{places}</coordinates></LinearRing>"
        return f"<{name}>{ring}</{name}>"

    shell, *holes = shapely.get_rings(polygon)
    inner = "".join(side(hole, "innerBoundaryIs") for hole in holes)
    return f"<Polygon>{side(shell, 'outerBoundaryIs')}{inner}</Polygon>"
