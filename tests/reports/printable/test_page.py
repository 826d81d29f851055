"""The report as an HTML page: safe, quiet, and well printed."""

from __future__ import annotations

import html
import re
from pathlib import Path

import pypdfium2
import pytest

from geosand.reports.printable.html_writer import report_page
from tests.mapping.hostile import NAMES

#: Width and height in points; tests allow what a driver rounds.
PAPERS = {"A4": (595, 842), "Letter": (612, 792)}


def pages(pdf: bytes) -> int:
    return len(re.findall(rb"/Type\s*/Page(?![a-z])", pdf))


def test_names_enter_as_text_only(large_page):
    page, blocks = re.subn(
        '<script type="application/json" id="data">[^<]*</script>', "", large_page
    )
    assert blocks == 1 and "<script" not in page
    for name in NAMES:
        shown = "".join(c if c.isprintable() else "·" for c in name)
        assert html.escape(shown) in large_page, name
    tags = set(re.findall(r"</?([a-zA-Z0-9]+)", page))
    known = (
        "html head meta link title style body header main section h1 h2 p ol ul li dl div dt dd b"
    )
    known += " span figure figcaption svg path rect text table caption colgroup col thead tbody tr"
    known += " th td"
    assert tags <= set(known.split())


def test_nothing_is_asked_of_a_network(large_page):
    style = re.search(r"<style>(.*?)</style>", large_page, re.S)[1]
    markup = style + "".join(re.findall(r"<[^>]+>", large_page))
    assert not re.search(r"https?:|url\(|@import|\bsrc=|\son[a-z]+=\"", markup)
    assert "default-src 'none'; script-src 'none'" in large_page
    assert " style=" not in large_page


def test_two_builds_are_the_same_bytes(large_report, large_page):
    assert report_page(large_report) == large_page


def test_size(large_page, demo_report):
    assert len(large_page.encode()) < 300_000
    assert len(report_page(demo_report).encode()) < 220_000


@pytest.fixture
def opened(chromium, tmp_path: Path, large_page):
    file = tmp_path / "report.html"
    file.write_text(large_page, encoding="utf-8")
    context = chromium.new_context(offline=True, viewport={"width": 1280, "height": 900})
    page = context.new_page()
    requests, complaints = [], []
    page.on("request", lambda request: requests.append(request.url))
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.goto(file.as_uri())
    yield page
    assert requests == [file.as_uri()]
    assert complaints == []
    context.close()


@pytest.mark.browser
def test_it_fits_a_desk_and_a_phone(opened):
    wide = opened.locator("figure svg.wide").first
    narrow = opened.locator("figure svg.narrow").first
    for width in (1280, 390):
        opened.set_viewport_size({"width": width, "height": 800})
        assert opened.evaluate("document.documentElement.scrollWidth") <= width
        assert wide.is_visible() is (width == 1280)
        assert narrow.is_visible() is (width == 390)
    assert opened.title().startswith("A{{ 7*7 }}")


@pytest.mark.browser
def test_no_option_of_a_command_is_cut_in_two(chromium, demo_report):
    """A line that ends in "-" and goes on with "-catches 3" is no command any more."""
    page = chromium.new_page()
    page.set_content(report_page(demo_report))
    line, lines_of = page.get_by_text("geosand place").first, {}
    for width in range(320, 420, 7):
        page.set_viewport_size({"width": width, "height": 800})
        for option, lines in line.evaluate(OPTIONS):
            lines_of.setdefault(option, set()).add(lines)
    page.close()
    assert lines_of == {option: {1} for option in ("--surfaces", "--catches", "--on")}


#: The options in a paragraph, and on how many lines each stands.
OPTIONS = """(node) => {
      const words = [], walk = document.createTreeWalker(node, NodeFilter.SHOW_TEXT);
      for (let text; (text = walk.nextNode()); )
        for (const found of text.data.matchAll(/--[a-z-]+/g)) {
          const range = document.createRange();
          range.setStart(text, found.index);
          range.setEnd(text, found.index + found[0].length);
          words.push([found[0], range.getClientRects().length]);
        }
      return words; }"""


@pytest.mark.browser
def test_on_a_phone_no_table_needs_a_sideways_scroll(opened):
    """Each row is a card there: every figure lies within the page, its head beside it."""
    opened.set_viewport_size({"width": 390, "height": 800})
    beyond = opened.evaluate(
        "[...document.querySelectorAll('.scroll')].filter(e => e.scrollWidth > e.clientWidth + 1)"
        ".map(e => e.getAttribute('aria-label'))"
    )
    assert beyond == []
    row = opened.get_by_role("rowheader", name="g4", exact=True)
    card = opened.locator("tr", has=row).first
    heads = card.locator("[data-head]").evaluate_all(
        "all => all.filter(e => e.getBoundingClientRect().right <= 390)"
        ".map(e => [e.dataset.head, getComputedStyle(e, '::before').display])"
    )
    assert [head for head, _ in heads] == [
        *("name", "depth in", "95\u00a0% interval", "target so\u00a0far", "state")
    ]
    assert {shown for head, shown in heads if head != "name"} == {"block"}
    assert opened.get_by_role("cell").count() > 300  # still a table for who hears it
    opened.set_viewport_size({"width": 1280, "height": 800})
    last = card.locator("[data-head]").last
    assert last.evaluate("e => getComputedStyle(e, '::before').content") == "none"


@pytest.mark.browser
def test_pictures_are_read_in_forced_colours(opened):
    """Letters of a picture are not forced; upon a forced black page they were not to be seen."""
    opened.emulate_media(forced_colors="active", color_scheme="dark")
    grounds = opened.locator("svg").evaluate_all(
        "(all) => [...new Set(all.map((svg) => getComputedStyle(svg).backgroundColor))]"
    )
    assert grounds == ["rgb(255, 255, 255)"]


@pytest.mark.browser
@pytest.mark.parametrize("paper", PAPERS)
def test_it_prints_on_both_papers(opened, paper):
    printed = opened.pdf(format=paper)
    assert 8 <= pages(printed) <= 13
    width, height = PAPERS[paper]
    box = re.search(rb"/MediaBox\s*\[0 0 ([\d.]+) ([\d.]+)\]", printed)
    assert float(box[1]) == pytest.approx(width, abs=2)
    assert float(box[2]) == pytest.approx(height, abs=2)


@pytest.mark.browser
@pytest.mark.parametrize("paper", PAPERS)
def test_heads_repeat_and_no_row_or_picture_is_cut(opened, paper):
    """Each page that holds rows of the season has their head; each row stands whole on one page."""
    from io import BytesIO

    from pypdf import PdfReader

    texts = [page.extract_text() for page in PdfReader(BytesIO(opened.pdf(format=paper))).pages]
    whole = r"^([gtal]\d+) [^\n]*?(?:\n(?![gtal]\d)[^\n]*?)*?(?:on target|under-dressed),\s"
    found = [set(re.findall(whole, text, re.M)) for text in texts]
    assert sum(map(len, found)) >= 50
    assert len([ids for ids in found if ids]) >= 2
    for text, ids in zip(texts, found, strict=True):
        assert not ids or "depth so far, in" in text
    for k, ids in enumerate(found):
        assert not any(ids & others for others in found[:k])
    opened.emulate_media(media="print")
    for selector in ("figure", "tbody tr", "li"):
        kept = opened.locator(selector).first.evaluate("e => getComputedStyle(e).breakInside")
        assert kept == "avoid", selector
    assert opened.locator("thead").first.evaluate("e => getComputedStyle(e).display") == (
        "table-header-group"
    )


@pytest.mark.browser
def test_no_head_of_a_table_stands_alone_at_a_foot(chromium, demo_report):
    """Wherever the sheet ends, the head has its first rows below it."""
    context = chromium.new_context(bypass_csp=True)
    page = context.new_page()
    page.set_content(report_page(demo_report))
    page.add_style_tag(content="section:not(:has(caption)), figure { display: none }")
    for room_mm in range(150, 230, 4):
        page.evaluate("(mm) => { document.body.style.paddingTop = mm + 'mm'; }", room_mm)
        sheets = pypdfium2.PdfDocument(page.pdf(format="Letter"))
        texts = [sheet.get_textpage().get_text_range() for sheet in sheets]
        (begun,) = [text for text in texts if "The same for each dressing" in text]
        assert re.search(r"^D1 .*^D2 ", begun, re.MULTILINE | re.DOTALL), room_mm
    context.close()
