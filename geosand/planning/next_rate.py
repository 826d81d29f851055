"""The next dressing's rate on each surface: up to its target so far, or one depth for all."""

from __future__ import annotations

import numpy as np

from geosand.areas.register import AreaRegister
from geosand.columns import Bools, Floats, Ints, Strings, columns
from geosand.planning.choosing import Request
from geosand.rates.surface_rates import Rates
from geosand.season.ledger import NO_TARGET, OVER, Ledger
from geosand.site.tables import Site

NOT_KNOWN = "not measured, and no planned depth"
PLAN_COUNTS = "not measured: planned depth counts"
AT_TARGET, IF_LANDED = "at its target so far", "if what was not measured landed as planned"


@columns
class NextRates:
    """One row a chosen surface, those that get nothing too."""

    row: Ints  #: row of Surfaces
    shortfall_m: Floats  #: target so far − depth so far, of sand; nan = not known
    depth_m: Floats  #: nominal depth of product to spread: rate / bulk density; 0 = none
    rate_kg_m2: Floats  #: dry product
    area_m2: Floats
    perimeter_m: Floats
    mass_kg: Floats  #: rate · area
    in_holes_m: Floats  #: of the depth: sand fills holes first
    left_m: Floats  #: of the shortfall, what a cap leaves for later
    note: Strings  #: why none, why less, or what was taken for granted; "" = nothing to say


def next_rates(
    site: Site,
    register: AreaRegister,
    rates: Rates,
    ledger: Ledger,
    request: Request,
) -> NextRates:
    """Depth and rate of the next dressing on each surface of a request.

    ``depth_m`` None: each surface's shortfall against its target so far, over the sand's share of
    the product, never below zero. A number: that depth everywhere. Over-dressed surfaces get none
    either way. ``maximum_m`` caps a dressing; what would be less than ``minimum_m`` is left out,
    since a spreader can not be set that low. Rate = depth · bulk density, so that a dressing
    carried out exactly brings the ledger, which divides by the same density, onto the target.
    Sand fills holes of ``holes_take_m`` first.
    """
    row, sand, depth_m = request.row, request.sand, request.depth_m
    ground = site.surfaces.ground[row]
    shortfall, over, note = _standing(site, rates, ledger, ground)
    share = float(site.sands.sand_mass_fraction[sand])
    area = register.area_m2[row]
    if depth_m is None:
        wanted = np.nan_to_num(shortfall) / share
    else:
        wanted, note = np.full(len(row), depth_m), np.where(over, note, "")
    wanted = np.where((area > 0) & ~over, np.maximum(wanted, 0.0), 0.0)
    plain = np.isin(note, ["", PLAN_COUNTS]) & (wanted == 0)
    there = np.where(note == "", AT_TARGET, f"{AT_TARGET}, {IF_LANDED}")
    note = np.where(plain, np.where(area > 0, there, "owns no ground"), note)
    depth = wanted if request.maximum_m is None else np.minimum(wanted, request.maximum_m)
    capped = depth < wanted
    if request.minimum_m is not None:
        low = (depth > 0) & (depth < request.minimum_m)
        depth = np.where(low, 0.0, depth)
        note = np.where(low, "below the least depth asked for: left for later", note)
    note = _joined(note, capped & (depth > 0), "capped")
    density = float(rates.density.value[sand])
    rate = depth * density
    return NextRates(
        row=row,
        shortfall_m=shortfall,
        depth_m=depth,
        rate_kg_m2=rate,
        area_m2=area,
        perimeter_m=register.perimeter_m[row],
        mass_kg=rate * area,
        in_holes_m=np.minimum(depth, request.holes_take_m or 0.0),
        left_m=np.where(depth_m is None, (wanted - depth) * share, 0.0),
        note=note.astype(np.str_),
    )


def _standing(
    site: Site, rates: Rates, ledger: Ledger, ground: Ints
) -> tuple[Floats, Bools, Strings]:
    """Shortfall of sand (nan: not known), whether over-dressed, and a note, per chosen surface.

    Where a dressing of the season was not measured, its planned depth counts as carried out;
    without a planned depth the surface's depth so far is not known.
    """
    size = len(site.ids)
    shortfall = np.full(size, np.nan)
    at = site.surfaces.ground[ledger.row]
    # the ledger has no shortfall where a dressing was not measured; what was measured counts here
    shortfall[at] = ledger.target_so_far_m - np.nan_to_num(ledger.depth.value)
    over = np.zeros(size, dtype=bool)
    over[at] = ledger.state == OVER
    dressed = site.dressed
    blind = ledger.counted & np.isnan(rates.depth.value)
    of_row = site.surfaces.ground[dressed.surface]
    share = site.sands.sand_mass_fraction[site.dressings.sand[dressed.dressing]]
    assumed = np.bincount(of_row[blind], (dressed.planned_m * share)[blind], size)
    unmeasured = np.bincount(of_row[blind], minlength=size) > 0
    left = shortfall - np.where(unmeasured, assumed, 0.0)
    words = np.select(
        [np.isnan(shortfall), unmeasured & np.isnan(assumed), over, unmeasured],
        [NO_TARGET, NOT_KNOWN, OVER, PLAN_COUNTS],
        "",
    )
    return left[ground], over[ground], words[ground].astype(np.str_)


def _joined(note: Strings, where: Bools, word: str) -> Strings:
    """``word`` added to the notes of the rows ``where``."""
    both = np.char.add(np.char.add(note, "; "), word)
    return np.where(where, np.where(note == "", word, both), note).astype(np.str_)
