"""What lies beside the surfaces of a balance: rings, strips and reaches, and what is told."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.balance.even_greens import EVEN, HEAD, QUARTERS, Run
from tests.sites import LAT, LON, square, surface


def test_rings_hold_the_overthrow_of_each_group_of_loads(run: Run) -> None:
    """500 kg on g1 and 1000 kg on g2 at 1 kg/m² on 400 and 900 m²: 100 kg each lie beside them."""
    loads = f"{HEAD},surfaces\nL1,D1,20,25,0.25,1,g1\nL2,D1,40,25,0.25,1,g2\n"
    throw = run(catches=EVEN, loads=loads).balance.throw
    beside = throw.collar_kg + throw.surrounds_kg + throw.farther_kg
    assert beside == pytest.approx([100, 100], abs=0.05)
    # the smaller green has the shorter edge, 80 m to 120 m: its sand reaches farther
    assert throw.reach_m[0] > throw.reach_m[1]
    # strip width = overthrow / (rate × perimeter)
    assert throw.strip_width_m == pytest.approx([100 / 80, 100 / 120], rel=1e-3)
    together = run(catches=EVEN, loads=f"{HEAD}\nL1,D1,60,25,0.25,1\n").balance.throw
    beside = together.collar_kg + together.surrounds_kg + together.farther_kg
    assert beside.sum() == pytest.approx(200, abs=0.1)
    assert together.strip_width_m == pytest.approx([1.0], rel=1e-3)


def test_strip_widths_are_by_the_perimeters_that_are_told(run: Run) -> None:
    """Also of an outline whose rings are laid without its teeth: 20 m sides, 400 edges each."""
    side = np.column_stack((np.arange(-10, 10, 0.05), np.tile([-10.0, -10.04], 200)))
    corners = np.concatenate([side @ np.array([[c, s], [-s, c]]) for c, s in QUARTERS])
    metre = np.array(square(0.0, LAT, 2.0)["coordinates"][0][2]) - [0.0, LAT]
    ring = np.array([LON, LAT]) + np.vstack((corners, corners[:1])) * metre
    toothed = surface("g1", "green", {"type": "Polygon", "coordinates": [ring.tolist()]})
    loads = f"{HEAD}\nL1,D1,20,25,0.25,1\n"
    one = run(surfaces=[toothed], catches=EVEN[:3], loads=loads)
    edge = 1.0 * 1600 * math.hypot(0.05, 0.04)  # kg/m² · m; without teeth 80
    over = one.balance.overthrow.value
    assert one.areas.perimeter_m == pytest.approx([edge], rel=1e-3)
    assert one.balance.throw.strip_width_m == pytest.approx(over / edge, rel=1e-3)
    assert one.balance.throw.reach_m > 2.2 * one.balance.throw.strip_width_m


@pytest.mark.parametrize(
    ("reach_m", "told"),
    [(4.98, []), (5.02, ["5.02 m beyond the edge: more than a spreader throws"])],
)
def test_a_reach_beyond_five_metres_is_told(run: Run, reach_m: float, told: list[str]) -> None:
    """1 kg/m² along 80 m and 120 m of edge holds Σ(P·L/2 + π·L²/3): 200·L/2 + 2π·L²/3 kg."""
    over = 100 * reach_m + 2 * math.pi * reach_m**2 / 3
    results = run(catches=EVEN, loads=f"{HEAD}\nL1,D1,{(1300 + over) / 25},25,0.25,1\n")
    assert results.balance.verdict.tolist() == ["overthrow"]
    assert results.balance.throw.reach_m == pytest.approx([reach_m], abs=2e-3)
    rings = [f.text for f in results.balance.findings if f.topic == "ring"]
    assert len(rings) == len(told)
    assert all(words in text for words, text in zip(told, rings, strict=True))


@pytest.mark.parametrize(
    ("bags", "told"),
    [
        (70.0, []),
        (53.0, ["the overthrow may be zero: where it lies is drawn dotted"]),
        (51.0, []),  # nothing is drawn
    ],
)
def test_rings_that_may_be_none_are_told(run: Run, bags: float, told: list[str]) -> None:
    results = run(catches=EVEN, loads=f"{HEAD}\nL1,D1,{bags},25,0.25,1\n")
    assert [f.text for f in results.balance.findings if f.topic == "ring"] == told


def test_a_part_whose_catches_claim_more_than_its_loads_is_told(run: Run) -> None:
    """400 kg on g1 and 900 kg on g2 at 1 kg/m²; 350 kg and 1100 kg were taken out for them."""
    loads = f"{HEAD},surfaces\nL1,D1,14,25,0.25,1,g1\nL2,D1,44,25,0.25,1,g2\n"
    told = [f.text for f in run(catches=EVEN, loads=loads).balance.findings if "claim" in f.text]
    assert told == [
        "on g1 the catches claim 50 kg more sand than its loads held: look at this part of the"
        " dressing by itself"
    ]


@pytest.mark.parametrize(
    ("kind", "collar_m"), [("collar", 0.0), ("surround", 0.0), ("green", 0.9), ("lawn", 0.9)]
)
def test_collars_and_surrounds_have_no_collar_of_their_own(
    run: Run, kind: str, collar_m: float
) -> None:
    """Beside a square of 20 m: P·w + π·w², the surrounds 4 m from there on."""
    alone = surface("k1", kind, square(LON, LAT, 20.0))
    results = run(
        surfaces=[alone],
        dressings="dressing,date,surfaces\nD1,2026-04-10,k1\n",
        catches=EVEN[:3],
        loads=f"{HEAD}\nL1,D1,24,25,0.25,1\n",  # 600 kg of which 400 kg lie on it
    )
    throw = results.balance.throw
    inner, outer = (80 * w + math.pi * w**2 for w in (collar_m, collar_m + 4.0))
    assert throw.collar_area_m2 == pytest.approx([inner], rel=1e-5, abs=1e-9)
    assert throw.surrounds_area_m2 == pytest.approx([outer - inner], rel=1e-5)
    assert (throw.collar_kg[0] > 0) == (collar_m > 0)


def test_an_overthrow_that_no_reach_holds_is_told(run: Run) -> None:
    results = run(loads=f"{HEAD}\nL1,D1,9000,25,0.25,1\n")
    assert np.isnan(results.balance.throw.reach_m).all()
    assert any("no reach within 200 m" in str(f) for f in results.findings)
