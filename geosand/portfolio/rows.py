"""Results of sites laid end to end as columns of the portfolio's tables, one call for all."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely

from geosand.balance.account import NOT_CLOSED
from geosand.columns import Floats, Ints, Strings
from geosand.portfolio.arrow import named, well_known_binary
from geosand.portfolio.figures import (
    BOUNDS,
    MILLIMETRE,
    Head,
    Table,
    Work,
    all_rounded,
    middles,
    totals,
    work_of,
)
from geosand.portfolio.site_rows import sites_table
from geosand.results import Results
from geosand.season.ring_totals import laid_out
from geosand.site.tables import Site

LAID_OUT = ("strip_width_m", "reach_m", "collar_kg", "surrounds_kg", "farther_kg")


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """A table, and how many of its rows each site has: its rows stand together, site by site."""

    table: Table
    sizes: Ints


def tables_of(results: Results, head: Head) -> Mapping[str, Made]:
    """All tables by name; ``head`` has one entry a member of the site of the results."""
    work = work_of(results, head)
    shapes = _shapes(work)
    return {
        "balances": _made(work, _balances(work), work.of_dressing),
        "ledger": _made(work, _ledger(work, shapes), work.of_surface[results.ledger.row]),
        "areas": _made(work, _areas(work, shapes), work.of_surface[work.in_force]),
        "spreaders": _spreaders(work),
        "sites": _made(work, sites_table(work), np.arange(work.sites)),
    }


def _shapes(work: Work) -> Table:
    """What each surface in force owns, and its bounds; cut at 180° where a site runs on beyond it.

    So RFC 7946, 3.1.9, wants it.
    """
    owned, bounds = work.results.areas.owned[work.in_force], work.bounds
    beyond = np.flatnonzero(bounds[:, 2] > 180)
    if len(beyond):
        from geosand.formats.boundaries.place.antimeridian import cut

        owned, bounds = owned.copy(), bounds.copy()
        owned[beyond] = cut(owned[beyond])[0]
        bounds[beyond] = shapely.bounds(owned[beyond])
    return dict(zip(BOUNDS, bounds.T, strict=True)) | {"geometry": well_known_binary(owned)}


def _made(work: Work, table: Table, owner: Ints) -> Made:
    return Made(table=all_rounded(table), sizes=np.bincount(owner, minlength=work.sites))


def _balances(work: Work) -> Table:
    results, owner = work.results, work.of_dressing
    site, balance = results.site, results.balance
    dressings, methods, even = site.dressings, balance.methods, results.rates.uniformity
    beside = laid_out(balance)
    return {
        "site": named(work.head.keys, owner),
        "dressing": dressings.id,
        "date": dressings.date,
        "in_account": work.counted,
        "spreader": dressings.spreader,
        "setting": _settings(site),
        "sand": named(work.head.sands, dressings.sand),
        "catches": results.rates.model.catches,
        "surfaces_caught": results.rates.model.surfaces_caught,
        "dressed_area_m2": balance.dressed_area_m2,
        "spread_kg": balance.spread.value,
        "u_spread_kg": balance.spread.known_u(),
        "on_surfaces_kg": balance.on_surfaces.value,
        "u_on_surfaces_kg": balance.on_surfaces.known_u(),
        "overthrow_kg": balance.overthrow.value,
        "u_overthrow_kg": balance.overthrow.known_u(),
        "overthrow_low_kg": balance.interval.low,
        "overthrow_high_kg": balance.interval.high,
        "fraction": balance.fraction,
        "verdict": balance.verdict,
        **{name: beside[name] for name in LAID_OUT},
        "by_mass_kg_m2": methods.mass_rate_kg_m2,
        "by_volume_kg_m2": methods.volume_rate_kg_m2,
        "by_bulk_kg_m2": methods.bulk_rate_kg_m2,
        "cv_percent": even.cv * 100,
        "du_lq_percent": even.du_lq * 100,
        "cu_percent": even.cu * 100,
        **middles(work, owner),
    }


def _settings(site: Site) -> Strings:
    """The setting of each dressing; several, each once, where its rows differ."""
    setting, of = site.dressed.setting, site.dressed.dressing
    begun = np.flatnonzero(np.diff(of, prepend=-1))
    out = np.full(len(site.dressings), "", dtype=object)
    out[of[begun]] = setting[begun]
    for k in np.unique(of[setting != out[of]]).tolist():
        said = setting[np.searchsorted(of, k) : np.searchsorted(of, k, side="right")].tolist()
        out[k] = "; ".join(dict.fromkeys(text for text in said if text))
    return out.astype(np.str_)


def _ledger(work: Work, shapes: Table) -> Table:
    """Its rows are among those in force, which ``shapes`` are of."""
    results = work.results
    site, ledger, row = results.site, results.ledger, results.ledger.row
    surfaces, ground = site.surfaces, site.surfaces.ground[results.ledger.row]
    place = np.searchsorted(work.in_force, row)
    told = (ledger.dressings > 0) & np.isfinite(ledger.depth.value)
    basis = np.where(ledger.own, "own catches", "other surfaces")
    return {
        "site": named(work.head.keys, work.of_surface[row]),
        "surface": surfaces.id[row],
        "name": surfaces.name[row],
        "kind": surfaces.kind[row],
        "area_m2": results.areas.area_m2[row],
        "depth_mm": ledger.depth.value * MILLIMETRE,
        "u_depth_mm": ledger.depth.known_u() * MILLIMETRE,
        "low_mm": ledger.interval.low * MILLIMETRE,
        "high_mm": ledger.interval.high * MILLIMETRE,
        "target_mm": ledger.target_m * MILLIMETRE,
        "target_so_far_mm": ledger.target_so_far_m * MILLIMETRE,
        "shortfall_mm": ledger.shortfall_m * MILLIMETRE,
        "state": ledger.state,
        "probability": ledger.probability,
        "dressings": ledger.dressings,
        "basis": np.where(told, basis, ""),
        "all_measured": ledger.measured,
        "in_holes_mm": ledger.in_holes_m * MILLIMETRE,
        "surface_mm": ledger.surface_m * MILLIMETRE,
        "collar_mm": _ring_depth(results, "collar")[ground] * MILLIMETRE,
        "surrounds_mm": _ring_depth(results, "surrounds")[ground] * MILLIMETRE,
        **{name: column.take(place) for name, column in shapes.items()},
    }


def _ring_depth(results: Results, zone: str) -> Floats:
    """Depth (m) in a zone beside each surface id; nan where there is none."""
    rings = results.ledger.rings
    depth = np.full(len(results.site.ids), np.nan)
    mine = rings.zone == zone
    depth[rings.ground[mine]] = rings.depth_m[mine]
    return depth


def _areas(work: Work, shapes: Table) -> Table:
    """The boundaries in force."""
    register, row = work.results.areas, work.in_force
    surfaces = work.results.site.surfaces
    return {
        "site": named(work.head.keys, work.of_surface[row]),
        "surface": surfaces.id[row],
        "name": surfaces.name[row],
        "kind": surfaces.kind[row],
        "area_m2": register.area_m2[row],
        "u_area_m2": register.u_area_m2[row],
        "perimeter_m": register.perimeter_m[row],
        "drawn_area_m2": (register.drawn_m2 * register.ground_factor)[row],
        "equal_area_m2": register.owned_m2[row],
        "ground_factor": register.ground_factor[row],
        **shapes,
    }


def _spreaders(work: Work) -> Made:
    """One row a spreader of a site: the measured dressings of the account."""
    balance, rows = work.results.balance, work.measured
    names, spreader = np.unique(work.results.site.dressings.spreader[rows], return_inverse=True)
    many = max(len(names), 1)
    pairs, group = np.unique(work.of_dressing[rows] * many + spreader, return_inverse=True)
    open_ones = np.bincount(group, balance.verdict[rows] == NOT_CLOSED, len(pairs))
    table = {
        "site": named(work.head.keys, pairs // many),
        "spreader": named(names, pairs % many),
        "dressings": np.bincount(group, minlength=len(pairs)),
        "not_closing": open_ones.astype(np.int64),
        **totals(work, group, len(pairs)),
    }
    return _made(work, table, pairs // many)
