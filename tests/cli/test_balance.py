"""Budgets, depth fields and the witnesses of the loads, as the verbs print and write them."""

from __future__ import annotations

import json
import math
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from click.testing import CliRunner, Result

from geosand.cli import main
from tests.sites import DEMO, LAT, LOADS, LON, TRAY, square, surface, table, write_site

METRE = 8.98e-6  # degrees of latitude


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, list(arguments), catch_exceptions=False)


def document(*arguments: str) -> dict[str, Any]:
    result = run(*arguments, "--json")
    assert result.exit_code == 0, result.stderr
    found: dict[str, Any] = json.loads(result.stdout, parse_constant=pytest.fail)
    return found


@pytest.fixture(scope="module")
def d4() -> dict[str, Any]:
    found: dict[str, Any] = document("balance", str(DEMO), "--dressing", "D4")["dressings"][0]
    return found


@pytest.mark.parametrize("figure", ["on_surfaces", "overthrow"])
def test_budget_of_a_mass(d4: dict[str, Any], figure: str) -> None:
    """Shares sum to 1, the parts' squares to u²; label and bags are in what was spread only."""
    budget = d4["budget"] if figure == "overthrow" else d4[figure]["budget"]
    assert sum(row["share"] for row in budget) == pytest.approx(1.0, abs=1e-6)
    squares = sum(row["u_kg"] ** 2 for row in budget)
    assert squares**0.5 == pytest.approx(d4[figure]["u_kg"], rel=1e-6)
    shares = [row["share"] for row in budget]
    assert shares == sorted(shares, reverse=True)
    assert ("label" in {row["source"] for row in budget}) == (figure == "overthrow")


def test_budget_of_a_surfaces_depth(d4: dict[str, Any]) -> None:
    for one in d4["surfaces"]:
        assert sum(row["share"] for row in one["budget"]) == pytest.approx(1.0, abs=1e-6)
        squares = sum(row["u_mm"] ** 2 for row in one["budget"])
        assert squares**0.5 == pytest.approx(one["u_depth_mm"], rel=1e-6)
    bare = next(s for s in d4["surfaces"] if s["id"] == "practice")
    assert bare["sharpen"]["changes"][0]["change"].startswith("three more catches on surfaces with")
    assert bare["sharpen"]["changes"][0]["u_mm"] < 0.7 * bare["u_depth_mm"]


def test_budget_of_a_season_depth() -> None:
    every = document("season", str(DEMO))["surfaces"]
    for one in every:
        if one["depth_mm"]:
            assert sum(row["share"] for row in one["budget"]) == pytest.approx(1.0, abs=1e-6)
    alone = document("season", str(DEMO), "--surface", "practice")["surfaces"]
    assert [s["id"] for s in alone] == ["practice", "practice/collar", "practice/surrounds"]
    assert "catches on surfaces without any (practice)" in alone[0]["sharpen"]["sentence"]


def test_budgets_are_printed() -> None:
    text = run("balance", str(DEMO), "--dressing", "D4").output
    assert "Where the uncertainty comes from" in text
    assert "on surfaces: testing the trays" in text and "overthrow: testing the trays" in text
    assert "Worth knowing:\n  - 1 catch without a declared surface" in text
    assert "loads of g1–g9, practice: " in run("balance", str(DEMO), "--dressing", "D2").output
    text = run("balance", str(DEMO), "--dressing", "D4", "--surface", "g9").output
    assert text.startswith("D4: on g9\n")
    assert "g9 " in text and "g1 " not in text
    assert "depth: three more catches on surfaces without any (g9) would sharpen it most" in text
    for verb in (("balance", str(DEMO), "--dressing", "D4"), ("season", str(DEMO))):
        text = run(*verb, "--surface", "g9", "--units", "us").output
        after, now = re.search(r"most: ± (\S+) instead of ± (\S+) in", text).groups()
        assert 0 < float(after) < float(now), "as told in inches too"
    text = run("season", str(DEMO), "--surface", "practice", "--units", "us").output
    assert "practice" in text and "g1 " not in text
    assert " in; then: " in text


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("--surface", "g9"), "name the dressing too"),
        (("--dressing", "D4", "--surface", "g6"), "'g6' is not dressed in D4"),
        (("--dressing", "D99"), "'D99' is not among D1"),
    ],
)
def test_what_is_not_there_is_wrong_usage(arguments: tuple[str, ...], told: str) -> None:
    result = run("balance", str(DEMO), *arguments)
    assert result.exit_code == 2
    assert told in result.stderr


def test_a_surface_without_account_is_wrong_usage() -> None:
    result = run("season", str(DEMO), "--surface", "b1a")
    assert result.exit_code == 2
    assert "'b1a' has no season account" in result.stderr


def test_witnesses_of_the_loads() -> None:
    """Stock by hand: 48 400 bought, 41 569 in the loads by their labels, 5450 left."""
    found = document("balance", str(DEMO))
    (load,) = found["weighed_loads"]
    assert (load["load"], load["stated_kg"], load["weighed_kg"]) == ("L09", 6000.0, 7290.0)
    dried, washed = found["stock"]
    assert dried["not_accounted_for_kg"] == pytest.approx(48400 - 41569 - 5450)
    # the six bags of D7 held 1290 kg more than their labels say; nothing else is wrong
    assert abs(dried["not_accounted_for_kg"] - 1290) < 2 * dried["u_not_accounted_for_kg"]
    assert abs(washed["not_accounted_for_kg"]) < 2 * washed["u_not_accounted_for_kg"]
    text = run("balance", str(DEMO), "--witness").output
    assert "load L09 on the scale: 7\u202f290 kg ± 20 kg" in text
    assert "1\u202f381 kg ± 442 kg not accounted for" in text
    assert "can not be told apart by these data: catch efficiency" in text
    us = run("balance", str(DEMO), "--witness", "--units", "us").output
    assert " kg" not in us[us.index("Second witnesses") :].replace("1\u202f000 kg", "")


def test_witnesses_stand_below_one_surface_too() -> None:
    text = run("balance", str(DEMO), "--dressing", "D1", "--surface", "g1", "--witness").output
    assert "D1: means of its catches on each surface" in text
    assert text.index("Where its uncertainty comes from") < text.index("Second witnesses")


def dense(folder: Path) -> Path:
    """One green of 24 m with a known ramp of depths under 121 trays: 0.6 to 1.2 mm to the east."""
    rows = []
    east = METRE / 0.682  # cos 47°
    for i in range(11):
        for j in range(11):
            x, y = -11 + 2.2 * i, -11 + 2.2 * j
            kg = 0.1 * 1.55 * (0.9 + 0.3 * x / 12)
            rows.append(
                {"catch": f"c{i}-{j}", "dressing": "D1", "surface": "g1", "tray_area_cm2": 1000}
                | {"lon": f"{LON + x * east:.8f}", "lat": f"{LAT + y * METRE:.8f}"}
                | {"tare_g": 0, "gross_g": f"{1000 * kg:.2f}"}
            )
    return write_site(
        folder,
        surfaces=[surface("g1", "green", square(LON, LAT, 24.0))],
        catches=table(rows),
    )


def test_a_strip_width_below_nothing_is_not_printed(tmp_path: Path) -> None:
    """A single dressing whose catches claim a little more than was spread, yet within its u."""
    folder = write_site(tmp_path / "site", loads=LOADS.replace(",52,", ",46,"))
    text = run("balance", str(folder), "--witness").stdout
    (line,) = [line for line in text.splitlines() if line.startswith("strip width")]
    assert line.startswith("strip width of the unnamed spreader: no overthrow that would show it")
    assert "m, 1 dressing)" in line
    assert "−" not in line


@pytest.mark.parametrize(("bags", "word"), [(52, "agree"), (70, "do not agree")])
def test_the_console_says_whether_the_methods_agree(tmp_path: Path, bags: int, word: str) -> None:
    """The trays hold 0.91 kg/m²; 52 bags on 1300 m² are 1.00 kg/m², 70 are 1.35."""
    folder = write_site(tmp_path / "site", loads=LOADS.replace(",52,", f",{bags},"))
    assert f"(they {word} within 10 %)" in run("balance", str(folder)).stdout


def test_depth_field_is_written(tmp_path: Path) -> None:
    out, folder = tmp_path / "field.geojson", str(dense(tmp_path / "site"))
    result = run("balance", folder, "--field", str(out))
    assert result.exit_code == 0
    assert "variogram of 121 catches" in result.output
    field = json.loads(out.read_text())
    cells = shapely.from_geojson(json.dumps(field), on_invalid="raise")
    assert len(field["features"]) == 24 * 24
    assert shapely.is_valid(shapely.get_parts(cells)).all()
    assert all(shapely.is_ccw(g.exterior) for g in shapely.get_parts(cells)[:5])
    west = [f for f in field["features"] if f["geometry"]["coordinates"][0][0][0] < LON - 1.3e-4]
    east = [f for f in field["features"] if f["geometry"]["coordinates"][0][0][0] > LON + 1.3e-4]
    for some, depth in ((west, 0.63), (east, 1.17)):
        mean = sum(f["properties"]["depth_mm"] for f in some) / len(some)
        assert mean == pytest.approx(depth, abs=0.04)
    assert all(f["properties"]["u_depth_mm"] >= 0 for f in field["features"])
    fitted = document("balance", folder, "--witness")["witness"]["variogram"]
    scatter = 100 * math.sqrt(fitted["nugget"] + fitted["sill"])
    assert f"{fitted['model']}, range {fitted['range_m']:.1f} m" in result.output
    assert f"far apart on a surface by {scatter:.0f} %" in result.output


def test_the_field_of_a_large_surface_has_wider_cells(tmp_path: Path) -> None:
    """A fairway of 260 by 100 m, which 1 m cells would cut into 26,000; waves of sand on it."""
    east = METRE / math.cos(math.radians(LAT))
    corners = [(-130, -50), (130, -50), (130, 50), (-130, 50), (-130, -50)]
    ring = [[LON + x * east, LAT + y * METRE] for x, y in corners]
    places = np.random.default_rng(3).uniform((-125, -45), (125, 45), (160, 2)).tolist()
    rows = [
        {"catch": f"c{k}", "dressing": "D1", **TRAY, "tare_g": 0}
        | {"lon": f"{LON + x * east:.8f}", "lat": f"{LAT + y * METRE:.8f}"}
        | {"gross_g": f"{60 + 18 * math.sin(x / 25) * math.cos(y / 20):.2f}"}
        for k, (x, y) in enumerate(places)
    ]
    folder = write_site(
        tmp_path / "site",
        surfaces=[surface("f1", "fairway", {"type": "Polygon", "coordinates": [ring]})],
        dressings="dressing,date,surfaces\nD1,2026-04-10,f1\n",
        catches=table(rows),
    )
    out = tmp_path / "field.geojson"
    result = run("balance", str(folder), "--field", str(out))
    assert result.exit_code == 0, result.stderr
    field = json.loads(out.read_text())
    assert field["cell_m"] == 2
    assert len(field["features"]) == 130 * 50


def test_without_a_variogram_there_is_no_field_and_it_is_said_why(tmp_path: Path) -> None:
    out = tmp_path / "field.geojson"
    result = run("balance", str(write_site(tmp_path / "site")), "--field", str(out))
    assert result.exit_code == 1
    assert "no variogram: 6 catches on dressed surfaces, at least 100 are needed" in result.stderr
    assert not out.exists()
