"""Sand bought, and sand counted in the yard: the rows of one table."""

from __future__ import annotations

import numpy as np

from geosand.columns import Bools, Dates, Floats, Ints
from geosand.errors import Faults, Finding
from geosand.site.cells import RawTable, quoted
from geosand.site.reading import Reader
from geosand.site.tables import Deliveries, Sands, StockCounts

DELIVERY, COUNT = "delivery", "count"
#: Relative, of one ticket and of one count where nothing is said (common practice).
U_DELIVERY, U_COUNT = 0.005, 0.03


def read_deliveries(
    table: RawTable | None, sands: Sands, faults: Faults, findings: list[Finding]
) -> tuple[Deliveries, StockCounts]:
    """Tickets, and counts of what lay in the yard; empty tables where there is no file.

    ``kind`` says which a row is, a delivery where it is blank. A count may be 0, a delivery not.
    """
    if table is None:
        table = RawTable(file="deliveries.csv", rows=[], columns={})
    reader = Reader(table, faults, findings)
    date = reader.dates("date", required=True)
    counted = reader.choice("kind", [DELIVERY, COUNT]) == COUNT
    mass = reader.quantity("mass", "kg", required=True, minimum=0.0, maximum=1e9)
    for row in np.flatnonzero((mass == 0) & ~counted).tolist():
        remedy = "leave the row out; a count of an empty yard says kind = count"
        reader.fault(
            row, "mass_kg", "0 can not be right of a delivery", allowed="more than 0", remedy=remedy
        )
    u = _uncertainty(reader, mass, counted, findings)
    sand = _sand_rows(reader, sands)
    ticket = reader.text("ticket")
    reader.text("note")
    reader.finish()
    _twice(reader, date, sand, counted)
    bought = ~counted
    return (
        Deliveries(
            date=date[bought],
            mass_kg=mass[bought],
            u_mass_kg=u[bought],
            sand=sand[bought],
            ticket=ticket[bought],
        ),
        StockCounts(
            date=date[counted], mass_kg=mass[counted], u_mass_kg=u[counted], sand=sand[counted]
        ),
    )


def _uncertainty(reader: Reader, mass: Floats, counted: Bools, findings: list[Finding]) -> Floats:
    """u of each row's mass, kg: as stated, else 0.5 % of a ticket and 3 % of a count."""
    u = reader.quantity("u_mass", "kg", minimum=0.0, maximum=1e9)
    unsaid = np.isnan(u)
    if (unsaid & counted).any():
        text = (
            f"uncertainty of stock: {U_COUNT:.0%} of a count and {U_DELIVERY:.1%} of a ticket are"
            " used where it is not said"
        )
        findings.append(Finding(about=reader.table.file, text=text, topic="default"))
    return np.where(unsaid, np.where(counted, U_COUNT, U_DELIVERY) * mass, u)


def _sand_rows(reader: Reader, sands: Sands) -> Ints:
    """Row of ``sands`` of each row; 0 where there is one sand only."""
    known = {str(name): k for k, name in enumerate(sands.name)}
    texts = reader.text("sand", required=len(known) > 1).tolist()
    for row, text in enumerate(texts):
        if text and known and text not in known:
            reader.fault(
                row, "sand", f"{quoted(text)} is not in site.toml", allowed=", ".join(known)
            )
    return np.array([known.get(text, 0) for text in texts], dtype=np.int64)


def _twice(reader: Reader, date: Dates, sand: Ints, counted: Bools) -> None:
    """A fault for a second count of a sand on one day: heaps are to be added up."""
    first: dict[tuple[str, int], int] = {}
    for row in np.flatnonzero(counted & ~np.isnat(date)).tolist():
        start = first.setdefault((str(date[row]), int(sand[row])), row)
        if start != row and row not in reader.faulty:
            found = f"this sand is counted on that day in row {reader.table.rows[start]} already"
            reader.fault(row, "mass_kg", found, remedy="add up what lies in different places")
