"""What is refused in dressings, loads, deliveries and editions, and with which words."""

from __future__ import annotations

import pytest

from tests.sites import DRESSINGS, G1, G2, SURFACES, TOML, collection, refusal, square, surface

TWO_SANDS = TOML.replace("[catches]", "[sands.washed]\nmoisture_wet_basis_percent = 4\n\n[catches]")
NO_MOISTURE = TOML.replace("moisture_dry_basis_percent = 0.0\nu_moisture_percent = 0.2\n", "")
HEAD = "dressing,date,surfaces"
LOAD = "load,dressing,count,unit_mass_kg"
DIGITS = "digits, with a point as the decimal mark and nothing between thousands"

DRESSING_FAULTS = {
    "no name": (
        f"{HEAD}\n,2026-04-10,green\n",
        "dressings.csv, row 2, dressing: nothing is written here. Write the dressing,"
        " or take out the row if it holds a total or a note.",
    ),
    "no date": (
        f"{HEAD}\nD1,,green\n",
        "dressings.csv, row 2, date: no date is written here; allowed: 2026-04-30.",
    ),
    "day first": (
        f"{HEAD}\nD1,10/04/2026,green\n",
        "dressings.csv, row 2, date: '10/04/2026' is not a date; allowed: year-month-day as in"
        " 2026-04-30. Write the date so that day and month can not be mixed up: in a spreadsheet"
        " give the column the format yyyy-mm-dd before it is saved.",
    ),
    "no such day": (
        f"{HEAD}\nD1,2026-02-30,green\n",
        "dressings.csv, row 2, date: '2026-02-30' is not a date; allowed: year-month-day as in"
        " 2026-04-30. There is no such day: look it up.",
    ),
    "spreadsheet's day number": (
        f"{HEAD}\nD1,46122,green\n",
        "dressings.csv, row 2, date: '46122' is not a date; allowed: year-month-day as in"
        " 2026-04-30. It looks like a spreadsheet's day number: give the column the date format.",
    ),
    "time with a zone": (
        f"{HEAD}\nD1,2026-04-10T23:30Z,green\n",
        "dressings.csv, row 2, date: '2026-04-10T23:30Z' is not a date; allowed: year-month-day as"
        " in 2026-04-30. Write the day alone: with a time zone it could be another day at the"
        " site.",
    ),
    "no surfaces": (
        f"{HEAD}\nD1,2026-04-10,\n",
        "dressings.csv, row 2, surfaces: nothing is written here. Write the surfaces.",
    ),
    "unknown surface": (
        f"{HEAD}\nD1,2026-04-10,green g22\n",
        "dressings.csv, row 2, surfaces: 'g22' is neither a surface's id nor a kind in the"
        " boundaries. Did you mean g2?",
    ),
    "surface dressed twice": (
        f"{HEAD}\nD1,2026-04-10,green\nD1,2026-04-10,g2\n",
        "dressings.csv, row 3, surfaces: 'g2' is already in row 2 of this dressing. Rows of one"
        " dressing name different surfaces.",
    ),
    "all surfaces dressed twice": (
        f"{HEAD}\nD1,2026-04-10,green\nD1,2026-04-10,green\n",
        "dressings.csv, row 3, surfaces: 'g1', 'g2' are already in row 2 of this dressing. Rows of"
        " one dressing name different surfaces.",
    ),
    "a kind and one of its surfaces": (
        f"{HEAD}\nD1,2026-04-10,Green g1\n",
        "dressings.csv, row 2, surfaces: 'green' means every surface of that kind, and 'g1' is one"
        " of them. Write the kind alone for all of them, or ids alone, spaces between.",
    ),
    "a surface called by its number": (
        f"{HEAD}\nD1,2026-04-10,#1 g2\n",
        "dressings.csv, row 2, surfaces: '#1' is neither a surface's id nor a kind in the"
        " boundaries. Did you mean g1 or t1?",
    ),
    "two dates": (
        f"{HEAD}\nD1,2026-04-10,g1\nD1,2026-04-11,g2\n",
        "dressings.csv, row 3, date: dressing 'D1' has another date in row 2. Rows of one dressing"
        " share it; else give the second a name of its own.",
    ),
    "two spreaders": (
        f"{HEAD},spreader\nD1,2026-04-10,g1,disc\nD1,2026-04-10,g2,belt\n",
        "dressings.csv, row 3, spreader: dressing 'D1' has another spreader in row 2. Rows of one"
        " dressing share it; else give the second a name of its own.",
    ),
    "unknown sand": (
        f"{HEAD},sand\nD1,2026-04-10,green,washed\n",
        "dressings.csv, row 2, sand: 'washed' is not in site.toml; allowed: dried.",
    ),
    "a planned depth of metres": (
        f"{HEAD},planned_depth_mm\nD1,2026-04-10,green,600\n",
        "dressings.csv, row 2, planned_depth_mm: 600 can not be right; allowed: at most 200.",
    ),
    "no depth planned": (
        f"{HEAD},planned_depth_mm\nD1,2026-04-10,green,0\n",
        "dressings.csv, row 2, planned_depth_mm: 0 can not be right; allowed: more than 0.",
    ),
    "heading": (
        f"{HEAD},heading_deg\nD1,2026-04-10,green,north\n",
        f"dressings.csv, row 2, heading_deg: 'north' is not a number; allowed: {DIGITS}.",
    ),
    "speed without its unit": (
        f"{HEAD},speed\nD1,2026-04-10,green,5\n",
        "dressings.csv, speed: speed does not say its unit. Call it speed_m_s or the like.",
    ),
    "header misspelt": (
        "dressing,day,surfaces\nD1,2026-04-10,green\n",
        "dressings.csv: there is no column date. Add date.",
    ),
    "header in capitals": (
        "Dressing,Date,Surfaces\nD1,2026-04-10,green\n",
        "dressings.csv: there is no column dressing. Did you mean 'Dressing'? Add dressing.",
    ),
}


@pytest.mark.parametrize("name", DRESSING_FAULTS)
def test_a_fault_of_dressings_is_told_first(site_folder, name):
    dressings, text = DRESSING_FAULTS[name]
    assert refusal(site_folder(dressings=dressings))[0] == text


@pytest.mark.parametrize(
    "name", [n for n in DRESSING_FAULTS if n not in ("no name", "header in capitals")]
)
def test_loads_and_catches_are_not_blamed_for_it(site_folder, name):
    dressings, _ = DRESSING_FAULTS[name]
    assert len(refusal(site_folder(dressings=dressings))) == 1


LOAD_FAULTS = {
    "no load": (
        f"{LOAD}\n,D1,52,25\n",
        "loads.csv, row 2, load: nothing is written here. Write the load,"
        " or take out the row if it holds a total or a note.",
    ),
    "load twice": (
        f"{LOAD}\nL1,D1,26,25\nL1,D1,26,25\n",
        "loads.csv, row 3, load: 'L1' is already in row 2. Give each load a name of its own.",
    ),
    "no dressing": (
        f"{LOAD}\nL1,,52,25\n",
        "loads.csv, row 2, dressing: nothing is written here. Write the dressing,"
        " or take out the row if it holds a total or a note.",
    ),
    "unknown dressing": (
        f"{LOAD}\nL1,D2,52,25\n",
        "loads.csv, row 2, dressing: 'D2' is not in the dressings; allowed: D1.",
    ),
    "no count": (
        f"{LOAD}\nL1,D1,,25\n",
        "loads.csv, row 2, count: no number is written here. Fill it in.",
    ),
    "no column count": (
        "load,dressing,unit_mass_kg\nL1,D1,25\n",
        "loads.csv: there is no column count. Add count.",
    ),
    "none taken": (
        f"{LOAD}\nL1,D1,0,25\n",
        "loads.csv, row 2, count: 0 can not be right; allowed: more than 0.",
    ),
    "a count of millions": (
        f"{LOAD}\nL1,D1,5e9,25\n",
        "loads.csv, row 2, count: 5e+09 can not be right; allowed: at most 1e+06.",
    ),
    "a mass beyond floats": (
        f"{LOAD},returned_t\nL1,D1,1,25,1e308\n",
        "loads.csv, row 2, returned_t: inf can not be right; allowed: a finite number.",
    ),
    "no unit mass": (
        "load,dressing,count\nL1,D1,52\n",
        "loads.csv, row 2, unit_mass_kg: no unit mass. Give the mass of one bag or hopper.",
    ),
    "ton": (
        "load,dressing,count,unit_mass_ton\nL1,D1,2,1\n",
        "loads.csv, unit_mass_ton: 'ton' is not one mass: write tonne, short_ton or long_ton.",
    ),
    "tons": (
        "load,dressing,count,unit_mass_tons\nL1,D1,2,1\n",
        "loads.csv, unit_mass_tons: 'tons' is not one mass: write tonne, short_ton or long_ton.",
    ),
    "unit mass without unit": (
        "load,dressing,count,unit_mass\nL1,D1,52,25\n",
        "loads.csv, unit_mass: unit_mass does not say its unit. Call it unit_mass_kg or the like.",
    ),
    "mass and volume": (
        f"{LOAD},unit_volume_m3,loose_bulk_density_kg_m3\nL1,D1,52,25,0.02,1500\n",
        "loads.csv, row 2, unit_mass_kg: both a unit mass and a unit volume are given. Keep the one"
        " that was measured.",
    ),
    "volume without density": (
        "load,dressing,count,unit_volume_m3\nL1,D1,3,0.5\n",
        "loads.csv, row 2, loose_bulk_density_kg_m3: a unit volume needs its loose bulk density."
        " Weigh one hopper: dry mass per volume as loaded.",
    ),
    "more back than out": (
        f"{LOAD},returned_kg,spilled_kg\nL1,D1,2,25,40,10.01\n",
        "loads.csv, row 2, returned_kg: more came back or was spilled (50.01 kg) than was taken out"
        " (50 kg). Check count, unit mass and what came back.",
    ),
    "negative return": (
        f"{LOAD},returned_kg\nL1,D1,52,25,-3\n",
        "loads.csv, row 2, returned_kg: -3 can not be right; allowed: at least 0.",
    ),
    "a surface not dressed": (
        f"{LOAD},surfaces\nL1,D1,52,25,g1 t1\n",
        "loads.csv, row 2, surfaces: 't1' is not dressed in D1; allowed: g1, g2.",
    ),
    "label beyond": (
        f"{LOAD},u_label_percent\nL1,D1,52,25,80\n",
        "loads.csv, row 2, u_label_percent: 80 can not be right; allowed: at most 50.",
    ),
    "moisture on both bases": (
        f"{LOAD},moisture_dry_basis_percent,moisture_wet_basis_percent\nL1,D1,52,25,4.2,4.0\n",
        "loads.csv, row 2, moisture_…: moisture is given on both bases. Keep one of them.",
    ),
    "bare moisture": (
        f"{LOAD},moisture_percent\nL1,D1,52,25,4\n",
        "loads.csv, moisture_percent: a bare moisture can mean two things. Call it"
        " moisture_dry_basis_percent (water per dry sand) or moisture_wet_basis_percent (water per"
        " moist sand).",
    ),
}


@pytest.mark.parametrize("name", LOAD_FAULTS)
def test_one_fault_of_loads_is_told_in_full_and_alone(site_folder, name):
    loads, text = LOAD_FAULTS[name]
    assert refusal(site_folder(loads=loads)) == [text]


def test_moisture_said_nowhere(site_folder):
    found = refusal(site_folder(toml=NO_MOISTURE, catches=None))
    assert found == [
        "loads.csv, row 2, moisture_dry_basis_percent: the sand's moisture is said neither here nor"
        " in site.toml. Measure it (weigh, dry, weigh), or say kiln_dried = true for the sand."
    ]


def test_two_sands_have_to_be_named(site_folder):
    deliveries = "date,mass_kg,sand\n2026-03-09,16150,\n2026-03-10,5000,gravel\n"
    assert refusal(site_folder(toml=TWO_SANDS, deliveries=deliveries)) == [
        "dressings.csv, row 2, sand: it is not said which sand; allowed: dried, washed.",
        "deliveries.csv, row 2, sand: nothing is written here. Write the sand.",
        "deliveries.csv, row 3, sand: 'gravel' is not in site.toml; allowed: dried, washed.",
    ]


@pytest.mark.parametrize(
    ("deliveries", "text"),
    [
        (
            "date,ticket\n2026-03-09,W1\n",
            "deliveries.csv: there is no mass_kg or mass_… with another unit. Add mass_kg.",
        ),
        (
            "date,mass_kg\n2026-03-09,\n",
            "deliveries.csv, row 2, mass_kg: no number is written here. Fill it in.",
        ),
        (
            "date,mass_t\n,16\n",
            "deliveries.csv, row 2, date: no date is written here; allowed: 2026-04-30.",
        ),
        (
            "date,mass_kg\n2026-03-09,0\n",
            "deliveries.csv, row 2, mass_kg: 0 can not be right of a delivery; allowed: more than"
            " 0. Leave the row out; a count of an empty yard says kind = count.",
        ),
        ("", "deliveries.csv: is empty. Its first line names the columns."),
    ],
)
def test_deliveries(site_folder, deliveries, text):
    assert refusal(site_folder(deliveries=deliveries)) == [text]


def test_records_of_a_missing_dressings_file(site_folder):
    assert refusal(site_folder(dressings=None)) == [
        "dressings.csv: no dressings are recorded here. Add the dressings that the loads and"
        " catches name."
    ]


def test_an_empty_dressings_table_is_told_once(site_folder):
    assert refusal(site_folder(dressings=DRESSINGS.splitlines()[0])) == [
        "dressings.csv: no dressings are recorded here. Add the dressings that the loads and"
        " catches name."
    ]


def edition(**members):
    return collection(
        [surface("g1", "green", square(*G1, 18)), surface("g2", "green", square(*G2, 30))],
        **members,
    )


def test_an_edition_must_be_older_than_the_boundaries_in_force(site_folder):
    files = {"editions/a.geojson": edition(valid_from="2026-05-01")}
    surfaces = collection(SURFACES, valid_from="2026-02-01")
    assert refusal(site_folder(surfaces=surfaces, files=files)) == [
        "editions/a.geojson, valid_from: its valid_from (2026-05-01) is not before that of"
        " surfaces.geojson (2026-02-01), which is in force. Say in both files from which day they"
        " hold."
    ]


def test_two_editions_of_one_day_are_refused(site_folder):
    files = {f"editions/{n}.geojson": edition(valid_from="2024-05-01") for n in "ab"}
    surfaces = collection(SURFACES, valid_from="2026-02-01")
    assert refusal(site_folder(surfaces=surfaces, files=files)) == [
        "editions/b.geojson, valid_from: holds from the same day as editions/a.geojson. Say in each"
        " edition from which day it holds."
    ]


def test_a_surface_that_was_not_there_yet(site_folder):
    files = {"editions/2024-05-01.geojson": edition()}
    surfaces = collection(SURFACES, valid_from="2026-05-01")
    dressings = f"{HEAD}\nD1,2026-04-10,green\nD2,2026-04-20,t1\nD3,2026-05-20,t1\n"
    found = refusal(site_folder(surfaces=surfaces, files=files, dressings=dressings))
    assert found == [
        "dressings.csv, row 3, surfaces: 't1' is not in the boundaries of that date. Look at the"
        " date, and at valid_from of the editions."
    ]
