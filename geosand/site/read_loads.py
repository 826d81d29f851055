"""Loads of sand taken out for a dressing, and those of them that went over a scale."""

from __future__ import annotations

from typing import Any

import numpy as np

from geosand.columns import Bools, Floats, Ints, Strings
from geosand.errors import Faults, Finding
from geosand.site.cells import RawTable, quoted
from geosand.site.read_settings import MoistureBook, dry_basis, stated_u
from geosand.site.reading import Reader
from geosand.site.tables import Dressed, Dressings, Loads, Sands, Surfaces, WeighedLoads

MOST_UNITS, HEAVIEST_KG = 1e6, 100_000.0
U_UNIT = 0.01  #: bag to bag where nothing is said
U_LABEL = 0.01  #: shared by all bags of a kind where nothing is said
U_WEIGHING = 0.005  #: of a load on a scale where nothing is said (common practice)


def dressing_rows(reader: Reader, dressings: Dressings) -> Ints:
    """Row of ``dressings`` that each row names; -1 with a fault where there is none.

    Where there are no dressings at all, that is told once elsewhere.
    """
    known = {str(name): k for k, name in enumerate(dressings.id)}
    texts = reader.text("dressing", required=True).tolist()
    for row, text in enumerate(texts):
        if text and text not in known and known:
            reader.fault(
                row,
                "dressing",
                f"{quoted(text)} is not in the dressings",
                allowed=", ".join(list(known)[:12]),
            )
    return np.array([known.get(text, -1) for text in texts], dtype=np.int64)


def read_loads(
    table: RawTable,
    surfaces: Surfaces,
    dressings: Dressings,
    dressed: Dressed,
    sands: Sands,
    book: MoistureBook,
    faults: Faults,
    findings: list[Finding],
) -> tuple[Loads, WeighedLoads, tuple[frozenset[int], ...]]:
    """One row a load; weighings; ``ground`` indices of each group of loads that names surfaces."""
    reader = Reader(table, faults, findings)
    ids = reader.text("load", required=True)
    _unique(reader, "load", ids)
    dressing = dressing_rows(reader, dressings)
    count = reader.number("count", required=True, above=0.0, maximum=MOST_UNITS)
    unit, by_volume, loose_dry = _unit_mass(reader)
    moisture = _moisture(reader, dressing, dressings, sands, book, findings)
    unit = np.where(by_volume, loose_dry * (1 + book.ratios()[moisture]), unit)
    u_unit, u_label = _unit_uncertainty(reader, unit, findings)
    returned, spilled = _came_back(reader, count * unit)
    weighed, u_weighed = _weighings(reader, count * unit, findings)
    group, groups = _groups(reader, dressing, surfaces, dressings, dressed)
    tickets = reader.text("ticket")
    reader.text("note")
    reader.finish()
    keep = dressing >= 0
    columns: dict[str, Any] = {
        "id": ids,
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
        "ticket": tickets,
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
    for row in np.flatnonzero(returned + spilled > taken_kg * (1 + 1e-9)).tolist():
        if row in reader.faulty:
            continue
        found = f"more came back or was spilled ({returned[row] + spilled[row]:g} kg) than was"
        found += f" taken out ({taken_kg[row]:g} kg)"
        reader.fault(row, "returned_kg", found, remedy="check count, unit mass and what came back")
    return returned, spilled


def _weighings(reader: Reader, stated_kg: Floats, findings: list[Finding]) -> tuple[Floats, Floats]:
    """Mass of each load on a scale and its u; nan where it was not weighed.

    The balance stays on count and unit mass: the weighing is a witness of both. A reading more than
    a third from them is told, as bags were left out or other ones put on.
    """
    mass = reader.quantity("weighed", "kg", above=0.0, maximum=HEAVIEST_KG)
    u = reader.quantity("u_weighed", "kg", above=0.0, maximum=HEAVIEST_KG)
    for row in np.flatnonzero(np.isfinite(u) & np.isnan(mass)).tolist():
        if row not in reader.faulty:
            found = "an uncertainty of a weighing without the weighing"
            reader.fault(row, "u_weighed_kg", found, remedy="give weighed_kg, or leave both blank")
    unsaid = np.isfinite(mass) & np.isnan(u)
    if unsaid.any():
        text = f"uncertainty of a weighed load: {U_WEIGHING:.1%} is used where it is not said"
        findings.append(Finding(about=reader.table.file, text=text, topic="default"))
    for row in np.flatnonzero(np.abs(mass - stated_kg) > stated_kg / 3).tolist():
        text = (
            f"row {reader.table.rows[row]} weighs {mass[row]:g} kg where count and unit mass say"
            f" {stated_kg[row]:g} kg: check whether all of it was on the scale"
        )
        findings.append(Finding(about=reader.table.file, text=text, topic="file"))
    return mass, np.where(unsaid, U_WEIGHING * mass, u)


def _labels(dressing: Ints, unit_kg: Floats, dressings: Dressings, sands: Sands) -> Strings:
    """The source that all units of one sand and label mass share."""
    sand = [str(name) for name in sands.name] or [""]
    labels = [
        f"label: {sand[dressings.sand[d]]} {m:.6g} kg" if d >= 0 else ""
        for d, m in zip(dressing.tolist(), unit_kg.tolist(), strict=True)
    ]
    return np.array(labels, dtype=np.str_)


def _unique(reader: Reader, column: str, names: Strings) -> None:
    first: dict[str, int] = {}
    for row, name in enumerate(names.tolist()):
        if name and name in first:
            found = f"{quoted(name)} is already in row {reader.table.rows[first[name]]}"
            reader.fault(row, column, found, remedy=f"give each {column} a name of its own")
        first.setdefault(name, row)


def _unit_mass(reader: Reader) -> tuple[Floats, Bools, Floats]:
    """Mass of a unit as weighed, whether a volume was given instead, and that volume's dry mass."""
    mass = reader.quantity("unit_mass", "kg", above=0.0, maximum=HEAVIEST_KG)
    volume = reader.quantity("unit_volume", "m3", above=0.0, maximum=100)
    loose = reader.quantity("loose_bulk_density", "kg_m3", minimum=500, maximum=2700)
    by_mass, by_volume = np.isfinite(mass), np.isfinite(volume)
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
            ~by_mass & ~by_volume,
            "unit_mass_kg",
            "no unit mass",
            "give the mass of one bag or hopper",
        ),
    ]
    for mask, column, found, remedy in checks:
        for row in np.flatnonzero(mask).tolist():
            if row not in reader.faulty:
                reader.fault(row, column, found, remedy=remedy)
    return mass, by_volume & ~by_mass, volume * loose


def _unit_uncertainty(
    reader: Reader, unit: Floats, findings: list[Finding]
) -> tuple[Floats, Floats]:
    u_unit = reader.quantity("u_unit_mass", "kg", minimum=0.0, maximum=HEAVIEST_KG)
    u_label = reader.quantity("u_label", "ratio", minimum=0.0, maximum=0.5)
    neither = np.isnan(u_unit) & np.isnan(u_label)
    if neither.any():
        text = "bags 1 % each and 1 % shared by all bags of a kind are used where neither is said"
        findings.append(
            Finding(
                about=reader.table.file, text=f"uncertainty of unit mass: {text}", topic="default"
            )
        )
    relative = np.where(neither, U_UNIT, np.nan)
    u_unit = np.where(np.isnan(u_unit), np.nan_to_num(relative * unit), u_unit)
    return u_unit, np.where(neither, U_LABEL, np.nan_to_num(u_label))


def _moisture(
    reader: Reader,
    dressing: Ints,
    dressings: Dressings,
    sands: Sands,
    book: MoistureBook,
    findings: list[Finding],
) -> Ints:
    ratio, u = dry_basis(reader)
    out = np.full(reader.size, -1, dtype=np.int64)
    for row, number in enumerate(dressing.tolist()):
        if number < 0:
            continue
        sand = int(dressings.sand[number])
        if np.isfinite(ratio[row]):
            label = f"moisture: {dressings.id[number]} {ratio[row] * 100:.6g} %"
            u_row = stated_u(ratio[row], u[row], f"the loads of {dressings.id[number]}", findings)
            out[row] = book.add(label, float(ratio[row]), u_row)
        elif len(sands.moisture) and sands.moisture[sand] >= 0:
            out[row] = sands.moisture[sand]
        elif len(sands.moisture) and row not in reader.faulty:
            reader.fault(
                row,
                "moisture_dry_basis_percent",
                "the sand's moisture is said neither here nor in site.toml",
                remedy="measure it (weigh, dry, weigh), or say kiln_dried = true for the sand",
            )
    return out


def _groups(
    reader: Reader, dressing: Ints, surfaces: Surfaces, dressings: Dressings, dressed: Dressed
) -> tuple[Ints, tuple[frozenset[int], ...]]:
    """Which surfaces a load went to; only those of its dressing are allowed."""
    texts = reader.text("surfaces").tolist()
    found: dict[tuple[int, frozenset[int]], int] = {}
    out = np.full(reader.size, -1, dtype=np.int64)
    for row, text in enumerate(texts):
        if not text or dressing[row] < 0:
            continue
        rows = dressed.surface[dressed.dressing == dressing[row]]
        if len(rows) == 0:  # its surfaces are not known: that is told already
            continue
        by_id = {str(surfaces.id[k]): int(surfaces.ground[k]) for k in rows}
        kinds = {str(surfaces.kind[k]) for k in rows}
        members: set[int] = set()
        for word in text.replace(",", " ").replace(";", " ").split():
            if word in by_id:
                members.add(by_id[word])
            elif word.lower() in kinds:
                members |= {
                    int(surfaces.ground[k]) for k in rows if surfaces.kind[k] == word.lower()
                }
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
