"""Shapefiles whose files are not of one export: nothing is left out unsaid, no name goes astray."""

import zipfile

import geopandas
import pytest
import shapely

from geosand.errors import Refused
from geosand.formats.boundaries import read_boundaries
from tests.formats.boundaries.conftest import UTM, blob


@pytest.fixture
def parts(tmp_path):
    """The files of a Shapefile of so many greens, by ending."""

    def made(number, names=None, encoding="UTF-8"):
        frame = geopandas.GeoDataFrame(
            {"name": names or [f"Green {k + 1}" for k in range(number)], "kind": "green"},
            geometry=[blob(80 * k, 0, 12 + k) for k in range(number)],
            crs=UTM,
        )
        frame.to_file(tmp_path / "made.shp", encoding=encoding)
        files = tmp_path.glob("made.*")
        return {file.suffix[1:]: file.read_bytes() for file in files}

    return made


@pytest.fixture
def read(tmp_path):
    def from_parts(files):
        (tmp_path / "handed").mkdir()
        for ending, content in files.items():
            (tmp_path / f"handed/a.{ending}").write_bytes(content)
        found = read_boundaries(tmp_path / "handed/a.shp")
        return found.features, " | ".join(f.text for f in found.findings)

    return from_parts


@pytest.mark.parametrize(("outlines", "rows"), [(6, 4), (4, 6)])
def test_a_table_of_another_export_is_refused(parts, read, outlines, rows):
    files = parts(outlines) | {"dbf": parts(rows)["dbf"]}
    text = f"table \\(.dbf\\) has {rows} rows for the {outlines} outlines of its index"
    with pytest.raises(Refused, match=text) as refusal:
        read(files)
    assert "Hand over all files of one export" in str(refusal.value)


def test_outlines_that_an_older_index_does_not_name_are_told(parts, read):
    older = parts(4)
    features, told = read(parts(6) | {"shx": older["shx"], "dbf": older["dbf"]})
    assert len(features) == 4
    assert "it holds outlines that its index (.shx) does not name: they are not read" in told


def test_the_room_of_an_outline_that_was_changed_is_no_outline(parts, read):
    """A larger one is put at the end of the file in place of the one that was there."""
    files = parts(4)
    index, shapes = bytearray(files["shx"]), bytearray(files["shp"])
    begin, size = (int.from_bytes(index[k : k + 4], "big") * 2 for k in (108, 112))
    index[108:112] = (len(shapes) // 2).to_bytes(4, "big")
    shapes += shapes[begin : begin + size + 8]
    shapes[24:28] = (len(shapes) // 2).to_bytes(4, "big")
    features, told = read(files | {"shx": bytes(index), "shp": bytes(shapes)})
    assert features.name.tolist() == [f"Green {k + 1}" for k in range(4)]
    assert "does not name" not in told


def test_rows_that_are_marked_as_deleted_are_told(parts, read):
    files = parts(4)
    table = bytearray(files["dbf"])
    start, width = (int.from_bytes(table[k : k + 2], "little") for k in (8, 10))
    table[start + width] = ord("*")
    features, told = read(files | {"dbf": bytes(table)})
    assert features.name.tolist() == ["Green 1", "Green 3", "Green 4"]
    assert "1 row of its table is marked as deleted" in told


def test_an_empty_table_is_told(parts, read):
    features, told = read(parts(2) | {"dbf": b""})
    assert len(features) == 2
    assert "its table (.dbf) is empty: names and kinds are lost" in told


@pytest.mark.parametrize(
    ("written", "page", "name", "text"),
    [
        ("ISO-8859-1", "UTF-8", "Étang", "says UTF-8, which its table is not: read as CP1252"),
        ("UTF-8", "ISO-8859-1", "Ãtang", "and its table looks like UTF-8: look at accents"),
        ("UTF-8", "ANSI 1252", "Ã‰tang", "and its table looks like UTF-8: look at accents"),
    ],
)
def test_a_cpg_that_is_wrong_is_told(parts, read, written, page, name, text):
    files = parts(2, ["Étang", "Green"], written) | {"cpg": page.encode()}
    features, told = read(files)
    assert features.name.tolist() == [name, "Green"]
    assert text in told


def test_files_of_one_export_say_nothing(parts, read):
    features, told = read(parts(3, ["Étang", "Ñandú", "Green"]))
    assert features.name.tolist() == ["Étang", "Ñandú", "Green"]
    assert "table" not in told
    assert "index" not in told
    assert shapely.is_valid(features.geometry).all()


@pytest.mark.parametrize("ending", ["shx", "dbf", "prj", "CPG"])
def test_who_names_a_part_is_told_which_file_to_name(parts, tmp_path, ending):
    (tmp_path / f"a.{ending}").write_bytes(parts(1)[ending.lower()])
    with pytest.raises(
        Refused, match=r"is a part of a Shapefile. Name a.shp, with which it is read"
    ):
        read_boundaries(tmp_path / f"a.{ending}")


def test_an_index_in_another_order_is_told(parts, read):
    """Each outline has its number before it: ESRI, Shapefile Technical Description, page 5."""
    files = parts(3)
    index = files["shx"]
    features, told = read(
        files | {"shx": index[:100] + index[108:116] + index[100:108] + index[116:]}
    )
    assert len(features) == 3
    assert "names the outlines in another order than they are numbered in" in told


@pytest.mark.parametrize("numbers", [(0, 0, 0), (5, 6, 7), (1, 1, 1), (1, 3, 4), (-1, -1, -1)])
def test_numbers_may_begin_anywhere_leave_some_out_or_be_none(parts, read, numbers):
    files = parts(3)
    shapes, index = bytearray(files["shp"]), files["shx"]
    for k, number in enumerate(numbers):
        begun = int.from_bytes(index[100 + 8 * k : 104 + 8 * k], "big") * 2
        shapes[begun : begun + 4] = number.to_bytes(4, "big", signed=True)
    assert "another order" not in read(files | {"shp": bytes(shapes)})[1]


@pytest.mark.parametrize("place", [8, 10], ids=["head", "row"])
def test_a_table_that_can_not_be_read_is_told(parts, read, place):
    table = bytearray(parts(2)["dbf"])
    table[place : place + 2] = (50).to_bytes(2, "little")
    features, told = read(parts(2) | {"dbf": bytes(table)})
    assert len(features) == 2
    assert "no column of its table (.dbf) can be read: names and kinds are lost" in told


@pytest.mark.parametrize("page", [b"UTF-16", b"UTF-32LE", b"CP037"])
def test_a_cpg_that_can_be_of_no_table_is_not_followed(parts, read, page):
    """The driver reads other words out of plain letters, or none."""
    assert read(parts(2) | {"cpg": page})[0].name.tolist() == ["Green 1", "Green 2"]


@pytest.mark.parametrize("page", [0, 3])
def test_a_cpg_that_can_be_of_no_table_is_told_where_it_matters(parts, read, page):
    """Also where byte 29 of the table names a page: the driver asks the .cpg first."""
    files = parts(2, ["Étang", "Green"], "ISO-8859-1")
    table = files["dbf"][:29] + bytes([page]) + files["dbf"][30:]
    features, told = read(files | {"dbf": table, "cpg": b"UTF-16"})
    assert features.name.tolist() == ["Étang", "Green"]
    assert "does not say its encoding (.cpg says UTF-16): read as CP1252; look at accents" in told


@pytest.mark.parametrize(
    ("old", "new", "text"),
    [
        ("]]", "", "what says its reference system (.prj) is damaged"),
        ('"Scale_Factor",0.9996', '"Scale_Factor",0', "has numbers that can not be"),
    ],
)
def test_a_damaged_prj_is_refused_in_words(parts, read, old, new, text):
    files = parts(1)
    wrong = files["prj"].decode().replace(old, new)
    assert wrong != files["prj"].decode()
    with pytest.raises(Refused) as told:
        read(files | {"prj": wrong.encode()})
    assert text in str(told.value)


@pytest.mark.parametrize("stem", ["Course", "COURSE"])
def test_parts_in_an_archive_may_differ_in_capitals(stem, parts, tmp_path):
    """As some file systems hand them over; the names in its table stay with it."""
    with zipfile.ZipFile(tmp_path / "course.zip", "w") as archive:
        for ending, content in parts(2).items():
            upper = ending in ("dbf", "shp")
            archive.writestr(f"{stem if upper else stem.lower()}.{ending}", content)
    found = read_boundaries(tmp_path / "course.zip")
    assert found.features.name.tolist() == ["Green 1", "Green 2"]
    assert found.source_crs


def test_parts_of_two_shapefiles_that_differ_in_capitals_stay_with_their_own(parts, tmp_path):
    with zipfile.ZipFile(tmp_path / "course.zip", "w") as archive:
        for stem, lacking in (("Course", ()), ("course", ("dbf",))):
            for ending, content in parts(2).items():
                if ending not in lacking:
                    archive.writestr(f"{stem}.{ending}", content)
    found = read_boundaries(tmp_path / "course.zip").features
    places = dict(zip(found.name.tolist(), found.place.tolist(), strict=True))
    assert all(places[name].startswith("Course.shp") for name in ("Green 1", "Green 2"))
