"""Power of designs: known limits, published sample sizes, and simulated dressings."""

import math
from itertools import product

import numpy as np
import pytest

from geosand.estimates import Estimates
from geosand.formats.site_folder import read_site
from geosand.planning.power import Variances, design_power, likely_scatter, site_variances
from geosand.rates.random_effects import rates_of_rows
from geosand.results import work_out
from tests.simulation import SWATH_M, simulate
from tests.sites import catch


def variances(**changes):
    plain = {"between_surfaces": 0.08, "between_catches": 0.08}
    plain |= {"shared_depth": 0.0, "shared_balance": 0.0, "dressings": 0}
    plain |= {"edge_share": 0.0, "placed": False}
    return Variances(**(plain | changes))


def one(design, *, dressed=18, surfaces=6, catches=3):
    return design_power(
        design, dressed=dressed, surfaces=np.array([surfaces]), catches=np.array([catches])
    )


def test_more_catches_and_more_surfaces_never_see_less():
    m, n = (grid.ravel() for grid in np.meshgrid(np.arange(1, 19), np.arange(1, 9)))
    power = design_power(variances(), dressed=18, surfaces=m, catches=n)
    for column in (power.overthrow, power.depth):
        table = column.reshape(8, 18)
        assert (np.diff(table, axis=0) <= 1e-12).all()
        assert (np.diff(table, axis=1) <= 1e-12).all()


def test_what_all_catches_share_no_number_of_them_can_beat():
    power = one(variances(shared_depth=0.03), dressed=200, surfaces=200, catches=2000)
    # 95 % of a normal: 1.96 (NIST/SEMATECH e-Handbook 1.3.6.7.2)
    assert power.depth[0] == pytest.approx(1.96 * 0.03, rel=0.01)


def test_one_surface_alone_is_the_mean_of_its_catches():
    """Between-surface variance taken as huge: the surface stands on its own catches alone."""
    power = one(variances(between_surfaces=50.0), dressed=1, surfaces=1, catches=16)
    # t(0.975, 17) = 2.110 (Student's t, from memory): 2.110 · 0.08/√16
    assert power.depth[0] == pytest.approx(2.110 * 0.02, rel=1e-3)


@pytest.mark.parametrize(
    ("dressed", "m", "n"),
    [(12, 5, 3), (12, 2, 1), (12, 4, 6), (12, 12, 1), (6, 6, 2), (3, 1, 2), (1, 1, 4), (40, 20, 1)],
)
@pytest.mark.parametrize("shared", [0.004, 0.03])
def test_four_of_five_simulated_dressings_see_what_was_promised(dressed, m, n, shared):
    """Independent route: dressings drawn from the model, worked out by the rates as any other."""
    random = np.random.default_rng(3)
    runs, sd = 20000, 0.08  # the rates' stated default, so that they begin with what is so
    promised = one(variances(shared_balance=shared), dressed=dressed, surfaces=m, catches=n)
    truth = 1 + sd * random.standard_normal((runs, dressed))
    y = truth[:, :m, None] + sd * random.standard_normal((runs, m, n))
    row = np.arange(runs)[:, None] * dressed + np.arange(m)
    found = rates_of_rows(
        y.ravel(),
        np.repeat(row.ravel(), n),
        np.full(runs, -1),
        np.repeat(np.arange(runs), dressed),
    )
    own, within, mean, value = (
        column.reshape(runs, dressed)
        for column in (found.persistent, found.within, found.mean_effect, found.value)
    )
    spread = truth.mean(axis=1) / (1 - promised.overthrow[0])
    balance = Estimates(
        value=spread * (1 + shared * random.standard_normal(runs)) - value.mean(axis=1),
        effects={
            "sampling: own": np.sqrt((own**2 + within**2).sum(axis=1)) / dressed,
            "sampling: mean": mean.mean(axis=1),
            "shared": shared * spread,
        },
        degrees_of_freedom={"sampling": found.dressings.degrees_of_freedom},
    )
    # 20,000 dressings: 0.8 ± 0.003; what the approximation is off by comes on top
    assert (balance.interval().low > 0).mean() == pytest.approx(0.8, abs=0.022)
    depths = Estimates(
        value=value[:, 0],
        effects={
            "sampling: own": np.hypot(own, within)[:, 0],
            "sampling: mean": mean[:, 0],
        },
        degrees_of_freedom={"sampling": found.dressings.degrees_of_freedom},
    ).interval()
    half = float(np.sqrt(np.mean((depths.high - depths.low) ** 2))) / 2
    # squares of half-widths follow the variances, whose means are what is promised: exact where
    # they enter linearly, else a little less, as (1 − w)·σb² is concave in both (Jensen, 1906)
    linear = m == 1 or n == 1
    assert 0.985 * half < promised.depth[0] < (1.015 if linear else 1.065) * half


# Student's t with m + 1 degrees of freedom, 0.975: NIST/SEMATECH e-Handbook 1.3.6.7.2
@pytest.mark.parametrize(("m", "n", "t975"), [(5, 3, 2.447), (4, 6, 2.571)])
def test_a_caught_surface_is_known_as_closely_as_simulated_ones(m, n, t975):
    """Independent route: best prediction written out for dressings drawn from the model."""
    random = np.random.default_rng(3)
    sd_b, sd_e = 0.08, 0.10
    truth = 1 + sd_b * random.standard_normal((4000, m))
    mean = truth + sd_e / math.sqrt(n) * random.standard_normal((4000, m))
    w = sd_b**2 / (sd_b**2 + sd_e**2 / n)
    own = (w * mean + (1 - w) * mean.mean(axis=1, keepdims=True) - truth).std()
    design = variances(between_surfaces=sd_b, between_catches=sd_e)
    depth = one(design, dressed=12, surfaces=m, catches=n).depth[0]
    assert depth == pytest.approx(t975 * own, rel=0.05)


def test_site_variances_come_from_its_dressings_else_from_defaults(worked):
    results = worked()
    row = results.site.in_force()[:1]
    own = site_variances(results.balance, row=row, swath_m=6.0)
    model = results.rates.model
    assert own.dressings == 1
    assert own.between_catches == pytest.approx(float(model.sigma_e[0] / model.mu[0]))
    # catch efficiency 3 % and tray 0.5 % of what landed are the least of the shared part
    assert own.shared_balance > 0.03 * 0.6
    bare = worked("bare", catches=None, loads=None, dressings="dressing,date,surfaces\n")
    default = site_variances(bare.balance, row=row, swath_m=math.nan)
    assert (default.dressings, default.between_surfaces, default.between_catches) == (0, 0.08, 0.08)
    # trays 0.5 % and their efficiency 3 %, with bags 1 %, or with a bulk density of 1550 ± 30
    assert default.shared_balance == pytest.approx(math.sqrt(0.005**2 + 0.03**2 + 0.01**2))
    assert default.shared_depth == pytest.approx(math.hypot(0.005, 0.03, 30 / 1550))
    # and its catches' water, 0.2 points of a dried sand: what such a depth's own u holds
    assert own.shared_depth == pytest.approx(math.hypot(default.shared_depth, 0.002))
    # of a square of 20 m a band of 3 m (half the swath) leaves 14 m, one of 1 m leaves 18 m
    assert own.edge_share == pytest.approx(1 - 0.7**2, rel=1e-3)
    assert default.edge_share == pytest.approx(1 - 0.9**2, rel=1e-3)
    assert not default.placed


def test_a_dressing_whose_trays_caught_nothing_tells_nothing_of_depths(worked):
    """No depth to relate its u to: the others' count."""
    trays = [catch(k) for k in range(1, 7)]
    empty = [one | {"dressing": "D2", "gross_g": one["tare_g"]} for one in trays]
    found = []
    for k, catches in enumerate((trays, [*trays, *empty])):
        dressings = "dressing,date,surfaces\nD1,2026-04-10,green\nD2,2026-05-10,green\n"
        r = worked(str(k), catches=catches, dressings=dressings)
        found.append(site_variances(r.balance, row=r.site.in_force()[:1], swath_m=6.0))
    assert found[1].shared_depth == pytest.approx(found[0].shared_depth, rel=1e-12)


@pytest.mark.parametrize(
    ("said", "swath_m", "placed"),
    [
        ({"position_accuracy_m": 1.5}, 6.0, True),  # half of the band of 3 m
        ({"position_accuracy_m": 1.6}, 6.0, False),
        ({"position_accuracy_m": 3.0}, 12.0, True),
        ({"position_accuracy_m": 3.0, "edge_distance_m": -2}, 6.0, True),  # taped
    ],
)
def test_where_trays_lie_in_the_band_is_told_by_tape_or_good_positions(
    worked, said, swath_m, placed
):
    r = worked(catches=[catch(k) | said for k in range(1, 7)])
    own = site_variances(r.balance, row=r.site.in_force()[:1], swath_m=swath_m)
    assert own.placed is placed


def test_two_trays_see_edge_and_middle_and_one_does_not():
    plain, banded = variances(shared_depth=0.03), variances(shared_depth=0.03, edge_share=0.4)
    two = {"surfaces": 18, "catches": 2}
    assert one(banded, **two).overthrow == one(plain, **two).overthrow
    assert one(banded, **two).depth == one(plain, **two).depth
    # in 4 of 10 it lies in the band and tells 15 % of the other 60 % too little, else 15 % of 40 %
    # of the ground too much
    root = math.sqrt(0.4 * (0.15 * 0.6) ** 2 + 0.6 * (0.15 * 0.4) ** 2)
    with_it = variances(shared_depth=math.hypot(0.03, root))
    alone = {"surfaces": 18, "catches": 1}
    assert one(banded, **alone).depth == pytest.approx(one(with_it, **alone).depth)


@pytest.mark.parametrize(
    ("each", "overthrow", "fall"),
    [(1, 0.149, 0.3), (3, 0.101, 1e-6)],  # laid anywhere; as place lays them, on even ground
)
def test_whole_sites_see_what_was_promised_of_them(tmp_path, each, overthrow, fall):
    """Trays are caught in pass by pass and the balance worked out as any other.

    Each site is asked for the overthrow that it was promised to see: what was thrown over is near
    that, and errors are as shares of the spread. Two trays by place where edges fall tell up to
    2 % too much overthrow, so that more is seen than was promised; that is not on trial here.
    """
    promised, seen = [], []
    for seed in range(120):
        folder = tmp_path / str(seed)
        truth = simulate(
            folder,
            seed,
            surfaces=8,
            dressings=3,
            caught=8,
            catches_each=each,
            overthrow=overthrow / (1 - overthrow),
            one_near_the_edge=each > 1,
            most_fall=fall,
        )
        everything = work_out(read_site(folder))
        own = site_variances(everything.balance, row=everything.site.in_force(), swath_m=SWATH_M)
        promised.append(one(own, dressed=8, surfaces=8, catches=each).overthrow[0])
        balance = everything.balance
        off = balance.interval.low - truth.overthrow_kg
        seen.append((promised[-1] + off / balance.spread.value > 0).mean())
    assert np.median(promised) == pytest.approx(overthrow, rel=0.06)
    # dressings of a site share most of their error: 120 sites tell 0.8 to ± 0.025
    assert np.mean(seen) == pytest.approx(0.8, abs=0.06)


def test_single_trays_of_the_past_do_not_make_surfaces_more_unlike():
    """Their σ's are three quarters of the sum each; both together are what was drawn."""
    random = np.random.default_rng(8)
    runs, m = 400, 30
    y = 1 + 0.08 * (random.standard_normal((runs, m)) + random.standard_normal((runs, m)))
    group = np.repeat(np.arange(runs), m)
    model = rates_of_rows(y.ravel(), np.arange(runs * m), np.full(runs, -1), group).dressings
    told = np.sqrt(np.mean(np.hypot(*likely_scatter(model)) ** 2))
    assert told == pytest.approx(math.hypot(0.08, 0.08), rel=0.03)


@pytest.mark.parametrize(("dressed", "surfaces"), [(3, 2), (5, 1), (4, 4), (30, 2)])
def test_the_edge_cancels_in_sums_but_for_chance(dressed, surfaces):
    """All places of single trays, each in the band of 40 % of the ground or not, one by one."""
    square = 0.0
    for seen in product((True, False), repeat=surfaces):
        chance = math.prod(0.4 if one_of_them else 0.6 for one_of_them in seen)
        off = [-0.15 * 0.6 if one_of_them else 0.15 * 0.4 for one_of_them in seen]
        if len(set(off)) == 1:  # the other surfaces are taken to be as these
            off += off[:1] * (dressed - surfaces)
        square += chance * (sum(off) / dressed) ** 2
    banded = variances(shared_balance=0.03, edge_share=0.4)
    plain = variances(shared_balance=math.sqrt(0.03**2 + square))
    design = {"dressed": dressed, "surfaces": surfaces, "catches": 1}
    assert one(banded, **design).overthrow == pytest.approx(one(plain, **design).overthrow)


@pytest.mark.parametrize("band", [0.1, 0.3, 0.6])
@pytest.mark.parametrize(("dressed", "surfaces"), [(1, 1), (6, 6), (18, 18), (18, 12)])
def test_trays_placed_in_the_band_tell_the_worse_of_two_falls(band, dressed, surfaces):
    """Drawn trays: one by one the step by 15 % and the even fall to 30 %, which is 15 % in all."""
    random = np.random.default_rng(4)
    inside, x = random.random((2, 200_000, surfaces))
    step, even = 0.15 * (band - 1), 0.15 * band - 0.30 * (1 - x)
    off = np.where(inside < band, np.minimum(step, even), 0.15 * band)
    count = (inside < band).sum(axis=1)
    alike = (count == 0) | (count == surfaces)  # the other surfaces are taken to be as these
    square = np.mean((off.sum(axis=1) / np.where(alike, surfaces, dressed)) ** 2)
    banded = variances(shared_balance=0.03, edge_share=band, placed=True)
    plain = variances(shared_balance=math.sqrt(0.03**2 + square))
    design = {"dressed": dressed, "surfaces": surfaces, "catches": 1}
    assert one(banded, **design).overthrow == pytest.approx(
        one(plain, **design).overthrow, rel=4e-3
    )
