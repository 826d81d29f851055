"""The report as an HTML page: safe, quiet, and well printed."""

from __future__ import annotations

import html
import re
from pathlib import Path

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
