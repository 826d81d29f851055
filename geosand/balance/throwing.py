"""Where the overthrow of a site's dressings lies: rings on the ground of their own boundaries."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any

import numpy as np
import shapely

from geosand.areas.register import AreaRegister
from geosand.balance.rings import ThrowOff, throw_off
from geosand.columns import Bools, Floats, Geometries, Ints, distinct
from geosand.estimates import Estimates
from geosand.rates.surface_rates import Rates
from geosand.site.tables import HAZARDS, Site

#: Columns of ThrowOff with one row a dressed surface; the others have one a group.
ROWS = ("collar_kg", "surrounds_kg", "farther_kg", "collar_area_m2", "surrounds_area_m2")


def throw_of_dressings(
    site: Site,
    register: AreaRegister,
    rates: Rates,
    group: Ints,
    dressing_of_group: Ints,
    lost: Estimates,
) -> ThrowOff:
    """Rings of every group, on the plane, with drawn collars and hazards of the same edition."""
    surfaces, dressed = site.surfaces, site.dressed
    # a surface wholly under others has no edge to throw over
    ground = ~shapely.is_empty(register.owned_plane[dressed.surface])
    edition_of_group = site.dressings.edition[dressing_of_group]
    parts = []
    for edition in distinct(edition_of_group) if len(edition_of_group) else [0]:
        kept = np.flatnonzero(ground & (surfaces.edition[dressed.surface] == edition))
        mine = edition_of_group == edition
        throw = _in_edition(site, register, rates, group, lost, kept, mine, int(edition))
        parts.append((kept, mine, throw))
    if len(parts) == 1:
        kept, _, throw = parts[0]
        return throw if len(kept) == len(dressed) else _with_bare_rows(throw, kept, len(dressed))
    return _joined([(mine, _with_bare_rows(t, kept, len(dressed))) for kept, mine, t in parts])


def _in_edition(
    site: Site,
    register: AreaRegister,
    rates: Rates,
    group: Ints,
    lost: Estimates,
    kept: Ints,
    mine: Bools,
    edition: int,
) -> ThrowOff:
    """Rings of the groups ``mine`` with the dressed rows ``kept``; no overthrow for the others."""
    surfaces = site.surfaces
    bounds = lost.interval()
    rows = site.dressed.surface[kept]
    ring_kind = np.isin(surfaces.kind[rows], ["collar", "surround"])
    hazard = np.isin(surfaces.kind, HAZARDS) & (surfaces.edition == edition)
    return throw_off(
        surfaces=register.owned_plane[rows],
        dressing=site.dressed.dressing[kept],
        group=group[kept],
        rate_kg_m2=rates.rate.value[kept],
        overthrow_kg=np.where(mine, lost.value, np.nan),
        low_kg=np.where(mine, np.maximum(bounds.low, 0.0), np.nan),
        high_kg=np.where(mine, np.maximum(bounds.high, 0.0), np.nan),
        collars=drawn_collars(site, register)[rows],
        collar_width_m=np.where(ring_kind, 0.0, site.settings.collar_width_m),
        surrounds_width_m=np.full(len(kept), site.settings.surrounds_width_m),
        hazards=register.owned_plane[hazard],
        hazard_kind=surfaces.kind[hazard],
    )


def _joined(parts: list[tuple[Bools, ThrowOff]]) -> ThrowOff:
    """One table from those of several editions: groups from their own, rows added up."""
    columns: dict[str, Any] = {}
    kinds = dict.fromkeys(kind for _, throw in parts for kind in throw.hazard_kg)
    for name in (f.name for f in fields(ThrowOff)):
        tables = [getattr(throw, name) for _, throw in parts]
        if name == "hazard_kg":
            empty = np.zeros(len(parts[0][1].collar_kg))
            columns[name] = {k: sum((t.get(k, empty) for t in tables), empty) for k in kinds}
        elif name in ROWS:
            columns[name] = np.sum(tables, axis=0)
        else:
            columns[name] = np.select([mine for mine, _ in parts], tables, np.nan)
    return ThrowOff(**columns)


def _with_bare_rows(throw: ThrowOff, kept: Ints, rows: int) -> ThrowOff:
    """The columns per surface with zeros for those that own no ground."""

    def filled(column: Floats) -> Floats:
        out = np.zeros(rows)
        out[kept] = column
        return out

    return replace(
        throw,
        collar_kg=filled(throw.collar_kg),
        surrounds_kg=filled(throw.surrounds_kg),
        farther_kg=filled(throw.farther_kg),
        collar_area_m2=filled(throw.collar_area_m2),
        surrounds_area_m2=filled(throw.surrounds_area_m2),
        hazard_kg={kind: filled(column) for kind, column in throw.hazard_kg.items()},
    )


def drawn_collars(site: Site, register: AreaRegister) -> Geometries:
    """The drawn collar (plane) around each surface, one row a surface; None where none is."""
    surfaces = site.surfaces
    out = np.full(len(surfaces), None, dtype=object)
    drawn = np.flatnonzero((surfaces.kind == "collar") & (surfaces.around >= 0))
    row = {
        (int(e), int(g)): k
        for k, (e, g) in enumerate(zip(surfaces.edition, surfaces.ground, strict=True))
    }
    for k in drawn:
        inner = row.get((int(surfaces.edition[k]), int(surfaces.around[k])), -1)
        shape = register.owned_plane[k]
        if inner >= 0 and not shapely.is_empty(shape):
            out[inner] = shape if out[inner] is None else shapely.union(out[inner], shape)
    return out
