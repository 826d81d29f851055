"""Reach and strip width from catches beside the edge, against seasons with a known truth."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import scipy.stats

from geosand.areas.register import area_register
from geosand.balance import throw_fit as fitting
from geosand.balance.account import Balance, site_balance
from geosand.balance.strip_widths import shared_edges, strip_widths
from geosand.balance.throw_fit import of_some, q_of, throw_fit
from geosand.formats.site_folder import read_site
from geosand.rates.surface_rates import site_rates
from geosand.results import work_out
from geosand.site.tables import Site
from tests.bag_errors import Design, lay
from tests.balance.seasons import Plan, season
from tests.sites import LAT, LON, collection, square, surface, table, write_site

EAST = 8.98e-6 / np.cos(np.radians(LAT))
RINGS = Plan(ring_trays=4, u_label=0.002, u_efficiency=0.005, edge_bias=0.02)


def exact_site(
    folder: Path,
    reach: float = 2.0,
    edge: float = 1.0,
    loads: str | None = None,
    each: int = 12,
    at_once: bool = False,
    beside: tuple[int, ...] = (0, 1),
    uneven: float = 0.0,
    seed: int = 0,
):
    """Two greens at 1 and 0.5 kg/m², ``each`` trays without scatter up to 3 m ``beside`` them.

    The throw falls to nothing at the reach, or ends ``at_once`` at half of it. Its rate differs
    from tray to tray by ``uneven``, a relative standard deviation.
    """
    rows, draw = [], np.random.default_rng(seed)
    for g, rate in enumerate((1.0, 0.5)):
        for k in range(6):
            at = {"catch": f"c{g}{k}", "dressing": "D1", "surface": f"g{g + 1}", "tare_g": 0}
            at |= {"lon": LON + 0.002 * g, "lat": LAT + (k - 3) * 2e-5, "tray_area_cm2": 1000}
            rows.append(at | {"edge_distance_m": "", "gross_g": 1000 * rate / 10})
        for k in range(each if g in beside else 0):
            x = 3 * (k + 0.5) / each
            kg = rate * edge * (x < reach / 2 if at_once else max(0.0, 1 - x / reach))
            kg *= max(0.0, 1 + uneven * draw.standard_normal())
            at = {"catch": f"r{g}{k}", "dressing": "D1", "surface": "", "tare_g": 0}
            at |= {"lon": LON + 0.002 * g + (10 + x) * EAST, "lat": LAT, "tray_area_cm2": 1000}
            rows.append(at | {"edge_distance_m": x, "gross_g": 1000 * kg / 10})
    # mass thrown: rate·edge·(P·L/2 + π·L²/3) beside a square of 20 m
    beside = edge * (80 * reach / 2 + np.pi * reach**2 / 3)
    total = [1.0 * (400 + beside), 0.5 * (400 + beside)]
    plain = f"load,dressing,count,unit_mass_kg\nL1,D1,1,{sum(total):.4f}\n"
    site = read_site(
        write_site(
            folder,
            surfaces=collection(
                surface(f"g{g + 1}", "green", square(LON + 0.002 * g, LAT, 20.0)) for g in (0, 1)
            ),
            dressings="dressing,date,surfaces,swath_m\nD1,2026-04-10,green,4\n",
            loads=plain if loads is None else loads,
            catches=table(rows),
        )
    )
    areas = area_register(site.surfaces)
    rates = site_rates(site, areas)
    return site_balance(site, areas, rates)


@pytest.mark.parametrize(("reach", "edge"), [(2.0, 1.0), (1.0, 1.0), (2.6, 0.8)])
def test_trays_without_scatter_give_reach_and_edge_rate(
    tmp_path: Path, reach: float, edge: float
) -> None:
    """Known truth: twelve trays to beyond the reach know both, whatever the balance says."""
    fit = throw_fit(exact_site(tmp_path, reach, edge))
    assert fit.catches.tolist() == [24]
    assert fit.from_catches.reach_m[0] == pytest.approx(reach, rel=0.03)
    assert fit.from_catches.edge_rate[0] == pytest.approx(edge, abs=0.03)
    strip = edge * (reach / 2 + np.pi * reach**2 / 3 / 80)
    assert fit.from_catches.strip_width_m[0] == pytest.approx(strip, rel=0.02)
    # the balance, worked out by areas and loads, agrees
    assert fit.overthrow.value[0] / fit.edge_kg[0] == pytest.approx(strip, rel=0.01)
    assert abs(fit.sigmas[0]) < 0.5
    assert fit.together.u_strip_width_m[0] < fit.from_catches.u_strip_width_m[0]


def test_catches_and_balance_together_are_surer_than_either(tmp_path: Path) -> None:
    """Two measurements of one strip: their mean by variances (the catches' reach is certain)."""
    loads = "load,dressing,count,unit_mass_kg,u_unit_mass_kg,u_label_percent\nL1,D1,1,740,10,0.1\n"
    fit = throw_fit(exact_site(tmp_path, loads=loads, each=36))
    one, balance = fit.from_catches, fit.overthrow.value[0] / fit.edge_kg[0]
    u = np.array([one.u_strip_width_m[0], fit.overthrow.u()[0] / fit.edge_kg[0]])
    weight = 1 / u**2
    mean = np.average([one.strip_width_m[0], balance], weights=weight)
    assert 0.5 < u[0] / u[1] < 2  # neither outweighs the other
    assert fit.together.u_strip_width_m[0] == pytest.approx(weight.sum() ** -0.5, rel=0.05)
    assert fit.together.strip_width_m[0] == pytest.approx(mean, rel=0.02)
    width = fit.together.strip_high_m[0] - fit.together.strip_low_m[0]
    assert width == pytest.approx(2 * 1.96 * weight.sum() ** -0.5, rel=0.05)


@pytest.mark.parametrize("ends_m", [0.75, 1.0, 1.3])
def test_a_throw_that_ends_at_once_has_the_strip_it_fills(tmp_path: Path, ends_m: float) -> None:
    """A strip at full rate as wide as the throw; a straight fall alone made it 17 to 27 % less."""
    caught = throw_fit(exact_site(tmp_path, 2 * ends_m, at_once=True)).from_catches
    strip = ends_m + np.pi * ends_m**2 / 80
    assert caught.strip_width_m[0] == pytest.approx(strip, rel=0.05)
    assert caught.strip_low_m[0] < strip < caught.strip_high_m[0]


@pytest.mark.parametrize("each", [0, 8])
def test_limits_of_a_strip_begin_at_none_where_nothing_was_thrown(
    tmp_path: Path, each: int
) -> None:
    """All sand is on the greens: 600 kg by loads, and trays beside them, if any, are empty."""
    loads = "load,dressing,count,unit_mass_kg,u_unit_mass_kg\nL1,D1,1,600,10\n"
    fit = throw_fit(exact_site(tmp_path, edge=0.0, loads=loads, each=each)).together
    assert fit.strip_low_m[0] == 0
    assert fit.strip_high_m[0] < 2 * fit.strip_width_m[0] + 2 * fit.u_strip_width_m[0]


def test_the_lower_limit_of_a_distribution_that_leans_on_none_is_none() -> None:
    """Exponential about 0: of its 95 % from 0 to 3.00, of its 95 % in the middle 3.66 wide.

    −ln 0.05 = 2.996, −ln 0.025 + ln 0.975 = 3.664. From 1 on it is none no longer.
    """
    ends = -np.log(1 - (np.arange(4000) + 0.5) / 4000)[None]
    weight, middle = np.full((1, 4000), 1 / 4000), np.array([-np.log(0.975), -np.log(0.025)])
    low, high = fitting._limits(weight, ends, np.zeros((1, 4000)))
    assert (low[0], high[0]) == pytest.approx((0.0, middle[1]), rel=2e-3)
    low, high = fitting._limits(weight, 1 + ends, np.zeros((1, 4000)))
    assert (low[0], high[0]) == pytest.approx(tuple(1 + middle), rel=2e-3)


def test_trays_beside_some_surfaces_tell_less_of_all(tmp_path: Path) -> None:
    """What surfaces throw, drawn anew 20 % apart: by trays beside one of them, and by edges."""
    edge, catches = np.array([2.0, 1.0, 5.0, 3.0]), np.array([12, 0, 4, 4])
    thrown = 1 + 0.2 * np.random.default_rng(3).standard_normal((40_000, 4))
    first, other = thrown[:, :2], thrown[:, 2:]
    apart = [first[:, 0] - first @ [2 / 3, 1 / 3], other.mean(axis=1) - other @ [5 / 8, 3 / 8]]
    told = of_some(catches, edge, np.array([0, 0, 1, 1]), 2)
    assert told == pytest.approx(np.std(apart, axis=1), rel=0.02)
    full, half = (
        throw_fit(exact_site(tmp_path / str(len(beside)), beside=beside)).from_catches
        for beside in ((0, 1), (0,))
    )
    assert half.u_strip_width_m[0] > full.u_strip_width_m[0]


def test_loads_that_name_surfaces_give_each_its_own_fit(tmp_path: Path) -> None:
    loads = "load,dressing,count,unit_mass_kg,surfaces\nL1,D1,1,500,g1\nL2,D1,1,250,g2\n"
    fit = throw_fit(exact_site(tmp_path, loads=loads))
    assert fit.catches.tolist() == [12, 12]
    assert [sorted(s) for s in fit.surfaces] == [[0], [1]]
    assert fit.from_catches.reach_m == pytest.approx([2.0, 2.0], rel=0.05)
    assert fit.overthrow.value.sum() == pytest.approx(750 - 600, abs=1)


def test_intervals_hold_the_true_strip(tmp_path: Path) -> None:
    """Four trays on each of four greens in six dressings, thirty seasons: 95 % hold it."""
    inside, error, claimed = [], [], []
    for seed in range(30):
        one = season(tmp_path / str(seed), RINGS, seed)
        fit = throw_fit(one.balance)
        catches = fit.from_catches
        inside += list((catches.strip_low_m < one.strip_m) & (one.strip_m < catches.strip_high_m))
        error += list(catches.strip_width_m / one.strip_m - 1)
        claimed += list(catches.u_strip_width_m / one.strip_m)
    assert np.mean(inside) >= 0.92
    assert abs(np.mean(error)) < 0.03
    assert np.std(error) < 1.2 * np.mean(claimed)


def test_reaches_are_as_sure_as_they_say_where_the_rate_differs_along_the_edge(
    tmp_path: Path,
) -> None:
    """Known reach, trays that differ by 30 %; as if all were alike errors are 1.5 u."""
    off = []
    for seed in range(16):
        caught = throw_fit(exact_site(tmp_path / str(seed), uneven=0.3, seed=seed)).from_catches
        off.append((caught.reach_m[0] - 2.0) / caught.u_reach_m[0])
    assert np.sqrt(np.mean(np.square(off))) < 1.25


def test_strips_of_sand_laid_pass_by_pass_are_held(tmp_path: Path) -> None:
    """Nothing beside the edge follows the line that is supposed: 24 trays, throwers and belts."""
    inside, error, u = [], [], []
    design = Design(greens=4, dressings=2, catches=6, bags=(25.0,), beside=6)
    for seed in range(10):
        laid = lay(tmp_path / str(seed), seed, design, bag_error=0.0)
        results = work_out(laid.site)
        fit = throw_fit(results.balance)
        caught, strip = fit.from_catches, laid.overthrow_kg / fit.edge_kg
        inside += list((caught.strip_low_m <= strip) & (strip <= caught.strip_high_m))
        error += list(caught.strip_width_m / strip - 1)
        u += list(caught.u_strip_width_m / strip)
    assert np.mean(inside) >= 0.9
    assert abs(np.mean(error)) < 0.12
    assert np.mean(u) < 0.4


def test_without_ring_catches_the_balance_speaks_alone(tmp_path: Path) -> None:
    one = season(tmp_path, Plan(), 4)
    fit = throw_fit(one.balance)
    assert not fit.catches.any()
    assert np.isnan(fit.from_catches.reach_m).all()
    assert np.isnan(fit.sigmas).all()
    assert fit.together.strip_width_m == pytest.approx(fit.overthrow.value / fit.edge_kg, abs=0.05)


def test_trays_beyond_the_reach_only_bound_it(tmp_path: Path) -> None:
    """Planted: trays that catch nothing. The reach is at most where they lie."""
    fit = throw_fit(exact_site(tmp_path, reach=0.1))
    assert fit.from_catches.strip_high_m[0] < 0.15


def test_together_lies_between_and_is_weighted(tmp_path: Path) -> None:
    """The balance says a strip three times as wide as the trays: both count by their u."""
    balance = exact_site(tmp_path)
    heavier = replace(
        balance,
        group_overthrow=replace(balance.overthrow, value=3 * balance.overthrow.value),
    )
    fit = throw_fit(heavier)
    mean = fit.from_catches.strip_width_m[0]
    wide = fit.overthrow.value[0] / fit.edge_kg[0]
    assert mean < fit.together.strip_width_m[0] < wide
    assert fit.sigmas[0] > 2


def test_strip_of_a_spreader_over_its_dressings(tmp_path: Path) -> None:
    """Thirty seasons: the interval of the mean holds the true 0.8 m (lognormal, mean 0.809)."""
    inside, rows = [], []
    for seed in range(30):
        one = season(tmp_path / str(seed), Plan(), 100 + seed)
        strips = strip_widths(one.balance)
        low, high, _ = strips.interval()
        inside.append(low[0] < 0.809 < high[0])
        rows.append(strips.width.u()[0])
        assert strips.dressings.tolist() == [6]
    assert np.mean(inside) >= 0.9
    # 3 % of catch efficiency on 576 m² per 96 m of edge is 0.18 m, the same in all: u stays above
    assert min(rows) > 0.15


def test_shared_efficiency_is_not_averaged_away(tmp_path: Path) -> None:
    """Trap: taken as new in each dressing, 6 dressings would shrink its u by √6.

    Trays that keep 1 % more than said: 1 % less is on the surfaces, and beside each metre of their
    edges, so that the strip (spread − on)/W is wider by 1 % of spread/W.
    """
    one = season(tmp_path, Plan(), 5)
    strips = strip_widths(one.balance)
    edge = np.bincount(
        one.site.dressed.dressing,
        one.rates.rate.value * one.areas.perimeter_m[one.site.dressed.surface],
    )
    single = 0.03 * one.balance.spread.value / edge
    shared = abs(strips.width.effects["catch efficiency"][0])
    assert single.min() <= shared <= single.max()


def at_even_rates(site: Site) -> Balance:
    """The balance of a site as if 1 kg/m² lay on every surface."""
    balance = work_out(site).balance
    even = replace(balance.rates.rate, value=np.ones(len(site.dressed)))
    return replace(balance, rates=replace(balance.rates, rate=even))


def test_edges_between_two_dressed_surfaces_are_told(tmp_path: Path) -> None:
    """Two squares of 20 m side by side share an edge: 40 of the 160 m of both (and corners, 0.3 m
    round them). A lone square shares none."""
    side = 20 * EAST
    for gap, share in ((side, 0.25), (2 * side, 0.0)):
        site = read_site(
            write_site(
                tmp_path / f"{share}",
                surfaces=collection(
                    surface(f"g{k + 1}", "green", square(LON + gap * k, LAT, 20.0)) for k in (0, 1)
                ),
                catches=None,
            )
        )
        found = shared_edges(at_even_rates(site), np.array([""]))
        assert found == pytest.approx([share], abs=0.01)


def test_edges_are_shared_only_where_both_are_dressed_and_by_spreader(tmp_path: Path) -> None:
    """Three squares in a row: of all three with the disc 4 of 12 sides, by the second and the third
    with the belt 2 of 8, by the outer two none: of the belt's two dressings 2 of 16."""
    side = 20 * EAST
    rows = (("D1", "disc", "g1 g2 g3"), ("D2", "belt", "g2 g3"), ("D3", "belt", "g1 g3"))
    names = ("dressing", "spreader", "surfaces")
    site = read_site(
        write_site(
            tmp_path / "row",
            surfaces=collection(
                surface(f"g{k + 1}", "green", square(LON + side * k, LAT, 20.0)) for k in range(3)
            ),
            dressings=[dict(zip(names, row, strict=True), date="2026-05-06") for row in rows],
            loads=None,
            catches=None,
        )
    )
    found = shared_edges(at_even_rates(site), np.array(["belt", "disc"]))
    assert found == pytest.approx([2 / 16, 4 / 12], abs=0.015)


def test_few_trays_beside_an_edge_whose_throw_ends_here_and_there_are_not_too_sure(
    tmp_path: Path,
) -> None:
    """Four greens, two distances each; with one reach all along the edge 72 % of 60 were held."""
    inside, u = [], []
    design = Design(greens=4, dressings=2, catches=6, bags=(25.0,), beside=2)
    for seed in range(12):
        laid = lay(tmp_path / str(seed), seed, design, bag_error=0.0)
        results = work_out(laid.site)
        fit = throw_fit(results.balance)
        caught, strip = fit.from_catches, laid.overthrow_kg / fit.edge_kg
        inside += list((caught.strip_low_m <= strip) & (strip <= caught.strip_high_m))
        u += list(caught.u_strip_width_m / strip)
    assert np.mean(inside) >= 0.87
    assert np.median(u) < 0.5


def test_reaches_along_an_edge_are_log_normal_about_their_mean() -> None:
    """Six equally likely ones keep the mean and order; none differs where the throw does not."""
    assert q_of(0.0).tolist() == [1.0]
    reaches = q_of(0.5)
    assert reaches.mean() == pytest.approx(1.0, rel=1e-12)
    sigma = np.sqrt(np.log(1.25))
    sixth = scipy.stats.lognorm(sigma).ppf((np.arange(6) + 0.5) / 6)
    assert reaches == pytest.approx(sixth / sixth.mean(), rel=1e-6)


def test_limits_of_the_strip_are_as_wide_as_its_u_however_many_trays(tmp_path: Path) -> None:
    """With 300 trays one reach is left, and limits lie 1.96 u either way, as of any normal."""
    caught = throw_fit(exact_site(tmp_path, 1.9, each=150)).from_catches
    width, half = caught.strip_width_m, 1.96 * caught.u_strip_width_m
    assert caught.strip_low_m == pytest.approx(width - half, rel=0.03)
    assert caught.strip_high_m == pytest.approx(width + half, rel=0.03)


def test_trays_of_many_groups_are_fitted_as_of_each_alone(tmp_path: Path) -> None:
    """However few reaches are taken at a time."""
    design = Design(greens=4, dressings=3, catches=6, bags=(25.0,), beside=2)
    balance = work_out(lay(tmp_path, 3, design, bag_error=0.0).site).balance
    whole = throw_fit(balance).from_catches
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(fitting, "ROOM", 1000)
        narrow = throw_fit(balance).from_catches
    assert narrow.strip_width_m == pytest.approx(whole.strip_width_m, rel=1e-12)
    assert narrow.strip_high_m == pytest.approx(whole.strip_high_m, rel=1e-12)
