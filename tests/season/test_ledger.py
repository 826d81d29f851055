"""Depth so far against target so far, worked by hand on a site of two greens and a tee."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from geosand.balance.spread import NEW
from geosand.distributions import student_probability
from geosand.errors import Refused
from geosand.estimates import Estimates
from geosand.rates.over_time import SURFACE
from geosand.results import Results
from geosand.season.ledger import states
from geosand.season.totals import season_totals
from tests.season.conftest import D1, D2, HEAD, LOADS, TWO, Run
from tests.sites import LAT, LON, SURFACES, TOML, catch, collection, square, surface

NO_END = TOML.replace("season_end = 2026-11-30\n", "")


def by_id(results: Results, column: Any) -> dict[str, Any]:
    names = results.site.surfaces.id[results.ledger.row].tolist()
    return dict(zip(names, column.tolist(), strict=True))


def mm(results: Results, column: Any) -> dict[str, float]:
    return {name: value * 1000 for name, value in by_id(results, column).items()}


def test_depths_add_over_the_dressings(run: Run) -> None:
    results = run()
    depth = mm(results, results.ledger.depth.value)
    assert depth == pytest.approx({"g1": 1.4, "g2": 0.6, "t1": 0.0}, rel=1e-9)
    assert by_id(results, results.ledger.dressings) == {"g1": 2, "g2": 1, "t1": 0}


def test_the_day_is_that_of_the_last_record_never_the_clock(run: Run) -> None:
    assert run().ledger.as_of == np.datetime64("2026-06-10")
    later = "date,mass_kg,sand\n2026-07-01,1000,dried\n"
    assert run(deliveries=later).ledger.as_of == np.datetime64("2026-07-01")


def test_target_so_far_is_the_elapsed_share(run: Run) -> None:
    # 16 July is day 137 of the 274 from 1 March to 30 November: half of 9 and of 4 mm
    results = run("2026-07-16")
    so_far = mm(results, results.ledger.target_so_far_m)
    assert so_far == pytest.approx({"g1": 4.5, "g2": 4.5, "t1": 2.0}, rel=1e-12)
    shortfall = mm(results, results.ledger.shortfall_m)
    assert shortfall == pytest.approx({"g1": 3.1, "g2": 3.9, "t1": 2.0}, rel=1e-9)


@pytest.mark.parametrize("day, share", [("2026-03-01", 0), ("2026-11-30", 1), ("2027-05-01", 1)])
def test_target_so_far_stays_between_nothing_and_all(run: Run, day: str, share: float) -> None:
    results = run(day)
    assert mm(results, results.ledger.target_so_far_m)["g1"] == pytest.approx(9.0 * share)


def test_a_day_before_the_season_is_refused(run: Run) -> None:
    with pytest.raises(Refused, match="the season starts on 2026-03-01"):
        run("2026-02-01")


def test_dressings_after_the_day_do_not_count_yet(run: Run) -> None:
    results = run("2026-06-09")
    assert mm(results, results.ledger.depth.value)["g1"] == pytest.approx(0.6)
    assert results.ledger.counted.tolist() == [True, True, False]


def test_dressings_outside_the_season_do_not_count(run: Run) -> None:
    early = TWO.replace("2026-04-10", "2026-02-10")
    results = run(dressings=early)
    assert mm(results, results.ledger.depth.value)["g1"] == pytest.approx(0.8)


@pytest.mark.parametrize(
    ("day", "counts"),
    [("2026-02-28", False), ("2026-03-01", True), ("2026-11-30", True), ("2026-12-01", False)],
)
def test_the_season_has_its_first_and_its_last_day(run: Run, day: str, counts: bool) -> None:
    results = run("2026-12-31", dressings=f"{HEAD}\nD1,{day},green,0.6\n", catches=D1)
    assert results.ledger.counted.tolist() == [counts, counts]
    depth = mm(results, results.ledger.depth.value)
    assert depth["g1"] == pytest.approx(0.6 if counts else 0.0)


@pytest.mark.parametrize(("day", "passed"), [("2026-03-02", 1), ("2026-11-29", 273)])
def test_a_day_is_one_of_the_days_between_start_and_end(run: Run, day: str, passed: int) -> None:
    results = run(day, dressings=f"{HEAD}\n", loads=None, catches=None)
    so_far = mm(results, results.ledger.target_so_far_m)
    assert so_far == pytest.approx(
        {"g1": 9 * passed / 274, "g2": 9 * passed / 274} | {"t1": 4 * passed / 274}, rel=1e-12
    )


def test_without_an_end_the_target_is_what_was_planned(run: Run) -> None:
    """g2 was left out on 10 June: what its kind was planned to get counts for it too."""
    results = run(toml=NO_END)
    so_far = mm(results, results.ledger.target_so_far_m)
    assert so_far["g1"] == pytest.approx(1.4)
    assert so_far["g2"] == pytest.approx(1.4)
    assert np.isnan(so_far["t1"])  # no dressing of a tee was planned
    state = by_id(results, results.ledger.state)
    assert state == {"g1": "on target", "g2": "under-dressed", "t1": "no target"}


def test_without_an_end_a_mix_carried_out_as_planned_is_on_target(run: Run) -> None:
    """Depth so far counts the mix's sand only, and so does what was planned of the mix."""
    mix = NO_END.replace("[sands.dried]\n", "[sands.dried]\nsand_mass_fraction = 0.7\n")
    results = run(toml=mix)
    assert mm(results, results.ledger.target_so_far_m)["g1"] == pytest.approx(0.7 * 1.4, rel=1e-12)
    assert by_id(results, results.ledger.state)["g1"] == "on target"


def test_what_a_surface_that_is_gone_was_planned_to_get_is_no_plan_of_others(run: Run) -> None:
    """D1 plans 0.6 mm on greens and 1.8 mm on p1, which the survey of 1 June no longer has."""
    pitch = surface("p1", "pitch", square(LON + 0.004, LAT + 0.003, 20.0))
    results = run(
        toml=NO_END,
        surfaces=collection(SURFACES, valid_from="2026-06-01"),
        files={"editions/2026-01-01.geojson": collection([*SURFACES, pitch])},
        dressings=f"{HEAD}\nD1,2026-04-10,green,0.6\nD1,2026-04-10,p1,1.8\n",
        catches=D1,
    )
    so_far = mm(results, results.ledger.target_so_far_m)
    assert so_far["g1"] == pytest.approx(0.6, rel=1e-12)
    assert so_far["g2"] == pytest.approx(0.6, rel=1e-12)
    # of two kinds in force, neither is that of the pitch
    assert np.isnan(so_far["t1"])
    tees = f"{HEAD}\nD1,2026-04-10,t1,0.4\nD1,2026-04-10,p1,1.8\nD2,2026-07-10,green,0.6\n"
    again = run(
        toml=NO_END,
        surfaces=collection(SURFACES, valid_from="2026-06-01"),
        files={"editions/2026-01-01.geojson": collection([*SURFACES, pitch])},
        dressings=tees,
        catches=None,
        loads=None,
    )
    so_far = mm(again, again.ledger.target_so_far_m)
    assert so_far == pytest.approx({"g1": 0.6, "g2": 0.6, "t1": 0.4}, rel=1e-12)


def test_a_dressing_without_a_plan_among_planned_ones_is_told(run: Run) -> None:
    """Its 0.8 mm are in the depth so far and can not be in a target that is what was planned."""
    blank = TWO.replace("g1,0.8", "g1,")
    results = run(toml=NO_END, dressings=blank)
    assert by_id(results, results.ledger.state)["g1"] == "over-dressed"
    (told,) = [f for f in results.ledger.findings if f.about == "D2"]
    assert "has no planned_depth_mm on g1: its sand is in their depth so far" in told.text
    # what another dressing plans for another kind is no plan of this one
    tees = run(toml=NO_END, dressings=blank + "D1,2026-04-10,t1,0.4\n")
    assert [f.text for f in tees.ledger.findings if f.about == "D2"] == [told.text]
    assert not [f for f in run(dressings=blank).ledger.findings if f.about == "D2"]
    # where another row of it plans its kind, that counts for it
    both = run(toml=NO_END, dressings=blank + "D2,2026-06-10,g2,0.8\n")
    assert mm(both, both.ledger.target_so_far_m)["g1"] == pytest.approx(1.4)
    assert not [f for f in both.ledger.findings if f.about == "D2"]


def test_a_surfaces_own_planned_depth_wins_over_its_kinds(run: Run) -> None:
    dressings = f"{HEAD}\nD1,2026-04-10,g1,0.4\nD1,2026-04-10,g2,0.8\n"
    results = run(toml=NO_END, dressings=dressings, catches=D1)
    so_far = mm(results, results.ledger.target_so_far_m)
    assert (so_far["g1"], so_far["g2"]) == pytest.approx((0.4, 0.8))


def test_a_surfaces_own_target_wins_over_its_kinds(run: Run) -> None:
    thick = surface("g1", "green", square(LON, LAT, 20.0), target_mm=18)
    results = run("2026-07-16", surfaces=[thick, *SURFACES[1:]])
    so_far = mm(results, results.ledger.target_so_far_m)
    assert (so_far["g1"], so_far["g2"]) == pytest.approx((9.0, 4.5))


def test_an_unmeasured_dressing_leaves_the_state_open(run: Run) -> None:
    results = run(catches=D1)  # nothing was laid on 10 June
    state = by_id(results, results.ledger.state)
    assert state["g1"] == "not measured"
    assert state["g2"] == "under-dressed"
    # what is known is told; what it is short of is not known
    assert mm(results, results.ledger.depth.value)["g1"] == pytest.approx(0.6)
    assert np.isnan(mm(results, results.ledger.shortfall_m)["g1"])
    assert np.isnan(by_id(results, results.ledger.probability)["g1"])


def test_nothing_measured_is_unknown_and_not_zero(run: Run) -> None:
    results = run(catches=None)
    depth = mm(results, results.ledger.depth.value)
    assert np.isnan(depth["g1"])
    assert np.isnan(depth["g2"])
    assert depth["t1"] == 0.0  # never dressed: known to be nothing
    assert np.isnan(by_id(results, results.ledger.depth.u())["g1"])
    assert np.isnan(results.ledger.rings.depth_m).all()


def test_a_site_without_any_dressing(run: Run) -> None:
    results = run("2026-07-16", dressings=f"{HEAD}\n", loads=None, catches=None)
    assert mm(results, results.ledger.depth.value) == {"g1": 0.0, "g2": 0.0, "t1": 0.0}
    assert set(results.ledger.state.tolist()) == {"under-dressed"}
    assert len(results.ledger.rings.id) == 0
    start = run(dressings=f"{HEAD}\n", loads=None, catches=None)
    assert start.ledger.as_of == np.datetime64("2026-03-01")


def test_limits_lie_on_both_sides_of_the_depth_and_never_below_nothing(run: Run) -> None:
    """Three trays of 200, 20 and 10 g scatter so far that the lower limit would be below zero."""
    even, wild = (
        run(),
        run(catches=[catch(k, gross_g=50 + g) for k, g in ((1, 200), (2, 20), (3, 10))]),
    )
    depth, interval = even.ledger.depth.value[0], even.ledger.interval
    assert 0 < interval.low[0] < depth
    assert interval.high[0] - depth == pytest.approx(depth - interval.low[0], rel=1e-9)
    depth, interval = wild.ledger.depth.value[0], wild.ledger.interval
    assert interval.high[0] > 2 * depth
    assert interval.low[0] == 0.0


def test_shared_errors_add_and_scatter_does_not(run: Run) -> None:
    """Two like dressings: shared sources twice, the catches' scatter √2 of one."""
    dressings = f"{HEAD}\nD1,2026-04-10,green,0.6\nD2,2026-06-10,green,0.6\n"
    trays = [catch(k) for k in range(1, 7)]
    twice = [*trays, *[{**row, "dressing": "D2"} for row in trays]]
    one, two = (
        run(dressings=dressings, catches=twice, as_of="2026-05-01"),
        run(dressings=dressings, catches=twice),
    )
    single, double = one.ledger.depth.effects, two.ledger.depth.effects
    for source in ("catch efficiency", "tray size", "bulk density: dried", "sampling: surface"):
        assert double[source][:2] == pytest.approx(2 * single[source][:2], rel=1e-9)
    new = "sampling: catches"
    assert double[new][:2] == pytest.approx(2**0.5 * single[new][:2], rel=1e-9)


def test_seasons_totals_keep_what_persists(run: Run) -> None:
    loads = "load,dressing,count,unit_mass_kg\nL1,D1,56,25\nL2,D2,22.4,25\n"
    results = run(loads=loads)
    totals = season_totals(results.balance, np.array([True, True]))
    assert totals["spread"].value == pytest.approx([1400 + 560])
    # labels 1 % of all bags; bags 1 % each: 0.25·√78.4
    parts = totals["spread"].by_category()
    assert parts["label"] == pytest.approx([19.6], rel=1e-9)
    assert parts["bags"] == pytest.approx([0.25 * 78.4**0.5], rel=1e-9)
    efficiency = totals["on_surfaces"].by_category()["catch efficiency"]
    assert efficiency == pytest.approx(0.03 * totals["on_surfaces"].value, rel=1e-9)


def test_ground_that_took_more_left_less_beside(run: Run) -> None:
    """Errors of areas, trays and surfaces move sand between the two sums and make none."""
    loads = LOADS + "L2,D2,20,25\n"
    results = run(loads=loads, dressings=TWO.replace("g1,0.8", "green,0.8"), catches=[*D1, *D2])
    every = np.ones(len(results.site.dressings), dtype=bool)
    totals = season_totals(results.balance, every)
    spread, on, over = (totals[k] for k in ("spread", "on_surfaces", "overthrow"))
    assert over.value == pytest.approx(spread.value - on.value)
    moving = set(on.effects) - set(spread.effects) - set(NEW)
    assert {"edge", "tray size", SURFACE} <= moving
    for source in moving:
        assert over.effects[source] == pytest.approx(-on.effects[source], rel=1e-9), source
    assert all(on.effects[source].any() for source in ("edge", "tray size"))


def test_holes_fill_first(run: Run) -> None:
    """12.7 mm holes, 75 mm deep, 50 × 50 mm: π/4·12.7²·75/2500 = 3.80 mm of sand go in."""
    head = f"{HEAD},hole_diameter_mm,hole_spacing_mm,hole_depth_mm"
    dressings = f"{head}\nD1,2026-04-10,g1,6,12.7,50,75\nD1,2026-04-10,g2,6,,,\n"
    results = run(dressings=dressings, catches=[catch(k, gross_g=980) for k in range(1, 7)])
    holes, above = mm(results, results.ledger.in_holes_m), mm(results, results.ledger.surface_m)
    assert holes["g1"] == pytest.approx(3.80, abs=0.005)
    assert above["g1"] == pytest.approx(6.0 - 3.80, abs=0.005)
    assert holes["g2"] == 0.0
    assert above["g2"] == pytest.approx(6.0)


def test_holes_take_no_more_of_a_mix_than_its_sand(run: Run) -> None:
    """Holes of 3.80 mm filled with a mix of 70 % sand: both of them hold 0.7 of it."""
    mix = TOML.replace("[sands.dried]\n", "[sands.dried]\nsand_mass_fraction = 0.7\n")
    head = f"{HEAD},hole_diameter_mm,hole_spacing_mm,hole_depth_mm"
    full = f"{head}\nD1,2026-04-10,green,6,12.7,50,75\n"
    results = run(toml=mix, dressings=full, catches=[catch(k, gross_g=980) for k in range(1, 7)])
    capacity = np.pi / 4 * 12.7**2 * 75 / 50**2
    assert mm(results, results.ledger.in_holes_m)["g1"] == pytest.approx(0.7 * capacity, rel=1e-9)
    above = 0.7 * (6.0 - capacity)
    assert mm(results, results.ledger.surface_m)["g1"] == pytest.approx(above, rel=1e-9)


def test_holes_of_each_dressing_fill_anew(run: Run) -> None:
    """0.6 mm and 0.8 mm into holes that hold 0.7 mm: 0.6 and 0.7 mm lie in them."""
    head = f"{HEAD},hole_diameter_mm,hole_spacing_mm,hole_depth_mm"
    deep = 0.7 * 50**2 / (np.pi / 4 * 10**2)
    rows = f"D1,2026-04-10,green,0.6,10,50,{deep}\nD2,2026-06-10,g1,0.8,10,50,{deep}\n"
    results = run(dressings=f"{head}\n{rows}")
    holes = mm(results, results.ledger.in_holes_m)
    assert (holes["g1"], holes["g2"]) == pytest.approx((1.3, 0.6), rel=1e-9)
    assert mm(results, results.ledger.surface_m)["g1"] == pytest.approx(0.1, rel=1e-9)


def test_holes_take_no_more_than_there_is(run: Run) -> None:
    head = f"{HEAD},hole_diameter_mm,hole_spacing_mm,hole_depth_mm"
    dressings = f"{head}\nD1,2026-04-10,green,0.6,12.7,50,75\n"
    results = run(dressings=dressings, catches=D1)
    assert mm(results, results.ledger.in_holes_m)["g1"] == pytest.approx(0.6)
    assert mm(results, results.ledger.surface_m)["g1"] == pytest.approx(0.0, abs=1e-12)


def test_of_a_mix_only_the_sand_counts(run: Run) -> None:
    toml = TOML.replace("[catches]", "sand_mass_fraction = 0.8\n\n[catches]")
    results = run(toml=toml)
    assert mm(results, results.ledger.depth.value)["g1"] == pytest.approx(0.8 * 1.4)


def test_a_dressed_surface_without_ground_has_no_depth(run: Run) -> None:
    hidden = surface("a1", "approach", square(LON, LAT, 10.0), target_mm=5)
    dressings = f"{HEAD}\nD1,2026-04-10,green approach,0.6\n"
    results = run(surfaces=[*SURFACES, hidden], dressings=dressings, catches=D1)
    assert "a1" not in by_id(results, results.ledger.state)


def test_a_surface_with_a_target_that_was_never_dressed_is_told(run: Run) -> None:
    never = "t1: has a target and no dressing so far"
    assert never in [str(f) for f in run().findings]
    # before the first dressing of the season all surfaces are alike
    for early in (run(as_of="2026-04-09"), run(dressings=f"{HEAD}\n", catches=None, loads=None)):
        assert not [f for f in early.ledger.findings if "no dressing so far" in f.text]
    assert never in [str(f) for f in run(as_of="2026-04-10").findings]


def test_of_many_forgotten_surfaces_whole_kinds_are_named(run: Run) -> None:
    """9 approaches and all tees but the one that was dressed."""
    places = [square(LON + k / 300, LAT + 0.01, 10.0) for k in range(3, 15)]
    kinds = ["approach"] * 9 + ["tee"] * 3
    more = [
        surface(f"s{k}", kind, place, target_mm=4)
        for k, (kind, place) in enumerate(zip(kinds, places, strict=True))
    ]
    rows = f"{HEAD}\nD1,2026-04-10,green s9 s10,0.6\n"
    results = run(surfaces=[*SURFACES, *more], dressings=rows, catches=D1)
    told = [str(f) for f in results.findings if "no dressing so far" in f.text]
    assert told == ["11 surfaces: have a target and no dressing so far: approach (all 9), t1, s11"]


def table(value: float, u: float) -> Estimates:
    return Estimates(value=np.array([value]), effects={"u": np.array([u])})


@pytest.mark.parametrize(
    "depth, u, state, probability",
    [
        # target 10, tolerance 10 %: bounds 9 and 11; normal distribution, by any table
        (9.0, 1.0, "under-dressed", 0.5),
        (10.0, 1.0, "on target", 0.6827),
        (12.0, 1.0, "over-dressed", 0.8413),
        (7.0, 1.0, "under-dressed", 0.9772),
        (8.9, 0.0, "under-dressed", 1.0),
        (9.0, 0.0, "on target", 1.0),
        (11.0, 0.0, "on target", 1.0),
        (11.1, 0.0, "over-dressed", 1.0),
    ],
)
def test_the_likeliest_state(depth: float, u: float, state: str, probability: float) -> None:
    found, chance = states(table(depth, u), np.array([10.0]), 0.10)
    assert found.tolist() == [state]
    assert chance == pytest.approx([probability], abs=5e-5)


def test_few_degrees_of_freedom_make_a_state_less_sure() -> None:
    few = Estimates(
        value=np.array([12.0]),
        effects={"sampling": np.array([1.0])},
        degrees_of_freedom={"sampling": np.array([2.0])},
    )
    _, chance = states(few, np.array([10.0]), 0.10)
    # Student's t of 2 degrees of freedom below 1: 0.78868 (closed form: 1/2 + 1/(2·√3))
    assert chance == pytest.approx([0.5 + 0.5 / 3**0.5], rel=1e-6)
    assert student_probability(1.0, 2)[()] == pytest.approx(0.788675, abs=1e-6)


def test_no_target_has_no_state() -> None:
    found, chance = states(table(5.0, 1.0), np.array([np.nan]), 0.10)
    assert found.tolist() == ["no target"]
    assert np.isnan(chance).all()
