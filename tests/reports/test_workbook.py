"""The workbook, read back: real numbers and dates, units in the heads, no formula, no text lost."""

from __future__ import annotations

import datetime
import io
import time

import openpyxl
import pytest

from geosand.formats.site_folder import read_site
from geosand.formats.workbook_writing import Sheet, SheetColumn, workbook
from geosand.reports.balance_document import balance_document
from geosand.reports.season_document import season_document
from geosand.reports.workbook import results_workbook
from geosand.results import work_out
from tests.sites import G1, LOADS, square, surface, write_site

DAY = datetime.date(2026, 9, 1)


def opened(content: bytes):
    return openpyxl.load_workbook(io.BytesIO(content))


def columns(page):
    heads = [cell.value for cell in page[1]]
    return {head: [row[k] for row in page.iter_rows(min_row=2)] for k, head in enumerate(heads)}


@pytest.fixture(scope="module")
def book(demo):
    return opened(results_workbook(demo, "metric"))


def test_sheets_and_frozen_panes(book):
    titles = "balance|season balance|surfaces by dressing|season|rings|areas|catches|budget"
    titles += "|findings|inputs|notes"
    assert book.sheetnames == titles.split("|")
    assert all(page.freeze_panes for page in book)
    assert book["surfaces by dressing"].freeze_panes == "E2"
    assert book["balance"].print_title_rows == "$1:$1"


def test_balance_holds_the_documents_figures(book, demo):
    found = columns(book["balance"])
    dressings = balance_document(demo)["dressings"]
    assert [c.value for c in found["dressing"]] == [d["dressing"] for d in dressings]
    for head, part, key in (
        ("spread, kg", "spread", "mass_kg"),
        ("on surfaces, low, kg", "on_surfaces", "low_kg"),
        ("overthrow, kg", "overthrow", "mass_kg"),
        ("overthrow over spread", "overthrow", "fraction"),
        ("reach, m", "overthrow", "reach_m"),
    ):
        assert [c.value for c in found[head]] == pytest.approx([d[part][key] for d in dressings])
    assert all(c.is_date and c.number_format == "yyyy-mm-dd" for c in found["date"])
    assert found["date"][0].value.date().isoformat() == dressings[0]["date"]
    assert {c.number_format for c in found["spread, kg"]} == {"#,##0"}
    assert {c.number_format for c in found["overthrow over spread"]} == {"0.0%"}
    assert {c.value for c in found["methods agree"]} <= {"yes", "no", None}


def test_season_in_us_units(demo):
    page = opened(results_workbook(demo, "us"))["season"]
    found = columns(page)
    rows = [s for s in season_document(demo)["surfaces"] if "around" not in s]
    inches = [cell.value for cell in found["depth so far, in"]]
    assert inches == pytest.approx([row["depth_mm"] / 25.4 for row in rows])
    assert {c.number_format for c in found["depth so far, in"]} == {"#,##0.000"}


def test_sums_of_a_sheet_are_those_of_the_balance(book, demo):
    """Mass on each surface adds up to the mass on the surfaces of its dressing."""
    found = columns(book["surfaces by dressing"])
    for dressing in balance_document(demo)["dressings"]:
        mass = sum(
            m.value
            for d, m in zip(found["dressing"], found["mass, kg"], strict=True)
            if d.value == dressing["dressing"]
        )
        assert mass == pytest.approx(dressing["on_surfaces"]["mass_kg"])


def test_files_are_named_with_their_digests(book, demo):
    found = columns(book["inputs"])
    written = dict(
        zip((c.value for c in found["file"]), (c.value for c in found["SHA-256"]), strict=True)
    )
    assert written == dict(demo.site.inputs)
    assert len(written) == 6


HOSTILE = ["=1+1", "+1", "-1", "@SUM(A1)", '=HYPERLINK("http://example.org")']


def test_text_of_people_is_never_a_formula(tmp_path):
    features = [
        surface(f"s{k}", "green", square(G1[0] + 0.001 * k, G1[1], 12.0), name=name)
        for k, name in enumerate(HOSTILE)
    ]
    features.append(surface("last", "tee", square(G1[0], G1[1] + 0.01, 9.0)))
    site = write_site(
        tmp_path / "site",
        surfaces=features,
        dressings="dressing,date,surfaces,note\n=D1,2026-04-10,green,=2+2\n",
        loads=LOADS.replace("D1", "=D1"),
        catches=None,
    )
    book = opened(results_workbook(work_out(read_site(site)), "metric"))
    cells = [cell for page in book for row in page.iter_rows() for cell in row]
    assert all(cell.data_type != "f" for cell in cells)
    names = [c.value for c in columns(book["areas"])["name"]]
    assert names[: len(HOSTILE)] == HOSTILE
    dressing = columns(book["balance"])["dressing"][0]
    assert (dressing.value, dressing.data_type, dressing.quotePrefix) == ("=D1", "s", True)


def test_control_characters_become_dots():
    sheet = Sheet(title="s", columns=[SheetColumn(head="a")], rows=[["a\x07b"], ["\t=1"]])
    page = opened(workbook([sheet], title="t\x00", day=DAY))["s"]
    assert page["A2"].value == "a·b"
    assert (page["A3"].value, page["A3"].data_type) == ("\t=1", "s")


def test_two_builds_are_the_same_bytes(demo):
    assert results_workbook(demo, "metric") == results_workbook(demo, "metric")


def test_a_clock_that_stands_at_1970_changes_nothing(monkeypatch):
    """As on a machine without battery or net; a ZIP archive knows no time before 1980."""
    sheets = [Sheet(title="a", columns=[SheetColumn(head="b")], rows=[["c"]])]
    content = workbook(sheets, day=DAY)
    monkeypatch.setattr(time, "time", lambda: 0.0)
    assert workbook(sheets, day=DAY) == content


def test_an_empty_table_keeps_its_head_and_nothing_is_invented():
    sheet = Sheet(title="rings", columns=[SheetColumn(head="mass, kg", format="0")], rows=[])
    page = opened(workbook([sheet], title="=x", day=DAY))["rings"]
    assert (page.max_row, page["A1"].value) == (1, "mass, kg")
    sheet = Sheet(
        title="s", columns=[SheetColumn(head="a"), SheetColumn(head="b")], rows=[["x", None]]
    )
    assert opened(workbook([sheet], title="t", day=DAY))["s"]["B2"].value is None


def test_findings_that_bear_on_figures_come_before_the_defaults(demo):
    sheet = columns(opened(results_workbook(demo, "metric"))["findings"])
    topics = [cell.value for cell in sheet["topic"]]
    first = topics.index("default")
    assert first > 0 and set(topics[first:]) == {"default"}


def test_findings_are_told_in_the_units_of_the_reader(demo):
    told = [
        [cell.value for cell in columns(opened(results_workbook(demo, units))["findings"])["text"]]
        for units in ("metric", "us")
    ]
    assert len(told[0]) == len(told[1])
    assert any(" m²" in text for text in told[0]) and not any(" ft²" in text for text in told[0])
    assert all((" m²" in one) == (" ft²" in other) for one, other in zip(*told, strict=True))
