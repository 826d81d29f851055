"""Catches that hold far more or less sand than dressings lay: a mass or a tray in another unit."""

from __future__ import annotations

import numpy as np

from geosand.columns import Bools, Floats, Ints, Runs, ratio
from geosand.errors import Finding
from geosand.site.catch_parts import Rows
from geosand.site.catch_trays import FEW
from geosand.site.raw_columns import first_come
from geosand.site.reading import Reader
from geosand.site.tables import Catches, Dressed, Dressings

#: No single dressing lays as much (common practice): heavy ones are a few millimetres deep.
DEEPEST_M = 0.1
POURED_KG_M3 = 1560.0  #: dry, poured sand; only tells what a mass means as a depth
#: So little is no dressing: a tenth of a coarse grain (common practice, no source).
THINNEST_M = 2e-5
#: Logarithms of depths: farther from the others' than catches scatter, and as near as they do.
OFF, FITS = 0.3, 0.2
#: Readings of a tray that is weighed twice differ by less (times), and are each this share of what
#: the other trays hold, or more; halves of a heavy tray seldom are both (common practice).
LIKE, FULL = 1.02, 0.8
OFF_PLAN = 5.0  #: times from the planned depth; crews are seldom off by two (common practice)


def check_depths(
    reader: Reader,
    first: Ints,
    columns: tuple[Floats, Floats],
    pools: list[Ints],
    area: Floats,
    used: Bools,
) -> None:
    """A fault for each catch in use (m,) whose mass (kg) or volume (m³) is absurd for its tray.

    The trays of a pool are judged together, at the first of them; ``area`` is in m².
    """
    for values, pool, bases, density in zip(
        columns, pools, (("gross", "tray"), ("volume", "tray")), (POURED_KG_M3, 1.0), strict=True
    ):
        if not (known := used & np.isfinite(values)).any():
            continue
        member, starts = _members(pool)
        sand = _added(member, starts, np.where(known, values, 0.0))
        ground = _added(member, starts, np.where(used & np.isfinite(area), area, 0.0))
        depth = ratio(sand, ground, empty=0.0) / density
        for k in np.flatnonzero(starts & (depth > DEEPEST_M)).tolist():
            row = int(first[k])
            if row not in reader.faulty:
                _fault(reader, row, bases, depth[k], ground[k], by_mass=density > 1)


def tell_weighed_twice(reader: Reader, whole: Ints, dressing: Ints, rows: Rows) -> None:
    """A finding for rows of a catch that are alike, each of which holds what other trays do.

    Parts add up: the catch then holds a multiple of the others. ``whole`` is the catch of each row.
    """
    if whole.max(initial=-1) + 1 == len(whole):
        return
    parts = np.bincount(whole)[whole]
    text = (
        "parts of a catch add up to far more than the other trays of the dressing hold, and each"
        " of them holds about as much as these: was a tray weighed twice? Keep one reading"
    )
    counts = ~rows["rejected"] & (rows["pool"] < 0) & (dressing >= 0)
    for name in ("mass", "volume"):
        rate = np.where(counts & (rows[name] > 0), rows[name] / rows["area"], np.nan)
        least, most = np.full(len(parts), np.inf), np.zeros(len(parts))
        np.fmin.at(least, whole, rate)
        np.fmax.at(most, whole, rate)
        like = (parts > 1) & np.isfinite(rate) & (most[whole] < least[whole] * LIKE)
        alone = np.flatnonzero((parts == 1) & np.isfinite(rate))
        usual = _median_of_each(dressing[alone], rate[alone], int(dressing.max()) + 1)
        full = least[whole] > FULL * usual[dressing]
        reader.tell_rows(
            np.flatnonzero(like & full), lambda mine: f"{reader.places(mine)}: {text}", "catch"
        )


def _median_of_each(group: Ints, values: Floats, size: int) -> Floats:
    """The (upper) median of the values of each group (size,); nan where it has too few."""
    count = np.bincount(group, minlength=max(size, 1))  # -1, of no group, has a place too
    ordered = np.append(values[np.lexsort((values, group))], np.nan)
    middle = ordered[np.minimum(np.cumsum(count) - count + count // 2, len(values))]
    return np.where(count < FEW, np.nan, middle)


def tell_unlikely_depths(
    catches: Catches, dressings: Dressings, dressed: Dressed, member: Ints, findings: list[Finding]
) -> None:
    """A finding for each dressing whose catches hold next to nothing, or nothing like its plan.

    ``member`` is the site of each dressing.
    """
    size = len(dressings.id)
    depth = np.where(catches.used, _depths_m(catches), np.nan)
    known = np.flatnonzero(np.isfinite(depth))
    of, known_depth = catches.dressing.take(known), depth.take(known)
    fullest = Runs(of, size).extremes(known_depth)[1]
    mean = ratio(np.bincount(of, known_depth, size), np.bincount(of, minlength=size))
    planned = np.flatnonzero(np.isfinite(dressed.planned_m))
    least, most = np.full(size, np.nan), np.full(size, np.nan)
    np.fmin.at(least, dressed.dressing[planned], dressed.planned_m[planned])
    np.fmax.at(most, dressed.dressing[planned], dressed.planned_m[planned])
    thin = (fullest > 0) & (fullest < THINNEST_M)
    under = (fullest > 0) & (fullest * OFF_PLAN < least) & ~thin
    for k in np.flatnonzero(thin | under | (mean > OFF_PLAN * most)).tolist():
        held = f"the fullest catch holds {fullest[k] * 1000:.2g} mm of sand"
        if not (thin[k] or under[k]):
            held = f"its catches hold {mean[k] * 1000:.2g} mm of sand in the mean"
        plan = (
            ""
            if thin[k]
            else f" where {(least if under[k] else most)[k] * 1000:.3g} mm were planned"
        )
        cause = "the units of masses and trays" if thin[k] else "planned depth, readings and units"
        text = f"{held}{plan}: check {cause}"
        finding = Finding(
            about=str(dressings.id[k]), text=text, topic="catch", member=int(member[k])
        )
        findings.append(finding)
    _tell_odd_trays(catches, depth, dressings, member, findings)


def _tell_odd_trays(
    catches: Catches, depth: Floats, dressings: Dressings, member: Ints, findings: list[Finding]
) -> None:
    """A finding for the few catches whose sand fits the tray that all others of a dressing have.

    With the size that is written their ``depth`` does not fit: a digit may be wrong.
    """
    sizes = np.round(catches.tray_area_m2 * 1e7)
    if np.fmin.reduce(sizes, initial=np.inf) >= np.fmax.reduce(sizes, initial=-np.inf):
        return
    alone = (catches.mass_pool < 0) & (catches.volume_pool < 0) & (depth > 0)
    rows = np.flatnonzero(alone)
    size = sizes[rows].astype(np.int64)
    if not len(rows) or size.min() == size.max():
        return
    dressing = catches.dressing[rows]
    first, kind = first_come((dressing << 32) + size)
    count, of = np.bincount(kind), dressing[first]
    most = np.zeros(len(member), dtype=np.int64)
    np.maximum.at(most, of, count)
    common = np.full(len(member), -1, dtype=np.int64)
    common[of[count == most[of]]] = np.flatnonzero(count == most[of])
    number = np.bincount(dressing, minlength=len(member))
    usual = common[dressing]
    clear = (number >= FEW) & ((number - most) * FEW <= number)
    for row in np.flatnonzero((kind != usual) & clear[dressing]).tolist():
        mine = np.sort(depth[rows[kind == usual[row]]])
        median = mine[len(mine) // 2]
        written, typical = size[row] / 1e7, size[first[usual[row]]] / 1e7
        own = depth[rows[row]]
        if abs(np.log(own / median)) > OFF and abs(np.log(own * written / typical / median)) < FITS:
            text = (
                f"catch {catches.id[rows[row]]} has a tray of {written * 1e4:.4g} cm² where the"
                f" others have {typical * 1e4:.4g} cm², and its sand fits such a one: check the"
                " tray's size"
            )
            k = int(dressing[row])
            about = str(dressings.id[k])
            findings.append(Finding(about=about, text=text, topic="catch", member=int(member[k])))


def _depths_m(catches: Catches) -> Floats:
    """Depth of the sand in each catch by its mass, else by its volume; of a pool the mean."""
    depth = np.full(len(catches), np.nan)
    for sand, pool, density in (
        (catches.volume_m3, catches.volume_pool, 1.0),
        (catches.caught_kg, catches.mass_pool, POURED_KG_M3),
    ):
        measured = np.isfinite(sand) | (pool >= 0)
        if not measured.any():
            continue
        member, starts = _members(pool)
        total = _added(member, starts, np.where(np.isfinite(sand), sand, 0.0))
        area = _added(member, starts, catches.tray_area_m2)
        depth = np.where(measured, ratio(total, area)[member] / density, depth)
    return depth


def _added(member: Ints, starts: Bools, column: Floats) -> Floats:
    """Sum (m,) of the catches with the same reading, at the first of them."""
    if starts.all():
        return column
    return np.bincount(member, column, len(member)).astype(np.float64)


def _members(pool: Ints) -> tuple[Ints, Bools]:
    """For each catch the number of the first with the same reading, and whether it is that one."""
    own = np.arange(len(pool), dtype=np.int64)
    start = np.full(int(pool.max(initial=-1)) + 1, len(pool), dtype=np.int64)
    np.minimum.at(start, pool[pool >= 0], own[pool >= 0])
    member = own.copy()
    member[pool >= 0] = start[pool[pool >= 0]]
    return member, member == own


def _fault(
    reader: Reader, row: int, bases: tuple[str, str], depth: float, area: float, *, by_mass: bool
) -> None:
    """A fault that names the columns in which the unit may be wrong."""
    column, tray = map(reader.column_read, bases)
    means = " (poured at 1.56 g/cm³)" if by_mass else ""
    reader.fault(
        row,
        column,
        f"sand {depth * 1000:,.0f} mm deep{means} on {area * 1e4:,.0f} cm² can not be right",
        allowed=f"at most {DEEPEST_M * 1000:g} mm",
        remedy=f"check the units in the names of the columns ({column}, {tray}) and the numbers;"
        " a spoiled catch gets a reject_reason",
    )
