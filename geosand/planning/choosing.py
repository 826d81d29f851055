"""What a plan is asked for: which surfaces, which sand, which spreader, in which order."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from geosand.areas.ownership import precedence_levels
from geosand.areas.register import AreaRegister
from geosand.columns import Floats, Ints, distinct
from geosand.planning.drawn_points import generator
from geosand.planning.route import group_by_group, middles, natural
from geosand.rates.surface_rates import Rates
from geosand.season.ledger import Ledger
from geosand.site.tables import HAZARDS, Site

FARTHEST_START_M = 50_000.0  #: beyond it longitude and latitude were swapped, or the sign is wrong
ROUTE, NEED, AS_NAMED = "route", "need", "as named"


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """What a person asks for; None where the records are to say it."""

    row: Ints  #: rows of Surfaces
    sand: int
    spreader: str
    depth_m: float | None  #: None = each surface to its target so far
    assurance: float
    maximum_m: float | None = None
    minimum_m: float | None = None
    holes_take_m: float | None = None  #: depth that fills the holes made before; None = no holes
    stock_kg: float | None = None
    load_kg: float | None = None  #: as weighed, of one hopper or bag
    speed_m_s: float | None = None
    swath_m: float | None = None
    avoid_last: bool = False
    order: str = ROUTE  #: of the work; AS_NAMED keeps that of ``row``
    start_m: tuple[float, float] | None = None  #: where the way begins, in the register's plane


def chosen_surfaces(site: Site, ledger: Ledger, words: Sequence[str]) -> Ints:
    """Rows of ``Surfaces`` in force that ``words`` (ids or kinds) name, in the order named.

    Without words: all surfaces of the ledger (dressed this season, or with a target), in the order
    of the boundary file. Raises ValueError naming the words that are neither, and hazards.
    """
    rows = site.in_force()
    if not words:
        kept = ledger.row[~np.isin(site.surfaces.kind[ledger.row], HAZARDS)]
        return np.sort(kept).astype(np.int64)
    ids, kinds = site.surfaces.id[rows], site.surfaces.kind[rows]
    known = set(ids.tolist()) | set(kinds.tolist())
    strange = [word for word in words if word not in known]
    if strange:
        allowed = ", ".join(dict.fromkeys(kinds.tolist()))
        raise ValueError(
            f"{', '.join(map(repr, strange))}: no surface's id and no kind of this site; allowed"
            f" are ids and the kinds {allowed}"
        )
    found = dict.fromkeys(
        int(row) for word in words for row in rows[(ids == word) | (kinds == word)].tolist()
    )
    chosen = np.array(list(found), dtype=np.int64)
    hazards = site.surfaces.id[chosen[np.isin(site.surfaces.kind[chosen], HAZARDS)]].tolist()
    if hazards:
        raise ValueError(f"{', '.join(hazards[:8])}: no turf ({', '.join(HAZARDS)}): name turf")
    return chosen


def names_single_surfaces(site: Site, words: Sequence[str]) -> bool:
    """Whether ``words`` name a surface by its id: their order is then the person's own."""
    return bool(np.isin(site.surfaces.id[site.in_force()], list(words)).any()) if words else False


def start_of(site: Site, register: AreaRegister, text: str | None) -> tuple[float, float] | None:
    """Place in the plane where work starts: of a surface's id or ``lon,lat``; None = not said.

    Raises ValueError for anything else, and for places more than 50 km off.
    """
    if text is None:
        return None
    rows = site.in_force()
    named = rows[site.surfaces.id[rows] == text.strip()]
    if len(named):
        x, y = middles(register.owned_plane[named[:1]])
        return float(x[0]), float(y[0])
    try:
        lon, lat = (float(part) for part in text.split(","))
    except ValueError:
        raise ValueError(
            f"{text!r}: write a surface's id, or longitude,latitude as in -3.51,55.02"
        ) from None
    if abs(lon) <= 180 and abs(lat) <= 89.9:
        x, y = register.plane.forward(np.array([lon]), np.array([lat]))
        if np.hypot(x[0], y[0]) < FARTHEST_START_M:
            return float(x[0]), float(y[0])
    raise ValueError(f"{text!r} is not near this site: write longitude,latitude in this order")


def in_working_order(
    site: Site,
    register: AreaRegister,
    row: Ints,
    start: tuple[float, float] | None,
    *,
    by_kind: bool = True,
) -> Ints:
    """Rows of ``Surfaces`` by kind (greens first), within a kind by a short way over them.

    The way begins at ``start``, else at the first id as people count (g2 before g10). Not
    ``by_kind``: one way over all. Surfaces that own no ground come last.
    """
    counted = sorted(row.tolist(), key=lambda r: natural(str(site.surfaces.id[r])))
    rows = np.array(counted, dtype=np.int64)
    x, y = middles(register.owned_plane[rows])
    levels = precedence_levels(site.surfaces.kind[rows])
    level = levels if by_kind else np.zeros_like(levels)
    grounded = np.isfinite(x)
    kinds = [np.flatnonzero(grounded & (level == k)) for k in distinct(level[grounded])]
    way = group_by_group(x, y, kinds, start)
    order: Ints = rows[np.concatenate([way, np.flatnonzero(~grounded)])]
    return order


def in_order_of_need(site: Site, ledger: Ledger, row: Ints) -> Ints:
    """Rows of ``Surfaces`` with greens first, then by the order of ownership of their kinds.

    Within a kind the one that is farthest behind its target so far comes first, and what was not
    measured or has no target last; equals stay in their order.
    """
    short = np.full(len(site.ids), np.nan)
    short[site.surfaces.ground[ledger.row]] = ledger.shortfall_m
    need = np.nan_to_num(short[site.surfaces.ground[row]], nan=-np.inf)
    order = np.argsort(-need, kind="stable")
    levels = precedence_levels(site.surfaces.kind[row][order])
    return row[order][np.argsort(levels, kind="stable")]


def least_caught(site: Site, rates: Rates, ledger: Ledger, row: Ints, most: int, seed: int) -> Ints:
    """Up to ``most`` of the ``row`` of Surfaces: those of whose depth so far catches tell least.

    First come those that had no catch of their own this season, then those whose few catches found
    them unlike the others, then those caught in the fewest dressings; equals in an order drawn with
    ``seed``. So trays move about, and each surface gets its own in turn.
    """
    mine = site.dressed.surface[ledger.counted & rates.own]
    times = np.bincount(site.surfaces.ground[mine], minlength=len(site.ids)).astype(float)
    unlike = site.surfaces.ground[ledger.row[np.isfinite(ledger.unlike.depth_m)]]
    times[unlike] = 0.5
    ground = site.surfaces.ground[row]
    ids = site.surfaces.id[row].tolist()
    drawn = np.array([generator(seed, name).random() for name in ids])
    return row[np.sort(np.lexsort((drawn, times[ground]))[:most])]


def chosen_sand(site: Site, ledger: Ledger, name: str | None) -> tuple[int, str]:
    """Row of ``Sands`` and a sentence where the choice was not the person's own.

    Without a name: the only sand, else that of the last dressing. Raises ValueError.
    """
    names = site.sands.name.tolist()
    if name is not None:
        if name not in names:
            raise ValueError(f"{name!r} is no sand of this site; allowed: {', '.join(names)}")
        return names.index(name), ""
    if len(names) == 1:
        return 0, ""
    last = _last(site, ledger)
    if last < 0:
        raise ValueError(f"no dressing tells which sand is meant; choose of: {', '.join(names)}")
    sand = int(site.dressings.sand[last])
    return sand, f"the sand is that of the last dressing, {site.dressings.id[last]}: {names[sand]}"


def chosen_spreader(site: Site, ledger: Ledger, name: str | None) -> tuple[str, str]:
    """A spreader's name ("" where none was ever named) and a sentence as above."""
    names = [n for n in dict.fromkeys(site.dressings.spreader.tolist()) if n]
    if name is not None:
        if name not in names:
            allowed = ", ".join(names) or "none: dressings.csv has no spreader"
            raise ValueError(f"{name!r} has no dressing on record; allowed: {allowed}")
        return name, ""
    last = _last(site, ledger)
    found = str(site.dressings.spreader[last]) if last >= 0 else ""
    if len(names) < 2:
        return found, ""
    return found, f"the spreader is that of the last dressing: {found or 'not named'}"


def last_figures(site: Site, column: Floats, spreader: str, day: np.datetime64) -> Floats:
    """Figures of the last dressing of a spreader that says any; ``column`` has a row as Dressed."""
    d, of = site.dressings, site.dressed.dressing
    rows = np.flatnonzero(((d.spreader == spreader) & (d.date <= day))[of] & np.isfinite(column))
    return column[rows[of[rows] == of[rows[-1]]]] if len(rows) else column[:0]


def last_figure(figures: Floats) -> float:
    """The figure of most surfaces; nan of none.

    >>> last_figure(np.array([5.0, 7.5, 7.5]))
    7.5
    """
    values, count = np.unique(figures, return_counts=True)
    return float(values[count.argmax()]) if len(values) else math.nan


def _last(site: Site, ledger: Ledger) -> int:
    """Row of the newest dressing up to the ledger's day; -1 where there is none."""
    rows = np.flatnonzero(site.dressings.date <= ledger.as_of)
    return int(rows[-1]) if len(rows) else -1
