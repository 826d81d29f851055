"""Where overthrow lies: closed forms, limits, and sums over a fine raster as the other route."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import shapely
from shapely.affinity import rotate, scale

from geosand.areas import thinning
from geosand.balance.rings import drawing as ring_drawing
from geosand.balance.rings.drawing import ring_geometries
from geosand.balance.rings.throw_off import ThrowOff, throw_off

RASTER = 5e-3  # agreement with the raster, relative


def column(shapes: list[Any]) -> Any:
    result = np.empty(len(shapes), dtype=object)
    result[:] = shapes
    return result


def spread(surfaces: list[Any], overthrow: Any, **other: Any) -> dict[str, Any]:
    """Arguments of one dressing: rate 1 kg/m², a ring of 0.9 m and 4 m of surrounds unless said."""
    n, kg = len(surfaces), np.atleast_1d(np.asarray(overthrow, dtype=float))
    hazards = other.get("hazards", {})
    return {
        "surfaces": column(surfaces),
        "dressing": np.asarray(other.get("dressing", [0] * n), dtype=np.int64),
        "group": np.asarray(other.get("group", [0] * n), dtype=np.int64),
        "rate_kg_m2": np.asarray(other.get("rate", [1.0] * n), dtype=float),
        "overthrow_kg": kg,
        "low_kg": np.asarray(other.get("low", 0.8 * kg), dtype=float),
        "high_kg": np.asarray(other.get("high", 1.2 * kg), dtype=float),
        "collars": column(other.get("collars", [None] * n)),
        "collar_width_m": np.asarray(other.get("collar_width", [0.9] * n), dtype=float),
        "surrounds_width_m": np.full(n, 4.0),
        "hazards": column([h for _, h in hazards]) if hazards else column([]),
        "hazard_kind": np.array([k for k, _ in hazards], dtype=str),
    }


def on_raster(given: dict[str, Any], reach_m: Any, step: float = 0.05) -> dict[str, Any]:
    """Masses and areas of zones from small squares, each that of the nearest surface."""
    surfaces, n = given["surfaces"], len(given["surfaces"])
    left, low, right, top = shapely.total_bounds(surfaces)
    x, y = np.meshgrid(np.arange(left - 7, right + 7, step), np.arange(low - 7, top + 7, step))
    x, y = x.ravel() + step / 2, y.ravel() + step / 2
    points = shapely.points(x, y)
    shapely.prepare(surfaces)
    away = np.array([shapely.distance(one, points) for one in surfaces])
    nearest, away = away.argmin(axis=0), away.min(axis=0)
    reach = np.asarray(reach_m)[given["group"]]
    taper = np.clip(1 - away / reach[nearest], 0, None) * given["rate_kg_m2"][nearest]
    outside = away > 0
    sums: dict[str, Any] = {}

    def add(name: str, inside: Any, weight: Any) -> None:
        here = outside & inside
        sums[name] = np.bincount(nearest[here], weight[here] * step**2, n)

    collar, outer = np.zeros((2, len(x)), bool)
    for row, drawn in enumerate(given["collars"]):
        mine, width = nearest == row, given["collar_width_m"][row]
        if drawn is None:
            collar |= mine & (away <= width)
            outer |= mine & (away <= width + 4.0)
        else:
            with_surface = shapely.union(drawn, surfaces[row])
            collar |= mine & shapely.intersects_xy(drawn, x, y)
            outer |= mine & (shapely.distance(with_surface, points) <= 4.0)
    add("collar", collar, taper)
    add("surrounds", outer & ~collar, taper)
    add("farther", ~outer & ~collar, taper)
    add("collar_area", collar, np.ones(len(x)))
    add("surrounds_area", outer & ~collar, np.ones(len(x)))
    for kind in np.unique(given["hazard_kind"]):
        over = shapely.union_all(given["hazards"][given["hazard_kind"] == kind])
        add(str(kind), shapely.intersects_xy(over, x, y), taper)
    return sums


def agree_with_raster(given: dict[str, Any]) -> ThrowOff:
    result = throw_off(**given)
    sums = on_raster(given, result.reach_m)
    whole = sums["collar"] + sums["surrounds"] + sums["farther"]
    np.testing.assert_allclose(
        result.collar_kg + result.surrounds_kg + result.farther_kg, whole, rtol=RASTER
    )
    np.testing.assert_allclose(result.collar_kg, sums["collar"], rtol=RASTER)
    np.testing.assert_allclose(result.surrounds_kg, sums["surrounds"], rtol=RASTER)
    np.testing.assert_allclose(result.collar_area_m2, sums["collar_area"], rtol=RASTER)
    np.testing.assert_allclose(result.surrounds_area_m2, sums["surrounds_area"], rtol=RASTER)
    for kind, mass in result.hazard_kg.items():
        np.testing.assert_allclose(mass, sums[kind], rtol=RASTER)
    return result


def turned(*shapes: Any) -> list[Any]:
    """Turned by an odd angle, so that no edge runs along the squares of the raster."""
    return [rotate(s, 17.3, origin=(3, 1)) for s in shapes]


def blob(x: float, y: float, radius: float, lobes: int = 3, depth: float = 0.1) -> Any:
    t = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    r = radius * (1 + depth * np.cos(lobes * t))
    return shapely.Polygon(np.column_stack((x + r * np.cos(t), y + r * np.sin(t))))


def kidney() -> Any:
    t = np.linspace(0, 2 * np.pi, 72, endpoint=False)
    bay = 6 * np.exp(-((14 * np.cos(t) / 4) ** 2)) * (np.sin(t) > 0)
    return shapely.Polygon(np.column_stack((14 * np.cos(t), 9 * np.sin(t) - bay)))


SQUARE = shapely.box(0, 0, 20, 20)


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


# Drawing.


def drawn(result: ThrowOff, given: dict[str, Any]) -> Any:
    names = ("surfaces", "dressing", "collars", "collar_width_m", "surrounds_width_m")
    return ring_geometries(result, **{name: given[name] for name in names})


def test_a_surface_wholly_under_others_changes_no_zone() -> None:
    """It owns no ground: nothing is thrown over its edge, and what lies round it is drawn."""
    shapes = [blob(0, 0, 12), blob(25.5, 0, 12)]
    given = spread(shapes, 400.0)
    result = throw_off(**given)
    alone = drawn(result, given)
    more = spread([shapes[0], shapely.Polygon(), shapes[1]], 400.0)
    bare = throw_off(**more)
    assert bare.collar_kg[1] == bare.perimeter_m[1] == 0
    np.testing.assert_array_equal(bare.surrounds_kg[[0, 2]], result.surrounds_kg)
    zones = drawn(bare, more)
    for zone, before in ((zones.collar, alone.collar), (zones.surrounds, alone.surrounds)):
        assert zone[1] is None
        assert shapely.equals_exact(zone[[0, 2]], before, 0.0).all()


def test_ground_of_strips_that_end_at_their_edge_is_no_line(monkeypatch: Any) -> None:
    """Between a dressed collar and its dressed green there is none: GEOS can not cut by a mixture
    of areas, lines and points."""
    found, own_ground = [], ring_drawing._own_ground

    def told(*arguments: Any) -> Any:
        grounds = own_ground(*arguments)
        found.extend(grounds)
        return grounds

    monkeypatch.setattr(ring_drawing, "_own_ground", told)
    green = blob(0, 0, 12)
    given = spread([green, blob(0, 0, 13.4).difference(green), blob(31, 0, 12)], 400.0)
    zones = drawn(throw_off(**given), given)
    assert {ground.geom_type for ground in found} == {"MultiPolygon"}
    assert zones.surrounds[1] is not None
    assert zones.surrounds[2] is not None


def test_holes_and_parts_are_drawn_as_far_as_their_own_ground_goes() -> None:
    """Two holes narrower than their ring, a wide one with a part of the same surface in it, and a
    neighbour."""
    holes = [shapely.box(-9, -1, -7, 0), shapely.box(-9, 2, -7, 3)]
    lawn = shapely.box(-12, -12, 12, 12).difference(shapely.union_all([*holes, blob(3, 0, 8)]))
    given = spread([shapely.union(lawn, blob(3, 0, 1.5)), shapely.box(14, -12, 20, 12)], 150.0)
    result = throw_off(**given)
    zones = drawn(result, given)
    np.testing.assert_allclose(shapely.area(zones.collar), result.collar_area_m2, rtol=RASTER)
    np.testing.assert_allclose(shapely.area(zones.surrounds), result.surrounds_area_m2, rtol=RASTER)
    beyond = np.array([shapely.box(13.01, -12, 40, 12), shapely.box(-40, -12, 12.99, 12)])
    for zone in (zones.collar, zones.surrounds):
        assert shapely.area(shapely.intersection(zone, beyond)).max() < 1e-3


def test_drawn_zones_have_the_areas_and_keep_apart() -> None:
    green = blob(0, 0, 12)
    shapes = [green, blob(25.5, 0, 12), shapely.box(-3, -30, 5, -13), kidney()]
    shapes[3] = shapely.affinity.translate(shapes[3], 10, 26)
    collars = [blob(0.3, 0, 13.4).difference(green), None, None, None]
    given = spread(shapes, 400.0, collars=collars)
    result = throw_off(**given)
    zones = drawn(result, given)
    np.testing.assert_allclose(shapely.area(zones.collar), result.collar_area_m2, rtol=RASTER)
    np.testing.assert_allclose(shapely.area(zones.surrounds), result.surrounds_area_m2, rtol=RASTER)
    every = np.concatenate((zones.collar, zones.surrounds, given["surfaces"]))
    assert shapely.is_valid(every).all()
    overlap = shapely.area(every).sum() - shapely.area(shapely.union_all(every))
    assert overlap < 0.002 * shapely.area(every).sum()
