"""Close collars: which are, how wide, what ground lies round them, and what lines make of them."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import shapely
from shapely.affinity import rotate, translate

from geosand.areas.outline_bearings import outlines_of
from geosand.balance.rings import collars as ring_collars
from geosand.balance.rings.collars import bands_of, close_collars
from geosand.balance.rings.steiner import ring_area_m2
from geosand.balance.rings.throw_off import throw_off
from tests.balance.rings.test_accuracy import by_buffers, greens_with_collars
from tests.balance.rings.test_parts import many
from tests.balance.rings.thrown import SQUARE, blob, column, kidney, spread


def turned(polygon: Any, by: int, *, back: bool) -> Any:
    """The same polygon, its outer ring begun at another corner and the other way round."""
    corners = np.roll(shapely.get_coordinates(polygon)[:-1], by, axis=0)
    return shapely.Polygon(corners[::-1] if back else corners)


def test_a_collar_is_close_where_its_one_hole_is_the_surface() -> None:
    green = blob(0, 0, 9)
    shell = green.buffer(1.2)
    collar = shapely.Polygon(shell.exterior, [green.exterior])
    other = shapely.Polygon(shell.exterior, [translate(green, 0.01, 0).exterior])
    coarser = shapely.Polygon(shell.exterior, [green.simplify(0.05).exterior])
    half = collar.intersection(shapely.box(0, -99, 99, 99))
    two_holes = collar.difference(collar.representative_point().buffer(0.05))
    holed = green.difference(shapely.box(0, 0, 1, 1))
    cases = [
        (collar, green, True),
        (collar, turned(green, 7, back=False), True),
        (collar, turned(green, 3, back=True), True),
        (other, green, False),
        (coarser, green, False),
        (half, green, False),
        (two_holes, green, False),
        (None, green, False),
        (shell, green, False),
        (collar, holed, False),
        (collar, shapely.MultiPolygon([green]), False),
    ]
    collars, surfaces = (column([case[k] for case in cases]) for k in (0, 1))
    got = close_collars(collars, surfaces)
    assert got.case.tolist() == [k for k, case in enumerate(cases) if case[2]]
    assert got.row_of.tolist() == [0, 1, 2, *[-1] * 8]
    np.testing.assert_allclose(got.area_m2, collar.area, rtol=1e-12)
    assert len(close_collars(collars[3:], surfaces[3:]).case) == 0


def test_corners_on_one_line_do_not_tell_which_way_round_a_ring_goes() -> None:
    """Of the wedge's tip both neighbours have the same x, of the other wedge's the same y."""
    for wedge in (
        shapely.Polygon([(0, 0), (9, 4), (9, -4)]),
        shapely.Polygon([(0, 0), (4, 9), (-4, 9)]),
    ):
        shell = wedge.buffer(1.0).exterior
        for by in range(3):
            for back in (False, True):
                hole = turned(wedge, by, back=back).exterior
                got = close_collars(column([shapely.Polygon(shell, [hole])]), column([wedge]))
                assert got.case.tolist() == [0]


def test_how_far_corners_lie_is_never_told_too_short() -> None:
    """Against the distance of every corner; also round surfaces no middle of which sees all."""
    rng = np.random.default_rng(4)
    bay = shapely.box(-9, -9, 9, 9).difference(shapely.box(-2, -3, 2, 9))
    surfaces = column([*many(5, 60)[:60], bay, SQUARE, rotate(shapely.box(0, 0, 40, 5), 31)])
    shells = [shapely.buffer(s, rng.uniform(0.4, 2), quad_segs=3) for s in surfaces]
    collars = column(
        [shapely.Polygon(a.exterior, [b.exterior]) for a, b in zip(shells, surfaces, strict=True)]
    )
    got = close_collars(collars, surfaces).widest_m
    want = np.array(
        [
            shapely.distance(shapely.points(shapely.get_coordinates(a.exterior)), b.exterior).max()
            for a, b in zip(shells, surfaces, strict=True)
        ]
    )
    assert (got >= want * (1 - 1e-12)).all()
    assert (got < 1.3 * want).all()
    assert np.median(got / want) < 1 + 1e-12


def test_the_corner_that_closes_a_ring_lies_no_farther_than_as_the_first_one() -> None:
    """The collar begins in a later direction than the green, and so ends beyond its last edge."""
    green = shapely.Polygon([(-7, 6), (-15, 1), (0, -9), (2, -14), (6, -4), (5, -3), (16, 0)])
    shell = green.buffer(2, quad_segs=2)
    collar = shapely.Polygon(shell.exterior, [green.exterior])
    got = close_collars(column([collar]), column([green])).widest_m
    far = shapely.distance(shapely.points(shapely.get_coordinates(shell)), green.exterior).max()
    assert got == pytest.approx([far], rel=1e-9)


@pytest.mark.parametrize("width", [0.3, 2.0, 6.0])
def test_the_ring_round_an_outline_is_that_of_a_fine_buffer(width: float) -> None:
    shapes = many(8, 120)
    got = ring_area_m2(*outlines_of(shapes), np.full(len(shapes), width))
    proved = np.flatnonzero(~np.isnan(got))
    ring = shapely.area(shapely.buffer(shapes, width, quad_segs=400)) - shapely.area(shapes)
    np.testing.assert_allclose(got[proved], ring[proved], rtol=2e-6)
    assert 20 < len(proved) < len(shapes)
    side = 20.0
    square = ring_area_m2(*outlines_of(column([shapely.box(0, 0, side, side)])), np.array([width]))
    assert square[0] == pytest.approx(4 * side * width + np.pi * width**2, rel=1e-14)


def test_bands_not_proved_are_those_of_buffers() -> None:
    surfaces = column([kidney(), blob(0, 0, 9)])
    shells = shapely.buffer(surfaces, 1.0)
    collars = close_collars(shapely.difference(shells, surfaces), surfaces)
    assert collars.case.tolist() == [0, 1]
    got = bands_of(collars, np.array([4.0, 4.0])).area_m2
    want = shapely.area(shapely.buffer(shells, 4.0, quad_segs=200)) - shapely.area(shells)
    np.testing.assert_allclose(got, want, rtol=1e-3)


@pytest.mark.parametrize("seed", [3, 4])
def test_masses_in_close_collars_are_those_of_buffers(seed: int) -> None:
    """Several times as near as what lines alone would tell; the areas are those of the polygons."""
    greens, collars = greens_with_collars(seed, 16)
    n, reach = len(greens), 2.2
    kg = shapely.length(np.array(greens)) * reach / 2 + np.pi * reach**2 / 3
    result = throw_off(
        **spread(greens, kg, group=np.arange(n), dressing=np.arange(n), collars=collars)
    )
    held = np.array([by_buffers(g, c) for g, c in zip(greens, collars, strict=True)])
    np.testing.assert_allclose(result.collar_kg, held, rtol=5e-4)
    assert result.collar_kg.sum() == pytest.approx(held.sum(), rel=5e-5)
    np.testing.assert_allclose(result.collar_area_m2, shapely.area(np.array(collars)), rtol=1e-12)


def test_bulges_beside_long_edges_do_not_count_too_much() -> None:
    """A collar of arcs round a green of few corners: middle lines meet it where it is widest."""
    angle = np.linspace(0, 2 * np.pi, 20, endpoint=False)
    green = shapely.Polygon(12 * np.column_stack((np.cos(angle), np.sin(angle))))
    collar = shapely.Polygon(
        shapely.Point(0, 0).buffer(13.5, quad_segs=60).exterior, [green.exterior]
    )
    reach = 2.2
    kg = green.length * reach / 2 + np.pi * reach**2 / 3
    result = throw_off(**spread([green], kg, collars=[collar]))
    assert result.collar_kg[0] == pytest.approx(by_buffers(green, collar), rel=3e-4)
    assert result.collar_area_m2[0] == pytest.approx(collar.area, rel=1e-12)


@pytest.mark.parametrize("corners", [6, 300])
def test_edges_far_longer_and_shorter_than_lines_are_apart_hold_their_sand(corners: int) -> None:
    """Edges of 12 and of 0.25 m, beside which the collar is 0.7 to 1.3 m wide."""
    angle, step = np.linspace(0, 2 * np.pi, 300, endpoint=False), np.pi / corners
    edge = 12 * np.cos(step) / np.cos(angle % (2 * step) - step)  # of a regular polygon
    around = np.column_stack((np.cos(angle), np.sin(angle)))
    green = shapely.Polygon(12 * around[:: 300 // corners])
    shell = shapely.Polygon((edge + 1 + 0.3 * np.cos(3 * angle + 1))[:, None] * around)
    collar = shapely.Polygon(shell.exterior, [green.exterior])
    reach = 2.2
    kg = green.length * reach / 2 + np.pi * reach**2 / 3
    result = throw_off(**spread([green], kg, collars=[collar]))
    assert result.collar_kg[0] == pytest.approx(by_buffers(green, collar), rel=3e-4)


@pytest.mark.parametrize("kg", [60.0, 150.0, 420.0, 700.0])
def test_close_collars_hold_what_the_general_way_finds(
    kg: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Also farther than surrounds are wide, where the band round the collar is crossed."""
    greens, collars = greens_with_collars(6, 5)
    given = spread(greens, [kg, 2 * kg], group=[0, 1, 0, 1, 0], collars=collars)
    plain = throw_off(**given)
    none = np.zeros(0, np.int64)
    close = ring_collars.close_collars

    def never(collar: Any, surface: Any) -> Any:
        nothing = close(collar[none], surface[none])
        return nothing._replace(row_of=np.full(len(collar), -1))

    monkeypatch.setattr("geosand.balance.rings.throw_off.close_collars", never)
    general = throw_off(**given)
    assert (plain.reach_m > 4.0).any() == (kg > 400)
    np.testing.assert_allclose(plain.reach_m, general.reach_m, rtol=1e-9)
    for name in ("collar_kg", "surrounds_kg", "collar_area_m2", "surrounds_area_m2"):
        np.testing.assert_allclose(
            getattr(plain, name), getattr(general, name), rtol=3e-3, atol=1e-3, err_msg=name
        )
    np.testing.assert_allclose(plain.farther_kg, general.farther_kg, rtol=0.02, atol=0.02)
    total = plain.group_collar_kg + plain.group_surrounds_kg + plain.group_farther_kg
    np.testing.assert_allclose(total, [kg, 2 * kg], rtol=1e-12)
