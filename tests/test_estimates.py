"""Estimates that keep their sources, against published examples and the uncertainties package."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import uncertainties
from scipy import stats

from geosand.columns import Runs
from geosand.effects import category
from geosand.estimates import Estimates, product
from tests.one_estimate import one

# JCGM 100:2008 (GUM), H.2: five simultaneous readings; results in Table H.4
V = np.array([5.007, 4.994, 5.005, 4.990, 4.999])
I_MA = np.array([19.663, 19.639, 19.640, 19.685, 19.678])
PHI = np.array([1.0456, 1.0438, 1.0468, 1.0428, 1.0433])


def gum_h2(covariance):
    """R, X, Z of GUM H.2 as three rows whose shared sources are those of V, I and phi."""
    v, i, phi = V.mean(), I_MA.mean() / 1000, PHI.mean()
    # independent sources by the Cholesky factor of the covariance of the means
    factor = np.linalg.cholesky(covariance)
    z = v / i
    c, s = np.cos(phi), np.sin(phi)
    slopes = np.array(
        [[c / i, -v * c / i**2, -z * s], [s / i, -v * s / i**2, z * c], [1 / i, -v / i**2, 0]]
    )
    effects = slopes @ factor
    return Estimates(
        value=np.array([z * c, z * s, z]),
        effects={f"electric: {k}": effects[:, k] for k in range(3)},
    )


def test_gum_h2_with_its_correlations():
    covariance = np.cov(np.array([V, I_MA / 1000, PHI])) / 5
    found = gum_h2(covariance)
    # u of X is printed 0.295; the data give 0.2956
    assert found.value == pytest.approx([127.732, 219.847, 254.260], abs=6e-4)
    assert found.u() == pytest.approx([0.071, 0.295, 0.236], abs=1e-3)
    rows = np.array(list(found.effects.values()))
    r = (rows.T @ rows) / np.outer(found.u(), found.u())
    assert [r[0, 1], r[0, 2], r[1, 2]] == pytest.approx([-0.588, -0.485, 0.993], abs=1e-3)


def test_gum_h2_without_its_correlations_is_something_else():
    """Recomputed from the same data with the correlations left out: three wrong uncertainties."""
    covariance = np.diag(np.array([V, I_MA / 1000, PHI]).var(axis=1, ddof=1)) / 5
    found = gum_h2(covariance)
    assert found.u() == pytest.approx([0.195, 0.201, 0.204], abs=1e-3)


def test_sum_of_four_normals():
    # JCGM 101:2008, 9.2.2, Table 2: y = 0, u = 2.00, 95 % interval ±3.92
    four = Estimates(
        value=np.zeros(4), effects={"x": np.ones(4)}, per_row=frozenset({"x"})
    ).group_sum(np.zeros(4, dtype=int), 1)
    low, high, freedom = four.interval()
    assert four.u()[0] == pytest.approx(2.0)
    assert [low[0], high[0]] == pytest.approx([-3.92, 3.92], abs=0.005)
    assert np.isinf(freedom[0])


def test_weighted_mean():
    # J. R. Taylor, An Introduction to Error Analysis, weighted averages: 11 ± 1, 12 ± 1, 10 ± 3
    # give 11.42 ± 0.69 (from memory; recomputed)
    x, u = np.array([11.0, 12.0, 10.0]), np.array([1.0, 1.0, 3.0])
    w = u**-2 / (u**-2).sum()
    rows = Estimates(value=x, effects={"reading": u}, per_row=frozenset({"reading"}))
    mean = rows.scaled(w).group_sum(np.zeros(3, dtype=int), 1)
    assert mean.value[0] == pytest.approx(11.42, abs=0.005)
    assert mean.u()[0] == pytest.approx(0.69, abs=0.005)


def test_end_gauge():
    # JCGM 100:2008, H.1: components in nm, u = 32 nm, ν = 16, U₉₉ = 93 nm (k = 2.92). Degrees of
    # freedom of the components: 18 standard, 24, 5 and 8 (parts of the difference), 50 expansion,
    # 2 temperature difference, Table H.1
    parts = {
        "standard": 25.0,
        "repeat": 5.8,
        "random": 3.9,
        "systematic": 6.7,
        "expansion": 2.9,
        "temperature": 16.6,
    }
    freedom = {
        "standard": 18,
        "repeat": 24,
        "random": 5,
        "systematic": 8,
        "expansion": 50,
        "temperature": 2,
    }
    gauge = one(0.0, **parts).with_effects(
        {}, degrees_of_freedom={k: np.array([v], float) for k, v in freedom.items()}
    )
    low, high, nu = gauge.interval(coverage=0.99)
    assert gauge.u()[0] == pytest.approx(32, abs=0.4)
    # the standard gives 16.7, which it truncates to 16
    assert int(nu[0]) == 16
    assert stats.t.ppf(0.995, 16) * gauge.u()[0] == pytest.approx(93, abs=1)
    # wider than the standard's 93 nm: one part has 2 degrees of freedom, and alone t·u = 165 nm
    assert (high[0] - low[0]) / 2 == pytest.approx(stats.t.ppf(0.995, 2) * 16.6, rel=1e-9)


def test_ratio_times_a_standard():
    # suncal, test_XRF (course notes): X1/X2·Yu from .1820 (.00093, ν 9), .1823 (.00058, ν 19) and
    # .6978 (.0026, ν 19): .6967, u .00494, ν 27.7, U₉₅ .0101 (recomputed: .69665, .004932, 27.5)
    value = 0.1820 / 0.1823 * 0.6978
    ratio = one(
        value, x1=value * 0.00093 / 0.1820, x2=-value * 0.00058 / 0.1823, yu=value * 0.0026 / 0.6978
    )
    found = ratio.with_effects(
        {},
        degrees_of_freedom={"x1": np.array([9.0]), "x2": np.array([19.0]), "yu": np.array([19.0])},
    )
    low, high, nu = found.interval()
    assert found.value[0] == pytest.approx(0.6967, abs=1e-4)
    assert found.u()[0] == pytest.approx(0.00494, abs=1e-5)
    assert nu[0] == pytest.approx(27.5, abs=0.5)
    assert (high[0] - low[0]) / 2 == pytest.approx(0.0101, abs=1e-4)


# Constructed balance with a closed form: 1200 ± 6 kg spread; surfaces of 520 ± 2 and 610 ± 2 m² at
# 0.500 ± 0.015 and 0.480 ± 0.012 kg/m²
AREA = Estimates(
    value=np.array([520.0, 610.0]),
    effects={"edge": np.array([2.0, 2.0])},
    per_row=frozenset({"edge"}),
)
RATE = Estimates(
    value=np.array([0.5, 0.48]),
    effects={"sampling": np.array([0.015, 0.012])},
    per_row=frozenset({"sampling"}),
)
SPREAD = one(1200.0, bags=6.0)
ALL = np.zeros(2, dtype=int)


def test_balance():
    masses = product(RATE, AREA)
    assert masses.value == pytest.approx([260.0, 292.8])
    assert masses.u() == pytest.approx([7.8638, 7.3827], abs=1e-4)
    caught = masses.group_sum(ALL, 1)
    assert caught.value[0] == pytest.approx(552.8)
    assert caught.u()[0] == pytest.approx(10.7863, abs=1e-4)
    overthrow = SPREAD.minus(caught)
    assert overthrow.value[0] == pytest.approx(647.2)
    assert overthrow.u()[0] == pytest.approx(12.3428, abs=1e-4)


def test_balance_with_an_error_shared_by_both_surfaces():
    efficiency = {"catch efficiency": 0.01 * RATE.value}
    shared = product(RATE.with_effects(efficiency), AREA)
    overthrow = SPREAD.minus(shared.group_sum(ALL, 1))
    assert overthrow.u()[0] == pytest.approx(13.5242, abs=1e-4)
    wrong = SPREAD.minus(
        shared.group_sum(ALL, 1, independent={"edge", "sampling", "catch efficiency"})
    )
    assert wrong.u()[0] == pytest.approx(12.9490, abs=1e-4)


def test_balance_by_monte_carlo():
    """Independent route: 400 000 seeded draws; standard error of u is 0.015 kg."""
    rng = np.random.default_rng(20260401)
    n = 400_000
    efficiency = rng.normal(1, 0.01, n)
    area = [rng.normal(a, 2, n) for a in (520, 610)]
    rate = [rng.normal(0.5, 0.015, n), rng.normal(0.48, 0.012, n)]
    drawn = rng.normal(1200, 6, n) - sum(
        r * efficiency * a for r, a in zip(rate, area, strict=True)
    )
    shared = product(RATE.with_effects({"e": 0.01 * RATE.value}), AREA).group_sum(ALL, 1)
    found = SPREAD.minus(shared)
    assert drawn.std() == pytest.approx(found.u()[0], rel=0.005)
    low, high, _ = found.interval()
    assert np.quantile(drawn, [0.025, 0.975]) == pytest.approx([low[0], high[0]], abs=0.2)


def test_eighteen_depths_that_share_one_bulk_density():
    """18 depths of 0.5 mm, each ± 0.01 mm of its own and ± 2 % of bulk density for all of them.

    The sum's u is √(18·0.01² + (18·0.5·0.02)²) mm; added in quadrature it would be √18·√(0.01² +
    0.01²), less than a third of it.
    """
    depth = Estimates(
        value=np.full(18, 0.5),
        effects={"sampling": np.full(18, 0.01), "bulk density: dried": np.full(18, -0.5 * 0.02)},
        per_row=frozenset({"sampling"}),
    )
    total = depth.group_sum(np.zeros(18, dtype=int), 1)
    reading = [uncertainties.ufloat(0.5, 0.01) for _ in range(18)]
    density = uncertainties.ufloat(1.0, 0.02)
    assert total.u()[0] == pytest.approx(sum(r / density for r in reading).s, rel=1e-12)
    wrong = depth.group_sum(np.zeros(18, dtype=int), 1, independent={"sampling", "bulk density"})
    assert total.u()[0] / wrong.u()[0] > 3


def random_table(rng, n, sources=("bulk density: a", "bulk density: b", "tray size", "sampling")):
    return Estimates(
        value=rng.normal(5, 1, n),
        effects={name: rng.normal(0, 0.3, n) for name in sources},
        per_row=frozenset({"sampling"}),
    )


def as_uncertain(table, shared):
    """The same rows as uncertainties numbers; ``shared`` keeps one variable a source."""
    rows = []
    for k, value in enumerate(table.value):
        number = float(value)
        for name, effect in table.effects.items():
            key = (name, k) if name in table.per_row else name
            variable = shared.setdefault(key, uncertainties.ufloat(0.0, 1.0))
            number = number + effect[k] * variable
        rows.append(number)
    return rows


def test_arithmetic_agrees_with_the_uncertainties_package():
    rng = np.random.default_rng(3)
    left, right = random_table(rng, 6), random_table(rng, 6, ("tray size", "label", "sampling"))
    shared = {}
    a, b = as_uncertain(left, shared), as_uncertain(right, shared)
    for found, expected in [
        (left.plus(right), [x + y for x, y in zip(a, b, strict=True)]),
        (left.minus(right), [x - y for x, y in zip(a, b, strict=True)]),
        (left.scaled(-3.0), [-3 * x for x in a]),
        (product(left, right), [x * y for x, y in zip(a, b, strict=True)]),
        (product(left, left), [x * x for x in a]),
    ]:
        assert found.value == pytest.approx([x.n for x in expected], rel=1e-12)
        assert found.u() == pytest.approx([x.s for x in expected], rel=1e-12)
    assert left.minus(left).u() == pytest.approx(np.zeros(6), abs=1e-15)


def test_group_sums_agree_with_covariance_matrices():
    rng = np.random.default_rng(4)
    table = random_table(rng, 40)
    group = rng.integers(0, 5, 40)
    covariance = np.zeros((40, 40))
    for name, effect in table.effects.items():
        covariance += np.diag(effect**2) if name == "sampling" else np.outer(effect, effect)
    sums = (group == np.arange(5)[:, None]).astype(float)
    found = table.group_sum(group, 5)
    assert found.value == pytest.approx(sums @ table.value, rel=1e-12)
    assert found.u() ** 2 == pytest.approx(np.diag(sums @ covariance @ sums.T), rel=1e-12)
    # groups stay correlated through what they share
    total = found.group_sum(np.zeros(5, dtype=int), 1)
    assert total.u()[0] ** 2 == pytest.approx(covariance.sum(), rel=1e-12)


def test_rows_of_a_long_table_add_up_as_those_of_short_ones():
    rng = np.random.default_rng(5)
    names = ["tray size", "sampling", "bulk density", "edge"]
    for rows in (9_000, 40_000):  # so long that a few columns, or one, are weighted at a time
        effects = {name: rng.normal(size=rows) for name in names}
        table = Estimates(
            value=rng.normal(size=rows), effects=effects, per_row=frozenset({"sampling", "edge"})
        )
        group, weight = rng.integers(0, 300, rows), rng.normal(size=rows)
        found = table.group_sum(group, 300, weight=weight)
        for k in (0, 299):
            mine = np.flatnonzero(group == k)
            term = {n: weight[mine] * column[mine] for n, column in table.effects.items()}
            expected = [
                math.fsum(term["tray size"]),
                math.sqrt(math.fsum(term["sampling"] ** 2)),
                math.fsum(term["bulk density"]),
                math.sqrt(math.fsum(term["edge"] ** 2)),
            ]
            assert found.value[k] == pytest.approx(math.fsum(weight[mine] * table.value[mine]))
            assert [found.effects[n][k] for n in names] == pytest.approx(expected, rel=1e-11)
            alone = table.rows(mine).group_sum(0 * mine, 1, weight=weight[mine])
            assert found.table[:, k].tolist() == alone.table[:, 0].tolist()  # to the last digit


def test_a_group_without_rows_is_zero():
    found = random_table(np.random.default_rng(1), 3).group_sum(np.array([0, 2, 2]), 4)
    assert found.value[[1, 3]].tolist() == [0.0, 0.0]
    assert found.u()[[1, 3]].tolist() == [0.0, 0.0]


def test_independent_sources_may_be_named_by_category():
    table = Estimates(value=np.ones(2), effects={"label: a": np.array([3.0, 4.0])})
    assert table.group_sum(ALL, 1).u()[0] == pytest.approx(7.0)
    assert table.group_sum(ALL, 1, independent={"label"}).u()[0] == pytest.approx(5.0)
    assert category("label: a: b") == "label"


def test_shares_of_variance():
    table = one(0.0, **{"bags": 3.0, "label: a": 2.0, "label: b": 6.0, "edge": 0.0})
    assert {k: v[0] for k, v in table.shares().items()} == pytest.approx(
        {"label": 40 / 49, "bags": 9 / 49, "edge": 0.0}
    )
    assert list(table.by_category()) == ["label", "bags", "edge"]


def test_shares_sum_to_one_and_are_zero_without_uncertainty():
    table = random_table(np.random.default_rng(9), 7)
    assert sum(table.shares().values()) == pytest.approx(np.ones(7))
    assert one(1.0, bags=0.0).shares()["bags"].tolist() == [0.0]


def test_rows_and_nan():
    table = random_table(np.random.default_rng(9), 3)
    table = Estimates(
        value=np.where([0, 1, 0], np.nan, table.value),
        effects={k: np.where([0, 1, 0], np.nan, v) for k, v in table.effects.items()},
        degrees_of_freedom={"sampling": np.array([3.0, np.nan, np.inf])},
    )
    low, high, nu = table.interval()
    assert np.isnan([low[1], high[1], nu[1]]).all()
    assert (low[[0, 2]] < high[[0, 2]]).all()
    assert nu[0] >= 3
    assert np.isinf(nu[2])
    assert table.rows(np.array([2])).value.tolist() == [table.value[2]]


def test_a_weight_is_as_good_as_scaling_first() -> None:
    rng = np.random.default_rng(2)
    table = random_table(rng, 40).with_effects({}, degrees_of_freedom={"a": rng.uniform(1, 30, 40)})
    group, weight = np.sort(rng.integers(0, 9, 40)), rng.uniform(0.1, 5, 40)
    scaled = table.scaled(weight)
    for groups in (group, Runs(group, 10)):
        found, expected = table.group_sum(groups, 10, weight=weight), scaled.group_sum(group, 10)
        assert found.value == pytest.approx(expected.value, rel=1e-12)
        assert found.u() == pytest.approx(expected.u(), rel=1e-12)
        for name, column in expected.degrees_of_freedom.items():
            assert found.degrees_of_freedom[name] == pytest.approx(column, rel=1e-12)


def test_other_rows_and_their_sources_change_no_digit() -> None:
    """Bit by bit, as tables of many sites lie end to end with sources that one of them lacks."""
    rng = np.random.default_rng(5)
    rows, names = 30, [f"label: {k}" for k in range(12)]
    mine = {name: rng.normal(size=rows) for name in ["tray size", *names[:3], "bags"]}
    freedom = rng.uniform(1, 20, rows)

    def table(extra: int, order: int) -> Estimates:
        wide = {k: np.concatenate([v, np.zeros(extra)]) for k, v in mine.items()}
        further = {k: np.concatenate([np.zeros(rows), np.ones(extra)]) for k in names if extra}
        both = (
            {**further, **wide}
            if order
            else {**wide, **{k: v for k, v in further.items() if k not in wide}}
        )
        return Estimates(
            value=np.concatenate([np.arange(30.0), np.ones(extra)]),
            effects=both,
            per_row=frozenset({"bags"}),
            degrees_of_freedom={"bags": np.concatenate([freedom, np.full(extra, 2.0)])},
        )

    alone = table(0, 0)
    group = np.repeat(np.arange(6), 5)
    for extra, order in ((1, 0), (17, 1)):
        beside = table(extra, order)
        groups = np.concatenate([group, np.full(extra, 6)])
        pairs = [(beside, alone, rows)]
        pairs.append((beside.group_sum(groups, 7), alone.group_sum(group, 6), 6))
        pairs.append((beside.group_sum(Runs(groups, 7), 7), alone.group_sum(Runs(group, 6), 6), 6))
        for found, expected, size in pairs:
            assert (found.u()[:size] == expected.u()).all()
            for now, before in zip(found.interval(), expected.interval(), strict=True):
                assert (now[:size] == before).all()
    single = alone.rows(np.array([3]))
    assert single.u()[0] == alone.u()[3]
    assert single.interval().high[0] == alone.interval().high[3]


def test_a_changed_table_keeps_its_sources():
    known = Estimates(value=np.array([1.0, 2.0]), effects={"scale": np.array([0.1, 0.2])})
    other = replace(known, value=np.array([3.0, 4.0]))
    assert other.value.tolist() == [3.0, 4.0]
    assert other.effects["scale"].tolist() == [0.1, 0.2]
    assert known.value.tolist() == [1.0, 2.0]
    with pytest.raises(KeyError):
        other.effects["value"]
