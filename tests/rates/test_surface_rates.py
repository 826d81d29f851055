"""Rate and depth of dressed surfaces, with every source of uncertainty in its place."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from geosand.areas.register import area_register
from geosand.distributions import coverage_factor
from geosand.formats.site_folder import read_site
from geosand.rates import over_time
from geosand.rates.surface_rates import Rates, site_rates
from tests.rates.by_catch import surface_rates
from tests.rates.conftest import Run
from tests.sites import CATCHES, G1, G2, SURFACES, TOML, TRAY, catch, square, surface

HEAD = "dressing,date,surfaces,planned_depth_mm,swath_m\n"
EVEN = [catch(k, gross_g=143) for k in range(1, 7)]  # 0.93 kg/m² in every tray: 0.6 mm


def findings(rates: Rates) -> str:
    return " | ".join(map(str, rates.findings))


def test_even_catches_give_their_own_rate_and_depth(run: Run) -> None:
    rates = run(catches=EVEN)
    assert rates.rate.value == pytest.approx([0.93, 0.93], rel=1e-12)
    assert rates.depth.value == pytest.approx([0.0006, 0.0006], rel=1e-12)
    assert rates.own.tolist() == [True, True]
    assert rates.catches.tolist() == [3, 3]


def test_sources_of_a_depth_by_mass(run: Run) -> None:
    # relative: tray 0.5 %, catch efficiency 3 %, density 0.03/1.55, water 0.2 points of a dry sand,
    # edge 15 % of the share within 2 m of the edge of a square of 20 m: 1 − (16/20)²
    parts = run(catches=EVEN).depth.by_category()
    relative = {name: part[0] / 0.0006 for name, part in parts.items()}
    assert relative["tray size"] == pytest.approx(0.005, rel=1e-9)
    assert relative["catch efficiency"] == pytest.approx(0.03, rel=1e-9)
    assert relative["bulk density"] == pytest.approx(0.03 / 1.55, rel=1e-9)
    assert relative["moisture"] == pytest.approx(0.002, rel=1e-9)
    assert relative["edge taper"] == pytest.approx(0.15 * 0.36, rel=1e-4)


def test_what_is_measured_too_large_makes_the_rate_too_small(run: Run) -> None:
    """Signs: each effect is that of its input one u higher, here by computing it again."""
    base = run(catches=EVEN)

    def change(old: str, new: str) -> float:
        moved = run(catches=EVEN, toml=TOML.replace(old, new))
        return float(moved.depth.value[0] - base.depth.value[0])

    effects = base.depth.effects
    efficiency = change("catch_efficiency_percent = 100\n", "catch_efficiency_percent = 103\n")
    assert effects["catch efficiency"][0] == pytest.approx(efficiency, rel=0.05)
    larger = [{**row, "tray_length_mm": 402} for row in EVEN]  # the tray 0.5 % larger than told
    tray = float(run(catches=larger).depth.value[0] - base.depth.value[0])
    assert effects["tray size"][0] == pytest.approx(tray, rel=0.05)
    density = change("bulk_density_g_cm3 = 1.55\nu", "bulk_density_g_cm3 = 1.58\nu")
    assert effects["bulk density: dried"][0] == pytest.approx(density, rel=0.05)
    wetter = change("moisture_dry_basis_percent = 0.0", "moisture_dry_basis_percent = 0.2")
    assert effects["moisture: dried"][0] == pytest.approx(wetter, rel=0.05)
    # of 25 % of water 0.2 points more are a smaller share of what was weighed
    wet = TOML.replace("moisture_dry_basis_percent = 0.0", "moisture_dry_basis_percent = 25.0")
    found, more = (run(catches=EVEN, toml=t).depth for t in (wet, wet.replace("25.0", "25.2")))
    wetter = float(more.value[0] - found.value[0])
    assert found.effects["moisture: dried"][0] == pytest.approx(wetter, rel=0.01)


def test_a_depth_by_volume_does_not_need_the_bulk_density(run: Run) -> None:
    by_volume = {"tare_g": None, "gross_g": None, "volume_cm3": 60.0, "volume_state": "dry"}
    rates = run(catches=[catch(k, **by_volume) for k in range(1, 7)])
    assert rates.depth.value == pytest.approx([0.0006, 0.0006], rel=1e-12)
    assert rates.depth.by_category()["bulk density"] == pytest.approx([0, 0], abs=1e-18)
    relative = rates.rate.by_category()["bulk density"] / rates.rate.value
    assert relative == pytest.approx([0.03 / 1.55] * 2, rel=1e-9)
    assert np.isnan(rates.mass_rate_kg_m2).all()
    assert rates.volume_rate_kg_m2 == pytest.approx([0.93, 0.93], rel=1e-12)


def test_one_way_alone_gives_the_rates_themselves(run: Run) -> None:
    """Whatever the spreader's other dressings were measured by."""
    rows = ("D1,2026-04-10,g1 g2,disc", "D2,2026-05-10,g1 g2,disc")
    volume = {"tare_g": None, "gross_g": None, "volume_state": "dry", "dressing": "D2"}
    weighed = [catch(k, gross_g=140 + 2 * k * k) for k in range(1, 6)]
    measured = [catch(k, **volume, volume_cm3=54 + k * k) for k in range(1, 7)]
    dressings = "\n".join(("dressing,date,surfaces,spreader", *rows)) + "\n"
    rates = run(dressings=dressings, catches=[*weighed, *measured])
    assert rates.model.pooled.all()
    assert rates.mass_rate_kg_m2[:2].tolist() == rates.rate.value[:2].tolist()
    assert rates.volume_rate_kg_m2[2:].tolist() == rates.rate.value[2:].tolist()
    assert np.isnan([*rates.mass_rate_kg_m2[2:], *rates.volume_rate_kg_m2[:2]]).all()


def test_a_surface_without_catches_is_estimated_from_the_others(run: Run) -> None:
    rates = run(catches=CATCHES[:3])
    assert rates.own.tolist() == [True, False]
    assert rates.rate.value[1] == pytest.approx((0.92 + 0.97 + 0.88) / 3, rel=1e-9)
    assert rates.rate.u()[1] > rates.rate.u()[0]
    assert "catches on one surface of 2" in findings(rates)


def test_the_same_in_any_order_of_rows(run: Run) -> None:
    one, other = run(), run(catches=CATCHES[::-1], surfaces=SURFACES[::-1])
    assert sorted(one.rate.value) == pytest.approx(sorted(other.rate.value), rel=1e-12)
    assert sorted(one.depth.u()) == pytest.approx(sorted(other.depth.u()), rel=1e-6)


def test_rows_of_other_planned_depths_share_the_ratio(run: Run) -> None:
    """g1 was to get 0.4 and g2 0.8 mm: catches of 0.62 on g1 mean 1.24 on g2."""
    dressings = f"{HEAD}D1,2026-04-10,g1,0.4,4\nD1,2026-04-10,g2,0.8,4\n"
    # 62 g and 44 cm³ on 0.1 m²: 0.44 mm of 1.55 g/cm³ are 0.682 kg/m²
    tray = {"gross_g": 112, "volume_cm3": 44, "volume_state": "dry"}
    rates = run(dressings=dressings, catches=[catch(k, **tray) for k in (1, 2, 3)])
    assert rates.rate.value == pytest.approx([0.62, 1.24], rel=1e-12)
    assert rates.mass_rate_kg_m2 == pytest.approx([0.62, 1.24], rel=1e-12)
    assert rates.volume_rate_kg_m2 == pytest.approx([0.682, 1.364], rel=1e-12)
    # squares of 20 and 30 m, 2 m along their edges
    share = 1 - np.array([16 / 20, 26 / 30]) ** 2
    taper = rates.rate.by_category()["edge taper"]
    assert taper == pytest.approx(0.15 * share * [0.62, 1.24], rel=1e-4)


def test_sampling_of_a_dressing_is_three_parts(run: Run) -> None:
    rates = run()
    effects, model = rates.rate.effects, rates.model
    weight = 1 - effects[over_time.SURFACE] / model.sigma_b[0]
    assert effects[over_time.MEAN] == pytest.approx((1 - weight) * model.u_mu[0], rel=1e-9)
    assert effects[over_time.CATCHES] == pytest.approx(weight * model.sigma_e[0] / 3**0.5, rel=1e-9)
    assert rates.in_mean == pytest.approx([0.5, 0.5], rel=1e-12)


def test_one_catch_a_surface_can_not_tell_the_scatters_apart(run: Run) -> None:
    assert "can not be told apart" in findings(run(catches=[CATCHES[0], CATCHES[3]]))


@pytest.mark.parametrize("catches", [None, [catch(1, reject_reason="wet")]])
def test_no_catch_that_counts_leaves_all_unknown(run: Run, catches: Any) -> None:
    rates = run(catches=catches)
    assert np.isnan(rates.rate.value).all()
    assert np.isnan(rates.depth.value).all()
    assert np.isnan(rates.uniformity.cv).all()
    assert "no catches lie on its surfaces" in findings(rates)


def test_one_dressed_surface_with_one_catch(run: Run) -> None:
    rates = run(dressings=f"{HEAD}D1,2026-04-10,g1,0.6,4\n", catches=CATCHES[:1])
    assert rates.rate.value == pytest.approx([0.92])
    assert rates.model.degrees_of_freedom.tolist() == [2.0]
    assert "catches on one surface" not in findings(rates)


def test_a_dressed_surface_that_owns_no_ground(run: Run) -> None:
    beneath = surface("a1", "approach", square(*G1, 10.0))
    rates = run(
        surfaces=[*SURFACES, beneath], dressings=f"{HEAD}D1,2026-04-10,green approach,0.6,4\n"
    )
    assert np.isfinite(rates.rate.value).all()
    assert rates.rate.by_category()["edge taper"][2] == 0


def test_catches_outside_do_not_enter_the_surfaces(run: Run) -> None:
    ring = {**catch(1), "catch": "r", "surface": "g1", "edge_distance_m": 0.5, "gross_g": 60}
    assert run(catches=[*EVEN, ring]).rate.value == pytest.approx([0.93, 0.93], rel=1e-12)


def test_a_way_of_measuring_may_have_catches_where_the_other_has_none(run: Run) -> None:
    """Two trays emptied into one bag, the first beside the surface; volumes read one by one."""
    pool = {"pool": "p", "volume_state": "dry", "volume_cm3": 60}
    first = catch(1, **pool, gross_g=200, tare_g=50) | {"surface": "g1", "edge_distance_m": 0.5}
    rates = run(catches=[first, catch(2, **pool, tare_g=None, gross_g=None)])
    assert rates.catches.tolist() == [0, 0]
    assert np.isnan(rates.rate.value).all()
    assert np.isnan(rates.mass_rate_kg_m2).all()
    assert rates.volume_rate_kg_m2[0] == pytest.approx(0.93, rel=1e-9)


def test_no_dressings_at_all(run: Run) -> None:
    rates = run(dressings=HEAD, loads=None, catches=None)
    assert len(rates.rate) == 0
    assert len(rates.model.mu) == 0


def test_uniformity_is_of_the_depths_that_count(run: Run) -> None:
    """Depths 1, 2, 3, 4 (arbitrary unit): mean 2.5, sd 1.29099, CV 51.64 %, lowest quarter 1."""
    place = [(*G1, -4e-5), (*G1, 4e-5), (*G2, -4e-5), (*G2, 4e-5)]
    rows: list[dict[str, Any]] = [
        {"catch": f"u{k}", "dressing": "D1", "lon": lon + dx, "lat": lat, **TRAY}
        | {"tare_g": 50, "gross_g": 150 + 100 * k}
        for k, (lon, lat, dx) in enumerate(place)
    ]
    rows.append({**rows[0], "catch": "bad", "gross_g": 5000, "reject_reason": "stones"})
    found = run(catches=rows).uniformity
    assert found.cv == pytest.approx([0.5163978], rel=1e-6)
    assert found.du_lq == pytest.approx([0.4], rel=1e-9)
    assert found.cu == pytest.approx([0.6], rel=1e-9)


def test_trays_of_mixed_loads_share_the_water_of_each(site_folder: Callable[..., Path]) -> None:
    """Two loads of the same mass, 3 and 5 % of water: trays stand on 4 %, and an error of either
    load's water is also half theirs. Independent route: the first load's water 0.1 points higher.
    """
    toml = TOML.replace("moisture_dry_basis_percent = 0.0\nu_moisture_percent = 0.2\n", "")
    head = "load,dressing,count,unit_mass_kg,moisture_dry_basis_percent,u_moisture_percent\n"

    def made(first: float) -> Any:
        loads = f"{head}L1,D1,26,25,{first},0.5\nL2,D1,26,25,5,0.5\n"
        site = read_site(site_folder(f"water {first}", toml=toml, loads=loads))
        return site, site_rates(site, area_register(site.surfaces))

    site, rates = made(3.0)
    (mean,) = set(site.catches.moisture.tolist())
    assert site.moistures.ratio[mean] == pytest.approx(0.04)
    assert site.moistures.u_ratio[mean] == pytest.approx(0.005 / np.sqrt(2))
    sources = {"moisture: D1 3 %", "moisture: D1 5 %"}
    assert {k for k in rates.rate.effects if k.startswith("moisture")} == sources
    _, moved = made(3.1)
    per_u = (moved.rate.value - rates.rate.value) * 5  # 0.5 points are one u
    assert rates.rate.effects["moisture: D1 3 %"] == pytest.approx(per_u, rel=2e-3)


def near(k: int, *places: float) -> list[dict[str, Any]]:
    """Trays on green ``k`` so many metres east of its middle."""
    lon, lat = (G1, G2)[k - 1]
    row = catch(1)
    return [
        row | {"catch": f"c{k}-{i}", "lon": lon + east / 75_900, "lat": lat}
        for i, east in enumerate(places)
    ]


def test_trays_that_share_a_stripe_know_their_surface_less_well_than_they_agree() -> None:
    """What the finding says: stripes of 20 % (sd 14 %), three trays in one or in three of them."""
    rng, sites, surfaces = np.random.default_rng(3), 400, 6
    held = {}
    for together in (True, False):
        phase = rng.uniform(0, 2 * np.pi, (sites, surfaces, 3))
        stripe = 0.2 * np.sin(phase[..., :1] + 0 * phase if together else phase)
        y = (1 + stripe + rng.normal(0, 0.04, stripe.shape)).ravel()
        group, on = np.divmod(np.arange(sites * surfaces).repeat(3), surfaces)
        rates = surface_rates(
            y=y,
            group=group,
            surface=on,
            spreader=np.full(sites, -1),
            dressed_group=group[::3],
            dressed_surface=on[::3],
        )
        u = np.sqrt(rates.persistent**2 + rates.within**2 + rates.mean_effect**2)
        half = coverage_factor(0.95, rates.dressings.degrees_of_freedom)[rates.group] * u
        held[together] = (np.abs(rates.value - 1) <= half).mean()
    assert held[True] < 0.85
    assert held[False] > 0.93
