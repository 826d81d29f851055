"""What is to be looked at first, one line each."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from geosand.balance.account import OVERTHROW
from geosand.formats.site_folder import read_site
from geosand.reports.console import season_table, surfaces_table, totals
from geosand.reports.first import look_first, next_step
from geosand.results import Results, work_out
from tests.reports.printable.large_site import large_site
from tests.sites import CATCHES, LAT, LON, SURFACES, TOML, catch, points, square, surface

LIGHT = "load,dressing,count,unit_mass_kg,u_unit_mass_kg,u_label_percent,weighed_kg,u_weighed_kg\n"


@pytest.fixture(scope="module")
def large(tmp_path_factory: pytest.TempPathFactory) -> Results:
    return work_out(read_site(large_site(tmp_path_factory.mktemp("large") / "site")))


@pytest.mark.parametrize(
    ("weighed", "said"),
    [
        ("", "One dressing can not prove which"),
        ("500", "One dressing can not prove which"),
        ("690", "The scale speaks against the unit mass: load L1 weighs 690 kg, not 500 kg"),
    ],
)
def test_a_dressing_that_does_not_close(
    site_folder: Callable[..., Path], weighed: str, said: str
) -> None:
    u = "2" if weighed else ""
    folder = site_folder(loads=LIGHT + f"L1,D1,20,25,0.25,1,{weighed},{u}\n")
    lines = look_first(work_out(read_site(folder)), "metric")
    told = [line for line in lines if line.startswith("D1: the balance does not close")]
    assert len(told) == 1
    assert told[0].replace("\u202f", " ").endswith(said)
    assert ("It would close with unit mass" in told[0]) == said.startswith("The scale speaks")


def test_what_the_scale_speaks_against_comes_first_of_more_ways_than_are_told(
    site_folder: Callable[..., Path],
) -> None:
    """52 bags with 30 % water are 1,000 kg dry of 1,183 caught; four inputs would close that."""
    dry = {"moisture_dry_basis_percent": 0, "u_moisture_percent": 0.2}
    wet = LIGHT.strip() + ",moisture_dry_basis_percent,u_moisture_percent\n"
    folder = site_folder(
        catches=[catch(k, **dry) for k in range(1, 7)],
        loads=wet + "L1,D1,52,25,0.25,1,1500,2,30,3\n",
    )
    results = work_out(read_site(folder))
    assert [way.input for way in results.balance.closing[0]].index("unit mass") == 3
    (told,) = [line for line in look_first(results, "metric") if line.startswith("D1: the balance")]
    assert "It would close with unit mass +18" in told
    assert told.count("; or ") == 2


@pytest.mark.parametrize(("weighed", "told"), [("1290", False), ("1150", True), ("1400", True)])
def test_a_scale_that_speaks_against_bags_is_told_where_the_balance_closes_too(
    site_folder: Callable[..., Path], weighed: str, told: bool
) -> None:
    """52 bags of 25 kg, ± 1 % by label: 1300 ± 13 kg; light bags look like overthrow."""
    folder = site_folder(loads=LIGHT + f"L1,D1,52,25,0.25,1,{weighed},2\n")
    results = work_out(read_site(folder))
    assert results.balance.verdict[0] != "does not close"
    said = f"load L1 weighs {weighed[0]} {weighed[1:]} kg, not 1 300 kg"
    lines = [line.replace("\u202f", " ") for line in look_first(results, "metric")]
    line = f"D1: the scale speaks against the unit mass, on which the balance stays: {said}"
    assert (line in lines) is told
    step = next_step(results, "metric").replace("\u202f", " ")
    assert step.startswith(f"Next: see why {said}; then ") is told


def test_a_finding_rounds_half_a_kilogram_as_the_first_look_does(
    site_folder: Callable[..., Path],
) -> None:
    """46.5 bags of 25 kg are 1,162.5 kg: away from zero, as spreadsheets round."""
    folder = site_folder(loads=LIGHT + "L1,D1,46.5,25,0.25,1,1300.5,2\n")
    results = work_out(read_site(folder))
    (found,) = [f.text for f in results.findings if "its units hold" in f.text]
    (line,) = [one for one in look_first(results, "metric") if "speaks against" in one]
    assert "weighs 1301 kg where count and unit mass say 1163 kg" in found
    assert "load L1 weighs 1\u202f301 kg, not 1\u202f163 kg" in line


@pytest.mark.parametrize(
    ("loads", "off_kg", "told"), [(1, 1.4, True), (25, 1.4, False), (25, 3, True)]
)
def test_the_farthest_of_many_good_weighings_is_no_alarm(
    site_folder: Callable[..., Path], loads: int, off_kg: float, told: bool
) -> None:
    """Loads of two bags of 25 ± 0.25 kg, label ± 1 %: ± 0.61 kg, so that 1.4 kg are 2.3 u.

    The farthest of 25 normal deviates is as seldom beyond 3.1 as one alone beyond 2.
    """
    rest = "".join(f"L{k},D1,2,25,0.25,1,50,0.05\n" for k in range(2, loads + 1))
    rest += f"L0,D1,{52 - 2 * loads},25,0.25,1,,\n"
    folder = site_folder(loads=f"{LIGHT}L1,D1,2,25,0.25,1,{50 + off_kg},0.05\n{rest}")
    results = work_out(read_site(folder))
    assert results.weighings is not None and results.weighings.sigmas[0] > 2
    assert ("see why load L1" in next_step(results, "metric")) is told


@pytest.mark.parametrize("count", [47, 46])
def test_a_balance_that_may_be_closed_is_no_alarm(
    site_folder: Callable[..., Path], count: int
) -> None:
    """Catches that claim a little more than was spread, within what is known, are no fault."""
    loads = (
        f"load,dressing,count,unit_mass_kg,u_unit_mass_kg,u_label_percent\nL1,D1,{count},25,1,5\n"
    )
    results = work_out(read_site(site_folder("site", loads=loads)))
    assert results.balance.overthrow.value[0] < 0
    assert results.balance.verdict[0] != "does not close"
    told = look_first(results, "metric")
    assert not [line for line in told if "does not close" in line]
    undecided = [line for line in told if line.startswith("D1: undecided")]
    assert len(undecided) == (results.balance.verdict[0] == "undecided")


def test_dressings_without_catches_are_told_in_one_line(site_folder: Callable[..., Path]) -> None:
    days = [f"D{k},2026-0{k + 2}-10,green,0.6,4\n" for k in range(1, 6)]
    rows = "dressing,date,surfaces,planned_depth_mm,swath_m\n" + "".join(days)
    loads = "load,dressing,count,unit_mass_kg\n" + "".join(
        f"L{k},D{k},40,25\n" for k in range(1, 5)
    )
    results = work_out(read_site(site_folder(dressings=rows, loads=loads, catches=None)))
    told = look_first(results, "metric")
    assert told[1:4] == [
        "D5: no loads are recorded: its balance is not measured",
        "D1, D2, D3, D4: no catches are recorded: their balances are not measured",
        "g1, g2: had a dressing without catches: depth not known",
    ]
    many = [surface(f"g{k}", "green", square(LON + k / 300, LAT, 25.0)) for k in range(3, 13)]
    site = site_folder("many", surfaces=[*SURFACES, *many], dressings=rows, catches=None)
    told = look_first(work_out(read_site(site)), "metric")
    assert "g1–g12: had a dressing without catches: depth not known" in told


def test_of_many_surfaces_in_one_state_whole_kinds_come_together(large: Results) -> None:
    """The lines with the surface farthest off come first; two greens of eighteen are named."""
    behind = large.ledger.state == "under-dressed"
    lines = [line for line in look_first(large, "metric") if "under-dressed" in line]
    assert [line.partition(":")[0] for line in lines] == ["l1–l8", "g4", "t1–t18", "g16"]
    assert behind.sum() == 8 + 1 + 18 + 1


def test_surfaces_with_the_same_figures_are_told_in_one_line(
    site_folder: Callable[..., Path],
) -> None:
    """Greens without a catch of their own have the mean of their dressing, those with one not."""
    late = np.datetime64("2026-11-01")
    further = [surface(f"g{k}", "green", square(LON + k / 300, LAT, 25.0)) for k in (3, 4)]
    less = [
        {**row, "gross_g": row["gross_g"] + 400 * (row["lon"] < LON + 0.002)} for row in CATCHES
    ]
    site = site_folder(surfaces=[*SURFACES, *further], catches=points(less))
    results = work_out(read_site(site), as_of=late)
    for units, of in (("metric", "mm"), ("us", "in")):
        lines = [line for line in look_first(results, units) if ": under-dressed, " in line]
        heads = {line.partition(":")[0] for line in lines}
        assert heads == {"g1", "g2", "g3, g4", "t1"}
        assert all(f" {of} so far (probability" in line for line in lines)


def test_what_nobody_measured_is_no_remainder_of_figures(site_folder: Callable[..., Path]) -> None:
    told = totals(work_out(read_site(site_folder(catches=None))), "metric")
    assert told == ["1 dressing, not measured", "spread 1\u202f300 kg; not known where it lies"]


def test_what_is_not_known_is_a_dash_and_no_bound(site_folder: Callable[..., Path]) -> None:
    results = work_out(read_site(site_folder(catches=None)))
    rows = {row[0]: row for row in season_table(results, "metric").rows}
    assert rows["g1"][2] == "–" and rows["g1"][-1] == "–"
    assert {row[3] for row in surfaces_table(results, 0, "metric").rows} == {"–"}


@pytest.mark.parametrize(
    ("counted", "said"),
    [
        ("0", r"2\u202f425 ± \d+ lb were bought and are neither in the loads nor in stock"),
        ("1100", None),
        ("1300", r"441 ± \d+ lb more were taken out or counted than were bought"),
    ],
)
def test_sand_that_is_not_accounted_for_is_told(
    site_folder: Callable[..., Path], counted: str, said: str | None
) -> None:
    """2,400 kg bought, 1,300 kg taken out in 52 bags of 25 kg: 1,100 kg must be there."""
    rows = f"2026-03-02,delivery,2400,24,dried\n2026-04-20,count,{counted},20,dried\n"
    folder = site_folder(deliveries="date,kind,mass_kg,u_mass_kg,sand\n" + rows)
    told = [line for line in look_first(work_out(read_site(folder)), "us") if "sand" in line]
    told = [line for line in told if line.startswith("sand dried: ")]
    assert bool(told) is (said is not None)
    if said:
        assert re.fullmatch(f"sand dried: {said}", told[0])


@pytest.mark.parametrize(("bags", "more"), [(70, 66), (60, None), (90, None)])
def test_what_would_explain_the_overthrow_on_surfaces_never_caught(
    site_folder: Callable[..., Path], bags: int, more: int | None
) -> None:
    """Trays of 0.92, 0.97 and 0.88 kg/m² on 400 m² of g1: 900 m² of g2 are taken to have 0.923.

    1,750 kg of 1,200 on both leave 550, which is 66 % of the 831 kg on g2. 300 kg are not told from
    none; for 1,050 g2 had to have more than twice as much, which nobody overlooks.
    """
    folder = site_folder(
        catches=[catch(k) for k in (1, 2, 3)],
        loads=f"load,dressing,count,unit_mass_kg,u_label_percent\nL1,D1,{bags},25,0.1\n",
    )
    results = work_out(read_site(folder))
    (told,) = [line for line in look_first(results, "metric") if "never had a catch" in line]
    said = [] if more is None else [f"{more} % more"]
    assert re.findall(r"If it got (.+), nothing was thrown over", told) == said


def test_surfaces_never_caught_do_not_explain_what_dressings_without_them_threw_over(
    site_folder: Callable[..., Path],
) -> None:
    """As above, and D2 threw over 206 kg of 575 beside g1 alone: g2 can not have had those."""
    trays = [catch(k) for k in (1, 2, 3)]
    folder = site_folder(
        catches=[*trays, *(catch(k, catch=f"d{k}", dressing="D2") for k in (1, 2, 3))],
        dressings="dressing,date,surfaces\nD1,2026-04-10,green\nD2,2026-05-10,g1\n",
        loads="load,dressing,count,unit_mass_kg,u_label_percent\n"
        "L1,D1,70,25,0.1\nL2,D2,23,25,0.1\n",
    )
    results = work_out(read_site(folder))
    assert results.balance.verdict.tolist() == [OVERTHROW, OVERTHROW]
    (told,) = [line for line in look_first(results, "metric") if "never had a catch" in line]
    assert "nothing was thrown over" not in told


def test_only_surfaces_dressed_where_sand_was_thrown_over_would_explain_it(
    site_folder: Callable[..., Path],
) -> None:
    """As above; g3 was dressed on D2 alone, which threw nothing over: it explains nothing."""
    g3 = surface("g3", "green", square(LON + 0.008, LAT, 20.0))
    folder = site_folder(
        surfaces=[*SURFACES, g3],
        catches=[*map(catch, (1, 2, 3)), *(catch(k, catch=f"d{k}", dressing="D2") for k in (1, 2))],
        dressings="dressing,date,surfaces\nD1,2026-04-10,g1 g2\nD2,2026-05-10,g1 g3\n",
        loads="load,dressing,count,unit_mass_kg,u_label_percent\n"
        "L1,D1,70,25,0.1\nL2,D2,30,25,0.1\n",
    )
    results = work_out(read_site(folder))
    assert (results.balance.verdict == OVERTHROW).tolist() == [True, False]
    (told,) = [line for line in look_first(results, "metric") if "never had a catch" in line]
    assert told.startswith("g2, g3: have never had a catch")
    assert ". If g2 got 66 % more, nothing was thrown over" in told


def test_many_ids_are_told_in_runs_and_one_by_one_where_each_is_a_link(
    site_folder: Callable[..., Path],
) -> None:
    """Eight greens without a catch: what is left out is counted in surfaces, not in runs."""
    further = [surface(f"g{k}", "green", square(LON + k / 300, LAT, 25.0)) for k in range(3, 11)]
    site = read_site(site_folder(surfaces=[*SURFACES, *further]))
    results = work_out(site, as_of=np.datetime64("2026-11-01"))
    caught = "have never had a catch"
    (told,) = [line for line in look_first(results, "metric") if caught in line]
    assert told.startswith("g3–g10: ")
    (told,) = [line for line in look_first(results, "metric", linked=True) if caught in line]
    assert told.startswith("g3, g4, g5, g6, g7, g8 and 2 more: ")
    assert "then dress every green, t1 (" in next_step(results, "metric")


@pytest.mark.parametrize(("reach_m", "told"), [(4.98, False), (5.02, True)])
def test_a_reach_that_no_spreader_has_asks_for_lost_sand(
    site_folder: Callable[..., Path], reach_m: float, told: bool
) -> None:
    """1 kg/m² along 80 m and 120 m of edge holds Σ(P·L/2 + π·L²/3): 200·L/2 + 2π·L²/3 kg."""
    over = 100 * reach_m + 2 * np.pi * reach_m**2 / 3
    loads = f"load,dressing,count,unit_mass_kg\nL1,D1,{(1300 + over) / 25},25\n"
    even = [c | {"gross_g": 150} for c in CATCHES]
    lines = look_first(work_out(read_site(site_folder(loads=loads, catches=even))), "metric")
    line = "D1: its overthrow would reach 5.02 m beyond the edge: was sand lost?"
    assert (line in lines) is told
    assert any("was sand lost" in one for one in lines) is told


@pytest.mark.parametrize(
    ("dressed", "edges_m", "said"),
    [
        ("green", 0.02, "three more catches on g2, g1"),
        ("green t1", 0.02, "three more catches on surfaces without any (t1)"),
        ("green", 1.0, "surveying the mown edges to ± 2 cm"),
        ("green t1", 1.0, "surveying the mown edges to ± 2 cm"),
    ],
)
def test_what_would_decide_a_balance_is_what_is_least_known(
    site_folder: Callable[..., Path], dressed: str, edges_m: float, said: str
) -> None:
    """1188 kg on 1100 m² of greens by three trays, ± 12 %; t1 is 100 m² and has no tray.

    Edges that are 1 m off move about 125 m² (perimeters of 80 and 120 m, which one bias shares).
    """
    bags = 47 if dressed == "green" else 51
    toml = TOML.replace("edge_accuracy_m = 0.10", f"edge_accuracy_m = {edges_m}")
    toml = toml.replace("edge_bias_m = 0.05", f"edge_bias_m = {edges_m}")
    results = work_out(
        read_site(
            site_folder(
                toml=toml,
                dressings=f"dressing,date,surfaces,planned_depth_mm\nD1,2026-04-10,{dressed},0.6\n",
                loads=f"load,dressing,count,unit_mass_kg\nL1,D1,{bags},25\n",
                catches=[c for c in CATCHES if c["catch"] in ("c1", "c3", "c4")],
            )
        )
    )
    assert results.balance.verdict.tolist() == ["undecided"]
    (line,) = [line for line in look_first(results, "metric") if "undecided" in line]
    assert line == (
        "D1: undecided: whether sand was thrown over is not known well enough;"
        f" {said} would help most"
    )


@pytest.mark.parametrize(
    ("year", "step", "line"),
    [
        (2026, None, None),
        (2027, "see whether the date of D2 is right, or season_end", "D2: its date is after"),
        (2025, None, None),
    ],
)
def test_a_year_mistyped_is_doubted_before_what_is_due(
    site_folder: Callable[..., Path], year: int, step: str | None, line: str | None
) -> None:
    """A date after the season's end makes the whole target due, so that all look under-dressed."""
    dressings = f"dressing,date,surfaces\nD1,2026-04-10,green\nD2,{year}-05-10,green\n"
    results = work_out(read_site(site_folder(dressings=dressings)))
    first, said = look_first(results, "metric"), next_step(results, "metric")
    assert said.startswith(f"Next: {step}; then dress ") is bool(step)
    assert first[0].startswith(f"{line} the season's end, 2026-11-30") is bool(line)
    early = work_out(results.site, as_of=np.datetime64("2026-06-01"))
    assert not look_first(early, "metric")[0].startswith("D2: its date")
    outside = "1 dressing, measured; D2 is outside the season"
    assert (totals(results, "metric")[0] == outside) is (year != 2026)


@pytest.mark.parametrize(("gross", "told"), [(143, False), (50.092, True)])
def test_sand_that_is_mostly_nowhere_is_doubted_before_it_is_called_overthrow(
    site_folder: Callable[..., Path], gross: float, told: bool
) -> None:
    """Readings in kilograms under ``gross_g``: all surfaces would look under-dressed."""
    catches = [one | {"gross_g": gross} for one in CATCHES]
    results = work_out(read_site(site_folder(catches=catches)))
    first, step = look_first(results, "metric"), next_step(results, "metric")
    assert first[0].startswith("D1: more than half of the spread is not on the surfaces") is told
    assert step.startswith("Next: find out why most sand of D1 is not on its surfaces") is told


@pytest.mark.parametrize("change", [{"reject_reason": "rain"}, {"dressing": "D2"}])
def test_catches_that_do_not_count_are_not_called_missing(
    site_folder: Callable[..., Path], change: dict[str, str]
) -> None:
    """Set aside, or on surfaces that their dressing did not name."""
    dressings = "dressing,date,surfaces\nD1,2026-04-10,green\nD2,2026-05-10,t1\n"
    loads = "load,dressing,count,unit_mass_kg\nL1,D1,52,25\nL2,D2,5,25\n"
    catches = [one | change for one in CATCHES]
    folder = site_folder(dressings=dressings, loads=loads, catches=catches)
    lines = look_first(work_out(read_site(folder)), "metric")
    of = change.get("dressing", "D1")
    line = f"{of}: none of the recorded catches counts on what was dressed: its balance is"
    assert f"{line} not measured" in lines
    other = "D1" if of == "D2" else "D2"
    assert f"{other}: no catches are recorded: its balance is not measured" in lines


def test_only_dressings_of_the_season_up_to_the_day_are_looked_at_first(
    site_folder: Callable[..., Path],
) -> None:
    """D1 does not close: neither in the season after nor on a day before it is it news."""
    folder = site_folder(loads="load,dressing,count,unit_mass_kg\nL1,D1,20,25\n")
    lines = look_first(work_out(read_site(folder)), "metric")
    assert any(line.startswith("D1: the balance does not close") for line in lines)
    later = TOML.replace("2026-03-01", "2027-03-01").replace("2026-11-30", "2027-11-30")
    loads = "load,dressing,count,unit_mass_kg\nL1,D1,20,25\n"
    next_year = work_out(read_site(site_folder("later", toml=later, loads=loads)))
    before = work_out(read_site(folder), as_of=np.datetime64("2026-04-01"))
    for results in (next_year, before):
        assert "D1" not in " ".join(look_first(results, "metric"))
        assert "D1" not in next_step(results, "metric")
