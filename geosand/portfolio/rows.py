"""Results of one site, or of many laid end to end, as columns of the portfolio's tables.

Every figure is rounded to nine digits, so that a table does not depend on which sites were worked
out together.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from geosand.balance.account import NOT_CLOSED, NOT_MEASURED, OVERTHROW, UNDECIDED
from geosand.columns import Bools, Dates, Floats, Ints, Strings, ratio
from geosand.estimates import Estimates
from geosand.results import Results
from geosand.season.ledger import ON_TARGET, OVER, UNDER
from geosand.season.totals import NEW_EACH_TIME

MILLIMETRE = 1000.0
DIGITS = 9
SKETCH = 64  #: a sketch is this many units wide and high
#: one letter a number from 0 to 63 in a sketch
LETTERS = np.frombuffer(
    b"0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz-_", dtype=np.uint8
)
STATES = ("", UNDER, ON_TARGET, OVER)  #: of the dots of a sketch; the first is all else

#: columns of the table ``sites`` with the kind of their values, in order
SITE_COLUMNS = {
    **dict.fromkeys(("site", "name", "status"), "U"),
    **dict.fromkeys(("lon", "lat"), "f"),
    **dict.fromkeys(("season_start", "season_end", "as_of"), "M"),
    **dict.fromkeys(("surfaces", "catches", "dressings", "measured"), "i"),
    **dict.fromkeys(("thrown_over", "not_closing", "undecided"), "i"),
    **dict.fromkeys(("spread_kg", "on_surfaces_kg", "overthrow_kg", "u_overthrow_kg"), "f"),
    **dict.fromkeys(("overthrow_low_kg", "overthrow_high_kg", "fraction", "u_fraction"), "f"),
    **dict.fromkeys(("strip_width_m", "u_strip_width_m"), "f"),
    "spreaders": "U",
    **dict.fromkeys(("under_dressed", "on_target", "over_dressed"), "i"),
    "furthest_behind": "U",
    "largest_shortfall_mm": "f",
    "findings": "i",
    **dict.fromkeys(("faults", "sketch"), "U"),
}

Column = NDArray[Any]
Table = dict[str, Column]


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """What the tables say of each site beside its figures; one entry a site."""

    keys: Strings  #: folder, or the value of the column ``site``
    names: Strings
    season_start: Dates
    season_end: Dates
    as_of: Dates
    findings: Ints  #: how many


def rounded(column: Floats) -> Floats:
    """The column to nine significant digits.

    >>> rounded(np.array([1 / 3, 12345678912.0, 0.0, np.nan])).tolist()
    [0.333333333, 12345678900.0, 0.0, nan]
    """
    values = np.asarray(column, dtype=np.float64)
    usable = np.isfinite(values) & (values != 0)
    magnitude = np.floor(np.log10(np.abs(np.where(usable, values, 1.0))))
    power = np.clip(DIGITS - 1 - magnitude, -300, 300)
    up, down = 10.0 ** np.maximum(power, 0), 10.0 ** np.maximum(-power, 0)
    return np.where(usable, np.rint(values * up / down) / up * down, values)


def tables_of(
    results: Results, head: Head, of_surface: Ints, of_dressing: Ints
) -> Mapping[str, Table]:
    """All tables by name; ``of_surface``, ``of_dressing``: which entry of ``head`` a row is of."""
    middle = _middles(results, of_surface, len(head.keys))
    dressed = np.bincount(
        results.site.dressed.dressing, results.ledger.counted, len(results.site.dressings)
    )
    counted = dressed > 0
    edge = _edges_kg_m(results)
    return {
        "balances": _balances(results, head, of_dressing, middle, counted),
        "ledger": _ledger(results, head, of_surface),
        "areas": _areas(results, head, of_surface),
        "spreaders": _spreaders(results, head, of_dressing, counted, edge),
        "sites": _sites(results, head, of_surface, of_dressing, middle, counted, edge),
    }


def _middles(results: Results, of_surface: Ints, sites: int) -> Floats:
    """Longitude and latitude (sites, 2) of the middle of each site's bounds."""
    bounds = shapely.bounds(results.site.surfaces.geometry)
    low, high = np.full((sites, 2), np.inf), np.full((sites, 2), -np.inf)
    np.minimum.at(low, of_surface, bounds[:, :2])
    np.maximum.at(high, of_surface, bounds[:, 2:])
    middle: Floats = np.round((low + high) / 2, 6)
    return middle


def _edges_kg_m(results: Results) -> Floats:
    """Σ rate · perimeter of each dressing: the mass in a strip one metre wide at full rate."""
    dressed = results.site.dressed
    edge = results.rates.rate.value * results.areas.perimeter_m[dressed.surface]
    return np.bincount(dressed.dressing, edge, len(results.site.dressings)).astype(np.float64)


def _balances(results: Results, head: Head, owner: Ints, middle: Floats, counted: Bools) -> Table:
    site, balance = results.site, results.balance
    dressings, methods, even = site.dressings, balance.methods, results.rates.uniformity
    return {
        "site": head.keys[owner],
        "dressing": dressings.id,
        "date": dressings.date,
        "in_account": counted,
        "spreader": dressings.spreader,
        "setting": dressings.setting,
        "sand": site.sands.name[dressings.sand],
        "catches": results.rates.model.catches,
        "surfaces_caught": results.rates.model.surfaces_caught,
        "dressed_area_m2": rounded(balance.dressed_area_m2),
        "spread_kg": rounded(balance.spread.value),
        "u_spread_kg": rounded(_known(balance.spread)),
        "on_surfaces_kg": rounded(balance.on_surfaces.value),
        "u_on_surfaces_kg": rounded(_known(balance.on_surfaces)),
        "overthrow_kg": rounded(balance.overthrow.value),
        "u_overthrow_kg": rounded(_known(balance.overthrow)),
        "overthrow_low_kg": rounded(balance.interval.low),
        "overthrow_high_kg": rounded(balance.interval.high),
        "fraction": rounded(balance.fraction),
        "verdict": balance.verdict,
        **_thrown(results),
        "by_mass_kg_m2": rounded(methods.mass_rate_kg_m2),
        "by_volume_kg_m2": rounded(methods.volume_rate_kg_m2),
        "by_bulk_kg_m2": rounded(methods.bulk_rate_kg_m2),
        "cv_percent": rounded(even.cv * 100),
        "du_lq_percent": rounded(even.du_lq * 100),
        "cu_percent": rounded(even.cu * 100),
        "lon": middle[owner, 0],
        "lat": middle[owner, 1],
    }


def _known(table: Estimates) -> Floats:
    """u of each row, nan where the value is."""
    return np.where(np.isfinite(table.value), table.u(), np.nan)


def _thrown(results: Results) -> Table:
    """Strip width, reach and where the overthrow lies; nan where there is none above zero.

    Of several groups of a dressing those that threw sand over, weighted by it.
    """
    balance, throw, size = results.balance, results.balance.throw, len(results.balance.verdict)
    held = throw.group_collar_kg + throw.group_surrounds_kg + throw.group_farther_kg
    over = np.nan_to_num(held) > 0
    group, kept = balance.dressing_of_group[over], held[over]

    def total(column: Floats) -> Floats:
        return np.bincount(group, column[over], size).astype(np.float64)

    mass = np.bincount(group, kept, size)
    positive = (np.nan_to_num(balance.overthrow.value) > 0) & (mass > 0)
    with np.errstate(invalid="ignore", divide="ignore"):
        columns = {
            "strip_width_m": mass / total(held / throw.strip_width_m),
            "reach_m": total(held * throw.reach_m) / mass,
            "collar_kg": total(throw.group_collar_kg),
            "surrounds_kg": total(throw.group_surrounds_kg),
            "farther_kg": total(throw.group_farther_kg),
        }
    dust = 1e-9 * mass  # rounding, not sand
    cleaned = {k: np.where(np.abs(v) < dust, 0.0, v) for k, v in columns.items() if "kg" in k}
    return {k: rounded(np.where(positive, v, np.nan)) for k, v in (columns | cleaned).items()}


def _ledger(results: Results, head: Head, of_surface: Ints) -> Table:
    site, ledger, row = results.site, results.ledger, results.ledger.row
    surfaces, ground = site.surfaces, site.surfaces.ground[results.ledger.row]
    told = (ledger.dressings > 0) & np.isfinite(ledger.depth.value)
    basis = np.where(ledger.own, "own catches", "other surfaces")
    return {
        "site": head.keys[of_surface[row]],
        "surface": surfaces.id[row],
        "name": surfaces.name[row],
        "kind": surfaces.kind[row],
        "area_m2": rounded(results.areas.area_m2[row]),
        "depth_mm": rounded(ledger.depth.value * MILLIMETRE),
        "u_depth_mm": rounded(_known(ledger.depth) * MILLIMETRE),
        "low_mm": rounded(ledger.interval.low * MILLIMETRE),
        "high_mm": rounded(ledger.interval.high * MILLIMETRE),
        "target_mm": rounded(ledger.target_m * MILLIMETRE),
        "target_so_far_mm": rounded(ledger.target_so_far_m * MILLIMETRE),
        "shortfall_mm": rounded(ledger.shortfall_m * MILLIMETRE),
        "state": ledger.state,
        "probability": rounded(ledger.probability),
        "dressings": ledger.dressings,
        "basis": np.where(told, basis, ""),
        "all_measured": ledger.measured,
        "in_holes_mm": rounded(ledger.in_holes_m * MILLIMETRE),
        "surface_mm": rounded(ledger.surface_m * MILLIMETRE),
        "collar_mm": rounded(_ring_depth(results, "collar")[ground] * MILLIMETRE),
        "surrounds_mm": rounded(_ring_depth(results, "surrounds")[ground] * MILLIMETRE),
        "geometry": results.areas.owned[row],
    }


def _ring_depth(results: Results, zone: str) -> Floats:
    """Depth (m) in a zone beside each surface id; nan where there is none."""
    rings = results.ledger.rings
    depth = np.full(len(results.site.ids), np.nan)
    mine = rings.zone == zone
    depth[rings.ground[mine]] = rings.depth_m[mine]
    return depth


def _areas(results: Results, head: Head, of_surface: Ints) -> Table:
    """The boundaries in force."""
    register, row = results.areas, results.site.in_force()
    surfaces = results.site.surfaces
    return {
        "site": head.keys[of_surface[row]],
        "surface": surfaces.id[row],
        "name": surfaces.name[row],
        "kind": surfaces.kind[row],
        "area_m2": rounded(register.area_m2[row]),
        "u_area_m2": rounded(register.u_area_m2[row]),
        "perimeter_m": rounded(register.perimeter_m[row]),
        "drawn_area_m2": rounded((register.drawn_m2 * register.ground_factor)[row]),
        "equal_area_m2": rounded(register.owned_m2[row]),
        "ground_factor": rounded(register.ground_factor[row]),
        "geometry": register.owned[row],
    }


def _totals(results: Results, rows: Ints, group: Ints, groups: int) -> dict[str, Column]:
    """Spread, landed and thrown over by group of dressings, sources that persist kept together."""
    balance = results.balance
    spread, on, over = (
        table.rows(rows).group_sum(group, groups, independent=NEW_EACH_TIME)
        for table in (balance.spread, balance.on_surfaces, balance.overthrow)
    )
    some = np.bincount(group, minlength=groups) > 0
    bounds = over.interval()
    columns = {
        "spread_kg": spread.value,
        "on_surfaces_kg": on.value,
        "overthrow_kg": over.value,
        "u_overthrow_kg": over.u(),
        "overthrow_low_kg": bounds.low,
        "overthrow_high_kg": bounds.high,
        "fraction": ratio(over.value, spread.value),
        "u_fraction": ratio(over.u(), spread.value),
    }
    return {name: rounded(np.where(some, column, np.nan)) for name, column in columns.items()}


def _spreaders(results: Results, head: Head, owner: Ints, counted: Bools, edge: Floats) -> Table:
    """One row a spreader of a site: the measured dressings of the account."""
    balance = results.balance
    rows = np.flatnonzero(counted & np.isfinite(balance.overthrow.value))
    names, spreader = np.unique(results.site.dressings.spreader[rows], return_inverse=True)
    pairs, group = np.unique(owner[rows] * max(len(names), 1) + spreader, return_inverse=True)
    totals = _totals(results, rows, group, len(pairs))
    strip = np.bincount(group, edge[rows], len(pairs)).astype(np.float64)
    verdict = balance.verdict[rows]
    return {
        "site": head.keys[pairs // max(len(names), 1)],
        "spreader": names[pairs % max(len(names), 1)] if len(names) else names,
        "dressings": np.bincount(group, minlength=len(pairs)),
        "not_closing": np.bincount(group, verdict == NOT_CLOSED, len(pairs)).astype(np.int64),
        **totals,
        "edge_kg_m": rounded(strip),
        "strip_width_m": rounded(ratio(totals["overthrow_kg"], strip)),
        "u_strip_width_m": rounded(ratio(totals["u_overthrow_kg"], strip)),
    }


def _sites(
    results: Results,
    head: Head,
    of_surface: Ints,
    of_dressing: Ints,
    middle: Floats,
    counted: Bools,
    edge: Floats,
) -> Table:
    site, balance, ledger, size = results.site, results.balance, results.ledger, len(head.keys)
    rows = np.flatnonzero(counted & np.isfinite(balance.overthrow.value))
    totals = _totals(results, rows, of_dressing[rows], size)
    strip = np.bincount(of_dressing[rows], edge[rows], size)
    of_ledger = of_surface[ledger.row]

    def dressings_with(mask: Bools) -> Ints:
        return np.bincount(of_dressing[mask], minlength=size)

    def surfaces_with(state: str) -> Ints:
        return np.bincount(of_ledger[ledger.state == state], minlength=size)

    worst, furthest = _furthest_behind(results, of_ledger, size)
    columns = {
        "site": head.keys,
        "name": head.names,
        "status": np.full(size, "worked out"),
        "lon": middle[:, 0],
        "lat": middle[:, 1],
        "season_start": head.season_start,
        "season_end": head.season_end,
        "as_of": head.as_of,
        "surfaces": np.bincount(of_surface[site.in_force()], minlength=size),
        "catches": np.bincount(of_dressing[site.catches.dressing], minlength=size),
        "dressings": dressings_with(counted),
        "measured": dressings_with(counted & (balance.verdict != NOT_MEASURED)),
        "thrown_over": dressings_with(counted & (balance.verdict == OVERTHROW)),
        "not_closing": dressings_with(counted & (balance.verdict == NOT_CLOSED)),
        "undecided": dressings_with(counted & (balance.verdict == UNDECIDED)),
        **totals,
        "strip_width_m": rounded(ratio(totals["overthrow_kg"], strip)),
        "u_strip_width_m": rounded(ratio(totals["u_overthrow_kg"], strip)),
        "spreaders": _spreader_names(site.dressings.spreader[rows], of_dressing[rows], size),
        "under_dressed": surfaces_with(UNDER),
        "on_target": surfaces_with(ON_TARGET),
        "over_dressed": surfaces_with(OVER),
        "furthest_behind": furthest,
        "largest_shortfall_mm": worst,
        "findings": head.findings,
        "faults": np.full(size, ""),
        "sketch": _sketches(results, of_surface, middle),
    }
    return {name: columns[name] for name in SITE_COLUMNS}


def _furthest_behind(results: Results, owner: Ints, size: int) -> tuple[Floats, Strings]:
    """Largest shortfall (mm) among a site's under-dressed surfaces, and which surface that is."""
    ledger = results.ledger
    behind = np.flatnonzero(ledger.state == UNDER)
    order = behind[np.lexsort((-ledger.shortfall_m[behind], owner[behind]))]
    first = order[np.flatnonzero(np.diff(owner[order], prepend=-1))]
    worst = np.full(size, np.nan)
    worst[owner[first]] = ledger.shortfall_m[first] * MILLIMETRE
    names = results.site.surfaces.id[ledger.row[first]]
    furthest = np.full(size, "", dtype=names.dtype if len(names) else "U1")
    furthest[owner[first]] = names
    return rounded(worst), furthest


def _spreader_names(spreader: Strings, owner: Ints, size: int) -> Strings:
    """The spreaders of each site's measured dressings in one text."""
    pairs = sorted({(int(o), s) for o, s in zip(owner, spreader.tolist(), strict=True) if s})
    texts: list[list[str]] = [[] for _ in range(size)]
    for o, name in pairs:
        texts[o].append(name)
    return np.array([", ".join(names) for names in texts], dtype=np.str_)


def _sketches(results: Results, of_surface: Ints, middle: Floats) -> Strings:
    """Each site as dots, four letters a surface in force: east, south, radius, state.

    A course is a kilometre wide and a green twenty metres: at the size of a stamp each is a dot.
    """
    site, register, size = results.site, results.areas, len(middle)
    row = site.in_force()
    row = row[register.area_m2[row] > 0]
    state = np.zeros(len(site.surfaces), dtype=np.int64)
    for code, name in enumerate(STATES[1:], start=1):
        state[results.ledger.row[results.ledger.state == name]] = code
    order = np.lexsort((row, state[row], of_surface[row]))
    row = row[order]
    owner, place = of_surface[row], shapely.bounds(register.owned[row])
    away = (place[:, :2] + place[:, 2:]) / 2 - middle[owner]
    xy = away * np.column_stack((np.cos(np.radians(middle[owner, 1])), np.full(len(row), -1.0)))
    low, high = np.full((size, 2), np.inf), np.full((size, 2), -np.inf)
    np.minimum.at(low, owner, xy)
    np.maximum.at(high, owner, xy)
    centre, width = (low + high) / 2, np.maximum((high - low).max(axis=1), 1e-6)
    unit = (SKETCH - 8) / width
    dots = np.rint((xy - centre[owner]) * unit[owner, None] + SKETCH / 2)
    radius = np.sqrt(register.area_m2[row] / np.pi) / 111_320 * unit[owner]
    numbers = np.column_stack((dots, np.rint(radius * 4), state[row]))
    letters = LETTERS[np.clip(numbers, 0, 63).astype(np.int64)]
    cuts = np.cumsum(np.bincount(owner, minlength=size))[:-1]
    return np.array([b.tobytes().decode() for b in np.split(letters, cuts)], dtype=np.str_)


def refused_row(key: str, name: str, status: str, faults: Sequence[str]) -> Table:
    """The row of ``sites`` of one that could not be worked out."""
    texts = {"site": key, "name": name, "status": status, "faults": "\n".join(faults)}
    nothing = {
        "U": np.array([""], dtype=np.str_),
        "f": np.array([np.nan]),
        "i": np.zeros(1, dtype=np.int64),
        "M": np.array(["NaT"], dtype="datetime64[D]"),
    }
    return {
        column: np.array([texts[column]], dtype=np.str_) if column in texts else nothing[kind]
        for column, kind in SITE_COLUMNS.items()
    }
