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
from geosand.rates.assignment import assign, surfaces_under
from geosand.rates.kriging import Variogram, block_kriging, within_blocks
from geosand.rates.random_effects import group_mean_sd
from geosand.rates.uniformity import uniformity
from geosand.results import Results, work_out
from tests.benchmarks import notebook
from tests.benchmarks.areas import in_turn
from tests.benchmarks.headings import headings
from tests.benchmarks.portfolio_generator import write_folders

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
        root = write_folders(Path(name), sites)
        folders = sorted(root.iterdir())
        done = [work_out(read_site(folder)) for folder in folders]
        cases = [
            assignment(done),
            surface_rates(done),
            balance(done[0]),
            draws(done[0]),
            rings(done[0]),
            kriging(),
            headings(),
            reading(folders[0]),
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


def assignment(done: list[Results]) -> Case:
    """Surface, zone and distances of each catch; spatial joins give the surface only."""
    sites = [(r.site, r.areas) for r in done]
    few = [notebook.projected(site) for site, _ in sites[:2]]
    points = [
        np.asarray(shapely.points(*a.plane.forward(s.catches.lon_degree, s.catches.lat_degree)))
        for s, a in sites
    ]

    def mine(_: int) -> list[Any]:
        return [assign(site, areas).surface for site, areas in sites]

    def boxes(_: int) -> list[Any]:
        return [
            shapely.STRtree(a.owned_plane).query(p) for (_, a), p in zip(sites, points, strict=True)
        ]

    def by_site(_: int) -> list[Any]:
        return [notebook.joined(c, s) for c, s in few]

    def by_dressing(_: int) -> list[Any]:
        return [notebook.joined_by_dressing(c, s) for c, s in few]

    found = [
        surfaces_under(p, np.zeros(len(p), int), a.owned_plane, s.surfaces.edition)
        for (s, a), p in zip(sites[:2], points[:2], strict=True)
    ]
    off = sum(int((a != b).sum()) for a, b in zip(found, by_site(0), strict=True))
    scale = len(sites) / len(few)
    return Case(
        what="assignment of catches",
        size=f"{len(sites)} sites of {len(sites[0][0].catches)} catches",
        mine=mine,
        others=(
            ("geopandas.sjoin, one a site", by_site, scale, 15.0),
            ("geopandas.sjoin, one a site and dressing", by_dressing, scale, 150.0),
        ),
        limit=("boxes only", boxes, 1.0),
        difference=f"{off} catches on another surface; geosand also tells zones and distances",
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


def draws(result: Results) -> Case:
    """10,000 draws of every input."""

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
        difference="geosand also draws depths and reads off intervals",
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
