"""Where the overthrow of a site's dressings lies: rings on the ground of their own boundaries."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely

from geosand.areas.overlay import united
from geosand.areas.register import AreaRegister
from geosand.areas.thinning import thinned
from geosand.balance.rings.tasks import sums
from geosand.balance.rings.throw_off import ThrowOff, throw_off
from geosand.columns import Geometries, Ints, ratio
from geosand.estimates import Estimates
from geosand.rates.catch_rows import rows_of_pairs
from geosand.rates.surface_rates import Rates
from geosand.site.tables import HAZARDS, Site


def throw_of_dressings(
    site: Site,
    register: AreaRegister,
    rates: Rates,
    group: Ints,
    dressing_of_group: Ints,
    lost: Estimates,
) -> ThrowOff:
    """Rings of every group, on the plane, with drawn collars and hazards of the same edition.

    Outlines of very many corners are thinned for the rings; strip widths are by those as drawn.
    """
    surfaces, dressed, members = site.surfaces, site.dressed, site.members
    rows = dressed.surface
    of_row, bounds, kind = site.of_surface[rows], lost.interval(), surfaces.kind[rows]
    ring_kind = (kind == "collar") | (kind == "surround")
    editions = site.dressings.edition[dressing_of_group]
    hazard = np.flatnonzero(np.logical_or.reduce([surfaces.kind == kind for kind in HAZARDS]))
    if len(hazard):
        hazard = hazard[np.isin(surfaces.edition[hazard], editions)]
    outlines = register.laid_plane
    throw = throw_off(
        surfaces=outlines[rows],
        dressing=dressed.dressing,
        group=group,
        rate_kg_m2=rates.rate.value,
        overthrow_kg=lost.value,
        low_kg=np.maximum(bounds.low, 0.0),
        high_kg=np.maximum(bounds.high, 0.0),
        collars=drawn_collars(site, register)[rows],
        collar_width_m=np.where(ring_kind, 0.0, members.collar_width_m[of_row]),
        surrounds_width_m=members.surrounds_width_m[of_row],
        hazards=outlines[hazard],
        hazard_kind=surfaces.kind[hazard],
        field=surfaces.edition[rows],
        hazard_field=surfaces.edition[hazard],
        number=rows,
    )
    # by the perimeters that are told: those of thinned outlines may be shorter
    told = register.perimeter_m[rows]
    edge = sums(group, rates.rate.value * told, len(lost.value))
    strip = np.where(np.isnan(throw.strip_width_m), np.nan, ratio(lost.value, edge))
    if outlines is not register.owned_plane:
        laid, drawn = map(shapely.get_num_coordinates, (outlines, register.owned_plane))
        told = np.where((laid < drawn)[rows], throw.perimeter_m, told)
    return replace(throw, strip_width_m=strip, perimeter_m=told)


def drawn_collars(site: Site, register: AreaRegister) -> Geometries:
    """The drawn collar (plane) around each surface, one row a surface; None where none is."""
    surfaces = site.surfaces
    out = np.full(len(surfaces), None, dtype=object)
    around = (surfaces.kind == "collar") & (surfaces.around >= 0)
    drawn = np.flatnonzero(around & ~shapely.is_empty(register.owned_plane))
    within = rows_of_pairs(
        surfaces.edition, surfaces.ground, surfaces.edition[drawn], surfaces.around[drawn]
    )
    drawn, within = drawn[within >= 0], within[within >= 0]
    out[within] = register.laid_plane[drawn]
    # of pieces together: thinned one by one they would part from the surface between them
    pieces = np.flatnonzero(np.bincount(within)[within] > 1)
    if len(pieces):
        collars, inner = united(register.owned_plane[drawn[pieces]], within[pieces])
        out[inner] = thinned(collars)
    return out
