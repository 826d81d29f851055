"""The steps that rings are made of, each against shapely or against going through all rows."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import shapely

from geosand.areas.overlay import widened
from geosand.balance.rings import blocks as ring_blocks
from geosand.balance.rings import cuts as ring_cuts
from geosand.balance.rings import steiner as ring_steiner
from geosand.balance.rings.cuts import Obstacles, cuts_of, drawn_in
from geosand.balance.rings.edges import edges_of
from geosand.balance.rings.joints import jointed
from geosand.balance.rings.rays import rays_of, strips_of
from geosand.balance.rings.stands import (
    Stands,
    disjoint_hazards,
    distinct_cases,
    distinct_stands,
    near_stands,
    united,
)
from geosand.balance.rings.steiner import _is_refuted, _proved, is_steiner
from geosand.balance.rings.strips import parts_less_holes
from geosand.balance.rings.zones import farthest_corners_m
from tests.balance.rings.thrown import SQUARE, blob, column, kidney


def many(seed: int, count: int) -> Any:
    """Round shapes with bays of any depth, about the same place."""
    rng = np.random.default_rng(seed)
    shapes = []
    for _ in range(count):
        depth, lobes = rng.choice([0.0, 0.02, 0.1, 0.3]), int(rng.integers(2, 6))
        shapes.append(blob(*rng.uniform(-2, 2, 2), rng.uniform(1, 12), lobes, depth))
    return column([*shapes, kidney(), SQUARE, shapely.box(0, 0, 0.5, 30)])


def bare(surfaces: Any, party: Any, field: Any = None) -> Stands:
    n = len(surfaces)
    return Stands(
        surface=surfaces,
        case=np.arange(n),
        party=np.asarray(party),
        field=np.zeros(n, np.int64) if field is None else field,
        collar=np.full(n, None, dtype=object),
        collar_width_m=np.full(n, 0.9),
        surrounds_width_m=np.full(n, 4.0),
    )


# Steiner's formula.


@pytest.mark.parametrize("distance", [0.3, 2.0, 5.0, 30.0])
def test_where_the_outline_proves_steiner_a_fine_buffer_agrees(distance: float) -> None:
    shapes = many(1, 120)
    far = np.full(len(shapes), distance)
    edges = edges_of(shapes)
    proved = _proved(shapes, edges, far)
    ring = shapely.area(shapely.buffer(shapes, distance, quad_segs=400)) - shapely.area(shapes)
    formula = shapely.length(shapes) * distance + np.pi * distance**2
    assert (np.abs(ring / formula - 1)[proved] < 2e-3).all()
    assert proved.sum() > 20
    assert not proved.all()
    # a coarser buffer tells of the others
    agrees = is_steiner(shapes, edges, far, np.ones(len(shapes), bool))
    assert (np.abs(ring / formula - 1)[agrees] < 4e-3).all()
    assert (agrees >= proved).all()


def test_parts_holes_and_deep_bays_are_not_proved() -> None:
    two = shapely.MultiPolygon([SQUARE, shapely.box(40, 0, 50, 9)])
    holed = SQUARE.difference(shapely.box(5, 5, 6, 6))
    one_holed = shapely.MultiPolygon([holed])
    bay = shapely.box(-9, -9, 9, 9).difference(shapely.box(-2, -3, 2, 9))
    shapes = column([two, holed, one_holed, bay, SQUARE])
    assert parts_less_holes(shapes).tolist() == [2, 0, 0, 1, 1]
    proved = _proved(shapes, edges_of(shapes), np.full(5, 1.0))
    assert proved.tolist() == [False] * 4 + [True]


# How wide collars are.


def test_the_widest_collar_is_that_of_all_corners() -> None:
    surfaces = many(4, 30)
    rng = np.random.default_rng(5)
    zones = column(
        [shapely.buffer(s, rng.uniform(0.5, 3), quad_segs=2).difference(s) for s in surfaces]
    )
    field, beyond = np.arange(len(zones)) % 5, rng.uniform(0, 4, len(zones))
    got = farthest_corners_m(zones, surfaces, beyond, field, 6)
    want = np.zeros(6)
    for k, (zone, surface) in enumerate(zip(zones, surfaces, strict=True)):
        corners = shapely.points(shapely.get_coordinates(shapely.get_parts(zone)[0].exterior))
        away = shapely.distance(corners, surface.boundary).max() + beyond[k]
        want[field[k]] = max(want[field[k]], away)
    np.testing.assert_allclose(got, want, rtol=1e-12)


# Parties.


def test_stands_are_the_distinct_parties_of_dressings() -> None:
    """Against lists: which cases each row stands with, and each such list laid only once."""
    rng = np.random.default_rng(6)
    boxes = column([shapely.box(5 * k, 0, 5 * k + 3, 3) for k in range(9)])
    for _ in range(40):
        rows = [rng.permutation(9)[: rng.integers(1, 10)] for _ in range(rng.integers(1, 9))]
        case = np.concatenate(rows)
        dressing = np.repeat(rng.permutation(20)[: len(rows)], [len(r) for r in rows])
        cases = bare(boxes, np.arange(9))
        stands, stand = distinct_stands(cases, case, dressing, np.full(9, 2.5))
        with_it = {}
        for row, (of, one) in enumerate(zip(dressing, case, strict=True)):
            mine = set(case[dressing == of].tolist())
            low = high = one
            while low - 1 in mine:
                low -= 1
            while high + 1 in mine:
                high += 1
            party = np.flatnonzero(stands.party == stands.party[stand[row]])
            assert sorted(stands.case[party].tolist()) == list(range(low, high + 1))
            assert stands.case[stand[row]] == one
            with_it[(low, high, int(one))] = stand[row]
        assert len(with_it) == len(stands.case) == len(set(with_it.values()))


def test_cases_are_numbered_as_they_first_come() -> None:
    shapes = column([SQUARE, kidney(), SQUARE, SQUARE])
    collar = SQUARE.buffer(1).difference(SQUARE)
    collars = column([None, None, None, collar])
    wide, far = np.array([0.9, 0.9, 0.9, 0.9]), np.full(4, 4.0)
    cases, case = distinct_cases(shapes, collars, wide, far, np.array([3, 3, 3, 3]))
    assert case.tolist() == [0, 1, 0, 2]
    assert cases.collar.tolist() == [None, None, collar]
    _, case = distinct_cases(shapes, collars, wide, far, np.array([3, 3, 5, 3]))
    assert case.tolist() == [0, 1, 2, 3]


def test_near_stands_come_both_ways_and_of_one_key_only() -> None:
    boxes = column([shapely.box(5 * k, 0, 5 * k + 3, 3) for k in range(4)])
    stands = bare(boxes, np.zeros(4, np.int64))
    left, right = near_stands(stands, np.array([0, 0, 1, 0]), np.full(4, 2.0))
    assert list(zip(left.tolist(), right.tolist(), strict=True)) == [(0, 1), (1, 0)]


# Cuts.


def test_strips_end_at_the_largest_empty_circle() -> None:
    """The circle about a cut touches an outline, and holds none: two fields in one place."""
    shapes = column(
        [SQUARE, shapely.box(23, 3, 40, 20), kidney(), blob(0, 17.2, 5), blob(0, 0, 9, 3, 0.25)]
    )
    shapes[2] = shapely.affinity.translate(shapes[2], 30, -14)
    party = np.array([0, 0, 0, 7, 7])
    cap = np.array([6.0, 6.0, 6.0, 3.0, 3.0])
    stands = bare(shapes, party)
    pairs = near_stands(stands, party, 2 * cap)
    (edges, joints), cut = jointed(edges_of(shapes), shapes, pairs), np.ones(5, bool)
    rays = rays_of(edges, joints, np.full(5, 0.5), cap, cut, ~cut)
    cuts = np.minimum(cuts_of(rays, Obstacles.of(edges, shapes, pairs, cut, cap)), cap[rays.row])
    centre = shapely.points(rays.at + rays.out * cuts[:, None])
    near = np.array([shapely.union_all(shapes[party == p]) for p in (0, 7)], dtype=object)
    away = shapely.distance(centre, near[(party[rays.row] == 7).astype(int)])
    np.testing.assert_allclose(away, cuts, atol=1e-7)
    ended = (cuts < 0.99 * cap[rays.row]) & (cuts > 0.1)
    assert ended.sum() > 100
    # a little farther out the nearest outline is not where the ray began
    beyond = shapely.points(rays.at + rays.out * (cuts + 0.05)[:, None])[ended]
    now = shapely.distance(beyond, near[(party[rays.row] == 7).astype(int)][ended])
    assert (now < cuts[ended] + 0.05 - 1e-6).all()


def test_rays_beside_concave_corners_are_where_their_cut_is_reached() -> None:
    shapes = column(
        [SQUARE, shapely.box(20.8, 3, 40, 20), blob(0, 40, 9, 5, 0.25), blob(17, 44, 9, 5, 0.25)]
    )
    cap, cut = np.full(4, 5.0), np.ones(4, bool)
    stands = bare(shapes, np.zeros(4, np.int64))
    pairs = near_stands(stands, stands.party, 2 * cap)
    edges, joints = jointed(edges_of(shapes), shapes, pairs)
    rays = rays_of(edges, joints, np.full(4, 0.5), cap, cut, ~cut)
    cuts = cuts_of(rays, Obstacles.of(edges, shapes, pairs, cut, cap))
    moved = drawn_in(rays, cuts, cap)
    lengths = np.bincount(rays.row, moved.width_m)
    np.testing.assert_allclose(lengths, shapely.length(shapes), rtol=1e-12)
    steps = np.linalg.norm(moved.at[moved.after] - moved.at, axis=1)
    np.testing.assert_allclose(steps, moved.width_m, atol=1e-9)
    away = np.linalg.norm(moved.at - rays.at, axis=1)
    other = away > 1e-9
    assert other.sum() > 15
    assert (rays.row[other] > 1).all()  # the first two have no concave corners
    assert (moved.at[rays.row < 2] == rays.at[rays.row < 2]).all()
    # from the corner to the ray the cut rises as on the line midway between the two edges
    beside = np.flatnonzero(other & (np.roll(rays.lacks_rad, 1) > 0) & (rays.width_m > 0))
    slope = np.tan((np.pi - rays.lacks_rad[beside - 1]) / 2)
    np.testing.assert_allclose(
        moved.width_m[beside - 1] * slope, np.minimum(cuts[beside], 5.0), rtol=1e-9
    )


def test_no_strip_leaves_an_edge_that_another_surface_lies_against() -> None:
    shapes = column([SQUARE, shapely.box(20, 5, 40, 15)])
    pairs = np.array([0, 1]), np.array([1, 0])
    (edges, joints), cut = jointed(edges_of(shapes), shapes, pairs), np.ones(2, bool)
    cap = np.full(2, 5.0)
    rays = rays_of(edges, joints, np.full(2, 0.5), cap, cut, ~cut)
    cuts = cuts_of(rays, Obstacles.of(edges, shapes, pairs, cut, cap))
    x, y = rays.at.T
    strips = strips_of(rays, cuts, cap)
    none = np.maximum(strips.cut_start_m, strips.cut_end_m) == 0
    np.testing.assert_allclose(np.bincount(rays.row[none], rays.width_m[none]), [10, 10])
    assert (np.abs(x - 20) < 1e-9)[none].all()
    assert y[none].min() == 5
    assert y[none].max() == 15
    assert (cuts[(rays.row == 0) & (x < 19)] > 1).all()


def test_strips_at_shared_edges_are_not_measured(monkeypatch: pytest.MonkeyPatch) -> None:
    """Squares edge to edge: only strips that leave all of them are held against outlines."""
    shapes = column([shapely.box(10 * i, 10 * j, 10 * i + 10, 10 * j + 10) for i in range(6)
                     for j in range(6)])  # fmt: skip
    n, cap = len(shapes), np.full(len(shapes), 30.0)
    stands, asked = bare(shapes, np.zeros(n, np.int64)), []
    pairs = near_stands(stands, stands.party, 2 * cap)
    (edges, joints), cut = jointed(edges_of(shapes), shapes, pairs), np.ones(n, bool)
    rays = rays_of(edges, joints, np.full(n, 3.0), cap, cut, ~cut)
    touch = ring_cuts.first_touch

    def counted(rays: Any, ray: Any, *more: Any) -> Any:
        asked.extend(ray.ravel().tolist())
        return touch(rays, ray, *more)

    monkeypatch.setattr(ring_cuts, "first_touch", counted)
    cuts = cuts_of(rays, Obstacles.of(edges, shapes, pairs, cut, cap))
    x, y = rays.at.T
    outer = (x < 1e-6) | (x > 60 - 1e-6) | (y < 1e-6) | (y > 60 - 1e-6)
    assert (cuts[~outer] == 0).all()
    assert np.isin(asked, np.flatnonzero(outer)).all()
    assert (cuts[outer] > 0).sum() == len(set(asked)) > 60


# Unions.


def jagged(seed: int, corners: int, x: float = 0.0) -> Any:
    """A drawn outline whose every corner is 2 cm off."""
    rng, angle = np.random.default_rng(seed), np.arange(corners) * 2 * np.pi / corners
    radius = 12 * (1 + 0.15 * np.cos(2 * angle + 1)) + rng.normal(0, 0.02, corners)
    return shapely.Polygon(np.column_stack((x + radius * np.cos(angle), radius * np.sin(angle))))


def test_what_ends_rays_is_looked_for_farther_and_farther() -> None:
    """In steps, as if each ray was held against all within its cap."""
    shapes, pairs = (
        column([jagged(1, 800), jagged(2, 800, x=26.0)]),
        (np.arange(2), np.arange(2)[::-1]),
    )
    edges, cut, cap = edges_of(shapes), np.ones(2, np.bool_), np.full(2, 6.0)
    edges, joints = jointed(edges, shapes, pairs)
    rays = rays_of(edges, joints, np.full(2, 0.6), cap, cut, ~cut)
    obstacles = Obstacles.of(edges, shapes, pairs, cut, cap)
    assert (obstacles.at_first_m < cap / 2).all()
    cuts = np.minimum(cuts_of(rays, obstacles), 6.0)
    assert 0.4 < (cuts < 0.5).mean() < 0.99
    at_once = obstacles._replace(at_first_m=cap)
    np.testing.assert_array_equal(np.minimum(cuts_of(rays, at_once), 6.0), cuts)


def test_in_a_crowd_rays_end_as_if_each_was_held_against_all(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Of more pairs than are compared at once."""
    places = [(5.5 * k, 5.5 * n) for k in range(12) for n in range(12)]
    shapes = column([shapely.box(x, y, x + 5, y + 5) for x, y in places])
    count, cap = len(shapes), np.full(len(shapes), 40.0)
    pairs = near_stands(bare(shapes, np.zeros(count, np.int64)), np.zeros(count, np.int64), 2 * cap)
    edges, cut = edges_of(shapes), np.ones(count, np.bool_)
    edges, joints = jointed(edges, shapes, pairs)
    rays = rays_of(edges, joints, np.full(count, 3.0), cap, cut, ~cut)
    obstacles = Obstacles.of(edges, shapes, pairs, cut, cap)
    assert (obstacles.at_first_m < cap / 2).all()
    at_once = obstacles._replace(at_first_m=cap)
    cuts = np.minimum(cuts_of(rays, at_once), 40.0)
    assert (cuts < 0.5).mean() > 0.8
    monkeypatch.setattr(ring_blocks, "_COMPARED", 4000)
    np.testing.assert_array_equal(np.minimum(cuts_of(rays, obstacles), 40.0), cuts)


@pytest.mark.parametrize("compared", [1, 37, 500, 50_000])
def test_blocks_that_meet_are_those_of_pairs_whose_boxes_do(
    monkeypatch: pytest.MonkeyPatch, compared: int
) -> None:
    """Of pairs of owners, in any pieces: what shapely's boxes say, one pair after the other."""
    monkeypatch.setattr(ring_blocks, "_COMPARED", compared)
    rng, owner = np.random.default_rng(3), np.repeat(np.arange(4), [700, 0, 300, 40])
    low = rng.uniform(0, 50, (len(owner), 2))
    blocks = ring_blocks.blocks_of(low, low + 0.5, owner, 4)
    boxes, begin = shapely.box(*blocks.low.T, *blocks.high.T), blocks.of_owner
    pairs = np.array([[0, 0], [0, 2], [1, 2], [2, 0], [3, 2]])
    want: list[list[int]] = []
    for one, other in pairs.tolist():
        mine, theirs = boxes[begin[one] : begin[one + 1]], boxes[begin[other] : begin[other + 1]]
        met = np.argwhere(shapely.intersects(mine[:, None], theirs))
        want += np.add(met, [begin[one], begin[other]]).tolist()
    found = ring_blocks.near_blocks(blocks, blocks, (pairs[:, 0], pairs[:, 1]))
    assert np.hstack(list(found)).T.tolist() == want
    assert len(want) > 100


def test_what_the_hull_refutes_is_not_steiner_by_its_buffer(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    shapes = column([*(jagged(k, 600) for k in range(5)), SQUARE])
    far = np.full(6, 3.0)
    assert _is_refuted(shapes, far).tolist() == [True] * 5 + [False]
    edges, asked = edges_of(shapes), np.ones(6, np.bool_)
    quick = is_steiner(shapes, edges, far, asked)
    monkeypatch.setattr(ring_steiner, "_is_refuted", lambda shapes, _: np.zeros(len(shapes), bool))
    assert is_steiner(shapes, edges, far, asked).tolist() == quick.tolist()


def test_jagged_outlines_are_widened_in_two_steps() -> None:
    shapes = column([jagged(1, 2500), SQUARE])
    once = shapely.buffer(shapes, 1.5, quad_segs=16)
    twice = widened(shapes, np.full(2, 1.5))
    assert twice[1] == once[1]
    assert shapely.area(twice[0]) == pytest.approx(shapely.area(once[0]), rel=1e-4)
    assert shapely.hausdorff_distance(twice[0], once[0]) < 0.02


def test_only_what_belongs_together_is_united() -> None:
    shapes = column([SQUARE, kidney(), shapely.box(10, 10, 30, 30), shapely.box(99, 0, 100, 1)])
    got, label = united(shapes, np.array([5, 2, 5, 9]))
    assert label.tolist() == [2, 5, 9]
    assert got[0] is shapes[1]
    assert got[2] is shapes[3]
    assert got[1].equals(shapely.union(shapes[0], shapes[2]))


def test_hazards_are_disjoint_in_each_kind_and_field() -> None:
    rng = np.random.default_rng(7)
    shapes = column([shapely.Point(*rng.uniform(0, 20, 2)).buffer(2) for _ in range(60)])
    kind, field = rng.integers(0, 2, 60), rng.integers(0, 3, 60)
    got = disjoint_hazards(shapes, kind, field)
    for k in range(2):
        for f in range(3):
            whole = shapely.union_all(shapes[(kind == k) & (field == f)])
            mine = got.shape[(got.kind == k) & (got.field == f)]
            assert shapely.area(mine).sum() == pytest.approx(whole.area, rel=1e-9)
            assert shapely.union_all(mine).symmetric_difference(whole).area < 1e-9
    touching = column([shapely.box(0, 0, 1, 1), shapely.box(1, 0, 2, 1)])
    assert len(disjoint_hazards(touching, np.zeros(2, int), np.zeros(2, int)).shape) == 2
