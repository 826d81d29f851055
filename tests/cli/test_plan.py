"""``geosand plan`` as a person or a program calls it."""

from __future__ import annotations

import json
import re
from xml.etree import ElementTree

import pytest
from click.testing import CliRunner, Result

from geosand.cli.plan import command
from tests.sites import (
    DEMO,
    TOML,
)


def run(*arguments: str, verb=command) -> Result:
    return CliRunner().invoke(verb, list(arguments), catch_exceptions=False)


def document(*arguments: str, verb=command) -> dict:
    result = run(*arguments, "--json", verb=verb)
    assert result.exit_code == 0, result.stderr
    return json.loads(result.stdout, parse_constant=pytest.fail)


def test_overthrow_to_expect_is_shared_by_the_length_of_edges(site_folder):
    """The same depth on g1, g2 and t1, which are 80 m, 120 m and 40 m round."""
    plan = document(str(site_folder()), "--depth", "0.5mm")
    beside = {row["id"]: row["overthrow_kg"] for row in plan["surfaces"]}
    over = plan["sand"]["overthrow_kg"]
    assert over > 1
    assert beside == pytest.approx({"g1": over / 3, "g2": over / 2, "t1": over / 6}, rel=1e-4)


@pytest.mark.parametrize(
    ("rate", "kg_m2"),
    # NIST SP 811, appendix B: pound 0.45359237 kg, short ton 907.18474 kg, acre 4046.8564 m²
    [("60t/ha", 6.0), ("20short_ton/acre", 4.4834), ("900lb/1000ft2", 4.39418), ("6kg/m2", 6.0)],
)
def test_pitches_are_planned_by_rates(site_folder, rate, kg_m2):
    plan = document(str(site_folder()), "--rate", rate)
    rates = [row["rate_kg_m2"] for row in plan["surfaces"]]
    assert rates == pytest.approx([kg_m2] * 3, rel=1e-5)
    both = run(str(site_folder("both")), "--rate", rate, "--depth", "1mm")
    assert both.exit_code == 2
    assert "--rate, as in --rate 60t/ha, stands for a depth" in both.stderr


def test_a_rate_may_be_no_deeper_than_a_depth(site_folder):
    """100 mm is the most of --depth: 150 kg/m² of a sand of 1.5 g/cm³, 100 kg/m² of one of 1.0."""
    for density, rate, fits in (("1.5", "149", True), ("1.5", "151", False), ("1.0", "101", False)):
        folder = site_folder(f"{density} {rate}", toml=TOML.replace("1.55", density))
        result = run(str(folder), "--rate", f"{rate}kg/m2")
        assert (result.exit_code == 0) is fits
        assert fits or "mm: allowed is at most 100 mm" in result.stderr


def test_order_of_work_speaks_of_greens_only_where_there_are_some(site_folder):
    assert "kind by kind, greens first, each" in run(str(site_folder()), "--depth", "1mm").stdout
    folder = site_folder("pitches")
    drawn = (folder / "surfaces.geojson").read_text(encoding="utf-8")
    pitches = drawn.replace('"kind": "green"', '"kind": "pitch"')
    assert pitches != drawn
    (folder / "surfaces.geojson").write_text(pitches, encoding="utf-8")
    for file in ("dressings.csv", "site.toml"):
        text = (folder / file).read_text(encoding="utf-8")
        (folder / file).write_text(text.replace("green", "pitch"), encoding="utf-8")
    assert "kind by kind, each" in run(str(folder), "--depth", "1mm").stdout


def test_keys_that_other_programs_read(site_folder):
    plan = document(str(site_folder()), "--depth", "0.5mm")
    assert plan["site"] == "Test site"
    assert plan["sand"].keys() >= {"on_surfaces_kg", "overthrow_kg", "order_kg", "units"}
    for row in plan["surfaces"]:
        assert row.keys() >= {"id", "depth_mm", "rate_kg_m2", "mass_kg"}
    assert plan["surfaces"][0]["depth_mm"] == pytest.approx(0.5)
    assert plan["sand"]["on_surfaces_kg"] == pytest.approx(
        sum(row["mass_kg"] for row in plan["surfaces"])
    )
    parts = [part["mass_kg"] for load in plan["loads"] for part in load["surfaces"]]
    whole = plan["sand"]["on_surfaces_kg"] + plan["sand"]["overthrow_kg"]
    assert sum(parts) == pytest.approx(whole, rel=1e-6)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ([], "either --depth, as in --depth 0.5mm, or --to-target"),
        (["--depth", "0.5mm", "--to-target"], "either --depth"),
        (["--depth", "0.5"], "'0.5' is not a number with a unit"),
        (["--depth", "-1mm"], "allowed is above 0 and at most 100 mm"),
        (["--depth", "1/2 ft"], "allowed is above 0 and at most 0.328084 ft"),
        (["--depth", "1mm", "--speed", "100kmh"], "allowed is above 0 and at most 54 kmh"),
        (["--depth", "1mm", "--stock", "4"], "like 500kg; units: g, kg, t"),
        (["--depth", "1mm", "--surfaces", " "], "it is empty: name ids or kinds"),
        (["--depth", "1mm", "--min-depth", "2mm"], "--min-depth is more than --depth"),
        (["--rate", "15t/ha", "--min-depth", "1mm"], "--min-depth is more than --rate"),
        (["--rate", "60"], "like 60t/ha; units: kg_m2, g_m2, t_per_ha"),
        (
            ["--to-target", "--min-depth", "2mm", "--max-depth", "1mm"],
            "--min-depth is more than --max-depth: no surface would get sand",
        ),
        (["--depth", "0.5kg"], "'kg' is no length"),
        (["--depth", "1mm", "--surfaces", "g9"], "'g9': no surface's id"),
        (["--depth", "1mm", "--sand", "x"], "'x' is no sand of this site; allowed: dried"),
        (["--depth", "1mm", "--spreader", "x"], "'x' has no dressing on record"),
        (["--depth", "1mm", "--assurance", "90"], "allowed is above 0.5 and below 1"),
        (["--depth", "1mm", "--assurance", "much"], "'much' is no share"),
        (["--depth", "1mm", "--holes", "10mm,50mm"], "write diameter,spacing,depth"),
        (["--depth", "1mm", "--holes", "60mm,50mm,75mm"], "wider than their spacing"),
        (["--depth", "1mm", "--passes", "p.txt"], "must end in .geojson or .gpx"),
        (["--depth", "1mm", "--map", "p.svg"], "'p.svg': its name must end in .html"),
        (["--depth", "1mm", "--stock", "3ton"], "write tonne, short_ton or long_ton"),
    ],
)
def test_wrong_usage_ends_with_two_and_says_what_is_allowed(site_folder, arguments, said):
    result = run(str(site_folder()), *arguments)
    assert result.exit_code == 2
    assert said in " ".join(result.stderr.split())


def test_a_broken_site_ends_with_one(tmp_path):
    result = run(str(tmp_path / "none"), "--depth", "1mm")
    assert result.exit_code == 1
    assert "there is no such folder" in result.stderr


def test_passes_are_written_as_lines(tmp_path):
    options = ["--depth", "1mm", "--surfaces", "g6 g7"]
    geojson, gpx = tmp_path / "p.geojson", tmp_path / "p.gpx"
    plan = document(str(DEMO), *options, "--passes", str(geojson))
    assert plan["written"] == [str(geojson)]
    lines = json.loads(geojson.read_text())["features"]
    wanted = sum(row["heading"]["passes"] for row in plan["surfaces"])
    assert len(lines) == wanted
    assert lines[0]["properties"]["surface"] == "g6"
    assert all(f["geometry"]["type"] == "LineString" for f in lines)
    # the lines lie on the course: longitude first
    assert all(
        66 < lon < 67 and 49 < lat < 50 for f in lines for lon, lat in f["geometry"]["coordinates"]
    )
    run(str(DEMO), *options, "--passes", str(gpx))
    root = ElementTree.parse(gpx).getroot()
    routes = root.findall("{http://www.topografix.com/GPX/1/1}rte")
    assert len(routes) == wanted


def test_the_map_of_a_plan_has_its_passes(tmp_path):
    page = tmp_path / "next.html"
    options = ["--depth", "1mm", "--surfaces", "g6 g7"]
    plan = document(str(DEMO), *options, "--map", str(page))
    assert plan["written"] == [str(page)]
    data = re.search(r'id="gs-data">(.*?)</script>', page.read_text("utf-8"), re.DOTALL)
    passes = json.loads(data[1])["passes"]
    wanted = [row["heading"] for row in plan["surfaces"]]
    assert sorted(driven[1] for driven in passes) == sorted(w["heading_deg"] for w in wanted)
    assert sum(len(driven[2]) for driven in passes) == sum(w["passes"] for w in wanted)


def test_without_a_swath_no_map_of_passes_is_written(site_folder, tmp_path):
    page = tmp_path / "next.html"
    folder = site_folder(catches=None, dressings="dressing,date,surfaces\n", loads=None)
    result = run(str(folder), "--depth", "0.5mm", "--map", str(page))
    assert result.exit_code == 2
    assert "no swath is known: give --swath" in result.stderr
    assert not page.exists()


@pytest.mark.parametrize(
    ("option", "text", "said"),
    [
        ("--load", "0.1g", "allowed is 1000 g or more"),
        ("--swath", "1mm", "allowed is 100 mm or more and at most 60000 mm"),
        ("--holes", "1,2,3", "Invalid value for --holes"),
    ],
)
def test_what_no_spreader_can_be_is_refused(site_folder, option, text, said):
    result = run(str(site_folder()), "--depth", "0.5mm", option, text)
    assert result.exit_code == 2
    assert said in " ".join(result.stderr.split())


@pytest.mark.parametrize(
    ("text", "millimetres"),
    [("1/32in", 0.79375), ("1/4 in", 6.35), ("1 1/8 in", 28.575), ("0.02in", 0.508), ("1mm", 1.0)],
)
def test_depths_as_they_are_typed(site_folder, text, millimetres):
    plan = document(str(site_folder()), "--depth", text)
    assert plan["surfaces"][0]["depth_mm"] == pytest.approx(millimetres)
