"""What an overthrow below zero may yet be, and how unlike throws may be."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import scipy.stats

from geosand.balance.throw_shape import COVERED, U_SHAPE, above_zero
from geosand.formats.site_folder import read_site
from geosand.reports.balance_document import balance_document
from geosand.results import work_out
from tests.sites import surface, table, write_site
from tests.stack_places import Place, disc, dressing, load


@pytest.mark.parametrize("sigmas", [-0.01, -0.5, -1.0, -2.0, -5.0, -8.0])
def test_what_came_out_below_zero_is_a_normal_cut_off_there(sigmas: float) -> None:
    """scipy's truncated normal; twice the factor holds about 95 %, as a u should."""
    cut = scipy.stats.truncnorm(-sigmas, np.inf, loc=sigmas)
    factor = above_zero(np.array([sigmas]))[0]
    assert factor == pytest.approx(np.sqrt(cut.moment(2)), rel=1e-5)
    assert 0.93 < cut.cdf(COVERED * factor) < 0.97


def test_what_came_out_above_zero_keeps_its_u_and_far_below_tells_no_more() -> None:
    factors = above_zero(np.array([0.0, 3.0, np.inf, -8.0, -300.0]))
    assert factors[:3].tolist() == [1.0, 1.0, 1.0]
    assert factors[3] == factors[4] > 0


def test_a_throw_that_ends_at_once_and_one_without_end_are_thought_of() -> None:
    """The same sand from the same rate: straight to L, at once at L/2, or exponential."""
    x = np.linspace(0.01, 0.99, 99)  # of L
    straight, at_once, endless = (1 - x) ** 2, np.maximum(1 - 2 * x, 0.0), np.exp(-2 * x)
    sand = [np.trapezoid(y, x) for y in (2 * (1 - x), 2.0 * (x < 0.5))]
    assert sand[0] == pytest.approx(sand[1], rel=0.02)
    u = U_SHAPE * (endless - straight)
    assert (np.abs(at_once - straight) <= COVERED * u).all()
    assert (np.abs(at_once - straight)[40:60] > u[40:60]).any()  # and it is no wider than that


def test_bands_beside_a_jagged_outline_are_as_wide_as_beside_the_edge_itself(
    tmp_path: Path,
) -> None:
    """Teeth of 2 cm make the outline half as long again; bands lie beside the thinned one."""
    place, shares = Place(-31.0, 46.0), []
    for corners, by_m in ((40, 0.0), (2000, 0.0), (2000, 0.02)):
        outline = disc((0.0, 0.0), 12.0, corners)
        toothed = [
            (x * f, y * f) for k, (x, y) in enumerate(outline) for f in [1 + by_m / 12 * (k % 2)]
        ]
        green = surface("g1", "green", place.polygon(toothed))
        trays = [{"catch": f"c{k}", "dressing": "D1"} | place.tray(k, k, 90.0) for k in range(3)]
        folder = write_site(
            tmp_path / f"{corners}_{by_m}",
            surfaces=[green],
            dressings=table([dressing("D1", "2026-05-10")]),
            loads=table([load("L1", "D1", 20)]),
            catches=trays,
        )
        found = work_out(read_site(folder))
        throw, drawn = found.balance.throw, found.areas.perimeter_m[0]
        assert (throw.perimeter_m[0] == drawn) == (corners == 40)
        assert throw.perimeter_m[0] == pytest.approx(24 * np.pi, rel=0.01)
        assert (drawn > 1.1 * 24 * np.pi) == (by_m > 0)
        shares.append(found.balance.throw_changes.by_shape_kg[0, 0] / throw.collar_kg[0])
    assert shares == pytest.approx([shares[0]] * 3, rel=0.05)


def test_surrounds_may_hold_what_they_do_at_the_most_that_was_thrown(tmp_path: Path) -> None:
    """Independent route: the same dressing with bags for its overthrow's upper limit.

    The more is thrown the faster they fill: the mean of both sides told less in all four.
    """
    place, edge = Place(-31.0, 46.0), disc((0.0, 0.0), 12.0, 40)
    trays = [{"catch": f"c{k}", "dressing": "D1"} | place.tray(k, k, 300.0) for k in range(4)]

    def worked(bags: float) -> dict[str, float]:
        folder = write_site(
            tmp_path / f"{bags:.3f}",
            surfaces=[surface("g1", "green", place.polygon(edge))],
            dressings=table([dressing("D1", "2026-05-10")]),
            loads=table([load("L1", "D1", bags)]),
            catches=trays,
        )
        return balance_document(work_out(read_site(folder)))["dressings"][0]["overthrow"]

    for bags in (60, 62, 64, 66):
        stated = worked(bags)
        more = worked(bags + (stated["high_kg"] - stated["mass_kg"]) / 25)
        assert more["mass_kg"] == pytest.approx(stated["high_kg"], rel=1e-6)
        assert stated["surrounds_kg"] <= more["surrounds_kg"] <= stated["surrounds_most_kg"], bags
