"""The sands of ``site.toml``: their densities, water contents and shares of sand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from geosand.columns import Bools, Floats, Ints
from geosand.errors import Faults, Finding
from geosand.site.cells import LONGEST, RawTable, tidied
from geosand.site.moisture_book import MoistureBook, dry_basis, stated_u
from geosand.site.raw_columns import Texts
from geosand.site.reading import Reader
from geosand.site.sand_tables import Sands
from geosand.site.settings_document import FILE, rows_of, said_by, table_of

#: kg/m³, usual of dry sand and mixes: spheres of quartz (2650) fill 0.55 to 0.64 of a heap (loose
#: and close random packing, G. D. Scott, Nature 188, 1960), sands of many sizes more, mixes less.
DENSITIES = (900.0, 1950.0)
MIXES = (0.3, 1.0)  #: usual shares of sand in the mass of a mix (common practice, no source)


def read_sands(
    document: Mapping[str, Any],
    members: int,
    book: MoistureBook,
    faults: Faults,
    findings: list[Finding],
) -> tuple[Sands, Ints]:
    """The sands of all sites, those of the first first, and the site of each."""
    before = len(faults.found)
    tables, said = _described(document, members, faults)
    unsure = len(faults.found) > before
    numbers = [
        _one_sand(name, table, said[name], members, book, faults, findings)
        for name, table in tables.items()
    ]
    if unsure:  # which sands there are is not known: what names one is not judged
        tables, numbers = {}, []
    return _site_by_site({name: np.flatnonzero(said[name]) for name in tables}, numbers)


Described = dict[str, Mapping[str, Any]]


def _described(
    document: Mapping[str, Any], members: int, faults: Faults
) -> tuple[Described, dict[str, Bools]]:
    """The table of each sand by its name, and which sites have it."""
    tables = _named(document, members, faults)
    said = {name: said_by(table, members) for name, table in tables.items()}
    nothing = np.zeros(members, dtype=np.bool_)
    some = np.logical_or.reduce([nothing, *said.values()])
    if "sand" in document:
        alone = said_by(document["sand"], members)
        for k in np.flatnonzero(some & alone).tolist():
            found = "both [sand] and [sands.…] are there"
            faults.add(FILE, found, remedy="keep [sands.…]", member=k)
        tables["sand"] = table_of(document["sand"], "sand", members, faults)
        said["sand"] = alone
        some = some | alone
    value = document.get("sands", {})
    told = nothing if isinstance(value, dict) else said_by(value, members)
    for k in np.flatnonzero(~some & ~told).tolist():
        remedy = "add a table [sands.NAME] with bulk_density_g_cm3 and its moisture"
        faults.add(FILE, "no sand is described", remedy=remedy, member=k)
    return tables, said


def _named(document: Mapping[str, Any], members: int, faults: Faults) -> Described:
    """The tables [sands.…] by their names, tidied; a fault for a name that is there twice."""
    named: dict[str, Any] = {}
    for name, table in table_of(document.get("sands", {}), "sands", members, faults).items():
        if tidied(name) in named:
            for k in np.flatnonzero(said_by(table, members)).tolist():
                found, place = "the same name is there already", f"[sands.{name}]"
                faults.add(FILE, found, row=place, remedy="keep one of them", member=k)
        named[tidied(name)] = table
    return {k: table_of(v, f"sands.{k}", members, faults) for k, v in named.items()}


def _site_by_site(sites: Mapping[str, Ints], numbers: Sequence[Floats]) -> tuple[Sands, Ints]:
    """The sands as a table, and the site of each; of each sand its ``sites`` and their numbers."""
    of_sand = np.concatenate([np.zeros(0, dtype=np.int64), *sites.values()])
    order = np.argsort(of_sand, kind="stable")
    names = [name[:LONGEST] for name, mine in sites.items() for _ in mine]
    density, u_density, moisture, fraction = np.concatenate([np.empty((0, 4)), *numbers])[order].T
    sands = Sands(
        name=np.array(names, dtype=np.str_)[order],
        bulk_density_kg_m3=density.copy(),
        u_bulk_density_kg_m3=u_density.copy(),
        moisture=moisture.astype(np.int64),
        sand_mass_fraction=fraction.copy(),
    )
    return sands, of_sand[order]


def _one_sand(
    name: str,
    mapping: Mapping[str, Any],
    said: Bools,
    members: int,
    book: MoistureBook,
    faults: Faults,
    findings: list[Finding],
) -> Floats:
    """Density, its u, row of moisture and sand fraction of one sand where it is ``said`` (k, 4)."""
    place = "[sand]" if name == "sand" else f"[sands.{name}]"
    table = rows_of(mapping, place, members)
    reader = Reader(_only(table, np.flatnonzero(said)), faults, findings)
    density = reader.quantity("bulk_density", "kg_m3", minimum=500, maximum=2700, usual=DENSITIES)
    u_density = reader.quantity(
        "u_bulk_density", "kg_m3", minimum=0, maximum=500, usual=(1.0, 150.0)
    )
    unsaid = np.isfinite(density) & ~np.isfinite(u_density)
    text = f"standard uncertainty of the bulk density of {name} is not said: 0.03 g/cm³"
    reader.tell(unsaid, f"{text} is used", "default")
    ratio, u_ratio = dry_basis(reader)
    moisture = _sand_moisture(reader, name, ratio, u_ratio, book)
    fraction = reader.number("sand_mass_fraction", above=0.0, maximum=1.0)
    reader.tell_unusual("sand_mass_fraction", fraction, 1.0, MIXES)
    for row in np.flatnonzero(moisture < 0).tolist():
        if row in reader.faulty:  # told here once, not for each load
            moisture[row] = book.add(f"moisture: {name}", 0.0, 0.0, int(reader.member[row]))
    reader.finish()
    return np.stack(
        [
            density,
            np.where(unsaid, 30.0, u_density),
            moisture,
            np.where(np.isnan(fraction), 1.0, fraction),
        ],
        axis=1,
    )


def _only(table: RawTable, rows: Ints) -> RawTable:
    """Some of the sites of a table of settings."""
    if len(rows) == len(table.rows):
        return table
    columns = {
        name: column.take(rows) if isinstance(column, Texts) else column[rows]
        for name, column in table.columns.items()
    }
    return replace(table, rows=table.rows[: len(rows)], columns=columns, member=rows)


def _sand_moisture(
    reader: Reader, name: str, ratio: Floats, u_ratio: Floats, book: MoistureBook
) -> Ints:
    """Row of each site's moisture of a sand; -1 where none is said."""
    kiln = reader.flag("kiln_dried")
    moisture = np.full(reader.size, -1, dtype=np.int64)
    for row in np.flatnonzero(np.isfinite(ratio) | kiln).tolist():
        if kiln[row] and np.isfinite(ratio[row]) and ratio[row] > 0.005:
            found = "kiln_dried = true beside a moisture above 0.5 %"
            reader.fault(row, "kiln_dried", found, remedy="say one or the other")
        member = int(reader.member[row])
        share = float(ratio[row]) if np.isfinite(ratio[row]) else 0.0
        u = stated_u(share, u_ratio[row], name, reader.findings, member)
        moisture[row] = book.add(f"moisture: {name}", share, u, member)
    return moisture
