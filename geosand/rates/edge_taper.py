"""What the rate may fall short by along an edge that no catch has seen."""

from __future__ import annotations

import numpy as np
import shapely

from geosand.areas.overlay import widened
from geosand.areas.register import AreaRegister
from geosand.areas.thinning import thinned
from geosand.columns import Bools, Floats, Geometries, Ints, ratio
from geosand.errors import Finding
from geosand.rates.about_dressings import Teller
from geosand.rates.assignment import Assignment
from geosand.rates.catch_rows import Counted
from geosand.rates.edge_distance import EDGE_BAND_M, edge_bands_m, edge_distances
from geosand.rates.insides import Insides
from geosand.site.tables import Site

U_TAPER = 0.15  #: relative; of the share of a surface within half a swath of its edge


def edge_taper(
    site: Site, register: AreaRegister, where: Assignment, counted: Counted
) -> tuple[Floats, list[Finding]]:
    """Relative effect per dressed row where no catch saw the band along the edge.

    A surface is seen where one of its catches lies within half a swath of its edge; a surface
    without catches where any catch of its dressing does.
    """
    dressing, size, dressings = site.dressed.dressing, len(site.dressed), len(site.dressings)
    band = edge_bands_m(site)
    seen = _edge_seen(site, register, where, counted, band)
    caught = np.bincount(counted.row, minlength=size) > 0
    any_seen = np.bincount(dressing, seen, dressings) > 0
    any_caught = np.bincount(dressing, caught, dressings) > 0
    blind = np.where(caught, ~seen, ~any_seen[dressing]) & any_caught[dressing]
    effect = np.zeros(size)
    rows = np.flatnonzero(blind)
    effect[rows] = U_TAPER * _shares_in_band(site, register, where.insides, rows, band)
    number, about = np.bincount(dressing[blind & caught], minlength=dressings), Teller(site, "rate")
    unsaid = np.bincount(dressing[blind & caught & np.isnan(site.dressed.swath_m)], None, dressings)
    findings, told = [], np.flatnonzero(number)
    for k, count in zip(told.tolist(), number[told].tolist(), strict=True):
        text = (
            f"on {count} {'surface' if count == 1 else 'surfaces'} no catch lies within"
            " half a swath of the edge, where the rate falls: lay one tray near the edge"
        )
        if unsaid[k]:
            text += f"; where no swath is said, {EDGE_BAND_M:g} m is used for half of it"
        findings.append(about.finding(k, text))
    return effect, findings


def _edge_seen(
    site: Site, register: AreaRegister, where: Assignment, counted: Counted, band: Floats
) -> Bools:
    """Whether a catch on each dressed row lies within the row's ``band`` (m) of the edge."""
    size, owned, catch, row = len(site.dressed), register.owned_plane, counted.catch, counted.row
    taped = where.taped_inside_m[catch]
    seen = np.bincount(row[taped <= band[row]], minlength=size) > 0
    left = np.flatnonzero(np.isnan(taped) & ~seen[row])
    catch, row = catch[left], row[left]
    surface = site.dressed.surface[row]
    inside = where.by_position[catch] == surface
    surely, maybe = where.depths.of(catch).within(band[row])
    seen[row[inside & surely]] = True
    open_ = np.flatnonzero((maybe | ~inside) & ~seen[row])
    catch, row = catch[open_], row[open_]
    gap = edge_distances(where.x_m[catch], where.y_m[catch], owned, surface[open_])
    seen[row[gap <= band[row]]] = True
    return seen


def _shares_in_band(
    site: Site, register: AreaRegister, insides: Insides, rows: Ints, band: Floats
) -> Floats:
    """Share of each dressed surface (of ``rows``) within its ``band`` (m) of its edge."""
    millimetres = np.round(band[rows] * 1000).astype(np.int64)
    key = (site.dressed.surface[rows] << 32) + millimetres  # once a surface and band
    _, first, which = np.unique(key, return_index=True, return_inverse=True)
    surface, owned = site.dressed.surface[rows[first]], register.owned_plane
    inner = inner_area_m2(owned, insides, surface, millimetres[first] / 1000)
    share: Floats = (1 - ratio(inner, shapely.area(owned[surface]), empty=1.0))[which]
    return share


def inner_area_m2(polygons: Geometries, insides: Insides, row: Ints, distance_m: Floats) -> Floats:
    """Area of the polygon in each ``row`` (n,) farther from its edge than ``distance_m`` (n,).

    In closed form where the outline proves it, else that of a buffer of the thinned outline.
    """
    area = shapely.area(polygons[row]) - insides.band_area_m2(row, distance_m)
    rest = np.flatnonzero(np.isnan(area))
    if len(rest):
        drawn = polygons[row[rest]]
        shapes = thinned(drawn)
        lost = shapely.area(drawn) - shapely.area(shapes)
        area[rest] = shapely.area(widened(shapes, -distance_m[rest])) + lost
    return area
