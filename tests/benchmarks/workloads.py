"""Each step of the account beside what a notebook does for it, and beside its physical limit.

Ways take turns; medians of CPU time are compared. A notebook's way that is slow does fewer sites in
a round and is scaled up. Sites are those of ``portfolio_generator``: nothing in them was measured.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pandas as pd
import shapely

from geosand.balance.account import mass_on_surfaces
from geosand.balance.spread import load_masses, spread_of
from geosand.balance.throwing import throw_of_dressings
from geosand.balance.witness import monte_carlo
from geosand.formats.site_folder import read_site
from geosand.mapping.fill import map_view
from geosand.mapping.page import map_page
from geosand.portfolio.sources import find_sites
from geosand.rates.assignment import assign, surfaces_under
from geosand.rates.kriging import Variogram, block_kriging, within_blocks
from geosand.rates.random_effects import group_mean_sd
from geosand.rates.uniformity import uniformity
from geosand.results import Results, work_out
from tests.benchmarks import notebook
from tests.benchmarks.areas import in_turn
from tests.benchmarks.headings import headings
from tests.benchmarks.portfolio_generator import write_folders, write_set

DRAWS = 10_000
Way = Callable[[int], Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One workload: geosand's way, others with how much they are scaled and what is aimed at."""

    what: str
    size: str
    mine: Way
    others: tuple[tuple[str, Way, float, float | None], ...]  #: words, way, scale, aim
    limit: tuple[str, Way, float] | None = None
    difference: str = ""


def comparisons(sites: int, rounds: int) -> list[dict[str, Any]]:
    """Ready to print: both times, their ratio, the aim, how far the results differ."""
    with tempfile.TemporaryDirectory() as name:
        root = write_folders(Path(name) / "folders", sites)
        folders = sorted(root.iterdir())
        done = [work_out(read_site(folder)) for folder in folders]
        cases = [
            surfaces_of_catches(done),
            assignment(done),
            surface_rates(done),
            balance(done[0]),
            balances(done),
            draws(done[0]),
            rings(done[0]),
            kriging(),
            headings(),
            reading(folders[0]),
            reading_a_set(write_set(Path(name) / "set", sites), sites),
            a_map(done[0]),
            one_site(folders[0]),
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

    def mine(_: int) -> Any:
        shapely.destroy_prepared(polygons)  # made anew each time, as in a join
        of_catch, of_surface = np.repeat(number, catches), np.repeat(number, surfaces)
        return surfaces_under(points, of_catch, polygons, of_surface)

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

    return Case(
        what="assignment of catches with zones and distances",
        size=f"{len(sites)} sites of {len(sites[0][0].catches)} catches",
        mine=mine,
        others=(("geopandas.sjoin, one a site", by_site, len(sites) / len(few), None),),
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
        return group_mean_sd(value, group, size), uniformity(value, group, size)

    def applied(_: int) -> Any:
        return part.groupby("group").rate.apply(notebook.low_quarter)

    def lambdas(_: int) -> Any:
        return frame.groupby("group").rate.agg(["mean", "std", notebook.lowest_quarter])

    def sort(_: int) -> Any:
        return np.lexsort((value, group))

    theirs = part.groupby("group").rate.apply(notebook.low_quarter).map(lambda row: row[2])
    ours = uniformity(value, group, size)
    mean = group_mean_sd(value, group, size)[1]
    off = np.nanmax(np.abs((ours.du_lq * mean)[theirs.index] - theirs))
    return Case(
        what="mean, sd, low quarter per surface and dressing",
        size=f"{len(value):,} catches, {group.max() + 1:,} groups",
        mine=mine,
        others=(
            ("groupby.apply", applied, len(frame) / len(part), 1000.0),
            ("groupby.agg with a function of one's own", lambdas, 1.0, 35.0),
        ),
        limit=("one sort", sort, 1.0),
        difference=f"up to {off:.1g} kg/m²",
    )


def balance(result: Results) -> Case:
    """Spread, landed, overthrow and its interval, with all shared sources."""
    site, areas, rates = result.site, result.areas, result.rates
    size = len(site.dressings)

    def mine(_: int) -> Any:
        spread = spread_of(load_masses(site.loads, site.moistures), site.loads.dressing, size)
        on = mass_on_surfaces(site, areas, rates, site.dressed.dressing, size)
        over = spread.minus(on)
        return over.value, over.interval()

    def theirs(_: int) -> Any:
        return notebook.balance_with_uncertainties(result)

    ours, other = mine(0)[0], theirs(0)
    off = max(abs(a - b.nominal_value) for a, b in zip(ours, other, strict=True))
    return Case(
        what="balance with uncertainty",
        size=f"1 site, {size} dressings",
        mine=mine,
        others=(("a loop with the package uncertainties", theirs, 1.0, 25.0),),
        difference=f"overthrow up to {off:.1g} kg",
    )


def balances(done: list[Results]) -> Case:
    """The same for all sites, one after the other."""
    single = [balance(result) for result in done]

    def mine(_: int) -> Any:
        return [case.mine(0) for case in single]

    def theirs(_: int) -> Any:
        return single[0].others[0][1](0)

    return Case(
        what="balance with uncertainty, all sites",
        size=f"{len(done)} sites",
        mine=mine,
        others=(("a loop with the package uncertainties", theirs, float(len(done)), 500.0),),
        difference=single[0].difference,
    )


def draws(result: Results) -> Case:
    """10,000 draws of every input; intervals of dressings and of the depth on each surface."""

    def mine(_: int) -> Any:
        return monte_carlo(
            result.site, result.areas, result.rates, result.balance, draws=DRAWS, seed=1
        )

    def fresh(_: int) -> Any:
        return notebook.fresh_draws(result, DRAWS)

    def product(_: int) -> Any:
        return sheet @ weights

    sources, rows = 160, len(result.site.dressed)
    rng = np.random.default_rng(1)
    sheet, weights = rng.normal(size=(DRAWS, sources)), rng.normal(size=(sources, rows))
    return Case(
        what="Monte Carlo",
        size=f"1 site, {DRAWS:,} draws",
        mine=mine,
        others=(("fresh draws with NumPy for each surface", fresh, 1.0, 100.0),),
        limit=("one matrix product", product, 1.0),
        difference="geosand's draws have the correlation of shared inputs and Student's t",
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


def kriging() -> Case:
    """Means of surfaces from four catches each."""
    from pykrige.ok import OrdinaryKriging

    rng = np.random.default_rng(3)
    blocks, catches, side = 216, 4, 12
    places = rng.uniform(0, 25, (blocks, catches, 2))
    values = rng.normal(1, 0.1, (blocks, catches))
    grid = np.stack(np.meshgrid(*[np.linspace(1, 24, side)] * 2), axis=-1).reshape(-1, 2)
    points = np.broadcast_to(grid, (blocks, *grid.shape))
    weights = np.full((blocks, len(grid)), 1 / len(grid))
    surfaces = 18  #: each is dressed 12 times
    model = Variogram(model="exponential", nugget=0.002, sill=0.008, range_m=12.0)

    def mine(_: int) -> Any:
        within = within_blocks(points[:surfaces], weights[:surfaces], model)
        again = np.tile(within, blocks // surfaces)
        return block_kriging(places, values, points, weights, model, within=again)

    def theirs(_: int) -> Any:
        found = []
        for k in range(20):
            known = OrdinaryKriging(
                *places[k].T,
                values[k],
                variogram_model="exponential",
                variogram_parameters={"psill": 0.008, "range": 36.0, "nugget": 0.002},
            )
            found.append(known.execute("points", *grid.T)[0].mean())
        return found

    def solve(_: int) -> Any:
        return np.linalg.solve(systems, right)

    systems = rng.normal(size=(blocks, catches + 1, catches + 1)) + 9 * np.eye(catches + 1)
    right = rng.normal(size=(blocks, catches + 1, 1))
    return Case(
        what="block-kriged means",
        size=f"{surfaces} surfaces of {len(grid)} points, 12 dressings",
        mine=mine,
        others=(("PyKrige at the points of each, averaged", theirs, blocks / 20, 60.0),),
        limit=("solving the systems", solve, 1.0),
        difference="PyKrige's average has no block variance",
    )


def reading(folder: Path) -> Case:
    """A site folder with its checks, beside reading the files with none."""

    def mine(_: int) -> Any:
        return read_site(folder)

    def unchecked(_: int) -> Any:
        tables = [pd.read_csv(folder / f"{n}.csv") for n in ("catches", "dressings", "loads")]
        return geopandas.read_file(folder / "surfaces.geojson"), tables

    return Case(
        what="reading a site folder",
        size="72 surfaces, 864 catches",
        mine=mine,
        others=(("geopandas and pandas, nothing checked", unchecked, 1.0, None),),
        difference="geosand checks every cell and outline",
    )


def reading_a_set(folder: Path, sites: int) -> Case:
    """All sites of a set of Parquet files with their checks, beside reading the files with none."""
    source = find_sites(folder, folder / "out")
    keys = source.keys()

    def mine(_: int) -> Any:
        return [one.site for one in source.read(keys, {})]

    def unchecked(_: int) -> Any:
        return notebook.read_set(folder)

    assert all(site is not None for site in mine(0))
    return Case(
        what="reading a set of files",
        size=f"{sites} sites, GeoParquet and Parquet",
        mine=mine,
        others=(("geopandas.read_parquet and pandas, nothing checked", unchecked, 1.0, 1.7),),
        difference="geosand checks every cell and outline, and makes each site's tables",
    )


def a_map(result: Results) -> Case:
    """The page as text."""

    def mine(_: int) -> Any:
        return map_page(map_view(result, "metric"))

    def plain(_: int) -> Any:
        return notebook.plain_map(result)

    return Case(
        what="map",
        size="1 site, 12 dressings",
        mine=mine,
        others=(("folium, one GeoJson layer a dressing", plain, 1.0, None),),
        difference=f"{len(mine(0)) / 1e3:.0f} kB against {len(plain(0)) / 1e3:.0f} kB",
    )


def one_site(folder: Path) -> Case:
    """All that is worked out for a site that is already read."""
    site = read_site(folder)

    def mine(_: int) -> Any:
        return work_out(site)

    def by_hand(_: int) -> Any:
        return notebook.whole_account(site, work_out(site)), None

    def extra(_: int) -> Any:
        return work_out(site)

    taken = in_turn([extra, by_hand], 1)
    share = (
        1 - taken[extra] / taken[by_hand]
    )  # the notebook starts from rates that were given to it
    return Case(
        what="a whole site without reading",
        size="72 surfaces, 12 dressings, 864 catches",
        mine=mine,
        others=(("a notebook: the ways above one after the other", by_hand, share, 400.0),),
        difference="",
    )
