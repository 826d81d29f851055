"""Forced overthrow against closed forms and against shapely's own clipping of every strip."""

import numpy as np
import pytest
import shapely

from geosand.planning.passes import _Passes, best_headings, forced_overthrow, pass_lines


def column(*shapes):
    out = np.empty(len(shapes), dtype=object)
    out[:] = shapes
    return out


def turned(shape, degree):
    """Turned clockwise about the origin, as headings are counted."""
    return shapely.transform(
        shape,
        lambda p: (
            p
            @ np.array(
                [
                    [np.cos(np.radians(degree)), -np.sin(np.radians(degree))],
                    [np.sin(np.radians(degree)), np.cos(np.radians(degree))],
                ]
            )
        ),
    )


KIDNEY = shapely.union_all(
    [shapely.Point(0, 0).buffer(9), shapely.Point(11, 7).buffer(7), shapely.Point(19, -2).buffer(6)]
)


def by_clipping(shape, heading, swath, shift):
    """The same by cutting the turned shape with one box a strip: the independent route."""
    upright = turned(shape, -heading)  # heading now north
    west, _, east, _ = shapely.bounds(upright)
    total, at = 0.0, west - shift
    while at < east - 1e-9:
        part = shapely.intersection(upright, shapely.box(at, -1e4, at + swath, 1e4))
        pieces = shapely.get_parts(part)
        pieces = pieces[shapely.area(pieces) > 1e-9]  # a corner that only touches holds no ground
        if len(pieces):
            _, south, _, north = shapely.total_bounds(pieces)
            total += swath * (north - south)
        at += swath
    return total - shape.area


def test_rectangle_along_its_side_forces_nothing_at_a_fitting_swath():
    forced = forced_overthrow(column(shapely.box(0, 0, 20, 12)), swath_m=6.0)
    east = int(np.flatnonzero(forced.heading_degree == 90)[0])
    assert forced.excess_m2[0, east, 0] == pytest.approx(0.0, abs=1e-9)
    assert forced.passes[0, east, 0] == 2
    # begun half a swath early: three passes of 6 m x 20 m for 240 m2
    assert forced.excess_m2[0, east, 4] == pytest.approx(120.0)
    # northward 20 m needs four passes of 6 m x 12 m
    assert forced.excess_m2[0, 0, 0] == pytest.approx(48.0)


def test_a_turned_rectangle_is_driven_along_its_turned_side():
    shape = turned(shapely.box(-10, -6, 10, 6), 33.0)
    best = best_headings(forced_overthrow(column(shape), swath_m=6.0))
    assert best.heading_degree[0] == pytest.approx(123.0)
    assert best.forced_m2[0] == pytest.approx(0.0, abs=1e-6)


def test_excess_of_a_circle_tends_to_its_diameter_times_the_swath():
    circle = column(shapely.Point(300, -80).buffer(10.0, quad_segs=2000))
    error = []
    for swath in (2.0, 0.5, 0.125):
        forced = forced_overthrow(circle, swath_m=swath, heading_degree=np.array([0.0, 37.0]))
        error.append(abs(forced.excess_m2.mean() / swath - 20.0))
    assert error[2] < error[1] < error[0]
    assert error[2] < 0.1


@pytest.mark.parametrize("swath", [1.5, 4.0, 6.0])
def test_agrees_with_clipping_every_strip(swath):
    hole = KIDNEY.difference(shapely.Point(2, 1).buffer(2))
    shapes = column(KIDNEY, hole, shapely.box(3, 3, 8, 30))
    headings = np.array([0.0, 17.0, 90.0, 141.0])
    forced = forced_overthrow(shapes, swath_m=swath, heading_degree=headings, offsets=4)
    for s, shape in enumerate(shapes):
        for h, heading in enumerate(headings):
            for j, shift in enumerate(forced.offset_m):
                wanted = by_clipping(shape, heading, swath, shift)
                # a last sliver below 5 cm is not driven, so that the two may differ by one strip
                if abs(forced.excess_m2[s, h, j] - wanted) > 1e-6 * shape.area:
                    extent = np.ptp(shapely.get_coordinates(turned(shape, -heading))[:, 0])
                    assert 0 < (extent + shift) % swath < 0.05 + 1e-9


def test_moving_a_surface_changes_nothing_and_turning_it_turns_the_heading():
    headings = np.arange(0.0, 180.0, 15.0)
    still = forced_overthrow(column(KIDNEY), swath_m=4.0, heading_degree=headings)
    moved = shapely.transform(KIDNEY, lambda p: p + np.array([137.0, -911.0]))
    away = forced_overthrow(column(moved), swath_m=4.0, heading_degree=headings)
    np.testing.assert_allclose(away.excess_m2, still.excess_m2, atol=1e-6)
    round_ = forced_overthrow(column(turned(KIDNEY, 15.0)), swath_m=4.0, heading_degree=headings)
    np.testing.assert_allclose(round_.excess_m2[:, 1:], still.excess_m2[:, :-1], atol=1e-6)


def test_many_surfaces_at_once_give_what_each_gives_alone():
    shapes = column(KIDNEY, shapely.box(0, 0, 5, 5), shapely.Polygon())
    together = forced_overthrow(shapes, swath_m=3.0)
    alone = forced_overthrow(shapes[:1], swath_m=3.0)
    np.testing.assert_allclose(together.excess_m2[0], alone.excess_m2[0])
    assert (together.excess_m2[2] == 0).all() and not together.passes[2].any()


def test_the_last_heading_can_be_avoided():
    shapes = column(shapely.box(0, 0, 20, 12), shapely.box(0, 0, 20, 12))
    forced = forced_overthrow(shapes, swath_m=6.0)
    last = np.array([270.0, np.nan])  # the same line as 90
    free = best_headings(forced, last_degree=last)
    assert free.heading_degree.tolist() == [90.0, 90.0]
    assert free.last_m2[0] == pytest.approx(0.0, abs=1e-9)
    assert np.isnan(free.last_m2[1])
    other = best_headings(forced, last_degree=last, avoid_within_degree=30.0)
    assert abs((other.heading_degree[0] - 270 + 90) % 180 - 90) >= 30
    assert other.heading_degree[1] == 90.0
    assert other.worst_m2[0] >= other.forced_m2[0]


def test_pass_lines_cover_the_surface_and_cost_what_was_said():
    shapes = column(KIDNEY)
    forced = forced_overthrow(shapes, swath_m=4.0)
    best = best_headings(forced)
    lines, owner = pass_lines(
        shapes, swath_m=4.0, heading_degree=best.heading_degree, offset_m=best.offset_m
    )
    assert len(lines) == best.passes[0]
    assert (owner == 0).all()
    swept = shapely.buffer(lines, 2.0, cap_style="flat")
    assert shapely.union_all(swept).area == pytest.approx(shapely.area(swept).sum(), rel=1e-9)
    missed = shapely.difference(KIDNEY, shapely.union_all(swept)).area
    assert missed < 0.01 * KIDNEY.area
    assert shapely.area(swept).sum() - KIDNEY.area == pytest.approx(best.forced_m2[0], rel=1e-6)


def test_parts_that_lie_apart_are_driven_each_on_its_own():
    """Two rectangles 100 m apart: nothing is spread between them."""
    two = shapely.MultiPolygon([shapely.box(0, 0, 20, 12), shapely.box(120, 0, 140, 12)])
    forced = forced_overthrow(column(two), swath_m=6.0)
    east = int(np.flatnonzero(forced.heading_degree == 90)[0])
    assert forced.excess_m2[0, east, 0] == pytest.approx(0.0, abs=1e-9)
    assert forced.passes[0, east, 0] == 4
    north = forced.excess_m2[0, 0, 0]
    # the second part lies 120 = 20 · 6 m on: on the same grid it needs four passes as well
    assert north == pytest.approx(2 * 48.0)
    lines, owner = pass_lines(
        column(two), swath_m=6.0, heading_degree=np.array([90.0]), offset_m=np.zeros(1)
    )
    assert len(lines) == 4
    assert (owner == 0).all()
    assert shapely.length(lines).max() == pytest.approx(20.0)
    swept = shapely.union_all(shapely.buffer(lines, 3.0, cap_style="flat"))
    assert shapely.difference(two, swept).area == pytest.approx(0.0, abs=1e-6)
    assert swept.area == pytest.approx(480.0)


def test_parts_share_the_grid_of_their_surface():
    """A part that begins 1 m into a strip of the other's grid needs a pass more."""
    two = shapely.MultiPolygon([shapely.box(0, 0, 12, 10), shapely.box(61, 0, 73, 10)])
    forced = forced_overthrow(column(two), swath_m=6.0, heading_degree=np.zeros(1), offsets=1)
    assert forced.passes[0, 0, 0] == 2 + 3
    assert forced.excess_m2[0, 0, 0] == pytest.approx(60.0)


def test_one_pass_serves_parts_that_lie_side_by_side_in_its_strip():
    """A field of 28 m × 100 m, cut along its length by a path of 2 m; strips of 6 m."""
    field = shapely.box(0, 0, 28, 100).difference(shapely.box(13, -1, 15, 101))
    asked = {"heading_degree": np.array([0.0, 90.0]), "offsets": 1}
    forced = forced_overthrow(column(field), swath_m=6.0, **asked)
    # along it: five strips, the third over the path; one pass there, not two
    assert forced.passes[0, 0, 0] == 5
    assert forced.excess_m2[0, 0, 0] == pytest.approx(5 * 600 - 2600)
    # across it: 17 strips, each stops at the path and starts beyond it
    assert forced.passes[0, 1, 0] == 34
    assert forced.excess_m2[0, 1, 0] == pytest.approx(17 * 26 * 6 - 2600)
    lines, _ = pass_lines(
        column(field), swath_m=6.0, heading_degree=np.zeros(1), offset_m=np.zeros(1)
    )
    np.testing.assert_allclose(shapely.bounds(lines)[:, 0], [3, 9, 15, 21, 27])
    # parts one behind the other in a strip stay apart; of three, two may run side by side
    three = [shapely.box(0, 0, 2, 10), shapely.box(3, 8, 5, 20), shapely.box(0, 30, 2, 40)]
    forced = forced_overthrow(column(shapely.MultiPolygon(three)), swath_m=6.0, **asked)
    assert forced.passes[0, 0, 0] == 2
    assert forced.excess_m2[0, 0, 0] == pytest.approx(6 * (20 + 10) - 64)


def test_a_bunker_inside_and_a_bay_are_spread_over():
    hole = shapely.box(0, 0, 24, 12).difference(shapely.box(8, 4, 16, 8))
    bay = shapely.box(0, 0, 24, 12).difference(shapely.box(8, 4, 16, 12))
    forced = forced_overthrow(
        column(hole, bay), swath_m=6.0, heading_degree=np.array([90.0]), offsets=1
    )
    assert forced.excess_m2[:, 0, 0] == pytest.approx([32.0, 64.0])


def joined_by_hand(rows):
    """Union of the intervals of each (cell, strip), each in the place of its first member."""
    out = []
    for at, (cell, strip, low, high) in enumerate(rows):
        same = [o for o in out if o[1:3] == (cell, strip) and o[3] <= high and low <= o[4]]
        for o in same:
            out.remove(o)
        first = min([at, *(o[0] for o in same)])
        ends = min([low, *(o[3] for o in same)]), max([high, *(o[4] for o in same)])
        out.append((first, cell, strip, *ends))
    return [o[1:] for o in sorted(out)]


@pytest.mark.parametrize("seed", range(20))
def test_passes_of_one_strip_that_touch_become_one(seed):
    """Long ones that reach over several others too, beside a comparison one by one."""
    rng = np.random.default_rng(seed)
    cell, strip = rng.integers(0, 2, (2, 30))
    low = rng.integers(0, 40, 30).astype(float)
    high = low + rng.choice([1.0, 3.0, 25.0], 30, p=[0.6, 0.3, 0.1])
    joined = _Passes(cell, strip, low, high).joined()
    rows = list(zip(*(column.tolist() for column in (cell, strip, low, high)), strict=True))
    found = list(zip(*(column.tolist() for column in joined), strict=True))
    assert found == joined_by_hand(rows)


def test_a_straight_is_driven_along_and_not_in_47_turns_across():
    """560 by 25 m, swath 12 m: across it would force least, and nobody drives so."""
    shapes = column(shapely.box(0, 0, 560, 25), shapely.box(0, 0, 30, 10))
    forced = forced_overthrow(shapes, swath_m=12.0)
    best = best_headings(forced)
    assert (best.heading_degree[0], best.passes[0]) == (90.0, 3)
    assert best.forced_m2[0] == pytest.approx(560 * (3 * 12 - 25))
    across = best_headings(forced, last_degree=np.array([90.0, np.nan]), avoid_within_degree=85)
    assert across.passes[0] > 40  # asked for, as nothing else is left


def test_a_tee_may_be_driven_across():
    """10 by 30 m, swath 6 m: five passes of 10 m force nothing, two of 30 m force 60 m²."""
    best = best_headings(forced_overthrow(column(shapely.box(0, 0, 10, 30)), swath_m=6.0))
    assert (best.heading_degree[0], best.passes[0]) == (90.0, 5)
    assert best.forced_m2[0] == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize(("swath", "along"), [(3.0, 23), (6.0, 12), (12.0, 6)])
def test_a_football_field_is_driven_along(swath, along):
    """105 by 68 m (Laws of the Game, law 1: 100-110 by 64-75 m between countries).

    Across, strips of 6 m cover 18 · 6 · 68 = 7,344 m², along it 12 · 6 · 105 = 7,560 of 7,140 m².
    """
    shapes = column(shapely.box(0, 0, 105, 68))
    forced = forced_overthrow(shapes, swath_m=swath)
    best = best_headings(forced)
    assert (best.heading_degree[0], best.passes[0]) == (90.0, along)
    assert best.forced_m2[0] == pytest.approx(along * swath * 105 - 7140)
    last = np.array([90.0])  # it was driven along, and the next time is to be another way
    assert best_headings(forced, last_degree=last, avoid_within_degree=85).heading_degree[0] == 0


def test_one_turn_of_nine_is_not_worth_a_thirtieth_of_the_sand():
    """108 by 93 m in strips of 12 m: 9 across hold it to the metre, 8 along it force 324 m²."""
    best = best_headings(forced_overthrow(column(shapely.box(0, 0, 108, 93)), swath_m=12.0))
    assert (best.heading_degree[0], best.passes[0]) == (0.0, 9)
    assert best.forced_m2[0] == pytest.approx(0.0, abs=1e-6)


def test_a_green_is_driven_where_least_goes_over():
    """22 by 14 m in strips of 3 m: 5 along force 22 m², 8 across 28; of 20 by 14, 20 m² and 14."""
    long, short = column(shapely.box(0, 0, 22, 14)), column(shapely.box(0, 0, 20, 14))
    for shapes, heading, passes, over in ((long, 90.0, 5, 22.0), (short, 0.0, 7, 14.0)):
        best = best_headings(forced_overthrow(shapes, swath_m=3.0))
        assert (best.heading_degree[0], best.passes[0]) == (heading, passes)
        assert best.forced_m2[0] == pytest.approx(over)
