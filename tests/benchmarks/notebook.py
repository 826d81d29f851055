"""What a careful person would write in a notebook with geopandas, for comparison only."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import folium
import geopandas
import numpy as np
import pandas as pd
from pyproj import Geod

from geosand.results import Results
from geosand.site.tables import Site


def frames(site: Site) -> tuple[geopandas.GeoDataFrame, geopandas.GeoDataFrame]:
    """Catches and surfaces in degrees."""
    catches, surfaces = site.catches, site.surfaces
    points = geopandas.points_from_xy(catches.lon_degree, catches.lat_degree, crs=4326)
    frame = pd.DataFrame({"dressing": catches.dressing})
    polygons = geopandas.GeoDataFrame(
        {"id": surfaces.id, "kind": surfaces.kind}, geometry=surfaces.geometry, crs=4326
    )
    return geopandas.GeoDataFrame(frame, geometry=points), polygons


def projected(site: Site) -> tuple[geopandas.GeoDataFrame, geopandas.GeoDataFrame]:
    """The same in metres."""
    catches, surfaces = frames(site)
    plane = surfaces.estimate_utm_crs()
    return catches.to_crs(plane), surfaces.to_crs(plane)


def joined(catches: geopandas.GeoDataFrame, surfaces: geopandas.GeoDataFrame) -> np.ndarray:
    """Row of the surface under each catch, −1 for none, the first where they overlap."""
    found = geopandas.sjoin(catches, surfaces, predicate="intersects", how="left")
    first = found.groupby(level=0).index_right.min()
    return first.fillna(-1).to_numpy().astype(int)


def joined_by_dressing(
    catches: geopandas.GeoDataFrame, surfaces: geopandas.GeoDataFrame
) -> list[np.ndarray]:
    """The same for each dressing by itself."""
    return [joined(part, surfaces) for _, part in catches.groupby("dressing")]


def joined_at_once(
    sites: list[tuple[geopandas.GeoDataFrame, geopandas.GeoDataFrame]],
) -> np.ndarray:
    """The same for all sites in one table, in degrees."""
    return joined(*(pd.concat(part, ignore_index=True) for part in zip(*sites, strict=True)))


def lowest_quarter(rates: pd.Series) -> float:
    """Mean of the lowest quarter, at least one."""
    return float(rates.nsmallest(max(1, round(len(rates) / 4))).mean())


def low_quarter(rates: pd.Series) -> tuple[float, float, float]:
    """Mean, sd and mean of the lowest quarter."""
    return rates.mean(), rates.std(), lowest_quarter(rates)


def balance_with_uncertainties(result: Results) -> list[Any]:
    """Overthrow of each dressing with shared inputs as correlated numbers."""
    from uncertainties import ufloat

    site, areas, rates = result.site, result.areas, result.rates
    tray, caught = ufloat(1, site.settings.u_tray), ufloat(1, site.settings.u_catch_efficiency)
    label, sampling = ufloat(1, 0.01), rates.rate.by_category()["sampling"]
    ground = [
        ufloat(a, u) for a, u in zip(areas.area_m2.tolist(), areas.u_area_m2.tolist(), strict=True)
    ]
    out = []
    for k in range(len(site.dressings)):
        loads = np.flatnonzero(site.loads.dressing == k)
        spread = sum(
            site.loads.count[i]
            * ufloat(site.loads.unit_mass_kg[i], site.loads.u_unit_mass_kg[i])
            * label
            / (1 + site.moistures.ratio[site.loads.moisture[i]])
            for i in loads
        )
        rows = np.flatnonzero(site.dressed.dressing == k)
        on = sum(
            ufloat(rates.rate.value[i], sampling[i])
            / (tray * caught)
            * ground[site.dressed.surface[i]]
            for i in rows
        )
        out.append(spread - on)
    for one in out:
        assert one.std_dev > 0
    return out


def fresh_draws(result: Results, draws: int, *, by_bag: bool) -> list[list[Any]]:
    """Each overthrow, mass on surfaces and depth, new draws for every input.

    Mean, u and bounds of each; the mass of each bag drawn by itself, or that of all of a load.
    """
    site, areas, rates = result.site, result.areas, result.rates
    rng = np.random.default_rng(1)
    sampling = rates.rate.by_category()["sampling"]
    freedom = rates.rate.degrees_of_freedom["sampling"]
    sand = site.dressings.sand[site.dressed.dressing]
    density, u_density = rates.density.value[sand], rates.density.u()[sand]
    overs, ons, depths = [], [], []
    for k in range(len(site.dressings)):
        on = np.zeros(draws)
        for i in np.flatnonzero(site.dressed.dressing == k):
            surface = site.dressed.surface[i]
            rate = rates.rate.value[i] + sampling[i] * rng.standard_t(freedom[i], draws)
            tray = rng.normal(1, site.settings.u_tray, draws)
            caught = rng.normal(1, site.settings.u_catch_efficiency, draws)
            ground = rng.normal(areas.area_m2[surface], areas.u_area_m2[surface], draws)
            on += rate / (tray * caught) * ground
            depth = rate / (tray * caught) / rng.normal(density[i], u_density[i], draws)
            depths.append(_read_off(depth))
        spread = np.zeros(draws)
        for i in np.flatnonzero(site.loads.dressing == k):
            bags = round(float(site.loads.count[i]))
            mass, u = site.loads.unit_mass_kg[i], site.loads.u_unit_mass_kg[i]
            if by_bag:
                load = rng.normal(mass, u, (bags, draws)).sum(axis=0)
            else:
                load = rng.normal(bags * mass, np.sqrt(bags) * u, draws)
            spread += load * rng.normal(1, site.loads.u_label[i], draws)
        overs.append(_read_off(spread - on))
        ons.append(_read_off(on))
    return [overs, ons, depths]


def _read_off(values: np.ndarray) -> tuple[float, ...]:
    return (values.mean(), values.std(ddof=1), *np.percentile(values, [2.5, 97.5]))


def overlaid_rings(result: Results) -> list[pd.Series]:
    """Sand by zone of each dressing whose reach is known already."""
    reach_of_group = np.nan_to_num(result.balance.throw.reach_m)
    reach = np.full(len(result.site.dressings), 0.5)
    np.maximum.at(reach, result.balance.dressing_of_group, reach_of_group)
    return [thrown_by_kind(*grounds, reach[k]) for k, grounds in enumerate(grounds_of(result))]


def solved_rings(result: Results, overthrow: list[Any]) -> list[pd.Series]:
    """The same with the reach at which the rings hold the overthrow, to 1 cm; none without one."""
    return [
        solved(dressed, plane, over.nominal_value)
        for (dressed, plane), over in zip(grounds_of(result), overthrow, strict=True)
        if over.nominal_value > 0
    ]


def solved(
    dressed: geopandas.GeoDataFrame, plane: geopandas.GeoDataFrame, overthrow_kg: float
) -> pd.Series:
    """Sand by zone at the reach that a bracketing root finder of SciPy comes to."""
    from scipy.optimize import brentq

    def lacking(reach: float) -> float:
        return float(thrown_by_kind(dressed, plane, reach).sum()) - overthrow_kg

    nearest, farthest = 0.1, 30.0
    try:
        reach = brentq(lacking, nearest, farthest, xtol=0.01)
    except ValueError:  # no sign changes between them
        reach = nearest if lacking(nearest) > 0 else farthest
    return thrown_by_kind(dressed, plane, reach)


def grounds_of(
    result: Results,
) -> list[tuple[geopandas.GeoDataFrame, geopandas.GeoDataFrame]]:
    """The dressed surfaces of each dressing with their rates, and all surfaces, in metres."""
    site, rates = result.site, result.rates
    _, surfaces = frames(site)
    plane = surfaces.to_crs(surfaces.estimate_utm_crs())
    rows = [np.flatnonzero(site.dressed.dressing == k) for k in range(len(site.dressings))]
    dressed = [
        plane.iloc[site.dressed.surface[mine]].assign(rate=rates.rate.value[mine]) for mine in rows
    ]
    return [(one, plane) for one in dressed]


def thrown_by_kind(
    dressed: geopandas.GeoDataFrame, plane: geopandas.GeoDataFrame, reach: float
) -> pd.Series:
    """Sand (kg) by kind of ground beside the dressed, whose rate falls to 0 within the reach.

    Half the rate in the whole ring, as beside a straight edge.
    """
    inside = dressed.union_all()
    ring = dressed.assign(geometry=dressed.buffer(max(reach, 0.1)).difference(inside))
    over = geopandas.overlay(
        ring[["rate", "geometry"]],
        plane[["kind", "geometry"]],
        how="identity",
        keep_geom_type=True,
    )
    return (over.rate * over.area / 2).groupby(over.kind.fillna("")).sum()


def season_ledger(result: Results) -> pd.DataFrame:
    """Depth of each surface so far and its u, tray size, efficiency and density shared."""
    from uncertainties import ufloat

    site, rates = result.site, result.rates
    tray, caught = ufloat(1, site.settings.u_tray), ufloat(1, site.settings.u_catch_efficiency)
    sampling, u_density = rates.rate.by_category()["sampling"], rates.density.u()
    density = [ufloat(v, u) for v, u in zip(rates.density.value, u_density, strict=True)]
    depth: dict[str, Any] = {}
    for i, k in enumerate(site.dressed.dressing.tolist()):
        name = str(site.surfaces.id[site.dressed.surface[i]])
        rate = ufloat(rates.rate.value[i], sampling[i]) / (tray * caught)
        depth[name] = depth.get(name, 0.0) + rate / density[site.dressings.sand[k]]
    rows = [(name, one.nominal_value, one.std_dev) for name, one in depth.items()]
    return pd.DataFrame(rows, columns=["id", "depth_m", "u_depth_m"])


def read_set(folder: Path) -> list[Any]:
    """The tables of a set of files, nothing checked."""
    names = ("sites", "dressings", "loads", "catches")
    tables = [pd.read_parquet(folder / f"{name}.parquet") for name in names]
    return [geopandas.read_parquet(folder / "surfaces.parquet"), *tables]


def plain_map(result: Results) -> str:
    """One layer a dressing, coloured by depth."""
    site, rates = result.site, result.rates
    _, surfaces = frames(site)
    bounds = surfaces.total_bounds
    page = folium.Map(location=[(bounds[1] + bounds[3]) / 2, (bounds[0] + bounds[2]) / 2])
    for k, name in enumerate(site.dressings.id.tolist()):
        rows = np.flatnonzero(site.dressed.dressing == k)
        dressed = surfaces.iloc[site.dressed.surface[rows]].assign(
            depth_mm=rates.depth.value[rows] * 1000
        )
        folium.GeoJson(
            dressed.to_json(),
            name=name,
            style_function=lambda f: {"fillOpacity": min(1.0, f["properties"]["depth_mm"])},
            tooltip=folium.GeoJsonTooltip(["id", "depth_mm"]),
        ).add_to(page)
    folium.LayerControl().add_to(page)
    return str(page.get_root().render())


def whole_account(site: Site, result: Results) -> tuple[Any, ...]:
    """Areas, joins, rates, balance and rings of one site, whose reach is given."""
    return (*up_to_balance(site, result), overlaid_rings(result))


def season_account(site: Site, result: Results) -> tuple[Any, ...]:
    """The same, with the reach solved, what lies beside summed by kind, and the season's ledger."""
    *others, overthrow = up_to_balance(site, result)
    beside = pd.concat(solved_rings(result, overthrow), axis=1).sum(axis=1)
    return (*others, overthrow, beside, season_ledger(result))


def up_to_balance(site: Site, result: Results) -> tuple[Any, ...]:
    """Areas, joins, rates and balance of one site."""
    catches, surfaces = frames(site)
    plane = surfaces.estimate_utm_crs()
    geod = Geod(ellps="WGS84")
    area = [abs(geod.geometry_area_perimeter(one)[0]) for one in surfaces.geometry]
    in_metres = surfaces.to_crs(plane)
    under = joined_by_dressing(catches.to_crs(plane), in_metres)
    each = result.rates.each.rate_kg_m2
    frame = pd.DataFrame({"row": result.rates.assignment.dressed, "rate": each})
    rates = frame.groupby("row").rate.apply(low_quarter)
    return area, in_metres.area, under, rates, balance_with_uncertainties(result)
