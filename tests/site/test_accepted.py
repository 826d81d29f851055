"""What is accepted: valid input of every form, and input that is accepted with a finding."""

from __future__ import annotations

import numpy as np
import pytest

from geosand.areas.ellipsoid import ellipsoid_areas_m2
from geosand.formats.site_folder import read_site
from tests.sites import (
    CATCHES,
    DRESSINGS,
    G1,
    G2,
    LAT,
    LOADS,
    LON,
    SURFACES,
    T1,
    TOML,
    catch,
    collection,
    points,
    refusal,
    square,
    surface,
)

HEAD = "dressing,date,surfaces"
LOAD = "load,dressing,count,unit_mass_kg"
NO_MOISTURE = TOML.replace("moisture_dry_basis_percent = 0.0\nu_moisture_percent = 0.2\n", "")
KILN = TOML.replace(
    "moisture_dry_basis_percent = 0.0\nu_moisture_percent = 0.2\n", "kiln_dried = true\n"
)
MOIST = TOML.replace("moisture_dry_basis_percent = 0.0", "moisture_dry_basis_percent = 4.0")


def findings(folder) -> list[str]:
    return [str(f) for f in read_site(folder).findings]


def test_the_valid_site_has_no_finding_and_the_right_numbers(site):
    assert site.findings == ()
    assert site.ids.tolist() == ["g1", "g2", "t1"]
    assert site.surfaces.target_m == pytest.approx([0.009, 0.009, 0.004])
    assert ellipsoid_areas_m2(site.surfaces.geometry) == pytest.approx([400, 900, 100], rel=1e-5)
    assert site.dressings.date.tolist() == [np.datetime64("2026-04-10").item()]
    assert site.dressed.surface.tolist() == [0, 1]
    assert site.dressed.planned_m == pytest.approx([0.0006, 0.0006])
    assert site.loads.count.tolist() == [52.0]
    assert site.loads.u_label.tolist() == [0.01]
    assert site.catches.tray_area_m2 == pytest.approx(np.full(6, 0.1))
    assert site.catches.half_diagonal_m[0] == pytest.approx(0.235849528)  # √(0.4² + 0.25²)/2
    assert site.catches.caught_kg == pytest.approx([0.092, 0.097, 0.088, 0.090, 0.095, 0.086])
    assert site.catches.place.tolist() == list(range(2, 8))
    assert site.moistures.ratio[site.catches.moisture].tolist() == [0.0] * 6
    assert len(site.inputs["site.toml"]) == 64


def same(one, other, skip=()):
    """Assert that two tables are equal in all columns."""
    for name in one.__dataclass_fields__:
        if name not in skip:
            a, b = getattr(one, name), getattr(other, name)
            assert np.array_equal(a, b, equal_nan=a.dtype.kind == "f"), name


def test_catches_as_geojson_and_as_csv_are_the_same(site_folder):
    rows = [
        row | {"surface": "g1" if k < 3 else "", "note": f"n{k}"} for k, row in enumerate(CATCHES)
    ]
    one = read_site(site_folder("a", catches=rows))
    other = read_site(site_folder("b", catches=points(rows)))
    same(one.catches, other.catches, skip=("place",))
    assert other.catches.place.tolist() == [-k for k in range(1, 7)]  # features


@pytest.mark.parametrize(
    "encode",
    [
        lambda t: t.encode("utf-8-sig"),
        lambda t: t.encode("utf-16"),
        lambda t: t.encode().replace(b"\n", b"\r\n"),
        lambda t: t.encode().replace(b"\n", b"\r"),
        lambda t: t.replace(",", ";").encode(),
        lambda t: t.replace(",", "\t").encode(),
        lambda t: b"sep=;\r\n" + t.replace(",", ";").encode(),
        lambda t: t.replace(",", ", ").encode(),
        lambda t: b"\n\n" + t.replace("\n", "\n,,,\n").encode(),
        lambda t: ('"' + t.strip().replace(",", '","').replace("\n", '"\n"') + '"').encode(),
        lambda t: t.replace("\n", ",,\n").encode(),
    ],
    ids=[
        "bom",
        "utf-16",
        "crlf",
        "cr",
        "semicolon",
        "tab",
        "sep",
        "spaces",
        "blanks",
        "quotes",
        "wide",
    ],
)
def test_forms_of_csv_give_the_same_site(site_folder, site, encode):
    files = {"dressings": encode(DRESSINGS), "loads": encode(LOADS)}
    other = read_site(site_folder("other", **files))
    same(site.dressings, other.dressings)
    same(site.dressed, other.dressed)
    same(site.loads, other.loads)
    assert other.findings == ()


@pytest.mark.parametrize(
    "days",
    [
        ("2026-04-10", "2026-07-12", "2026-06-03", "2026-06-20"),  # no change about mends it
        ("2026-04-10", "2026-07-07", "2026-06-18"),  # which stays what it is, or is no day
        ("2026-08-05", "2026-05-28"),  # the one or the other
        ("2026-08-05", "2026-05-28", "2026-09-05", "2026-06-20"),  # two are out of order
    ],
)
def test_no_day_and_month_are_doubted_that_would_not_be_in_order_changed_about(site_folder, days):
    head, first = DRESSINGS.splitlines()
    rows = [first.replace("D1,2026-04-10", f"D{k},{day}") for k, day in enumerate(days, start=1)]
    site = read_site(site_folder(dressings="\n".join([head, *rows, ""])))
    assert site.dressings.date.astype(str).tolist() == sorted(days)
    assert not [str(found) for found in site.findings if "out of the order" in found.text]


def test_windows_1252_is_read_with_a_finding(site_folder):
    text = "dressing,date,surfaces,note\nD1,2026-04-10,green,Grün\n".encode("cp1252")
    site = read_site(site_folder(dressings=text))
    assert site.dressings.note.tolist() == ["Grün"]
    assert [str(f) for f in site.findings] == [
        "dressings.csv: is not UTF-8; it is read as Windows-1252: look at names with accents"
    ]


@pytest.mark.parametrize(
    ("changes", "column", "value"),
    [
        (
            {"tare_g": None, "gross_g": None, "tare_oz": 2, "gross_oz": 5},
            "caught_kg",
            3 * 0.028349523125,
        ),
        (
            {"tare_g": None, "gross_g": None, "tare_lb": 0.1, "gross_kg": 0.2},
            "caught_kg",
            0.154640763,
        ),
        (
            {"tray_length_mm": None, "tray_width_mm": None, "tray_diameter_in": 12},
            "tray_area_m2",
            0.0729658769,
        ),
        (
            {"tray_length_mm": None, "tray_width_mm": None, "tray_area_cm2": 1000},
            "tray_area_m2",
            0.1,
        ),
        (
            {
                "tray_length_mm": None,
                "tray_length_ft": 1,
                "tray_width_mm": None,
                "tray_width_in": 12,
            },
            "tray_area_m2",
            0.09290304,
        ),
        (
            {"gross_g": None, "tare_g": None, "volume_ml": 60, "volume_state": "dry"},
            "volume_m3",
            6e-5,
        ),
        ({"volume_in3": 4, "volume_state": "Dry"}, "volume_m3", 4 * 1.6387064e-5),
        ({"edge_distance_ft": -3}, "edge_distance_m", -0.9144),
        ({"edge_distance_m": -200}, "edge_distance_m", -200.0),
        ({"position_accuracy_cm": 2}, "position_accuracy_m", 0.02),
    ],
)
def test_units_of_catches(site_folder, changes, column, value):
    site = read_site(site_folder(catches=[catch(1, **changes)]))
    assert getattr(site.catches, column)[0] == pytest.approx(value, rel=1e-8)


def test_further_columns_of_the_users_own_are_left_alone(site_folder):
    row = catch(
        1, volume_cm3=60, volume_state="dry", volume_method="jug", tare_checked="yes", wind="W"
    ) | {"gross_bags": 3}
    site = read_site(site_folder(catches=[row]))
    assert site.catches.volume_m3[0] == pytest.approx(6e-5)
    assert [str(f).partition(";")[0] for f in site.findings] == [
        "catches.csv: column 'volume_method' is not read",
        "catches.csv: column 'tare_checked' is not read",
        "catches.csv: column 'wind' is not read",
        "catches.csv: column 'gross_bags' is not read (did you mean gross_g?)",
    ]


def test_parts_of_a_catch_add_and_its_area_counts_once(site_folder):
    parts = [
        catch(1, volume_cm3=60, volume_state="dry"),
        catch(1, tare_g=50, gross_g=90, volume_cm3=25, volume_state="dry"),
    ]
    site = read_site(site_folder(catches=[*parts, catch(2)]))
    assert site.catches.id.tolist() == ["c1", "c2"]
    assert site.catches.caught_kg == pytest.approx([0.092 + 0.040, 0.097])
    assert site.catches.volume_m3[0] == pytest.approx(85e-6)
    assert site.catches.tray_area_m2 == pytest.approx([0.1, 0.1])


def test_the_same_catch_of_another_dressing_is_another_catch(site_folder):
    dressings = f"{HEAD}\nD1,2026-04-10,green\nD2,2026-04-20,green\n"
    site = read_site(site_folder(dressings=dressings, catches=[catch(1), catch(1, dressing="D2")]))
    assert site.catches.dressing.tolist() == [0, 1]


def test_a_pool_has_one_reading_for_all_its_trays(site_folder):
    rows = [
        catch(1, pool="a"),
        catch(2, pool="a", gross_g=""),
        catch(3),
        catch(4, pool="b", gross_g=""),
        catch(5, pool="b"),
    ]
    site = read_site(site_folder(catches=rows))
    assert site.catches.mass_pool.tolist() == [0, 0, -1, 1, 1]
    assert site.catches.volume_pool.tolist() == [-1] * 5


def test_the_tare_of_a_pool_is_that_of_all_its_trays(site_folder):
    """It is not told as one of a single tray that weighs too much."""
    pooled = [
        catch(k, pool="a", **({} if k == 1 else {"gross_g": "", "tare_g": ""})) for k in range(1, 5)
    ]
    pooled[0] |= {"tare_g": 4 * 50, "gross_g": 4 * 142}
    rows = [*pooled, *[catch(6, catch=f"x{k}", gross_g=140 + k) for k in range(6)]]
    assert not [text for text in findings(site_folder(catches=rows)) if "tare" in text]


def test_a_pool_with_a_reading_for_each_is_no_pool(site_folder):
    site = read_site(site_folder(catches=[catch(1, pool="a"), catch(2, pool="a")]))
    assert site.catches.mass_pool.tolist() == [-1, -1]


def test_rejected_catches_are_kept(site_folder):
    site = read_site(
        site_folder(catches=[catch(1), catch(2, gross_g="", reject_reason="kicked over")])
    )
    assert site.catches.used.tolist() == [True, False]
    assert site.catches.reject_reason.tolist() == ["", "kicked over"]


VOLUME = {"tare_g": "", "gross_g": "", "volume_cm3": 60}


@pytest.mark.parametrize(
    ("toml", "loads", "row", "volume", "finding"),
    [
        (
            TOML,
            LOADS,
            VOLUME,
            6e-5,
            "volume_state is not said; the sand is dry, so it is taken as dry",
        ),
        (
            KILN,
            LOADS,
            VOLUME,
            6e-5,
            "volume_state is not said; the sand is dry, so it is taken as dry",
        ),
        (MOIST, LOADS, {"volume_cm3": 60}, np.nan, "the sand is not dry: the volume is not used"),
        (MOIST, LOADS, VOLUME | {"moisture_dry_basis_percent": 0.1}, 6e-5, "taken as dry"),
        (
            NO_MOISTURE,
            f"{LOAD},moisture_dry_basis_percent\nL1,D1,52,25,0.2\n",
            VOLUME,
            6e-5,
            "taken as dry",
        ),
        (
            NO_MOISTURE,
            f"{LOAD},moisture_dry_basis_percent\nL1,D1,52,25,5\n",
            {"volume_cm3": 60},
            np.nan,
            "not used",
        ),
        (
            TOML,
            LOADS,
            {"volume_cm3": 60, "volume_state": "tapped"},
            np.nan,
            "a tapped volume gives no depth",
        ),
        (
            TOML,
            LOADS,
            {"volume_cm3": 60, "volume_state": "moist"},
            np.nan,
            "a moist volume gives no depth",
        ),
    ],
)
def test_state_of_a_volume(site_folder, toml, loads, row, volume, finding):
    site = read_site(site_folder(toml=toml, loads=loads, catches=[catch(1, **row)]))
    assert site.catches.volume_m3[0] == pytest.approx(volume, nan_ok=True)
    assert any(finding in str(f) for f in site.findings)


def test_a_dry_volume_needs_no_moisture(site_folder):
    row = catch(1, **VOLUME, volume_state="dry")
    site = read_site(site_folder(toml=NO_MOISTURE, loads=None, catches=[row]))
    assert site.catches.moisture.tolist() == [-1]
    assert site.catches.volume_m3[0] == pytest.approx(6e-5)


def test_wet_basis_is_turned_into_dry_basis(site_folder):
    # 1000 kg at 5 % wet basis hold 950 kg of sand, at 5 % dry basis 952.38 kg: ratio 50/950
    wet = NO_MOISTURE.replace(
        "u_bulk", "moisture_wet_basis_percent = 5\nu_moisture_percent = 0.5\nu_bulk"
    )
    site = read_site(site_folder(toml=wet))
    assert 1000 / (1 + site.moistures.ratio[0]) == pytest.approx(950.0)
    assert site.moistures.u_ratio[0] == pytest.approx(0.005 / 0.95**2)
    dry = read_site(site_folder("dry", toml=wet.replace("wet", "dry")))
    assert 1000 / (1 + dry.moistures.ratio[0]) == pytest.approx(952.38, abs=0.005)


def test_moisture_of_the_catch_goes_before_the_loads_before_the_sands(site_folder):
    loads = f"{LOAD},moisture_dry_basis_percent,u_moisture_percent\n"
    loads += "L1,D1,40,25,4,0.3\nL2,D1,40,75,6,0.3\n"
    rows = [catch(1), catch(2, moisture_dry_basis_percent=1, u_moisture_percent=0.1)]
    dressings = f"{HEAD}\nD1,2026-04-10,g1\nD2,2026-04-20,g2\n"
    rows.append(catch(4, dressing="D2"))
    site = read_site(
        site_folder(
            toml=MOIST.replace("4.0", "3.0"), loads=loads, dressings=dressings, catches=rows
        )
    )
    ratio = site.moistures.ratio[site.catches.moisture]
    assert ratio == pytest.approx([(1000 * 0.04 + 3000 * 0.06) / 4000, 0.01, 0.03])


def test_two_uncertainties_of_one_moisture_are_two_sources(site_folder):
    loads = f"{LOAD},moisture_dry_basis_percent,u_moisture_percent\n"
    loads += "L1,D1,5,25,4,0.3\nL2,D1,5,25,4,0.9\nL3,D1,5,25,4,0.3\n"
    site = read_site(site_folder(loads=loads))
    used = site.moistures.u_ratio[site.loads.moisture]
    assert used == pytest.approx([0.003, 0.009, 0.003])
    assert site.loads.moisture[0] == site.loads.moisture[2]


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


def test_words_for_nothing_name_no_pool_no_spreader_and_no_ticket(site_folder):
    catches = [c | {"pool": "-" if k else "n/a"} for k, c in enumerate(CATCHES)]
    site = read_site(
        site_folder(
            catches=catches,
            dressings=f"{HEAD},spreader,setting\nD1,2026-04-10,green,None,-\n",
            loads=f"{LOAD},ticket\nL1,D1,52,25,?\n",
        )
    )
    assert site.catches.mass_pool.tolist() == [-1] * 6
    assert site.dressings.spreader.tolist() == [""]
    assert site.dressed.setting.tolist() == ["", ""]
    assert site.loads.ticket.tolist() == [""]


def test_marks_that_are_no_ditto_marks_name_a_pool_a_setting_and_a_ticket(site_folder):
    """As where a ticket is ticked off, or the trays that were weighed together get a star."""
    both = [c | {"pool": "*" if k < 2 else ""} for k, c in enumerate(CATCHES)]
    both[1] |= {"gross_g": "", "tare_g": ""}
    site = read_site(
        site_folder(
            catches=both,
            dressings=f"{HEAD},setting\nD1,2026-04-10,green,+\n",
            loads=f"{LOAD},ticket\nL1,D1,52,25,\u2713\n",
        )
    )
    assert site.catches.mass_pool.tolist() == [0, 0, -1, -1, -1, -1]
    assert site.dressed.setting.tolist() == ["+", "+"]
    assert site.loads.ticket.tolist() == ["\u2713"]


def test_points_without_a_feature_are_no_catches(site_folder):
    site = read_site(site_folder(catches=points([])))  # as a program writes an empty layer
    assert len(site.catches) == 0


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


def test_what_site_toml_says_in_vain_is_a_finding(site_folder):
    toml = TOML.replace("green = 9.0", "green = 9.0\ngren = 5").replace(
        "[catches]", "tolerance_percent = 5\n[sandz.fine]\nx = 1\n[catches]"
    )
    assert findings(site_folder(toml=toml)) == [
        "site.toml: key 'tolerance_percent' is not read",
        "site.toml: 'sandz' is not read; tables are [sands.…], [catches], [targets_mm]",
        "site.toml: a target for 'gren', but no surface is of this kind: did you mean green?",
    ]


def test_targets_in_inches(site_folder):
    toml = TOML.replace("[targets_mm]\ngreen = 9.0\ntee = 4.0", "[targets_in]\ngreen = 0.5")
    site = read_site(site_folder(toml=toml))
    assert site.surfaces.target_m == pytest.approx([0.0127, 0.0127, np.nan], nan_ok=True)


@pytest.mark.parametrize(
    ("table", "green"),
    [
        ("targets_kg_m2", 9.3),
        ("targets_t_per_ha", 93.0),
        ("targets_lb_per_1000ft2", 1904.792),  # 1 kg/m² is 204.8161 lb/1000 ft² (NIST SP 811)
    ],
)
def test_targets_in_mass_are_depths_by_the_sands_bulk_density(site_folder, table, green):
    """9.3 kg/m² of 1550 kg/m³ are 6 mm; other kinds may be said in another unit."""
    mass = f"[{table}]\ngreen = {green}\n[targets_mm]\ntee = 4.0"
    toml = TOML.replace("[targets_mm]\ngreen = 9.0\ntee = 4.0", mass)
    site = read_site(site_folder(toml=toml))
    assert site.surfaces.target_m == pytest.approx([0.006, 0.006, 0.004], rel=3e-6)
    fine = "[sands.fine]\nbulk_density_g_cm3 = 1.55\nkiln_dried = true\n"
    rows = "dressing,date,surfaces,sand\nD1,2026-04-10,green,dried\n"
    both = site_folder("two alike", toml=toml + fine, dressings=rows)
    np.testing.assert_array_equal(read_site(both).surfaces.target_m, site.surfaces.target_m)


def test_a_target_in_mass_needs_one_stated_bulk_density(site_folder):
    stated = "bulk_density_g_cm3 = 1.55\nu_bulk_density_g_cm3 = 0.03\n"
    mass = TOML.replace("[targets_mm]", "[targets_kg_m2]")
    lighter = "[sands.fine]\nbulk_density_g_cm3 = 1.40\nkiln_dried = true\n"
    rows = "dressing,date,surfaces,sand\nD1,2026-04-10,green,dried\n"
    for name, toml in (("unsaid", mass.replace(stated, "")), ("two", mass + lighter)):
        (fault,) = refusal(site_folder(name, toml=toml, dressings=rows))
        assert fault == (
            "site.toml, [targets_kg_m2]: a target in mass needs the bulk density of the sand, one"
            " for all sands. Give bulk_density_g_cm3, or write [targets_mm]."
        )


def test_a_surfaces_own_target_and_height_win(site_folder):
    own = surface("g2", "green", square(*G2, 30), target_mm=5, elevation_ft=100, slope_percent=2)
    toml = "elevation_m = 10\n" + TOML
    site = read_site(site_folder(toml=toml, surfaces=[SURFACES[0], own, SURFACES[2]]))
    assert site.surfaces.target_m == pytest.approx([0.009, 0.005, 0.004])
    assert site.surfaces.elevation_m == pytest.approx([10, 30.48, 10])
    assert site.surfaces.slope == pytest.approx([np.nan, 0.02, np.nan], nan_ok=True)


def test_a_surface_without_a_name_has_that_of_its_id(site_folder):
    named = surface("g1", "green", square(*G1, 20), name="First green")
    site = read_site(site_folder(surfaces=[named, surface("g2", "green", square(*G2, 30))]))
    assert site.surfaces.name.tolist() == ["First green", "g2"]


def test_heights_of_the_vertices_are_the_elevation(site_folder):
    high = square(*G2, 30)
    high["coordinates"] = [
        [[x, y, 50.0 + k % 4] for k, (x, y) in enumerate(high["coordinates"][0])]
    ]
    folder = site_folder(surfaces=[SURFACES[0], surface("g2", "green", high), SURFACES[2]])
    site = read_site(folder)
    assert site.surfaces.elevation_m == pytest.approx([np.nan, 51.5, np.nan], nan_ok=True)
    assert not any(g.has_z for g in site.surfaces.geometry)
    file = folder / "surfaces.geojson"
    text = file.read_text()
    assert text.count("51.0") == 1
    file.write_text(text.replace("51.0", "1e999"))  # more than any float holds
    flat = read_site(folder)
    assert np.isnan(flat.surfaces.elevation_m).all()
    assert flat.surfaces.geometry.tolist() == site.surfaces.geometry.tolist()


def ring(lon, lat, side):
    return square(lon, lat, side)["coordinates"][0]


SHAPES = {
    "hole wound as the shell": {"type": "Polygon", "coordinates": [ring(*G2, 30), ring(*G2, 10)]},
    "shell wound the other way": {
        "type": "Polygon",
        "coordinates": [ring(*G2, 30)[::-1], ring(*G2, 10)],
    },
    "multipolygon": {
        "type": "MultiPolygon",
        "coordinates": [[ring(*G2, 20)], [ring(G2[0] + 0.001, G2[1], 20)]],
    },
    "collection": {
        "type": "GeometryCollection",
        "geometries": [
            {"type": "Point", "coordinates": list(G2)},
            {"type": "Polygon", "coordinates": [ring(*G2, 30), ring(*G2, 10)]},
        ],
    },
    "four numbers a position": {
        "type": "Polygon",
        "coordinates": [[[x, y, 3.0, 99] for x, y in ring(*G2, 30)], ring(*G2, 10)],
    },
}


@pytest.mark.parametrize("name", SHAPES)
def test_shapes_of_surfaces(site_folder, name):
    surfaces = [SURFACES[0], surface("g2", "green", SHAPES[name]), SURFACES[2]]
    site = read_site(site_folder(surfaces=surfaces, catches=None))
    assert ellipsoid_areas_m2(site.surfaces.geometry)[1] == pytest.approx(800, rel=1e-5)
    said = [str(f) for f in site.findings]
    text = "surfaces.geojson, feature 2: only the polygons of a GeometryCollection are used"
    assert said == ([text] if name == "collection" else [])


def test_the_id_of_the_feature_serves(site_folder):
    feature = surface(None, "green", square(*G1, 20)) | {"id": 7}
    site = read_site(site_folder(surfaces=[feature], catches=None))
    assert site.ids.tolist() == ["7"]


@pytest.mark.parametrize(
    "crs", ["urn:ogc:def:crs:OGC:1.3:CRS84", "EPSG:4326", "urn:ogc:def:crs:EPSG::4326"]
)
def test_a_crs_member_that_says_lon_lat(site_folder, crs):
    named = {"type": "name", "properties": {"name": crs}}
    assert read_site(site_folder(surfaces=collection(SURFACES, crs=named))).findings == ()


def test_an_unknown_kind_is_ranked_as_other(site_folder):
    surfaces = [*SURFACES, surface("x", "Fairwy", square(*T1, 40))]
    assert findings(site_folder(surfaces=surfaces)) == [
        "x: kind 'fairwy' is ranked as 'other'; did you mean fairway?"
    ]


def test_a_dressing_uses_the_edition_of_its_date(site_folder):
    old = collection(
        [surface("g1", "green", square(*G1, 18)), surface("old", "green", square(*G2, 30))]
    )
    new = collection(SURFACES, valid_from="2026-05-01")
    dressings = f"{HEAD}\nD0,2019-04-10,green\nD1,2026-04-10,green\nD2,2026-05-01,green\n"
    site = read_site(
        site_folder(surfaces=new, files={"editions/2020-03-01.geojson": old}, dressings=dressings)
    )
    names = [
        site.surfaces.id[site.dressed.surface[site.dressed.dressing == k]].tolist()
        for k in range(3)
    ]
    assert names == [["g1", "old"], ["g1", "old"], ["g1", "g2"]]
    assert site.surfaces.ground.tolist() == [0, 1, 0, 2, 3]
    assert site.valid_from.astype(str).tolist() == ["2020-03-01", "2026-05-01"]
    assert site.in_force().tolist() == [2, 3, 4]
    assert next(str(f) for f in site.findings) == (
        "D0: its date 2019-04-10 is outside the season; the season's ledger leaves it out"
    )
    assert "D0: its date 2019-04-10 is before the oldest boundaries (2020-03-01), used here" in [
        str(f) for f in site.findings
    ]


def test_without_valid_from_the_season_starts_the_boundaries(site_folder):
    files = {"editions/2020-03-01.geojson": collection(SURFACES)}
    site = read_site(site_folder(files=files))
    assert site.valid_from.astype(str).tolist() == ["2020-03-01", "2026-03-01"]
    assert [str(f) for f in site.findings] == [
        "surfaces.geojson: valid_from is not said beside earlier editions: the season's start is"
        " used"
    ]


def test_a_survey_may_say_its_own_accuracy_and_crs(site_folder):
    surfaces = collection(SURFACES, edge_accuracy_m=0.02, source_crs="EPSG:32626")
    site = read_site(site_folder(surfaces=surfaces))
    assert site.surfaces.edge_accuracy_m.tolist() == [0.02] * 3
    assert site.source_crs == ("EPSG:32626",)


def test_a_site_on_both_sides_of_180_degrees(site_folder):
    """Cut outlines are joined: the same areas as the same site elsewhere (turned by 150°)."""
    turned = [G1[0] + 210.0, G2[0] + 210.0]  # g1 at 180, cut in two; g2 at -179.996

    def at(lon):
        return lon - 360 if lon > 180 else lon

    square_1 = ring(turned[0], G1[1], 20)
    west, east = min(x for x, _ in square_1), max(x for x, _ in square_1) - 360
    south, north = min(y for _, y in square_1), max(y for _, y in square_1)
    cut = {
        "type": "MultiPolygon",
        "coordinates": [
            [[[west, south], [180, south], [180, north], [west, north], [west, south]]],
            [[[-180, south], [east, south], [east, north], [-180, north], [-180, south]]],
        ],
    }
    surfaces = [
        surface("g1", "green", cut),
        surface("g2", "green", square(at(turned[1]), G2[1], 30)),
    ]
    rows = [row | {"lon": at(row["lon"] + 210)} for row in CATCHES]
    site = read_site(
        site_folder(surfaces=surfaces, catches=rows, toml=TOML.replace("tee = 4.0\n", ""))
    )
    assert ellipsoid_areas_m2(site.surfaces.geometry) == pytest.approx([400, 900], rel=1e-5)
    assert [g.geom_type for g in site.surfaces.geometry] == ["Polygon", "Polygon"]
    assert (
        np.ptp([*site.surfaces.geometry[0].bounds[::2], *site.surfaces.geometry[1].bounds[::2]])
        < 0.01
    )
    assert np.abs(site.catches.lon_degree - 180.002).max() < 0.01
    assert site.findings == ()


def test_hostile_text_is_shown_without_its_controls(site_folder):
    rows = [catch(1, **{"wind\x1b[31m\u202e": 3})]
    said = findings(site_folder(catches=rows))
    assert len(said) == 1
    assert said[0].isprintable()
    assert "'wind·[31m·'" in said[0]


def test_tables_can_not_be_changed(site):
    with pytest.raises(ValueError, match="read-only"):
        site.catches.caught_kg[0] = 1.0


def test_frames_at_the_edge(site):
    surfaces, catches = site.surfaces.to_frame(), site.catches.to_frame()
    assert surfaces.crs.to_string() == "OGC:CRS84"
    assert list(surfaces["id"]) == ["g1", "g2", "t1"]
    assert catches.geometry.x.tolist() == site.catches.lon_degree.tolist()
    assert catches["place"].tolist()[:2] == ["row 2", "row 3"]


def test_frames_name_features(demo):
    assert demo.site.catches.to_frame()["place"].tolist()[:2] == ["feature 1", "feature 2"]


def test_a_dressing_may_name_all_surfaces_of_a_large_site(site_folder):
    """A list is no text: 62 ids of 15 letters are more than the 1,000 characters of a note."""
    ids = [f"hole-{k:03d}-approach" for k in range(70)]
    shapes = [
        surface(name, "approach", square(LON + k * 1e-3, LAT, 20.0)) for k, name in enumerate(ids)
    ]
    folder = site_folder(
        surfaces=collection(shapes),
        dressings=f"{HEAD}\nD1,2026-04-10,{' '.join(ids)}\n",
        loads=f"load,dressing,count,unit_mass_kg,surfaces\nL1,D1,9,25,{' '.join(ids[:65])}\n",
        catches=None,
    )
    site = read_site(folder)
    assert len(site.dressed.surface) == 70
    assert [len(group) for group in site.group_surfaces] == [65]
