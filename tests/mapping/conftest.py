"""A browser without network, and the sample page in it."""

from __future__ import annotations

import base64
import re
from dataclasses import dataclass, field

import pytest

from geosand.mapping.page import map_page
from tests.mapping.sample_view import sample_view

#: A picture of one grey dot, PNG.
DOT = base64.b64decode(
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAAAAAA6fptVAAAACklEQVR4nGNoAAAAggCBd81ytgAAAABJRU5ErkJggg=="
)


@pytest.fixture(scope="session")
def sample_text():
    """The page of the made-up site."""
    return map_page(sample_view())


@dataclass
class Opened:
    """An open page and what it asked for and complained of."""

    page: object
    address: str
    requests: list = field(default_factory=list)
    complaints: list = field(default_factory=list)
    tiles: str | None = None  #: the only other address that it may ask


def card(page):
    """The card that is open."""
    return page.locator(".leaflet-popup .card")


def press_row(page, name):
    """Opens a surface from its row of the table."""
    page.get_by_role("rowheader").get_by_role("button", name=name, exact=True).click()


def choose_view(page, name):
    """Chooses one of the views by its name."""
    page.get_by_role("radio", name=name).check()


def luminance(colour):
    """Relative luminance of sRGB (WCAG 2.2)."""
    parts = [int(part) / 255 for part in re.findall(r"\d+", colour)[:3]]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return sum(weight * part for weight, part in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


def next_picture(page):
    """Waits for the names, which follow one picture after what they depend on."""
    page.evaluate("() => new Promise((done) => requestAnimationFrame(() => setTimeout(done)))")


def drawings_read_out(page):
    """Names of the images in Chromium's own accessibility tree."""
    nodes = page.context.new_cdp_session(page).send("Accessibility.getFullAXTree")["nodes"]
    seen = [node for node in nodes if not node["ignored"] and node["role"]["value"] == "image"]
    return [node["name"]["value"] for node in seen]


def card_in_sight(page):
    """Waits until the whole card lies upon the map; fails where it never does."""
    next_picture(page)
    page.wait_for_function(
        """() => { const [map, card] = [".map", ".leaflet-popup"]
          .map((one) => document.querySelector(one).getBoundingClientRect());
        return card.top >= map.top && card.bottom <= map.bottom; }"""
    )


@pytest.fixture
def open_page(chromium, tmp_path, sample_text):
    """Opens a page text from a file, offline; at the end it must have been quiet."""
    opened = []

    def start(text=None, *, width=1280, height=800, still=False, tiles=None, **options):
        file = tmp_path / f"map{len(opened)}.html"
        file.write_text(text or sample_text, encoding="utf-8")
        context = chromium.new_context(
            viewport={"width": width, "height": height}, offline=True, **options
        )
        page = context.new_page()
        page.set_default_timeout(60_000)  # a ceiling: a busy machine is slow
        it = Opened(page=page, address=file.as_uri(), tiles=tiles)
        if tiles:
            # offline still: each tile is answered here
            context.route(
                tiles + "**", lambda route: route.fulfill(body=DOT, content_type="image/png")
            )
        page.on("request", lambda request: it.requests.append(request.url))
        page.on("console", lambda message: it.complaints.append(message.text))
        page.on("pageerror", lambda error: it.complaints.append(str(error)))
        opened.append((context, it))
        page.goto(it.address)
        if options.get("java_script_enabled", True) and not still:
            page.wait_for_selector("body[data-ready]")
        return page

    yield start
    for context, it in opened:
        context.close()
        asked = [r for r in it.requests if not (it.tiles and r.startswith(it.tiles))]
        assert asked == [it.address]
        assert it.complaints == []
