"""Cells: numbers, units in column names, dates. All cases are made for this project."""

from __future__ import annotations

from tests.bad_input.case import ACCEPTED, FOUND, REFUSED, Case
from tests.bad_input.spoiled import csv_text, with_catch
from tests.sites import DRESSINGS, LAT, LOADS, LON

NUMBERS = (
    Case(
        "a decimal comma",
        {"catches": csv_text(with_catch(gross_g="142,5"), ";")},
        REFUSED,
        "'142,5' is not a number",
    ),
    Case(
        "a thousands comma",
        {"catches": csv_text(with_catch(gross_g="1,142"), ";")},
        REFUSED,
        "'1,142' is not a number",
    ),
    Case(
        "a thousands space",
        {"catches": csv_text(with_catch(gross_g="1 142"))},
        REFUSED,
        "'1 142' is not a number",
    ),
    Case(
        "a thousands apostrophe",
        {"catches": csv_text(with_catch(gross_g="1'142"))},
        REFUSED,
        "is not a number",
    ),
    Case(
        "a unit in the cell",
        {"catches": csv_text(with_catch(gross_g="142 g"))},
        REFUSED,
        "'142 g' is not a number",
    ),
    Case("nan", {"catches": csv_text(with_catch(gross_g="nan"))}, REFUSED, "'nan' is not a number"),
    Case(
        "inf",
        {"catches": csv_text(with_catch(gross_g="inf"))},
        REFUSED,
        "catches.csv, row 2, gross_g",
    ),
    Case(
        "1e400",
        {"catches": csv_text(with_catch(gross_g="1e400"))},
        REFUSED,
        "catches.csv, row 2, gross_g",
    ),
    Case(
        "a hexadecimal number",
        {"catches": csv_text(with_catch(gross_g="0x8E"))},
        REFUSED,
        "is not a number",
    ),
    Case(
        "Arabic-Indic digits",
        {"catches": csv_text(with_catch(gross_g="١٤٢"))},
        REFUSED,
        "is not a number",
    ),
    Case(
        "underscores in a number",
        {"catches": csv_text(with_catch(gross_g="1_42"))},
        REFUSED,
        "is not a number",
    ),
    Case(
        "a spreadsheet's error",
        {"catches": csv_text(with_catch(gross_g="#DIV/0!"))},
        REFUSED,
        "'#DIV/0!' is not a number",
    ),
    Case(
        "a formula", {"catches": csv_text(with_catch(gross_g="=50+92"))}, REFUSED, "is not a number"
    ),
    Case(
        "5000 digits",
        {"catches": csv_text(with_catch(gross_g="1" * 5000))},
        REFUSED,
        "catches.csv, row 2, gross_g",
    ),
    Case(
        "gross below tare",
        {"catches": csv_text(with_catch(gross_g=40))},
        REFUSED,
        "catches.csv, row 2",
    ),
    Case("gross equal to tare", {"catches": csv_text(with_catch(gross_g=50))}, FOUND, "c1"),
    Case("a negative tare", {"catches": csv_text(with_catch(tare_g=-5))}, REFUSED, "tare_g"),
    Case(
        "a tray of no size",
        {"catches": csv_text(with_catch(tray_length_mm=0))},
        REFUSED,
        "tray_length_mm: 0 can not be right",
    ),
    Case(
        "a tray of ten metres",
        {"catches": csv_text(with_catch(tray_length_mm=10000))},
        REFUSED,
        "tray_length_mm",
    ),
    Case(
        "a catch of 200 kg",
        {"catches": csv_text(with_catch(gross_g=200000))},
        REFUSED,
        "catches.csv, row 2",
    ),
    Case(
        "minus two bags",
        {"loads": LOADS.replace(",52,", ",-2,")},
        REFUSED,
        "count: -2 can not be right",
    ),
    Case("half a bag", {"loads": LOADS.replace(",52,", ",51.5,")}, ACCEPTED),
    Case(
        "more returned than loaded",
        {"loads": "load,dressing,count,unit_mass_kg,returned_kg\nL1,D1,52,25,5000\n"},
        REFUSED,
        "returned",
    ),
    Case(
        "a negative return",
        {"loads": "load,dressing,count,unit_mass_kg,returned_kg\nL1,D1,52,25,-5\n"},
        REFUSED,
        "returned_kg: -5 can not be right",
    ),
    Case(
        "moisture over 100 %",
        {"loads": "load,dressing,count,unit_mass_kg,moisture_wet_basis_percent\nL1,D1,52,25,120\n"},
        REFUSED,
        "moisture_wet_basis_percent: 120 can not be right",
    ),
    Case(
        "dry and wet basis together",
        {
            "loads": "load,dressing,count,unit_mass_kg,moisture_wet_basis_percent,"
            "moisture_dry_basis_percent\nL1,D1,52,25,5,5\n"
        },
        REFUSED,
        "moisture",
    ),
    Case(
        "a planned depth of a metre",
        {"dressings": DRESSINGS.replace(",0.6,", ",1000,")},
        REFUSED,
        "planned_depth_mm",
    ),
    Case(
        "a negative planned depth",
        {"dressings": DRESSINGS.replace(",0.6,", ",-0.6,")},
        REFUSED,
        "planned_depth_mm: -0.6 can not be right",
    ),
    Case(
        "a heading of 400 degrees",
        {"dressings": "dressing,date,surfaces,heading_deg\nD1,2026-04-10,green,400\n"},
        REFUSED,
        "heading_deg: 400 can not be right",
    ),
)


UNITS = (
    Case(
        "ounces and inches",
        {
            "catches": [
                {
                    "catch": "c1",
                    "dressing": "D1",
                    "lon": LON,
                    "lat": LAT,
                    "tray_length_in": 16,
                    "tray_width_in": 10,
                    "tare_oz": 2,
                    "gross_oz": 5,
                }
            ]
        },
        ACCEPTED,
    ),
    Case(
        "ton alone",
        {"loads": "load,dressing,count,unit_mass_ton\nL1,D1,1,1.3\n"},
        REFUSED,
        "short_ton",
    ),
    Case(
        "a mass in metres",
        {"loads": "load,dressing,count,unit_mass_m\nL1,D1,1,1.3\n"},
        REFUSED,
        "unit_mass",
    ),
    Case(
        "no unit",
        {"loads": "load,dressing,count,unit_mass\nL1,D1,52,25\n"},
        REFUSED,
        "does not say its unit",
    ),
    Case(
        "an unknown unit",
        {"loads": "load,dressing,count,unit_mass_stone_age\nL1,D1,52,25\n"},
        REFUSED,
        "unit_mass",
    ),
    Case(
        "an expression as a unit",
        {"loads": "load,dressing,count,unit_mass_(kg**9**9**9)\nL1,D1,52,25\n"},
        REFUSED,
        "unit_mass",
    ),
    Case(
        "the same mass twice",
        {"loads": "load,dressing,count,unit_mass_kg,unit_mass_lb\nL1,D1,52,25,55\n"},
        REFUSED,
        "say the same thing",
    ),
    Case(
        "a bare moisture",
        {"loads": "load,dressing,count,unit_mass_kg,moisture\nL1,D1,52,25,5\n"},
        REFUSED,
        "moisture",
    ),
    Case(
        "a depth in inches",
        {"dressings": "dressing,date,surfaces,planned_depth_in\nD1,2026-04-10,green,0.02\n"},
        ACCEPTED,
    ),
)


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
        FOUND,
        "its date 9999-12-31 is outside the season",
    ),
    Case(
        "the year 0001",
        {"dressings": DRESSINGS.replace("2026-04-10", "0001-01-01")},
        FOUND,
        "its date 0001-01-01 is outside the season",
    ),
)


CASES = (*NUMBERS, *UNITS, *DATES)
