"""Files that mean harm, or are only broken: refused in words, without harm and without a trace."""

import io
import json
import os
import zipfile

import geopandas
import numpy as np
import pytest
import shapely

from geosand.errors import Refused
from geosand.formats.boundaries import read_boundaries
from geosand.formats.boundaries.files import unpack

from .conftest import LAT, LON, UTM, blob, feature, to_lon_lat
from .refusals import text_of

GREEN = shapely.box(LON, LAT, LON + 2e-4, LAT + 2e-4)
KML = (
    '<kml xmlns="http://www.opengis.net/kml/2.2"><Placemark><name>green</name><Polygon>'
    "<outerBoundaryIs><LinearRing><coordinates>9.9,53.3 9.9004,53.3 9.9004,53.3004 9.9,53.3"
    "</coordinates></LinearRing></outerBoundaryIs></Polygon></Placemark></kml>"
)
LAUGHS = '<?xml version="1.0"?><!DOCTYPE lolz [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;">]>'
READ_FILE = '<?xml version="1.0"?><!DOCTYPE k [<!ENTITY x SYSTEM "file:///etc/passwd">]>'
GML = '<gml:FeatureCollection xmlns:gml="http://www.opengis.net/gml"></gml:FeatureCollection>'


def zipped(tmp_path, members, name="in.zip"):
    with zipfile.ZipFile(tmp_path / name, "w", zipfile.ZIP_DEFLATED) as archive:
        for inner, content in members.items():
            archive.writestr(inner, content)
    return tmp_path / name


@pytest.mark.parametrize("start", [LAUGHS, READ_FILE], ids=["laughs", "file"])
@pytest.mark.parametrize(
    ("name", "body"), [("a.kml", KML), ("a.gpx", "<gpx></gpx>"), ("a.gml", GML)]
)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_entities_are_refused_before_a_parser_sees_them(tmp_path, start, name, body, encoding):
    (tmp_path / name).write_bytes((start + body).encode(encoding))
    assert "declares a document type or entities (XML)" in text_of(tmp_path / name)


def test_entities_in_a_kmz_too(tmp_path):
    text = text_of(zipped(tmp_path, {"doc.kml": LAUGHS + KML}, "a.kmz"))
    assert "a.kmz/doc.kml: declares a document type or entities" in text


def test_an_encoding_that_could_hide_things(tmp_path):
    (tmp_path / "a.kml").write_text('<?xml version="1.0" encoding="utf-7"?>' + KML)
    assert "is XML in 'utf-7'" in text_of(tmp_path / "a.kml")


@pytest.mark.parametrize("inner", ["../../evil.geojson", "/evil.geojson", "C:\\evil.geojson",
                                   "a\\..\\..\\evil.geojson"])  # fmt: skip
def test_archives_that_reach_outside(tmp_path, inner):
    text = text_of(zipped(tmp_path, {inner: "{}"}))
    assert "holds a file that would be written outside it" in text
    assert not list(tmp_path.parent.glob("evil*.geojson"))


def test_archives_with_links(tmp_path):
    entry = zipfile.ZipInfo("a.geojson")
    entry.external_attr = 0o120777 << 16
    with zipfile.ZipFile(tmp_path / "in.zip", "w") as archive:
        archive.writestr(entry, "/etc/passwd")
    assert "holds a link: 'a.geojson'" in text_of(tmp_path / "in.zip")


def test_archives_that_grow(tmp_path, monkeypatch):
    monkeypatch.setattr(unpack, "MAXIMUM_UNPACKED", 5_000_000)
    path = zipped(tmp_path, {"a.geojson": b" " * 20_000_000})
    assert path.stat().st_size < 50_000
    assert "unpacks to more than 5 MB" in text_of(path)


@pytest.mark.parametrize(
    "names",
    [
        ("緑地.geojson", "球道.geojson"),
        ("hole 1.geojson", "hole+1.geojson"),
        ("a\\turf.geojson", "b\\turf.geojson"),  # as packed by some programs on Windows
    ],
    ids=["letters", "signs", "folders"],
)
def test_files_of_an_archive_that_are_called_alike_stay_apart(tmp_path, write_geojson, names):
    members = {}
    for name, kind, east in zip(names, ("green", "fairway"), (0, 5e-4), strict=True):
        shape = shapely.affinity.translate(GREEN, east)
        path = write_geojson([feature(shape, name="one", kind=kind)])
        members[name] = path.read_bytes()
    found = read_boundaries(zipped(tmp_path, members), believe_place=True).features
    assert found.kind.tolist() == ["green", "fairway"]
    assert found.geometry[0].disjoint(found.geometry[1])


def test_files_of_one_export_stay_together_in_an_archive_though_their_case_differs(tmp_path):
    """The driver of TAB looks for its files in any case (GDAL, MapInfo TAB)."""
    frame = geopandas.GeoDataFrame({"kind": ["green"]}, geometry=[blob(0, 0, 12)], crs=UTM)
    frame.to_file(tmp_path / "Greens.tab", driver="MapInfo File")
    files = {path.suffix: path.read_bytes() for path in tmp_path.glob("Greens.*")}
    members = {f"{'Greens' if e == '.tab' else 'GREENS'}{e}": c for e, c in files.items()}
    found = read_boundaries(zipped(tmp_path, members)).features
    assert found.kind.tolist() == ["green"]


def test_two_files_of_one_name_in_an_archive_are_refused(tmp_path):
    text = text_of(zipped(tmp_path, {"a.KML": KML, "a.kml": KML.replace("green", "tee")}))
    assert "in.zip: holds two files of one name: 'a.kml'. Pack it again" in text


def test_archives_of_very_many_files(tmp_path):
    text = text_of(zipped(tmp_path, {f"{k}.geojson": "" for k in range(2001)}))
    assert "holds 2,001 files" in text


def test_archives_of_archives_are_named_not_opened(tmp_path):
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as inner:
        inner.writestr("a.kml", KML)
    assert "holds inner.zip" in text_of(zipped(tmp_path, {"inner.zip": buffer.getvalue()}))


def test_an_archive_in_an_archive_says_what_to_do(tmp_path):
    inner = zipped(tmp_path, {"doc.kml": KML}, "course.kmz").read_bytes()
    assert "Unpack it and bring course.kmz" in text_of(zipped(tmp_path, {"course.kmz": inner}))


def test_an_archive_that_ends_too_soon(tmp_path, monkeypatch):
    def nothing_more(*_):
        raise EOFError  # as zipfile does, without a text

    path = zipped(tmp_path, {"a.kml": KML})
    monkeypatch.setattr(zipfile.ZipExtFile, "read", nothing_more)
    assert "in.zip: is damaged. Send or pack it again" in text_of(path)


def test_a_locked_archive(tmp_path):
    path = zipped(tmp_path, {"a.kml": KML})
    content = bytearray(path.read_bytes())
    for mark in (b"PK\x03\x04", b"PK\x01\x02"):
        at = content.find(mark) + (6 if mark[2] == 3 else 8)
        content[at] |= 1  # the flag that says encrypted
    path.write_bytes(bytes(content))
    assert "pack it again without a password" in text_of(path).lower()


@pytest.mark.parametrize(
    ("name", "content", "text"),
    [
        ("a.geojson", "", "is empty"),
        ("a.geojson", "<!doctype html><html></html>", "is a web page"),
        ("a.geojson", '{"type": "FeatureCollection", "features": [', "is not JSON"),
        ("a.geojson", '{"type":"Topology","objects":{}}', "Failed to read TopoJSON"),
        ("a.geojson", '{"a":' * 100_000, "is not JSON: too deeply nested"),
        ("a.kml", KML[:120], "is not whole XML"),
        ("a.kml", "<note>hello</note>", "is XML, but no GML"),
        ("a.kml", "<?" * 30_000, "is XML, but no GML"),
        ("a.dwg", "AC1027 and more", "is a DWG drawing"),
        ("a.docx", "text", "is of no known format"),
        ("a.gpkg", "not a database", "is no gpkg file"),
        ("a.xml", '<LandXML xmlns="x"></LandXML>', "is LandXML"),
        ("a.gml", "<OGRVRTDataSource></OGRVRTDataSource>", "is XML, but no GML"),
        ("a.gml", GML + "<OGRVRTDataSource/>", "points to other files"),
        ("a.gpkg", "SQLite format 3\0" + "x" * 100, "is a database, but no GeoPackage"),
    ],
)
def test_broken_files_are_refused_in_words(tmp_path, name, content, text):
    (tmp_path / name).write_text(content)
    assert text in text_of(tmp_path / name, crs="EPSG:25832")
    assert os.listdir(tmp_path) == [name]  # drivers left nothing beside it


def test_a_drawing_that_is_cut_off_is_told(tmp_path):
    (tmp_path / "a.dxf").write_text("  0\nSECTION\n  2\nENTITIES\n  0\nLWPOL")
    found = read_boundaries(tmp_path / "a.dxf", crs="EPSG:25832")
    assert str(found.tally) == "0 read, 0 became surfaces, none left out"
    assert "it may be cut off" in found.findings[0].text


@pytest.mark.parametrize("cut", [30, 100, 300, 1000])
@pytest.mark.parametrize("name", ["a.gpkg", "a.fgb", "a.shp"])
def test_truncated_binaries(tmp_path, name, cut):
    import geopandas

    table = geopandas.GeoDataFrame({"kind": ["green"] * 40}, geometry=[GREEN] * 40, crs=4326)
    table.to_file(tmp_path / name)
    (tmp_path / name).write_bytes((tmp_path / name).read_bytes()[:cut])
    try:
        found = read_boundaries(tmp_path / name)
    except Refused as problem:
        assert problem.faults[0].remedy
    else:
        assert len(found.features) < 40 or cut >= 1000


def test_paths_that_are_none(tmp_path):
    assert "there is no such file" in text_of(tmp_path / "none.kml")
    assert "is a folder" in text_of(tmp_path)


def test_too_large(tmp_path, monkeypatch):
    monkeypatch.setattr(unpack, "MAXIMUM_BYTES", 1000)
    (tmp_path / "a.geojson").write_text(" " * 2000)
    assert "is larger than" in text_of(tmp_path / "a.geojson")


def test_a_ring_of_a_million_vertices_costs_itself(tmp_path, write_geojson):
    ring = [[LON + k * 1e-9, LAT + (k % 2) * 1e-9] for k in range(300_000)]
    huge = {"type": "Feature", "properties": {}, "geometry": {
        "type": "Polygon", "coordinates": [[*ring, ring[0]]]}}  # fmt: skip
    found = read_boundaries(write_geojson([huge, feature(GREEN, kind="green")]))
    assert len(found.features) == 1
    assert "a ring has 300,001 vertices; at most 200,000 are read" in found.tally.left_out[0].reason


def test_deep_folders_and_collections(tmp_path, write_geojson):
    (tmp_path / "a.kml").write_text(
        "<kml>" + "<Folder>" * 5000 + KML[KML.index("<Placemark") : KML.index("</kml>")]
        + "</Folder>" * 5000 + "</kml>"
    )  # fmt: skip
    assert len(read_boundaries(tmp_path / "a.kml").features) == 1
    shape = json.loads(shapely.to_geojson(GREEN))
    for _ in range(50):
        shape = {"type": "GeometryCollection", "geometries": [shape]}
    path = write_geojson([{"type": "Feature", "properties": {}, "geometry": shape}])
    assert "too deeply nested" in read_boundaries(path).tally.left_out[0].reason


def test_names_with_markup_and_direction_marks_are_text(write_geojson):
    name = "<script>alert(1)</script>\u202e=cmd()\x07"
    found = read_boundaries(write_geojson([feature(GREEN, name=name, kind="green")]))
    assert found.features.name[0] == "<script>alert(1)</script>=cmd()"
    assert found.features.id[0] == "script-alert-1-script-cmd"


def test_no_trace_is_left_in_the_temporary_folder(tmp_path, monkeypatch):
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "t"))
    (tmp_path / "t").mkdir()
    (tmp_path / "a.kml").write_text(KML)
    read_boundaries(tmp_path / "a.kml")
    text_of(zipped(tmp_path, {"../a.kml": KML}))
    assert os.listdir(tmp_path / "t") == []


@pytest.mark.parametrize("seed", range(60))
def test_damaged_text_never_escapes_as_another_error(tmp_path, seed):
    """Bytes changed at random in KML, GeoJSON and survey text: read or refused, nothing else."""
    import random

    chance = random.Random(seed)
    sources = {
        "a.kml": KML.encode(),
        "a.geojson": json.dumps({"type": "FeatureCollection", "features": [
            feature(GREEN, kind="green", id="g")]}).encode(),
        "a.csv": b"P,N,E,Z,D\n1,53.3,9.9,1,GRN\n2,53.3,9.9004,1,GRN\n3,53.3004,9.9,1,GRN CL\n",
    }  # fmt: skip
    for name, content in sources.items():
        damaged = bytearray(content)
        for _ in range(chance.randint(1, 8)):
            damaged[chance.randrange(len(damaged))] = chance.randrange(256)
        (tmp_path / name).write_bytes(bytes(damaged))
        try:
            read_boundaries(tmp_path / name, crs="EPSG:4326" if name == "a.csv" else None)
        except Refused as problem:
            assert str(problem)


def test_integers_that_no_float_holds_cost_what_they_stand_in(tmp_path, write_geojson):
    huge = 10**400  # JSON sets no limit (RFC 8259, section 6)
    counted = read_boundaries(write_geojson([feature(GREEN, kind="green", number=huge)]))
    assert str(counted.tally).startswith("1 read, 1 became a surface")
    nodes = [{"type": "node", "id": k, "lat": LAT, "lon": LON} for k in range(3)]
    way = {"type": "way", "id": 9, "nodes": [0, 1, 2, 0], "tags": {"golf": "green"}}
    query = {"elements": [*nodes[:2], {**nodes[2], "lat": huge}, way]}
    (tmp_path / "q.json").write_text(json.dumps(query))
    (left,) = read_boundaries(tmp_path / "q.json").tally.left_out
    assert left.lost and left.reason == "1 of its 4 corners are not in the file"
    (tmp_path / "w.csv").write_text(f'kind,wkt\ngreen,"SRID={"1" * 5000};{GREEN.wkt}"\n')
    (left,) = read_boundaries(tmp_path / "w.csv").tally.left_out
    assert left.lost and "its WKT can not be read" in left.reason


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -float("inf")])
@pytest.mark.parametrize("name", ["a.gpkg", "a.fgb", "a.parquet"])
def test_a_corner_that_is_no_number_costs_no_other_outline_its_place(tmp_path, name, value):
    import geopandas

    shapes = [blob(80 * k, 0, 13) for k in range(3)]
    broken = shapely.get_coordinates(shapes[1])
    broken[3, 0] = value
    with np.errstate(invalid="ignore"):
        shapes[1] = shapely.Polygon(broken)
        frame = geopandas.GeoDataFrame({"kind": ["green"] * 3}, geometry=shapes, crs=UTM)
        frame.to_parquet(tmp_path / name) if "parquet" in name else frame.to_file(tmp_path / name)
    found = read_boundaries(tmp_path / name)
    assert [left.reason for left in found.tally.left_out] == ["a coordinate is not finite"]
    meant = [shapely.area(to_lon_lat(shapes[k])) for k in (0, 2)]
    assert shapely.area(found.features.geometry) == pytest.approx(meant, rel=1e-9)


def test_places_near_the_largest_float_cost_only_their_outline(tmp_path):
    """The tests make a warning of NumPy an error."""
    far, arc = "1e308 -1e308", '<Curve rot="cw"><Start>{0}</Start><Center>{1}</Center>'
    near = "5906000 560000"
    arc = f"{arc.format(near, far)}<End>{near}</End></Curve>"
    line = f"<Line><Start>{far}</Start><End>-{far}</End></Line>"
    corners = ["5906000 560000", "5906000 560020", "5906020 560000"]
    pairs = zip(corners, [*corners[1:], corners[0]], strict=True)
    sound = "".join(f"<Line><Start>{a}</Start><End>{b}</End></Line>" for a, b in pairs)
    parcels = "".join(
        f'<Parcel name="Green {k}"><CoordGeom>{side}</CoordGeom></Parcel>'
        for k, side in enumerate((sound, arc))
    )
    (tmp_path / "a.xml").write_text(f"<LandXML>{parcels}</LandXML>")
    found = read_boundaries(tmp_path / "a.xml", crs=UTM)
    assert len(found.features) == 1
    assert [left.reason for left in found.tally.left_out] == ["a coordinate is not finite"]
    parcels += f'<Parcel name="Green 3"><CoordGeom>{2 * line}</CoordGeom></Parcel>'
    (tmp_path / "a.xml").write_text(f"<LandXML>{parcels}</LandXML>")
    found = read_boundaries(tmp_path / "a.xml", crs=UTM)
    assert found.features.name.tolist() == ["Green 0"]
    assert [left.reason for left in found.tally.left_out] == [
        "a coordinate is not finite",
        "its sides do not follow each other",
    ]


def test_parts_of_a_shapefile_that_is_not_there_are_told(tmp_path):
    content = json.dumps(feature(GREEN, id="g1", kind="green"))
    path = zipped(tmp_path, {"a.geojson": content, "tees.dbf": "x", "tees.shx": "y"})
    (told,) = (f.text for f in read_boundaries(path).findings if "not read" in f.text)
    assert told == "not read from the archive: tees.dbf, tees.shx"


def test_a_hidden_boundary_file_is_no_note_of_the_system(tmp_path):
    one, two = (
        json.dumps(feature(shapely.affinity.translate(GREEN, k), kind="green")) for k in (0, 1e-3)
    )
    path = zipped(
        tmp_path, {".a.geojson": one, "b.geojson": two, "._b.geojson": "x", ".DS_Store": "x"}
    )
    found = read_boundaries(path)
    assert len(found.features) == 2
    assert not [f for f in found.findings if "not read" in f.text]


def test_names_of_letters_of_four_bytes_are_as_long_as_a_system_takes(tmp_path):
    path = zipped(
        tmp_path, {"\U00020000" * 90 + ".geojson": json.dumps(feature(GREEN, kind="green"))}
    )
    assert len(read_boundaries(path).features) == 1


def _in_the_list(content, place, value):
    """The archive with a byte of its first entry in the list at its end changed."""
    at = content.find(b"PK\1\2") + place
    return content[:at] + bytes([value]) + content[at + 1 :]


@pytest.mark.parametrize(
    ("change", "text"),
    [
        (lambda c: _in_the_list(c, 8, 1), "has a password, or is packed in an unusual way"),
        (lambda c: _in_the_list(c, 10, 99), "has a password, or is packed in an unusual way"),
        (lambda c: _in_the_list(c, 16, c[c.find(b"PK\1\2") + 16] ^ 1), "is damaged. Send"),
        (lambda c: _in_the_list(c, 10, 12), "it is damaged"),
        (lambda c: _in_the_list(_in_the_list(c, 9, 8), 46, 0xFF), "is damaged. Send"),
        (lambda c: c[:-30], "is an archive or a workbook that is not whole"),
    ],
    ids=["password", "method", "sum", "bz2", "name", "cut"],
)
def test_archives_that_are_damaged_or_locked_say_which(tmp_path, change, text):
    path = zipped(tmp_path, {"a.geojson": json.dumps(feature(GREEN, kind="green"))})
    path.write_bytes(change(path.read_bytes()))
    assert text in text_of(path)


def test_an_archive_of_lzma_that_is_damaged(tmp_path):
    path = tmp_path / "in.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_LZMA) as archive:
        archive.writestr("a.geojson", json.dumps(feature(GREEN, kind="green")))
    content = path.read_bytes()
    path.write_bytes(content[:48] + b"\xff" * 40 + content[88:])  # behind its head
    assert "is damaged. Send" in text_of(path)
