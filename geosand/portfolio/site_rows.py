"""The table ``sites``: one row a site with its sums and a sketch, or why it was not worked out."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise

import numpy as np

from geosand.balance.account import NOT_CLOSED, NOT_MEASURED, OVERTHROW, UNDECIDED
from geosand.columns import Bools, Floats, Ints
from geosand.portfolio.figures import (
    MILLIMETRE,
    Table,
    Work,
    extremes,
    middles,
    rounded,
    totals,
)
from geosand.season.ledger import NO_TARGET, ON_TARGET, OVER, UNDER
from geosand.season.ledger import NOT_MEASURED as DEPTH_NOT_KNOWN

METRES_PER_DEGREE = 111_320
SKETCH = 64  #: a sketch is this many units wide and high
#: one letter a number from 0 to 63 in a sketch
LETTERS = np.frombuffer(
    b"0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz-_", dtype=np.uint8
)
STATES = ("", UNDER, ON_TARGET, OVER)  #: of the dots of a sketch; the first is all else

#: columns that count a site's surfaces with a target or sand: each is in one of them
IN_STATE = {
    "under_dressed": UNDER,
    "on_target": ON_TARGET,
    "over_dressed": OVER,
    "depth_not_known": DEPTH_NOT_KNOWN,
    "no_target": NO_TARGET,
}
#: columns with the kind of their values, in order
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
    **dict.fromkeys(IN_STATE, "i"),
    "furthest_behind": "U",
    "largest_shortfall_mm": "f",
    "findings": "i",
    **dict.fromkeys(("faults", "sketch"), "U"),
}


def sites_table(work: Work) -> Table:
    """One row a site that was worked out."""
    head, results, size = work.head, work.results, work.sites
    balance, ledger, of_dressing = results.balance, results.ledger, work.of_dressing
    of_ledger, counted = work.of_surface[ledger.row], work.counted

    def dressings_with(mask: Bools) -> Ints:
        return np.bincount(of_dressing[mask], minlength=size)

    def surfaces_with(state: str) -> Ints:
        return np.bincount(of_ledger[ledger.state == state], minlength=size)

    columns = {
        "site": head.keys,
        "name": head.names,
        "status": np.full(size, "worked out"),
        **middles(work, np.arange(size)),
        "season_start": results.site.members.season_start,
        "season_end": results.site.members.season_end,
        "as_of": ledger.days,
        "surfaces": np.bincount(work.of_surface[work.in_force], minlength=size),
        "catches": np.bincount(of_dressing[results.site.catches.dressing], minlength=size),
        "dressings": dressings_with(counted),
        "measured": dressings_with(counted & (balance.verdict != NOT_MEASURED)),
        "thrown_over": dressings_with(counted & (balance.verdict == OVERTHROW)),
        "not_closing": dressings_with(counted & (balance.verdict == NOT_CLOSED)),
        "undecided": dressings_with(counted & (balance.verdict == UNDECIDED)),
        **totals(work, of_dressing[work.measured], size),
        "spreaders": _spreader_names(work),
        **{name: surfaces_with(state) for name, state in IN_STATE.items()},
        **_furthest_behind(work, of_ledger),
        "findings": head.findings,
        "faults": np.full(size, ""),
        "sketch": _sketches(work),
    }
    return {name: columns[name] for name in SITE_COLUMNS}


def _furthest_behind(work: Work, owner: Ints) -> Table:
    """Largest shortfall (mm) among a site's under-dressed surfaces, and which surface that is.

    Of several that are as far behind the first by name, in whatever order they stand.
    """
    ledger, behind = work.results.ledger, np.flatnonzero(work.results.ledger.state == UNDER)
    ids = work.results.site.surfaces.id[ledger.row]
    short_mm = rounded(ledger.shortfall_m * MILLIMETRE)
    order = behind[np.lexsort((ids[behind], -short_mm[behind], owner[behind]))]
    first = order[np.flatnonzero(np.diff(owner[order], prepend=-1))]
    worst = np.full(work.sites, np.nan)
    worst[owner[first]] = short_mm[first]
    furthest = np.full(work.sites, "", dtype=ids.dtype)
    furthest[owner[first]] = ids[first]
    return {"furthest_behind": furthest, "largest_shortfall_mm": worst}


def _spreader_names(work: Work) -> list[str]:
    """The spreaders of each site's measured dressings in one text."""
    spreader = work.results.site.dressings.spreader[work.measured]
    said = spreader != ""
    names, which = np.unique(spreader[said], return_inverse=True)
    many = max(len(names), 1)
    pairs = np.unique(work.of_dressing[work.measured][said] * many + which)
    ends = np.searchsorted(pairs // many, np.arange(1, work.sites))
    return [", ".join(some) for some in np.split(names[pairs % many], ends)]


def _sketches(work: Work) -> list[str]:
    """Each site as dots, four letters a surface in force: east, south, radius, state.

    A course is a kilometre wide and a green twenty metres: at the size of a stamp each is a dot.
    """
    register, ledger = work.results.areas, work.results.ledger
    place = np.flatnonzero(register.area_m2[work.in_force] > 0)
    state, told = np.zeros(len(work.of_surface), dtype=np.int64), ledger.told
    for code, name in enumerate(STATES[1:], start=1):
        state[ledger.row[told == name]] = code
    row = work.in_force[place]
    order = np.lexsort((row, state[row], work.of_surface[row]))
    row, bounds = row[order], work.bounds[place[order]]
    owner = work.of_surface[row]
    away = (bounds[:, :2] + bounds[:, 2:]) / 2 - work.middle[owner]
    parallel = np.cos(np.radians(work.middle[:, 1]))[owner]
    xy: Floats = away * np.column_stack((parallel, np.full(len(row), -1.0)))
    low, high = extremes(xy, xy, owner, work.sites)
    with np.errstate(invalid="ignore"):  # a site without any surface
        centre, width = (low + high) / 2, np.maximum((high - low).max(axis=1), 1e-6)
    unit = (SKETCH - 8) / width
    dots = np.rint((xy - centre[owner]) * unit[owner, None] + SKETCH / 2)
    radius = np.sqrt(register.area_m2[row] / np.pi) / METRES_PER_DEGREE * unit[owner]
    numbers = np.column_stack((dots, np.rint(radius * 4), state[row]))
    letters = LETTERS[np.clip(numbers, 0, SKETCH - 1).astype(np.int64)]
    text, size = letters.tobytes().decode("ascii"), np.bincount(owner, minlength=work.sites)
    ends = [0, *(4 * np.cumsum(size)).tolist()]
    return [text[begin:end] for begin, end in pairwise(ends)]


def refused_rows(texts: Mapping[str, list[str]]) -> Table:
    """The rows of sites that could not be worked out; ``texts`` are all that they say."""
    size = len(texts["site"])
    nothing = {
        "U": [""] * size,
        "f": np.full(size, np.nan),
        "i": np.zeros(size, dtype=np.int64),
        "M": np.full(size, "NaT", dtype="datetime64[D]"),
    }
    return {column: texts.get(column, nothing[kind]) for column, kind in SITE_COLUMNS.items()}
