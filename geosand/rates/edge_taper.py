"""What the rate may fall short by along an edge that no catch has seen."""

from __future__ import annotations

import numpy as np
import shapely

from geosand.areas.outline_bearings import bends_of, outlines_of, sums_by_ring
from geosand.areas.register import AreaRegister
from geosand.columns import Bools, Floats, Geometries, Ints, ratio
from geosand.errors import Finding
from geosand.rates.about_dressings import Teller
from geosand.rates.assignment import Assignment
from geosand.rates.catch_rows import Counted
from geosand.rates.edge_distance import edge_distances, within_edge
from geosand.site.tables import Site

U_TAPER = 0.15  #: relative; of the share of a surface within half a swath of its edge
EDGE_BAND_M = 1.0  #: half a swath where the swath is unknown


def edge_taper(
    site: Site, register: AreaRegister, where: Assignment, counted: Counted
) -> tuple[Floats, list[Finding]]:
    """Relative effect per dressed row where no catch saw the band along the edge.

    A surface is seen where one of its catches lies within half a swath of its edge; a surface
    without catches where any catch of its dressing does.
    """
    dressing, size, dressings = site.dressed.dressing, len(site.dressed), len(site.dressings)
    swath = site.dressings.swath_m[dressing]
    band = np.where(np.isnan(swath), EDGE_BAND_M, swath / 2)
    seen = _edge_seen(site, register, where, counted, band)
    caught = np.bincount(counted.row, minlength=size) > 0
    any_seen = np.bincount(dressing, seen, dressings) > 0
    any_caught = np.bincount(dressing, caught, dressings) > 0
    blind = np.where(caught, ~seen, ~any_seen[dressing]) & any_caught[dressing]
    effect = np.zeros(size)
    effect[blind] = U_TAPER * _shares_in_band(site, register, np.flatnonzero(blind), band)
    number, about = np.bincount(dressing[blind & caught], minlength=dressings), Teller(site, "rate")
    findings = []
    for k in np.flatnonzero(number).tolist():
        text = (
            f"on {number[k]} {'surface' if number[k] == 1 else 'surfaces'} no catch lies within"
            " half a swath of the edge, where the rate falls: lay one tray near the edge"
        )
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
    x, y, surface = where.x_m[catch], where.y_m[catch], site.dressed.surface[row]
    inside = where.by_position[catch] == surface
    surely, maybe = within_edge(x, y, owned, surface, inside, band[row])
    seen[row[surely]] = True
    open_ = np.flatnonzero(maybe & ~seen[row])
    gap = edge_distances(x[open_], y[open_], owned, surface[open_])
    seen[row[open_[gap <= band[row[open_]]]]] = True
    return seen


def _shares_in_band(site: Site, register: AreaRegister, rows: Ints, band: Floats) -> Floats:
    """Share of each dressed surface (of ``rows``) within its ``band`` (m) of its edge."""
    millimetres = np.round(band[rows] * 1000).astype(np.int64)
    key = (site.dressed.surface[rows] << 32) + millimetres  # once a surface and band
    _, first, which = np.unique(key, return_index=True, return_inverse=True)
    shapes = register.owned_plane[site.dressed.surface[rows[first]]]
    inner = inner_area_m2(shapes, millimetres[first] / 1000)
    share: Floats = (1 - ratio(inner, shapely.area(shapes), empty=1.0))[which]
    return share


def inner_area_m2(polygons: Geometries, distance_m: Floats) -> Floats:
    """Area of each polygon (n,) that is farther from its edge than ``distance_m`` (n,).

    In closed form where the outline proves it, else that of a buffer.
    """
    area = shapely.area(polygons) - _band_area_m2(polygons, distance_m)
    rest = np.flatnonzero(np.isnan(area))
    if len(rest):
        inner = shapely.buffer(polygons[rest], -distance_m[rest], quad_segs=16)
        area[rest] = shapely.area(inner)
    return area


def _band_area_m2(polygons: Geometries, distance_m: Floats) -> Floats:
    """Area within the distance of the edge; nan where no formula is proved.

    The edge moved inwards by d encloses P·d less d²·tan(α/2) at each corner that turns by α, plus
    d²·α/2 at concave ones, where it rounds them. That is the band so long as every edge moved
    inwards still has a length and keeps some place on its left: edges grow shorter steadily, so
    that both hold all the way; and what goes once round a place, always anticlockwise, does not
    meet itself.
    """
    result = np.full(len(polygons), np.nan)
    outlines, corners = outlines_of(polygons)
    bends, ring = bends_of(outlines, corners), outlines.of
    alone = np.bincount(ring, minlength=len(polygons))[ring] == 1
    d = distance_m[ring]
    at_corner = np.repeat(d, outlines.edges + 1)
    convex = np.maximum(bends.half_tan, 0.0)
    shrunk = at_corner * (convex + np.maximum(bends.half_before, 0.0))
    stays = (bends.length_m > shrunk) & (bends.from_middle_m > at_corner)
    stays[outlines.first + outlines.edges] = True  # the first corner once more
    proved = alone & (sums_by_ring(outlines, ~stays * 1.0) == 0)
    rounded = np.flatnonzero(bends.half_tan < 0)
    lost = np.zeros(len(convex))
    lost[rounded] = np.arctan(-bends.half_tan[rounded])
    around = sums_by_ring(outlines, bends.length_m)
    band = d * (around + d * sums_by_ring(outlines, lost - convex))
    result[ring[proved]] = band[proved]
    return result
