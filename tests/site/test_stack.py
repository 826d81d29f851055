"""Sites laid end to end: every row is where it was, and none refers to another site's rows."""

from dataclasses import fields, is_dataclass

import numpy as np
import pytest

from geosand.effects import category
from geosand.site.stack import sand_names, stacked
from geosand.site.tables import COUNTED, Site
from tests.stack_sites import various_sites

#: column of a table -> the table of a Site whose rows it counts, as (table, column of it)
LINKS = {
    ("dressings", "sand"): "sands",
    ("dressed", "dressing"): "dressings",
    ("dressed", "surface"): "surfaces",
    ("catches", "dressing"): "dressings",
    ("catches", "moisture"): "moistures",
    ("loads", "dressing"): "dressings",
    ("loads", "moisture"): "moistures",
    ("weighed", "load"): "loads",
    ("deliveries", "sand"): "sands",
    ("stock_counts", "sand"): "sands",
    ("sands", "moisture"): "moistures",
}
TABLES = ("surfaces", "sands", "moistures", "dressings", "dressed", "catches", "loads", "weighed")
TABLES += ("deliveries", "stock_counts")


def _size(site: Site, table: str) -> int:
    rows = getattr(site, table)
    return len(getattr(rows, fields(rows)[0].name))


def _begins(sites: list[Site], table: str) -> list[int]:
    return np.cumsum([0, *(_size(s, table) for s in sites)]).tolist()


def test_every_column_of_whole_numbers_is_numbered_on():
    """But for the places of catches in their file: one that was forgotten would mix sites up."""
    site = stacked(various_sites())
    for table, columns in COUNTED.items():
        numbers = {f.name for f in fields(getattr(site, table)) if f.type == "Ints"}
        assert numbers - {"place"} == set(columns)
    assert {*COUNTED, "moistures"} == set(TABLES)


@pytest.mark.parametrize("table", TABLES)
def test_every_column_of_every_site_is_there(table: str) -> None:
    sites = various_sites()
    together, begins = getattr(stacked(sites), table), _begins(sites, table)
    numbered = {("sands", "name"), ("moistures", "label"), ("loads", "label")}
    for site, begin, end in zip(sites, begins, begins[1:], strict=False):
        alone = getattr(site, table)
        for name in (f.name for f in fields(alone) if f.name != "mixtures"):
            mine, column = getattr(together, name)[begin:end], getattr(alone, name)
            if (table, name) in LINKS:
                other = LINKS[table, name]
                start = _begins(sites, other)[sites.index(site)]
                mine = np.where(mine >= 0, mine - start, mine)
            elif name in ("edition", "ground", "around", "declared", "group") or "pool" in name:
                assert ((mine < 0) == (column < 0)).all()
                known = mine[mine >= 0] - column[column >= 0]
                assert len(set(known.tolist())) <= 1, name
                continue
            elif (table, name) in numbered:
                continue
            np.testing.assert_array_equal(mine, column)


def test_members_own_their_editions_and_ids() -> None:
    sites = various_sites()
    stack = stacked(sites)
    assert len(stack.members) == len(sites)
    for k, site in enumerate(sites):
        rows = np.flatnonzero(stack.of_surface == k)
        assert stack.surfaces.id[rows].tolist() == site.surfaces.id.tolist()
        ground = stack.surfaces.ground[rows]
        assert stack.ids[ground].tolist() == site.ids[site.surfaces.ground].tolist()
        assert (stack.of_id[ground] == k).all()
        newest = rows[np.isin(rows, stack.in_force())]
        assert stack.surfaces.id[newest].tolist() == site.surfaces.id[site.in_force()].tolist()
        dressings = np.flatnonzero(stack.of_dressing == k)
        assert stack.dressings.id[dressings].tolist() == site.dressings.id.tolist()
        assert stack.members.u_tray[k] == site.settings.u_tray
        assert stack.members.agreement[k] == site.settings.agreement
        assert stack.members.season_start[k] == site.season_start
        assert np.isnat(stack.members.season_end[k]) == (site.season_end is None)


def test_sources_keep_their_categories_and_stay_apart() -> None:
    sites = various_sites()
    stack, begins = stacked(sites), _begins(sites, "moistures")
    together = stack.moistures.by_source()
    for site, begin, end in zip(sites, begins, begins[1:], strict=False):
        alone = site.moistures.by_source()
        mine = {name: effect[begin:end] for name, effect in together.items()}
        mine = {name: effect for name, effect in mine.items() if effect.any()}
        told = {name: effect for name, effect in alone.items() if effect.any()}
        assert sorted(map(category, mine)) == sorted(map(category, told))
        ordered = zip(
            sorted(mine.values(), key=lambda e: e.tolist()),
            sorted(told.values(), key=lambda e: e.tolist()),
            strict=True,
        )
        for one, other in ordered:
            np.testing.assert_array_equal(one, other)
        at = _begins(sites, "loads")[sites.index(site)]
        labels = stack.loads.label[at : at + len(site.loads)].tolist()
        pairs = set(zip(labels, site.loads.label.tolist(), strict=True))
        assert len(pairs) == len(set(labels)) == len(set(site.loads.label.tolist()))


def test_sands_keep_their_names_beside() -> None:
    sites = various_sites()
    assert sand_names(sites).tolist() == [n for s in sites for n in s.sands.name.tolist()]


def test_a_stacks_own_settings_tell_nothing() -> None:
    stack = stacked(various_sites())
    assert is_dataclass(stack.settings)
    assert all(np.isnan(getattr(stack.settings, f.name)) for f in fields(stack.settings))
    assert np.isnat(stack.season_start)


def test_one_site_is_a_stack_of_one() -> None:
    site = various_sites()[0]
    stack = stacked([site])
    np.testing.assert_array_equal(stack.surfaces.ground, site.surfaces.ground)
    np.testing.assert_array_equal(stack.catches.dressing, site.catches.dressing)
    assert stack.group_surfaces == site.group_surfaces
    assert [f.text for f in stack.findings] == [f.text for f in site.findings]
