"""One workbook of records in place of the CSV files."""

from __future__ import annotations

import datetime
import io
import warnings
import zipfile
from collections.abc import Callable

import numpy as np
import openpyxl
import pytest

from geosand.errors import Faults
from geosand.formats.site_folder import read_site
from geosand.formats.workbook import read_records
from tests.sites import CATCHES, refusal

DRESSINGS = [
    ["dressing", "date", "surfaces", "planned_depth_mm"],
    ["D1", datetime.date(2026, 4, 10), "green", 0.6],
]
LOADS = [
    ["load", "dressing", "count", "unit_mass_kg", "u_unit_mass_kg", "u_label_percent"],
    [1, "D1", 52, 25, 0.25, 1],
]
ROWS = [list(CATCHES[0]), *[list(row.values()) for row in CATCHES]]
NO_CSV = {"dressings": None, "loads": None, "catches": None}


def workbook(**sheets) -> bytes:
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


@pytest.fixture
def with_book(site_folder):
    def make(content: bytes, **overrides):
        return site_folder("book", files={"records.xlsx": content}, **(NO_CSV | overrides))

    return make


def test_a_workbook_gives_the_same_site_as_csv_files(with_book, site_folder):
    content = workbook(Dressings=DRESSINGS, loads=LOADS, catches=ROWS, notes=[["whatever"], [1, 2]])
    book = read_site(with_book(content))
    text = "dressing,date,surfaces,planned_depth_mm\nD1,2026-04-10,green,0.6\n"
    loads = "\n".join(",".join(str(c) for c in row) for row in LOADS)
    plain = read_site(site_folder("csv", dressings=text, loads=loads))
    for one, other in zip(
        (book.dressings, book.dressed, book.loads, book.catches),
        (plain.dressings, plain.dressed, plain.loads, plain.catches),
        strict=True,
    ):
        for name in one.__dataclass_fields__:
            a, b = getattr(one, name), getattr(other, name)
            # a workbook keeps 16 digits of a number
            close = np.allclose(a, b, rtol=1e-14, equal_nan=True) if a.dtype.kind == "f" else a == b
            assert np.all(close), name
    assert book.loads.id.tolist() == ["1"]
    assert book.findings == ()


def test_rows_are_numbered_as_the_sheet_shows_them(with_book):
    rows = [[], DRESSINGS[0], [], [], ["D1", "2026-04-10", "nowhere", 0.6]]
    found = refusal(with_book(workbook(dressings=rows, loads=LOADS)))
    assert found == [
        "records.xlsx, sheet dressings, row 5, surfaces: 'nowhere' is neither a surface's id nor a"
        " kind in the boundaries. Write ids or kinds, spaces between."
    ]


@pytest.mark.parametrize(
    ("cell", "words"),
    [
        (46122, "'46122' is not a date; allowed: year-month-day as in 2026-04-30. It looks like a"),
        (datetime.time(7, 30), "'07:30:00' is not a date"),
        (datetime.timedelta(days=3), "is not a date"),
        (True, "'True' is not a date"),
        ("10.04.2026", "'10.04.2026' is not a date"),
    ],
)
def test_cells_that_are_no_dates(with_book, cell, words):
    rows = [DRESSINGS[0], ["D1", cell, "green", 0.6]]
    found = refusal(with_book(workbook(dressings=rows, loads=LOADS)))
    assert len(found) == 1
    assert found[0].startswith("records.xlsx, sheet dressings, row 2, date: ")
    assert words in found[0]


@pytest.mark.parametrize(
    "cell", [True, datetime.datetime(2026, 4, 1), datetime.timedelta(1), "#DIV/0!", "0,6", "0.6 mm"]
)
def test_cells_that_are_no_numbers(with_book, cell):
    rows = [DRESSINGS[0], ["D1", "2026-04-10", "green", cell]]
    found = refusal(with_book(workbook(dressings=rows, loads=LOADS)))
    assert len(found) == 1
    assert found[0].startswith("records.xlsx, sheet dressings, row 2, planned_depth_mm: ")
    assert " is not a number" in found[0]


def test_a_date_with_a_time_is_a_date(with_book):
    rows = [DRESSINGS[0], ["D1", datetime.datetime(2026, 4, 10, 7, 30), "green", "0.6"]]
    site = read_site(with_book(workbook(dressings=rows, loads=LOADS)))
    assert str(site.dressings.date[0]) == "2026-04-10"


def test_a_formula_without_its_result_is_no_blank(with_book):
    rows = [LOADS[0], [1, "D1", "=50+2", 25, 0.25, 1]]
    found = refusal(with_book(workbook(dressings=DRESSINGS, loads=rows)))
    assert found[0] == (
        "records.xlsx, sheet loads, row 2, count: a formula without its result. Open the workbook,"
        " let it calculate, and save it; or write the value."
    )


def test_a_workbook_beside_csv_files_is_refused(with_book):
    content = workbook(dressings=DRESSINGS, loads=LOADS)
    found = refusal(with_book(content, loads="load,dressing,count,unit_mass_kg\nL1,D1,1,1\n"))
    assert found == [
        "records.xlsx: stands beside loads.csv. Keep the workbook or the CSV files, not both."
    ]


def test_catches_may_stand_in_geojson_beside_a_workbook(with_book):
    from tests.sites import points

    content = workbook(dressings=DRESSINGS, loads=LOADS)
    site = read_site(with_book(content, catches=points(CATCHES)))
    assert len(site.catches) == 6
    both = workbook(dressings=DRESSINGS, loads=LOADS, catches=ROWS)
    assert refusal(with_book(both, catches=points(CATCHES))) == [
        "catches.geojson: stands beside records.xlsx, sheet catches. Keep one of the two, so that"
        " no catch counts twice."
    ]


def test_headers_twice_and_cells_outside_them(with_book):
    rows = [[*DRESSINGS[0], "date", None], [*DRESSINGS[1], "", None, "stray"]]
    found = refusal(with_book(workbook(dressings=rows, loads=LOADS)))
    assert found == [
        "records.xlsx, sheet dressings, row 1: column 'date' stands twice. Keep one of them.",
        "records.xlsx, sheet dressings, row 2: a cell outside the named columns. Name every column"
        " that holds something.",
    ]


def test_a_workbook_without_dressings(with_book):
    assert refusal(with_book(workbook(loads=LOADS))) == [
        "records.xlsx: no dressings are recorded here. Add the dressings that the loads and catches"
        " name."
    ]


def with_sheets(content: bytes, change: Callable[[bytes], bytes]) -> bytes:
    """The same archive with the sheets' XML changed."""
    stream = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(stream, "w") as new:
        for entry in old.infolist():
            data = old.read(entry)
            new.writestr(entry, change(data) if "worksheets" in entry.filename else data)
    return stream.getvalue()


def broken(content: bytes) -> bytes:
    """Sheets cut in two."""
    return with_sheets(content, lambda data: data[: len(data) // 2])


def with_entity(content: bytes) -> bytes:
    """Sheets that declare an entity, as files do that read others or fill the memory."""
    return with_sheets(content, lambda data: b'<!DOCTYPE x [<!ENTITY a "b">]>' + data)


GOOD = workbook(dressings=DRESSINGS, loads=LOADS)


NO_WORKBOOKS = ("not a workbook that can be read", "no workbook (.xlsx)")


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"PK",
        b"not a zip",
        GOOD[:-300],
        broken(GOOD),
        with_entity(GOOD),
        b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" * 64,
    ],
    ids=["empty", "two bytes", "text", "cut off", "cut XML", "an entity", "the old format"],
)
def test_no_workbook_at_all_is_the_only_fault(with_book, content):
    found = refusal(with_book(content))
    assert len(found) == 1
    old = content.startswith(b"\xd0\xcf")
    said = ["an old workbook (.xls), or has a password"] if old else NO_WORKBOOKS
    assert found[0].startswith(tuple(f"records.xlsx: is {words}" for words in said))
    assert found[0].endswith("Open it in a spreadsheet program and save it as .xlsx.")
    assert ".." not in found[0]


def test_an_archive_that_unpacks_to_far_more_is_refused(with_book):
    stream = io.BytesIO()
    with (
        zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive,
        archive.open("xl/worksheets/sheet1.xml", "w") as entry,
    ):
        for _ in range(201):
            entry.write(bytes(1_000_000))
    assert len(stream.getvalue()) < 1_000_000
    assert refusal(with_book(stream.getvalue())) == [
        "records.xlsx: unpacks to more than 200 MB. Save it anew, without what is not needed."
    ]


@pytest.mark.parametrize("claimed", [b"A1:XFD1048576", b"A1:A1"])
def test_a_claimed_dimension_is_not_believed(with_book, claimed):
    """Neither a million empty columns nor a sheet cut short by what the file says of itself."""
    stream = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(GOOD)) as old, zipfile.ZipFile(stream, "w") as new:
        for entry in old.infolist():
            data = old.read(entry)
            if entry.filename == "xl/worksheets/sheet2.xml":
                assert b'ref="A1:F2"' in data
                data = data.replace(b'ref="A1:F2"', b'ref="' + claimed + b'"')
            new.writestr(entry, data)
    loads = read_site(with_book(stream.getvalue())).loads
    assert (loads.count.tolist(), loads.unit_mass_kg.tolist()) == ([52.0], [25.0])


def in_parts(content: bytes, change: Callable[[str, bytes], bytes | None]) -> bytes:
    """The workbook with each of its parts changed; None leaves it out."""
    stream = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(stream, "w") as new:
        for name in old.namelist():
            if (data := change(name, old.read(name))) is not None:
                new.writestr(name, data)
    return stream.getvalue()


@pytest.mark.parametrize("column", [301, 302, 303, 313, 703, 16_384])
def test_what_stands_too_far_right_is_not_left_unread(with_book, column):
    book = openpyxl.load_workbook(
        io.BytesIO(workbook(dressings=DRESSINGS, loads=LOADS, catches=ROWS))
    )
    book["catches"].cell(1, column).value = "reject_reason"
    book["catches"].cell(3, column).value = "wet"
    stream = io.BytesIO()
    book.save(stream)
    told = "\n".join(refusal(with_book(stream.getvalue())))
    letters = openpyxl.utils.get_column_letter(column)
    assert f"row 1: something stands in column {letters}" in told or "has 301 columns" in told
    book["catches"].cell(1, column).value = book["catches"].cell(3, column).value = None
    book["catches"].cell(3, column).font = openpyxl.styles.Font(bold=True)  # and holds nothing
    stream = io.BytesIO()
    book.save(stream)
    assert len(read_site(with_book(stream.getvalue())).catches) == len(CATCHES)


def test_far_cells_that_some_writers_fill_with_nothing_are_nothing(with_book):
    content = workbook(dressings=DRESSINGS, loads=LOADS, catches=ROWS)
    nothing = b'<c r="NA2" t="str"><v></v></c></row></sheetData>'
    filled = in_parts(content, lambda _, data: data.replace(b"</row></sheetData>", nothing))
    assert nothing in zipfile.ZipFile(io.BytesIO(filled)).read("xl/worksheets/sheet3.xml")
    assert len(read_site(with_book(filled)).catches) == len(CATCHES)


@pytest.mark.parametrize(("part", "name"), [(2, "loads"), (3, "catches")])
def test_a_sheet_that_a_damaged_workbook_lacks_is_told(with_book, part, name):
    content = workbook(dressings=DRESSINGS, loads=LOADS, catches=ROWS)
    lost = in_parts(content, lambda n, data: None if n.endswith(f"/sheet{part}.xml") else data)
    told = f"records.xlsx, sheet {name}: is named in the workbook, and is not in it"
    assert refusal(with_book(lost))[0].startswith(told)


def test_a_cell_of_numbers_that_holds_none_is_told_in_words(with_book):
    content = workbook(dressings=DRESSINGS, loads=LOADS, catches=ROWS)
    odd = in_parts(content, lambda _, data: data.replace(b"<v>52</v>", b"<v>NaN</v>"))
    assert refusal(with_book(odd)) == [
        "records.xlsx: holds 'NaN' in a cell of numbers."
        " Open it in a spreadsheet program and save it as .xlsx."
    ]


@pytest.mark.parametrize(("held", "shown"), [(0.02, "0%"), (0.07, "0.00%"), (0.035, '0.0" "%')])
def test_a_percentage_is_what_the_cell_shows(held, shown, with_book):
    """A spreadsheet keeps 2 % as 0.02: taken as it is, it would be a hundredth of what is meant."""
    book = openpyxl.load_workbook(
        io.BytesIO(workbook(dressings=DRESSINGS, loads=LOADS, catches=ROWS))
    )
    cell = book["loads"]["F2"]
    cell.value, cell.number_format = held, shown
    stream = io.BytesIO()
    book.save(stream)
    site = read_site(with_book(stream.getvalue()))
    assert site.loads.u_label.tolist() == [held]
    for text_only in ('0.0" %"', "0.0 \\%"):  # shows 2 as 2 %
        cell.value, cell.number_format = held * 100, text_only
        book.save(stream := io.BytesIO())
        assert read_site(with_book(stream.getvalue())).loads.u_label.tolist() == [held]
    book["loads"]["C2"].number_format = "0%"  # 5,200 % of a bag are 52 bags
    book.save(stream := io.BytesIO())
    assert read_site(with_book(stream.getvalue())).loads.count.tolist() == [52.0]


def test_too_little_memory_is_no_fault_of_the_workbook(with_book, monkeypatch):
    def full(content: bytes) -> str:
        raise MemoryError

    monkeypatch.setattr("geosand.formats.workbook.too_much", full)
    with pytest.raises(MemoryError):
        read_site(with_book(workbook(dressings=DRESSINGS, loads=LOADS, catches=ROWS)))


def test_rows_of_a_dressing_set_unlike_are_read_as_from_csv(with_book, site_folder):
    head = ["dressing", "date", "surfaces", "setting", "speed_kmh"]
    day = datetime.date(2026, 4, 10)
    rows = [head, ["D1", day, "g1", 4, 6], ["D1", day, "g2", "B4", 7.5], ["D1", day, "t1", 4.5]]
    book = read_site(with_book(workbook(dressings=rows, loads=LOADS, catches=ROWS)))
    text = "\n".join(",".join(str(c) for c in row) for row in rows)
    plain = read_site(site_folder("csv", dressings=f"{text},\n"))
    for site in (book, plain):
        assert site.dressed.setting.tolist() == ["4", "B4", "4.5"]
        np.testing.assert_allclose(site.dressed.speed_m_s * 3.6, [6, 7.5, np.nan])


def test_what_the_reader_would_not_write_again_is_its_own_business():
    """Lists to pick from in another sheet are an extension that openpyxl warns about and drops."""
    ending = b"</worksheet>"
    lists = b'<extLst><ext uri="{CCE6A557-97BC-4b89-ADB6-D9C93CAAB3DF}"/></extLst>'
    old = zipfile.ZipFile(io.BytesIO(workbook(loads=LOADS)))
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w") as archive:
        for name in old.namelist():
            archive.writestr(name, old.read(name).replace(ending, lists + ending))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        tables = read_records(content.getvalue(), "records.xlsx", ["loads"], Faults(), [])
    assert tables["loads"].columns["unit_mass_kg"] == [25]
