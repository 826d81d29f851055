"""The verbs as a person or a program calls them: exit codes, JSON keys, text, bytes."""

from __future__ import annotations

import json
import math
import re
import shutil
import subprocess
import sys
from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result

from geosand.cli import VERBS, main
from tests.sites import DEMO

README = Path(__file__).parents[2] / "README.md"


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, list(arguments), catch_exceptions=False)


def document(*arguments: str) -> dict[str, object]:
    result = run(*arguments, "--json")
    assert result.exit_code == 0, result.stderr
    return json.loads(result.stdout, parse_constant=pytest.fail)


@pytest.fixture(scope="module")
def balance() -> dict[str, dict]:
    return {d["dressing"]: d for d in document("balance", str(DEMO))["dressings"]}


@pytest.fixture(scope="module")
def truth() -> dict[str, dict]:
    return json.loads((DEMO / "truth.json").read_text())["dressings"]


def test_help_loads_no_heavy_package() -> None:
    code = (
        "import sys; from click.testing import CliRunner; from geosand.cli import main;"
        "r = CliRunner().invoke(main, ['--help']); assert r.exit_code == 0, r.output;"
        "heavy = ('pandas', 'geopandas', 'folium', 'scipy', 'pyproj');"
        "print([m for m in heavy if m in sys.modules])"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"


def test_balance_loads_neither_geopandas_nor_pint() -> None:
    code = (
        "import sys; from click.testing import CliRunner; from geosand.cli import main;"
        f"r = CliRunner().invoke(main, ['balance', {str(DEMO)!r}]); assert r.exit_code == 0;"
        "heavy = ('pandas', 'geopandas', 'folium', 'scipy', 'pyproj', 'pint', 'rich', 'numpy.ma');"
        "print([m for m in heavy if m in sys.modules])"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"


@pytest.mark.parametrize("verb", VERBS)
def test_every_verb_has_help_and_stands_in_the_readme(verb: str) -> None:
    result = run(verb, "--help")
    assert result.exit_code == 0
    assert f"geosand {verb}" in README.read_text()
    options = re.findall(r"^  (?:-h, )?(--[a-z-]+)", result.output, re.MULTILINE)
    assert options[-3:] == ["--units", "--json", "--help"]


@pytest.mark.parametrize("verb", VERBS)
def test_the_example_of_every_verb_is_right_usage(verb: str) -> None:
    (example,) = re.findall(r"^  Example: geosand (.+)$", run(verb, "--help").output, re.MULTILINE)
    name, *words = example.split()
    command = main.get_command(click.Context(main), name)
    assert command is not None and name == verb
    assert command.make_context(name, words).params["folder"]


def test_areas_document_has_the_agreed_keys() -> None:
    found = document("areas", str(DEMO))
    assert found["site"] == "Thrussendale Common (invented)"
    keys = "id name kind area_m2 u_area_m2 perimeter_m drawn_area_m2 geodesic_area_m2"
    keys += " equal_area_m2 grid_area_m2 findings"
    for surface in found["surfaces"]:
        assert set(keys.split()) <= set(surface)
        assert surface["geodesic_area_m2"] == pytest.approx(surface["equal_area_m2"], abs=0.002)
        assert surface["drawn_area_m2"] >= surface["area_m2"] - 1e-6
    assert any(s["drawn_area_m2"] > s["area_m2"] + 100 for s in found["surfaces"])


def test_balance_document_has_the_agreed_keys(balance: dict[str, dict]) -> None:
    top = "dressing date spread on_surfaces overthrow methods closing uniformity budget surfaces"
    over = "mass_kg u_kg low_kg high_kg fraction verdict strip_width_m reach_m collar_kg"
    over += " surrounds_kg farther_kg"
    row = "id area_m2 catches basis rate_kg_m2 u_rate_kg_m2 depth_mm u_depth_mm low_mm high_mm"
    row += " mass_kg collar_mm surrounds_mm"
    for dressing in balance.values():
        assert set(top.split()) <= set(dressing)
        assert set(over.split()) <= set(dressing["overthrow"])
        assert {"mass_kg", "u_kg", "low_kg", "high_kg"} <= set(dressing["on_surfaces"])
        assert {"by_mass", "by_volume", "by_bulk"} <= set(dressing["methods"])
        assert {"cv_percent", "du_lq_percent", "cu_percent"} <= set(dressing["uniformity"])
        for surface in dressing["surfaces"]:
            assert set(row.split()) <= set(surface)
            assert surface["basis"] in ("own catches", "other surfaces")
        assert sum(part["share"] for part in dressing["budget"]) == pytest.approx(1)


def test_season_document_has_the_agreed_keys() -> None:
    found = document("season", str(DEMO))
    assert (found["from"], found["to"]) == ("2026-03-01", "2026-09-01")
    keys = "id kind depth_mm u_depth_mm target_mm target_so_far_mm shortfall_mm state probability"
    ids = {s["id"]: s for s in found["surfaces"]}
    assert all(set(keys.split()) <= set(s) for s in found["surfaces"])
    assert {i for i, s in ids.items() if s["state"] == "under-dressed"} == {"g6", "bowls"}
    assert {"g1/collar", "g1/surrounds"} <= set(ids)


def test_the_demo_holds_its_truth(balance: dict[str, dict], truth: dict[str, dict]) -> None:
    """Nine dressings at 95 %: more than two misses would be rare (binomial, p = 0.008)."""
    misses = 0
    for name, true in truth.items():
        on = balance[name]["on_surfaces"]
        misses += not on["low_kg"] <= true["on_surfaces_kg"] <= on["high_kg"]
    assert misses <= 2


def test_rings_hold_the_overthrow(balance: dict[str, dict]) -> None:
    for dressing in balance.values():
        over = dressing["overthrow"]
        if over["mass_kg"] > 0:
            parts = over["collar_kg"] + over["surrounds_kg"] + over["farther_kg"]
            assert parts == pytest.approx(over["mass_kg"], rel=1e-6)
            zones = [s["collar_kg"] + s["surrounds_kg"] for s in dressing["surfaces"]]
            assert sum(zones) == pytest.approx(over["collar_kg"] + over["surrounds_kg"], rel=1e-6)
        else:
            assert over["reach_m"] is None
            assert over["no_rings"]


def test_a_ring_beyond_the_reach_got_nothing_and_one_that_is_not_laid_is_not_known(
    tmp_path,
) -> None:
    site = shutil.copytree(DEMO, tmp_path / "site")
    toml = (site / "site.toml").read_text()
    (site / "site.toml").write_text(toml.replace("collar_width_m = 0.9", "collar_width_m = 6.0"))
    told = set()
    for dressing in document("balance", str(site))["dressings"]:
        laid = dressing["overthrow"]["reach_m"] is not None
        for surface in dressing["surfaces"]:
            if not surface["surrounds_kg"]:
                nothing = 0.0 if laid else None
                assert (surface["surrounds_kg"], surface["surrounds_mm"]) == (nothing, nothing)
                told.add(laid)
    assert told == {True, False}


def test_the_wrong_bag_mass_is_not_called_overthrow(balance: dict[str, dict]) -> None:
    wrong = balance["D7"]
    assert wrong["overthrow"]["verdict"] == "does not close"
    closing = {c["input"]: c for c in wrong["closing"]}
    assert closing["unit mass"]["change_percent"] > 0 > closing["catches"]["change_percent"]
    sigmas = [abs(c["sigmas"]) for c in wrong["closing"] if c["sigmas"] is not None]
    assert sigmas == sorted(sigmas)
    text = run("balance", str(DEMO), "--dressing", "D7").output
    assert "claim more sand than was spread" in text
    assert "one dressing can not prove which" in text


def test_account_writes_the_map_and_says_what_matters_first(tmp_path: Path) -> None:
    path = tmp_path / "map.html"
    result = run("account", str(DEMO), "--out", str(path))
    assert result.exit_code == 0
    assert path.stat().st_size <= 400_000
    text = result.output
    assert text.index("g6: under-dressed") < text.index("balance of each dressing")
    assert str(path) in text.replace("\n", "")


def test_two_runs_give_the_same_bytes(tmp_path: Path) -> None:
    outputs = []
    for k in range(2):
        folder = tmp_path / str(k)
        arguments = [sys.executable, "-m", "geosand", "account", str(DEMO), "--json"]
        for option, name in (("--out", "map.html"), ("--report", "r.html"), ("--report", "r.pdf")):
            arguments += [option, str(folder / name)]
        arguments += ["--workbook", str(folder / "w.xlsx")]
        done = subprocess.run(arguments, capture_output=True, check=True)
        files = {path.name: path.read_bytes() for path in folder.iterdir()}
        assert len(files) == 4
        outputs.append((files, done.stdout.replace(str(folder).encode(), b"")))
    assert outputs[0] == outputs[1]


def test_us_units_are_a_display_only() -> None:
    metric = run("season", str(DEMO)).output
    us = run("season", str(DEMO), "--units", "us").output
    depth = float(re.search(r"g6\s+green\s+([\d.]+)", metric)[1])  # type: ignore[index]
    inches = float(re.search(r"g6\s+green\s+([\d.]+)", us)[1])  # type: ignore[index]
    assert math.isclose(inches, depth / 25.4, abs_tol=2.1e-4)


def test_as_of_leaves_later_dressings_out() -> None:
    early = {s["id"]: s for s in document("season", str(DEMO), "--as-of", "2026-04-01")["surfaces"]}
    late = {s["id"]: s for s in document("season", str(DEMO))["surfaces"]}
    assert 0 < early["g1"]["depth_mm"] < late["g1"]["depth_mm"]
    # 31 of the season's 274 days have passed
    assert early["g1"]["target_so_far_mm"] == pytest.approx(9.0 * 31 / 274)


def test_wrong_usage_is_exit_code_2() -> None:
    assert run("season", str(DEMO), "--as-of", "1.4.2026").exit_code == 2
    for day in ("1949-12-31", "2150-01-01"):
        beyond = run("season", str(DEMO), "--as-of", day)
        assert beyond.exit_code == 2
        assert f"{day} can not be right: 1950-01-01 to 2149-12-31 are taken" in beyond.stderr
    assert run("balance").exit_code == 2
    assert run("balance", str(DEMO), "--dressing", "none").exit_code == 2
    assert run("nothing").exit_code == 2


@pytest.mark.parametrize(
    ("first", "told"),
    [
        ("acount", "there is no verb 'acount'; did you mean account?"),
        ("Balance", "there is no verb 'Balance'; did you mean balance?"),
        ("xyz", "there is no verb 'xyz'; the verbs are new, bring, check, areas, balance,"),
        (str(DEMO), f"{DEMO} is a folder: say what to do with it, as in geosand account {DEMO}"),
    ],
)
def test_a_slip_in_the_verb_is_told_with_what_was_meant(first: str, told: str) -> None:
    ended = run(first, "demo")
    assert ended.exit_code == 2
    assert told in ended.stderr


def test_all_faults_come_in_one_list_with_exit_code_1(tmp_path: Path) -> None:
    site = tmp_path / "site"
    shutil.copytree(DEMO, site)
    loads = (site / "loads.csv").read_text().splitlines()
    loads[1] = loads[1].replace(",", ",-", 3)
    (site / "loads.csv").write_text("\n".join(loads))
    dressings = (site / "dressings.csv").read_text().replace("2026-05-12", "12.5.2026")
    (site / "dressings.csv").write_text(dressings)
    before = {p.name: p.read_bytes() for p in site.iterdir() if p.is_file()}
    result = run("account", str(site), "--out", str(tmp_path / "map.html"))
    assert result.exit_code == 1
    assert result.stdout == ""
    assert "dressings.csv" in result.stderr and "loads.csv" in result.stderr
    assert "12.5.2026" in result.stderr and "2026-04-30" in result.stderr
    assert not (tmp_path / "map.html").exists()
    assert before == {p.name: p.read_bytes() for p in site.iterdir() if p.is_file()}


def test_a_map_that_can_not_be_written_is_refused(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    result = run("map", str(DEMO), "--out", str(tmp_path / "file" / "map.html"))
    assert result.exit_code == 1
    assert "can not be written" in result.stderr


def test_no_folder_is_refused_with_a_remedy() -> None:
    result = run("check", "no such folder")
    assert result.exit_code == 1
    assert "there is no such folder" in result.stderr


def test_check_says_that_nothing_was_refused() -> None:
    text = run("check", str(DEMO)).output
    assert "read and not refused: surfaces 61, dressings 9, loads 11, catches 220" in text


def test_a_day_before_the_season_is_refused() -> None:
    result = run("season", str(DEMO), "--as-of", "2026-01-01")
    assert result.exit_code == 1
    assert "the season starts on 2026-03-01" in result.stderr


def test_one_dressing_is_shown_alone() -> None:
    text = run("balance", str(DEMO), "--dressing", "D7").output
    assert "D7" in text and "D6" not in text


def test_second_opinions_agree_with_the_truth(truth: dict[str, dict]) -> None:
    found = document("balance", str(DEMO), "--witness")["witness"]
    assert found["ring_catches"] and found["throw"]
    for ring in found["ring_catches"]:
        true = truth[ring["dressing"]]["overthrow_kg"]
        assert abs(ring["caught_kg"] - true) < 3 * ring["u_caught_kg"]
    # its load went over the weighbridge: 6 bags of 1215 kg by a label of 1000 kg
    assert found["reconciliation"]["culprit"] == "loads of D7"
    (suspect,) = found["reconciliation"]["suspects"]
    assert abs(suspect["change"][0] - 6 * 215) < 60
    text = run("balance", str(DEMO), "--witness").output
    assert "Second witnesses" in text


def test_season_and_account_begin_with_how_surfaces_stand_and_what_is_next(tmp_path: Path) -> None:
    season = run("season", str(DEMO)).stdout.splitlines()[:2]
    account = run("account", str(DEMO), "--out", str(tmp_path / "m.html")).stdout.splitlines()[1:3]
    assert season == account
    assert season[0] == "surfaces: 2 under-dressed, 29 on target"
    assert season[1].startswith(
        "Next: find out which figure of D7 is wrong, as it does not close; "
    )
    assert "then dress g6, bowls (" in season[1]


def test_where_nothing_is_recorded_or_measured_it_is_said_in_words(site_folder) -> None:
    """No empty list, no table of zeros, no heading with nothing below it."""
    empty = "dressing,date,surfaces,planned_depth_mm\n"
    fresh = str(site_folder("fresh", dressings=empty, loads=None, catches=None))
    wrong = run("balance", fresh, "--dressing", "D1")
    assert wrong.exit_code == 2
    assert "'D1' is not there: none is recorded" in wrong.stderr
    assert (
        run("season", fresh, "--rings")
        .stdout.rstrip()
        .endswith("No sand is known to lie beside the edges.")
    )
    uncaught = str(site_folder("uncaught", catches=None))
    assert (
        run("balance", uncaught, "--witness")
        .stdout.rstrip()
        .endswith("Second witnesses\nnone: no dressing has both catches and loads")
    )
    surface = document("balance", uncaught)["dressings"][0]["surfaces"][0]
    assert (surface["collar_kg"], surface["surrounds_kg"]) == (None, None)
    alone = run("balance", str(site_folder("alone")), "--witness").stdout
    assert "these data hold no balance against another: a further dressing would" in alone


def test_a_season_tells_what_was_forgotten_but_not_beside_one_surface(site_folder) -> None:
    folder, never = str(site_folder()), "t1: has a target and no dressing so far"
    assert run("season", folder).stdout.splitlines().count(never) == 1
    assert never not in run("season", folder, "--surface", "g1").stdout


def test_that_one_dressing_proves_nothing_is_said_once(site_folder) -> None:
    loads = "load,dressing,count,unit_mass_kg\nL1,D1,30,25\n"
    told = run("balance", str(site_folder(loads=loads))).stdout
    assert told.count("can not prove") == 1
    assert told.rstrip().endswith("One dressing can not prove which of its figures is off.")


def test_a_balance_that_closes_is_not_said_to_close_with_something_else(site_folder) -> None:
    """47 bags of 25 kg are a little less than the catches claim: zero lies in the interval."""
    loads = "load,dressing,count,unit_mass_kg\nL1,D1,{},25\n"
    told = run("balance", str(site_folder("near", loads=loads.format(47)))).stdout
    assert " undecided" in told or " closed" in told
    assert "  it would come to zero with: catches" in told
    far = run("balance", str(site_folder("far", loads=loads.format(30)))).stdout
    assert "does not close" in far and "  it would close with: catches" in far


def test_check_tells_what_is_wrong_before_what_was_assumed(site_folder) -> None:
    loads = "load,dressing,count,unit_mass_kg\nL1,D1,30,25\n"
    told = run("check", str(site_folder(loads=loads))).stdout
    worth, assumed = told.index("Worth knowing ("), told.index("What was assumed (")
    assert worth < told.index("the catches claim") < assumed < told.index("bags 1 % each")
