"""The page as text: self-contained, small, repeatable, and true to every name."""

import base64
import hashlib
import json
import os
import re
import subprocess
import sys
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest
import shapely

import geosand
from geosand.mapping.leaflet import read_leaflet
from geosand.mapping.page import map_page, tile_host
from geosand.mapping.parts import look_first
from geosand.mapping.payload import SURFACE_FIGURES
from geosand.mapping.view import MapPeriod, MapView, PeriodSurface
from tests.mapping.hostile import NAMES
from tests.mapping.sample_view import named, sample_view


def data_of(text):
    """The data block, as a browser would read it."""
    return json.loads(re.search(r'id="gs-data">(.*?)</script>', text, re.DOTALL).group(1))


class Names(HTMLParser):
    """Collects the text of the table's row headings."""

    def __init__(self):
        super().__init__()
        self.names, self.inside = [], False

    def handle_starttag(self, tag, attributes):
        if tag == "button" and ("dir", "auto") in attributes:
            self.inside = True
            self.names.append("")

    def handle_endtag(self, tag):
        self.inside = self.inside and tag != "button"

    def handle_data(self, data):
        if self.inside:
            self.names[-1] += data


def test_page_of_a_long_season_is_small_enough_for_a_message():
    view = sample_view(dressings=12)
    assert (len(view.surfaces), len(view.periods), len(view.catches)) == (60, 13, 400)
    assert len(map_page(view).encode()) < 400_000


def test_nothing_is_asked_from_elsewhere(sample_text):
    own = sample_text.replace(read_leaflet()[0], "")
    assert read_leaflet()[0] in sample_text
    outside = r"""(src|href|action)\s*=\s*(?!["']?(data:|#))|url\((?!#)|@import|https?://|["']//"""
    allowed = ("http://www.w3.org/2000/svg",)
    found = [own[m.start() : m.start() + 60] for m in re.finditer(outside, own)]
    assert [f for f in found if not f.startswith(allowed)] == []
    assert not re.search(r"(?<![\w$])\$\(", own)
    assert "NaN" not in own


@pytest.mark.parametrize(
    "sheet", sorted(Path(geosand.__file__).parent.rglob("*.css")), ids=lambda file: file.name
)
def test_text_and_layout_follow_the_size_of_letters_that_a_reader_has_chosen(sheet):
    """In the settings of a browser; pixels would overrule them."""
    text = re.sub(r"@media print.*", "", sheet.read_text(encoding="utf-8"), flags=re.DOTALL)
    assert re.findall(r"@media[^{]*\d(?:px|rem)[^{]*", text) == []
    bodies = re.findall(r"(?m)^(?:html|body) \{[^}]*", text)
    assert any("font" in body for body in bodies)
    assert [body for body in bodies if re.search(r"font[^;]*\dp[xt]", body)] == []


def test_two_pages_of_one_view_are_the_same_bytes(sample_text):
    assert map_page(sample_view()) == sample_text


def test_another_process_writes_the_same_bytes(sample_text):
    code = (
        "import hashlib; from geosand.mapping.page import map_page;"
        "from tests.mapping.sample_view import sample_view;"
        "print(hashlib.sha256(map_page(sample_view()).encode()).hexdigest())"
    )
    other = subprocess.run(
        [sys.executable, "-c", code],
        env={**os.environ, "PYTHONHASHSEED": "77", "PYTHONPATH": os.pathsep.join(sys.path)},
        capture_output=True,
        text=True,
        check=True,
    )
    assert other.stdout.strip() == hashlib.sha256(sample_text.encode()).hexdigest()


def test_policy_names_every_script_and_nothing_else(sample_text):
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', sample_text).group(1)
    scripts = re.findall(r"<script>(.*?)</script>", sample_text, re.DOTALL)
    hashes = {
        f"'sha256-{base64.b64encode(hashlib.sha256(s.encode()).digest()).decode()}'"
        for s in scripts
    }
    assert len(scripts) == 3
    assert set(re.search("script-src ([^;]*);", policy).group(1).split()) == hashes
    assert policy.startswith("default-src 'none';")
    assert "img-src data:;" in policy


def test_hostile_names_come_back_unchanged():
    text = map_page(replace(named(sample_view(), NAMES), title=NAMES[0]))
    assert data_of(text)["surfaces"]["name"][: len(NAMES)] == NAMES
    reader = Names()
    reader.feed(text)
    assert reader.names[: len(NAMES)] == NAMES
    assert "A49B" not in text


def test_hostile_texts_everywhere_leave_the_page_whole():
    view = sample_view()
    bad = "</script>{{ 7*7 }}<b>`${x}`{% if %}"
    periods = [replace(p, label=bad + p.key, headline=bad) for p in view.periods]
    text = map_page(
        replace(
            view,
            title=bad,
            subtitle=bad,
            as_of=bad,
            first=(bad,),
            findings=(bad,),
            periods=tuple(periods),
            surfaces=tuple(replace(s, kind=bad) for s in view.surfaces),
            catches=tuple(replace(c, note=bad, id=bad) for c in view.catches),
        )
    )
    assert text.count("<script") == 4
    assert text.count("</script>") == 4
    assert "<b>`" not in text


def test_a_name_with_half_a_character_can_be_written():
    text = map_page(named(sample_view(), ["Green \ud800"]))
    assert text.encode("utf-8")


def test_a_figure_that_is_not_a_number_is_no_figure():
    view = sample_view()
    season = view.periods[0]
    surfaces = {**season.surfaces, "1": PeriodSurface(depth_m=float("nan"), mass_kg=float("inf"))}
    text = map_page(replace(view, periods=(replace(season, surfaces=surfaces),)))
    columns = dict(zip(SURFACE_FIGURES, data_of(text)["periods"][0]["surfaces"], strict=True))
    assert columns["depth_m"].startswith(" ") and columns["mass_kg"].startswith(" ")


def test_a_map_without_records_or_surfaces_can_be_made():
    assert "<h1" in map_page(MapView(title="Nothing yet"))
    bare = replace(sample_view(), periods=(), rings=(), catches=())
    assert "Fallow Down" in map_page(bare)
    unmeasured = MapPeriod(key="season", label="Whole season")
    assert "Not measured" in map_page(replace(bare, periods=(unmeasured,)))
    empty = replace(bare.surfaces[0], geometry=shapely.Polygon())
    assert map_page(replace(bare, surfaces=(empty, *bare.surfaces[1:])))


def test_lines_that_name_a_surface_lead_to_it(sample_text):
    first = re.search(r'<section class="first">.*?</section>', sample_text, re.DOTALL).group(0)
    assert '<a href="#7" data-s="18">Green 7</a>:<span data-units="metric">' in first
    assert '<span data-units="us" hidden> under-dressed, 0.083\u00a0in short' in first
    assert re.search(r"Practice green</a>: never", first)
    assert "<li>Dressing d4: the catches claim" in first


def test_a_line_on_several_surfaces_leads_to_each_of_them():
    told = ("7, P: never had a catch", "1, 2 and 9 more: not known", "1, nowhere: left out", "A, B")
    text = look_first(replace(sample_view(), first=told))
    lines = re.findall(r"<li>(.*?)</li>", text)
    plain_lines = [re.sub("<.*?>", "", line) for line in lines]
    assert plain_lines == ["Green 7, Practice green: never had a catch",
                           "Green 1, Green 2 and 9 more: not known",
                           "1, nowhere: left out", "A, B"]  # fmt: skip
    assert [line.count("<a ") for line in lines] == [2, 2, 0, 0]


def test_background_opens_the_policy_for_its_host_only():
    tiles = ("https://{s}.tiles.example/{z}/{x}/{y}.png", "Tiles <b>by</b> nobody")
    text = map_page(replace(sample_view(), background=tiles))
    assert "img-src data: https://*.tiles.example;" in text
    assert "<b>by" not in text


@pytest.mark.parametrize(
    "address",
    [
        "http://tiles.example/{z}/{x}/{y}.png",
        "https://tiles.example; script-src */{z}",
        "javascript:alert(1)",
        "https://user@tiles.example/{z}",
        "//tiles.example/{z}",
    ],
)
def test_other_addresses_are_refused_with_the_allowed_form(address):
    with pytest.raises(ValueError, match=r"allowed is https://host/\{z\}/\{x\}/\{y\}\.png"):
        tile_host(address)


def test_caution_on_areas_is_said(sample_text):
    assert "no substitute for a licensed survey" in sample_text


def test_importing_the_package_is_cheap():
    code = "import sys, geosand.mapping.page; print({'folium', 'pandas'} & set(sys.modules))"
    out = subprocess.run(
        [sys.executable, "-c", code],
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
        capture_output=True,
        text=True,
        check=True,
    )
    assert out.stdout.strip() == "set()"
