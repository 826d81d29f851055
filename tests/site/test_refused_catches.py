"""What is refused in the catches, and with which words."""

from __future__ import annotations

import pytest

from geosand.formats.site_folder import read_site
from tests.sites import CATCHES, LAT, LON, TOML, catch, points, refusal, table

C = catch
NO_MOISTURE = TOML.replace("moisture_dry_basis_percent = 0.0\nu_moisture_percent = 0.2\n", "")

#: Rows (the first is row 2 of the file), and the whole text of the one fault they have.
ONE_FAULT = {
    "text for a mass": (
        [C(1), C(2, gross_g="heavy")],
        "catches.csv, row 3, gross_g: 'heavy' is not a number; allowed: digits, with a point as"
        " the decimal mark and nothing between thousands.",
    ),
    "decimal comma": (
        [C(1, gross_g='"142,5"')],
        "catches.csv, row 2, gross_g: '142,5' is not a number; allowed: digits, with a point as"
        " the decimal mark and nothing between thousands. Write 1,5 as 1.5 and 1,500 as 1500, or"
        " keep the records in a workbook, records.xlsx, which has numbers as such.",
    ),
    "thousands": (
        [C(1, gross_g="1 142")],
        "catches.csv, row 2, gross_g: '1 142' is not a number; allowed: digits, with a point as"
        " the decimal mark and nothing between thousands. Write 1 500 as 1500 and"
        " 1.500,5 as 1500.5.",
    ),
    "not a number": (
        [C(1, gross_g="nan")],
        "catches.csv, row 2, gross_g: 'nan' is not a number; allowed: digits, with a point as"
        " the decimal mark and nothing between thousands."
        " Write nothing where nothing was measured.",
    ),
    "beyond all floats": (
        [C(1, tare_g="1e400")],
        "catches.csv, row 2, tare_g: '1e400' is not a number; allowed: digits, with a point as"
        " the decimal mark and nothing between thousands. It is too large.",
    ),
    "other digits": (
        [C(1, gross_g="١٤٢")],
        "catches.csv, row 2, gross_g: '١٤٢' is not a number; allowed: digits, with a point as"
        " the decimal mark and nothing between thousands. Write its digits anew, as"
        " 0 to 9 of the keyboard.",
    ),
    "negative": (
        [C(1, tare_g=-3)],
        "catches.csv, row 2, tare_g: -3 can not be right; allowed: at least 0.",
    ),
    "absurd": (
        [C(1, gross_g="2e9")],
        "catches.csv, row 2, gross_g: 2e+09 can not be right; allowed: at most 1e+06.",
    ),
    "gross below tare": (
        [C(1), C(2), C(3, tare_g=200)],
        "catches.csv, row 4, gross_g: the gross mass, 138 g, is below the tare, 200 g. Check"
        " whether the two were swapped or a tray was mixed up.",
    ),
    "gross below tare in ounces": (
        [C(1, tare_g="", gross_g="") | {"tare_oz": "8", "gross_oz": "7.5"}],
        "catches.csv, row 2, gross_oz: the gross mass, 212.6 g, is below the tare, 226.8 g. Check"
        " whether the two were swapped or a tray was mixed up.",
    ),
    "surface called as on the plan": (
        [C(1, surface="Green 1")],
        "catches.csv, row 2, surface: 'Green 1' is not a surface's id in the boundaries. Did you"
        " mean g1?",
    ),
    "degrees, minutes, seconds": (
        [C(1, lat="47°00'03.6\"N")],
        "catches.csv, row 2, lat: '47°00'03.6\"N' is not a number; allowed: digits, with a point"
        " as the decimal mark and nothing between thousands. Write decimal degrees, west and south"
        " with a minus, as in -99.5151.",
    ),
    "no tare": (
        [C(1, tare_g="")],
        "catches.csv, row 2, tare_g: a gross mass without its tare. Weigh the empty tray; write"
        " 0 where the scale was set to zero with it.",
    ),
    "nothing measured": (
        [C(1), C(2, gross_g="")],
        "catches.csv, row 3, gross_g: neither a mass nor a usable volume was measured. Give tare_g"
        " and gross_g, or a dry volume_cm3; or a reject_reason.",
    ),
    "no catch": (
        [C(1, catch="")],
        "catches.csv, row 2, catch: nothing is written here. Write the catch,"
        " or take out the row if it holds a total or a note.",
    ),
    "no column catch": (
        [C(1, catch=None, Catch="c1")],
        "catches.csv: there is no column catch. Did you mean 'Catch'? Add catch.",
    ),
    "unknown dressing": (
        [C(1, dressing="D9")],
        "catches.csv, row 2, dressing: 'D9' is not in the dressings; allowed: D1.",
    ),
    "unknown surface": (
        [C(1, surface="g9")],
        "catches.csv, row 2, surface: 'g9' is not a surface's id in the boundaries. Write the id,"
        " or leave it blank: the position then decides.",
    ),
    "no position": (
        [C(1, lat="")],
        "catches.csv, row 2, lon, lat: the catch has no position. Give lon and lat.",
    ),
    "text for a position": (
        [C(1, lat="47 N")],
        "catches.csv, row 2, lat: '47 N' is not a number; allowed: digits, with a point as"
        " the decimal mark and nothing between thousands. Write decimal degrees, west and south"
        " with a minus, as in -99.5151.",
    ),
    "a sign forgotten": (
        [C(1), C(2, lon=-LON)],
        "catches.csv, row 3, lon, lat: catch 'c2' at 30, 47 lies 60° from all surfaces. Degrees"
        " west and south are negative: look at the signs.",
    ),
    "no column lon": (
        [C(1, lon=None, longitude=LON), C(2, lon=None, longitude=LON)],
        "catches.csv: there are no columns lon and lat. Did you mean 'longitude'? Add lon and lat,"
        " in degrees.",
    ),
    "metres for degrees": (
        [C(1, lon=500123.4, lat=5200456.7)],
        "catches.csv, row 2, lon, lat: 500123, 5.20046e+06 is no longitude and latitude in"
        " degrees; allowed: lon ±180, lat ±90. Look for the two swapped, or metres in place of"
        " degrees.",
    ),
    "a latitude near the largest float": (
        [C(1, lon=30, lat=1e308)],
        "catches.csv, row 2, lon, lat: 30, 1e+308 is no longitude and latitude in"
        " degrees; allowed: lon ±180, lat ±90. Look for the two swapped, or metres in place of"
        " degrees.",
    ),
    "swapped": (
        [C(1), C(2, lon=LAT, lat=LON)],
        "catches.csv, row 3, lon, lat: catch 'c2' at 47, -30 lies 77° from all surfaces. Look for"
        " longitude and latitude swapped, here or in the surfaces.",
    ),
    "no tray": (
        [C(1), C(2, tray_width_mm="")],
        "catches.csv, row 3, tray_…: no tray size; allowed: tray_length_mm and tray_width_mm, or"
        " tray_diameter_mm, or tray_area_cm2.",
    ),
    "two tray sizes": (
        [C(1, tray_area_cm2=1000)],
        "catches.csv, row 2, tray_…: the tray's size is given twice; allowed: tray_length_mm and"
        " tray_width_mm, or tray_diameter_mm, or tray_area_cm2.",
    ),
    "tray misspelt": (
        [
            C(k, tray_length_mm=None, tray_width_mm=None, tray_lenght_mm=400, tray_widht_mm=250)
            for k in (1, 2, 3)
        ],
        "catches.csv: there is no tray size. Did you mean 'tray_lenght_mm'? Add tray_length_mm and"
        " tray_width_mm, or tray_diameter_mm, or tray_area_cm2.",
    ),
    "tray misspelt on one side": (
        [C(1, tray_width_mm=None, tray_widht_mm=250)],
        "catches.csv, row 2, tray_…: no tray size; allowed: tray_length_mm and tray_width_mm, or"
        " tray_diameter_mm, or tray_area_cm2. Did you mean 'tray_widht_mm'?",
    ),
    "tare misspelt": (
        [C(1, tare_g=None, tara_g=50)],
        "catches.csv, row 2, tare_…: a gross mass without its tare. Did you mean 'tara_g'? Weigh"
        " the empty tray; write 0 where the scale was set to zero with it.",
    ),
    "tray of no size": (
        [C(1, tray_width_mm=0)],
        "catches.csv, row 2, tray_width_mm: 0 can not be right; allowed: more than 0.",
    ),
    "tray of ten metres": (
        [C(1, tray_length_mm=10_000)],
        "catches.csv, row 2, tray_length_mm: 10000 can not be right; allowed: at most 5000.",
    ),
    "tray of ten metres each way": (
        [C(1, tray_length_mm=None, tray_width_mm=None, tray_area_cm2=1e6)],
        "catches.csv, row 2, tray_area_cm2: 1e+06 can not be right; allowed: at most 250000.",
    ),
    "more sand than any dressing": (
        [C(1), C(2, gross_g=200_050)],  # 200 kg on 0.1 m²
        "catches.csv, row 3, gross_g: sand 1,282 mm deep (poured at 1.56 g/cm³) on 1,000 cm² can"
        " not be right; allowed: at most 100 mm. Check the units in the names of the columns"
        " (gross_g, tray_length_mm) and the numbers; a spoiled catch gets a reject_reason.",
    ),
    "ounces called pounds": (
        [C(1, gross_g=None, tare_g=None, gross_lb=36, tare_lb=1)],  # 15.9 kg on 0.1 m²
        "catches.csv, row 2, gross_lb: sand 102 mm deep (poured at 1.56 g/cm³) on 1,000 cm² can"
        " not be right; allowed: at most 100 mm. Check the units in the names of the columns"
        " (gross_lb, tray_length_mm) and the numbers; a spoiled catch gets a reject_reason.",
    ),
    "more volume than any dressing": (
        [C(1, gross_g="", volume_cm3=60_000, volume_state="dry")],
        "catches.csv, row 2, volume_cm3: sand 600 mm deep on 1,000 cm² can not be right; allowed:"
        " at most 100 mm. Check the units in the names of the columns (volume_cm3, tray_length_mm)"
        " and the numbers; a spoiled catch gets a reject_reason.",
    ),
    "more sand in a pool": (
        [C(1), C(2, gross_g="", pool="p"), C(3, gross_g=40_050, pool="p")],  # 40 kg on 0.2 m²
        "catches.csv, row 3, gross_g: sand 128 mm deep (poured at 1.56 g/cm³) on 2,000 cm² can"
        " not be right; allowed: at most 100 mm. Check the units in the names of the columns"
        " (gross_g, tray_length_mm) and the numbers; a spoiled catch gets a reject_reason.",
    ),
    "unit missing": (
        [C(1, tare_g=None, tare=50)],
        "catches.csv, tare: tare does not say its unit. Call it tare_kg or the like.",
    ),
    "unit of another measure": (
        [C(1, tare_g=None, tare_mm=50)],
        "catches.csv, tare_mm: 'mm' is no mass: use one of g, kg, t, oz, lb, short_ton, long_ton.",
    ),
    "unknown unit": (
        [C(1, tare_g=None, tare_stone=50)],
        "catches.csv, tare_stone: 'stone' is not a unit known here: use one of g, kg, t, oz, lb,"
        " short_ton, long_ton.",
    ),
    "unit and measure twice": (
        [C(1, tare_kg=0.05)],
        "catches.csv: tare_g and tare_kg say the same thing. Keep one of them.",
    ),
    "state of volume": (
        [C(1, volume_cm3=60, volume_state="damp")],
        "catches.csv, row 2, volume_state: 'damp' is not known; allowed: dry, moist, tapped.",
    ),
    "only a moist volume": (
        [C(1, gross_g="", volume_cm3=60, volume_state="moist")],
        "catches.csv, row 2, gross_g: neither a mass nor a usable volume was measured. Give tare_g"
        " and gross_g, or a dry volume_cm3; or a reject_reason.",
    ),
    "bare moisture": (
        [C(1, moisture_percent=4)],
        "catches.csv, moisture_percent: a bare moisture can mean two things. Call it"
        " moisture_dry_basis_percent (water per dry sand) or moisture_wet_basis_percent (water per"
        " moist sand).",
    ),
    "moisture twice": (
        [C(1, moisture_dry_basis_percent=4, moisture_wet_basis_percent=4)],
        "catches.csv, row 2, moisture_…: moisture is given on both bases. Keep one of them.",
    ),
    "moisture beyond": (
        [C(1, moisture_dry_basis_percent=400)],
        "catches.csv, row 2, moisture_dry_basis_percent: 400 can not be right; allowed: at most"
        " 100.",
    ),
    "part with another tray": (
        [C(1), C(1, tray_width_mm=300)],
        "catches.csv, row 3, catch: 'c1' is already in row 2, with another tray. Rows with the same"
        " catch and dressing are parts of one catch and agree in all but their mass and volume; a"
        " catch of its own needs a name of its own.",
    ),
    "part elsewhere": (
        [C(1), C(1, lat=LAT + 1.1e-5)],  # 1.2 m: another tray of the same name
        "catches.csv, row 3, catch: 'c1' is already in row 2, with another place, 1.2 m from there."
        " Rows with the same catch and dressing are parts of one catch and agree in all but their"
        " mass and volume; a catch of its own needs a name of its own.",
    ),
    "part without a mass": (
        [
            C(1, volume_cm3=60, volume_state="dry"),
            C(1, gross_g="", volume_cm3=60) | {"volume_state": "dry"},
        ],
        "catches.csv, row 3, catch: 'c1' is already in row 2, with a mass in one of the two only."
        " Rows with the same catch and dressing are parts of one catch and agree in all but their"
        " mass and volume; a catch of its own needs a name of its own.",
    ),
    "part rejected": (
        [C(1), C(1, reject_reason="ant hill")],
        "catches.csv, row 3, catch: 'c1' is already in row 2, with a reject_reason in one of the"
        " two only. Rows with the same catch and dressing are parts of one catch and agree in all"
        " but their mass and volume; a catch of its own needs a name of its own.",
    ),
    "pool with two readings": (
        [C(1, pool="p"), C(2, pool="p"), C(3, pool="p", gross_g="")],
        "catches.csv, row 2, pool: pool 'p' has 2 readings of mass for 3 trays; allowed: one"
        " reading for all of them, or one for each.",
    ),
    "pool partly rejected": (
        [C(1, pool="p"), C(2, pool="p", gross_g="", reject_reason="dew")],
        "catches.csv, row 3, reject_reason: another decision than in row 2 of the same pool."
        " Reject all trays of a pool or none: their sand was weighed together.",
    ),
    "pool of one without a reading": (
        [C(1), C(2, pool="p", gross_g="")],
        "catches.csv, row 3, gross_g: neither a mass nor a usable volume was measured. Give tare_g"
        " and gross_g, or a dry volume_cm3; or a reject_reason.",
    ),
    "control characters": (
        [C(1, note="bell\x07")],
        "catches.csv, row 2, note: 'bell·' holds control characters. Write it anew.",
    ),
    "an endless text": (
        [C(1, note="n" * 5000)],
        "catches.csv, row 2, note: a text of 5,000 characters; allowed: 1,000.",
    ),
}


@pytest.mark.parametrize("name", ONE_FAULT)
def test_one_fault_is_told_in_full_and_alone(site_folder, name):
    rows, text = ONE_FAULT[name]
    assert refusal(site_folder(catches=rows)) == [text]


def test_deep_sand_passes_where_it_is_rejected_or_shared(site_folder):
    deep = C(1, gross_g=200_050, reject_reason="weighed on the lorry's scale")
    assert len(read_site(site_folder("a", catches=[deep, C(2)])).catches) == 2
    # 20 kg would be 128 mm in the one tray; it fell into two
    pool = [C(1, gross_g=20_050, pool="p"), C(2, gross_g="", pool="p")]
    assert len(read_site(site_folder("b", catches=pool)).catches) == 2
    deepest = 0.1 * 1560 * 0.1 * 1000  # 100 mm, in g on 0.1 m²
    assert len(read_site(site_folder("c", catches=[C(1, gross_g=49 + deepest)])).catches) == 1
    assert refusal(site_folder("d", catches=[C(1, gross_g=51 + deepest)]))


def test_moisture_said_nowhere_is_refused_for_a_mass(site_folder):
    found = refusal(site_folder(toml=NO_MOISTURE, loads=None, catches=[C(1)]))
    assert found == [
        "catches.csv, row 2, moisture_dry_basis_percent: the sand's moisture is said nowhere. Give"
        " it in site.toml, in the loads or here; or kiln_dried = true."
    ]


def test_a_moist_sands_volume_of_unsaid_state_is_refused_with_what_is_missing(site_folder):
    moist = TOML.replace("moisture_dry_basis_percent = 0.0", "moisture_dry_basis_percent = 4.0")
    folder = site_folder(toml=moist, catches=[C(1, gross_g="", tare_g="", volume_cm3=60)])
    assert refusal(folder) == [
        "catches.csv, row 2, volume_state: no mass, and a volume of sand that is not dry counts"
        " only if it says dry. Write dry if it was dried before; or give tare_g and gross_g."
    ]


def test_many_faults_come_together_in_order_of_files_and_rows(site_folder):
    rows = [C(1, gross_g="x", surface="nowhere"), C(2, tare_g=-1), C(3, dressing="D7")]
    folder = site_folder(
        catches=rows, loads="load,dressing,count,unit_mass_kg\nL1,D1,0,25\nL2,D8,1,25\n"
    )
    found = refusal(folder)
    assert [text.split(":")[0] for text in found] == [
        "loads.csv, row 2, count",
        "loads.csv, row 3, dressing",
        "catches.csv, row 2, gross_g",
        "catches.csv, row 2, surface",
        "catches.csv, row 3, tare_g",
        "catches.csv, row 4, dressing",
    ]


def test_geojson_counts_features_and_csv_rows(site_folder):
    rows = [C(1), C(2, gross_g=-5)]
    csv_text = refusal(site_folder("a", catches=rows))
    geojson = refusal(site_folder("b", catches=points(rows)))
    assert [t.replace("catches.csv, row 3", "…") for t in csv_text] == [
        t.replace("catches.geojson, feature 2", "…") for t in geojson
    ]
    assert csv_text[0].startswith("catches.csv, row 3, gross_g: -5 can not be right")


def test_rows_count_blank_lines_and_cells_of_several_lines_as_a_spreadsheet_does(site_folder):
    lines = table([C(1, note='"two\nlines"'), C(2, gross_g="x", note="")]).splitlines()
    text = "\n".join([lines[0], "", ",,,", *lines[1:]])
    found = refusal(site_folder(catches=text))
    assert [t.split(":")[0] for t in found] == ["catches.csv, row 5, gross_g"]


def test_a_missing_column_is_told_once_however_many_rows(site_folder):
    rows = [{k: v for k, v in row.items() if k != "dressing"} for row in CATCHES]
    assert refusal(site_folder(catches=rows)) == [
        "catches.csv: there is no column dressing. Add dressing."
    ]


@pytest.mark.parametrize("text", ["load,dressi", '{"loads":[]}'])
@pytest.mark.parametrize("name", ["loads", "deliveries", "catches"])
def test_a_file_cut_off_in_its_first_line_is_refused(site_folder, name, text):
    """It is no table of nothing: what was recorded would be lost unsaid."""
    assert f"{name}.csv: there is no column " in refusal(site_folder(**{name: text}))[0]
