"""Files as they are handed over: parts missing, accents, folders in folders, cut off."""

import shutil
import sqlite3
import struct
import sys
import types
import zipfile
from pathlib import Path

import geopandas
import numpy as np
import pyogrio
import pyproj
import pytest
import shapely

from geosand.areas.ellipsoid import ellipsoid_areas_m2
from geosand.errors import Refused
from geosand.formats.boundaries import Choice, read_boundaries
from geosand.formats.boundaries.files.gdal_layers import _UNKNOWN
from geosand.formats.boundaries.sites.settling import settle

from .conftest import UTM, blob, feature, to_lon_lat
from .test_nothing_vanishes import kml, placemark, square


def texts_of(found):
    return [f.text for f in found.findings]


@pytest.fixture
def shapefile(tmp_path):
    """A Shapefile with accents in its table, and what is beside it."""

    def write(encoding="UTF-8", keep=("shp", "shx", "dbf", "prj"), stem="Plan de golf"):
        frame = geopandas.GeoDataFrame(
            {"Nom": ["Départ no 1", "Étang"], "kind": ["tee", "water"]},
            geometry=[blob(0, 0, 13), blob(80, 0, 14)],
            crs=UTM,
        )
        (tmp_path / "made").mkdir(exist_ok=True)
        frame.to_file(tmp_path / "made/a.shp", encoding=encoding)
        for ending in keep:
            shutil.copy(tmp_path / f"made/a.{ending.lower()}", tmp_path / f"{stem}.{ending}")
        return tmp_path / f"{stem}.{keep[0]}"

    return write


@pytest.mark.parametrize(
    ("encoding", "said"),
    [("UTF-8", "read as UTF-8"), ("ISO-8859-1", "read as CP1252")],
)
def test_accents_without_a_word_on_the_encoding(shapefile, encoding, said):
    path = shapefile(encoding)
    table = path.with_suffix(".dbf")
    content = bytearray(table.read_bytes())
    content[29] = 0  # no code page either
    table.write_bytes(bytes(content))
    found = read_boundaries(path)
    assert found.features.name.tolist() == ["Départ no 1", "Étang"]
    assert any(said in text for text in texts_of(found))


def test_accents_with_a_cpg_need_no_word(shapefile):
    found = read_boundaries(shapefile("ISO-8859-1", ("shp", "shx", "dbf", "prj", "cpg")))
    assert found.features.name.tolist() == ["Départ no 1", "Étang"]
    assert not any("encoding" in text for text in texts_of(found))


def test_the_number_of_utf_8_in_a_cpg(shapefile):
    path = shapefile("UTF-8", ("shp", "shx", "dbf", "prj", "cpg"))
    path.with_suffix(".cpg").write_text("65001")
    assert read_boundaries(path).features.name.tolist() == ["Départ no 1", "Étang"]


def test_endings_in_capitals(shapefile):
    assert len(read_boundaries(shapefile(keep=("SHP", "SHX", "Dbf", "PRJ"))).features) == 2


def test_parts_of_a_shapefile_that_are_missing(shapefile):
    found = read_boundaries(shapefile(keep=("shp", "shx", "prj")))
    assert "its table (.dbf) is missing: names and kinds are lost" in texts_of(found)
    with pytest.raises(Refused, match="does not say in which coordinate reference system"):
        read_boundaries(shapefile(keep=("shp", "shx", "dbf"), stem="bare"))
    with pytest.raises(Refused) as refusal:
        read_boundaries(shapefile(keep=("shp",), stem="lone"))
    text = str(refusal.value)
    assert text.startswith("lone.shp: its index (.shx) is missing")
    assert "Set " not in text and "SHAPE_" not in text


def test_shapefiles_in_a_zip_of_which_one_names_no_crs(shapefile, tmp_path):
    path = shapefile()
    with zipfile.ZipFile(tmp_path / "all.zip", "w") as archive:
        for ending in ("shp", "shx", "dbf", "prj"):
            archive.write(path.with_suffix(f".{ending}"), f"a/b/one.{ending}")
            if ending != "prj":
                archive.write(path.with_suffix(f".{ending}"), f"a/c/two.{ending}")
    with pytest.raises(Refused) as refusal:
        read_boundaries(tmp_path / "all.zip")
    assert str(refusal.value).startswith("all.zip/a/c/two.shp: does not say in which")
    found = read_boundaries(tmp_path / "all.zip", crs=UTM)
    assert len(found.features) == 4
    assert found.features.place[3] == "a/c/two.shp, feature 2"


def test_no_temporary_path_and_no_made_up_name_in_any_text(tmp_path, capfd, recwarn):
    (tmp_path / "bad.gpkg").write_bytes(b"SQLite format 3\0" + b"\0" * 52 + b"GPKG" + b"x" * 5000)
    (tmp_path / "bad.fgb").write_bytes(b"fgb\x03fgb\x00" + b"x" * 500)
    (tmp_path / "bad.shp").write_bytes(b"\x00\x00\x27\x0a" + b"x" * 500)
    for path in (tmp_path / "bad.gpkg", tmp_path / "bad.fgb", tmp_path / "bad.shp"):
        with pytest.raises(Refused) as refusal:
            read_boundaries(path)
        text = str(refusal.value)
        assert "/" not in text and "'read'" not in text
        assert not any(word in text for word in ("GDAL", "OGR", "driver", "Set ", "sqlite3"))
    assert capfd.readouterr() == ("", "")
    assert not recwarn.list


def test_gml_that_is_cut_off_is_not_read_as_empty(tmp_path):
    frame = geopandas.GeoDataFrame({"kind": ["green"] * 9}, geometry=[square(1)] * 9, crs=4326)
    frame.to_file(tmp_path / "a.gml")
    content = (tmp_path / "a.gml").read_bytes()
    (tmp_path / "a.gml").write_bytes(content[: len(content) * 2 // 3])
    with pytest.raises(Refused, match="is not whole XML"):
        read_boundaries(tmp_path / "a.gml")


def test_one_layer_that_says_the_kind(tmp_path):
    frame = geopandas.GeoDataFrame({"nr": [1]}, geometry=[blob(0, 0, 13)], crs=UTM)
    frame.to_file(tmp_path / "site.gpkg", layer="Bunkers")
    assert read_boundaries(tmp_path / "site.gpkg").features.kind.tolist() == ["bunker"]


@pytest.mark.parametrize(
    "crs", ["urn:ogc:def:crs:EPSG::4326", "EPSG:4326", "urn:ogc:def:crs:EPSG::25832"]
)
def test_the_order_of_axes_of_gml(tmp_path, crs):
    """By the urn form a lat/lon system is written latitude first; by EPSG:4326 longitude first."""
    shape = blob(0, 0, 13) if "25832" in crs else to_lon_lat(blob(0, 0, 13))
    points = shapely.get_coordinates(shape)
    if crs.startswith("urn") and "4326" in crs:
        points = points[:, ::-1]
    text = " ".join(f"{a!r} {b!r}" for a, b in points.tolist())
    (tmp_path / "a.gml").write_text(
        '<?xml version="1.0"?><c:FeatureCollection xmlns:c="http://www.opengis.net/wfs" '
        'xmlns:gml="http://www.opengis.net/gml" xmlns:a="urn:a"><gml:featureMember><a:green>'
        f'<a:kind>green</a:kind><a:geom><gml:Polygon srsName="{crs}"><gml:exterior><gml:LinearRing>'
        f"<gml:posList>{text}</gml:posList></gml:LinearRing></gml:exterior></gml:Polygon></a:geom>"
        "</a:green></gml:featureMember></c:FeatureCollection>"
    )
    found = read_boundaries(tmp_path / "a.gml")
    west, south, _, _ = shapely.total_bounds(found.features.geometry)
    assert (west, south) == pytest.approx(shapely.bounds(to_lon_lat(blob(0, 0, 13)))[:2], abs=1e-8)


def test_folders_in_folders_are_named_as_far_as_they_tell(tmp_path):
    def folder(name, body):
        return f"<Folder><name>{name}</name>{body}</Folder>"

    body = "".join(
        folder(nine, "".join(folder(f"Hole {k}", placemark("green", square(k + far)))
                             for k in (1, 2)))
        for nine, far in (("Front nine", 0), ("Back nine", 20))
    )  # fmt: skip
    found = read_boundaries(kml(tmp_path, body))
    assert found.features.id.tolist() == [
        *("front-nine-hole-1-green", "front-nine-hole-2-green"),
        *("back-nine-hole-1-green", "back-nine-hole-2-green"),
    ]
    assert found.features.name[0] == "Front nine Hole 1 green"


def test_several_documents_and_a_kmz_with_any_name(tmp_path):
    documents = "".join(
        f"<Document><name>{name}</name>{placemark('green', square(k))}</Document>"
        for k, name in enumerate(("North", "South"))
    )
    head = '<kml xmlns="http://www.opengis.net/kml/2.2">'
    with zipfile.ZipFile(tmp_path / "a.kmz", "w") as archive:
        archive.writestr("files/deep/My course.kml", f"{head}<Folder>{documents}</Folder></kml>")
    found = read_boundaries(tmp_path / "a.kmz")
    assert found.features.id.tolist() == ["north-green", "south-green"]


def test_heights_tracks_and_schema_data_of_kml(tmp_path):
    above = placemark("fairway 7", square(2)).replace(
        "<Polygon>", "<Polygon><altitudeMode>relativeToGround</altitudeMode>"
    )
    data = (
        '<ExtendedData><SchemaData schemaUrl="#s"><SimpleData name="kind">tee</SimpleData>'
        '<SimpleData name="id">T9</SimpleData></SchemaData></ExtendedData>'
    )
    track = (
        "<Placemark><name>walk</name><gx:Track><gx:coord>9.9 53.3 1</gx:coord></gx:Track>"
        "</Placemark>"
    )
    path = kml(tmp_path, above + placemark("Ninth", square(3), data) + track)
    path.write_text(path.read_text().replace("<kml ", '<kml xmlns:gx="urn:gx" ', 1))
    found = read_boundaries(path)
    table = found.features
    assert table.id.tolist() == ["fairway-7", "T9"]
    assert table.kind.tolist() == ["fairway", "tee"]
    assert np.isnan(table.elevation_m[0]) and table.elevation_m[1] == pytest.approx(41.0)
    assert table.attributes[0] == {}
    (left,) = found.tally.left_out
    assert (left.reason, left.lost) == ("a track in time or a model", False)
    texts = " ".join(texts_of(found))
    assert "1 shape has heights above the ground: they are no elevations, not kept" in texts
    assert "its heights are kept as elevations" in texts


def test_heights_of_geojson_are_above_the_ellipsoid(write_geojson):
    high = shapely.force_3d(square(1), 40.0)
    found = read_boundaries(write_geojson([feature(high, kind="green")]))
    assert any("by RFC 7946, 3.1.1, they are above the ellipsoid" in t for t in texts_of(found))
    flat = read_boundaries(write_geojson([feature(square(1), kind="green")]))
    assert not any("ellipsoid" in t for t in texts_of(flat))


def test_parts_kept_or_split_are_said(write_geojson):
    shape = shapely.MultiPolygon([square(1), square(2)])
    path = write_geojson([feature(shape, id="t4", kind="tee"), feature(square(3), kind="green")])
    kept = texts_of(read_boundaries(path))
    assert (
        "1 surface has parts that lie apart: t4 (2); --split-parts makes a surface of each" in kept
    )
    split = texts_of(read_boundaries(path, split_parts=True))
    assert "its 2 parts are surfaces of their own: t4, t4-2 (feature 1)" in split


def test_a_crs_member_nobody_understands_gives_way_to_the_users_word(write_geojson):
    path = write_geojson(
        [feature(blob(0, 0, 13), kind="green")],
        crs={"type": "link", "properties": {"href": "http://x.invalid"}},
    )
    assert len(read_boundaries(path, crs=UTM).features) == 1


def test_heights_in_a_crs_are_not_said_to_be_those_of_lon_lat(write_geojson):
    """RFC 7946, 3.1.1, puts heights above the ellipsoid; a member crs makes it another format."""
    raised = feature(shapely.force_3d(blob(0, 0, 13), 40.0), kind="green")
    path = write_geojson([raised], crs={"type": "name", "properties": {"name": UTM}})
    assert not [text for text in texts_of(read_boundaries(path)) if "RFC 7946" in text]


def test_a_gpx_track_says_what_would_close_it(tmp_path):
    points = "".join(
        f'<trkpt lat="{53.3 + 1e-4 * np.sin(t)!r}" lon="{9.9 + 2e-4 * np.cos(t)!r}"/>'
        for t in np.linspace(0, 6.1, 40).tolist()
    ).replace("np.float64(", "").replace(")", "")  # fmt: skip
    (tmp_path / "t.gpx").write_text(
        f"<gpx><trk><name>green</name><trkseg>{points}</trkseg></trk></gpx>"
    )
    found = read_boundaries(tmp_path / "t.gpx")
    (left,) = found.tally.left_out
    tolerance = float(left.reason.partition("--close-tolerance ")[2].partition(" ")[0])
    assert tolerance == pytest.approx(2.06, abs=0.05)
    assert len(read_boundaries(tmp_path / "t.gpx", close_tolerance_m=tolerance).features) == 1


def test_what_a_receiver_calls_its_tracks_is_no_kind(tmp_path):
    names = ("Track 001", "2026-05-01 08:00", "Cart track", "Green 3")
    walks = "".join(
        f"<trk><name>{name}</name><trkseg>"
        + "".join(
            f'<trkpt lat="{y}" lon="{x}"/>' for x, y in shapely.get_coordinates(square(k)).tolist()
        )
        + "</trkseg></trk>"
        for k, name in enumerate(names)
    )
    path = tmp_path / "tracks.gpx"
    path.write_text(f"<gpx>{walks}</gpx>")
    found = read_boundaries(path)
    assert found.features.kind.tolist() == ["other", "other", "path", "green"]
    assert any("--kind-map 'Track 001=KIND'" in text for text in texts_of(found))
    said = read_boundaries(path, kind_pairs=["track=path"]).features
    assert said.kind.tolist() == ["path", "other", "path", "green"]
    path = path.rename(tmp_path / "tees.gpx")  # a walk around each
    assert read_boundaries(path).features.kind.tolist() == ["tee", "tee", "path", "green"]


def test_segments_may_hold_extensions_and_things_are_counted_from_one(tmp_path):
    """GPX 1.1, trksegType: extensions may follow the points of a segment."""
    points = "".join(
        f'<trkpt lat="{y}" lon="{x}"/>' for x, y in shapely.get_coordinates(square(1)).tolist()
    )
    (tmp_path / "t.gpx").write_text(
        f"<gpx><trk><trkseg/></trk><trk><name>Green 2</name><trkseg>{points}<extensions><a>1</a>"
        "</extensions></trkseg></trk></gpx>"
    )
    path = kml(tmp_path, "<Placemark><Polygon/></Placemark>" + placemark("Green 2", square(1)))
    for file, first in ((tmp_path / "t.gpx", "track 1"), (path, "placemark 1")):
        found = read_boundaries(file)
        assert found.features.id.tolist() == ["green-2"]
        assert [left.place for left in found.tally.left_out] == [first]


def test_a_parcel_in_a_parcel_is_to_be_unpacked(tmp_path):
    with zipfile.ZipFile(tmp_path / "all.zip", "w") as archive:
        archive.writestr("letter.pdf", "")
        archive.writestr("course.zip", "")
    with pytest.raises(Refused, match=r"Unpack it and bring course\.zip"):
        read_boundaries(tmp_path / "all.zip")


def test_prefixes_that_are_declared_nowhere(tmp_path):
    """Programs write gx: and xsi: without a word on them, and every viewer reads it."""
    body = placemark("Green 1", square(1)).replace("</Placemark>", "<gx:drawOrder>1</gx:drawOrder>")
    path = kml(tmp_path, body + "</Placemark>")
    text = path.read_text(encoding="utf-8").replace("<kml ", '<kml xsi:schemaLocation="a b" ', 1)
    path.write_text(text, encoding="utf-8")
    assert read_boundaries(path).features.id.tolist() == ["green-1"]
    points = shapely.get_coordinates(square(1)).tolist()
    track = "".join(
        f'<trkpt lat="{y!r}" lon="{x!r}"><extensions><tp:hr>60</tp:hr></extensions></trkpt>'
        for x, y in points
    )
    (tmp_path / "a.gpx").write_text(
        f"<gpx><trk><name>Green 2</name><trkseg>{track}</trkseg></trk></gpx>"
    )
    assert read_boundaries(tmp_path / "a.gpx").features.id.tolist() == ["green-2"]


@pytest.mark.parametrize(
    "head",
    [
        '<Schema name="Greens" parent="Placemark"><SimpleField name="Hole"/></Schema>',
        "<Schema><name>Greens</name><parent>Placemark</parent>"
        "<SimpleField><name>Hole</name></SimpleField></Schema>",
    ],
)
def test_placemarks_by_another_name(tmp_path, head):
    """A schema of KML 2.1 makes <Greens> a placemark with fields of its own."""
    own = placemark("7", square(1)).replace("Placemark>", "Greens>")
    own = own.replace("</name>", "</name><Hole>seven</Hole>")
    found = read_boundaries(kml(tmp_path, head + own))
    assert (found.features.id.tolist(), found.features.kind.tolist()) == (["7"], ["green"])
    assert found.features.attributes[0]["Hole"] == "seven"
    usual = read_boundaries(kml(tmp_path, head + placemark("Green 7", square(1))))
    assert usual.features.kind.tolist() == ["green"]  # the schema is there, and nothing is lost


@pytest.fixture
def geopackage(course, tmp_path):
    frame = geopandas.GeoDataFrame(
        {"id": [r[0] for r in course], "kind": [r[2] for r in course]},
        geometry=[r[3] for r in course],
        crs=UTM,
    )
    frame.to_file(tmp_path / "s.gpkg", layer="s")
    return tmp_path / "s.gpkg"


def test_a_geopackage_that_is_open_in_another_program(geopackage, tmp_path):
    other = sqlite3.connect(geopackage)
    try:
        other.execute("pragma journal_mode=wal")
        for (name,) in other.execute("select name from sqlite_master where type='trigger'"):
            other.execute(f'drop trigger "{name}"')
        other.execute("update s set kind = 'tee' where id = 'g1'")
        other.commit()
        assert (tmp_path / "s.gpkg-wal").stat().st_size > 0
        assert read_boundaries(geopackage).features.kind[0] == "tee"
        with zipfile.ZipFile(tmp_path / "s.zip", "w") as archive:
            for name in ("s.gpkg", "s.gpkg-wal", "s.gpkg-shm"):
                archive.write(tmp_path / name, f"site/{name}")
        found = read_boundaries(tmp_path / "s.zip")
        assert found.features.kind[0] == "tee"
        assert not any("not read from the archive" in text for text in texts_of(found))
    finally:
        other.close()


def test_a_crs_without_a_place_gives_way_to_the_users_word(geopackage):
    with sqlite3.connect(geopackage) as table:
        table.execute("update gpkg_geometry_columns set srs_id = -1")
        table.execute("update gpkg_contents set srs_id = -1")
    with pytest.raises(Refused, match=r"is a local grid without a place on earth\. Say with --crs"):
        read_boundaries(geopackage)
    found = read_boundaries(geopackage, crs=UTM)
    assert len(found.features) == 4
    assert (
        "its own: 'Undefined Cartesian SRS' is a local grid without a place on earth;"
        " ETRS89 / UTM zone 32N is used, as said with --crs" in texts_of(found)
    )


def shapefile_of(path, records):
    """A Shapefile of rings (n, 2) exactly as they are given, a record for each list of them."""
    body, index = b"", b""
    for number, rings in enumerate(records, start=1):
        points = np.concatenate(rings).astype("<f8")
        starts = np.cumsum([0, *(len(ring) for ring in rings[:-1])]).astype("<i4")
        content = struct.pack("<i4d", 5, *points.min(axis=0), *points.max(axis=0))
        content += struct.pack("<2i", len(rings), len(points)) + starts.tobytes() + points.tobytes()
        index += struct.pack(">2i", 50 + len(body) // 2, len(content) // 2)
        body += struct.pack(">2i", number, len(content) // 2) + content
    everything = np.concatenate([ring for rings in records for ring in rings])

    def head(size):
        box = (*everything.min(axis=0), *everything.max(axis=0), 0, 0, 0, 0)
        words = struct.pack(">7i", 9994, 0, 0, 0, 0, 0, 50 + size // 2)
        return words + struct.pack("<2i8d", 1000, 5, *box)

    path.write_bytes(head(len(body)) + body)
    path.with_suffix(".shx").write_bytes(head(len(index)) + index)
    path.with_suffix(".prj").write_text(pyproj.CRS(UTM).to_wkt("WKT1_ESRI"))
    pyogrio.write_dataframe(  # a table of as many rows
        geopandas.GeoDataFrame({"kind": ["green"] * len(records)}, geometry=[None] * len(records)),
        path.with_name("table.shp"),
        geometry_type="Polygon",
    )
    shutil.copy(path.with_name("table.dbf"), path.with_suffix(".dbf"))
    return path


def corners(shape, clockwise):
    points = shapely.get_coordinates(shape.exterior)
    return points[::-1] if shapely.is_ccw(shape.exterior) == clockwise else points


def test_a_ring_left_open_is_closed_and_told(tmp_path):
    path = shapefile_of(tmp_path / "s.shp", [[corners(blob(0, 0, 13), True)[:-1]]])
    found = read_boundaries(path)
    assert float(ellipsoid_areas_m2(found.features.geometry)[0]) == pytest.approx(
        float(ellipsoid_areas_m2(np.array([to_lon_lat(blob(0, 0, 13))]))[0]), rel=1e-7
    )
    assert any(
        "1 outline does not return to the first corner (feature 1;" in t for t in texts_of(found)
    )


def test_rings_that_run_the_wrong_way_round_are_asked_about_and_mended(tmp_path):
    shell, hole = blob(0, 0, 20), blob(0, 0, 4)
    path = shapefile_of(tmp_path / "s.shp", [[corners(shell, False), corners(hole, True)]])
    (area,) = ellipsoid_areas_m2(np.array([to_lon_lat(shell.difference(hole))]))
    found = read_boundaries(path)
    assert f"{area:.1f} m² however it is mended" in settle(found, Choice()).faults[0].found
    (row,) = settle(found, Choice(repair=True)).rows
    assert float(ellipsoid_areas_m2(np.array([row.geometry]))[0]) == pytest.approx(area, rel=1e-7)


def test_numbers_with_the_zone_before_them(course, tmp_path):
    frame = geopandas.GeoDataFrame(geometry=[r[3] for r in course], crs=UTM).translate(32e6)
    frame.set_crs(UTM, allow_override=True).to_file(tmp_path / "s.gpkg")
    with pytest.raises(Refused, match=r"is no place in .* likely are EPSG:4647"):
        read_boundaries(tmp_path / "s.gpkg")
    assert len(read_boundaries(tmp_path / "s.gpkg", crs="EPSG:4647").features) == 4


@pytest.mark.parametrize("ending", ["tab", "mif"])
def test_tab_and_mif(course, tmp_path, ending):
    frame = geopandas.GeoDataFrame(
        {
            "id": [r[0] for r in course],
            "kind": [r[2] for r in course],
            "name": [r[1] for r in course],
        },
        geometry=[r[3] for r in course],
        crs=UTM,
    )
    options = {"BOUNDS": "559000,5905000,561000,5907000"} if ending == "tab" else {"FORMAT": "MIF"}
    pyogrio.write_dataframe(frame, tmp_path / f"s.{ending}", driver="MapInfo File", **options)
    found = read_boundaries(tmp_path / f"s.{ending}")
    assert found.features.id.tolist() == [r[0] for r in course]
    truth = ellipsoid_areas_m2(np.array([to_lon_lat(r[3]) for r in course]))
    # the grid of a TAB of 2 km has steps of 1 µm
    assert ellipsoid_areas_m2(found.features.geometry) == pytest.approx(truth, rel=3e-7)


@pytest.mark.parametrize(
    "text",
    [
        '!table\n!version 300\n\nOpen Table "/etc/a"\n create view v as Select * From a, b\n',
        '!table\n!version 300\nDefinition Table\n  Type NATIVE Charset "x"\n  Fields 1\n'
        '    Table Char (60) ;\nbegin_metadata\n"\\IsSeamless" = "TRUE"\nend_metadata\n',
    ],
)
def test_tables_that_draw_on_others_are_refused(tmp_path, text):
    (tmp_path / "s.tab").write_text(text)
    with pytest.raises(Refused, match="draws on tables in other files"):
        read_boundaries(tmp_path / "s.tab")


@pytest.mark.parametrize("text", [pyproj.CRS(UTM).to_wkt("WKT2_2019"), UTM])
def test_a_prj_in_another_form_than_the_driver_reads(shapefile, text):
    path = shapefile(keep=("shp", "shx", "dbf"))
    path.with_suffix(".prj").write_text(text, encoding="utf-8")
    assert read_boundaries(path).source_crs == UTM


@pytest.mark.parametrize("zipped", [False, True])
def test_a_file_geodatabase(tmp_path, zipped):
    frame = geopandas.GeoDataFrame({"kind": ["tee"]}, geometry=[blob(0, 0, 13)], crs=UTM)
    pyogrio.write_dataframe(frame, tmp_path / "a.gdb", driver="OpenFileGDB", layer="Tees")
    before = sorted(f.name for f in (tmp_path / "a.gdb").iterdir())
    path = tmp_path / "a.gdb"
    if zipped:
        path = Path(shutil.make_archive(str(tmp_path / "all"), "zip", tmp_path, "a.gdb"))
        with zipfile.ZipFile(path, "a") as archive:  # notes beside it, no survey
            archive.writestr("readme.txt", "Surfaces of an invented course\nas of 2026\n")
            archive.writestr("about.xml", "<metadata></metadata>")
    found = read_boundaries(path)
    assert found.features.kind.tolist() == ["tee"]
    assert found.source_crs == UTM
    assert sorted(f.name for f in (tmp_path / "a.gdb").iterdir()) == before


KML_RING = "<LinearRing><coordinates>{}</coordinates></LinearRing>"
KML_MARK = (
    "<Placemark><name>Green 1</name><Polygon><outerBoundaryIs>{}</outerBoundaryIs></Polygon>"
    "</Placemark>"
)


def kml_mark(joint):
    ring = shapely.get_coordinates(to_lon_lat(blob(0, 0, 13)))
    return KML_MARK.format(KML_RING.format(" ".join(joint.format(*p) for p in ring)))


def test_decimal_commas_of_kml_are_told(tmp_path):
    """By KML 2.3 a position is two or three numbers with commas between them."""
    text = kml_mark("{:.7f};{:.7f},0").replace(".", ",").replace(";", ",")
    (tmp_path / "a.kml").write_text(f"<kml><Document>{text}</Document></kml>")
    (left,) = read_boundaries(tmp_path / "a.kml").tally.left_out
    assert left.lost
    assert "more than three numbers (9,9" in left.reason


def test_commas_behind_positions_of_kml_are_no_numbers(tmp_path):
    text = kml_mark("{:.9f},{:.9f},0,\n")
    (tmp_path / "a.kml").write_text(f"<kml><Document>{text}</Document></kml>")
    assert read_boundaries(tmp_path / "a.kml").features.name.tolist() == ["Green 1"]


def test_a_placemark_without_its_kml_is_read(tmp_path):
    (tmp_path / "a.kml").write_text(f"<Folder>{kml_mark('{:.9f},{:.9f},0')}</Folder>")
    found = read_boundaries(tmp_path / "a.kml")
    assert found.features.name.tolist() == ["Green 1"]


def with_a_mesh(path):
    """A GeoPackage of two outlines, and beside them a terrain of one triangle (OGC 06-103r4)."""
    outlines = geopandas.GeoDataFrame(
        {"id": ["g1", "g2"], "kind": "green"}, geometry=[blob(0, 0, 13), blob(60, 0, 9)], crs=UTM
    )
    outlines.to_file(path, layer="outlines")
    corners = [(560_000, 5_906_000, 1), (560_064, 5_906_000, 1), (560_064, 5_906_100, 2)]
    ring = struct.pack("<12d", *np.ravel([*corners, corners[0]]))
    triangle = struct.pack("<BIII", 1, 1017, 1, 4) + ring
    mesh = b"GP\0\1" + struct.pack("<iBII", 25832, 1, 1016, 1) + triangle
    with sqlite3.connect(path) as base:
        base.execute("create table ground (fid integer primary key, geom TIN, id text)")
        columns = "table_name, data_type, identifier, srs_id"
        row = "'ground', 'features', 'ground', 25832"
        base.execute(f"insert into gpkg_contents ({columns}) values ({row})")
        row = "'ground', 'geom', 'TIN', 25832, 1, 0"
        base.execute(f"insert into gpkg_geometry_columns values ({row})")
        base.execute("insert into ground (geom, id) values (?, 'terrain')", (mesh,))
    base.close()


def test_a_terrain_beside_the_outlines_costs_none_of_them(tmp_path):
    with_a_mesh(tmp_path / "a.gpkg")
    found = read_boundaries(tmp_path / "a.gpkg")
    assert found.features.id.tolist() == ["g1", "g2"]
    assert [item.reason for item in found.tally.left_out] == [
        "it is a mesh of triangles or faces, no outline"
    ]


@pytest.mark.parametrize("kept", ["nowhere", "as another thing", "as it is and unchangeable"])
def test_without_its_table_of_codes_the_library_reads_all_other_files(tmp_path, monkeypatch, kept):
    """pyogrio keeps it to itself and may move it: what needs it is refused, and nothing else."""
    with_a_mesh(tmp_path / "a.gpkg")
    codes = pyogrio._geometry.GEOMETRY_TYPES
    for code in _UNKNOWN:
        monkeypatch.delitem(codes, code, raising=False)
    instead = types.ModuleType("pyogrio._geometry")
    if kept != "nowhere":
        instead.GEOMETRY_TYPES = None if "another" in kept else types.MappingProxyType(codes)
    monkeypatch.setitem(sys.modules, "pyogrio._geometry", instead)
    with pytest.raises(Refused, match=r"a\.gpkg: can not be read .*not supported: 1016"):
        read_boundaries(tmp_path / "a.gpkg")
    shapes = {"flat": blob(0, 0, 13), "with heights": shapely.force_3d(blob(0, 0, 13), 5.0)}
    for name, shape in shapes.items():
        for ending in ("gpkg", "shp", "fgb"):
            path = tmp_path / f"{name}.{ending}"
            geopandas.GeoDataFrame({"id": ["g1"]}, geometry=[shape], crs=UTM).to_file(path)
            assert read_boundaries(path).features.id.tolist() == ["g1"]


def test_a_line_of_one_position_is_told_in_words(tmp_path):
    """Other programs write such; GEOS takes none, and says so in its own language."""
    alone = struct.pack("<BIIdd", 1, 2, 1, 9.9, 53.3)  # well-known binary: a LineString, one point
    shapes = np.array([shapely.to_wkb(square(1).exterior), alone], dtype=object)
    pyogrio.raw.write(
        tmp_path / "a.gpkg", shapes, [], [], geometry_type="LineString", crs="EPSG:4326"
    )
    reasons = [left.reason for left in read_boundaries(tmp_path / "a.gpkg").tally.left_out]
    assert reasons == ["a closed line of no known kind", "a line in it has one position"]


@pytest.mark.parametrize("ending", ["shp", "geojson", "csv"])
def test_a_null_that_a_gis_writes_out_is_no_name(ending, tmp_path):
    """ "<Null>" is how a widely used GIS shows an empty cell (common practice)."""
    frame = geopandas.GeoDataFrame(
        {"Name": ["<Null>", "Green 7"], "kind": ["green", "green"], "Bemerkung": ["<Null>"] * 2},
        geometry=[shapely.transform(blob(k, 0, 13), np.asarray) for k in (0, 80)],
        crs=UTM,
    )
    path = tmp_path / f"a.{ending}"
    options = {"GEOMETRY": "AS_WKT"} if ending == "csv" else {}
    frame.to_file(path, **options)
    found = read_boundaries(path, crs=UTM if ending == "csv" else None)
    assert found.features.id.tolist() == ["green-1", "green-7"]
    assert found.features.name.tolist()[1] == "Green 7"
