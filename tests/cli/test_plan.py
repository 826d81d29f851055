"""``geosand plan`` as a person or a program calls it."""

from __future__ import annotations

import json
import math
import re
from xml.etree import ElementTree

import pytest
from click.testing import CliRunner, Result

from geosand.cli.plan import command
from geosand.cli.season import command as season
from tests.sites import (
    CATCHES,
    DEMO,
    G1,
    G2,
    LAT,
    LOADS,
    LON,
    SURFACES,
    T1,
    TOML,
    TRAY,
    square,
    surface,
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


def test_planned_carried_out_exactly_and_accounted_every_surface_is_on_target(site_folder):
    """Conservation from file to file: the plan goes into the records as it was carried out."""
    day = "2026-06-30"
    plan = document(str(site_folder()), "--to-target", "--as-of", day)
    places = {"g1": G1, "g2": G2, "t1": T1}
    dressings = "dressing,date,surfaces,planned_depth_mm\nD1,2026-04-10,green,0.6\n"
    catches = list(CATCHES)
    for row in plan["surfaces"]:
        assert row["mass_kg"] > 0
        dressings += f"D2,{day},{row['id']},{row['depth_mm']!r}\n"
        lon, lat = places[row["id"]]
        sand_g = row["rate_kg_m2"] * 0.1 * 1000  # trays of 0.1 m2
        catches += [
            {"catch": f"n{row['id']}{k}", "dressing": "D2", "lon": lon + dx, "lat": lat, **TRAY}
            | {"tare_g": 50, "gross_g": 50 + sand_g}
            for k, dx in enumerate((-2e-5, 2e-5))
        ]
    spread = plan["sand"]["on_surfaces_kg"] + plan["sand"]["overthrow_kg"]
    loads = f"load,dressing,count,unit_mass_kg\nL1,D1,52,25\nL2,D2,{spread / 25!r},25\n"
    done = site_folder("done", dressings=dressings, catches=catches, loads=loads)
    ledger = document(str(done), "--as-of", day, verb=season)
    rows = [row for row in ledger["surfaces"] if row["id"] in places]
    assert len(rows) == 3
    for row in rows:
        assert row["depth_mm"] == pytest.approx(row["target_so_far_mm"], rel=1e-6), row["id"]
        assert row["state"] == "on target"
    # planning again finds nothing left to do, and the same strip width
    again = document(str(done), "--to-target", "--as-of", day)
    assert again["sand"]["on_surfaces_kg"] == pytest.approx(0.0, abs=0.01)
    width = plan["spreader"]["strip_width_m"]
    assert again["spreader"]["strip_width_m"] == pytest.approx(width, rel=1e-4)


def test_conservation_in_us_units_with_moist_sand_of_which_some_comes_back(site_folder):
    """The order is put on the ground in short tons and pounds, what is over is weighed back."""
    day, water = "2026-06-30", 0.05
    toml = TOML.replace("moisture_dry_basis_percent = 0.0", "moisture_dry_basis_percent = 5.0")
    plan = document(str(site_folder(toml=toml)), "--to-target", "--as-of", day, "--units", "us")
    places, sand = {"g1": G1, "g2": G2, "t1": T1}, plan["sand"]
    assert sand["order_basis"] == "as delivered, with its water"
    dry = sand["on_surfaces_kg"] + sand["overthrow_kg"]
    assert sand["needed_kg"] == pytest.approx(dry * (1 + water))
    dressings = "dressing,date,surfaces,planned_depth_in\nD1,2026-04-10,green,0.0236220472\n"
    catches = [c | {"moisture_dry_basis_percent": 5.0} for c in CATCHES]
    rows = []
    for row in plan["surfaces"]:
        dressings += f"D2,{day},{row['id']},{row['depth_mm'] / 25.4!r}\n"
        lon, lat = places[row["id"]]
        grams = row["rate_kg_m2"] * 0.1 * 1000 * (1 + water)
        rows += [
            {"catch": f"n{row['id']}{k}", "dressing": "D2", "lon": lon + dx, "lat": lat, **TRAY}
            | {"tare_g": 50, "gross_g": 50 + grams, "moisture_dry_basis_percent": 5.0}
            for k, dx in enumerate((-2e-5, 2e-5))
        ]
    tons = math.ceil(sand["order_kg"] / 907.18474)
    back = tons * 2000 - sand["needed_kg"] / 0.45359237
    assert back > 0
    loads = "load,dressing,count,unit_mass_lb,returned_lb\n"
    loads += f"L1,D1,26,115.7426,0\nL2,D2,{tons},2000,{back!r}\n"
    done = site_folder("done", toml=toml, dressings=dressings, catches=catches + rows, loads=loads)
    ledger = document(str(done), "--as-of", day, verb=season)
    rows = [row for row in ledger["surfaces"] if row["id"] in places]
    assert len(rows) == 3
    for row in rows:
        assert row["depth_mm"] == pytest.approx(row["target_so_far_mm"], rel=1e-6), row["id"]
    again = document(str(done), "--to-target", "--as-of", day)
    assert again["sand"]["on_surfaces_kg"] == pytest.approx(0.0, abs=0.01)


def test_conservation_with_holes(site_folder):
    """The sand that the plan puts into holes is in the holes of the ledger."""
    day, places = "2026-06-30", {"g1": G1, "g2": G2}
    options = ["--surfaces", "green", "--holes", "6mm,50mm,40mm"]
    plan = document(str(site_folder()), "--to-target", "--as-of", day, *options)
    dressings = "dressing,date,surfaces,planned_depth_mm,hole_diameter_mm,hole_spacing_mm"
    dressings += ",hole_depth_mm\nD1,2026-04-10,green,0.6,,,\n"
    catches = list(CATCHES)
    for row in plan["surfaces"]:
        # π/4 · 6² · 40 / 50² = 0.4524 mm
        assert row["in_holes_mm"] == pytest.approx(0.45239, abs=1e-5)
        assert row["in_holes_mm"] + row["surface_mm"] == pytest.approx(row["depth_mm"])
        dressings += f"D2,{day},{row['id']},{row['depth_mm']!r},6,50,40\n"
        lon, lat = places[row["id"]]
        catches += [
            {"catch": f"n{row['id']}{k}", "dressing": "D2", "lon": lon + dx, "lat": lat, **TRAY}
            | {"tare_g": 50, "gross_g": 50 + row["rate_kg_m2"] * 100}
            for k, dx in enumerate((-2e-5, 2e-5))
        ]
    total = sum(row["in_holes_mm"] / 1000 * 1550 * row["area_m2"] for row in plan["surfaces"])
    assert plan["sand"]["in_holes_kg"] == pytest.approx(total)
    loads = "load,dressing,count,unit_mass_kg\nL1,D1,52,25\nL2,D2,400,25\n"
    done = site_folder("done", dressings=dressings, catches=catches, loads=loads)
    ledger = document(str(done), "--as-of", day, verb=season)
    for row in ledger["surfaces"]:
        if row["id"] in places:
            assert row["in_holes_mm"] == pytest.approx(0.45239, rel=1e-4)
            assert row["depth_mm"] == pytest.approx(row["target_so_far_mm"], rel=1e-6)


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


def test_demo_season_is_planned_with_its_reasons():
    options = ["--to-target", "--max-depth", "1mm", "--spreader", "twin disc", "--surfaces"]
    plan = document(str(DEMO), *options, "green")
    rows = {row["id"]: row for row in plan["surfaces"]}
    assert rows["g6"]["depth_mm"] == pytest.approx(1.0)
    assert rows["g6"]["note"] == "capped"
    assert rows["g5"]["mass_kg"] == 0
    assert rows["g5"]["note"] == "at its target so far"
    # the simulator throws 14 to 16 % over with this spreader
    sand = plan["sand"]
    share = sand["overthrow_kg"] / (sand["overthrow_kg"] + sand["on_surfaces_kg"])
    assert 0.10 < share < 0.22
    assert sand["overthrow_low_kg"] < sand["overthrow_kg"] < sand["overthrow_high_kg"]
    assert plan["spreader"]["dressings"] == ["D1", "D2", "D4", "D5", "D6", "D9"]
    words = run(str(DEMO), *options, "green").stdout
    assert "No sand: g1–g5, practice: at their targets so far." in words
    assert re.search(r"No sand need be ordered: [\d\u202f]+ kg in stock covers it\.", words)
    assert "D2 is not used: its planned depths differ" in words


def test_a_dressing_like_the_last_gets_the_last_setting():
    """D9: 0.9 mm of the dried sand at setting 3.0 and 7.5 km/h."""
    depth = "0.9369mm"  # what the catches of D4, D5, D6 and D9 say setting 3.0 gave, about
    plan = document(str(DEMO), "--depth", depth, "--surfaces", "g6")
    setting = plan["surfaces"][0]["setting"]
    assert setting["setting"] == pytest.approx(3.0, abs=0.15)
    assert setting["low"] < setting["setting"] < setting["high"]
    assert plan["spreader"]["setting_dressings"] == ["D4", "D5", "D6", "D9"]


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


def test_greens_come_first_and_the_one_farthest_behind_leads():
    rows = document(str(DEMO), "--to-target", "--order", "need")["surfaces"]
    rows = [row for row in rows if row["mass_kg"] > 0]
    kinds = [row["kind"] for row in rows]
    assert list(dict.fromkeys(kinds)) == ["green", "tee", "approach", "lawn"]
    assert kinds == sorted(kinds, key=["green", "tee", "approach", "lawn"].index)
    assert rows[0]["id"] == "g6"  # the demo's under-dressed green
    short = [row["shortfall_mm"] for row in rows if row["kind"] == "green"]
    assert short == sorted(short, reverse=True)
    named = document(str(DEMO), "--to-target", "--surfaces", "bowls g7 g6")["surfaces"]
    assert [row["id"] for row in named] == ["bowls", "g7", "g6"]


def test_what_is_to_be_ordered_reads_plainly(site_folder):
    def order(folder, *options):
        out = run(str(folder), "--surfaces", "green", *options).stdout.splitlines()
        return next(line for line in out if line.startswith(("Order dried", "No sand need")))

    folder = site_folder()
    plain = order(folder, "--depth", "1mm")
    form = (
        r"Order dried: [\d\u202f]+ kg, so [\d\u202f]+ units of 25 kg{}"
        r" \(\d\.\d\d t; \d\.\d m³ if dry and poured\)\."
    )
    assert re.fullmatch(form.format(""), plain)
    wet = TOML.replace("moisture_dry_basis_percent = 0.0", "moisture_dry_basis_percent = 4.0")
    moist = order(site_folder("moist", toml=wet), "--depth", "1mm")
    assert re.fullmatch(form.format(", as delivered, with its water"), moist)
    covered = order(folder, "--depth", "1mm", "--stock", "90t")
    assert covered == "No sand need be ordered: 90\u202f000 kg in stock covers it."
    none = order(folder, "--to-target", "--min-depth", "90mm")
    assert none == "No sand need be ordered: none is to be spread."


def test_what_keeps_a_surface_out_is_told_with_a_way_round_it(site_folder):
    dressings = "dressing,date,surfaces\nD1,2026-04-10,green\n"
    folder = site_folder("blind", catches=None, dressings=dressings, loads=None)
    words = run(str(folder), "--to-target").stdout
    told = "No sand: g1, g2: not measured, and no planned depth; --depth plans them all the same."
    assert told in words.splitlines()
    assert "No sand" not in run(str(folder), "--depth", "0.5mm", "--surfaces", "green").stdout


def test_surfaces_without_a_setting_take_one_line():
    lines = run(str(DEMO), "--to-target").stdout.splitlines()
    (said,) = [line for line in lines if line.startswith("No setting")]
    assert said.startswith("No setting for 11 surfaces (need 0.103 to 1.17): tried was 3 at this")
    lines = run(str(DEMO), "--to-target", "--surfaces", "g7").stdout.splitlines()
    (said,) = [line for line in lines if line.startswith("No setting")]
    assert re.match(r"No setting for g7 \(needs 0\.\d+\): ", said)


def test_a_site_without_catches_still_gets_a_plan_and_is_told_why_there_is_no_overthrow(
    site_folder,
):
    folder = site_folder(catches=None, dressings="dressing,date,surfaces\n", loads=None)
    plan = document(str(folder), "--to-target", "--as-of", "2026-06-30")
    assert plan["sand"]["overthrow_kg"] == 0
    assert plan["sand"]["units"] is None
    texts = [f["text"] for f in plan["findings"]]
    assert any("it is not known: the order holds none of it" in text for text in texts)
    words = run(str(folder), "--depth", "0.5mm").stdout
    assert "dry; overthrow is not known and not in the order." in words
    assert "overthrow to expect" not in words
    assert "first day of the season, 2026-03-01" in words  # there is no record
    assert words.count("no past dressing tells the setting") <= 1
    order, on = words.index("Order dried"), words.index("On surfaces")
    assert words.index("g1") < order < on  # what to order comes before how it was reached
    assert any("no load of this sand" in text for text in texts)
    assert all(row["heading"] is None for row in plan["surfaces"])


def test_where_the_stock_comes_from_is_told(site_folder):
    head = "date,kind,mass_kg,u_mass_kg,sand\n"
    rows = ["2026-04-01,delivery,2000,0,dried\n", "2026-04-05,count,1900,50,dried\n"]

    def stock(name, text):
        out = run(str(site_folder(name, deliveries=head + text)), "--depth", "0.5mm").stdout
        return next(line for line in out.splitlines() if line.startswith("Stock"))

    assert "700 kg (u 13 kg, allowed for), deliveries less loads, is" in stock("a", rows[0])
    # 1900 − 52 · 25; √(50² + 13² + 52 · 0.25²) kg
    since = "600 kg (u 52 kg, allowed for), counted 2026-04-05, deliveries less loads since, is"
    assert since in stock("b", "".join(rows))
    late = rows[1].replace("04-05", "04-10")
    assert "1\u202f900 kg (u 50 kg, allowed for), counted 2026-04-10, is" in stock("c", late)


def test_loads_alike_take_one_line(site_folder):
    options = ("--surfaces", "g2 g1", "--depth", "1mm", "--load", "200kg")
    out = run(str(site_folder()), *options).stdout
    lines = [line for line in out.splitlines() if line.startswith("Load")]
    loads = document(str(site_folder("json")), *options)["loads"]
    assert re.match(r"Loads 1–\d+: g2 200 kg each; refill on g2\.", lines[0])
    assert len(lines) < len(loads)
    numbers = [int(n) for line in lines for n in re.findall(r"\d+", line.partition(":")[0])]
    assert (numbers[0], numbers[-1]) == (1, len(loads))


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


def test_units_of_the_display(site_folder):
    words = run(str(site_folder()), "--depth", "0.5mm", "--units", "us").stdout
    assert "lb" in words
    assert not re.search(r"\bkg\b|\bmm\b|\bm\b|km/h|\bt\b", words)


def lines_of(*arguments):
    result = run(*arguments)
    assert result.exit_code == 0, result.stderr
    return result.stdout.splitlines()


def test_what_is_missing_is_told_and_nothing_else(site_folder):
    bare = {"dressings": "dressing,date,surfaces\n", "loads": None, "catches": None}
    none = TOML[: TOML.index("[targets_mm]")]
    folder = str(site_folder("none", toml=none, **bare))
    result = run(folder, "--depth", "0.5mm")
    assert result.exit_code == 2
    assert "no surface is dressed or has a target: name some with --surfaces" in result.stderr
    assert lines_of(folder, "--to-target", "--surfaces", "green", "--as-of", "2026-06-30") == [
        "Test site: next dressing, planned for 2026-06-30",
        "No sand need be ordered: none is to be spread.",
        "No sand: g1, g2: no target; --depth plans them all the same.",
    ]
    over = lines_of(str(site_folder("late")), "--to-target", "--as-of", "2027-02-01")
    assert "Season: ended on 2026-11-30: targets are those of its end." in over
    last = lines_of(str(site_folder("last")), "--depth", "0.5mm")
    assert "Planned for the day of the last record, 2026-04-10: --as-of names another." in last
    new = lines_of(str(site_folder("new", **bare)), "--depth", "0.5mm")
    assert any(
        "hit the planned rate to ± 10 % (one standard deviation, by default)" in s for s in new
    )
    assert "Heading: no swath is known: give --swath." in new
    heavy = [c | {"gross_g": 300 + k} for k, c in enumerate(CATCHES)]  # 1.6 mm; 1.3 mm is due
    loads = "load,dressing,count,unit_mass_kg\nL1,D1,150,25\n"
    full = str(site_folder("full", catches=heavy, loads=loads))
    for how in (["--to-target"], ["--depth", "1mm"]):
        lines = lines_of(full, *how, "--surfaces", "green", "--as-of", "2026-04-10")
        assert lines[1:] == [
            "No sand need be ordered: none is to be spread.",
            "No sand: g1, g2: over-dressed.",
        ]


@pytest.mark.parametrize(
    ("text", "millimetres"),
    [("1/32in", 0.79375), ("1/4 in", 6.35), ("1 1/8 in", 28.575), ("0.02in", 0.508), ("1mm", 1.0)],
)
def test_depths_as_they_are_typed(site_folder, text, millimetres):
    plan = document(str(site_folder()), "--depth", text)
    assert plan["surfaces"][0]["depth_mm"] == pytest.approx(millimetres)


def test_the_order_of_work_is_told_and_can_be_chosen(site_folder):
    made = [surface(f"g{k}", "green", square(LON + 0.002 * k, LAT, 20.0)) for k in (3, 1, 10, 2)]
    folder = str(site_folder(surfaces=made, catches=None))

    def ids(*options):
        return [row["id"] for row in document(folder, "--depth", "0.5mm", *options)["surfaces"]]

    assert ids() == ["g1", "g2", "g3", "g10"]
    assert ids("--start", "g10") == ["g10", "g3", "g2", "g1"]
    assert ids("--surfaces", "g3 g1 g2") == ["g3", "g1", "g2"]
    assert ids("--surfaces", "g3 g1 g2", "--order", "route") == ["g1", "g2", "g3"]
    plan = document(folder, "--depth", "0.5mm", "--start", "g10", "--load", "500kg")
    far = 9 * 0.002 * math.radians(1) * 6378137 * math.cos(math.radians(LAT))
    assert plan["route"]["length_m"] == pytest.approx(far, rel=5e-3)
    loads = plan["loads"]
    assert [load["refill_on"] for load in loads[:-1]] == [
        load["surfaces"][-1]["id"] for load in loads[:-1]
    ]
    assert loads[-1]["refill_on"] is None
    words = lines_of(folder, "--depth", "0.5mm", "--start", "g10")
    assert any(s.startswith("Order of work: kind by kind, greens first") for s in words)
    wrong = run(folder, "--depth", "0.5mm", "--start", f"{LAT},{LON}")
    assert wrong.exit_code == 2
    assert "is not near this site" in wrong.stderr


def test_bags_are_not_listed_one_by_one(site_folder):
    folder = str(site_folder())
    words = lines_of(folder, "--depth", "0.5mm")
    assert words[-1].startswith("Loads: 49 of 25 kg; --load tells what the spreader holds")
    split = lines_of(folder, "--depth", "0.5mm", "--load", "500kg")
    assert [s.split(":")[0] for s in split if s.startswith("Load ")] == [
        "Load 1",
        "Load 2",
        "Load 3",
    ]


def test_all_prints_in_us_units_hold_no_metric_figure(site_folder, tmp_path):
    deliveries = "date,mass_kg,sand\n2026-04-01,1600,dried\n"
    site = site_folder(deliveries=deliveries)
    page = tmp_path / "job.html"
    for options in (
        ["--depth", "0.5mm", "--holes", "12.7mm,50mm,75mm"],
        ["--to-target", "--as-of", "2026-04-14", "--max-depth", "0.2mm"],
        ["--depth", "0.05mm"],
        ["--to-target", "--as-of", "2026-04-14", "--min-depth", "90mm"],
        ["--rate", "8t/ha"],
    ):
        page.unlink(missing_ok=True)
        words = run(str(site), *options, "--units", "us", "--job-sheet", str(page)).stdout
        shown = re.sub("<(style|script).*?</\\1>", "", page.read_text(), flags=re.DOTALL)
        for text in (words.replace("written", ""), re.sub("<.*?>", " ", shown)):
            found = re.findall(r"\d\s*(?:kg|mm|m|km/h|t|m³|kg/m²)\b", text)
            assert found == [], options


def test_a_bunker_inside_is_told_to_the_driver(site_folder):
    around = surface("a1", "approach", square(LON - 0.002, LAT, 24.0))
    bunker = surface("b1", "bunker", square(LON - 0.002, LAT, 8.0))
    folder = site_folder(surfaces=[*SURFACES, around, bunker], catches=None)
    options = ["--depth", "0.5mm", "--surfaces", "a1", "--swath", "6m"]
    words = lines_of(str(folder), *options)
    said = "Heading: a1 has other ground inside: passes cross it, shut off over it."
    assert said in words


def test_no_strip_is_told_as_narrower_than_nothing(site_folder) -> None:
    """The only balance claims more than was spread: its strip width is below zero."""
    site = str(site_folder(loads=LOADS.replace(",52,", ",45,")))
    told = run(site, "--depth", "1mm", "--surfaces", "green").stdout
    assert json.loads(run(site, "--depth", "1mm", "--json").stdout)["spreader"]["strip_width_m"] < 0
    assert "Strip width 0.00 m of the spreader, from D1 (95 % of a further dressing 0.00 to" in told


def test_units_of_each_surface_hold_its_sand_as_delivered(site_folder):
    """Bags of 25 kg, water and all."""
    toml = TOML.replace("moisture_dry_basis_percent = 0.0", "moisture_dry_basis_percent = 5.0")
    rows = document(str(site_folder(toml=toml)), "--depth", "0.5mm")["surfaces"]
    assert [row["units"] * 25 for row in rows] == pytest.approx([r["delivered_kg"] for r in rows])
    assert rows[0]["delivered_kg"] > 1.04 * rows[0]["mass_kg"]
