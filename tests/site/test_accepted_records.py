"""Dressings and loads as they may be written: units, dates, groups, defaults."""

from __future__ import annotations

import numpy as np
import pytest

from geosand.formats.site_folder import read_site
from tests.site.test_accepted import HEAD, LOAD, MOIST, findings
from tests.sites import (
    DRESSINGS,
    LAT,
    LON,
    SURFACES,
    TOML,
    square,
    surface,
)


def test_a_load_by_volume_is_a_mass(site_folder):
    loads = "load,dressing,count,unit_volume_yd3,loose_bulk_density_lb_ft3\nL1,D1,2,1,100\n"
    site = read_site(site_folder(loads=loads, toml=MOIST))
    # 27 ft³ of 100 lb each, dry; as loaded it carries its 4 % of water
    assert site.loads.unit_mass_kg[0] / 1.04 == pytest.approx(2700 * 0.45359237)
    assert site.loads.by_volume.tolist() == [True]
    assert site.loads.u_unit_mass_kg[0] == pytest.approx(0.01 * site.loads.unit_mass_kg[0])


@pytest.mark.parametrize(
    ("unit", "kg"),
    [
        ("lb", 0.45359237),
        ("t", 1000),
        ("tonne", 1000),
        ("short_ton", 907.18474),
        ("long_ton", 1016.0469088),
    ],
)
def test_units_of_loads(site_folder, unit, kg):
    site = read_site(site_folder(loads=f"load,dressing,count,unit_mass_{unit}\nL1,D1,2.5,1\n"))
    assert site.loads.unit_mass_kg[0] == pytest.approx(kg, rel=1e-12)
    assert site.loads.count[0] == 2.5


@pytest.mark.parametrize(
    ("unit", "factor"),  # to kg/m²: NIST SP 811 (2008), Appendix B.8
    [
        ("kg_m2", 1.0),
        ("lb_per_1000ft2", 4.882428e-3),
        ("short_ton_per_acre", 907.1847 / 4046.856),
        ("t_per_ha", 0.1),
    ],
)
def test_a_planned_rate_is_a_depth_by_the_bulk_density_of_its_sand(site_folder, unit, factor):
    sands = f"{TOML}[sands.wet]\nbulk_density_lb_ft3 = 100\nkiln_dried = true\n"
    rows = f"D1,2026-04-10,g1,dried,{0.93 / factor!r}\nD2,2026-04-11,g1,wet,{0.93 / factor!r}\n"
    text = f"{HEAD},sand,planned_rate_{unit}\n{rows}"
    loads = f"{LOAD}\nL1,D1,52,25\n"
    site = read_site(site_folder(toml=sands, dressings=text, loads=loads))
    # 0.93 kg/m² by 1.55 g/cm³ is 0.6 mm; 1 lb/ft³ is 16.01846 kg/m³
    assert site.dressed.planned_m == pytest.approx([0.0006, 0.93 / 1601.846], rel=1e-6)


@pytest.mark.parametrize(
    ("unit", "depth_m"),  # litres and cubic feet on an area are depths
    [("L_per_m2", 1e-3), ("ft3_per_1000ft2", 0.3048e-3), ("m3_per_ha", 1e-4)],
)
def test_a_planned_volume_is_a_depth(site_folder, unit, depth_m):
    text = f"{HEAD},planned_depth_{unit}\nD1,2026-04-10,g1,{0.0006 / depth_m!r}\n"
    site = read_site(site_folder(dressings=text))
    assert site.dressed.planned_m == pytest.approx([0.0006])


def test_loads_that_name_surfaces_form_groups(site_folder):
    loads = f"{LOAD},surfaces\nL1,D1,1,25,g1\nL2,D1,1,25,g2\n"
    loads += "L3,D1,1,25,\nL4,D1,1,25,green\nL5,D1,1,25,g1\n"
    site = read_site(site_folder(loads=loads))
    assert site.loads.group.tolist() == [0, 1, -1, -1, 0]
    assert site.group_surfaces == (frozenset({0}), frozenset({1}))


def test_a_load_may_name_a_hundred_surfaces(site_folder):
    """1,600 characters, as many as a course has greens, tees and approaches."""
    ids = [f"practice-tee-{k:03d}" for k in range(100)]
    drawn = [surface(i, "tee", square(LON, LAT + 0.01 + k / 1e3, 5)) for k, i in enumerate(ids)]
    rows = f"L1,D1,52,25,{' '.join(ids)}\nL2,D1,1,25,g1\n"
    site = read_site(
        site_folder(
            surfaces=[*SURFACES, *drawn],
            dressings="dressing,date,surfaces\nD1,2026-04-10,green tee\n",
            loads="load,dressing,count,unit_mass_kg,surfaces\n" + rows,
        )
    )
    assert [len(group) for group in site.group_surfaces] == [100, 1]


def spread(site):
    """Mass and standard uncertainty of all loads, from the table alone (GUM 5.1 and 5.2)."""
    loads = site.loads
    mass = loads.count * loads.unit_mass_kg - loads.returned_kg - loads.spilled_kg
    alone = (loads.count * loads.u_unit_mass_kg**2).sum()
    label = {}
    for name, effect in zip(
        loads.label, loads.count * loads.unit_mass_kg * loads.u_label, strict=True
    ):
        label[name] = label.get(name, 0.0) + effect
    water = {}
    for row, kg in zip(loads.moisture, mass, strict=True):
        water[row] = water.get(row, 0.0) + kg * site.moistures.u_ratio[row]
    u = np.sqrt(alone + sum(v**2 for v in label.values()) + sum(v**2 for v in water.values()))
    return mass.sum(), u


@pytest.mark.parametrize(
    "columns", [",u_unit_mass_kg,u_label_percent", ",moisture_wet_basis_percent", ""]
)
def test_splitting_a_load_in_two_changes_neither_mass_nor_u(site_folder, columns):
    rest = ",0.25,1" if "label" in columns else ",4" if columns else ""
    one = read_site(site_folder("one", loads=f"{LOAD}{columns}\nL1,D1,52,25{rest}\n"))
    two = read_site(
        site_folder("two", loads=f"{LOAD}{columns}\nL1,D1,20,25{rest}\nL2,D1,32,25{rest}\n")
    )
    assert spread(two) == pytest.approx(spread(one), rel=1e-12)
    assert spread(one)[1] > 0


def test_rows_of_one_dressing_may_be_set_and_driven_unlike(site_folder):
    dressings = f"{HEAD},setting,speed_mph,swath_ft,heading_deg\n"
    dressings += "D1,2026-04-10,g1,4,4,20,90\nD1,2026-04-10,g2,5,5,13,-45\nD1,2026-04-10,t1,,,,90\n"
    site = read_site(site_folder(dressings=dressings))
    dressed = site.dressed
    assert len(site.dressings) == 1
    assert site.surfaces.id[dressed.surface].tolist() == ["g1", "g2", "t1"]
    assert dressed.setting.tolist() == ["4", "5", ""]
    mph, nan = 0.44704, np.nan
    np.testing.assert_allclose(dressed.speed_m_s, [4 * mph, 5 * mph, nan], rtol=1e-12)
    np.testing.assert_allclose(dressed.swath_m, [20 * 0.3048, 13 * 0.3048, nan], rtol=1e-12)
    np.testing.assert_allclose(dressed.heading_degree, [90, -45, 90], rtol=1e-12)
    texts = [f.text for f in site.findings if "differ in it" in f.text]
    assert texts == [
        f"row 4: no {name}, and the other rows of the dressing differ in it: not known there"
        for name in ("setting", "speed", "swath")
    ]


def test_rows_of_one_dressing_fill_in_for_each_other(site_folder):
    dressings = f"{HEAD},planned_depth_mm,speed_kmh,spreader,note\n"
    dressings += "D1,2026-04-10,g1,0.6,,,a\nD1,2026-04-10,g2,0.9,5,disc,b\n"
    site = read_site(site_folder(dressings=dressings))
    assert len(site.dressings) == 1
    assert site.dressed.speed_m_s == pytest.approx([5 / 3.6, 5 / 3.6])
    assert site.dressings.spreader.tolist() == ["disc"]
    assert site.dressings.note.tolist() == ["a; b"]
    assert site.dressed.planned_m == pytest.approx([0.0006, 0.0009])


@pytest.mark.parametrize(
    "day", ["2026-04-10", "2026-04-10T07:30", "2026-04-10 07:30:15", " 2026-04-10 "]
)
def test_forms_of_a_date(site_folder, day):
    site = read_site(site_folder(dressings=f"{HEAD}\nD1,{day},green\n"))
    assert str(site.dressings.date[0]) == "2026-04-10"


def test_dressings_stand_in_order_of_date(site_folder):
    dressings = f"{HEAD}\nB,2026-05-10,green\nA,2026-04-10,t1\n"
    site = read_site(site_folder(dressings=dressings, loads=None, catches=None))
    assert site.dressings.id.tolist() == ["A", "B"]
    assert site.dressed.dressing.tolist() == [0, 1, 1]


SEASON = {
    "before": (
        "2025-04-10",
        TOML,
        "D1: its date 2025-04-10 is outside the season; the season's ledger leaves it out",
    ),
    "after": (
        "2026-12-24",
        TOML,
        "D1: its date 2026-12-24 is outside the season; the season's ledger leaves it out",
    ),
    "another year": (
        "2062-04-10",
        TOML.replace("season_end = 2026-11-30\n", ""),
        "D1: its date 2062-04-10 is more than a year after the season's start: check the year",
    ),
}


@pytest.mark.parametrize("name", SEASON)
def test_dates_out_of_season_are_findings(site_folder, name):
    day, toml, text = SEASON[name]
    assert findings(site_folder(toml=toml, dressings=f"{HEAD}\nD1,{day},green\n")) == [text]


def test_only_areas_can_be_told_without_dressings(site_folder):
    site = read_site(site_folder(dressings=None, loads=None, catches=None))
    assert len(site.dressings) == 0
    assert len(site.dressed) == 0
    assert [str(f) for f in site.findings] == [
        "dressings.csv: no dressings are recorded: only areas can be told"
    ]


def test_every_default_is_said(site_folder):
    toml = "season_start = 2026-03-01\n[sand]\nbulk_density_g_cm3 = 1.5\nkiln_dried = true\n"
    loads = f"{LOAD}\nL1,D1,52,25\n"
    assert findings(site_folder(toml=toml, loads=loads)) == [
        "site.toml: boundary accuracy is not said: 0.05 m is used",
        "site.toml: edge accuracy is not said: 0.3 m is used",
        "site.toml: edge bias is not said: 0.15 m is used",
        "site.toml: position accuracy is not said: 3 m is used",
        "site.toml: standard uncertainty of tray is not said: 0.5 % is used",
        "site.toml: catch efficiency is not said: 100 % is used",
        "site.toml: standard uncertainty of catch efficiency is not said: 3 % is used",
        "site.toml: collar width is not said: 0.9 m is used",
        "site.toml: surrounds width is not said: 4 m is used",
        "site.toml: tolerance is not said: 10 % is used",
        "site.toml: agreement is not said: 10 % is used",
        "site.toml: the site has no name",
        "site.toml: standard uncertainty of the bulk density of sand is not said: 0.03 g/cm³ is"
        " used",
        "site.toml: standard uncertainty of the moisture of sand is not said: 0.2 points are used",
        "loads.csv: uncertainty of unit mass: bags 1 % each and 1 % shared by all bags of a kind"
        " are used where neither is said",
    ]


def test_a_dressing_in_autumn_after_those_of_spring_is_no_slip(site_folder):
    """2026-10-04 turned about would be 2026-04-10, before the others; few gaps tell no habit."""
    head, first = DRESSINGS.splitlines()
    usual = ("03-27", "04-10", "04-24", "05-08")  # 06-11 would come 34 days after these
    for days in ((*usual, "10-04"), (*usual, "11-06"), ("04-01", "04-15", "10-05")):
        rows = [first.replace("D1,2026-04-10", f"D{k},2026-{d}") for k, d in enumerate(days, 1)]
        told = findings(site_folder("-".join(days), dressings="\n".join([head, *rows]) + "\n"))
        assert not any("check day and month" in text for text in told)
