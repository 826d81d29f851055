"""What is in doubt where no catch lies near the edge, and where all do."""

from __future__ import annotations

import numpy as np
import pytest

from tests.rates.conftest import Run
from tests.rates.test_surface_rates import EVEN, HEAD, findings
from tests.sites import CATCHES, G1, catch, square

GREENS = f"{HEAD}D1,2026-04-10,green,0.6,4\n"


def test_a_catch_near_the_edge_leaves_no_doubt_of_the_edge(run: Run) -> None:
    beside = {**catch(1), "surface": "g1", "edge_distance_m": -1.0}
    rates = run(catches=[beside, *CATCHES[1:]])
    taper = rates.rate.by_category()["edge taper"]
    assert taper[0] == 0
    assert taper[1] > 0
    assert "on 1 surface no catch lies within half a swath" in findings(rates)


def test_a_narrow_band_that_no_catch_saw_is_told_too(run: Run) -> None:
    """Half a swath of 0.4 m along a square of 20 m is 4 % of it: DESIGN tells the source always."""
    rates = run(catches=EVEN, dressings=GREENS.replace("0.6,4", "0.6,0.4"))
    taper = rates.rate.effects["edge taper"] / rates.rate.value
    assert taper == pytest.approx(0.15 * (1 - np.array([19.6 / 20, 29.6 / 30]) ** 2), rel=1e-3)
    assert "on 2 surfaces no catch lies within half a swath" in findings(rates)


def test_catches_along_the_edge_of_narrow_ground_ask_for_none_farther_in(run: Run) -> None:
    """Half a swath of 19 m leaves 1 m by 1 m of the square of 20 m, and 11 m by 11 m of g2."""
    whose = zip(EVEN, ["g1"] * 3 + ["g2"] * 3, strict=True)
    beside = [c | {"edge_distance_m": -1.0, "surface": g} for c, g in whose]
    rates = run(catches=beside, dressings=GREENS.replace("0.6,4", "0.6,19"))
    taper = rates.rate.effects["edge taper"] / rates.rate.value
    off = [_off_an_even_fall(side, 9.5, 1.0) for side in (20.0, 30.0)]
    assert taper == pytest.approx(off, rel=2e-3)
    assert "on 1 surface every catch lies within half a swath" in findings(rates)


def test_catches_along_the_edge_alone_leave_the_middle_in_doubt(run: Run) -> None:
    """A field that is 1 in the middle and 0.85 within 2 m of the edges of 20 m and 30 m squares.

    Its mean is 1 − 0.15·s: trays in the band are 0.15·(1 − s) below it, those of the middle 0.15·s
    above, and over both squares the errors of the two take each other off.
    """
    beside = [{**c, "surface": "g1", "edge_distance_m": -1.0} for c in CATCHES[:3]]
    rates = run(catches=[*beside, *CATCHES[3:]])
    share = 1 - np.array([16 / 20, 26 / 30]) ** 2
    off = np.array([0.85, 1.0]) - (1 - 0.15 * share)
    taper = rates.rate.effects["edge taper"] / rates.rate.value
    assert taper == pytest.approx(off, rel=1e-4)
    told = "on 1 surface every catch lies within half a swath of the edge"
    assert f"{told}, where the rate falls: lay one tray farther in" in findings(rates)
    both = run(catches=[*beside, CATCHES[0] | {"catch": "c9"}, *CATCHES[3:]])
    assert both.rate.effects["edge taper"][0] == 0
    assert "every catch" not in findings(both)


def _off_an_even_fall(side_m: float, band_m: float, tray_m: float) -> float:
    """A tray's error on a square where the rate falls evenly from 1 to 0.7 at the edge.

    The square's mean is that of a fine grid.
    """
    across = (np.arange(1000) + 0.5) / 1000 * side_m
    to_edge = np.minimum(across, side_m - across)
    nearest = np.minimum(to_edge[:, None], to_edge)
    rate = 1 - 0.3 * np.clip(1 - np.append(nearest.ravel(), tray_m) / band_m, 0, 1)
    return float(rate[-1] - rate[:-1].mean())


@pytest.mark.parametrize("tray_m", [0.0, 0.2, 0.6, 1.0, 1.4])
def test_the_nearer_the_edge_all_catches_lie_the_more_is_in_doubt(run: Run, tray_m: float) -> None:
    """A fall to 0.7 at the edge, or 0.85 all over the band of 2 m: what errs more counts.

    That rates fall towards the edge is common practice, no published source for how.
    """
    beside = [{**c, "edge_distance_m": -tray_m} for c in CATCHES]
    for k, c in enumerate(beside):
        c["surface"] = f"g{1 + k // 3}"
    rates = run(catches=beside).rate
    share = 1 - np.array([16 / 20, 26 / 30]) ** 2
    even = [_off_an_even_fall(side, 2.0, tray_m) for side in (20.0, 30.0)]
    taper = rates.effects["edge taper"] / rates.value
    assert taper == pytest.approx(np.minimum(even, 0.15 * (share - 1)), rel=2e-3)
    alone = run(catches=beside[:3]).rate  # g2 without trays: as far off as those of g1
    assert (alone.effects["edge taper"] / alone.value) == pytest.approx(taper, rel=1e-12)


@pytest.mark.parametrize(("accuracy_m", "known"), [(1.0, True), (1.5, False), (3.0, False)])
def test_where_in_the_band_trays_lie_is_asked_of_good_positions_only(
    run: Run, accuracy_m: float, known: bool
) -> None:
    """Three trays 0.2 m within the east edge of g1; ±1.5 m or a phone's 3 do not tell it."""
    lon, lat = G1
    (ring,) = square(lon, lat, 2 * (10 - 0.2))["coordinates"]
    east = max(x for x, _ in ring)
    beside = [
        {**c, "lon": east, "lat": lat + k * 2e-5, "surface": "g1"}
        | {"position_accuracy_m": accuracy_m}
        for k, c in enumerate(CATCHES[:3], start=-1)
    ]
    rates = run(catches=[*beside, *CATCHES[3:]]).rate
    taper = (rates.effects["edge taper"] / rates.value)[0]
    expected = _off_an_even_fall(20.0, 2.0, 0.2) if known else 0.15 * -((16 / 20) ** 2)
    assert taper == pytest.approx(expected, rel=0.02)


def test_a_surface_without_catches_is_as_one_sided_as_all_of_its_dressing(run: Run) -> None:
    beside = [{**c, "surface": "g1", "edge_distance_m": -1.0} for c in CATCHES[:3]]
    share = 1 - np.array([16 / 20, 26 / 30]) ** 2
    taper = run(catches=beside).rate
    assert taper.effects["edge taper"] / taper.value == pytest.approx(0.15 * (share - 1), rel=1e-4)


def test_an_unknown_swath_looks_one_metre_inside_the_edge(run: Run) -> None:
    rates = run(catches=EVEN, dressings="dressing,date,surfaces\nD1,2026-04-10,green\n")
    share = 1 - np.array([18 / 20, 28 / 30]) ** 2
    relative = rates.rate.by_category()["edge taper"] / rates.rate.value
    assert relative == pytest.approx(0.15 * share, rel=1e-4)


def test_the_edge_band_is_half_the_swath_of_each_row(run: Run) -> None:
    """Trays within 4 m of the middle of squares: 8 m of swath see the edge of g1, 4 m do not."""
    near = [catch(k) for k in range(1, 7)]
    both = [run(dressings=f"{HEAD}D1,2026-04-10,green,0.6,{w}\n", catches=near) for w in (4, 16)]
    rows = f"{HEAD}D1,2026-04-10,g1,0.6,16\nD1,2026-04-10,g2,0.6,4\n"
    taper = run(dressings=rows, catches=near).rate.effects["edge taper"]
    narrow, wide = (rates.rate.effects["edge taper"] for rates in both)
    assert narrow[0] > 0 == wide[0]
    assert taper.tolist() == pytest.approx([wide[0], narrow[1]], rel=1e-12)
