"""The balance of a dressing: a constructed example, its verdicts, and what must not change it."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from geosand.areas.common_edges import SharedEdges
from geosand.areas.uncertainty import AreaErrors
from geosand.balance.account import _verdicts, mass_on_surfaces
from geosand.balance.spread import load_masses, spread_of
from geosand.estimates import Estimates, Interval
from geosand.rates.over_time import CATCHES, MEAN, SURFACE
from geosand.results import Results
from geosand.site.sand_tables import Loads, Moistures
from tests.balance.even_greens import EVEN, HEAD, Run
from tests.sites import CATCHES as TRAYS
from tests.sites import DRESSINGS, LAT, LON, SURFACES, TOML, catch, square, surface

# Constructed: 1200 kg ± 6 spread; 520 m² ± 2 with 0.500 ± 0.015 kg/m² and 610 m² ± 2 with 0.480
# ± 0.012. By hand 260.0 ± 7.8638 and 292.8 ± 7.3827, together 552.8 ± 10.7863; overthrow 647.2
# ± 12.3428. (The balance equation is that of nuclear material accounting, MUF = book − physical:
# US AEC Regulatory Guide 5.33, 1974, equation 2; sign here: positive = not on the surfaces.)


def _constructed(shared: float = 0.0, independent: float = 0.0) -> tuple[Estimates, Estimates]:
    ground = np.array([520.0, 610.0])
    rate = np.array([0.500, 0.480])
    none = np.array([], dtype=np.int64)
    errors = AreaErrors(
        u_vertices_m2=np.array([2.0, 2.0]),
        own_edge_m=np.zeros(2),
        edge_accuracy_m=np.zeros(2),
        edge_bias_m=np.zeros(2),
        edition=np.zeros(2, dtype=np.int64),
        shared=SharedEdges(lower=none, upper=none.copy(), length_m=np.array([])),
    )
    effects = {
        SURFACE: np.array([0.015, 0.012]),
        "catch efficiency": -shared * rate,
        CATCHES: independent * rate,
        MEAN: np.zeros(2),
    }
    table = Estimates(value=rate, effects=effects, per_row=frozenset({SURFACE, CATCHES}))
    dressed = SimpleNamespace(surface=np.array([0, 1]), dressing=np.zeros(2, dtype=np.int64))
    site: Any = SimpleNamespace(dressed=dressed, surfaces=["a", "b"])
    register: Any = SimpleNamespace(area_m2=ground, ground_factor=np.ones(2), errors=errors)
    rates: Any = SimpleNamespace(rate=table, in_mean=np.zeros(2))
    on = mass_on_surfaces(site, register, rates, np.zeros(2, dtype=np.int64), 1)
    loads = Loads(
        id=np.array(["L1"]),
        dressing=np.array([0]),
        count=np.array([48.0]),
        unit_mass_kg=np.array([25.0]),
        by_volume=np.array([False]),
        u_unit_mass_kg=np.array([6 / math.sqrt(48)]),
        u_label=np.array([0.0]),
        label=np.array(["label: bags"]),
        moisture=np.array([0]),
        returned_kg=np.array([0.0]),
        spilled_kg=np.array([0.0]),
        group=np.array([-1]),
        ticket=np.array([""]),
    )
    dry = Moistures(
        label=np.array(["moisture: dry"]), ratio=np.array([0.0]), u_ratio=np.array([0.0])
    )
    spread = spread_of(load_masses(loads, dry), np.array([0]), 1)
    return on, spread.minus(on)


def test_constructed_balance() -> None:
    on, over = _constructed()
    assert on.value == pytest.approx([552.8], abs=1e-9)
    assert on.u() == pytest.approx([10.7863], abs=5e-5)
    assert over.value == pytest.approx([647.2], abs=1e-9)
    assert over.u() == pytest.approx([12.3428], abs=5e-5)
    assert sum(over.shares().values()) == pytest.approx([1.0], abs=1e-12)


def test_an_error_that_all_surfaces_share_adds_linearly() -> None:
    # 1 % of 552.8 kg; taken as independent it would be 12.9490
    assert _constructed(shared=0.01)[1].u() == pytest.approx([13.5242], abs=5e-5)
    assert _constructed(independent=0.01)[1].u() == pytest.approx([12.9490], abs=5e-5)


def test_monte_carlo_draws_agree_with_the_constructed_balance() -> None:
    """Another route: 200 000 seeded draws of the products themselves."""
    rng = np.random.default_rng(20260301)
    n = 200_000
    scale = 1 + rng.normal(0, 0.01, n)
    on = rng.normal(520, 2, n) * rng.normal(0.5, 0.015, n)
    on = (on + rng.normal(610, 2, n) * rng.normal(0.48, 0.012, n)) * scale
    over = rng.normal(1200, 6, n) - on
    table = _constructed(shared=0.01)[1]
    assert over.mean() == pytest.approx(float(table.value[0]), abs=0.1)
    assert over.std() == pytest.approx(float(table.u()[0]), rel=5e-3)


def test_a_sites_efficiency_is_one_error_of_all_its_catches(run: Run) -> None:
    """3 % of the sum of both greens; as if independent, 3 % of √(m₁² + m₂²): the trap."""
    balance = run().balance
    masses = balance.surface_mass.value
    effect = abs(balance.on_surfaces.effects["catch efficiency"][0])
    assert effect == pytest.approx(0.03 * masses.sum(), rel=1e-9)
    assert effect > 1.2 * 0.03 * np.hypot(*masses)


def balance_of(results: Results) -> tuple[float, str, tuple[float, float]]:
    balance = results.balance
    low, high, _ = balance.interval
    return float(balance.overthrow.value[0]), str(balance.verdict[0]), (low[0], high[0])


@pytest.mark.parametrize(
    "bags, verdict",
    [(75, "overthrow"), (53, "undecided"), (51, "undecided"), (30, "does not close")],
)
def test_verdict_follows_the_interval(run: Run, bags: float, verdict: str) -> None:
    results = run(catches=EVEN, loads=f"{HEAD}\nL1,D1,{bags},25,0.25,1\n")
    mass, found, (low, high) = balance_of(results)
    assert mass == pytest.approx(bags * 25 - 1300, abs=0.1)
    assert found == verdict
    assert (low > 0) == (verdict == "overthrow")
    assert (high < 0) == (verdict == "does not close")


@pytest.mark.parametrize(
    ("low", "high", "agreed", "verdict"),
    [
        # an interval that ends at zero holds it
        (0.0, 20.0, 10.0, "closed"),
        (0.5, 20.5, 10.0, "overthrow"),
        (-20.0, 0.0, 10.0, "closed"),
        (-20.5, -0.5, 10.0, "does not close"),
        # half of its width is 16 kg: agreed is up to the limit itself
        (-20.0, 12.0, 16.0, "closed"),
        (-20.0, 12.0, 15.5, "undecided"),
        (math.nan, math.nan, 10.0, "not measured"),
    ],
)
def test_verdicts_at_their_very_limits(
    low: float, high: float, agreed: float, verdict: str
) -> None:
    columns = (np.array([bound]) for bound in (low, high, 9.0))
    assert _verdicts(np.array([agreed]), Interval(*columns)).tolist() == [verdict]


def test_a_narrow_interval_about_zero_is_closed(run: Run) -> None:
    """Agreement within 30 %: the same interval that is wider than 10 % of the spread."""
    wide = TOML.replace("agreement_percent = 10", "agreement_percent = 30")
    assert balance_of(run(catches=EVEN, toml=wide))[1] == "closed"
    assert balance_of(run(catches=EVEN))[1] == "undecided"


@pytest.mark.parametrize("missing", [{"catches": None}, {"loads": f"{HEAD}\n"}])
def test_without_catches_or_loads_nothing_is_measured(run: Run, missing: dict[str, Any]) -> None:
    results = run(**missing)
    balance = results.balance
    assert balance.verdict.tolist() == ["not measured"]
    assert np.isnan(balance.overthrow.value).all()
    assert np.isnan(balance.fraction).all()
    assert balance.closing == [[]]
    # what is known stays known
    assert np.isnan(balance.spread.value[0]) == ("loads" in missing)
    assert np.isnan(balance.on_surfaces.value[0]) == ("catches" in missing)
    word = "no loads" if "loads" in missing else "no catches"
    assert any(word in str(f) for f in results.findings)


@pytest.mark.parametrize(("bags", "told"), [(40, False), (36, False), (17, True)])
def test_of_a_third_of_a_pitch_it_is_said_how_to_dress_it(run: Run, bags: int, told: bool) -> None:
    """The catches claim 1300 kg; that is 44 % above 900 kg, and three times 425 kg."""
    results = run(catches=EVEN, loads=f"{HEAD}\nL1,D1,{bags},25,0.25,1\n")
    texts = [f.text for f in results.findings if "more sand than was spread" in f.text]
    assert len(texts) == 1
    assert ("draw that part as a surface of its own" in texts[0]) == told


def test_negative_overthrow_is_never_called_overthrow(run: Run) -> None:
    results = run(catches=EVEN, loads=f"{HEAD}\nL1,D1,40,25,0.25,1\n")
    assert results.balance.verdict.tolist() == ["does not close"]
    told = [str(f) for f in results.findings if "300 kg more sand than was spread" in str(f)]
    assert len(told) == 1
    assert "overthrow can not be the reason" in told[0]
    assert np.isnan(results.balance.throw.reach_m).all()
    assert results.balance.throw.collar_kg.tolist() == [0.0, 0.0]
    # a dressing in one part has no part to look at by itself
    assert not [f for f in results.balance.findings if "look at this part" in f.text]


def test_rows_in_any_order(run: Run) -> None:
    two = "L1,D1,20,25,0.25,1\nL2,D1,40,25,0.25,1\n"
    one = run(loads=f"{HEAD}\n{two}")
    back = "".join(f"{line}\n" for line in reversed(two.splitlines()))
    other = run(loads=f"{HEAD}\n{back}", catches=TRAYS[::-1], surfaces=SURFACES[::-1])
    assert other.balance.overthrow.value == pytest.approx(one.balance.overthrow.value, rel=1e-9)
    assert other.balance.overthrow.u() == pytest.approx(one.balance.overthrow.u(), rel=1e-6)
    assert other.balance.verdict.tolist() == one.balance.verdict.tolist()


def test_more_tare_is_more_overthrow(run: Run) -> None:
    masses = [
        balance_of(run(catches=[{**c, "tare_g": tare} for c in TRAYS]))[0] for tare in (45, 50, 55)
    ]
    assert masses[0] < masses[1] < masses[2]


def _halves() -> list[dict[str, Any]]:
    """The first green cut along its meridian into two of 10 m × 20 m with an edge in common."""
    (west, south), _, (east, north), *_ = square(LON, LAT, 20.0)["coordinates"][0]

    def box(left: float, right: float) -> dict[str, Any]:
        ring = [[left, south], [right, south], [right, north], [left, north], [left, south]]
        return {"type": "Polygon", "coordinates": [ring]}

    return [
        surface("g1a", "green", box(west, LON)),
        surface("g1b", "green", box(LON, east)),
        *SURFACES[1:],
    ]


def test_a_surface_cut_in_two_holds_the_same_sand(run: Run) -> None:
    whole, cut = run(catches=EVEN), run(catches=EVEN, surfaces=_halves())
    assert len(cut.rates.rate) == 3
    on = cut.balance.on_surfaces
    assert on.value == pytest.approx(whole.balance.on_surfaces.value, rel=1e-9)
    # the edge in common moves ground from one half to the other: their sum keeps its bias, but for
    # the millimetres about its ends
    one, other = (t.by_category()["edge bias"] for t in (whole.balance.on_surfaces, on))
    assert other == pytest.approx(one, rel=2e-3)


def test_a_hillside_has_more_ground_and_so_do_its_errors(run: Run) -> None:
    """A slope of 50 %: √1.25 of the ground, of its sand, and of what an edge's error moves."""
    steep = [{**s, "properties": {**s["properties"], "slope_percent": 50}} for s in SURFACES]
    flat, slope = run().balance.on_surfaces, run(surfaces=steep).balance.on_surfaces
    assert slope.value == pytest.approx(1.25**0.5 * flat.value, rel=1e-9)
    for source in ("vertices", "edge", "edge bias"):
        assert slope.effects[source] == pytest.approx(1.25**0.5 * flat.effects[source], rel=1e-9)


def test_grounds_under_other_surfaces_count_once(run: Run) -> None:
    """A fairway drawn right through both greens: the greens' sand stays the same."""
    beneath = surface("f1", "fairway", square(LON, LAT, 60.0))
    assert balance_of(run(surfaces=[*SURFACES, beneath]))[0] == pytest.approx(
        balance_of(run())[0], rel=1e-9
    )


def test_a_dressed_surface_without_ground_holds_no_sand(run: Run) -> None:
    hidden = surface("a1", "approach", square(LON, LAT, 10.0))
    dressings = DRESSINGS.replace(",green,", ",green approach,")
    results = run(surfaces=[*SURFACES, hidden], dressings=dressings)
    plain = run()
    assert results.balance.overthrow.value == pytest.approx(plain.balance.overthrow.value)
    assert results.balance.surface_mass.value[2] == 0
    assert results.balance.throw.collar_kg[2] == 0
    assert results.balance.throw.collar_kg[:2] == pytest.approx(plain.balance.throw.collar_kg)
    assert any("a1 owns no ground" in str(f) for f in results.findings)
    alone = run(
        surfaces=[*SURFACES, hidden],
        dressings=DRESSINGS.replace(",green,", ",approach,"),
        catches=None,
    )
    assert alone.balance.verdict.tolist() == ["not measured"]
    assert np.isnan(alone.balance.methods.bulk_rate_kg_m2).all()


def test_the_three_methods_side_by_side(run: Run) -> None:
    volume = [{**c, "volume_cm3": 60, "volume_state": "dry"} for c in EVEN]
    methods = run(catches=volume).balance.methods
    assert methods.mass_rate_kg_m2 == pytest.approx([1.0], rel=1e-9)
    assert methods.volume_rate_kg_m2 == pytest.approx([0.93], rel=1e-9)
    assert methods.bulk_rate_kg_m2 == pytest.approx([1300 / 1300], rel=1e-5)
    assert methods.agree == [True]


@pytest.mark.parametrize(
    "volume_cm3, told", [(58.7, False), (58.6, True), (70.9, False), (71.0, True)]
)
def test_mass_and_volume_that_differ_by_more_than_a_tenth_are_told(
    run: Run, volume_cm3: float, told: bool
) -> None:
    # 1 kg/m² by mass; 58.65 and 70.97 cm³ of 1.55 g/cm³ on 0.1 m² are 1/1.1 and 1.1 kg/m²
    trays = [{**c, "volume_cm3": volume_cm3, "volume_state": "dry"} for c in EVEN]
    said = [str(f) for f in run(catches=trays).balance.findings]
    assert any("mass and volume differ by more than the agreement" in f for f in said) == told


@pytest.mark.parametrize("bags, agree", [(57.0, True), (57.4, False), (47.4, True), (47.2, False)])
def test_methods_agree_within_ten_percent_of_the_smaller(
    run: Run, bags: float, agree: bool
) -> None:
    # 1300 kg by mass against 1425, 1435, 1185 and 1180 kg by bulk
    methods = run(catches=EVEN, loads=f"{HEAD}\nL1,D1,{bags},25,0.25,1\n").balance.methods
    assert methods.agree == [agree]


def test_a_single_method_can_not_agree(run: Run) -> None:
    assert run(catches=None).balance.methods.agree == [None]


def test_trays_without_any_sand_are_no_reason_to_fail(run: Run) -> None:
    results = run(catches=[catch(1, gross_g=50)])
    assert results.balance.overthrow.value.tolist() == [1300.0]
    assert any("hold no sand" in str(f) for f in results.findings)


def test_all_sand_brought_back(run: Run) -> None:
    results = run(loads=f"{HEAD},returned_kg\nL1,D1,48,25,0.25,1,1200\n")
    assert results.balance.spread.value.tolist() == [0.0]
    assert np.isnan(results.balance.fraction).all()
    assert results.balance.verdict.tolist() == ["does not close"]


def test_a_site_before_its_first_dressing(run: Run) -> None:
    results = run(dressings="dressing,date,surfaces\n", loads=None, catches=None)
    assert len(results.balance.spread) == 0
    assert results.balance.closing == []


def test_a_bunker_that_owns_no_ground_holds_nothing(run: Run) -> None:
    covered = surface("b9", "bunker", square(LON, LAT, 4.0))  # within the first green
    throw = run(surfaces=[*SURFACES, covered]).balance.throw
    assert {kind: column.tolist() for kind, column in throw.hazard_kg.items()} == {"bunker": [0, 0]}
