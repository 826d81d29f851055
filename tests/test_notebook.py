"""Results in a notebook: frames with the documents' figures, the map in a cell, the tutorial."""

from __future__ import annotations

import contextlib
import json
import pydoc
import shutil
import subprocess
import sys

import geopandas
import pytest

import geosand
from geosand.reports.balance_document import balance_document
from geosand.reports.season_document import season_document
from tests.notebook_cells import code_cells, kept_text, run_cells
from tests.sites import DEMO, write_site

TUTORIAL = DEMO / "tutorial.ipynb"


@pytest.fixture(scope="module")
def results():
    return geosand.work_out(geosand.read_site(DEMO))


def test_surfaces_as_a_geodataframe(results):
    frame = results.to_frame()
    assert isinstance(frame, geopandas.GeoDataFrame)
    assert frame.crs == "OGC:CRS84"
    assert len(frame) == 61 and frame.id.is_unique
    season = {s["id"]: s for s in season_document(results)["surfaces"] if "around" not in s}
    for row in frame.to_dict("records"):
        if row["id"] in season:
            assert row["depth_mm"] == season[row["id"]]["depth_mm"]
            assert row["state"] == season[row["id"]]["state"]
    assert frame.set_index("id").depth_mm.isna()["w1"], "water is not dressed"
    # the polygons are the owned ground: an equal-area projection finds the areas from them again
    factor = results.areas.ground_factor[results.site.in_force()]
    centre = frame.union_all().centroid
    local = frame.to_crs(f"+proj=laea +lat_0={centre.y} +lon_0={centre.x} +ellps=WGS84")
    assert (local.area * factor).to_numpy() == pytest.approx(frame.area_m2.to_numpy(), rel=1e-6)


def test_frames_hold_the_documents_figures(results):
    balance = results.balance_frame()
    dressings = balance_document(results)["dressings"]
    assert balance.overthrow_mass_kg.tolist() == [d["overthrow"]["mass_kg"] for d in dressings]
    assert balance.date.dt.strftime("%Y-%m-%d").tolist() == [d["date"] for d in dressings]
    surfaces = results.surfaces_frame()
    sums = surfaces.groupby("dressing").mass_kg.sum()
    for dressing in dressings:
        total = dressing["on_surfaces"]["mass_kg"]
        assert sums[dressing["dressing"]] == pytest.approx(total)
    rings = results.rings_frame()
    assert set(rings.kind) == {"collar", "surrounds"}


def test_yes_and_no_choose_rows_and_survive_a_file(results, tmp_path):
    """Surfaces that were never dressed have neither: that must not make texts of the others."""
    frame = results.to_frame()
    assert frame.all_measured.isna().sum() == (frame.depth_mm.isna()).sum() > 0
    assert len(frame[frame.all_measured]) == frame.all_measured.sum() > 0
    frame.to_file(tmp_path / "surfaces.gpkg")
    back = geopandas.read_file(tmp_path / "surfaces.gpkg")
    assert (back.all_measured == 1).sum() == frame.all_measured.sum()


def test_catches_and_their_residuals(results):
    catches = results.catches_frame()
    assert len(catches) == len(results.site.catches)
    lon = catches.geometry.x.to_numpy()
    assert lon == pytest.approx(results.site.catches.lon_degree)
    known = catches[catches.used & catches.estimate_kg_m2.notna()]
    off = (known.rate_kg_m2 / known.estimate_kg_m2 - 1) * 100
    assert off.to_numpy() == pytest.approx(known.residual_percent.to_numpy(), abs=1e-5)
    assert abs(known.residual_percent.mean()) < 2


def test_an_earlier_day_may_be_named_in_words(results):
    early = geosand.work_out(results.site, as_of="2026-04-01")
    assert str(early.ledger.as_of) == "2026-04-01"
    assert early.to_frame().depth_mm.max() < results.to_frame().depth_mm.max()
    with pytest.raises(geosand.Refused):
        geosand.work_out(results.site, as_of="2026-01-01")


def test_a_site_without_records_has_empty_frames(tmp_path):
    site = write_site(
        tmp_path / "site",
        dressings="dressing,date,surfaces\n",
        loads="load,dressing,count,unit_mass_kg\n",
        catches=None,
    )
    found = geosand.work_out(geosand.read_site(site))
    assert len(found.to_frame()) == 3
    for frame in (found.balance_frame(), found.surfaces_frame(), found.catches_frame()):
        assert len(frame) == 0 and "dressing" in frame
    assert "<iframe" in found._repr_html_()


@pytest.mark.browser
def test_a_cell_shows_the_map(results, chromium, tmp_path):
    """As a notebook does it: the text is set as the inside of an output area."""
    file = tmp_path / "cell.html"
    file.write_text(f"<!DOCTYPE html><body>{results._repr_html_()}</body>", encoding="utf-8")
    context = chromium.new_context(offline=True, viewport={"width": 1100, "height": 800})
    page = context.new_page()
    requests, complaints = [], []
    page.on("request", lambda request: requests.append(request.url))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.goto(file.as_uri())
    frame = page.frame_locator("iframe")
    frame.locator("body[data-ready]").wait_for(timeout=60_000)
    assert frame.locator(".leaflet-container path").count() > 20
    frame.get_by_role("rowheader").get_by_role("button", name="Green 6", exact=True).click()
    assert "under-dressed" in frame.locator(".leaflet-popup").inner_text()
    assert [r for r in requests if not r.startswith(("file:", "about:", "data:"))] == []
    assert complaints == []
    context.close()


def test_the_tutorial_runs_and_says_what_it_shows():
    notebook = json.loads(TUTORIAL.read_text(encoding="utf-8"))
    assert notebook["nbformat"] == 4
    with contextlib.chdir(DEMO):
        found = run_cells(notebook)
    cells = code_cells(notebook)
    assert len(found) == len(cells) >= 8
    for number, (cell, (text, _)) in enumerate(zip(cells, found, strict=True), start=1):
        wanted = "run: python -m tests.notebook_cells data/demo_site/tutorial.ipynb"
        assert text == kept_text(cell), f"cell {number} prints something else; {wanted}"
    shown = [value for _, value in found if hasattr(value, "_repr_html_")]
    assert len(shown) == 1 and "<iframe" in shown[0]._repr_html_()


def test_importing_it_loads_nothing_heavy():
    code = "import geosand.notebook, sys; print(*sorted(m.split('.')[0] for m in sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert not {"pandas", "geopandas", "folium", "openpyxl", "fpdf"} & set(done.stdout.split())


def test_public_names_are_offered_before_their_first_use():
    """As a notebook completes ``geosand.`` and as ``help(geosand)`` shows them."""
    code = "import geosand, pydoc; print(*dir(geosand)); print(pydoc.render_doc(geosand))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    names, _, text = done.stdout.partition("\n")
    assert set(geosand.__all__) <= set(names.split())
    for name in set(geosand.__all__) - {"__version__"}:
        assert f" {name}(" in pydoc.plain(text), name


def test_a_type_checker_finds_names_that_are_none(tmp_path):
    (tmp_path / "script.py").write_text("import geosand\n\ngeosand.read_site\ngeosand.workout\n")
    shutil.copy(geosand.__file__, tmp_path / "geosand.py")  # alone: the rest would take a minute
    options = ["--ignore-missing-imports", "--no-site-packages", "--cache-dir", "/dev/null"]
    command = [sys.executable, "-m", "mypy", *options, "script.py"]
    done = subprocess.run(command, check=False, cwd=tmp_path, capture_output=True, text=True)
    assert done.stdout.count("error") == 2, "one, and their count"
    assert "script.py:4: error: Module has no attribute" in done.stdout, done.stdout + done.stderr
