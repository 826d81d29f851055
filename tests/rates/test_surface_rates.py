"""Rate and depth of dressed surfaces, with every source of uncertainty in its place."""

from __future__ import annotations

from collections.abc import Callable
from itertools import count
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
from tests.sites import CATCHES, G1, G2, SURFACES, TOML, TRAY, catch, square, surface

HEAD = "dressing,date,surfaces,planned_depth_mm,swath_m\n"
GREENS = f"{HEAD}D1,2026-04-10,green,0.6,4\n"
EVEN = [catch(k, gross_g=143) for k in range(1, 7)]  # 0.93 kg/m² in every tray: 0.6 mm
Run = Callable[..., Rates]


@pytest.fixture
def run(site_folder: Callable[..., Path]) -> Run:
    number = count()

    def rates(**overrides: Any) -> Rates:
        site = read_site(site_folder(f"site{next(number)}", **overrides))
        return site_rates(site, area_register(site.surfaces))

    return rates


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


def test_a_catch_near_the_edge_leaves_no_doubt_of_the_edge(run: Run) -> None:
    beside = {**catch(1), "surface": "g1", "edge_distance_m": -1.0}
    rates = run(catches=[beside, *CATCHES[1:]])
    taper = rates.rate.by_category()["edge taper"]
    assert taper[0] == 0
    assert taper[1] > 0
    assert "on 1 surface no catch lies within half a swath" in findings(rates)


def test_a_narrow_band_that_no_catch_saw_is_told_too(run: Run) -> None:
    """Half a swath of 0.4 m along a square of 20 m is 4 % of it: DESIGN tells the source always."""
    rates = run(catches=EVEN, dressings=GREENS.replace("0.6,4", "0.6,0.4"))
    taper = rates.rate.effects["edge taper"] / rates.rate.value
    assert taper == pytest.approx(0.15 * (1 - np.array([19.6 / 20, 29.6 / 30]) ** 2), rel=1e-3)
    assert "on 2 surfaces no catch lies within half a swath" in findings(rates)


def test_catches_along_the_edge_of_narrow_ground_ask_for_none_farther_in(run: Run) -> None:
    """Half a swath of 19 m leaves 1 m by 1 m of the square of 20 m, and 11 m by 11 m of g2."""
    whose = zip(EVEN, ["g1"] * 3 + ["g2"] * 3, strict=True)
    beside = [c | {"edge_distance_m": -1.0, "surface": g} for c, g in whose]
    rates = run(catches=beside, dressings=GREENS.replace("0.6,4", "0.6,19"))
    taper = rates.rate.effects["edge taper"] / rates.rate.value
    off = [_off_an_even_fall(side, 9.5, 1.0) for side in (20.0, 30.0)]
    assert taper == pytest.approx(off, rel=2e-3)
    assert "on 1 surface every catch lies within half a swath" in findings(rates)


def test_catches_along_the_edge_alone_leave_the_middle_in_doubt(run: Run) -> None:
    """A field that is 1 in the middle and 0.85 within 2 m of the edges of 20 m and 30 m squares.

    Its mean is 1 − 0.15·s: trays in the band are 0.15·(1 − s) below it, those of the middle 0.15·s
    above, and over both squares the errors of the two take each other off.
    """
    beside = [{**c, "surface": "g1", "edge_distance_m": -1.0} for c in CATCHES[:3]]
    rates = run(catches=[*beside, *CATCHES[3:]])
    share = 1 - np.array([16 / 20, 26 / 30]) ** 2
    off = np.array([0.85, 1.0]) - (1 - 0.15 * share)
    taper = rates.rate.effects["edge taper"] / rates.rate.value
    assert taper == pytest.approx(off, rel=1e-4)
    told = "on 1 surface every catch lies within half a swath of the edge"
    assert f"{told}, where the rate falls: lay one tray farther in" in findings(rates)
    both = run(catches=[*beside, CATCHES[0] | {"catch": "c9"}, *CATCHES[3:]])
    assert both.rate.effects["edge taper"][0] == 0
    assert "every catch" not in findings(both)


def _off_an_even_fall(side_m: float, band_m: float, tray_m: float) -> float:
    """A tray's error on a square where the rate falls evenly from 1 to 0.7 at the edge.

    The square's mean is that of a fine grid.
    """
    across = (np.arange(1000) + 0.5) / 1000 * side_m
    to_edge = np.minimum(across, side_m - across)
    nearest = np.minimum(to_edge[:, None], to_edge)
    rate = 1 - 0.3 * np.clip(1 - np.append(nearest.ravel(), tray_m) / band_m, 0, 1)
    return float(rate[-1] - rate[:-1].mean())


@pytest.mark.parametrize("tray_m", [0.0, 0.2, 0.6, 1.0, 1.4])
def test_the_nearer_the_edge_all_catches_lie_the_more_is_in_doubt(run: Run, tray_m: float) -> None:
    """A fall to 0.7 at the edge, or 0.85 all over the band of 2 m: what errs more counts.

    That rates fall towards the edge is common practice, no published source for how.
    """
    beside = [{**c, "edge_distance_m": -tray_m} for c in CATCHES]
    for k, c in enumerate(beside):
        c["surface"] = f"g{1 + k // 3}"
    rates = run(catches=beside).rate
    share = 1 - np.array([16 / 20, 26 / 30]) ** 2
    even = [_off_an_even_fall(side, 2.0, tray_m) for side in (20.0, 30.0)]
    taper = rates.effects["edge taper"] / rates.value
    assert taper == pytest.approx(np.minimum(even, 0.15 * (share - 1)), rel=2e-3)
    alone = run(catches=beside[:3]).rate  # g2 without trays: as far off as those of g1
    assert (alone.effects["edge taper"] / alone.value) == pytest.approx(taper, rel=1e-12)


@pytest.mark.parametrize(("accuracy_m", "known"), [(1.0, True), (1.5, False), (3.0, False)])
def test_where_in_the_band_trays_lie_is_asked_of_good_positions_only(
    run: Run, accuracy_m: float, known: bool
) -> None:
    """Three trays 0.2 m within the east edge of g1; ±1.5 m or a phone's 3 do not tell it."""
    lon, lat = G1
    (ring,) = square(lon, lat, 2 * (10 - 0.2))["coordinates"]
    east = max(x for x, _ in ring)
    beside = [
        {**c, "lon": east, "lat": lat + k * 2e-5, "surface": "g1"}
        | {"position_accuracy_m": accuracy_m}
        for k, c in enumerate(CATCHES[:3], start=-1)
    ]
    rates = run(catches=[*beside, *CATCHES[3:]]).rate
    taper = (rates.effects["edge taper"] / rates.value)[0]
    expected = _off_an_even_fall(20.0, 2.0, 0.2) if known else 0.15 * -((16 / 20) ** 2)
    assert taper == pytest.approx(expected, rel=0.02)


def test_a_surface_without_catches_is_as_one_sided_as_all_of_its_dressing(run: Run) -> None:
    beside = [{**c, "surface": "g1", "edge_distance_m": -1.0} for c in CATCHES[:3]]
    share = 1 - np.array([16 / 20, 26 / 30]) ** 2
    taper = run(catches=beside).rate
    assert taper.effects["edge taper"] / taper.value == pytest.approx(0.15 * (share - 1), rel=1e-4)


def test_an_unknown_swath_looks_one_metre_inside_the_edge(run: Run) -> None:
    rates = run(catches=EVEN, dressings="dressing,date,surfaces\nD1,2026-04-10,green\n")
    share = 1 - np.array([18 / 20, 28 / 30]) ** 2
    relative = rates.rate.by_category()["edge taper"] / rates.rate.value
    assert relative == pytest.approx(0.15 * share, rel=1e-4)


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


def test_a_reading_of_trays_on_several_surfaces_is_told(run: Run) -> None:
    pool = {"pool": "p", "volume_state": "dry", "tare_g": None, "gross_g": None}
    rates = run(catches=[catch(1, **pool, volume_cm3=120), catch(4, **pool)])
    assert rates.volume_rate_kg_m2 == pytest.approx([0.93, 0.93], rel=1e-9)
    assert rates.catches.tolist() == [1, 0]
    assert "counts as one catch, that of c1" in findings(rates)


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


def test_an_empty_tray_on_dressed_ground_is_told(run: Run) -> None:
    """Gross equal to tare: it counts as 0 until somebody says that it was never weighed."""
    rates = run(catches=[catch(1, gross_g=50), *EVEN[1:]])
    assert rates.rate.value[0] < 0.8
    assert "D1: catch c1 holds no sand on dressed ground and counts as 0" in findings(rates)
    assert "holds no sand" not in findings(run(catches=EVEN))


@pytest.mark.parametrize(("gross_g", "times"), [(455, "4.5"), (70, "0.22")])
def test_a_catch_far_from_the_others_is_named(run: Run, gross_g: float, times: str) -> None:
    # the median of 92, 97, 88, 90, 86 g and this one is 91 or 89 g
    odd = [*(catch(k) for k in range(1, 5)), catch(5, gross_g=gross_g), catch(6)]
    assert (
        f"D1: catch c5 ({times} times) lies far from the median of the dressing's catches: check"
        " readings, tray sizes and their units; a spoiled catch gets a reject_reason"
    ) in findings(run(catches=odd))
    assert "far from" not in findings(run(catches=odd[2:]))  # three others are too few to tell
    assert "far from" not in findings(run(catches=[*odd[:4], catch(5, gross_g=400), odd[5]]))


def test_a_tray_weighed_with_another_one_is_named_where_the_others_agree(run: Run) -> None:
    """12 catches of 86 to 97 g: 2.9 times as much is no scatter, twice as much may be overlap."""
    more = [catch(k, catch=f"d{k}") for k in range(1, 7)]
    odd = [*EVEN[:4], catch(5, gross_g=50 + 273), EVEN[5]]
    assert "D1: catch c5 (2.9 times) lies far from the median" in findings(
        run(catches=[*odd, *more])
    )
    assert "far from" not in findings(run(catches=odd))  # five others do not tell how they scatter
    lapped = [*EVEN[:4], catch(5, gross_g=50 + 200), EVEN[5]]
    assert "far from" not in findings(run(catches=[*lapped, *more]))
    apart = [catch(k, catch=f"d{k}", gross_g=50 + 45 * k) for k in range(1, 7)]
    assert "far from" not in findings(run(catches=[*odd, *apart]))
    # all trays of one surface agree that it was to get more, and no plan says so
    meant = [catch(k, gross_g=50 + (270 if k > 3 else 92)) for k in range(1, 7)]
    of_g1 = [catch(k, catch=f"d{k}") for k in (1, 2, 3)] + [
        catch(k, catch=f"e{k}") for k in (1, 2, 3)
    ]
    assert "far from" not in findings(run(catches=[*meant, *of_g1]))


def test_other_planned_depths_and_other_ground_are_not_far(run: Run) -> None:
    dressings = f"{HEAD}D1,2026-04-10,g1,0.3,4\nD1,2026-04-10,g2,1.5,4\n"
    five_fold = [catch(k, gross_g=50 + (50 if k < 4 else 250)) for k in range(1, 7)]
    near_each = [catch(k, catch=f"d{k}", gross_g=51) | {"lat": 47.003} for k in (1, 2)]
    rates = run(dressings=dressings, catches=five_fold)
    assert "far from" not in findings(rates)
    assert "far from" not in findings(run(catches=[*EVEN, *near_each]))


def test_two_catches_far_from_the_others_are_told_at_once(run: Run) -> None:
    more = [catch(k, catch=f"d{k}") for k in range(1, 7)]
    odd = [catch(1, gross_g=1000), catch(2, gross_g=60), *(catch(k) for k in range(3, 7))]
    text = findings(run(catches=[*odd, *more]))
    assert "D1: catches c1 (11 times), c2 (0.11 times) lie far from the median" in text


def test_rejected_catches_are_listed_with_their_reason(run: Run) -> None:
    rates = run(catches=[catch(1) | {"reject_reason": "kicked over"}, *EVEN[1:]])
    assert "D1: set aside and not used: c1 (kicked over)" in findings(rates)


def test_surfaces_that_differ_much_make_the_others_doubtful(run: Run) -> None:
    """30 % between g1 and g2, and a tee without catches: the default of 8 % is too sure of it."""
    dressings = f"{HEAD}D1,2026-04-10,green tee,0.6,4\n"
    apart = [catch(k, gross_g=143 if k < 4 else 200) for k in range(1, 7)]
    told = findings(run(dressings=dressings, catches=apart))
    assert "the 1 surface without catches may lie outside the interval" in told
    assert "much more than usual" not in findings(run(dressings=dressings, catches=EVEN))
    # of a single surface with catches nothing differs, and where all have some none is in doubt
    assert "much more than usual" not in findings(run(dressings=dressings, catches=apart[:3]))
    assert "much more than usual" not in findings(run(catches=apart))


def near(k: int, *places: float) -> list[dict[str, Any]]:
    """Trays on green ``k`` so many metres east of its middle."""
    lon, lat = (G1, G2)[k - 1]
    row = catch(1)
    return [
        row | {"catch": f"c{k}-{i}", "lon": lon + east / 75_900, "lat": lat}
        for i, east in enumerate(places)
    ]


def test_trays_within_one_swath_are_told(run: Run) -> None:
    """A degree of longitude is 75.9 km there; the swath is 4 m, the greens are 20 and 30 m long."""
    tight = "all catches on {} lie within a swath of each other"
    assert tight.format("g1") in findings(run(catches=near(1, 0, 1.5, 3.5) + near(2, -5, 0, 5)))
    assert tight.format("g1, g2") in findings(run(catches=near(1, 0, 1) + near(2, 3, 3)))
    far = "within a swath of each other"
    assert far not in findings(run(catches=near(1, -2, 2.5) + near(2, -5, 5)))
    assert far not in findings(run(catches=near(1, 0) + near(2, 1)))  # one tray has no other
    # on a surface of two swaths there is little more room
    small = [surface("g1", "green", square(*G1, 7.5)), *SURFACES[1:]]
    assert far not in findings(run(surfaces=small, catches=near(1, 0, 1) + near(2, -5, 5)))


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


def test_surfaces_set_unlike_without_a_plan_are_told(run: Run) -> None:
    """t1 has no catch: with planned depths its rate follows the plan, without it that of others."""
    rows = "D1,2026-04-10,g1 g2,{},4,3\nD1,2026-04-10,t1,{},4,6\n"
    head = HEAD.replace("\n", ",setting\n")
    text = "its surfaces were not all set and driven alike"
    bare = run(dressings=head + rows.format("", ""))
    assert text in findings(bare)
    assert bare.rate.value[2] == pytest.approx(bare.rate.value[:2].mean(), rel=0.02)
    planned = run(dressings=head + rows.format(0.6, 1.2))
    assert text not in findings(planned)
    assert planned.rate.value[2] == pytest.approx(2 * planned.rate.value[:2].mean(), rel=0.02)
    alike = run(dressings=head + rows.format("", "").replace(",6\n", ",3\n"))
    assert text not in findings(alike)
    # where each has catches of its own no rate is taken from others
    unlike = "D1,2026-04-10,g1,,4,3\nD1,2026-04-10,g2,,4,6\n"
    assert text not in findings(run(dressings=head + unlike))


def test_the_edge_band_is_half_the_swath_of_each_row(run: Run) -> None:
    """Trays within 4 m of the middle of squares: 8 m of swath see the edge of g1, 4 m do not."""
    near = [catch(k) for k in range(1, 7)]
    both = [run(dressings=f"{HEAD}D1,2026-04-10,green,0.6,{w}\n", catches=near) for w in (4, 16)]
    rows = f"{HEAD}D1,2026-04-10,g1,0.6,16\nD1,2026-04-10,g2,0.6,4\n"
    taper = run(dressings=rows, catches=near).rate.effects["edge taper"]
    narrow, wide = (rates.rate.effects["edge taper"] for rates in both)
    assert narrow[0] > 0 == wide[0]
    assert taper.tolist() == pytest.approx([wide[0], narrow[1]], rel=1e-12)


def _of_chosen(run: Run, grams: list[float], reasons: list[str]) -> str:
    rows = [
        catch(1 + k % 6, catch=f"n{k}", gross_g=50 + g, reject_reason=why)
        for k, (g, why) in enumerate(zip(grams, reasons, strict=True))
    ]
    return findings(run(catches=rows))


def test_what_is_set_aside_for_what_it_holds_is_told(run: Run) -> None:
    """The fuller half of 16 alike trays left out: U = 64 of 64 pairs, 3.36 sd (Mann, Whitney)."""
    grams = [90.0 + k for k in range(16)]
    fuller = ["too much"] * 8
    told = _of_chosen(run, grams, ["", *[""] * 7, *fuller])
    # the mean of 90 to 105 is 97.5, that of 90 to 97 is 93.5
    assert "holds more than what counts" in told
    assert "would average +4 %" in told
    assert "holds less than what counts" in _of_chosen(run, grams, [*fuller, *[""] * 8])


def test_what_is_set_aside_whatever_it_holds_is_not_told(run: Run) -> None:
    grams = [90.0 + k for k in range(16)]
    every_other = ["spoiled" if k % 2 else "" for k in range(16)]
    assert "than what counts" not in _of_chosen(run, grams, every_other)
    # equal readings, those set aside stand last: chance, and no order of the file
    assert "than what counts" not in _of_chosen(run, [92.0] * 16, [""] * 8 + ["spoiled"] * 8)
    assert "than what counts" not in _of_chosen(run, [90.0] * 5 + [200.0], [""] * 5 + ["spilt"])


def test_trays_that_were_lost_are_no_choice(run: Run) -> None:
    """Empty ones get a reject_reason, as the finding about empty trays asks for; spilt ones do."""
    grams = [90.0 + k for k in range(16)]
    lost = ["no reading"] * 8
    assert "than what counts" not in _of_chosen(run, [*[0.0] * 8, *grams[8:]], [*lost, *[""] * 8])
    told = _of_chosen(run, grams, [*["spilt"] * 8, *[""] * 8])
    assert "Spilt trays do; if others were set aside" in told


def test_a_reading_of_many_trays_that_was_set_aside_is_no_choice(run: Run) -> None:
    """Eight trays of one reading are not eight that were chosen."""
    rows = [catch(1 + k % 6, catch=f"n{k}", gross_g=140.0 + k) for k in range(8)]
    shared = {"pool": "p", "reject_reason": "wet", "gross_g": None, "tare_g": None}
    rows += [catch(1 + k % 6, catch=f"p{k}", **shared) for k in range(8)]
    rows[8] |= {"gross_g": 1500.0, "tare_g": 400.0}
    assert "than what counts" not in findings(run(catches=rows))
