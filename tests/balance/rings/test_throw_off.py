"""Where overthrow lies: closed forms, limits, and sums over a fine raster as the other route."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import shapely
from shapely.affinity import rotate, scale

from geosand.areas import thinning
from geosand.balance.rings.throw_off import throw_off
from tests.balance.rings.thrown import (
    SQUARE,
    agree_with_raster,
    blob,
    drawn,
    kidney,
    spread,
    turned,
)

# Closed forms: ∫ over straight strips and quarter circles, worked by hand.


def test_square_in_closed_form() -> None:
    # L = 3 m: four strips 20·3/2 kg and a full circle π·9/3 = 3π kg
    kg = 4 * 20 * 3 / 2 + 3 * np.pi
    result = throw_off(**spread([SQUARE], kg))
    assert result.reach_m[0] == pytest.approx(3.0, rel=1e-12)
    assert result.strip_width_m[0] == pytest.approx(kg / 80)
    # collar of 0.9 m: 80·(0.9 − 0.81/6) + 2π·(0.405 − 0.243/3)
    assert result.collar_kg[0] == pytest.approx(80 * 0.765 + 2 * np.pi * 0.324, rel=1e-12)
    assert result.collar_area_m2[0] == pytest.approx(72 + np.pi * 0.81, rel=1e-12)
    assert result.surrounds_area_m2[0] == pytest.approx(
        80 * 4 + np.pi * (4.9**2 - 0.9**2), rel=1e-12
    )
    assert result.farther_kg[0] == pytest.approx(0.0, abs=1e-9)


def test_circle_is_a_truncated_cone() -> None:
    # rate 2 at radius 10 and 0 at radius 14: a cone of slope 2/4 less its top and the drum below
    circle = shapely.Point(0, 0).buffer(10, quad_segs=256)
    slope = 2 / 4
    big, small = np.pi * 14**3 / 3 * slope, np.pi * 10**3 / 3 * slope
    kg = big - small - 2 * np.pi * 10**2
    result = throw_off(**spread([circle], kg, rate=[2.0]))
    assert result.reach_m[0] == pytest.approx(4.0, rel=1e-4)


def test_hole_fills_and_then_holds_no_more() -> None:
    # hole of radius 2, L = 4: rate 1 at its edge and ½ in the middle, a drum of height ½ and a
    # drum of the same height less a cone
    inside = np.pi * 4 * 0.5 + 2 / 3 * np.pi * 4 * 0.5
    outside = 2 * np.pi * 15 * 4 / 2 + np.pi * 16 / 3
    ring = shapely.Point(0, 0).buffer(15, quad_segs=128)
    ring = ring.difference(shapely.Point(0, 0).buffer(2, quad_segs=128))
    result = throw_off(**spread([ring], inside + outside))
    assert result.reach_m[0] == pytest.approx(4.0, rel=1e-3)


# Sums over a raster.


def test_two_surfaces_share_the_ground_between_them() -> None:
    given = spread(turned(SQUARE, shapely.box(21.4, 3, 36, 26)), 190.0, rate=[1.0, 0.6])
    result = agree_with_raster(given)
    # by symmetry two equal squares 1 m apart each hold half the strip: collars 0.5 m wide there
    pair = throw_off(**spread([SQUARE, shapely.box(21, 0, 41, 20)], 200.0))
    assert pair.collar_kg[0] == pytest.approx(pair.collar_kg[1], rel=1e-9)
    assert 4 * 20 * 0.9 > pair.collar_area_m2[0] > 3 * 20 * 0.9 + 20 * 0.5
    assert result.reach_m[0] > 0


def test_drawn_collar_of_uneven_width() -> None:
    green, collar = blob(0, 0, 12), scale(blob(0.4, 0.2, 13.5), 1.02, 1.05)
    assert collar.contains(green)
    agree_with_raster(spread([green], 150.0, collars=[collar.difference(green)]))


def test_concave_green() -> None:
    agree_with_raster(spread(turned(kidney()), 190.0))


def test_l_shaped_tee() -> None:
    tee = shapely.union(shapely.box(0, 0, 6, 20), shapely.box(0, 0, 20, 6))
    agree_with_raster(spread(turned(tee), 120.0))


def test_green_with_its_collar_dressed_too() -> None:
    green = blob(0, 0, 12)
    collar = green.buffer(1.2).difference(green)
    result = agree_with_raster(spread([green, collar], 150.0, collar_width=[0.9, 0.0]))
    assert result.collar_kg.sum() + result.surrounds_kg[0] + result.farther_kg[0] == 0
    # the same sand from one surface with the outline of both
    alone = throw_off(**spread([shapely.union(green, collar)], 150.0, collar_width=[0.0]))
    assert result.reach_m[0] == pytest.approx(alone.reach_m[0], rel=2e-3)


def test_tee_that_touches_an_approach() -> None:
    given = spread(turned(shapely.box(0, 0, 8, 12), shapely.box(8, 2, 30, 26)), 150.0)
    agree_with_raster(given)


def test_parts_of_one_surface_share_ground_too() -> None:
    parts = shapely.union(shapely.box(0, 0, 6, 20), shapely.box(8, 0, 12, 9))
    agree_with_raster(spread(turned(parts), 130.0))


def test_groups_of_one_dressing_have_their_own_reach() -> None:
    surfaces = [blob(0, 0, 12), blob(26, 0, 12, lobes=2), blob(13, 22, 10)]
    given = spread(surfaces, [130.0, 60.0], group=[0, 1, 0], rate=[1.0, 0.5, 0.8])
    result = agree_with_raster(given)
    np.testing.assert_allclose(
        result.group_collar_kg + result.group_surrounds_kg + result.group_farther_kg,
        [130.0, 60.0],
        rtol=1e-6,
    )


def test_sand_over_bunkers_and_paths_is_told_apart() -> None:
    hazards = [
        ("bunker", shapely.Point(0, 14).buffer(3)),
        ("bunker", shapely.Point(1, 16).buffer(3)),  # overlaps the first: counted once
        ("path", rotate(shapely.box(-30, -16, 30, -13), 7, origin=(0, 0))),
        ("water", shapely.box(200, 0, 220, 20)),
    ]
    given = spread([blob(0, 0, 12), blob(28, 0, 12)], 250.0, hazards=hazards)
    result = agree_with_raster(given)
    assert result.hazard_kg["water"].tolist() == [0.0, 0.0]
    assert result.hazard_kg["bunker"][0] > 5


# Limits, symmetries and what must hold for any input.


def test_surfaces_of_other_dressings_do_not_clip() -> None:
    near = [SQUARE, shapely.box(21, 0, 41, 20)]
    apart = throw_off(**spread(near, [100.0, 100.0], group=[0, 1], dressing=[0, 1]))
    alone = throw_off(**spread([SQUARE], 100.0))
    np.testing.assert_allclose(apart.reach_m, alone.reach_m[0], rtol=1e-12)
    together = throw_off(**spread(near, [100.0, 100.0], group=[0, 1]))
    assert (together.reach_m > alone.reach_m[0]).all()


def test_a_set_dressed_again_is_treated_as_the_first_time() -> None:
    near = [SQUARE, kidney(), shapely.box(21, 0, 41, 20)]
    twice = throw_off(
        **spread(
            near + near[::-1], [100.0, 140.0], group=[0] * 3 + [1] * 3, dressing=[4] * 3 + [9] * 3
        )
    )
    once = throw_off(**spread(near, 140.0))
    assert twice.reach_m[1] == pytest.approx(once.reach_m[0], rel=1e-6)
    np.testing.assert_allclose(twice.collar_kg[3:][::-1], once.collar_kg, rtol=1e-6)


def test_parties_of_near_surfaces_stand_as_if_each_dressing_were_alone() -> None:
    # a chain: first and third meet only through the second; the fourth is far from all, and its
    # drawn collar and bunker go with it from dressing to dressing
    row = [
        SQUARE,
        shapely.box(23, 0, 40, 20),
        shapely.box(43, 0, 60, 20),
        shapely.box(300, 0, 320, 9),
    ]
    collar = [None, None, None, row[3].buffer(1.4).difference(row[3])]
    hazards = [("bunker", shapely.box(10, 21, 30, 26)), ("bunker", shapely.box(305, 11, 310, 14))]
    dressings = [[0, 1, 2, 3], [0, 2], [3, 1], [2, 0, 3], [0], [3]]
    kg = [210.0, 90.0, 120.0, 150.0, 60.0, 40.0]
    rows, number = np.concatenate(dressings), np.repeat(range(6), [len(d) for d in dressings])
    given: dict[str, Any] = {"hazards": hazards, "group": number, "dressing": number}
    joint = throw_off(
        **spread([row[k] for k in rows], kg, collars=[collar[k] for k in rows], **given)
    )
    for k, one in enumerate(dressings):
        alone = throw_off(
            **spread(
                [row[i] for i in one], kg[k], collars=[collar[i] for i in one], hazards=hazards
            )
        )
        assert joint.reach_m[k] == pytest.approx(alone.reach_m[0], rel=1e-6)
        for name in ("collar_kg", "surrounds_kg"):
            expected = getattr(alone, name)
            np.testing.assert_allclose(
                getattr(joint, name)[number == k], expected, rtol=2e-4, atol=1e-9
            )
        bunker = joint.hazard_kg["bunker"][number == k]
        np.testing.assert_allclose(bunker, alone.hazard_kg["bunker"], rtol=2e-3, atol=1e-6)


def test_reach_grows_with_overthrow_and_sand_is_conserved() -> None:
    kg = np.geomspace(0.01, 3000, 25)
    shapes = [blob(0, 0, 12), blob(27, 0, 12), kidney()]
    shapes[2] = shapely.affinity.translate(shapes[2], 10, 26)
    n, m = len(kg), len(shapes)
    given = spread(
        shapes * n, kg, group=np.repeat(np.arange(n), m), dressing=np.repeat(np.arange(n), m)
    )
    result = throw_off(**given)
    assert (np.diff(result.reach_m) > 0).all()
    assert (np.diff(result.group_collar_kg) > 0).all()
    total = result.group_collar_kg + result.group_surrounds_kg + result.group_farther_kg
    np.testing.assert_allclose(total, kg, rtol=1e-9)
    rows = result.collar_kg + result.surrounds_kg + result.farther_kg
    np.testing.assert_allclose(rows.reshape(n, m).sum(axis=1), kg, rtol=1e-9)
    # little sand lies in a thin triangle at full rate: reach is twice the strip width
    assert result.reach_m[0] / result.strip_width_m[0] == pytest.approx(2.0, rel=1e-3)
    assert result.group_farther_kg[0] == pytest.approx(0.0, abs=1e-9)
    assert result.group_farther_kg[-1] > 100


def test_twice_the_rate_and_twice_the_sand_reach_as_far() -> None:
    one = throw_off(**spread([kidney()], 120.0))
    two = throw_off(**spread([kidney()], 240.0, rate=[2.0]))
    assert two.reach_m[0] == pytest.approx(one.reach_m[0], rel=1e-9)
    assert two.collar_kg[0] == pytest.approx(2 * one.collar_kg[0], rel=1e-9)


def test_far_from_the_origin_nothing_changes() -> None:
    pair = [SQUARE, shapely.box(21, 0, 41, 20)]
    moved = [shapely.affinity.translate(s, 5e5, 5e6) for s in pair]
    here, there = throw_off(**spread(pair, 200.0)), throw_off(**spread(moved, 200.0))
    assert there.reach_m[0] == pytest.approx(here.reach_m[0], rel=1e-7)


def test_limits_of_the_overthrow_split_the_collar() -> None:
    result = throw_off(**spread([SQUARE], 100.0, low=[-20.0], high=[180.0]))
    upper = throw_off(**spread([SQUARE], 180.0))
    assert result.collar_low_kg[0] == 0
    assert result.collar_high_kg[0] == pytest.approx(upper.group_collar_kg[0], rel=1e-9)


@pytest.mark.parametrize("kg", [0.0, -40.0, np.nan])
def test_no_overthrow_draws_no_rings(kg: float) -> None:
    given = spread([SQUARE], kg)
    result = throw_off(**given)
    assert np.isnan(result.reach_m[0])
    assert np.isnan(result.strip_width_m[0])
    assert result.group_collar_kg[0] == result.farther_kg[0] == 0
    assert drawn(result, given).collar[0] is None


@pytest.mark.parametrize("rate", [0.0, np.nan])
def test_sand_that_no_rate_places_is_unknown(rate: float) -> None:
    result = throw_off(**spread([SQUARE, kidney()], [50.0, 60.0], group=[0, 1], rate=[rate, 1.0]))
    assert np.isnan(result.reach_m[0])
    assert np.isnan(result.group_collar_kg[0])
    assert np.isnan(result.collar_kg[0])
    assert result.reach_m[1] > 0


def test_more_sand_than_200_m_hold_goes_farther() -> None:
    result = throw_off(**spread([SQUARE], 1e7))
    assert np.isnan(result.reach_m[0])
    total = result.group_collar_kg + result.group_surrounds_kg + result.group_farther_kg
    assert total[0] == pytest.approx(1e7, rel=1e-12)
    # at a reach of 200 m nearly the full rate lies in the collar
    assert result.collar_kg[0] == pytest.approx(result.collar_area_m2[0], rel=5e-3)


def test_no_surfaces() -> None:
    assert throw_off(**spread([], [])).collar_kg.tolist() == []


def jagged(x: float, y: float, corners: int, by_m: float) -> Any:
    """A green whose edge goes in and out from corner to corner, as a traced one does."""
    turn = np.arange(corners) * 2 * np.pi / corners
    radius = 12 + 1.5 * np.cos(3 * turn + x) + by_m * (-1.0) ** np.arange(corners)
    return shapely.Polygon(np.stack([x + radius * np.cos(turn), y + radius * np.sin(turn)], axis=1))


@pytest.mark.parametrize("by_m", [0.0, 0.002])
def test_outlines_of_very_many_corners_are_thinned_and_hold_the_same(
    monkeypatch: Any, by_m: float
) -> None:
    monkeypatch.setattr(thinning, "MOST_CORNERS", 500)
    shapes = np.array([jagged(0, 0, 2500, by_m), jagged(26.5, 1, 2000, by_m), SQUARE], dtype=object)
    thin = thinning.thinned(shapes)
    assert (shapely.get_num_coordinates(thin[:2]) <= 500).all()
    assert thin[2] is SQUARE
    assert shapely.hausdorff_distance(thin, shapes).max() < (5e-3 if by_m else 7e-4)
    # of teeth of 2 mm nothing is left: what counts is the line through them
    even = [jagged(0, 0, 2500, 0.0), jagged(26.5, 1, 2000, 0.0)]
    full, fewer = (throw_off(**spread(given, 150.0)) for given in (even, list(thin[:2])))
    close = 5e-3 if by_m else 1e-3
    for name in ("reach_m", "collar_kg", "surrounds_kg", "collar_area_m2", "surrounds_area_m2"):
        assert getattr(fewer, name) == pytest.approx(getattr(full, name), rel=close), name
