"""Sand bought, and sand counted in the yard: the rows of one table."""

from __future__ import annotations

import numpy as np

from geosand.columns import Bools, Dates, Floats, Ints
from geosand.errors import Faults, Finding
from geosand.site.cells import RawTable, quoted
from geosand.site.raw_columns import Texts, find, in_rows, repeated, same_rows
from geosand.site.read_loads import less_than
from geosand.site.read_settings import YEAR, SiteTexts, sand_rows
from geosand.site.reading import Reader
from geosand.site.sand_tables import Deliveries, Loads, StockCounts
from geosand.site.tables import Dressings

DELIVERY, COUNT = "delivery", "count"
#: Relative, of one ticket and of one count where nothing is said (common practice).
U_DELIVERY, U_COUNT = 0.005, 0.03


def read_deliveries(
    table: RawTable | None, text: SiteTexts, faults: Faults, findings: list[Finding]
) -> tuple[Deliveries, StockCounts, Ints, Ints]:
    """Tickets, and counts of what lay in the yard, and the site of each row of both.

    The tables are empty where there is no file.

    ``kind`` says which a row is, a delivery where it is blank. A count may be 0, a delivery not.
    """
    if table is None:
        members = len(text.name)
        table = RawTable(file="deliveries.csv", members=members)
    reader = Reader(table, faults, findings)
    date = reader.dates("date", required=True)
    counted = reader.choice("kind", [DELIVERY, COUNT]) == COUNT
    mass = reader.quantity("mass", "kg", required=True, minimum=0.0, maximum=1e9)
    for row in np.flatnonzero((mass == 0) & ~counted).tolist():
        remedy = "leave the row out; a count of an empty yard says kind = count"
        reader.fault(
            row, "mass_kg", "0 can not be right of a delivery", allowed="more than 0", remedy=remedy
        )
    u = _uncertainty(reader, mass, counted)
    sand = _sand_rows(reader, text)
    tickets = reader.labels("ticket")
    reader.text("note")
    reader.finish()
    _entered_twice(reader, tickets)
    _tell_outside(reader, date, text)
    _twice(reader, date, sand, counted & (text.sands_known()[reader.member] > 0))
    bought = ~counted
    return (
        Deliveries(
            date=date[bought],
            mass_kg=mass[bought],
            u_mass_kg=u[bought],
            sand=sand[bought],
            ticket=tickets.strings()[bought],
        ),
        StockCounts(
            date=date[counted], mass_kg=mass[counted], u_mass_kg=u[counted], sand=sand[counted]
        ),
        reader.member[bought],
        reader.member[counted],
    )


def _tell_outside(reader: Reader, date: Dates, text: SiteTexts) -> None:
    """A finding for deliveries and counts after the season, as the account would run to them."""
    start, end = text.season_start[reader.member], text.season_end[reader.member]
    late = (date > end) | (np.isnat(end) & (date > start + YEAR))

    def said(rows: Ints) -> str:
        days = list(dict.fromkeys(map(str, date[rows].tolist())))
        shown = f"{', '.join(days[:3])}{', …' if len(days) > 3 else ''}"
        return (
            f"{reader.places(rows)}: {shown} {'is' if len(days) == 1 else 'are'} after the season,"
            " and the account runs to that day: check the year"
        )

    reader.tell_rows(np.flatnonzero(late), said, "season")


def tell_late_sand(
    loads: Loads,
    dressings: Dressings,
    deliveries: Deliveries,
    of_dressing: Ints,
    of_delivery: Ints,
    findings: list[Finding],
) -> None:
    """A finding for loads of a ticket whose sand came after they were spread.

    ``of_dressing`` and ``of_delivery`` are the sites of dressings and deliveries.
    """
    latest_first = np.argsort(-deliveries.date.astype(np.int64), kind="stable")
    known = in_rows(deliveries.ticket[latest_first].tolist())
    wanted, member = in_rows(loads.ticket.tolist()), of_dressing[loads.dressing]
    found = find(known, of_delivery[latest_first], wanted, member)  # the earliest of a ticket
    date = np.append(deliveries.date[latest_first], np.datetime64("NaT", "D"))[found]
    spread = dressings.date[loads.dressing]
    for row in np.flatnonzero((date > spread) & wanted.matching(bool)).tolist():
        name = dressings.id[loads.dressing[row]]
        text = (
            f"its sand (ticket {loads.ticket[row]}) came on {date[row]}, after {name} of"
            f" {spread[row]}: check both dates, day and month"
        )
        about = f"load {loads.id[row]}"
        findings.append(Finding(about=about, text=text, topic="file", member=int(member[row])))


def _entered_twice(reader: Reader, tickets: Texts) -> None:
    """A fault for a row that says all that an earlier one says, its ticket too."""
    for row, start in zip(
        *(rows.tolist() for rows in same_rows(reader.table, tickets)), strict=True
    ):
        if row not in reader.faulty:
            name = quoted(tickets.words[tickets.code[row]])
            found = f"ticket {name} stands in {reader.place(start)} with the same mass"
            reader.fault(row, "ticket", found, remedy="delete it if it was entered twice")


def _uncertainty(reader: Reader, mass: Floats, counted: Bools) -> Floats:
    """u of each row's mass, kg: as stated, else 0.5 % of a ticket and 3 % of a count."""
    u = reader.quantity("u_mass", "kg", minimum=0.0, maximum=1e9)
    less_than(reader, "u_mass", u, np.where(mass > 0, mass, np.inf))
    unsaid = np.isnan(u)
    text = (
        f"uncertainty of stock: {100 * U_COUNT:g} % of a count and {100 * U_DELIVERY:g} % of a"
        " ticket are used where it is not said"
    )
    reader.tell(unsaid, text, "default")
    return np.where(unsaid, np.where(counted, U_COUNT, U_DELIVERY) * mass, u)


def _sand_rows(reader: Reader, text: SiteTexts) -> Ints:
    """Row of ``sands`` of each row; a site's first where it has one only."""
    several = text.sands_known()[reader.member] > 1
    texts = reader.texts("sand", required=reader.size > 0 and bool(several.all()))
    for row in reader.sound(several & ~texts.matching(bool)):
        reader.fault(row, "sand", "nothing is written here", remedy="write the sand")
    rows = np.arange(reader.size)
    return sand_rows(reader, texts, rows, reader.member, text, blank_is_told=True)


def _twice(reader: Reader, date: Dates, sand: Ints, counted: Bools) -> None:
    """A fault for a second count of a sand on one day: heaps are to be added up."""
    keys = date.astype(np.int64) * (int(sand.max(initial=0)) + 1) + sand
    for row, start in repeated(keys, counted & ~np.isnat(date)):
        if row not in reader.faulty:
            found = f"this sand is counted on that day in {reader.place(start)} already"
            reader.fault(row, "mass_kg", found, remedy="add up what lies in different places")
