"""Rates of the next dressing: hand-worked, conserved, capped, skipped; published volumes."""

import numpy as np
import pytest

from geosand.planning.choosing import Request, chosen_sand, chosen_spreader, chosen_surfaces
from geosand.planning.next_rate import next_rates
from tests.sites import CATCHES, LAT, LON, SURFACES, TOML, square, surface


def planned(results, *, depth_m=None, sand=0, **options):
    row = options.pop("row", chosen_surfaces(results.site, results.ledger, ()))
    asked = Request(row=row, sand=sand, spreader="", depth_m=depth_m, assurance=0.9, **options)
    return next_rates(results.site, results.areas, results.rates, results.ledger, asked)


def test_half_a_millimetre_worked_by_hand(worked):
    """0.5 mm of 1550 kg/m3 is 0.775 kg/m2: on 20 x 20 m 310 kg, on 30 x 30 m 697.5 kg."""
    plan = planned(worked(), depth_m=0.0005)
    np.testing.assert_allclose(plan.rate_kg_m2, 0.775)
    np.testing.assert_allclose(plan.mass_kg, [310.0, 697.5, 77.5], rtol=1e-5)


def test_each_surface_comes_to_its_target_so_far(worked):
    results = worked(as_of="2026-06-30")
    plan = planned(results)
    ledger = results.ledger
    so_far = dict(zip(results.site.surfaces.id[ledger.row], ledger.depth.value, strict=True))
    # 121 of 274 days have passed of a season with 9 mm for greens and 4 mm for tees
    share = 121 / 274
    wanted = [0.009 * share - so_far["g1"], 0.009 * share - so_far["g2"], 0.004 * share]
    np.testing.assert_allclose(plan.depth_m, wanted)
    assert plan.note.tolist() == ["", "", ""]


def test_a_cap_leaves_the_rest_and_a_floor_leaves_all(worked):
    results = worked(as_of="2026-06-30")
    free = planned(results)
    capped = planned(results, maximum_m=0.002)
    np.testing.assert_allclose(capped.depth_m, np.minimum(free.depth_m, 0.002))
    np.testing.assert_allclose(capped.depth_m + capped.left_m, free.depth_m)
    assert capped.note.tolist() == ["capped", "capped", ""]
    floor = planned(results, minimum_m=0.002)
    assert floor.depth_m[2] == 0
    assert floor.note[2] == "below the least depth asked for: left for later"


def test_a_dressing_of_just_the_least_or_the_most_is_neither_left_out_nor_capped(worked):
    plan = planned(worked(), depth_m=0.002, minimum_m=0.002, maximum_m=0.002)
    assert plan.depth_m.tolist() == [0.002] * 3
    assert plan.note.tolist() == [""] * 3
    more = planned(worked("more"), depth_m=0.003, maximum_m=0.002)
    assert more.note.tolist() == ["capped"] * 3
    # one depth for all is no shortfall that a cap leaves for later
    assert more.left_m.tolist() == [0.0] * 3


def test_what_a_cap_leaves_of_a_mix_is_its_sand(worked):
    """Greens lack 3.97 mm less what was caught, of sand; 2 mm of a mix bring 1.6 mm of it."""
    toml = TOML.replace("[sands.dried]", "[sands.dried]\nsand_mass_fraction = 0.8")
    plan = planned(worked(as_of="2026-06-30", toml=toml), maximum_m=0.002)
    np.testing.assert_allclose(plan.left_m[:2], plan.shortfall_m[:2] - 0.8 * 0.002, rtol=1e-12)


def test_of_a_mix_that_was_not_measured_its_sand_counts_as_planned(worked):
    toml = TOML.replace("[sands.dried]", "[sands.dried]\nsand_mass_fraction = 0.8")
    days = "dressing,date,surfaces,planned_depth_mm\nD1,2026-04-10,green,0.6\n"
    once = planned(worked(as_of="2026-06-30", toml=toml, dressings=days))
    more = days + "D2,2026-05-10,g1,1.0\n"
    twice = planned(worked("two", as_of="2026-06-30", toml=toml, dressings=more))
    np.testing.assert_allclose(once.shortfall_m - twice.shortfall_m, [0.8e-3, 0, 0], atol=1e-15)


def test_over_dressed_surfaces_get_nothing_either_way(worked):
    catches = [c | {"gross_g": 300} if k < 3 else c for k, c in enumerate(CATCHES)]
    results = worked(as_of="2026-04-10", catches=catches)
    assert results.ledger.state.tolist()[0] == "over-dressed"
    for depth in (None, 0.0005):
        plan = planned(results, depth_m=depth)
        assert plan.depth_m[0] == 0
        assert plan.note[0] == "over-dressed"
        assert (plan.depth_m >= 0).all()


def test_a_mix_is_spread_thicker_by_its_share_of_sand(worked):
    plain = planned(worked(as_of="2026-06-30"))
    toml = TOML.replace("[sands.dried]", "[sands.dried]\nsand_mass_fraction = 0.8")
    mixed = planned(worked("mix", as_of="2026-06-30", toml=toml))
    assert mixed.depth_m[2] == pytest.approx(plain.depth_m[2] / 0.8)


def test_a_dressing_that_was_not_measured_counts_as_planned(worked):
    dressings = (
        "dressing,date,surfaces,planned_depth_mm,swath_m\nD1,2026-04-10,green,0.6,4\n"
        "D2,2026-05-10,g1,1.0,4\nD3,2026-05-11,g2,,4\n"
    )
    once = planned(worked(as_of="2026-06-30"))
    results = worked("three", as_of="2026-06-30", dressings=dressings)
    plan = planned(results)
    assert plan.depth_m[0] == pytest.approx(once.depth_m[0] - 0.001)
    assert "not measured: planned depth counts" in plan.note[0]
    assert plan.depth_m[1] == 0
    assert plan.note[1] == "not measured, and no planned depth"
    much = worked("much", as_of="2026-06-30", dressings=dressings.replace("g1,1.0", "g1,9.0"))
    told = "at its target so far, if what was not measured landed as planned"
    assert (planned(much).depth_m[0], planned(much).note[0]) == (0, told)


def test_a_surface_without_target_is_told(worked):
    surfaces = [*SURFACES, surface("l1", "lawn", square(LON - 0.004, LAT, 10.0))]
    results = worked(surfaces=surfaces)
    row = chosen_surfaces(results.site, results.ledger, ["lawn"])
    assert planned(results, row=row).note.tolist() == ["no target"]
    assert planned(results, row=row, depth_m=0.001).mass_kg[0] == pytest.approx(155, rel=1e-4)


def test_holes_fill_first(worked):
    """12.7 mm holes, 75 mm deep at 50 x 50 mm, take 3.8 mm (geometry)."""
    plan = planned(worked(), depth_m=0.005, holes_take_m=0.0038)
    np.testing.assert_allclose(plan.in_holes_m, 0.0038)
    thin = planned(worked("thin"), depth_m=0.001, holes_take_m=0.0038)
    np.testing.assert_allclose(thin.in_holes_m, 0.001)


@pytest.mark.parametrize(
    ("square_feet", "inches", "cubic_yards", "tolerance"),
    [
        # Grounds Maintenance magazine, "Topdressers": 5000 ft2 at 1/8 in take 2 yd3 and 50 000 ft2
        # at 1/4 in take 39 yd3; both are rounded up from 1.929 and 38.58
        (5000, 1 / 8, 2.0, 0.04),
        (50000, 1 / 4, 39.0, 0.02),
        # an extension table, "volume to topdress 1,000 ft2" (second-hand): 1/4 in 0.77 yd3
        (1000, 1 / 4, 0.77, 0.01),
        (1000, 3 / 4, 2.31, 0.01),
    ],
)
def test_published_volumes_for_depth_and_area(worked, square_feet, inches, cubic_yards, tolerance):
    side = np.sqrt(square_feet) * 0.3048
    results = worked(
        surfaces=[surface("g1", "green", square(LON, LAT, float(side)))],
        catches=CATCHES[:3],
    )
    plan = planned(results, depth_m=inches * 0.0254)
    volume = plan.mass_kg[0] / 1550.0 / 0.9144**3
    assert volume == pytest.approx(cubic_yards, rel=tolerance)


@pytest.mark.parametrize(
    ("density_kg_m3", "acres", "inches", "short_tons", "tolerance"),
    [
        # "Sand topdressing of annual bluegrass" (Maximum Academic Press), table 1: 1 L/m2, which is
        # 0.0394 in, is 7.15 tons/acre and 328 lb/1000 ft2 where a cubic foot of sand weighs 100 lb
        (100 * 16.018463374, 1.0, 0.0394, 7.15, 0.002),
        (100 * 16.018463374, 1000 / 43560, 0.0394, 328 / 2000, 0.002),
        # Minner, SportsTurf, October 2011: sand at 1.45 ton/yd3; an inch on an acre is 134.44 yd3
        (1.45 * 1186.55284252, 1.0, 1.0, 1.45 * 134.4444, 1e-4),
        # Grounds Maintenance magazine: greens at 1/32 in; 1/32 in on 1000 ft2 is 0.0965 yd3
        (1.45 * 1186.55284252, 1000 / 43560, 1 / 32, 1.45 * 0.0964506, 1e-4),
    ],
)
def test_published_tons_for_depth_and_area(
    worked, density_kg_m3, acres, inches, short_tons, tolerance
):
    toml = TOML.replace("bulk_density_g_cm3 = 1.55", f"bulk_density_g_cm3 = {density_kg_m3 / 1000}")
    side = float(np.sqrt(acres * 43560) * 0.3048)
    results = worked(
        surfaces=[surface("g1", "green", square(LON, LAT, side))], catches=CATCHES[:3], toml=toml
    )
    plan = planned(results, depth_m=inches * 0.0254)
    assert plan.mass_kg[0] / 907.18474 == pytest.approx(short_tons, rel=tolerance)


def test_choices_are_by_id_and_kind_in_the_order_named(worked):
    results = worked()
    site, ledger = results.site, results.ledger
    ids = site.surfaces.id[chosen_surfaces(site, ledger, ["tee", "g2", "green"])]
    assert ids.tolist() == ["t1", "g2", "g1"]
    with pytest.raises(ValueError, match=r"'gren': no surface's id .* kinds green, tee"):
        chosen_surfaces(site, ledger, ["gren"])
    assert chosen_sand(site, ledger, None) == (0, "")
    with pytest.raises(ValueError, match="'wet' is no sand of this site; allowed: dried"):
        chosen_sand(site, ledger, "wet")
    with pytest.raises(ValueError, match="has no dressing on record"):
        chosen_spreader(site, ledger, "belt")
