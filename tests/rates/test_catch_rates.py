"""One catch to a rate and a depth, worked by hand."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from geosand.areas.register import area_register
from geosand.formats.site_folder import read_site
from geosand.rates.catch_rates import CatchRates, bulk_densities, catch_rates
from geosand.rates.surface_rates import site_rates
from geosand.site.tables import Site
from tests.sites import CATCHES, TOML, catch

STATED = "bulk_density_g_cm3 = 1.55\nu_bulk_density_g_cm3 = 0.03\n"
Read = Callable[..., Site]


@pytest.fixture
def read(site_folder: Callable[..., Path]) -> Read:
    def run(catches: Any, **overrides: Any) -> Site:
        return read_site(site_folder(catches=catches, **overrides))

    return run


def rates(site: Site) -> CatchRates:
    return catch_rates(site, bulk_densities(site)[0].value)


def trays(*readings: dict[str, Any]) -> list[dict[str, Any]]:
    """Catches 1, 2, … of the valid site (trays of 0.1 m²) with their readings replaced."""
    return [catch(k + 1, **reading) for k, reading in enumerate(readings)]


def test_mass_over_the_trays_area(read: Read) -> None:
    # 92 g on 0.400 m × 0.250 m
    found = rates(read(trays({})))
    assert found.rate_kg_m2 == pytest.approx([0.92], rel=1e-12)
    assert found.counts.tolist() == [True]
    assert np.isnan(found.volume_depth_m).all()


@pytest.mark.parametrize(
    "column, percent, dry_g",
    # 1000 kg at 5 % dry basis hold 952.38 kg, at 5 % wet basis 950 kg (arithmetic)
    [("moisture_dry_basis_percent", 5, 95.238), ("moisture_wet_basis_percent", 5, 95.0)],
)
def test_water_is_taken_off_on_its_own_basis(
    read: Read, column: str, percent: float, dry_g: float
) -> None:
    found = rates(read(trays({"gross_g": 150, column: percent})))
    assert found.rate_kg_m2 == pytest.approx([dry_g / 100], rel=1e-5)


@pytest.mark.parametrize(
    "second, water, reading, told",
    [
        # 500 kg without water and 1000 kg with 6 %
        ("g2", 6, {}, ["0 to 6 % of water (dry basis)", "mean, 4 %:"]),
        ("g2", 0.8, {}, []),  # less than a percent of a depth
        ("", 6, {}, []),  # went everywhere, as the catches' mean does
        ("g2", 6, {"moisture_dry_basis_percent": 1}, []),
        ("g2", 6, {"reject_reason": "kicked over"}, []),
    ],
)
def test_a_mean_of_unlike_waters_is_told_where_loads_say_where_they_went(
    read: Read, second: str, water: float, reading: dict[str, Any], told: list[str]
) -> None:
    loads = "load,dressing,count,unit_mass_kg,moisture_dry_basis_percent,surfaces\n"
    loads += f"L1,D1,20,25,0,{second and 'g1'}\nL2,D1,40,25,{water},{second}\n"
    site = read(trays(reading, reading), loads=loads)
    texts = [str(f) for f in site_rates(site, area_register(site.surfaces)).findings]
    found = [text for text in texts if "dried by their mean" in text]
    assert len(found) == bool(told)
    assert all(word in found[0] for word in told)


def test_a_tray_that_catches_less_means_that_more_arrived(read: Read) -> None:
    toml = TOML.replace("catch_efficiency_percent = 100", "catch_efficiency_percent = 92")
    reading = {"volume_cm3": 46.0, "volume_state": "dry"}
    found = rates(read(trays(reading), toml=toml))
    assert found.rate_kg_m2 == pytest.approx([1.0], rel=1e-12)
    assert found.volume_depth_m == pytest.approx([0.0005], rel=1e-12)


def test_a_dry_volume_alone_becomes_a_rate_by_the_bulk_density(read: Read) -> None:
    # 60 cm³ on 1000 cm² are 0.6 mm; at 1.55 g/cm³ 0.93 kg/m²
    reading = {"tare_g": None, "gross_g": None, "volume_cm3": 60.0, "volume_state": "dry"}
    found = rates(read(trays(reading)))
    assert found.volume_depth_m == pytest.approx([0.0006], rel=1e-12)
    assert found.rate_kg_m2 == pytest.approx([0.93], rel=1e-12)
    assert found.by_mass.tolist() == [False]


def test_mass_wins_where_both_are_there(read: Read) -> None:
    found = rates(read(trays({"volume_cm3": 70.0, "volume_state": "dry"})))
    assert found.rate_kg_m2 == pytest.approx([0.92], rel=1e-12)
    assert found.counts_volume.tolist() == [True]


def test_a_pooled_reading_is_over_the_area_of_all_and_counts_once(read: Read) -> None:
    pool = {"pool": "p", "volume_state": "dry", "tare_g": None, "gross_g": None}
    found = rates(read(trays({**pool, "volume_cm3": 150.0}, pool, pool)))
    assert found.volume_depth_m == pytest.approx([0.0005] * 3, rel=1e-12)
    assert found.counts.tolist() == [True, False, False]


def test_a_rejected_pool_is_not_counted(read: Read) -> None:
    pool = {"pool": "p", "volume_state": "dry", "tare_g": None, "gross_g": None}
    wet = {**pool, "reject_reason": "rained on"}
    found = rates(read(trays({**wet, "volume_cm3": 100.0}, wet, {})))
    assert found.counts.tolist() == [False, False, True]


def test_parts_of_one_catch_add_sand_and_count_area_once(read: Read) -> None:
    found = rates(read([catch(1, gross_g=110), catch(1, gross_g=80)]))
    assert found.rate_kg_m2 == pytest.approx([0.9], rel=1e-12)


def test_a_rejected_catch_is_kept_and_not_counted(read: Read) -> None:
    site = read(trays({}, {"reject_reason": "wind took it"}))
    found = rates(site)
    assert found.counts.tolist() == [True, False]
    assert found.rate_kg_m2 == pytest.approx([0.92, 0.97], rel=1e-12)


def test_more_tare_means_less_sand(read: Read) -> None:
    heavier = [rates(read(trays({"tare_g": tare}))).rate_kg_m2[0] for tare in (40, 50, 60)]
    assert heavier[0] > heavier[1] > heavier[2]


def test_the_stated_bulk_density_is_used_and_doubted_by_what_was_measured(read: Read) -> None:
    # 92 g in 50 cm³ are 1.84 g/cm³, far from 1.55 ± 0.03
    table, findings = bulk_densities(read(trays({"volume_cm3": 50, "volume_state": "dry"})))
    assert table.value.tolist() == [1550.0]
    assert table.u().tolist() == [30.0]
    assert any("stated 1.550 g/cm³, measured 1.840 g/cm³" in str(f) for f in findings)
    _, quiet = bulk_densities(read(trays({"volume_cm3": 60, "volume_state": "dry"})))
    assert quiet == []


def test_an_unstated_bulk_density_is_measured_from_catches(read: Read) -> None:
    # 92/60, 97/62, 88/55 g/cm³: mean 1.56595, sd 0.03336, over √3: 0.01926 (hand)
    volumes = [{"volume_cm3": v, "volume_state": "dry"} for v in (60, 62, 55)]
    table, findings = bulk_densities(read(trays(*volumes), toml=TOML.replace(STATED, "")))
    assert table.value == pytest.approx([1565.95], abs=0.01)
    assert table.by_category()["bulk density"] == pytest.approx([19.26], abs=0.01)
    # water ± 0.2 points of a dry sand: 1566 × 0.002
    assert table.by_category()["moisture"] == pytest.approx([3.1319], abs=0.0001)
    assert "1.566 ± 0.019 g/cm³ from 3 catches" in str(findings[0])


def test_water_moves_only_the_bulk_density_that_was_measured_with_it(read: Read) -> None:
    # 95 g in 60 cm³: 1.5833 g/cm³; no tray held the sand of D2
    toml = TOML.replace(STATED, "").replace(
        "[catches]", "[sands.fine]\nkiln_dried = true\n[catches]"
    )
    head = "dressing,date,surfaces,sand\n"
    table, _ = bulk_densities(
        read(
            trays({"gross_g": 145, "volume_cm3": 60, "volume_state": "dry"}),
            toml=toml,
            dressings=f"{head}D1,2026-04-10,green,dried\nD2,2026-05-10,green,fine\n",
        )
    )
    assert table.value == pytest.approx([95 / 60 * 1000, 1560.0], rel=1e-9)
    assert table.by_category()["moisture"] == pytest.approx([95 / 60 * 2, 0.0], rel=1e-9)


def test_three_equal_readings_are_not_taken_as_certain(read: Read) -> None:
    readings = [{"gross_g": 143, "volume_cm3": 60, "volume_state": "dry"}] * 3
    table, _ = bulk_densities(read(trays(*readings), toml=TOML.replace(STATED, "")))
    assert table.by_category()["bulk density"] == pytest.approx([15.5], rel=1e-9)


def test_fewer_than_three_readings_are_taken_as_three_percent(read: Read) -> None:
    readings = [{"gross_g": 143, "volume_cm3": 60, "volume_state": "dry"}]
    table, _ = bulk_densities(read(trays(*readings), toml=TOML.replace(STATED, "")))
    assert table.by_category()["bulk density"] == pytest.approx([46.5], rel=1e-9)


def test_two_readings_of_moist_sand_are_few_and_dried_first(read: Read) -> None:
    # 105 g with 5 % of water are 100 g dry: 100/62.5 and 100/64 g/cm³, ± 3 % as two are few
    readings = [
        {"gross_g": 155, "volume_cm3": v, "volume_state": "dry"}
        | {"moisture_dry_basis_percent": 5, "u_moisture_percent": 0.4}
        for v in (62.5, 64.0)
    ]
    table, _ = bulk_densities(read(trays(*readings), toml=TOML.replace(STATED, "")))
    assert table.value == pytest.approx([1581.25], rel=1e-12)
    assert table.by_category()["bulk density"] == pytest.approx([47.4375], rel=1e-12)
    # 0.4 points more of water: 100 g are 100·1.05/1.054 g
    wetter = 1581.25 * (1 - 1.05 / 1.054)
    assert table.by_category()["moisture"] == pytest.approx([wetter], rel=5e-3)


def test_without_any_witness_the_default_is_used_and_said(read: Read) -> None:
    table, findings = bulk_densities(read(CATCHES, toml=TOML.replace(STATED, "")))
    assert table.value.tolist() == [1560.0]
    assert table.u() == pytest.approx([78.0])
    text = "bulk density is neither stated nor measured: 1.56 g/cm³ ± 5 % is used"
    assert str(findings[0]) == f"sand dried: {text}"
    unnamed = TOML.replace(STATED, "").replace("[sands.dried]", "[sand]")
    _, findings = bulk_densities(read(CATCHES, toml=unnamed))
    assert str(findings[0]) == f"sand: {text}"


@pytest.mark.parametrize("pooled", ["volume", "mass", "both"])
def test_a_pool_is_one_witness_whatever_was_pooled(read: Read, pooled: str) -> None:
    # 92 + 97 + 88 g in 180 cm³: 1.5389 g/cm³
    rows = trays(*[{"pool": "p", "volume_state": "dry"} for _ in range(3)])
    for k, row in enumerate(rows):
        if pooled in ("volume", "both"):
            row["volume_cm3"] = "" if k else 180
        else:
            row["volume_cm3"] = (50, 70, 60)[k]
        if pooled in ("mass", "both"):
            row["tare_g"] = "" if k else 150
            row["gross_g"] = "" if k else 427
    table, findings = bulk_densities(read(rows, toml=TOML.replace(STATED, "")))
    assert table.value == pytest.approx([277 / 180 * 1000], rel=1e-9)
    assert str(findings[0]).endswith("from 1 catch")


def test_a_pool_that_was_not_weighed_is_no_witness(read: Read) -> None:
    rows = trays(*[{"pool": "p", "volume_state": "dry", "tare_g": "", "gross_g": ""}] * 3)
    rows[0]["volume_cm3"] = 180
    table, _ = bulk_densities(read(rows, toml=TOML.replace(STATED, "")))
    assert table.value.tolist() == [1560.0]


def test_units_of_the_columns_do_not_matter(read: Read) -> None:
    inch, ounce = 25.4, 28.349523125
    us: list[dict[str, Any]] = [
        {k: row[k] for k in ("catch", "dressing", "lon", "lat")}
        | {"tray_length_in": 400 / inch, "tray_width_in": 250 / inch}
        | {f"{name}_oz": float(str(row[f"{name}_g"])) / ounce for name in ("tare", "gross")}
        for row in CATCHES
    ]
    assert rates(read(us)).rate_kg_m2 == pytest.approx(rates(read(CATCHES)).rate_kg_m2, rel=1e-9)
