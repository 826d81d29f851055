"""The report as PDF, read back with another program's eyes (pypdf)."""

from __future__ import annotations

import json
import sys
from io import BytesIO

import numpy as np
import pytest
from click.testing import CliRunner
from pypdf import PdfReader

from geosand.cli.account import command as account
from geosand.errors import Refused
from geosand.reports.printable.pdf_canvas import Canvas
from geosand.reports.printable.pdf_writer import report_pdf
from tests.mapping.hostile import NAMES
from tests.sites import SURFACES, surface


@pytest.fixture(scope="module")
def readers(demo_report, large_report):
    papers = {"A4": demo_report, "Letter": large_report}
    return {
        paper: PdfReader(BytesIO(report_pdf(report, paper=paper)[0]))
        for paper, report in papers.items()
    }


def test_papers_and_numbers_of_pages(readers):
    sizes = {"A4": (595.28, 841.89), "Letter": (612, 792)}
    for paper, reader in readers.items():
        assert 7 <= len(reader.pages) <= 12
        for number, page in enumerate(reader.pages, start=1):
            box = page.mediabox
            assert (float(box.width), float(box.height)) == pytest.approx(sizes[paper], abs=0.01)
            assert f"{number} of {len(reader.pages)}" in page.extract_text()


def test_figures_can_be_read_and_searched(readers, demo_report):
    text = "\n".join(page.extract_text() for page in readers["A4"].pages)
    for wanted in ("Thrussendale Common (invented)", "68\u202f751 kg", "under-dressed", "SHA-256"):
        assert wanted in text
    titles = [bookmark.title for bookmark in readers["A4"].outline]
    assert titles == [section.title for section in demo_report.sections]


def test_hostile_names_are_text(readers):
    text = "".join(page.extract_text() for page in readers["Letter"].pages).replace("\n", "")
    for name in ("{% raw %}", "50{% of", "%CSP%", NAMES[10]):
        assert name.replace(" ", "") in text.replace(" ", "").replace("\xa0", "")
    assert "Höhe” Луг" in text
    assert readers["Letter"].metadata.title.startswith("A{{ 7*7 }}")


def test_a_head_stands_on_each_page_of_a_table(readers):
    pages = [page.extract_text() for page in readers["Letter"].pages]
    with_rows = [t for t in pages if "Tee number" in t or "Lawn number" in t]
    assert len(with_rows) >= 3
    assert all("surface" in t and "name" in t for t in with_rows)


def test_nothing_is_set_below_the_foot_or_beyond_the_margins(readers):
    for reader in readers.values():
        for page in reader.pages:
            places = []

            def seen(text, _, matrix, *__, places=places):
                if text.strip():
                    places.append((matrix[4], matrix[5]))

            page.extract_text(visitor_text=seen)
            assert min(y for _, y in places) >= 25
            assert min(x for x, _ in places) >= 40
            assert max(x for x, _ in places) <= float(page.mediabox.width) - 40


def test_two_builds_are_the_same_bytes(demo_report):
    assert report_pdf(demo_report, paper="A4") == report_pdf(demo_report, paper="A4")


def test_a_report_is_set_once_and_each_page_says_of_how_many_it_is(monkeypatch, demo_report):
    """The number of pages needs no second run: footers come last, on pages that are there."""
    from geosand.reports.printable import pdf_writer

    made = []

    class Counted(Canvas):
        def __init__(self, **options):
            super().__init__(**options)
            made.append(self)

    monkeypatch.setattr(pdf_writer, "Canvas", Counted)
    pages = PdfReader(BytesIO(report_pdf(demo_report, paper="A4")[0])).pages
    assert len(made) == 1
    for number, page in enumerate(pages, start=1):
        words = page.extract_text().split()
        assert words[-5:] == ["Sand", "account", f"{number}", "of", f"{len(pages)}"]


def test_words_in_letters_that_the_font_lacks_are_noted_and_told_on_page_one(tmp_path):
    canvas = Canvas(paper="A4", title="", day="2026-09-01", footer="")
    assert canvas.letters("Green ≥ 3") == "Green at least  3"
    assert canvas.letters("e\u0301te\u0301 Łąka Ўзбек Λόφος") == "été Łąka Ўзбек Λόφος"
    assert canvas.unshown == {}
    assert canvas.letters("芝 草地 no. 4") == "\ufffd \ufffd no. 4"
    assert canvas.letters("גרין الأخضر हरा 草地") == "\ufffd \ufffd \ufffd \ufffd"
    assert list(canvas.unshown) == ["芝", "草地", "גרין", "الأخضر", "हरा"]


def test_the_file_and_the_console_tell_what_the_font_lacks(tmp_path, site_folder):
    first = surface("g1", "green", SURFACES[0]["geometry"], name="第一果嶺 桜")
    folder = site_folder(surfaces=[first, *SURFACES[1:]])
    pdf, page, out = tmp_path / "r.pdf", tmp_path / "r.html", tmp_path / "m.html"
    options = [str(folder), "--out", str(out), "--report", str(pdf)]
    alone = CliRunner().invoke(account, options, catch_exceptions=False)
    told = (
        "The font of the PDF lacks letters of 第一果嶺, 桜: add --report with a name in .html, and"
    )
    assert f"{told} print that from a browser instead." in alone.stdout
    both = CliRunner().invoke(account, [*options, "--report", str(page)], catch_exceptions=False)
    assert f"lacks letters of 第一果嶺, 桜: print {page} from a browser instead." in both.stdout
    document = json.loads(CliRunner().invoke(account, [*options, "--json"]).stdout)
    assert document["not_in_pdf"] == ["第一果嶺", "桜"]
    first_page = PdfReader(pdf).pages[0].extract_text().replace("\n", " ")
    assert "2 words have letters that the font of this file lacks, shown as" in first_page
    assert "第一果嶺" in page.read_text(encoding="utf-8")


def test_nothing_is_said_where_the_font_has_all_letters(readers, tmp_path, site_folder):
    assert "lacks" not in readers["A4"].pages[0].extract_text()
    options = [str(site_folder()), "--out", str(tmp_path / "m.html"), "--json"]
    result = CliRunner().invoke(account, [*options, "--report", str(tmp_path / "r.pdf")])
    assert json.loads(result.stdout)["not_in_pdf"] == []


def test_long_words_are_broken_to_their_column():
    canvas = Canvas(paper="A4", title="", day="2026-09-01", footer="")
    lines = canvas.lines("W" * 300, 8, 60)
    assert "".join(lines) == "W" * 300
    assert all(canvas.width(line, 8) <= 60 for line in lines)


def test_without_the_library_the_remedy_is_named(monkeypatch, demo_report):
    monkeypatch.setitem(sys.modules, "fpdf", None)
    with pytest.raises(Refused, match=r"Install it with pip install 'geosand\[pdf\]'"):
        report_pdf(demo_report, paper="A4")


@pytest.mark.parametrize("count", [9, 12, 120])
def test_a_number_of_two_digits_leaves_room_before_its_text(monkeypatch, count):
    """Each item begins where the widest number of its list has ended."""
    from geosand.reports.printable import pdf_writer

    placed = []
    monkeypatch.setattr(
        pdf_writer, "_paragraph", lambda canvas, text, size, colour, indent: placed.append(indent)
    )
    canvas = Canvas(paper="A4", title="", day="2026-09-01", footer="")
    pdf_writer._items(canvas, ["a line"] * count, numbered=True)
    assert len(set(placed)) == 1
    assert placed[0] > 3 + canvas.width(f"{count}.", pdf_writer.BODY)


def test_a_title_stands_on_the_page_of_its_first_block():
    """However full the page is: a picture that just did not fit left its title behind."""
    from geosand.reports.printable import pdf_writer
    from geosand.reports.printable.content import Picture, Section
    from geosand.reports.printable.drawing import Drawing

    canvas = Canvas(paper="A4", title="", day="2026-09-01", footer="")
    picture = Picture(drawing=Drawing(width=500, height=180, marks=()), caption="a line")
    for y in np.arange(500, 600, 0.5):
        canvas.y = y
        pdf_writer._section(canvas, Section(title="a title", blocks=(picture,)))
        assert canvas.pdf._outline[-1].page_number == canvas.pdf.page


def test_ids_and_figures_stay_in_one_line_while_others_have_room(monkeypatch):
    """approach-10 in two lines reads as approach-1; a column beside it was half empty."""
    from geosand.reports.printable import pdf_table
    from geosand.reports.printable.content import Column, Row, Table

    ids = ["practice-putting-green", *(f"approach-{k}" for k in range(1, 19))]
    columns = (
        Column(head="surface", width=50),
        Column(head="name", width=80, wrap=True),
        Column(head="depth mm", width=40, align="right"),
        Column(head="95 % interval", width=180, align="right"),
        Column(head="state", width=98, wrap=True),
    )
    rows = [
        Row(
            cells=(i, i.replace("-", " "), "at least 5.94", "5.33 to 6.54", "under-dressed, > 99 %")
        )
        for i in ids
    ]
    canvas = Canvas(paper="A4", title="", day="2026-09-01", footer="")
    shown: list[str] = []
    monkeypatch.setattr(canvas, "text", lambda text, *rest, **how: shown.append(text))
    pdf_table.set_table(canvas, Table(columns=columns, rows=rows))
    assert set(ids) <= set(shown)
    assert shown.count("at least 5.94") == len(ids)
    assert shown.count("under-dressed, >\xa099\xa0%") == len(ids)


def test_an_id_too_long_for_its_column_is_broken_behind_a_hyphen():
    canvas = Canvas(paper="A4", title="", day="2026-09-01", footer="")
    assert canvas.lines("practice-putting-green", 8, 40) == ["practice-", "putting-", "green"]
