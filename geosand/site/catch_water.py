"""Water in the sand of catches: as stated, else as in their pool, else as in what was spread."""

from __future__ import annotations

import numpy as np

from geosand.columns import Bools, Floats, Ints, distinct
from geosand.site.moisture_book import UNLIKE_WATER, MoistureBook, dry_basis, stated_u
from geosand.site.raw_columns import Texts, first_come
from geosand.site.reading import Reader
from geosand.site.sand_tables import Loads, Sands
from geosand.site.tables import Dressings


def stated_water(
    reader: Reader, dressing: Ints, pool: Texts, weighed: Bools
) -> tuple[Floats, Floats]:
    """Water content (dry basis) that each row (n,) states, and its u; nan where none.

    Trays of a pool have that of the row with the reading, else of the first that states one: their
    sand was weighed together. A fault where one without a reading states another.
    """
    own, u = dry_basis(reader)
    tray = np.flatnonzero(pool.matching(bool))
    said = tray[np.isfinite(own[tray])]
    if not len(said):
        return own, u
    own, u = own.copy(), u.copy()
    _, number = first_come((dressing[tray] + 1) * len(pool.words) + pool.code[tray])
    of_row = np.full(len(own), -1)
    of_row[tray] = number
    # written last, and so kept: the first row with a reading
    said = said[np.lexsort((-said, weighed[said]))]
    source = np.full(number.max() + 1, -1)
    source[of_row[said]] = said
    tray, begun = tray[source[number] >= 0], source[number[source[number] >= 0]]
    blank = np.isnan(own[tray])
    u[tray[blank]], own[tray[blank]] = u[begun[blank]], own[begun[blank]]
    for k in np.flatnonzero((own[tray] != own[begun]) & ~weighed[tray]).tolist():
        row, with_reading = int(tray[k]), int(begun[k])
        if not {row, with_reading} & reader.faulty:
            found = f"another moisture than in {reader.place(with_reading)} of the same pool"
            remedy = "give one for all trays of a pool: their sand was weighed together"
            reader.fault(row, "moisture_…", found, remedy=remedy)
    return own, u


def waters(
    reader: Reader,
    dressing: Ints,
    dressings: Dressings,
    stated: tuple[Floats, Floats],
    of_sand: Ints,
    book: MoistureBook,
) -> Ints:
    """Row of the book of each catch (n,): as ``stated``, else that ``of_sand``; else -1."""
    own, u = stated
    # the spare last one is read by catches of no known dressing
    out = np.append(of_sand, -1)[dressing]
    rows = np.flatnonzero((dressing >= 0) & np.isfinite(own))
    water, of_water = np.unique(own[rows], return_inverse=True)
    errors, of_error = np.unique(u[rows], return_inverse=True)
    first, number = first_come((dressing[rows] * len(water) + of_water) * len(errors) + of_error)
    added = []
    for row in rows[first].tolist():
        member, name = int(reader.member[row]), str(dressings.id[dressing[row]])
        label = f"moisture: catches of {name} {own[row] * 100:.6g} %"
        u_row = stated_u(own[row], u[row], "its catches", reader.findings, member, name)
        added.append(book.add(label, float(own[row]), u_row, member))
    out[rows] = np.array(added, dtype=np.int64)[number]
    return out


def tell_unstated(
    reader: Reader,
    dressing: Ints,
    ids: Texts,
    dressings: Dressings,
    weighed: Bools,
    stated: Floats,
    of_sand: Floats,
) -> None:
    """A finding where some ``weighed`` catches of a dressing state another water than the sand's.

    The rest is dried by the sand's, and may have been weighed as dry as they were. ``of_sand`` is
    the water content by dressing.
    """
    size, rows = len(dressings.id), np.flatnonzero(weighed & (dressing >= 0))
    says = np.isfinite(stated[rows])
    if says.all() or not says.any():
        return
    parts = dressing[rows] * len(ids.words) + ids.code[rows]
    rows = rows[first_come(parts)[0]]  # parts of a catch are one catch
    says = np.isfinite(stated[rows])
    of, water = dressing[rows[says]], stated[rows[says]]
    silent = np.bincount(dressing[rows[~says]], minlength=size)
    unlike = np.abs(water - of_sand[of]) > UNLIKE_WATER
    for k in distinct(of[unlike & (silent[of] > 0)]).tolist():
        theirs = water[of == k] * 100
        low, high = f"{theirs.min():.3g}", f"{theirs.max():.3g}"
        one = silent[k] == 1
        text = (
            f"{silent[k]} of its {silent[k] + len(theirs)} weighed catches"
            f" {'does' if one else 'do'} not state {'its' if one else 'their'} moisture and"
            f" {'is' if one else 'are'} dried by that of the sand as spread,"
            f" {of_sand[k] * 100:.3g} % (dry basis), where the others state"
            f" {low if low == high else f'{low} to {high}'} %: state it for all of them"
        )
        member = int(reader.member[rows[dressing[rows] == k][0]])
        reader.finding(text, "catch", member, about=str(dressings.id[k]))


def water_of_sand(
    of_site: Ints, dressings: Dressings, loads: Loads, sands: Sands, book: MoistureBook
) -> Ints:
    """For each dressing the moisture of its loads, else the sand's.

    Where they differ it is their mean by the moist mass that was spread: what came back counts not.
    """
    size = len(dressings.id)
    out = sands.moisture[dressings.sand] if len(sands.name) else np.full(size, -1, dtype=np.int64)
    rows = np.flatnonzero(loads.moisture >= 0)
    rows = rows[np.argsort(loads.dressing[rows], kind="stable")]
    start = np.flatnonzero(np.diff(loads.dressing[rows], prepend=-1))
    of, wet = loads.dressing[rows[start]], loads.moisture[rows]
    least, most = np.minimum.reduceat(wet, start), np.maximum.reduceat(wet, start)
    out[of] = least
    ends = np.append(start[1:], len(rows))
    for k in np.flatnonzero(least != most).tolist():
        mine = rows[start[k] : ends[k]]
        taken = (loads.count * loads.unit_mass_kg)[mine]
        weight = np.maximum(taken - (loads.returned_kg + loads.spilled_kg)[mine], 0.0)
        if np.isfinite(weight).all() and weight.sum() > 0:
            per = np.bincount(loads.moisture[mine], weight / weight.sum())
            label = f"moisture: mean of the loads of {dressings.id[of[k]]}"
            parts = {int(m): float(per[m]) for m in distinct(loads.moisture[mine])}
            out[of[k]] = book.mix(label, parts, int(of_site[of[k]]))
    return out
