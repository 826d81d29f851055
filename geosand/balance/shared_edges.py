"""Edges between two dressed surfaces: counted in a strip width, though nothing is thrown over."""

from __future__ import annotations

import numpy as np
import shapely

from geosand.areas.register import AreaRegister
from geosand.columns import Floats, Strings, ratio
from geosand.rates.surface_rates import Rates
from geosand.site.tables import Site

GAP_M = 0.3  #: between two edges that are one


def shared_edges(site: Site, register: AreaRegister, rates: Rates, spreaders: Strings) -> Floats:
    """Share of each spreader's Σ rate·perimeter (k,) along edges with another dressed surface.

    An edge within 0.3 m of another surface of the same dressing is shared: drawn edges seldom meet.
    Nothing is thrown over there; a strip width spreads the overthrow over the whole perimeter, so
    that along the other edges the strip is wider by 1/(1 − share).
    """
    shared, total = np.zeros((2, len(spreaders)))
    known = np.nan_to_num(rates.rate.value)
    for d, name in enumerate(site.dressings.spreader.tolist()):
        mine = np.flatnonzero(site.dressed.dressing == d)
        row = np.flatnonzero(spreaders == name)
        if not len(row) or not len(mine):
            continue
        surface = site.dressed.surface[mine]
        shapes = register.owned_plane[surface]
        total[row] += (known[mine] * register.perimeter_m[surface]).sum()
        left, right = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=GAP_M)
        left, right = left[left != right], right[left != right]
        near = shapely.buffer(shapes[right], GAP_M, quad_segs=2)
        length = shapely.length(shapely.intersection(shapely.boundary(shapes[left]), near))
        shared[row] += (known[mine][left] * length).sum()
    return np.minimum(ratio(shared, total, empty=0.0), 1.0)
