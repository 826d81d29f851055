"""From a site's results to what the map shows: surfaces, rings, catches and the words."""

from __future__ import annotations

from typing import Literal

import numpy as np
import shapely

from geosand.areas.ownership import precedence_ranks
from geosand.balance.rings.drawing import ring_geometries
from geosand.balance.throwing import drawn_collars
from geosand.columns import Geometries, Ints, ratio
from geosand.mapping.fill_periods import dressing_period, known, season_period
from geosand.mapping.view import (
    SYSTEMS,
    MapCatch,
    MapField,
    MapPass,
    MapRing,
    MapSurface,
    MapView,
    Said,
    System,
)
from geosand.planning.dressing import NextDressing, dressing_passes
from geosand.rates.depth_field import DepthField, depth_field
from geosand.rates.spatial import site_spatial, variogram_of
from geosand.reports.depth_fields import cell_side_m
from geosand.reports.first import look_first, next_step
from geosand.reports.words import merged_findings, names_apart, only_dressings, written_day
from geosand.results import Results


def map_view(results: Results, units: System, passes: tuple[MapPass, ...] = ()) -> MapView:
    """Everything the map of one site shows; ``passes`` those of its next dressing."""
    site, ledger = results.site, results.ledger
    bounds = (
        results.rates.depth.interval(floor=0.0),
        results.balance.surface_mass.interval(floor=0.0),
    )
    dressings = range(len(site.dressings))
    end = "" if site.season_end is None else f" to {written_day(str(site.season_end))}"
    return MapView(
        title=site.name,
        subtitle=f"Season {written_day(str(site.season_start))}{end}",
        as_of=written_day(str(ledger.as_of)),
        units=units,
        surfaces=_surfaces(results),
        rings=_rings(results),
        periods=(
            season_period(results),
            *(dressing_period(results, k, *bounds) for k in dressings),
        ),
        catches=_catches(results),
        fields=map_fields(results),
        passes=passes,
        next_step=_next(results) if dressings else "",
        first=_in_both(*(look_first(results, each, linked=True) for each in SYSTEMS)),
        findings=_in_both(*(_findings(results, each) for each in SYSTEMS)),
        inputs=dict(site.inputs),
    )


def _next(results: Results) -> Said:
    return {each: next_step(results, each, linked=True) for each in SYSTEMS}


def _surfaces(results: Results) -> tuple[MapSurface, ...]:
    """The boundaries in force that own ground."""
    surfaces, areas = results.site.surfaces, results.areas
    called = names_apart(surfaces)
    return tuple(
        MapSurface(
            id=str(surfaces.id[row]),
            name=str(called[row]),
            kind=str(surfaces.kind[row]),
            geometry=areas.owned[row],
            area_m2=known(areas.area_m2[row]),
            u_area_m2=known(areas.u_area_m2[row]),
            target_m=known(surfaces.target_m[row]),
        )
        for row in _atlas_order(results)
        if not areas.owned[row].is_empty
    )


def _findings(results: Results, units: System) -> list[str]:
    """What is worth knowing, before the defaults that were used; alike ones in one line."""
    told = [finding._asdict() for finding in results.findings]
    return merged_findings(told, units, dressings=only_dressings(results.site))


def _in_both(metric: list[str], us: list[str]) -> tuple[Said, ...]:
    """The same lines in both systems of units."""
    return tuple({"metric": one, "us": other} for one, other in zip(metric, us, strict=True))


def _atlas_order(results: Results) -> Ints:
    """Rows of the boundaries in force, greens first, then the order of ownership."""
    site = results.site
    rows = site.in_force()
    return rows[
        np.argsort(precedence_ranks(site.surfaces.kind[rows], np.zeros(len(rows))), kind="stable")
    ]


def _rings(results: Results) -> tuple[MapRing, ...]:
    """Collar and surrounds of every surface, as drawn for the last dressing that has them."""
    site, areas = results.site, results.areas
    rows = site.dressed.surface
    ring_kind = np.isin(site.surfaces.kind[rows], ["collar", "surround"])
    drawn = ring_geometries(
        results.balance.throw,
        surfaces=areas.laid_plane[rows],
        dressing=site.dressed.dressing,
        collars=drawn_collars(site, areas)[rows],
        collar_width_m=np.where(ring_kind, 0.0, site.settings.collar_width_m),
        surrounds_width_m=np.full(len(rows), site.settings.surrounds_width_m),
    )
    found: dict[str, MapRing] = {}
    zones: tuple[tuple[Literal["collar", "surrounds"], Geometries], ...] = (
        ("collar", drawn.collar),
        ("surrounds", drawn.surrounds),
    )
    for zone, column in zones:
        there = np.flatnonzero([shape is not None for shape in column])
        # rows are in order of date: the last one lies on the newest boundaries
        last = dict(zip(site.surfaces.id[rows[there]].tolist(), there.tolist(), strict=True))
        shapes = areas.plane.to_lonlat(column[list(last.values())])
        for name, shape in zip(last, shapes, strict=True):
            key = f"{name}/{zone}"
            found[key] = MapRing(id=key, surface=name, zone=zone, geometry=shape)
    return tuple(found.values())


def _catches(results: Results) -> tuple[MapCatch, ...]:
    """Every catch, with what it holds above or below the estimate for its surface that day."""
    site, rates = results.site, results.rates
    dressed = rates.assignment.dressed
    estimate = np.append(rates.rate.value, np.nan)[dressed]
    residual = ratio(rates.each.rate_kg_m2, estimate) - 1
    out = []
    for k in range(len(site.catches)):
        surface = rates.assignment.surface[k]
        note = str(site.catches.reject_reason[k]) or str(site.catches.note[k])
        out.append(
            MapCatch(
                id=str(site.catches.id[k]),
                dressing=str(site.dressings.id[site.catches.dressing[k]]),
                lon=float(site.catches.lon_degree[k]),
                lat=float(site.catches.lat_degree[k]),
                surface=str(site.surfaces.id[surface]) if surface >= 0 else None,
                depth_m=known(rates.catch_depth_m[k]),
                rate_kg_m2=known(rates.each.rate_kg_m2[k]),
                residual=known(residual[k]),
                used=bool(site.catches.used[k]),
                note=note,
            )
        )
    return tuple(out)


#: Of all fields of a map, so that a long season stays a small file; cells are wider beyond.
MOST_OF_A_MAP = 12_000


def map_fields(results: Results) -> tuple[MapField, ...]:
    """The fields of all dressed surfaces with catches enough; none without a variogram."""
    site, areas, rates = results.site, results.areas, results.rates
    found = variogram_of(site, areas, rates)
    if found[0] is None:
        return ()
    spatial = site_spatial(site, areas, rates, found)
    rows = np.flatnonzero(np.isfinite(spatial.kriged_rate_kg_m2))
    cell_m = cell_side_m(results, rows, MOST_OF_A_MAP)
    return tuple(
        _field(results, row, depth_field(site, areas, rates, spatial, row, cell_m=cell_m))
        for row in rows.tolist()
    )


def _field(results: Results, row: int, field: DepthField) -> MapField:
    """The cells of one dressed surface as a grid from its south-western corner."""
    site, plane, cell = results.site, results.areas.plane, field.cell_m
    surface = site.dressed.surface[row]
    x, y = field.x_m.min() - cell / 2, field.y_m.min() - cell / 2
    column, line = (
        np.floor((at - start) / cell).astype(np.int64)
        for at, start in ((field.x_m, x), (field.y_m, y))
    )
    width, height = int(column.max()) + 1, int(line.max()) + 1
    lon, lat = plane.inverse(np.array([x, x + width * cell]), np.array([y, y + height * cell]))
    middle = shapely.get_x(shapely.centroid(results.areas.owned[surface]))
    lon = lon + 360.0 * np.rint((middle - lon) / 360.0)
    depth, u = np.full((2, width * height), np.nan)
    depth[line * width + column] = field.depth_m
    u[line * width + column] = field.u_depth_m
    return MapField(
        surface=str(site.surfaces.id[surface]),
        dressing=str(site.dressings.id[site.dressed.dressing[row]]),
        cell_m=cell,
        west=float(lon[0]),
        south=float(lat[0]),
        east=float(lon[1]),
        north=float(lat[1]),
        width=width,
        depth_m=depth,
        u_depth_m=u,
    )


def map_passes(results: Results, plan: NextDressing) -> tuple[MapPass, ...]:
    """Best-heading passes of each surface that gets sand; none where no swath is known."""
    headings = plan.headings
    if headings is None:
        return ()
    lines, owner = dressing_passes(results.areas, plan)
    ids = results.site.surfaces.id[plan.rates.row]
    return tuple(
        MapPass(
            surface=str(ids[k]),
            heading_degree=float(headings.heading_degree[k]),
            lines=shapely.multilinestrings(lines[owner == k]),
        )
        for k in np.unique(owner).tolist()
    )
