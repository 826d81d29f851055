"""Cells: numbers, units in column names. All cases are made for this project."""

from __future__ import annotations

from tests.bad_input.case import ACCEPTED, FOUND, REFUSED, Case
from tests.bad_input.dates import DATES
from tests.bad_input.spoiled import csv_text, settings, with_catch
from tests.sites import CATCHES, DRESSINGS, LOADS

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
                {name: c[name] for name in ("catch", "dressing", "lon", "lat")}
                | {"tray_length_in": 16, "tray_width_in": 10, "tare_oz": 2, "gross_oz": 5.3}
                for c in CATCHES
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
        {
            "dressings": "dressing,date,surfaces,planned_depth_in,swath_m\n"
            "D1,2026-04-10,green,0.02,4\n"
        },
        ACCEPTED,
    ),
)


RATES = (
    Case(
        "a rate for a planned depth",
        {"dressings": DRESSINGS.replace("depth_mm", "depth_lb_per_1000ft2")},
        REFUSED,
        "'lb_per_1000ft2' is no length: use one of mm, cm, m, in, ft, yd. Call it"
        " planned_rate_lb_per_1000ft2",
    ),
    Case(
        "a planned rate by volume",
        {"dressings": DRESSINGS.replace("depth_mm", "rate_ft3_per_1000ft2")},
        REFUSED,
        "short_ton_per_acre. Call it planned_depth_ft3_per_1000ft2",
    ),
    Case(
        "a planned depth and a planned rate",
        {
            "dressings": "dressing,date,surfaces,planned_depth_mm,planned_rate_kg_m2,swath_m\n"
            "D1,2026-04-10,green,0.6,0.93,4\n"
        },
        REFUSED,
        "row 2, planned_rate_kg_m2: both a planned depth and a planned rate are given. Keep one",
    ),
    Case(
        "a planned rate of a sand without its density",
        {
            "dressings": DRESSINGS.replace("depth_mm", "rate_kg_m2"),
            "toml": settings("bulk_density_g_cm3 = 1.55\nu_bulk_density_g_cm3 = 0.03\n", ""),
        },
        REFUSED,
        "row 2, planned_rate_kg_m2: a planned rate needs the bulk density of its sand. Give",
    ),
    Case(
        "a planned rate",
        {"dressings": DRESSINGS.replace("depth_mm", "rate_kg_m2").replace("0.6", "0.93")},
        ACCEPTED,
    ),
    Case(
        "a planned rate in grams",
        {"dressings": DRESSINGS.replace("depth_mm", "rate_kg_m2").replace("0.6", "300")},
        FOUND,
        "row 2, planned_rate_kg_m2: 300 where 0.15 to 40 is usual: check the unit",
    ),
)


CASES = (*NUMBERS, *UNITS, *RATES, *DATES)
