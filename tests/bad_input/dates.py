"""Cells: dates. All cases are made for this project."""

from __future__ import annotations

from tests.bad_input.case import ACCEPTED, FOUND, REFUSED, Case
from tests.bad_input.spoiled import all_catches, csv_text, with_catch
from tests.sites import CATCHES, DRESSINGS, points

DATES = (
    Case(
        "day first",
        {"dressings": DRESSINGS.replace("2026-04-10", "10/04/2026")},
        REFUSED,
        "'10/04/2026' is not a date",
    ),
    Case(
        "a spreadsheet's day number",
        {"dressings": DRESSINGS.replace("2026-04-10", "46122")},
        REFUSED,
        "looks like a spreadsheet's day number",
    ),
    Case(
        "30 February",
        {"dressings": DRESSINGS.replace("2026-04-10", "2026-02-30")},
        REFUSED,
        "is not a date",
    ),
    Case(
        "month names",
        {"dressings": DRESSINGS.replace("2026-04-10", "10 April 2026")},
        REFUSED,
        "is not a date",
    ),
    Case(
        "two digits of a year",
        {"dressings": DRESSINGS.replace("2026-04-10", "26-04-10")},
        REFUSED,
        "is not a date",
    ),
    Case(
        "no date",
        {"dressings": DRESSINGS.replace("2026-04-10", "")},
        REFUSED,
        "no date is written here",
    ),
    Case(
        "a time behind the date",
        {"dressings": DRESSINGS.replace("2026-04-10", "2026-04-10T08:30")},
        ACCEPTED,
    ),
    Case(
        "before the season",
        {"dressings": DRESSINGS.replace("2026-04-10", "2025-04-10")},
        FOUND,
        "season",
    ),
    Case(
        "after the season",
        {"dressings": DRESSINGS.replace("2026-04-10", "2027-04-10")},
        FOUND,
        "season",
    ),
    Case(
        "the year 9999",
        {"dressings": DRESSINGS.replace("2026-04-10", "9999-12-31")},
        REFUSED,
        "9999-12-31 can not be right; allowed: 1950-01-01 to 2149-12-31. Look at the year",
    ),
    Case(
        "the year 0001",
        {"dressings": DRESSINGS.replace("2026-04-10", "0001-01-01")},
        REFUSED,
        "0001-01-01 can not be right",
    ),
    Case(
        "a spreadsheet's day 0",
        {"dressings": DRESSINGS.replace("2026-04-10", "1899-12-30")},
        REFUSED,
        "1899-12-30 can not be right",
    ),
    Case(
        "a day as a spreadsheet exports it",
        {"dressings": DRESSINGS.replace("2026-04-10", "4/10/2026")},
        REFUSED,
        "in a spreadsheet give the column the format yyyy-mm-dd before it is saved",
    ),
    Case(
        "a day with a time zone",
        {"dressings": DRESSINGS.replace("2026-04-10", "2026-04-10 23:30:00+02:00")},
        REFUSED,
        "Write the day alone: with a time zone it could be another day at the site",
    ),
    Case(
        "a day that no month has",
        {"dressings": DRESSINGS.replace("2026-04-10", "2026-04-31")},
        REFUSED,
        "There is no such day",
    ),
    Case(
        "what to write for a decimal comma",
        {"catches": csv_text(all_catches(gross_g="142,5"), ";")},
        REFUSED,
        "Write 1,5 as 1.5 and 1,500 as 1500, or keep the records in a workbook, records.xlsx",
    ),
    Case(
        "what to write for a unit in the cell",
        {"catches": csv_text(with_catch(gross_g="142g"))},
        REFUSED,
        "Write the number alone; a unit belongs into the name of the column",
    ),
    Case(
        "a fraction of an inch",
        {"dressings": DRESSINGS.replace("depth_mm", "depth_in").replace("0.6", "1/32")},
        REFUSED,
        "'1/32' is not a number; allowed: digits, with a point as the decimal mark and nothing"
        " between thousands. Write fractions as decimal numbers, 1/32 as 0.03125",
    ),
    Case(
        "a fraction as one sign",
        {"dressings": DRESSINGS.replace("depth_mm", "depth_in").replace("0.6", "1½")},
        REFUSED,
        "'1½' is not a number; allowed: digits, with a point as the decimal mark and nothing"
        " between thousands. Write fractions as decimal numbers, 1/32 as 0.03125",
    ),
    Case(
        "full-width digits",
        {"catches": csv_text(with_catch(gross_g="\uff11\uff14\uff12"))},
        REFUSED,
        "is not a number",
    ),
    Case(
        "a no-break space behind a number",
        {"catches": csv_text(with_catch(gross_g="142\u00a0"))},
        ACCEPTED,
    ),
    Case(
        "a no-break space behind a number of GeoJSON",
        {"catches": points(with_catch(gross_g="142\u00a0"))},
        ACCEPTED,
    ),
    Case(
        "a zero-width space in a number",
        {"catches": csv_text(with_catch(gross_g="14\u200b2"))},
        REFUSED,
        "'14·2' is not a number",
    ),
    Case(
        "a column in capitals",
        {"catches": csv_text(CATCHES).replace("gross_g", "Gross_g")},
        REFUSED,
        "Did you mean 'Gross_g'? Add tare_g and gross_g",
    ),
    Case(
        "a unit in brackets",
        {"catches": csv_text(CATCHES).replace("gross_g", "gross (g)")},
        REFUSED,
        "Did you mean 'gross (g)'?",
    ),
    Case(
        "a unit that would be a power tower",
        {"catches": csv_text(CATCHES).replace("gross_g", "gross_kg**9**9**9")},
        REFUSED,
        "'kg**9**9**9' is not a unit",
    ),
)
