"""What is refused in site.toml, and with which words."""

from __future__ import annotations

import pytest

from tests.sites import TOML, refusal

DENSITY = "bulk_density_g_cm3 = 1.55\nu_bulk"
MOISTURE = "moisture_dry_basis_percent = 0.0"

#: What stands in the valid site.toml, what replaces it, and the whole text of the one fault.
ONE_FAULT = {
    "no start": (
        "season_start = 2026-03-01\n",
        "",
        "site.toml, top of the file: there is no season_start. Add season_start.",
    ),
    "start misspelt": (
        "season_start = ",
        "seasonstart = ",
        "site.toml, top of the file: there is no season_start. Did you mean 'seasonstart'? Add"
        " season_start.",
    ),
    "start as in a letter": (
        "season_start = 2026-03-01",
        'season_start = "1 March 2026"',
        "site.toml, top of the file, season_start: '1 March 2026' is not a date; allowed:"
        " year-month-day as in 2026-04-30. Write the date so that day and month can not be mixed"
        " up.",
    ),
    "end before start": (
        "season_end = 2026-11-30",
        "season_end = 2025-11-30",
        "site.toml, top of the file, season_end: the season ends (2025-11-30) before it starts"
        " (2026-03-01). Check both dates.",
    ),
    "end at the start": (
        "season_end = 2026-11-30",
        "season_end = 2026-03-01",
        "site.toml, top of the file, season_end: the season ends on the day on which it starts"
        " (2026-03-01). Check both dates.",
    ),
    "units": (
        'name = "Test site"',
        'name = "Test site"\nunits = "imperial"',
        "site.toml, top of the file, units: 'imperial' is not known; allowed: metric, us.",
    ),
    "a target in two units": (
        "[targets_mm]\n",
        "[targets_in]\ngreen = 0.35\n\n[targets_mm]\n",
        "site.toml, [targets_mm], green: has a target in another unit, too. Keep one.",
    ),
    "not a number": (
        "edge_accuracy_m = 0.10",
        "edge_accuracy_m = nan",
        "site.toml, top of the file, edge_accuracy_m: 'nan' is not a number; allowed: digits, with"
        " a point as the decimal mark and nothing between thousands."
        " Write nothing where nothing was measured.",
    ),
    "infinite": (
        "edge_accuracy_m = 0.10",
        "edge_accuracy_m = 1e400",
        "site.toml, top of the file, edge_accuracy_m: 'inf' is not a number; allowed: digits, with"
        " a point as the decimal mark and nothing between thousands.",
    ),
    "true for a number": (
        "edge_accuracy_m = 0.10",
        "edge_accuracy_m = true",
        "site.toml, top of the file, edge_accuracy_m: 'True' is not a number; allowed: digits, with"
        " a point as the decimal mark and nothing between thousands.",
    ),
    "negative": (
        "edge_bias_m = 0.05",
        "edge_bias_m = -0.05",
        "site.toml, top of the file, edge_bias_m: -0.05 can not be right; allowed: at least 0.",
    ),
    "absurd": (
        "tolerance_percent = 10",
        "tolerance_percent = 1000",
        "site.toml, top of the file, tolerance_percent: 1000 can not be right; allowed: at most"
        " 100.",
    ),
    "no tolerance at all": (
        "tolerance_percent = 10",
        "tolerance_percent = 0",
        "site.toml, top of the file, tolerance_percent: 0 can not be right; allowed: at least 0.1.",
    ),
    "unit missing": (
        "tolerance_percent = 10",
        "tolerance = 10",
        "site.toml, top of the file, tolerance: tolerance does not say its unit. Call it"
        " tolerance_ratio or the like.",
    ),
    "no sand": (
        TOML[TOML.index("[sands.dried]") : TOML.index("[catches]")],
        "",
        "site.toml: no sand is described. Add a table [sands.NAME] with bulk_density_g_cm3 and its"
        " moisture.",
    ),
    "density in kg/m3 under g/cm3": (
        "bulk_density_g_cm3 = 1.55\n",
        "bulk_density_g_cm3 = 1550\n",
        "site.toml, [sands.dried], bulk_density_g_cm3: 1550 can not be right; allowed: at most"
        " 2.7.",
    ),
    "density without unit": (
        "\nbulk_density_g_cm3 = 1.55",
        "\nbulk_density = 1.55",
        "site.toml, [sands.dried], bulk_density: bulk_density does not say its unit. Call it"
        " bulk_density_kg_m3 or the like.",
    ),
    "bare moisture": (
        MOISTURE,
        "moisture_percent = 4",
        "site.toml, [sands.dried], moisture_percent: a bare moisture can mean two things. Call it"
        " moisture_dry_basis_percent (water per dry sand) or moisture_wet_basis_percent (water per"
        " moist sand).",
    ),
    "moisture on both bases": (
        MOISTURE,
        "moisture_dry_basis_percent = 4.2\nmoisture_wet_basis_percent = 4.0",
        "site.toml, [sands.dried], moisture_…: moisture is given on both bases. Keep one of them.",
    ),
    "more water than sand": (
        MOISTURE,
        "moisture_wet_basis_percent = 60",
        "site.toml, [sands.dried], moisture_wet_basis_percent: 60 can not be right; allowed: at"
        " most 50.",
    ),
    "kiln-dried and moist": (
        MOISTURE,
        "moisture_dry_basis_percent = 4.0\nkiln_dried = true",
        "site.toml, [sands.dried], kiln_dried: kiln_dried = true beside a moisture above 0.5 %. Say"
        " one or the other.",
    ),
    "kiln-dried, perhaps": (
        MOISTURE,
        MOISTURE + '\nkiln_dried = "mostly"',
        "site.toml, [sands.dried], kiln_dried: 'mostly' is not known; allowed: true, false.",
    ),
    "no sand in the mix": (
        MOISTURE,
        MOISTURE + "\nsand_mass_fraction = 0",
        "site.toml, [sands.dried], sand_mass_fraction: 0 can not be right; allowed: more than 0.",
    ),
    "sand and sands": (
        "[catches]",
        "[sand]\nkiln_dried = true\n[catches]",
        "site.toml: both [sand] and [sands.…] are there. Keep [sands.…].",
    ),
    "a sand that is no table": (
        "[sands.dried]",
        "[sands]\nfine = 3\n[sands.dried]",
        "site.toml: sands.fine is not a table. Write it as [sands.fine] with lines below it.",
    ),
    "target as text": (
        "green = 9.0",
        'green = "9 mm"',
        "site.toml, [targets_mm], green: '9 mm' is not a season's depth; allowed: a number from 0"
        " to 1000.",
    ),
    "target in another unit": (
        "[targets_mm]",
        "[targets_kg]",
        "site.toml, [targets_kg]: 'kg' is no length: use one of mm, cm, m, in, ft, yd. Write"
        " [targets_mm] or [targets_kg_m2].",
    ),
    "misspelt target in mass": (
        "[targets_mm]",
        "[targets_kgm2]",
        "site.toml, [targets_kgm2]: 'kgm2' is not a unit known here: use one of mm, cm, m, in, ft,"
        " yd. Write [targets_mm] or [targets_kg_m2].",
    ),
    "target as a rate too large": (  # 1 m of 1550 kg/m³
        "[targets_mm]\ngreen = 9.0",
        "[targets_t_per_ha]\ngreen = 16000",
        "site.toml, [targets_t_per_ha], green: '16000' is not a season's depth; allowed: a number"
        " from 0 to 15500.",
    ),
    "negative target": (
        "green = 9.0",
        "green = -9.0",
        "site.toml, [targets_mm], green: '-9.0' is not a season's depth; allowed: a number from 0"
        " to 1000.",
    ),
    "efficiency of nothing": (
        "catch_efficiency_percent = 100",
        "catch_efficiency_percent = 0",
        "site.toml, [catches], catch_efficiency_percent: 0 can not be right; allowed: at least 10.",
    ),
}


@pytest.mark.parametrize("name", ONE_FAULT)
def test_one_fault_is_told_in_full_and_alone(site_folder, name):
    old, new, text = ONE_FAULT[name]
    assert TOML.count(old) == 1, "the case must change the file"
    assert refusal(site_folder(toml=TOML.replace(old, new))) == [text]


@pytest.mark.parametrize(
    ("toml", "words"),
    [
        (
            "name = Test site\n",
            "site.toml: is not TOML: Invalid value (at line 1, column 8): 'name = Test site'. Mend"
            ' that line: name = "a text", day = 2026-03-01, number = 9.5, answer = true.',
        ),
        ("season_start = 2026-02-30\n", "site.toml: is not TOML: "),
        (TOML + TOML, "site.toml: is not TOML: "),
        ("x = " + "[" * 100_000, "site.toml: is too deeply nested. Write plain tables."),
        ("x = " + "1" * 5000, "site.toml: is not TOML: "),
        (TOML.encode("utf-16"), "site.toml, row 1: is not UTF-8. Save it as UTF-8."),
        ('\nname = "Gr\xfcn"\n'.encode("latin-1"), "site.toml, row 2: is not UTF-8."),
        (None, "site.toml: the file is missing. It names the site and its sands."),
    ],
)
def test_an_unreadable_site_toml_is_the_only_fault(site_folder, toml, words):
    dressings = "dressing,date,surfaces,sand\nD1,2026-04-10,green,washed\n"
    found = refusal(site_folder(toml=toml, dressings=dressings))
    assert len(found) == 1
    assert found[0].startswith(words)


def test_an_unreadable_site_toml_does_not_hide_faults_elsewhere(site_folder):
    found = refusal(
        site_folder(toml="name = ", loads="load,dressing,count,unit_mass_kg\nL1,D9,1,5\n")
    )
    assert [text.split(":")[0] for text in found] == ["site.toml", "loads.csv, row 2, dressing"]


def test_every_fault_of_the_file_is_told(site_folder):
    toml = 'season_start = "soon"\nsands = 3\ncatches = 4\ntargets_mm = 5\nunits = "both"\n'
    assert set(refusal(site_folder(toml=toml))) == {
        "site.toml: catches is not a table. Write it as [catches] with lines below it.",
        "site.toml: targets_mm is not a table. Write it as [targets_mm] with lines below it.",
        "site.toml: sands is not a table. Write it as [sands] with lines below it.",
        "site.toml, top of the file, season_start: 'soon' is not a date; allowed: year-month-day as"
        " in 2026-04-30. Write the date so that day and month can not be mixed up.",
        "site.toml, top of the file, units: 'both' is not known; allowed: metric, us.",
    }
