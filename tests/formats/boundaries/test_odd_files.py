"""Files as they are handed over: cut off, open elsewhere, in archives, without a place."""

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
import pytest
import shapely

from geosand.areas.ellipsoid import ellipsoid_areas_m2
from geosand.errors import Refused
from geosand.formats.boundaries import read_boundaries
from geosand.formats.boundaries.files.gdal_layers import _UNKNOWN

from .conftest import UTM, blob, feature, texts_of, to_lon_lat
from .kml_files import square


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


def test_a_parcel_in_a_parcel_is_to_be_unpacked(tmp_path):
    with zipfile.ZipFile(tmp_path / "all.zip", "w") as archive:
        archive.writestr("letter.pdf", "")
        archive.writestr("course.zip", "")
    with pytest.raises(Refused, match=r"Unpack it and bring course\.zip"):
        read_boundaries(tmp_path / "all.zip")


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
