"""What the rate may fall by along an edge where the catches lie on one side of that fall only."""

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
PLACED = 0.5  #: of the band: less accurate positions do not tell where in it a catch lies
_UNTOLD = 0.1 * U_TAPER  #: less than a tenth of the ground farther in is not worth a tray


def edge_taper(
    site: Site, register: AreaRegister, where: Assignment, counted: Counted
) -> tuple[Floats, list[Finding]]:
    """Relative effect per dressed row whose catches saw only the band along the edge or none of it.

    Catches in the middle alone tell too much where rates fall in the band, catches in the band
    alone too little: one source, with its sign, that cancels as far as either happens. By 15 % all
    over the band, which is the share s of a surface, the error is 0.15·s or 0.15·(s − 1). Evenly
    from 0 to 30 % at the edge, it is by catches at a mean distance x in a band of width h
    0.30·(M − (1 − x/h)), M = ∫ s(t·h) dt from 0 to 1; where x is known and all catches lie in the
    band, the lower of the two counts. A surface's middle or band is seen where one of its catches
    lies there, that of a surface without catches where any catch of its dressing does.
    """
    dressing, size, dressings = site.dressed.dressing, len(site.dressed), len(site.dressings)
    band = edge_bands_m(site)
    caught = np.bincount(counted.row, minlength=size) > 0
    sides = _sides_seen(site, register, where, counted, band)
    edge, middle = (
        np.where(caught, seen, (np.bincount(dressing, seen, dressings) > 0)[dressing])
        for seen in sides
    )
    rows = np.flatnonzero(edge != middle)
    share = _shares_in_band(site, register, where.insides, rows, band)
    effect = np.zeros(size)
    effect[rows] = U_TAPER * np.where(middle[rows], share, share - 1)
    found = [
        *_one_sided(site, caught & middle & ~edge, "no catch", "near the edge"),
        *_one_sided(site, caught & (effect < -_UNTOLD), "every catch", "farther in"),
    ]
    along = np.flatnonzero(edge & ~middle)
    if len(along):
        half = _shares_in_band(site, register, where.insides, along, band / 2)
        whole = share[np.searchsorted(rows, along)]
        mean = (4 * half + whole) / 3  # Simpson's rule, of 2M: exact for rectangles
        even = mean - 2 * _fall_seen(site, register, where, counted, along, band)
        effect[along] = np.fmin(effect[along], U_TAPER * even)
    return effect, found


def _one_sided(site: Site, rows: Bools, which: str, there: str) -> list[Finding]:
    """A finding for each dressing with such rows."""
    dressing, about = site.dressed.dressing, Teller(site, "rate")
    number = np.bincount(dressing[rows], minlength=len(site.dressings))
    unsaid = np.bincount(dressing[rows & np.isnan(site.dressed.swath_m)], minlength=len(number))
    findings, told = [], np.flatnonzero(number)
    for k, count in zip(told.tolist(), number[told].tolist(), strict=True):
        text = (
            f"on {count} {'surface' if count == 1 else 'surfaces'} {which} lies within"
            f" half a swath of the edge, where the rate falls: lay one tray {there}"
        )
        if unsaid[k]:
            text += f"; where no swath is said, {EDGE_BAND_M:g} m is used for half of it"
        findings.append(about.finding(k, text))
    return findings


def _sides_seen(
    site: Site, register: AreaRegister, where: Assignment, counted: Counted, band: Floats
) -> tuple[Bools, Bools]:
    """Whether a catch on each dressed row lies within its ``band`` (m) of the edge; and beyond."""
    size, owned, catch, row = len(site.dressed), register.owned_plane, counted.catch, counted.row
    taped = where.taped_inside_m[catch]
    edge = np.bincount(row[taped <= band[row]], minlength=size) > 0
    middle = np.bincount(row[taped > band[row]], minlength=size) > 0
    left = np.flatnonzero(np.isnan(taped) & ~(edge & middle)[row])
    catch, row = catch[left], row[left]
    surface = site.dressed.surface[row]
    inside = where.by_position[catch] == surface
    surely, maybe = where.depths.of(catch).within(band[row])
    edge[row[inside & surely]] = True
    middle[row[inside & ~surely & ~maybe]] = True
    open_ = np.flatnonzero((maybe | ~inside) & ~(edge & middle)[row])
    catch, row = catch[open_], row[open_]
    gap = edge_distances(where.x_m[catch], where.y_m[catch], owned, surface[open_])
    edge[row[gap <= band[row]]] = True
    middle[row[~(gap <= band[row])]] = True  # also where no distance can be told
    return edge, middle


def _fall_seen(
    site: Site,
    register: AreaRegister,
    where: Assignment,
    counted: Counted,
    rows: Ints,
    band: Floats,
) -> Floats:
    """Mean of 1 − x/h over the catches of ``rows`` of Dressed, all of which lie in the ``band``.

    Surfaces without catches have that of all catches of their dressing; nan where a distance x is
    neither taped nor well known by position.
    """
    dressing, size = site.dressed.dressing, len(band)
    mine = np.flatnonzero(np.isin(counted.row, rows))
    catch, row = counted.catch[mine], counted.row[mine]
    surface, gap = site.dressed.surface[row], where.taped_inside_m[catch]
    inside = where.by_position[catch] == surface
    far = edge_distances(where.x_m[catch], where.y_m[catch], register.owned_plane, surface)
    rough = np.isnan(gap) & (site.catches.position_accuracy_m[catch] > PLACED * band[row])
    gap = np.where(np.isnan(gap), np.where(inside, far, 0.0), gap)
    each = np.where(rough, np.nan, 1 - np.clip(gap / band[row], 0.0, 1.0))
    number = np.bincount(row, minlength=size)
    own = ratio(np.bincount(row, each, size), number)
    group, groups = dressing[row], len(site.dressings)
    others = ratio(np.bincount(group, each, groups), np.bincount(group, minlength=groups))
    return np.where(number == 0, others[dressing], own)[rows]


def _shares_in_band(
    site: Site, register: AreaRegister, insides: Insides, rows: Ints, band: Floats
) -> Floats:
    """Share of each dressed surface (of ``rows``) within its ``band`` (m) of its edge."""
    millimetres = np.round(band[rows] * 1000).astype(np.int64)
    key = (site.dressed.surface[rows] << 32) + millimetres  # once a surface and band
    _, first, which = np.unique(key, return_index=True, return_inverse=True)
    surface, owned = site.dressed.surface[rows[first]], register.owned_plane
    inner = inner_area_m2(owned, insides, surface, millimetres[first] / 1000)
    return (1 - ratio(inner, shapely.area(owned[surface]), empty=1.0))[which]


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
