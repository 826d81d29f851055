"""Edges between two dressed surfaces: counted in a strip width, though nothing is thrown over."""

from __future__ import annotations

import numpy as np
import shapely

from geosand.areas.near_pairs import near_pairs
from geosand.areas.register import AreaRegister
from geosand.balance.ring_tasks import sums
from geosand.columns import Floats, Geometries, Ints, Strings, distinct, ragged, ratio
from geosand.rates.catch_rows import rows_of_pairs
from geosand.rates.surface_rates import Rates
from geosand.site.tables import Site

GAP_M = 0.3  #: between two edges that are one


def shared_edges(site: Site, register: AreaRegister, rates: Rates, spreaders: Strings) -> Floats:
    """Share of each spreader's Σ rate·perimeter (k,) along edges with another dressed surface.

    An edge within 0.3 m of another surface of the same dressing is shared: drawn edges seldom meet.
    Nothing is thrown over there; a strip width spreads the overthrow over the whole perimeter, so
    that along the other edges the strip is wider by 1/(1 − share).
    """
    dressing, surface = site.dressed.dressing, site.dressed.surface
    known = np.nan_to_num(rates.rate.value)
    lie = distinct(surface)
    one, other, length_m = _common(register.owned_plane[lie], site.surfaces.edition[lie])
    first, last = np.searchsorted(lie[one], np.stack((surface, surface + 1)))
    row, pair = ragged(first, last - first)
    # each pair is measured once, however often both are dressed together
    together = rows_of_pairs(dressing, surface, dressing[row], lie[other[pair]]) >= 0
    shared = sums(row[together], length_m[pair[together]], len(surface))
    total = np.zeros((2, len(spreaders)))
    for k, name in enumerate(spreaders.tolist()):
        mine = site.dressings.spreader[dressing] == name
        for column, edge_m in enumerate((shared, register.perimeter_m[surface])):
            total[column, k] = (known[mine] * edge_m[mine]).sum()
    return np.minimum(ratio(total[0], total[1], empty=0.0), 1.0)


def _common(shapes: Geometries, edition: Ints) -> tuple[Ints, Ints, Floats]:
    """Pairs of shapes near each other, both ways round and sorted; the edge of the first there."""
    bounds = shapely.bounds(shapes)
    one, other = near_pairs(bounds, edition, bounds, edition, GAP_M)
    near = (one != other) & shapely.dwithin(shapes[one], shapes[other], GAP_M)
    one, other = one[near], other[near]
    beside = shapely.buffer(shapes, GAP_M, quad_segs=2)
    edges = shapely.intersection(shapely.boundary(shapes)[one], beside[other])
    return one, other, shapely.length(edges)
