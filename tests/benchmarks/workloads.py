"""Each step of the account beside what a notebook does for it, and beside its physical limit.

Ways take turns; medians of CPU time are compared. A notebook's way that is slow does fewer sites in
a round and is scaled up. Sites are those of ``portfolio_generator``: nothing in them was measured.
"""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import shapely

from geosand.areas.register import AreaRegister, area_register
from geosand.balance.account import mass_on_surfaces
from geosand.balance.spread import load_masses, spread_of
from geosand.balance.throwing import throw_of_dressings
from geosand.balance.witness import monte_carlo
from geosand.formats.site_folder import read_site
from geosand.rates.assignment import assign
from geosand.rates.ground_under import surfaces_under
from geosand.rates.groups import in_order
from geosand.rates.surface_rates import Rates, site_rates
from geosand.rates.uniformity import uniformity
from geosand.results import Results, work_out
from geosand.site.stack import stacked
from geosand.site.tables import Site
from tests.benchmarks import notebook
from tests.benchmarks.areas import in_turn
from tests.benchmarks.block_kriging import kriging
from tests.benchmarks.case import Case
from tests.benchmarks.headings import headings
from tests.benchmarks.polygons import polygons
from tests.benchmarks.portfolio_generator import WHOLE, Extent, write_folders, write_set
from tests.benchmarks.whole_files import a_map, reading, reading_a_set
from tests.benchmarks.whole_sites import all_sites, one_site

DRAWS = 10_000


def comparisons(sites: int, rounds: int, extent: Extent = WHOLE) -> list[dict[str, Any]]:
    """Ready to print: both times, their ratio, the aim, how far the results differ."""
    with tempfile.TemporaryDirectory() as name:
        root = write_folders(Path(name) / "folders", sites, extent=extent)
        folders = sorted(root.iterdir())
        done = [work_out(read_site(folder)) for folder in folders]
        cases = [
            surfaces_of_catches(done),
            assignment(done),
            surface_rates(done),
            balance(done[0]),
            balances(done),
            draws(done),
            rings(done[0]),
            kriging(),
            headings(),
            reading(folders[0]),
            reading_a_set(write_set(Path(name) / "set", sites, extent=extent), sites),
            *polygons(Path(name) / "polygons"),
            a_map(done[0], Path(name)),
            one_site(folders[0]),
            all_sites(folders),
        ]
        return [row for case in cases for row in _rows(case, rounds)]


def _rows(case: Case, rounds: int) -> list[dict[str, Any]]:
    ways = [case.mine, *(way for _, way, _, _ in case.others)]
    taken = in_turn([*ways, *([case.limit[1]] if case.limit else [])], rounds)
    mine = taken[case.mine]
    rows = [
        _row(case, words, mine, taken[way] * scale, aim, case.difference)
        for words, way, scale, aim in case.others
    ]
    if case.limit:
        words, way, scale = case.limit
        limit = taken[way] * scale
        times = f"{mine / limit:.1f} times the limit"
        rows.append(_row(case, f"{words} (the limit)", mine, limit, None, times))
    return rows


def _row(
    case: Case, beside: str, mine: float, other: float, aim: float | None, difference: str
) -> dict[str, Any]:
    return {
        "what": case.what,
        "size": case.size,
        "beside": beside,
        "geosand_ms": mine * 1000,
        "other_ms": other * 1000,
        "ratio": other / mine,
        "difference": difference,
        "at_least": aim,
        "agree": case.agree,
    }


def surfaces_of_catches(done: list[Results]) -> Case:
    """Which surface each catch lies on: all that a spatial join tells."""
    sites = [r.site for r in done]
    few = [notebook.projected(site) for site in sites[:2]]
    in_degrees = [notebook.frames(site) for site in sites]
    points = np.concatenate([frame.geometry.to_numpy() for frame, _ in in_degrees])
    polygons = np.concatenate([r.areas.owned for r in done])
    catches, surfaces = ([len(column) for column in two] for two in zip(*in_degrees, strict=True))
    number = np.arange(len(sites))
    lon = np.concatenate([site.catches.lon_degree for site in sites])
    lat = np.concatenate([site.catches.lat_degree for site in sites])

    def mine(_: int) -> Any:
        shapely.destroy_prepared(polygons)  # made anew each time, as in a join
        of_catch, of_surface = np.repeat(number, catches), np.repeat(number, surfaces)
        return surfaces_under(lon, lat, of_catch, polygons, of_surface)

    def boxes(_: int) -> Any:
        return shapely.STRtree(polygons).query(points)

    def by_site(_: int) -> list[Any]:
        return [notebook.joined(c, s) for c, s in few]

    def by_dressing(_: int) -> list[Any]:
        return [notebook.joined_by_dressing(c, s) for c, s in few]

    def at_once(_: int) -> Any:
        return notebook.joined_at_once(in_degrees)

    theirs = np.concatenate([k * surfaces[0] + one for k, one in enumerate(by_site(0))])
    off = int((mine(0)[: len(theirs)] != theirs).sum())
    scale = len(sites) / len(few)
    return Case(
        what="surfaces of catches",
        size=f"{len(points):,} catches of {len(sites)} sites in one call",
        mine=mine,
        others=(
            ("geopandas.sjoin, one a site", by_site, scale, 15.0),
            ("geopandas.sjoin, one a site and dressing", by_dressing, scale, 150.0),
            ("geopandas.sjoin, one for all sites", at_once, 1.0, 2.5),
        ),
        limit=("boxes only", boxes, 1.0),
        difference=f"{off} catches on another surface",
        agree=off == 0,
    )


def assignment(done: list[Results]) -> Case:
    """Surface, zone and distances of each catch, site by site; a join gives the surface only."""
    sites = [(r.site, r.areas) for r in done]
    few = [notebook.projected(site) for site, _ in sites[:2]]

    def mine(_: int) -> list[Any]:
        for _, areas in sites:
            shapely.destroy_prepared(areas.owned_plane)
        return [assign(site, areas).surface for site, areas in sites]

    def by_site(_: int) -> list[Any]:
        return [notebook.joined(c, s) for c, s in few]

    trees = [
        (areas.owned, shapely.points(site.catches.lon_degree, site.catches.lat_degree))
        for site, areas in sites
    ]

    def boxes(_: int) -> Any:
        return [shapely.STRtree(owned).query(points) for owned, points in trees]

    return Case(
        what="assignment of catches with zones and distances",
        size=f"{len(sites)} sites of {len(sites[0][0].catches)} catches",
        mine=mine,
        others=(("geopandas.sjoin, one a site", by_site, len(sites) / len(few), None),),
        limit=("boxes only", boxes, 1.0),
        difference="the join tells neither zones nor distances",
    )


def surface_rates(done: list[Results]) -> Case:
    """Mean, sd and low quarter of each surface and dressing, all sites in one call."""
    values, groups, size = [], [], 0
    for r in done:
        on = r.rates.assignment.dressed
        values.append(r.rates.each.rate_kg_m2[on >= 0])
        groups.append(on[on >= 0] + size)
        size += len(r.site.dressed)
    value, group = np.concatenate(values), np.concatenate(groups)
    frame = pd.DataFrame({"group": group, "rate": value})
    part = frame[frame.group < len(done[0].site.dressed)]

    def mine(_: int) -> Any:
        return uniformity(value, group, size)  # mean and sd among them

    def applied(_: int) -> Any:
        return part.groupby("group").rate.apply(notebook.low_quarter)

    def lambdas(_: int) -> Any:
        return frame.groupby("group").rate.agg(["mean", "std", notebook.lowest_quarter])

    def sort(_: int) -> Any:
        return in_order(value, group, size)

    theirs = part.groupby("group").rate.apply(notebook.low_quarter).map(lambda row: row[2])
    ours = uniformity(value, group, size)
    off = np.nanmax(np.abs((ours.du_lq * ours.mean)[theirs.index] - theirs))
    return Case(
        what="mean, sd, low quarter per surface and dressing",
        size=f"{len(value):,} catches, {group.max() + 1:,} groups",
        mine=mine,
        others=(
            ("groupby.apply", applied, len(frame) / len(part), 1000.0),
            ("groupby.agg with a function of one's own", lambdas, 1.0, 35.0),
        ),
        limit=("sorting in groups only", sort, 1.0),
        difference=f"up to {off:.1g} kg/m²",
        agree=bool(off < 1e-12),
    )


def balance(result: Results) -> Case:
    """Spread, landed, overthrow and its interval, with all shared sources."""
    size = len(result.site.dressings)

    def mine(_: int) -> Any:
        return balance_of(result.site, result.areas, result.rates)

    def theirs(_: int) -> Any:
        return notebook.balance_with_uncertainties(result)

    ours, other = mine(0)[0], theirs(0)
    off = max(abs(a - b.nominal_value) for a, b in zip(ours, other, strict=True))
    return Case(
        what="balance with uncertainty",
        size=f"1 site, {size} dressings",
        mine=mine,
        others=(("a loop with the package uncertainties", theirs, 1.0, 25.0),),
        limit=(ONE_SUM, lambda _: one_sum(result.site, result.areas, result.rates), 1.0),
        difference=f"overthrow up to {off:.1g} kg",
        agree=off < 1e-6,
    )


def balances(done: list[Results]) -> Case:
    """The same for all sites, laid end to end, in one call."""
    site = stacked([result.site for result in done])
    areas = area_register(site.surfaces, site.of_surface)
    rates = site_rates(site, areas)

    def mine(_: int) -> Any:
        return balance_of(site, areas, rates)

    def theirs(_: int) -> Any:
        return notebook.balance_with_uncertainties(done[0])

    alone = np.concatenate([balance_of(r.site, r.areas, r.rates)[0] for r in done])
    off = np.abs(mine(0)[0] - alone).max()
    return Case(
        what="balance with uncertainty, all sites",
        size=f"{len(done)} sites in one call",
        mine=mine,
        others=(("a loop with the package uncertainties", theirs, float(len(done)), 500.0),),
        limit=(ONE_SUM, lambda _: one_sum(site, areas, rates), 1.0),
        difference=f"overthrow up to {off:.1g} kg from that of each site alone",
        agree=bool(off == 0),
    )


def balance_of(site: Site, areas: AreaRegister, rates: Rates) -> tuple[Any, Any]:
    """Overthrow of each dressing, and its interval."""
    size = len(site.dressings)
    spread = spread_of(load_masses(site.loads, site.moistures), site.loads.dressing, size)
    over = spread.minus(mass_on_surfaces(site, areas, rates, site.dressed.dressing, size))
    return over.value, over.interval()


ONE_SUM = "one sum of each source by dressing"


def one_sum(site: Site, areas: AreaRegister, rates: Rates) -> list[Any]:
    """The least that a balance takes."""
    weight, size = areas.area_m2[site.dressed.surface], len(site.dressings)
    columns = [rates.rate.value, *rates.rate.effects.values()]
    return [np.bincount(site.dressed.dressing, column * weight, size) for column in columns]


def draws(done: list[Results]) -> Case:
    """Mean, u and interval of on surfaces, overthrow and depths from 10,000 draws of every input.

    All sites in one call, and one by one. The common draws are made anew in each round, once for
    all sites, as in one session.
    """
    together = work_out(stacked([r.site for r in done])).balance

    def mine(number: int) -> Any:
        return monte_carlo(together, draws=DRAWS, seed=number)

    def one_by_one(number: int) -> Any:
        return [monte_carlo(r.balance, draws=DRAWS, seed=number) for r in done]

    def by_load(_: int) -> Any:
        return notebook.fresh_draws(done[0], DRAWS, by_bag=False)

    def by_bag(_: int) -> Any:
        return notebook.fresh_draws(done[0], DRAWS, by_bag=True)

    def product(_: int) -> Any:
        return weights @ sheet

    sources = len(done[0].rates.rate.by_category()) + 6  # density, bags, label, three of areas
    rows = len(done[0].site.dressed) + 2 * len(done[0].site.dressings)
    rng = np.random.default_rng(1)
    sheet, weights = rng.normal(size=(sources, DRAWS)), rng.normal(size=(rows, sources))
    normal = monte_carlo(done[0].balance, draws=DRAWS, seed=1, student=False)
    off = max(
        np.nanmax(np.abs(drawn.u / table.u() - 1))
        for drawn, table in (
            (normal.overthrow, done[0].balance.overthrow),
            (normal.depth, done[0].rates.depth),
        )
    )
    scale = float(len(done))
    return Case(
        what="Monte Carlo",
        size=f"{len(done)} sites of {rows} figures, {DRAWS:,} draws",
        mine=mine,
        others=(
            ("fresh NumPy draws for each surface and each bag", by_bag, scale, 100.0),
            ("fresh NumPy draws for each surface and each load", by_load, scale, 100.0),
            ("geosand, one site after the other", one_by_one, 1.0, None),
        ),
        limit=("one matrix product of sources and figures", product, scale),
        difference=f"u of normal inputs within {100 * off:.2f} % of the first order, which knows no"
        " curvature",
        agree=bool(off < 0.02),
    )


def rings(result: Results) -> Case:
    """Reach and split of each dressing's overthrow; the overlay needs the reach to be known."""
    site, areas, rates, done = result.site, result.areas, result.rates, result.balance
    shapes = areas.owned_plane[site.dressed.surface]

    def mine(_: int) -> Any:
        return throw_of_dressings(
            site, areas, rates, done.group_of_row, done.dressing_of_group, done.overthrow
        )

    def overlaid(_: int) -> Any:
        return notebook.overlaid_rings(result)

    def buffers(_: int) -> Any:
        return shapely.buffer(shapes, 0.9), shapely.buffer(shapes, 4.9)

    return Case(
        what="rings",
        size=f"1 site, {len(site.dressings)} dressings, drawn collars",
        mine=mine,
        others=(("geopandas: buffers and overlay in UTM", overlaid, 1.0, 35.0),),
        limit=("two buffers a dressed surface", buffers, 1.0),
        difference="geosand also solves the reach, three times",
    )
