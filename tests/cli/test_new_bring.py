"""``geosand new`` and ``geosand bring``, from a boundary file to a site that can be measured."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from geosand.cli import main

DEMO = Path(__file__).parents[2] / "data" / "demo_site"


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(a) for a in arguments], catch_exceptions=False)


def snapshot(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def test_new_sets_up_a_site_that_check_and_areas_read(tmp_path: Path) -> None:
    site = tmp_path / "site"
    made = run("new", site, "--boundaries", DEMO / "surfaces.geojson")
    assert made.exit_code == 0, made.output
    assert "61 read, 61 became surfaces" in made.output
    assert run("check", site).exit_code == 0
    old = json.loads(run("areas", DEMO, "--json").stdout)["surfaces"]
    new = json.loads(run("areas", site, "--json").stdout)["surfaces"]
    drawn = {s["id"]: s["equal_area_m2"] for s in old}
    for surface in new:
        assert surface["equal_area_m2"] == pytest.approx(drawn[surface["id"]], abs=0.01)


def test_new_does_not_touch_a_folder_that_holds_something(tmp_path: Path) -> None:
    (tmp_path / "site").mkdir()
    (tmp_path / "site" / "notes.txt").write_text("mine")
    before = snapshot(tmp_path)
    made = run("new", tmp_path / "site", "--boundaries", DEMO / "surfaces.geojson")
    assert made.exit_code == 1
    assert snapshot(tmp_path) == before


def test_bring_keeps_the_old_survey_and_says_what_became_of_each_surface(tmp_path: Path) -> None:
    site = tmp_path / "site"
    shutil.copytree(DEMO, site)
    survey = json.loads((DEMO / "surfaces.geojson").read_text())
    survey["features"] = [f for f in survey["features"] if f["properties"]["id"] != "b9b"]
    file = tmp_path / "survey.geojson"
    file.write_text(json.dumps(survey))
    brought = run("bring", file, "--into", site, "--valid-from", "2026-07-01", "--json")
    assert brought.exit_code == 0, brought.output
    document = json.loads(brought.stdout)
    assert document["gone"] == ["b9b"]
    assert (site / document["edition"]).is_file()
    before = json.loads(run("balance", DEMO, "--json").stdout)["dressings"]
    after = json.loads(run("balance", site, "--json").stdout)["dressings"]
    for old, new in zip(before, after, strict=True):
        assert new["spread"] == old["spread"]
        assert new["dressed_area_m2"] == pytest.approx(old["dressed_area_m2"], abs=0.05)


def test_a_refused_survey_leaves_the_site_as_it_was(tmp_path: Path) -> None:
    site = tmp_path / "site"
    shutil.copytree(DEMO, site)
    before = snapshot(site)
    (tmp_path / "page.geojson").write_text("<!DOCTYPE html><html></html>")
    brought = run("bring", tmp_path / "page.geojson", "--into", site, "--valid-from", "2026-07-01")
    assert brought.exit_code == 1
    assert "page.geojson" in brought.stderr
    assert snapshot(site) == before


def test_bring_needs_a_site_and_a_day(tmp_path: Path) -> None:
    file = DEMO / "surfaces.geojson"
    assert run("bring", file, "--into", tmp_path).exit_code == 2
    brought = run("bring", file, "--into", tmp_path, "--valid-from", "2026-07-01")
    assert brought.exit_code == 1
    assert "no site folder" in brought.stderr
