"""What past dressings tell of the next: its strip, and how near to its plan a crew comes."""

import numpy as np
import pytest

from geosand.balance.strip_widths import strip_widths
from geosand.distributions import student_quantile
from geosand.planning.crew import crew_precision, deviation
from geosand.planning.order import strip_width
from tests.planning.orders import DAY, ordered, width_of
from tests.sites import CATCHES, TOML

SPREADER = "dressing,date,surfaces,planned_depth_mm,spreader,swath_m\n"


def two_dressings():
    dressings = SPREADER + "D1,2026-04-10,green,0.6,disc,4\nD2,2026-05-10,g1,0.6,disc,4\n"
    loads = "load,dressing,count,unit_mass_kg\nL1,D1,52,25\nL2,D2,17,25\n"
    again = [c | {"catch": f"d{k}", "dressing": "D2"} for k, c in enumerate(CATCHES[:3])]
    return {"dressings": dressings, "loads": loads, "catches": [*CATCHES, *again]}


def test_the_strip_is_the_one_that_the_balance_shows(worked):
    results = worked(**two_dressings())
    strip = width_of(results, "disc")
    shown = strip_widths(results.balance)
    assert strip.width_m == shown.width.value[0]
    assert strip.dressings.tolist() == [0, 1]
    low, high, freedom = (column[0] for column in strip.interval())
    mean = shown.interval()
    # a further dressing is less sure than the mean of those before it
    assert 0 <= low <= mean.low[0] < strip.width_m < mean.high[0] < high
    assert freedom >= 3
    assert np.isnan(width_of(results, "belt").width_m)


def test_a_dressing_that_was_not_measured_tells_nothing_of_the_strip(worked):
    """D2 has no loads; up to the day before D1 there is none at all."""
    parts = two_dressings()
    both = worked(**parts | {"loads": parts["loads"].replace("L2,D2,17,25\n", "")})
    strip = width_of(both, "disc")
    assert (strip.dressings.tolist(), strip.left_out.tolist()) == ([0], [])
    for day, dressings in (("2026-04-10", [0]), ("2026-04-09", [])):
        found = strip_width(both.balance, spreader="disc", as_of=np.datetime64(day))
        assert found.dressings.tolist() == dressings
        assert np.isnan(found.width_m) == (not dressings)


def test_later_dressings_do_not_tell_the_strip_of_an_earlier_day(worked):
    parts = two_dressings()
    both = worked(**parts)
    first = width_of(worked("first", **parts | {"dressings": parts["dressings"]}), "disc")
    early = strip_width(
        both.balance,
        spreader="disc",
        as_of=np.datetime64("2026-04-30"),
    )
    assert early.dressings.tolist() == [0]
    edges = np.array([80.0, 120.0])
    own = both.balance.overthrow.value[0] / (both.rates.rate.value[:2] * edges).sum()
    assert early.width_m == pytest.approx(own, rel=1e-4)
    assert early.width_m != first.width_m


def test_a_balance_that_does_not_close_tells_nothing(worked):
    results = worked(loads="load,dressing,count,unit_mass_kg\nL1,D1,30,25\n")
    assert results.balance.verdict[0] == "does not close"
    strip = width_of(results)
    assert strip.left_out.tolist() == [0]
    _, order = ordered(results)
    assert order.overthrow_dry.value[0] == 0


def test_the_next_strip_is_held_as_often_as_it_says(worked):
    """Known truth: strips of 0.9 m with 20 % scatter, four dressings, the same catches in each."""
    random = np.random.default_rng(5)
    toml = TOML.replace("u_catch_efficiency_percent = 3.0", "u_catch_efficiency_percent = 0.1")
    toml = toml.replace("edge_accuracy_m = 0.10", "edge_accuracy_m = 0.001")
    toml = toml.replace("edge_bias_m = 0.05", "edge_bias_m = 0.0")
    days = ("2026-04-10", "2026-04-24", "2026-05-08", "2026-05-22")
    rows = "".join(f"D{k},{day},green,0.6,disc,4\n" for k, day in enumerate(days))
    catches = [
        c | {"catch": f"d{d}c{k}", "dressing": f"D{d}"}
        for d in range(4)
        for k, c in enumerate(CATCHES)
    ]
    edges, held, tried = np.array([80.0, 120.0]), 0, 40
    on = None
    for k in range(tried):
        strips = 0.9 * (1 + 0.2 * random.standard_normal(5))
        if on is None:
            on = worked("rates", dressings=SPREADER + rows, catches=catches, toml=toml)
        around = (on.rates.rate.value[:2] * edges).sum()
        bags = (on.balance.on_surfaces.value + strips[:4] * around) / 25
        loads = "load,dressing,count,unit_mass_kg,u_unit_mass_kg,u_label_percent\n"
        loads += "".join(f"L{d},D{d},{bags[d]:.6f},25,0.01,0.01\n" for d in range(4))
        same = {"dressings": SPREADER + rows, "catches": catches, "toml": toml}
        results = worked(f"s{k}", loads=loads, **same)
        low, high, _ = (column[0] for column in width_of(results, "disc").interval())
        held += bool(low <= strips[4] <= high)
    assert held / tried >= 0.88


def test_crew_precision_by_hand(worked):
    """0.6 mm of 1550 kg/m3 is 0.93 kg/m2; the six catches hold 0.86 to 0.97 kg/m2."""
    crew = crew_precision(worked().balance, spreader="", as_of=DAY)
    caught = (0.9233 * 400 + 0.9033 * 900) / 1300
    assert crew.ratio[0] == pytest.approx(caught / 0.93, abs=0.003)
    # two dressings on their plan stand beside one that is off by d: mean d/3, squares 2d²/3
    square = (2 * 0.01 / 1.5 + (crew.ratio[0] - 1) ** 2 * 2 / 3) / 3
    assert crew.u**2 == pytest.approx(square * (1 + 1 / 3))
    assert crew.more == pytest.approx(max((crew.ratio[0] - 1) / 3, 0.0))
    assert crew.degrees_of_freedom == 3
    other = crew_precision(worked("belt").balance, spreader="belt", as_of=DAY)
    assert (other.u, other.degrees_of_freedom, len(other.ratio)) == (0.1, 2.0, 0)


def test_the_crews_precision_is_of_its_own_dressings_up_to_the_day_and_of_planned_rows(worked):
    """D2 hits 0.6 mm on g1 by 1.24/0.93 of it; its row without a plan and D3 tell nothing."""
    catches = [
        *CATCHES,
        *(c | {"catch": f"d{k}", "dressing": "D2", "gross_g": 174} for k, c in enumerate(CATCHES)),
        *(c | {"catch": f"e{k}", "dressing": "D3"} for k, c in enumerate(CATCHES)),
    ]
    rows = ["D1,2026-04-10,green,0.6,disc", "D2,2026-05-10,g1,0.6,disc", "D2,2026-05-10,g2,,disc"]
    rows.append("D3,2026-05-11,green,0.6,belt")
    results = worked(
        dressings="dressing,date,surfaces,planned_depth_mm,spreader\n" + "\n".join(rows) + "\n",
        loads="load,dressing,count,unit_mass_kg\n",
        catches=catches,
    )
    for day, expected in (("2026-05-09", [0]), ("2026-05-10", [0, 1]), ("2026-06-01", [0, 1])):
        crew = crew_precision(results.balance, spreader="disc", as_of=np.datetime64(day))
        assert crew.dressings.tolist() == expected
        assert crew.degrees_of_freedom == 2 + len(expected)
    assert crew.ratio[1] == pytest.approx(1.24 / 0.93, rel=1e-9)
    # as the sample variance of the two and two on their plan, and the default's own scatter
    off = np.array([crew.ratio[0] - 1, 1.24 / 0.93 - 1, 0.0, 0.0])
    square = (2 * 0.1**2 / 1.5 + ((off - off.mean()) ** 2).sum()) / 4
    assert crew.u == pytest.approx(np.sqrt(square * 1.25), rel=1e-9)
    assert crew.more == pytest.approx(off.mean(), rel=1e-9)


def test_a_dressing_that_does_not_close_tells_nothing_of_the_crew(worked):
    results = worked(loads="load,dressing,count,unit_mass_kg\nL1,D1,30,25\n")
    assert results.balance.verdict[0] == "does not close"
    crew = crew_precision(results.balance, spreader="", as_of=DAY)
    assert (crew.u, len(crew.ratio)) == (0.1, 0)


@pytest.mark.parametrize(
    ("bias", "scatter", "dressings", "least", "most"),
    [
        (0.0, 0.08, 1, 0.88, 0.97),
        (0.0, 0.08, 6, 0.88, 0.94),
        (0.1, 0.06, 1, 0.87, 0.93),  # a crew that always spreads a tenth too much
        (0.1, 0.06, 6, 0.87, 0.93),
        (-0.1, 0.06, 6, 0.97, 1.0),  # or too little: the plan itself stays ordered for
    ],
)
def test_the_assured_mass_is_enough_as_often_as_it_says(bias, scatter, dressings, least, most):
    """Known truth: crews off by ``scatter`` about their own mean, orders with 90 %."""
    random = np.random.default_rng(9)
    enough, tried = 0, 4000
    quantile = float(student_quantile(0.9, 2 + dressings))
    for _ in range(tried):
        more, u = deviation(1 + bias + scatter * random.standard_normal(dressings))
        bound = 1 + max(more, 0.0) + quantile * u
        enough += 1 + bias + scatter * random.standard_normal() <= bound
    assert least <= enough / tried <= most


def test_one_that_does_not_close_beside_one_that_does(worked):
    dressings = SPREADER + "D1,2026-04-10,green,0.6,disc,4\nD2,2026-05-10,green,0.6,disc,4\n"
    loads = "load,dressing,count,unit_mass_kg\nL1,D1,52,25\nL2,D2,30,25\n"
    catches = [*CATCHES, *[c | {"catch": f"d{k}", "dressing": "D2"} for k, c in enumerate(CATCHES)]]
    results = worked(dressings=dressings, loads=loads, catches=catches)
    assert results.balance.verdict[1] == "does not close"
    strip = width_of(results, "disc")
    edges = (results.rates.rate.value[:2] * [80.0, 120.0]).sum()
    assert strip.width_m == pytest.approx(results.balance.overthrow.value[0] / edges, rel=1e-4)
    assert (strip.dressings.tolist(), strip.left_out.tolist()) == ([0], [1])
