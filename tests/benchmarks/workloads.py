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

from geosand.areas.register import AreaRegister, area_register
from geosand.balance.account import mass_on_surfaces
from geosand.balance.spread import load_masses, spread_of
from geosand.balance.throwing import throw_of_dressings
from geosand.balance.witness import monte_carlo
from geosand.columns import take
from geosand.formats.result_files import write_result
from geosand.formats.site_folder import read_site
from geosand.mapping.fill import map_view
from geosand.mapping.page import map_page
from geosand.portfolio.folders import find_sites
from geosand.rates.assignment import assign
from geosand.rates.ground_under import surfaces_under
from geosand.rates.groups import in_order
from geosand.rates.kriging import Lattices, Variogram, lattice_kriging, systems
from geosand.rates.surface_rates import Rates, site_rates
from geosand.rates.uniformity import uniformity
from geosand.results import Results, work_out
from geosand.site.stack import stacked
from geosand.site.tables import Site
from tests.benchmarks import notebook
from tests.benchmarks.areas import in_turn
from tests.benchmarks.headings import headings
from tests.benchmarks.polygons import polygons
from tests.benchmarks.portfolio_generator import WHOLE, Extent, write_folders, write_set
from tests.benchmarks.scale import decoded

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
    agree: bool = True  #: whether both find the same, as far as they can; else something is broken


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


def kriging() -> Case:
    """Means of surfaces from four catches each, and their variances."""
    from pykrige.ok import OrdinaryKriging

    rng = np.random.default_rng(3)
    surfaces, dressings, catches, side = 18, 12, 4, 12
    blocks, share = surfaces * dressings, 20  # of the blocks PyKrige does so many in a round
    places = rng.uniform(0, 25, (blocks, catches, 2))
    values = rng.normal(1, 0.1, (blocks, catches))
    line = np.tile(np.linspace(1, 24, side), (surfaces, 1))
    ground = Lattices(line, line, np.full((surfaces, side, side), side**-2))
    of_block = np.tile(np.arange(surfaces), dressings)
    grid = [column.ravel() for column in np.meshgrid(line[0], line[0])]
    model = Variogram(model="exponential", nugget=0.002, sill=0.008, range_m=12.0)

    def mine(_: int) -> Any:
        within = ground.within(model)[of_block]
        return lattice_kriging(places, values, take(ground, of_block), model, within=within)

    def theirs(_: int) -> Any:
        found = []
        for k in range(share):
            known = OrdinaryKriging(
                *places[k].T,
                values[k],
                variogram_model="exponential",
                variogram_parameters={"psill": 0.008, "range": 36.0, "nugget": 0.002},
            )
            found.append([column.mean() for column in known.execute("points", *grid)])
        return np.array(found)

    def solve(_: int) -> Any:
        return np.linalg.solve(matrices, right)

    matrices = systems(places, model)
    right = rng.normal(size=(blocks, catches + 1, 1))
    ours, other = mine(0), theirs(0)
    off = np.abs(ours.mean[:share] - other[:, 0]).max()
    times = other[:, 1] / ours.variance[:share]
    return Case(
        what="block-kriged means and variances",
        size=f"{surfaces} surfaces of {side * side} points, {dressings} dressings",
        mine=mine,
        others=(("PyKrige at the points of each, averaged", theirs, blocks / share, 60.0),),
        limit=("solving the systems", solve, 1.0),
        difference=f"means up to {off:.1g}; PyKrige knows no blocks: the mean of its variances is"
        f" {times.min():.0f} to {times.max():.0f} times that of the block",
        agree=bool(off < 1e-9 and times.min() > 1),
    )


def reading(folder: Path) -> Case:
    """A site folder with its checks, beside reading the files with none."""
    from pyarrow import csv

    def mine(_: int) -> Any:
        return read_site(folder)

    def unchecked(_: int) -> Any:
        tables = [pd.read_csv(folder / f"{n}.csv") for n in ("catches", "dressings", "loads")]
        return geopandas.read_file(folder / "surfaces.geojson"), tables

    def decode(_: int) -> Any:
        tables = [csv.read_csv(folder / f"{n}.csv") for n in ("catches", "dressings", "loads")]
        return shapely.from_geojson((folder / "surfaces.geojson").read_bytes()), tables

    site, (frame, (catches, *_)) = mine(0), unchecked(0)
    return Case(
        what="reading a site folder",
        size=f"{len(site.surfaces)} surfaces, {len(site.catches)} catches",
        mine=mine,
        others=(("geopandas and pandas, nothing checked", unchecked, 1.0, None),),
        limit=("decoding by GEOS and Arrow", decode, 1.0),
        difference="geosand checks every cell and outline",
        agree=site.surfaces.id.tolist() == frame.id.tolist() and len(site.catches) == len(catches),
    )


def reading_a_set(folder: Path, sites: int) -> Case:
    """All sites of a set of Parquet files with their checks, beside reading the files with none."""
    source = find_sites(folder, folder / "out")
    keys = source.keys()

    def mine(_: int) -> Any:
        return [one.site for one in source.read(keys, {})]

    def unchecked(_: int) -> Any:
        return notebook.read_set(folder)

    read, (frame, *_) = mine(0), unchecked(0)
    return Case(
        what="reading a set of files",
        size=f"{sites} sites, GeoParquet and Parquet",
        mine=mine,
        others=(("geopandas.read_parquet and pandas, nothing checked", unchecked, 1.0, 1.7),),
        limit=("decoding by Arrow and GEOS", lambda _: decoded(folder), 1.0),
        difference="geosand checks every cell and outline, and makes each site's tables",
        agree=sum(len(site.surfaces) for site in read if site is not None) == len(frame),
    )


def a_map(result: Results, folder: Path) -> Case:
    """The page, written to a file."""
    ours, other = folder / "ours.html", folder / "other.html"

    def mine(_: int) -> Any:
        write_result(ours, map_page(map_view(result, "metric")).encode())

    def plain(_: int) -> Any:
        other.write_text(notebook.plain_map(result), encoding="utf-8")

    def write(_: int) -> Any:
        write_result(ours, page)

    mine(0)
    plain(0)
    page = ours.read_bytes()
    return Case(
        what="map written to a file",
        size="1 site, 12 dressings",
        mine=mine,
        others=(("folium, one GeoJson layer a dressing", plain, 1.0, None),),
        limit=("writing the page that is there", write, 1.0),
        difference=f"{len(page) / 1e3:.0f} kB against {other.stat().st_size / 1e3:.0f} kB; that of"
        " geosand is whole or not there at any moment",
    )


def one_site(folder: Path) -> Case:
    """All that is worked out for a site that is already read."""
    return _worked_out([read_site(folder)], "a whole site without reading", None)


def all_sites(folders: list[Path]) -> Case:
    """The same for many sites in one call, as in a portfolio."""
    sites = [read_site(folder) for folder in folders]
    return _worked_out(sites, "whole sites in one call, without reading", 400.0)


def _worked_out(sites: list[Site], what: str, aim: float | None) -> Case:
    site = sites[0]
    given = work_out(site)  # the notebooks start from rates, and the thin one from reaches

    def mine(_: int) -> Any:
        return work_out(stacked(sites) if len(sites) > 1 else site)

    def by_hand(_: int) -> Any:
        return notebook.whole_account(site, given)

    def season_by_hand(_: int) -> Any:
        return notebook.season_account(site, given)

    shapes = np.concatenate([s.surfaces.geometry[s.dressed.surface] for s in sites])

    def buffers(_: int) -> Any:
        return shapely.buffer(shapes, 1e-5), shapely.buffer(shapes, 5e-5)

    thin = "a notebook: the ways above one after the other, reaches given, no season"
    full = "a notebook that also solves the reach and keeps the season"
    depths, ledger = season_by_hand(0)[-1].set_index("id"), given.ledger
    theirs = depths.loc[site.surfaces.id[ledger.row]]
    off = np.abs(ledger.depth.value - theirs.depth_m.to_numpy()).max()
    u = np.median(theirs.u_depth_m.to_numpy() / ledger.depth.u())
    return Case(
        what=what,
        size=f"{len(sites)} of {len(site.surfaces)} surfaces, {len(site.dressings)} dressings,"
        f" {len(site.catches)} catches",
        mine=mine,
        others=(
            (thin, by_hand, float(len(sites)), aim),
            (full, season_by_hand, float(len(sites)), None),
        ),
        limit=("two buffers a dressed surface", buffers, 1.0),
        difference=f"depths up to {off * 1000:.1g} mm, their u {100 * u:.0f} % of geosand's, which"
        " knows that surfaces keep their deviations",
        agree=bool(off < 1e-9),
    )
