"""What of a line lies inside a zone, against shapely's overlay."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from geosand.areas.outline_bearings import outlines_of
from geosand.balance.rings import ground as ring_ground
from geosand.balance.rings.crossings import Lines, crossings_of
from geosand.balance.rings.throw_off import throw_off
from tests.balance.rings.thrown import spread

CAP = 6.0


def star(rng, x, y, radius, corners=70):
    angle = np.arange(corners) * 2 * np.pi / corners
    far = radius * (1 + 0.4 * np.sin(5 * angle + rng.uniform(0, 6)) + rng.normal(0, 0.02, corners))
    return shapely.Polygon(np.column_stack([x + far * np.cos(angle), y + far * np.sin(angle)]))


def inside(at, out, first, last, zones):
    """Length (lines, zones) of each line inside each zone, by its crossings."""
    line, zone, distance, sign = crossings_of(at, out, first, last, zones, np.full(len(at), CAP))
    total = np.zeros((len(at), len(zones)))
    np.add.at(total, (line, zone), sign * distance)
    return total


@pytest.mark.parametrize("seed", range(3))
def test_lines_through_zones_with_holes_and_parts(seed):
    """Starts inside, outside and in holes; zones beyond the cap; 40 km off the origin."""
    rng = np.random.default_rng(seed)
    zones = []
    for _ in range(6):
        shell = star(rng, *rng.uniform(-3, 3, 2), rng.uniform(2, 9))
        zone = shell.difference(star(rng, 0, 0, 1.5)).union(star(rng, 14, 0, 2))
        zones.append(shapely.transform(zone, lambda p: p + 40_000))
    zones = shapely.orient_polygons(np.array(zones, dtype=object))
    at = rng.uniform(-9, 16, (101, 2)) + 40_000
    angle = rng.uniform(0, 2 * np.pi, len(at))
    out = np.column_stack((np.cos(angle), np.sin(angle)))
    got = inside(at, out, np.zeros(6, np.int64), np.full(6, len(at)), zones)
    lines = shapely.linestrings(np.stack((at, at + CAP * out), axis=1))
    want = shapely.length(shapely.intersection(lines[:, None], zones))
    assert got == pytest.approx(want, abs=1e-7)
    assert (want > 0).sum() > 100 and (want == 0).sum() > 100


def test_only_the_lines_of_a_zone_are_held_against_it():
    box = shapely.orient_polygons(np.array([shapely.box(1, -9, 2, 9)] * 2, dtype=object))
    at, out = np.zeros((5, 2)), np.tile([1.0, 0.0], (5, 1))
    got = inside(at, out, np.array([0, 3]), np.array([2, 4]), box)
    assert got.tolist() == [[1, 0], [1, 0], [0, 0], [0, 1], [0, 0]]


@pytest.mark.parametrize("off", [0.0, 1e-12, -1e-12])
def test_a_zone_that_ends_at_the_cap_and_begins_at_the_start_counts_once(off):
    """As surrounds do: lines from the corners of a round surface to those of its outer edge."""
    angle = np.arange(24) * 2 * np.pi / 24
    out = np.column_stack((np.cos(angle), np.sin(angle)))
    at = 10 * out
    zone = shapely.Polygon((16 + off) * out, [at])
    zones = shapely.orient_polygons(np.array([zone], dtype=object))
    got = inside(at, out, np.zeros(1, np.int64), np.full(1, 24), zones)
    assert got == pytest.approx(np.full((24, 1), CAP), abs=1e-9)


@pytest.mark.parametrize("corners", [3, 4, 5, 12, 24, 61, 360])
def test_lines_straight_through_corners_leave_once(corners):
    """Of the two edges at a corner it is told by rounding which one such a line crosses."""
    angle = np.arange(corners) * 2 * np.pi / corners + np.linspace(0, 1, 40)[:, None]
    out = np.stack((np.cos(angle), np.sin(angle)), axis=2)
    zones = np.asarray(shapely.polygons(5 * out), dtype=object)
    box = shapely.bounds(zones)
    middle = ((box[:, :2] + box[:, 2:]) / 2)[:, None]  # lines run out from there, where they begin
    away = 5 * out - middle
    length = np.hypot(away[..., 0], away[..., 1])
    at, straight = (middle + away / 2).reshape(-1, 2), (away / length[..., None]).reshape(-1, 2)
    first = np.arange(40) * corners
    line, _, distance, sign = crossings_of(
        at, straight, first, first + corners, zones, np.full(len(at), CAP)
    )
    assert np.bincount(line, sign, len(at)).tolist() == [1.0] * len(at)
    got = np.bincount(line, sign * distance, len(at))
    assert got == pytest.approx(length.ravel() / 2, abs=1e-12)


@pytest.mark.parametrize("far", [1.0, 4.0])
def test_lines_through_the_middle_and_along_edges_of_outlines_of_both_kinds(far):
    """Outlines in order of direction and not; lines that span half a circle about the middle."""
    round_ = star(np.random.default_rng(1), 0, 0, 3.0)
    bay = shapely.box(-4, -4, 4, 4).difference(shapely.box(-1, -2, 1, 4))
    zones = np.array([shapely.box(-2, -2, 2, 2), round_, bay, shapely.box(-5, 1, 5, 3)])
    angle = np.linspace(0, 2 * np.pi, 72, endpoint=False) + 1e-3
    out = np.column_stack((np.cos(angle), np.sin(angle)))
    middle = shapely.bounds(round_).reshape(2, 2).mean(axis=0)
    at = np.concatenate((0 * out, -far * out, middle - far * out))
    out = np.tile(out, (3, 1))
    none, every = np.zeros(4, np.int64), np.full(4, len(at))
    got = inside(at, out, none, every, zones)
    lines = shapely.linestrings(np.stack((at, at + CAP * out), axis=1))
    assert got == pytest.approx(shapely.length(shapely.intersection(lines[:, None], zones)))


def test_each_line_has_a_cap_of_its_own():
    box = np.array([shapely.box(1, -9, 20, 9)], dtype=object)
    at, out = np.zeros((3, 2)), np.tile([1.0, 0.0], (3, 1))
    line, zone, distance, sign = crossings_of(
        at, out, np.zeros(1, np.int64), np.full(1, 3), box, np.array([3.0, 0.5, 30.0])
    )
    assert zone.tolist() == [0] * len(line)
    held = np.bincount(line, sign * distance, 3)
    assert held.tolist() == [2.0, 0.0, 19.0]


def test_a_line_beside_an_outline_of_any_form_may_meet_none_of_it():
    bent = shapely.Polygon([(0, 0), (6, 0), (6, 1), (1, 1), (1, 6), (0, 6)])
    at, out = np.array([(6.3, 3.0)]), np.array([(1.0, 0.0)])
    for cap in (0.5, CAP):  # from within the circle round it, outside its box
        found = crossings_of(
            at, out, np.zeros(1, int), np.ones(1, int), np.array([bent]), np.array([cap])
        )
        assert [len(column) for column in found] == [0] * 4


def test_many_strips_are_crossed_some_at_a_time_and_by_one_line_each(monkeypatch):
    """Bunkers cut out of a fairway, and paths across: what is over them hardly moves."""
    rng = np.random.default_rng(5)
    bunkers = [star(rng, x, 0, 3.0, corners=150) for x in (-14, 0, 14)]
    fairway = shapely.box(-30, -12, 30, 12).difference(shapely.union_all(bunkers))
    path = shapely.box(-40, 12.5, 40, 13.8)
    hazards = [("bunker", b) for b in bunkers] + [("path", path)]
    given = spread([fairway], 250.0, hazards=hazards)
    four = throw_off(**given)
    monkeypatch.setattr(ring_ground, "_AT_ONCE", 1000)
    some = throw_off(**given)
    monkeypatch.setattr(ring_ground, "_MANY", 1000)
    one = throw_off(**given)
    for kind in ("bunker", "path"):
        assert four.hazard_kg[kind][0] > 1.0
        assert some.hazard_kg[kind] == pytest.approx(four.hazard_kg[kind], rel=1e-12)
        assert one.hazard_kg[kind] == pytest.approx(four.hazard_kg[kind], rel=1e-3)
        assert one.hazard_kg[kind] != four.hazard_kg[kind]  # fewer lines there were


def test_no_line_is_followed_beyond_the_farthest_corner():
    """Beyond the circle that holds a ring nothing is crossed: lines span few of its edges."""
    rng = np.random.default_rng(3)
    zone = shapely.orient_polygons(np.array([star(rng, 50, -20, 7)], dtype=object))
    outlines, _ = outlines_of(zone)
    at, angle = rng.uniform(-4, 4, (2, 400)), rng.uniform(0, 2 * np.pi, 400)
    out, cap = np.stack((np.cos(angle), np.sin(angle))), np.full(400, 30.0)
    lines = Lines(np.zeros(400, np.int64), *at, *out, cap)
    end = np.stack(lines.ends(outlines))
    corners = shapely.get_coordinates(zone) - (outlines.middle_x[0], outlines.middle_y[0])
    most = np.hypot(*corners.T).max()
    assert np.hypot(*end) == pytest.approx(most, rel=1e-6)
    assert (np.hypot(*end) > most).all()
    near = lines._replace(cap_m=np.full(400, 0.5))
    assert np.hypot(*(np.stack(near.ends(outlines)) - at)).max() < 0.51
