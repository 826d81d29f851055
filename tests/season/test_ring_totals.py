"""What collars and surrounds hold after a season: its sources, and how often it holds the truth."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from geosand.balance.throw_shape import U_SHARE
from geosand.formats.site_folder import read_site
from geosand.reports.balance_document import balance_document
from geosand.reports.season_document import season_balance
from geosand.results import Results, work_out
from geosand.season.ring_ledger import SHARE
from geosand.season.ring_totals import ring_limits, ring_totals
from tests import calibration
from tests.bag_errors import Design, lay
from tests.pass_by_pass import Field
from tests.season.test_ring_coverage import beside_kg
from tests.sites import LAT, LON, TRAY, square, surface

SITES = 80


def totals_of(results: Results) -> Any:
    season = np.where(results.ledger.counted, 0, -1)
    return ring_totals(results.balance, season, 1)


@pytest.fixture(scope="module")
def seasons(tmp_path_factory: pytest.TempPathFactory) -> list[tuple[Results, Any]]:
    """Sites dressed pass by pass, and (dressings, surfaces, 2) kg in collars and surrounds."""
    made, laid = [], list[Field]()
    dress: Callable[..., Field] = calibration.dress

    def kept(*given: Any) -> Field:
        laid.append(field := dress(*given))
        return field

    folder = tmp_path_factory.mktemp("seasons")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(calibration, "dress", kept)
        for seed in range(5000, 5000 + SITES):
            laid.clear()
            plan = replace(calibration.Plan.drawn(seed), masked=False)
            calibration.make_site(folder / str(seed), seed, plan)
            shape = (calibration.DRESSINGS, calibration.SURFACES, 2)
            truth = np.reshape([beside_kg(field) for field in laid], shape)
            made.append((work_out(read_site(folder / str(seed))), truth))
    return made


def test_seasons_with_a_dressing_that_claims_too_much_hold_the_truth(seasons: Any) -> None:
    """What its catches hide was thrown over all the same; left out, 63 % of collars were held."""
    held = []
    for results, truth in seasons:
        if (results.balance.overthrow.value > 0).all():
            continue
        bounds, lying = totals_of(results).interval(floor=0.0), truth.sum(axis=(0, 1))
        held.append((bounds.low <= lying) & (lying <= bounds.high))
    assert len(held) >= 15
    assert np.mean(held, axis=0) == pytest.approx(1.0, abs=0.10)


def test_all_seasons_hold_the_truth_with_a_width_that_tells(seasons: Any) -> None:
    held, half = [], []
    for results, truth in seasons:
        totals, lying = totals_of(results), truth.sum(axis=(0, 1))
        bounds = totals.interval(floor=0.0)
        held.append((bounds.low <= lying) & (lying <= bounds.high))
        half.append((bounds.high - bounds.low)[0] / 2 / lying[0])
    assert (np.mean(held, axis=0) >= 0.93).all()
    assert np.median(half) < 1.0


def test_one_surface_throws_more_than_another(seasons: Any) -> None:
    """The spread of overthrow over rate · perimeter among the greens of a dressing."""
    apart = []
    for results, truth in seasons:
        edge = results.rates.rate.value * results.areas.perimeter_m[results.site.dressed.surface]
        over = truth.sum(axis=2) / edge.reshape(truth.shape[:2])
        apart.append(over.std(axis=1, ddof=1) / over.mean(axis=1))
    assert 0.5 * U_SHARE < np.sqrt(np.mean(np.square(apart))) < 1.5 * U_SHARE


def test_a_total_is_that_of_its_rings(seasons: Any) -> None:
    for results, _ in seasons[:10]:
        throw, totals = results.balance.throw, totals_of(results)
        for k, kg in enumerate((throw.collar_kg, throw.surrounds_kg)):
            assert totals.value[k] == pytest.approx(kg.sum(), rel=1e-9)


def test_what_one_surface_throws_over_more_another_throws_over_less(seasons: Any) -> None:
    """Shares of each overthrow drawn anew, a hundredth as far as they may be off.

    Of single rings; in the sum over a dressing it cancels where rings are alike.
    """
    rng = np.random.default_rng(1)
    thrown_over = [one for one, _ in seasons if (one.balance.overthrow.value > 0).all()]
    for results in thrown_over[:4]:
        throw, dressed = results.balance.throw, results.site.dressed
        thrown = throw.collar_kg + throw.surrounds_kg + throw.farther_kg
        heavier = thrown * (1 + U_SHARE / 100 * rng.standard_normal((4000, len(thrown))))
        scale = np.zeros_like(heavier)
        for d in np.unique(dressed.dressing):
            of = dressed.dressing == d
            scale[:, of] = heavier[:, of] / thrown[of]
            scale[:, of] *= thrown[of].sum() / heavier[:, of].sum(axis=1, keepdims=True)
        totals, rings = totals_of(results).effects[SHARE], results.ledger.rings
        for k, moved in enumerate(results.balance.throw_changes.by_share_kg):
            drawn = moved * scale
            assert 100 * drawn.sum(axis=1).std() == pytest.approx(totals[k], rel=0.05, abs=1e-9)
            single = 100 * sum(
                drawn[:, dressed.dressing == d] for d in range(len(results.site.dressings))
            ).std(axis=0)
            # ring by ring: all surfaces are in every dressing
            area_m2 = (throw.collar_area_m2, throw.surrounds_area_m2)[k][: len(single)]
            told = np.split(rings.depth.effects[SHARE], 2)[k] * area_m2
            told *= results.rates.density.value[0]
            np.testing.assert_allclose(told, single, rtol=0.05, atol=1e-9)


def test_a_surface_dressed_alone_has_all_of_the_overthrow(tmp_path: Path) -> None:
    design = Design(greens=1, dressings=2, catches=6, bags=(25.0,))
    results = work_out(lay(tmp_path, 1, design, bag_error=0.0).site)
    assert (results.ledger.rings.mass_kg > 0).all()
    assert results.ledger.rings.depth.effects[SHARE] == pytest.approx(0.0, abs=1e-15)
    assert totals_of(results).effects[SHARE] == pytest.approx(0.0, abs=1e-9)


def test_a_season_of_one_dressing_has_the_limits_of_the_dressing(tmp_path: Path) -> None:
    """One road: they differed by up to a fifth where a dressing had limits of its own."""
    design = Design(greens=3, dressings=1, catches=2, bags=(25.0,))
    results = work_out(lay(tmp_path, 4, design, bag_error=0.0).site)
    beside = season_balance(results)["beside"]
    (dressing,) = balance_document(results)["dressings"]
    assert beside["collar_kg"] > 0
    for zone in ("collar", "surrounds"):
        for end in ("least", "most"):
            name = f"{zone}_{end}_kg"
            assert beside[name] == dressing["overthrow"][name]


def test_zones_hold_no_more_than_was_thrown_and_no_less_than_nothing(seasons: Any) -> None:
    """Also where all of the sand lies in the collar: the shape's u would reach farther."""
    bound = 0
    for results, _ in seasons:
        balance, dressed = results.balance, results.site.dressed
        limits = ring_limits(balance, dressed.dressing, len(balance.verdict))
        high = balance.interval.high
        most = np.tile(np.maximum(high, 0.0), 2)
        least = np.tile(np.maximum(results.balance.interval.low, 0.0), 2)
        assert (limits.low >= 0).all() and (limits.high <= most * (1 + 1e-12)).all()
        assert (limits.low <= least * (1 + 1e-9)).all()
        bound += int((limits.high == most).sum())
    assert bound > 0


def test_over_a_season_zones_are_bound_by_what_the_season_threw(seasons: Any) -> None:
    """Not by the sum of its dressings' limits: errors new in each add up to less (GUM 5.1.2)."""
    bound = 0
    for results, _ in seasons:
        overthrow = season_balance(results)["overthrow"]["low_kg"]
        plain = totals_of(results).interval(floor=0.0).low
        limits = ring_limits(results.balance, np.where(results.ledger.counted, 0, -1), 1)
        assert (limits.low >= 0.999 * np.minimum(plain, max(overthrow, 0.0))).all()
        bound += np.maximum(results.balance.interval.low, 0.0).sum() < limits.low[0]
    assert bound > 0


def test_collars_need_hold_nothing_where_nothing_need_have_been_thrown(
    site_folder: Callable[..., Path],
) -> None:
    """A part is never more than the whole, and so are its quantiles (JCGM 101:2008, 5.3.2).

    Collars hold most of a small overthrow and less of a large one: a straight line through its
    middle misses zero. Of 384 simulated dressings that threw nothing over and were told some, the
    collars of 85 % were held, now 94.
    """
    greens = [surface(f"g{k}", "green", square(LON + k * 0.001, LAT, 20.0)) for k in range(1, 5)]
    tray = {"catch": "c1", "dressing": "D1", "lon": LON + 0.001, "lat": LAT, **TRAY}
    results = work_out(
        read_site(
            site_folder(
                surfaces=greens,
                dressings="dressing,date,surfaces\nD1,2026-04-10,green\n",
                loads="load,dressing,count,unit_mass_kg\nL1,D1,2,1000\n",
                catches=[tray | {"tare_g": 50, "gross_g": 142}],
            )
        )
    )
    (told,) = (one["overthrow"] for one in balance_document(results)["dressings"])
    assert told["low_kg"] < 0 < told["collar_kg"] < told["collar_most_kg"]
    assert told["collar_least_kg"] == told["surrounds_least_kg"] == 0.0


def test_an_error_of_the_overthrow_moves_the_zones_as_the_rings_do(seasons: Any) -> None:
    """Rings laid at both limits of the overthrow; by a fall without end collars moved up to twice.

    Where the whole overthrow is one surface's, so does what that surface throws over more.
    """
    told, laid = [], []
    for results, _ in seasons[:20]:
        throw, changes = results.balance.throw, results.balance.throw_changes
        bounds = results.balance.group_overthrow.interval(floor=0.0)
        group, size = results.balance.group_of_row, len(bounds.low)
        clear = bounds.low > 0
        moved = np.bincount(group, changes.by_overthrow[0], size)
        told += moved[clear].tolist()
        laid += ((throw.collar_high_kg - throw.collar_low_kg) / (bounds.high - bounds.low))[
            clear
        ].tolist()
        kg = np.bincount(group, changes.by_share_kg[0], size)
        np.testing.assert_allclose(kg, moved * np.maximum(results.balance.overthrow.value, 0.0))
    assert len(told) > 20
    assert np.abs(np.array(told) - laid).max() < 0.05


def test_a_row_that_is_left_out_leaves_the_others_of_its_dressing(tmp_path: Path) -> None:
    """As a surface without ground is, whichever row of its dressing it stands in."""
    design = Design(greens=3, dressings=1, catches=2, bags=(25.0,))
    results = work_out(lay(tmp_path, 4, design, bag_error=0.0).site)
    collar = results.balance.throw.collar_kg
    for row in range(3):
        period = np.where(np.arange(3) == row, -1, 0)
        totals = ring_totals(results.balance, period, 1)
        assert totals.value[0] == pytest.approx(collar.sum() - collar[row], rel=1e-12)
