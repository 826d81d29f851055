"""Power of designs: known limits, published sample sizes, and simulated dressings."""

import math
from itertools import product

import numpy as np
import pytest

from geosand.formats.site_folder import read_site
from geosand.planning.power import Variances, design_power, site_variances
from geosand.results import work_out
from tests.rates.by_catch import surface_rates
from tests.simulation import SWATH_M, simulate
from tests.sites import catch


def variances(**changes):
    plain = {"between_surfaces": 0.08, "between_catches": 0.08}
    plain |= {"shared_depth": 0.0, "shared_balance": 0.0, "edge_share": 0.0, "dressings": 0}
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


# Student's t with m + 1 degrees of freedom: 0.975 from NIST/SEMATECH 1.3.6.7.2, 0.8 from memory
@pytest.mark.parametrize(
    ("m", "n", "t975", "t80"), [(5, 3, 2.447, 0.906), (2, 1, 3.182, 0.978), (4, 6, 2.571, 0.920)]
)
def test_sampling_is_what_simulated_dressings_show(m, n, t975, t80):
    """Independent route: dressings drawn from the model and estimated by best prediction."""
    random = np.random.default_rng(3)
    dressed, runs = 12, 4000
    sd_b, sd_e = 0.08, 0.10
    truth = 1 + sd_b * random.standard_normal((runs, dressed))
    y = truth[:, :m, None] + sd_e * random.standard_normal((runs, m, n))
    w = sd_b**2 / (sd_b**2 + sd_e**2 / n)
    mean = y.mean(axis=2)
    mu = mean.mean(axis=1, keepdims=True)
    predicted = np.concatenate([w * mean + (1 - w) * mu, np.repeat(mu, dressed - m, 1)], axis=1)
    error = (predicted - truth).mean(axis=1).std()
    power = one(
        variances(between_surfaces=sd_b, between_catches=sd_e),
        dressed=dressed,
        surfaces=m,
        catches=n,
    )
    assert power.overthrow[0] == pytest.approx((t975 + t80) * error, rel=0.05)
    own = (predicted[:, :m] - truth[:, :m]).std()
    assert power.depth[0] == pytest.approx(t975 * own, rel=0.05)
    # the degrees of freedom are those of the rates' own code
    found = surface_rates(
        y=y[:1].ravel(),
        group=np.zeros(m * n, dtype=np.int64),
        surface=np.repeat(np.arange(m), n),
        spreader=np.array([-1]),
        dressed_group=np.zeros(dressed, dtype=np.int64),
        dressed_surface=np.arange(dressed),
    )
    assert found.dressings.degrees_of_freedom[0] == m + 1


def test_site_variances_come_from_its_dressings_else_from_defaults(worked):
    results = worked()
    row = results.site.in_force()[:1]
    tables = (results.site, results.areas, results.rates, results.balance)
    own = site_variances(*tables, row=row, swath_m=6.0)
    model = results.rates.model
    assert own.dressings == 1
    assert own.between_catches == pytest.approx(float(model.sigma_e[0] / model.mu[0]))
    # catch efficiency 3 % and tray 0.5 % of what landed are the least of the shared part
    assert own.shared_balance > 0.03 * 0.6
    bare = worked("bare", catches=None, loads=None, dressings="dressing,date,surfaces\n")
    tables = (bare.site, bare.areas, bare.rates, bare.balance)
    default = site_variances(*tables, row=row, swath_m=math.nan)
    assert (default.dressings, default.between_surfaces, default.between_catches) == (0, 0.08, 0.08)
    # trays 0.5 % and their efficiency 3 %, with bags 1 %, or with a bulk density of 1550 ± 30
    assert default.shared_balance == pytest.approx(math.sqrt(0.005**2 + 0.03**2 + 0.01**2))
    assert default.shared_depth == pytest.approx(math.hypot(0.005, 0.03, 30 / 1550))
    # and its catches' water, 0.2 points of a dried sand: what such a depth's own u holds
    assert own.shared_depth == pytest.approx(math.hypot(default.shared_depth, 0.002))
    # of a square of 20 m a band of 3 m (half the swath) leaves 14 m, one of 1 m leaves 18 m
    assert own.edge_share == pytest.approx(1 - 0.7**2, rel=1e-3)
    assert default.edge_share == pytest.approx(1 - 0.9**2, rel=1e-3)


def test_a_dressing_whose_trays_caught_nothing_tells_nothing_of_depths(worked):
    """No depth to relate its u to: the others' count."""
    trays = [catch(k) for k in range(1, 7)]
    empty = [one | {"dressing": "D2", "gross_g": one["tare_g"]} for one in trays]
    found = []
    for k, catches in enumerate((trays, [*trays, *empty])):
        dressings = "dressing,date,surfaces\nD1,2026-04-10,green\nD2,2026-05-10,green\n"
        r = worked(str(k), catches=catches, dressings=dressings)
        tables = (r.site, r.areas, r.rates, r.balance)
        found.append(site_variances(*tables, row=r.site.in_force()[:1], swath_m=6.0))
    assert found[1].shared_depth == pytest.approx(found[0].shared_depth, rel=1e-12)


def test_single_trays_do_not_see_the_edge_and_two_do():
    plain, banded = variances(shared_balance=0.03), variances(shared_balance=0.03, edge_share=0.4)
    assert (
        one(banded, surfaces=18, catches=2).overthrow
        == one(plain, surfaces=18, catches=2).overthrow
    )
    # 15 % of the 40 % in the band, for the 60 % of the surfaces whose tray lies outside it
    all_of_them = one(banded, surfaces=18, catches=1)
    with_it = one(
        variances(shared_balance=math.hypot(0.03, 0.15 * 0.4 * 0.6)), surfaces=18, catches=1
    )
    assert all_of_them.overthrow == pytest.approx(with_it.overthrow)
    assert all_of_them.depth > one(plain, surfaces=18, catches=1).depth


def test_single_trays_show_what_was_promised_of_them(tmp_path):
    """Single trays laid by ``place`` are caught in and the balance worked out."""
    promised, shown = [], []
    for seed in range(6):
        folder = tmp_path / str(seed)
        simulate(folder, seed, surfaces=8, dressings=3, caught=8, catches_each=1, overthrow=0.1)
        site = read_site(folder)
        everything = work_out(site)
        tables = (site, everything.areas, everything.rates, everything.balance)
        rows = site.in_force()
        own = site_variances(*tables, row=rows, swath_m=SWATH_M)
        promised.append(one(own, dressed=8, surfaces=8, catches=1).overthrow[0])
        balance = everything.balance
        half = (balance.interval.high - balance.interval.low) / 2
        # to be seen with a chance of 0.8 it lies t(0.8) = 0.88 u above that (9 degrees of freedom)
        seen = (half + 0.88 * balance.overthrow.u()) / balance.spread.value
        shown.append(float(np.median(seen)))
    assert np.median(promised) == pytest.approx(np.median(shown), rel=0.06)


@pytest.mark.parametrize(("dressed", "surfaces"), [(3, 2), (5, 1), (4, 4)])
def test_of_surfaces_without_trays_the_edge_is_open_where_no_tray_sees_one(dressed, surfaces):
    """All places of single trays, each in the band of 40 % of the ground or not, one by one."""
    blind = 0.0
    for seen in product((True, False), repeat=surfaces):
        chance = math.prod(0.4 if one_of_them else 0.6 for one_of_them in seen)
        blind += chance * (seen.count(False) + (dressed - surfaces) * (not any(seen))) / dressed
    banded = variances(shared_balance=0.03, edge_share=0.4)
    plain = variances(shared_balance=math.hypot(0.03, 0.15 * 0.4 * blind))
    design = {"dressed": dressed, "surfaces": surfaces, "catches": 1}
    assert one(banded, **design).overthrow == pytest.approx(one(plain, **design).overthrow)
