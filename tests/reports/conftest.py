"""What several tests of the reports share: two surveys, a field sheet, browsers for pages."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from geosand.formats.claimed_areas import read_claimed_areas
from geosand.formats.other_survey import read_other_survey, survey_in_force
from geosand.formats.site_folder import read_site
from geosand.planning.placing import place_catches
from geosand.reports.area_comparison import against_document, change_features
from geosand.reports.claimed_areas import claimed_document
from geosand.reports.compared import compared
from geosand.reports.field_sheet import Tray, catch_points, field_sheet
from geosand.reports.register import register_document
from geosand.results import work_out
from tests.sites import LAT, LON, SURFACES, collection, square, surface

#: Of the survey before: g1 was larger, a tee is gone.
OLD = [
    surface("g1", "green", square(LON, LAT, 22.0)),
    SURFACES[1],
    surface("gone", "tee", square(LON, LAT - 0.002, 8.0)),
]
HOSTILE = "</script><img src=x onerror=alert(1)>{{7*7}}\u202e & 'green'"


@pytest.fixture
def browser_page(chromium, tmp_path):
    """Opens a text from a file at a width, without network; at the end it must have been quiet."""
    opened, noise = [], []

    def start(text, width):
        file = tmp_path / "page.html"
        file.write_text(text, encoding="utf-8")
        context = chromium.new_context(viewport={"width": width, "height": 800}, offline=True)
        opened.append(context)
        page = context.new_page()
        page.on("request", lambda r: r.url == file.as_uri() or noise.append(r.url))
        page.on("console", lambda m: noise.append(m.text))
        page.goto(file.as_uri())
        return page

    yield start
    for context in opened:
        context.close()
    assert noise == []


@pytest.fixture
def folder(site_folder):
    """A site with an earlier survey among its editions."""
    old = collection(OLD, valid_from="2020-01-01", edge_accuracy_m=0.3)
    new = collection(SURFACES, valid_from="2026-01-01")
    return site_folder(surfaces=new, files={"editions/first.geojson": old})


def against(folder: Path, named: str):
    """Document and map layer of a site held against another survey."""
    site = read_site(folder)
    old, new = read_other_survey(folder, site, named), survey_in_force(site)
    found = compared(old, new)
    return against_document(old, new, found), change_features(old, new, found)


def claimed(folder: Path, text: str, tolerance: float | None = None, name: str = "list.csv"):
    """Document and findings of a list of claims held against a site."""
    path = folder / name
    path.write_bytes(text.encode())
    site = read_site(folder)
    claims, findings = read_claimed_areas(path)
    document = claimed_document(claims, site, register_document(site), name, tolerance)
    return document, findings


def placed(results, ring=(0.3,)):
    """Four points a surface, and one beside its edge."""
    site = results.site
    return place_catches(
        site,
        results.areas,
        row=site.in_force(),
        catches=4,
        half_diagonal_m=0.25,
        swath_m=4.0,
        ring_m=np.array(ring),
        seed=7,
    )


@pytest.fixture
def sheet(site_folder):
    """Text of the sheet of a site whose first surface has a hostile name; folder and places."""

    def make(dressing="D2", tray=None, units="metric"):
        first = surface("g1", "green", SURFACES[0]["geometry"], name=HOSTILE)
        folder = site_folder(surfaces=[first, *SURFACES[1:]])
        results = work_out(read_site(folder))
        places = placed(results)
        tray = tray or Tray(length_m=0.4, width_m=0.25)
        text = field_sheet(
            *(results.site, results.areas, places),
            tray=tray,
            dressing=dressing,
            seed=7,
            units=units,
        )
        return text, folder, catch_points(results.site, places)

    return make


@pytest.fixture
def phone(chromium, tmp_path):
    """Opens a text from a file on a phone without network; at the end it must have been quiet."""
    context = chromium.new_context(
        viewport={"width": 390, "height": 844}, offline=True, accept_downloads=True, has_touch=True
    )
    page = context.new_page()
    page.set_default_timeout(60_000)
    asked, complaints = [], []
    page.on("request", lambda r: asked.append(r.url))
    page.on("console", lambda m: complaints.append(m.text))
    page.on("pageerror", lambda e: complaints.append(str(e)))

    def start(text):
        file = tmp_path / "sheet.html"
        file.write_text(text, encoding="utf-8")
        page.goto(file.as_uri())
        page.wait_for_selector("body[data-ready]")
        return page

    yield start
    context.close()
    assert [url for url in asked if not url.startswith(("file:", "blob:"))] == []
    assert complaints == []
