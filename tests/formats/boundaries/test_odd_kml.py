"""KML and GPX as they are handed over: folders, tracks, schemas, prefixes, decimal commas."""

import zipfile
from xml.etree import ElementTree

import numpy as np
import pytest
import shapely

from geosand.formats.boundaries import read_boundaries
from geosand.formats.boundaries.files.xml_layers import check_whole_xml, root_of

from .conftest import blob, texts_of, to_lon_lat
from .kml_files import kml, placemark, square


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


@pytest.mark.parametrize("read", [root_of, check_whole_xml])
def test_xml_goes_to_its_parser_in_one_piece(tmp_path, monkeypatch, read):
    """Fed in pieces, a tag is read again from its start with each: 30 MB of one attribute took
    7 and 26 s, by the square of its length (CVE-2023-52425 of Expat 2.5)."""
    place = kml(tmp_path, placemark("green" * 20_000, square(1)))
    fed = []

    class Counting(ElementTree.XMLParser):
        def feed(self, data):
            fed.append(len(data))
            return super().feed(data)

    monkeypatch.setattr(ElementTree, "XMLParser", Counting)
    read(place, place.name)
    assert fed == [place.stat().st_size]
