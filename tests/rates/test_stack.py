"""Rates of many sites in one call: each row is what its site gets alone."""

from __future__ import annotations

from dataclasses import fields, replace
from types import SimpleNamespace

import numpy as np
import pytest

from geosand.areas.register import area_register
from geosand.columns import take
from geosand.errors import Refused
from geosand.rates.assignment import Assignment
from geosand.rates.catch_rates import CatchRates
from geosand.rates.insides import Depths
from geosand.rates.random_effects import DressingRates
from geosand.rates.surface_rates import site_rates
from geosand.rates.uniformity import Uniformity
from geosand.site.stack import stacked
from geosand.site.tables import Site
from tests.row_by_row import Beside, assert_same, told
from tests.stack_sites import various_sites

NUMBERED = {"by_position": "surface", "surface": "surface", "dressed": "row", "nearest": "row"}


def rated(site: Site) -> SimpleNamespace:
    """A site, or a stack of them, with its rates; nothing later is worked out."""
    areas = area_register(site.surfaces, site.of_surface)
    return SimpleNamespace(site=site, rates=site_rates(site, areas))


@pytest.fixture(scope="module")
def beside() -> Beside:
    sites = various_sites()
    return Beside(sites=sites, together=rated(stacked(sites)), alone=[rated(s) for s in sites])


def columns(table: type) -> list[str]:
    return [f.name for f in fields(table) if f.name != "findings"]


def rows_of(beside: Beside, table: str, member: int) -> np.ndarray:
    """Rows of the stack's table that are those of a member."""
    stack = beside.together.site
    dressings = stack.of_dressing == member
    if table == "row":
        return np.flatnonzero(dressings[stack.dressed.dressing])
    if table == "catch":
        return np.flatnonzero(dressings[stack.catches.dressing])
    if table == "sand":
        return np.flatnonzero(stack.of_sand == member)
    return np.flatnonzero(dressings if table == "dressing" else stack.of_surface == member)


TABLES = ("depths", "insides")  #: what is no column of catches


@pytest.mark.parametrize("name", [n for n in columns(Assignment) if n not in TABLES])
def test_catches_lie_where_they_lie_alone(beside: Beside, name: str) -> None:
    found = getattr(beside.together.rates.assignment, name)
    for k, alone in enumerate(beside.alone):
        mine = found[rows_of(beside, "catch", k)]
        if name in NUMBERED:
            begun = rows_of(beside, NUMBERED[name], k)[:1].sum()
            mine = np.where(mine >= 0, mine - begun, -1)
        assert_same(mine, slice(None), getattr(alone.rates.assignment, name))


@pytest.mark.parametrize("name", Depths._fields)
def test_catches_lie_as_deep_as_alone(beside: Beside, name: str) -> None:
    found = getattr(beside.together.rates.assignment.depths, name)
    for k, alone in enumerate(beside.alone):
        mine = rows_of(beside, "catch", k)
        assert_same(found, mine, getattr(alone.rates.assignment.depths, name))


@pytest.mark.parametrize(
    ("table", "of", "name"),
    [
        *(("", "row", name) for name in ("rate", "depth", "catches", "own")),
        *(("", "row", name) for name in ("mass_rate_kg_m2", "volume_rate_kg_m2")),
        ("", "sand", "density"),
        ("", "catch", "catch_depth_m"),
        *(("each", "catch", name) for name in columns(CatchRates)),
        *(("model", "dressing", name) for name in columns(DressingRates)),
        *(("uniformity", "dressing", name) for name in columns(Uniformity)),
        *(("surface_uniformity", "row", name) for name in columns(Uniformity)),
    ],
)
def test_each_row_has_the_rates_of_its_site_alone(
    beside: Beside, table: str, of: str, name: str
) -> None:
    found, *each = (
        getattr(getattr(one.rates, table) if table else one.rates, name)
        for one in (beside.together, *beside.alone)
    )
    for k, alone in enumerate(each):
        assert_same(found, rows_of(beside, of, k), alone, beside.names(k))


def test_uncertainties_of_each_category_are_those_of_the_site_alone(beside: Beside) -> None:
    for name in ("rate", "depth"):
        parts = getattr(beside.together.rates, name).by_category()
        for k, one in enumerate(beside.alone):
            alone, rows = getattr(one.rates, name), rows_of(beside, "row", k)
            known = np.isfinite(alone.value)
            for category, expected in alone.by_category().items():
                mine = parts[category][rows]
                np.testing.assert_allclose(mine[known], expected[known], rtol=1e-12, atol=1e-15)
            assert_same(getattr(beside.together.rates, name).u(), rows, alone.u())


def test_the_sites_differ_in_what_is_compared(beside: Beside) -> None:
    rates, site = beside.together.rates, beside.together.site
    assert set(rates.assignment.zone.tolist()) >= {"surface", "collar", "surrounds"}
    assert {True, False} == set(rates.own.tolist()) == set(rates.each.by_mass.tolist())
    assert (
        np.isfinite(rates.assignment.taped_inside_m).any()
        or (site.catches.edge_distance_m > 0).any()
    )
    assert rates.model.pooled.any()
    assert not rates.model.pooled.all()
    assert len(set(site.members.catch_efficiency.tolist())) > 1
    assert np.isfinite(rates.volume_rate_kg_m2).any()
    assert (rates.volume_rate_kg_m2 != rates.mass_rate_kg_m2)[np.isfinite(rates.rate.value)].any()
    assert (site.catches.declared < 0).any()
    assert len({f.text[:12] for f in rates.findings}) >= 5


def test_findings_say_which_site_they_are_of(beside: Beside) -> None:
    stack = beside.together.site
    for k, alone in enumerate(beside.alone):
        numbers = stack.sands.name[stack.of_sand == k].tolist()
        own = zip(numbers, beside.sites[k].sands.name.tolist(), strict=True)
        names = {f"sand {number}": f"sand {name}" for number, name in own}
        mine = [
            (names.get(about, about), text, topic)
            for about, text, topic in told(beside.together.rates.findings, k)
        ]
        assert mine == told(alone.rates.findings)


def test_the_last_digit_does_not_depend_on_the_other_sites(beside: Beside) -> None:
    sites = beside.sites[::-1]
    stack = stacked(sites)
    again = rated(stack).rates
    for k, member in enumerate(range(len(sites))[::-1]):
        mine = np.flatnonzero(stack.of_dressing[stack.dressed.dressing] == k)
        rows = rows_of(beside, "row", member)
        for name in ("mass_rate_kg_m2", "volume_rate_kg_m2"):
            column = getattr(beside.together.rates, name)
            np.testing.assert_array_equal(getattr(again, name)[mine], column[rows])
        np.testing.assert_array_equal(again.rate.u()[mine], beside.together.rates.rate.u()[rows])


def test_spreaders_of_one_name_are_pooled_within_their_site_only(beside: Beside) -> None:
    """The same site twice: each has the other's spreaders, and neither takes anything from it."""
    sites = [site for site in beside.sites if len(site.dressings) > 1]
    rates, alone = rated(stacked([*sites, *sites])).rates, rated(stacked(sites)).rates
    half = len(alone.model.mu)
    for name in columns(DressingRates):
        column = getattr(rates.model, name)
        np.testing.assert_array_equal(column[:half], getattr(alone.model, name))
        np.testing.assert_array_equal(column[half:], getattr(alone.model, name))


def test_faults_of_all_sites_are_told_at_once(beside: Beside) -> None:
    sites = [site for site in beside.sites if len(site.catches) and site.catches.used.any()][:2]
    moved = []
    for site in sites:
        catches, first = take(site.catches, slice(None)), int(np.argmax(site.catches.used))
        lat, declared = catches.lat_degree.copy(), catches.declared.copy()
        lat[first] += 0.02
        row = int(np.flatnonzero(site.dressed.dressing == catches.dressing[first])[0])
        declared[first] = site.surfaces.ground[site.dressed.surface[row]]
        moved.append(replace(site, catches=replace(catches, lat_degree=lat, declared=declared)))
    with pytest.raises(Refused) as refused:
        rated(stacked(moved))
    assert len(refused.value.faults) == 2
