"""Where on a surface the sand lies: area-weighted means of its catches beside the plain one.

Beside the plain mean of a surface's catches stand, from three catches up, the mean weighted by
Thiessen polygons and, where the site has catches enough for a variogram, the kriged mean of the
surface. They are witnesses: rates and balance stay on the random-effects model, which also knows
the surfaces without catches. A kriged u takes the variogram for known and is then a little small.
"""

from __future__ import annotations

import numpy as np
import shapely

from geosand.areas.register import AreaRegister
from geosand.columns import Bools, Floats, Geometries, Ints, Strings, columns, take
from geosand.errors import Finding
from geosand.rates.groups import group_mean_sd
from geosand.rates.kriging import (
    MOST_PLACES,
    Lattices,
    Variogram,
    gathered,
    lattice_kriging,
)
from geosand.rates.surface_rates import Rates
from geosand.rates.thiessen import thiessen_areas_m2, thiessen_means
from geosand.rates.variogram import site_variogram
from geosand.site.tables import Site

LEAST_ON_SURFACE = 3
MOST_PAIRS = 1_000_000  #: of catches, in the systems of one call
LATTICE = 12  #: a surface is stood for by the points of a lattice of 12 × 12 over its bounds
Found = tuple[Variogram | None, str]
FEW_CATCHES = f"fewer than {LEAST_ON_SURFACE} catches"


@columns
class Spatial:
    """One row a dressed surface; nan where it is not known, ``why_not`` says why."""

    catches: Ints  #: that count on it and have a place
    plain_rate_kg_m2: Floats  #: mean of its catches
    thiessen_rate_kg_m2: Floats
    largest_share: Floats  #: of the surface that a single catch stands for
    kriged_rate_kg_m2: Floats
    u_kriged_rate_kg_m2: Floats  #: of the surface's mean from its own catches alone
    why_not: Strings  #: why there is no kriged mean; "" where there is one
    variogram: Variogram | None  #: relative to the mean of each surface
    findings: tuple[Finding, ...]


def site_spatial(
    site: Site, areas: AreaRegister, rates: Rates, found: Found | None = None
) -> Spatial:
    """Area-weighted means of all dressed surfaces of a site, beside the plain ones.

    ``found`` is what ``variogram_of`` gives, where it is there already.
    """
    size = len(site.dressed)
    counted = counted_catches(rates)
    points, row = catch_places(site, areas)[counted], rates.assignment.dressed[counted]
    value = rates.each.rate_kg_m2[counted]
    n, plain, _ = group_mean_sd(value, row, size)
    enough = n >= LEAST_ON_SURFACE
    some = enough[row]
    thiessen, share = np.full(size, np.nan), np.full(size, np.nan)
    polygons = areas.owned_plane[site.dressed.surface]
    ground = thiessen_areas_m2(polygons, points[some], row[some])
    thiessen[enough], share[enough] = (
        column[enough] for column in thiessen_means(value[some], ground, row[some], size)
    )
    variogram, text = variogram_of(site, areas, rates) if found is None else found
    kriged, u_kriged = np.full(size, np.nan), np.full(size, np.nan)
    if variogram is not None:
        wanted = enough & (plain > 0)
        kriged, u_kriged = _kriged_means(
            polygons, site.dressed.surface, points, value, row, plain, wanted, variogram
        )
    why_not = np.where(enough, "" if variogram is not None else text, FEW_CATCHES)
    why_not = np.where(np.isnan(kriged) & (why_not == ""), "its catches hold no sand", why_not)
    return Spatial(
        catches=n,
        plain_rate_kg_m2=plain,
        thiessen_rate_kg_m2=thiessen,
        largest_share=share,
        kriged_rate_kg_m2=kriged,
        u_kriged_rate_kg_m2=u_kriged,
        why_not=why_not.astype(np.str_),
        variogram=variogram,
        findings=_findings(n, text, variogram),
    )


def _findings(catches: Ints, text: str, variogram: Variogram | None) -> tuple[Finding, ...]:
    """What is said of the variogram, and of surfaces with more catches than one system takes."""
    told = [text] if catches.any() else []
    many = int((catches > MOST_PLACES).sum())
    if many and variogram is not None:
        rows = (
            "one dressing of a surface has" if many == 1 else f"{many} dressings of surfaces have"
        )
        told.append(
            f"kriging: {rows} more than {MOST_PLACES:,} catches; those that lie together are taken"
            " as one, so that the u of the kriged mean can be a little too large"
        )
    return tuple(Finding(about="catches", text=one, topic="rate") for one in told)


def variogram_of(site: Site, areas: AreaRegister, rates: Rates) -> Found:
    """The variogram of a site's catches, and one sentence on it or on why there is none."""
    counted = counted_catches(rates)
    points, row = catch_places(site, areas)[counted], rates.assignment.dressed[counted]
    return site_variogram(points, rates.each.rate_kg_m2[counted], row)


def counted_catches(rates: Rates) -> Bools:
    """Which catches count on a dressed surface."""
    return rates.each.counts & (rates.assignment.dressed >= 0)


def catch_places(site: Site, areas: AreaRegister) -> Floats:
    """Places (catches, 2) in metres of the register's plane."""
    catches = site.catches
    return np.stack(areas.plane.forward(catches.lon_degree, catches.lat_degree), axis=1)


def lattices(polygons: Geometries) -> Lattices:
    """Points that stand for each polygon.

    A lattice over its bounds; points outside have weight 0. A polygon that no point of the lattice
    hits is stood for by one point inside it.
    """
    west, south, east, north = shapely.bounds(polygons).T[:, :, None]
    step = (np.arange(LATTICE) + 0.5) / LATTICE
    x, y = west + step * (east - west), south + step * (north - south)
    inside = shapely.contains_xy(polygons[:, None, None], x[:, None, :], y[:, :, None])
    missed = ~inside.any(axis=(1, 2))
    one = shapely.get_coordinates(shapely.point_on_surface(polygons[missed]))
    x[missed], y[missed] = one[:, :1], one[:, 1:]
    inside[missed, 0, 0] = True
    return Lattices(x, y, inside / inside.sum(axis=(1, 2), keepdims=True))


def _kriged_means(
    polygons: Geometries,
    surface: Ints,
    points: Floats,
    value: Floats,
    row: Ints,
    mean: Floats,
    wanted: Bools,
    variogram: Variogram,
) -> tuple[Floats, Floats]:
    """Kriged mean and its u of the ``wanted`` rows: one call for rows of as many catches."""
    kriged, u = np.full(len(polygons), np.nan), np.full(len(polygons), np.nan)
    n = np.bincount(row, minlength=len(polygons))
    rows = np.flatnonzero(wanted & ~shapely.is_empty(polygons))
    _, first, which = np.unique(surface[rows], return_index=True, return_inverse=True)
    block = lattices(polygons[rows[first]])
    within = block.within(variogram)
    lattice_of = np.full(len(polygons), -1, dtype=np.int64)
    lattice_of[rows] = which
    order = np.argsort(row, kind="stable")
    start = np.cumsum(n) - n
    for count in np.unique(n[rows]).tolist():
        alike = rows[n[rows] == count]
        at_once = MOST_PAIRS // count**2 if count <= MOST_PLACES else 1
        for mine in np.split(alike, range(at_once, len(alike), at_once)):
            taken = order[start[mine][:, None] + np.arange(count)]
            relative = value[taken] / mean[mine][:, None]
            places, together = points[taken], np.ones((1, 1))
            if count > MOST_PLACES:  # then it is one row
                one = gathered(places[0], relative[0], MOST_PLACES)
                places, relative, together = (column[None] for column in one)
            at = lattice_of[mine]
            found = lattice_kriging(
                places, relative, take(block, at), variogram, within=within[at], together=together
            )
            kriged[mine] = found.mean * mean[mine]
            u[mine] = np.sqrt(np.maximum(found.variance, 0.0)) * mean[mine]
    return kriged, u
