"""Loads of sand taken out for a dressing, and those of them that went over a scale."""

from __future__ import annotations

from typing import Any

import numpy as np

from geosand.columns import Bools, Floats, Ints, Strings
from geosand.errors import Faults, Finding
from geosand.site.cells import LONGEST_LIST, RawTable, loosely, quoted, unseen
from geosand.site.moisture_book import MOISTURE, MoistureBook, dry_basis, stated_u
from geosand.site.named_surfaces import words_of
from geosand.site.raw_columns import Ids, Texts, repeated, same_rows
from geosand.site.read_sands import DENSITIES
from geosand.site.reading import Reader
from geosand.site.sand_tables import Loads, Sands, WeighedLoads
from geosand.site.table_reader import UP
from geosand.site.tables import Dressed, Dressings, Surfaces

MOST_UNITS, HEAVIEST_KG = 1e6, 100_000.0
UNITS_KG = (2.0, HEAVIEST_KG)  #: usual; grams or tonnes read as kg are less (common practice)
U_UNIT = 0.01  #: bag to bag where nothing is said
U_LABEL = 0.01  #: shared by all bags of a kind where nothing is said
U_SHARE = 0.2  #: of a mass; no scale, no bag and no heap is known so badly (common practice)
U_WEIGHING = 0.005  #: of a load on a scale where nothing is said (common practice)


def dressing_rows(reader: Reader, dressings: Ids) -> Ints:
    """Row of ``dressings`` that each row names; -1 with a fault where there is none.

    Where a site has no dressings at all, that is told once elsewhere.
    """
    texts = reader.names("dressing")
    rows = dressings.find(texts, reader.member)
    said = texts.matching(bool)
    rows[~said] = -1
    some = np.bincount(dressings.member, minlength=reader.members) > 0
    lost = np.flatnonzero(said & (rows < 0))
    for row in lost[some[reader.member[lost]]].tolist():
        known = dressings.text.take(np.flatnonzero(dressings.member == reader.member[row]))
        word, names = texts.words[texts.code[row]], known.strings().tolist()
        near = [name for name in names if loosely(name) == loosely(word.strip("'\".,;= "))]
        reader.fault(
            row,
            "dressing",
            f"{quoted(word)} is not in the dressings",
            allowed=", ".join(names[:12]) + (", …" if len(names) > 12 else ""),
            remedy=unseen(word) or (f"did you mean {near[0]}?" if near else ""),
        )
    return rows


def less_than(reader: Reader, base: str, u: Floats, value: Floats) -> None:
    """A fault for a standard uncertainty (kg) as large as its value, as that was written twice.

    One that is a large part of it is told. ``base`` is its column without the unit.
    """
    column = reader.column_read(base)
    for row in reader.sound((u >= value) & (u > 0)):
        found = f"a standard uncertainty of {u[row]:g} kg can not be right"
        reader.fault(row, column, found, allowed=f"less than the mass itself, {value[row]:g} kg")
    reader.tell_rows(
        np.flatnonzero((u > U_SHARE * value) & (u < value)),
        lambda mine: (
            f"{reader.places(mine)}, {column}: {'up to ' if len(mine) > 1 else ''}"
            f"{100 * np.max(u[mine] / value[mine]):.0f} % of the mass: check it, and its unit"
        ),
        "file",
    )


def read_loads(
    table: RawTable,
    surfaces: Surfaces,
    dressings: Dressings,
    names: Ids,
    dressed: Dressed,
    sands: Sands,
    book: MoistureBook,
    faults: Faults,
    findings: list[Finding],
) -> tuple[Loads, WeighedLoads, tuple[frozenset[int], ...]]:
    """One row a load; weighings; ``ground`` indices of each group of loads that names surfaces."""
    reader = Reader(table, faults, findings)
    ids = reader.names("load")
    _unique(reader, ids)
    reader.tell_nearly_same(Ids(text=ids, member=reader.member), "load")
    dressing = dressing_rows(reader, names)
    count = reader.number("count", required=True, above=0.0, maximum=MOST_UNITS)
    reader.tell_dragged("count", count, 1, UP)
    unit, by_volume, loose_dry = _unit_mass(reader)
    moisture = _moisture(reader, dressing, dressings, sands, book)
    unit = np.where(by_volume, loose_dry * (1 + book.ratios()[moisture]), unit)
    u_unit, u_label = _unit_uncertainty(reader, unit)
    returned, spilled = _came_back(reader, count * unit)
    weighed, u_weighed = _weighings(reader, count * unit)
    group, groups = _groups(reader, dressing, surfaces, dressings, dressed)
    tickets = reader.labels("ticket")
    reader.text("note")
    reader.finish()
    _entered_twice(reader, tickets)
    keep = dressing >= 0
    columns: dict[str, Any] = {
        "id": ids.strings(),
        "dressing": dressing,
        "count": count,
        "unit_mass_kg": unit,
        "by_volume": by_volume,
        "u_unit_mass_kg": u_unit,
        "u_label": u_label,
        "label": _labels(dressing, np.where(by_volume, loose_dry, unit), dressings, sands),
        "moisture": moisture,
        "returned_kg": returned,
        "spilled_kg": spilled,
        "group": group,
        "ticket": tickets.strings(),
    }
    loads = Loads(**{name: column[keep] for name, column in columns.items()})
    on_scale = np.flatnonzero(np.isfinite(weighed[keep]))
    weighings = WeighedLoads(
        load=on_scale, mass_kg=weighed[keep][on_scale], u_mass_kg=u_weighed[keep][on_scale]
    )
    return loads, weighings, groups


def _came_back(reader: Reader, taken_kg: Floats) -> tuple[Floats, Floats]:
    """Returned and spilled mass of each load; a fault where that is more than was taken out."""
    returned = np.nan_to_num(reader.quantity("returned", "kg", minimum=0.0))
    spilled = np.nan_to_num(reader.quantity("spilled", "kg", minimum=0.0))
    for row in reader.sound(returned + spilled > taken_kg * (1 + 1e-9)):
        found = f"more came back or was spilled ({returned[row] + spilled[row]:g} kg) than was"
        found += f" taken out ({taken_kg[row]:g} kg)"
        reader.fault(row, "returned_kg", found, remedy="check count, unit mass and what came back")
    return returned, spilled


def _weighings(reader: Reader, stated_kg: Floats) -> tuple[Floats, Floats]:
    """Mass of each load on a scale and its u; nan where it was not weighed.

    The balance stays on count and unit mass: the weighing is a witness of both. A reading more than
    a third from them is told, as bags were left out or other ones put on.
    """
    mass = reader.quantity("weighed", "kg", above=0.0, maximum=HEAVIEST_KG)
    u = reader.quantity("u_weighed", "kg", above=0.0, maximum=HEAVIEST_KG)
    less_than(reader, "u_weighed", u, mass)
    for row in reader.sound(np.isfinite(u) & np.isnan(mass)):
        found = "an uncertainty of a weighing without the weighing"
        reader.fault(row, "u_weighed_kg", found, remedy="give weighed_kg, or leave both blank")
    unsaid = np.isfinite(mass) & np.isnan(u)
    text = f"uncertainty of a weighed load: {100 * U_WEIGHING:g} % is used where it is not said"
    reader.tell(unsaid, text, "default")
    for row in np.flatnonzero(np.abs(mass - stated_kg) > stated_kg / 3).tolist():
        text = (
            f"{reader.place(row)} weighs {mass[row]:g} kg where count and unit mass say"
            f" {stated_kg[row]:g} kg: check whether all of it was on the scale"
        )
        reader.finding(text, "file", int(reader.member[row]))
    return mass, np.where(unsaid, U_WEIGHING * mass, u)


def _labels(dressing: Ints, unit_kg: Floats, dressings: Dressings, sands: Sands) -> Strings:
    """The source that all units of one sand and label mass share."""
    names = [f"label: {name}" for name in sands.name.tolist()] or ["label: "]
    sand = np.append(dressings.sand, -1)[dressing].tolist()
    pairs = list(zip(sand, unit_kg.tolist(), strict=True))
    known = {(k, mass): f"{names[k]} {mass:.6g} kg" if k >= 0 else "" for k, mass in set(pairs)}
    return np.array([known[pair] for pair in pairs], dtype=np.str_)


def _unique(reader: Reader, names: Texts) -> None:
    keys = reader.member * len(names.words) + names.code
    for row, start in repeated(keys, names.matching(bool)):
        name = names.words[names.code[row]]
        found = f"{quoted(name)} is already in {reader.place(start)}"
        reader.fault(row, "load", found, remedy="give each load a name of its own")


def _entered_twice(reader: Reader, tickets: Texts) -> None:
    """A finding for loads that say all but their names like an earlier one, its ticket too."""
    rows, start = same_rows(reader.table, tickets, besides=("load",))

    def text(mine: Ints) -> str:
        earlier = reader.place(start[rows == mine[0]][0])
        like = "says" if len(mine) == 1 else "say"
        text = f"{reader.places(mine)} {like} the same as {earlier} with the same ticket"
        return f"{text}: all count, so delete what was entered twice"

    reader.tell_rows(rows, text, "file")


def _unit_mass(reader: Reader) -> tuple[Floats, Bools, Floats]:
    """Mass of a unit as weighed, whether a volume was given instead, and that volume's dry mass."""
    mass = reader.quantity("unit_mass", "kg", above=0.0, maximum=HEAVIEST_KG, usual=UNITS_KG, up=UP)
    volume = reader.quantity("unit_volume", "m3", above=0.0, maximum=100)
    loose = reader.quantity(
        "loose_bulk_density", "kg_m3", minimum=500, maximum=2700, usual=DENSITIES
    )
    by_mass, by_volume = np.isfinite(mass), np.isfinite(volume)
    neither = ~by_mass & ~by_volume
    hint = reader.meant("unit_mass_kg") if neither.any() else ""
    checks = [
        (
            by_mass & by_volume,
            "unit_mass_kg",
            "both a unit mass and a unit volume are given",
            "keep the one that was measured",
        ),
        (
            by_volume & ~by_mass & np.isnan(loose),
            "loose_bulk_density_kg_m3",
            "a unit volume needs its loose bulk density",
            "weigh one hopper: dry mass per volume as loaded",
        ),
        (
            neither,
            "unit_mass_kg",
            "no unit mass",
            f"{hint}Give the mass of one bag or hopper",
        ),
    ]
    for mask, column, found, remedy in checks:
        for row in reader.sound(mask):
            reader.fault(row, column, found, remedy=remedy)
    return mass, by_volume & ~by_mass, volume * loose


def _unit_uncertainty(reader: Reader, unit: Floats) -> tuple[Floats, Floats]:
    """u of a unit (kg, bag to bag) and of the label (relative, shared); defaults are said."""
    u_unit = reader.quantity("u_unit_mass", "kg", minimum=0.0, maximum=HEAVIEST_KG)
    less_than(reader, "u_unit_mass", u_unit, unit)
    u_label = reader.quantity(
        "u_label", "ratio", minimum=0.0, maximum=0.5, share_below=5e-4, usual=(0.0, 0.1)
    )
    neither = np.isnan(u_unit) & np.isnan(u_label)
    text = "bags 1 % each and 1 % shared by all bags of a kind are used where neither is said"
    reader.tell(neither, f"uncertainty of unit mass: {text}", "default")
    relative = np.where(neither, U_UNIT, np.nan)
    u_unit = np.where(np.isnan(u_unit), np.nan_to_num(relative * unit), u_unit)
    return u_unit, np.where(neither, U_LABEL, np.nan_to_num(u_label))


def _moisture(
    reader: Reader, dressing: Ints, dressings: Dressings, sands: Sands, book: MoistureBook
) -> Ints:
    """Row of the book: a load's own moisture, else that of its dressing's sand; -1 for none."""
    before, reader.faulty = reader.faulty, set()
    ratio, u = dry_basis(reader)
    unread, reader.faulty = reader.faulty, before | reader.faulty
    known = dressing >= 0
    sand = np.append(dressings.sand, -1)[dressing]
    out = np.full(reader.size, -1, dtype=np.int64)
    if len(sands.moisture):
        out[known] = sands.moisture[sand[known]]
    for row in np.flatnonzero(known & (np.isfinite(ratio) | (out < 0))).tolist():
        name, member = str(dressings.id[dressing[row]]), int(reader.member[row])
        if np.isfinite(ratio[row]):
            label = f"moisture: {name} {ratio[row] * 100:.6g} %"
            u_row = stated_u(ratio[row], u[row], "its loads", reader.findings, member, name)
            out[row] = book.add(label, float(ratio[row]), u_row, member)
        elif len(sands.moisture) and row not in unread:
            hint = reader.meant(MOISTURE)
            reader.fault(
                row,
                MOISTURE,
                "the sand's moisture is said neither here nor in site.toml",
                remedy=f"{hint}Measure it (weigh, dry, weigh), or say kiln_dried = true for the"
                " sand",
            )
    return out


def _groups(
    reader: Reader, dressing: Ints, surfaces: Surfaces, dressings: Dressings, dressed: Dressed
) -> tuple[Ints, tuple[frozenset[int], ...]]:
    """Which surfaces a load went to; only those of its dressing are allowed."""
    texts = reader.texts("surfaces", longest=LONGEST_LIST)
    found: dict[tuple[int, frozenset[int]], int] = {}
    out = np.full(reader.size, -1, dtype=np.int64)
    begin = np.searchsorted(dressed.dressing, dressing, side="left")
    end = np.searchsorted(dressed.dressing, dressing, side="right")
    # of no surfaces at all: that is told already
    for row in np.flatnonzero(texts.matching(bool) & (dressing >= 0) & (end > begin)).tolist():
        rows = dressed.surface[begin[row] : end[row]]
        by_id = dict(zip(surfaces.id[rows].tolist(), surfaces.ground[rows].tolist(), strict=True))
        kind = surfaces.kind[rows]
        members: set[int] = set()
        for word in words_of(texts.words[texts.code[row]]):
            if word in by_id:
                members.add(by_id[word])
            elif (kind == word.lower()).any():
                members.update(surfaces.ground[rows[kind == word.lower()]].tolist())
            else:
                reader.fault(
                    row,
                    "surfaces",
                    f"{quoted(word)} is not dressed in {dressings.id[dressing[row]]}",
                    allowed=", ".join(list(by_id)[:12]),
                )
        if members != set(by_id.values()):
            key = (int(dressing[row]), frozenset(members))
            out[row] = found.setdefault(key, len(found))
    return out, tuple(members for _, members in found)
