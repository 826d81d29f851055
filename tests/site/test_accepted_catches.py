"""Catches as they may be written: units, parts, pools, volumes, water."""

from __future__ import annotations

import numpy as np
import pytest

from geosand.formats.site_folder import read_site
from tests.site.test_accepted import HEAD, LOAD, MOIST, findings
from tests.sites import (
    LOADS,
    TOML,
    catch,
    points,
)

NO_MOISTURE = TOML.replace("moisture_dry_basis_percent = 0.0\nu_moisture_percent = 0.2\n", "")
KILN = TOML.replace(
    "moisture_dry_basis_percent = 0.0\nu_moisture_percent = 0.2\n", "kiln_dried = true\n"
)


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


def test_points_without_a_feature_are_no_catches(site_folder):
    site = read_site(site_folder(catches=points([])))  # as a program writes an empty layer
    assert len(site.catches) == 0
