"""Two surveys of the same ground: closed forms, and u of a change against random draws."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely

from geosand.areas.bends import largest_sagitta_m
from geosand.areas.comparison import change_spread_m2, compare_surveys
from geosand.areas.edge_shifts import common_offset
from geosand.areas.pairing import pair_surveys
from geosand.areas.register import area_register
from tests.areas.surveys import DRAWS, PLANE, compared, gon, square, survey


def test_concentric_squares_in_closed_form():
    _, changes = compared(survey([square(20)]), survey([square(21)]))
    assert changes.gained_m2[0] == pytest.approx(41.0, abs=1e-4)
    assert changes.lost_m2[0] == pytest.approx(0.0, abs=1e-9)
    assert changes.difference_m2[0] == pytest.approx(41.0, abs=1e-4)
    assert changes.edge_maximum_m[0] == pytest.approx(math.sqrt(0.5), abs=1e-6)
    # inner edge: 0.5 m everywhere; outer edge: 0.5 m, and sqrt(0.25 + t²) for t to 0.5 at 8 ends
    ends = (math.sqrt(2) + math.asinh(1)) / 8
    mean = (80 * 0.5 + 4 * (20 * 0.5 + 2 * ends)) / (80 + 84)
    assert changes.edge_mean_m[0] == pytest.approx(mean, rel=2e-3)
    corner = np.array(PLANE.inverse(np.array([10.5]), np.array([10.5])))[:, 0]
    away = np.abs([changes.longitude_deg[0] + 30.0, changes.latitude_deg[0] - 47.0])
    assert away == pytest.approx(np.abs(corner - [-30.0, 47.0]), abs=1e-9)  # one of the four


def test_gained_less_lost_is_the_difference():
    turned = shapely.affinity.rotate(square(25), 20)
    old, new = survey([square(24), square(9, 60)]), survey([turned, square(8, 61)])
    _, changes = compared(old, new)
    assert changes.gained_m2 - changes.lost_m2 == pytest.approx(changes.difference_m2, abs=1e-6)
    assert (changes.lost_m2 > 0.1).all()


def test_the_same_survey_twice_has_no_change_and_no_uncertainty():
    shapes = [square(20), shapely.Point(80, 0).buffer(9)]
    one = survey(shapes, edge=0.3, bias=0.15, vertex=0.05)
    _, changes = compared(one, survey(shapes, edge=0.3, bias=0.15, vertex=0.05))
    assert changes.verdict.tolist() == ["unchanged", "unchanged"]
    assert changes.u_difference_m2 == pytest.approx([0.0, 0.0], abs=1e-9)
    assert changes.edge_maximum_m.tolist() == [0.0, 0.0]


def test_swapping_the_surveys_turns_the_signs():
    old = survey([square(20), square(12, 40)], edge=0.2, bias=0.1, vertex=0.05)
    new = survey([square(20.6, 0.2), square(11, 40)], edge=0.1, bias=0.02, vertex=0.02)
    _, forth = compared(old, new)
    _, back = compared(new, old)
    assert forth.difference_m2 == pytest.approx(-back.difference_m2)
    assert forth.u_difference_m2 == pytest.approx(back.u_difference_m2)
    assert forth.gained_m2 == pytest.approx(back.lost_m2)
    assert forth.edge_mean_m == pytest.approx(back.edge_mean_m, rel=1e-4)  # other sample points


def test_u_of_two_independent_surveys_by_monte_carlo():
    """Each survey's edge is moved by its own edge error and its own bias; areas are measured."""
    outline = [shapely.Polygon(gon(14)), shapely.Polygon(gon(14.6))]
    errors = [(0.20, 0.10), (0.06, 0.03)]
    old, new = (
        survey([shape], edge=edge, bias=bias)
        for shape, (edge, bias) in zip(outline, errors, strict=True)
    )
    _, changes = compared(old, new)
    generator = np.random.default_rng(11)
    areas = []
    for shape, (edge, bias) in zip(outline, errors, strict=True):
        move = generator.normal(0, edge, DRAWS) + generator.normal(0, bias, DRAWS)
        areas.append(shapely.area(shapely.buffer(shape, move, join_style="mitre")))
    assert changes.u_difference_m2[0] == pytest.approx(np.std(areas[1] - areas[0]), rel=0.02)


def test_a_kept_stretch_adds_nothing_by_monte_carlo():
    """A 30 m x 20 m rectangle is made 6 m longer; three of its old edges are kept as drawn."""
    edge, bias = 0.2, 0.1
    old = survey([shapely.box(0, 0, 30, 20)], edge=edge, bias=bias)
    longer = shapely.Polygon([(0, 0), (30, 0), (36, 0), (36, 20), (30, 20), (0, 20)])
    new = survey([longer], edge=edge, bias=bias)
    _, changes = compared(old, new)
    generator = np.random.default_rng(12)
    kept, was, now = generator.normal(0, math.hypot(edge, bias), (3, DRAWS))
    west = 30 + kept  # the part west of x = 30, the same measurement in both surveys
    before = (west + was) * (20 + 2 * kept)
    after = west * (20 + 2 * kept) + (6 + now) * (20 + 2 * now)
    assert changes.u_difference_m2[0] == pytest.approx(np.std(after - before), rel=0.02)
    all_of_it = math.hypot(100 * math.hypot(edge, bias), 112 * math.hypot(edge, bias))
    assert changes.u_difference_m2[0] < 0.3 * all_of_it


def test_u_from_vertices_of_which_some_are_the_same_by_monte_carlo():
    """Two of twelve corners were surveyed again; the others have one error in both surveys."""
    first, second = gon(15), gon(15)
    second[[3, 4]] *= 1.1
    polygons = [shapely.Polygon(p) for p in (first, second)]
    old, new = (survey([p], vertex=0.05) for p in polygons)
    _, changes = compared(old, new)
    generator = np.random.default_rng(13)
    noise = generator.normal(0, 0.05, (DRAWS, 12, 2))
    again = noise.copy()
    again[:, [3, 4]] = generator.normal(0, 0.05, (DRAWS, 2, 2))

    def areas(points: np.ndarray) -> np.ndarray:
        x, y = points[..., 0], points[..., 1]
        return (x * np.roll(y, -1, 1) - y * np.roll(x, -1, 1)).sum(1) / 2

    sd = np.std(areas(second + again) - areas(first + noise))
    assert changes.u_difference_m2[0] == pytest.approx(sd, rel=0.02)


def test_ground_that_only_changed_hands_leaves_the_sum_certain():
    """A green shrinks inside its collar: both change, with opposite errors; together nothing."""
    outer = square(24)
    kinds, ids = ["green", "collar"], ["g", "c"]
    old = survey([square(20), outer], kinds=kinds, ids=ids, edge=0.1, bias=0.05)
    new = survey([square(19), outer], kinds=kinds, ids=ids, edge=0.1, bias=0.05)
    _, changes = compared(old, new)
    assert changes.difference_m2 == pytest.approx([-39.0, 39.0], abs=1e-3)
    alone = math.hypot(80, 76) * math.hypot(0.1, 0.05)
    assert changes.u_difference_m2 == pytest.approx([alone, alone], rel=1e-3)
    together = np.ones((1, 2))
    assert change_spread_m2(changes, together, together)[0] == pytest.approx(0.0, abs=1e-2)


def test_u_of_a_difference_is_of_the_ground():
    """80 m of old edge and 84 m of new one, each ± 0.1 m, on a slope of 12 %."""
    old, new = (
        replace(survey([square(side)], edge=0.1), slope=np.array([0.12])) for side in (20, 21)
    )
    _, changes = compared(old, new)
    u = math.hypot(80, 84) * 0.1 * math.sqrt(1 + 0.12**2)
    assert changes.u_difference_m2 == pytest.approx([u], rel=1e-6)


def test_a_bias_adds_up_over_the_surfaces_of_one_survey():
    old = survey([square(20), square(20, 60)], bias=0.1)
    new = survey([square(21), square(21, 60)], bias=0.0)
    _, changes = compared(old, new)
    together = np.ones((1, 2))
    total = change_spread_m2(changes, together, together)[0]
    assert total == pytest.approx(2 * 80 * 0.1, rel=1e-6)
    assert changes.u_difference_m2 == pytest.approx([8.0, 8.0], rel=1e-6)


@pytest.mark.parametrize(
    ("new", "verdict"),
    [
        (square(21), "larger"),
        (square(19), "smaller"),
        (square(20.05), "within uncertainty"),
        (square(20, 3.0), "moved"),
        (square(20), "unchanged"),
    ],
)
def test_verdicts(new, verdict):
    accuracy = {"edge": 0.1, "bias": 0.05, "vertex": 0.05}
    _, changes = compared(survey([square(20)], **accuracy), survey([new], **accuracy))
    assert changes.verdict.tolist() == [verdict]


@pytest.mark.parametrize(("shift", "verdict"), [(0.36, "within uncertainty"), (0.375, "moved")])
@pytest.mark.parametrize("turned", [False, True])
def test_where_an_edge_that_moved_begins(shift, verdict, turned):
    """2·√(0.1² + 0.05² + 0.04² + 0.02²) + 4·√(0.03² + 0.01²) = 0.367 m, whichever is the older."""
    surveys = [
        survey([square(20)], edge=0.1, bias=0.05, vertex=0.03),
        survey([square(20, shift)], edge=0.04, bias=0.02, vertex=0.01),
    ]
    old, new = surveys[::-1] if turned else surveys
    _, changes = compared(old, new)
    assert changes.edge_maximum_m == pytest.approx([shift], abs=1e-6)
    assert changes.u_edge_m == pytest.approx([math.sqrt(0.0145)], rel=1e-9)
    assert changes.verdict.tolist() == [verdict]


def test_unlike_ids_are_paired_by_common_ground_of_the_same_kind():
    old = survey([square(20), square(10, 50), square(10, 90)], ids=["a", "b", "c"])
    new = survey(
        [square(10, 51), square(10, 90), square(20), square(10, 97)],
        ids=["first", "second", "a", "third"],
        kinds=["green", "tee", "green", "green"],
    )
    pairs = pair_surveys(old, new)
    # c lies under a tee (another kind), and under less than half of "third"
    assert pairs.new.tolist() == [0, 2]
    assert pairs.old.tolist() == [1, 0]
    assert pairs.by_overlap.tolist() == [True, False]


def test_surveys_without_a_common_surface_pair_nothing():
    pairs, changes = compared(survey([square(9)], ids=["a"]), survey([square(9, 90)], ids=["b"]))
    assert len(pairs.new) == 0 and len(changes.difference_m2) == 0


def test_a_surface_that_is_wholly_covered_now_lost_all_its_ground():
    kinds, ids = ["lawn", "green"], ["l", "g"]
    old = survey([square(10), square(8, 40)], kinds=kinds, ids=ids, edge=0.1)
    new = survey([square(10), square(12)], kinds=kinds, ids=ids, edge=0.1)
    _, changes = compared(old, new)
    assert changes.lost_m2[0] == pytest.approx(100.0, abs=1e-3)
    assert changes.edge_maximum_m[0] == 0.0  # as drawn it is the same
    assert changes.verdict[0] == "smaller"


def test_a_hole_is_lost_ground():
    ring = square(20).difference(square(6))
    _, changes = compared(survey([square(20)]), survey([ring]))
    assert changes.lost_m2[0] == pytest.approx(36.0, abs=1e-4)
    assert changes.edge_maximum_m[0] == pytest.approx(7.0, abs=0.01)


def test_an_edge_that_an_unchanged_green_rules_adds_nothing():
    """A fairway is enlarged round a green that both surveys draw the same: only its rim counts."""
    kinds, ids = ["fairway", "green"], ["f", "g"]
    green = square(20)
    old = survey([square(60), green], kinds=kinds, ids=ids, edge=0.2)
    new = survey([square(61), green], kinds=kinds, ids=ids, edge=0.2)
    _, changes = compared(old, new)
    assert changes.difference_m2 == pytest.approx([121.0, 0.0], abs=1e-3)
    assert changes.u_difference_m2[0] == pytest.approx(0.2 * math.hypot(240, 244), rel=1e-4)
    assert changes.u_difference_m2[1] == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize(("shift", "verdict"), [(0.0, "within uncertainty"), (1.0, "moved")])
def test_chords_between_other_corners_move_no_edge(shift, verdict):
    """A green drawn twice with 24 corners, between each other: their chords lie 0.11 m apart."""
    half = shapely.affinity.rotate(shapely.Polygon(gon(13.0, 24)), 7.5, (0, 0))
    first = survey([shapely.Polygon(gon(13.0, 24))], edge=0.01)
    second = survey([shapely.affinity.translate(half, shift, 0.0)], edge=0.01)
    _, changes = compared(first, second)
    assert largest_sagitta_m(first.geometry) == pytest.approx([0.111], abs=0.002)
    assert changes.verdict.tolist() == [verdict]
    assert changes.edge_maximum_m[0] > 0.05


@pytest.mark.parametrize(
    ("shape", "shift"),
    [
        (shapely.LineString([(0, 0), (270, 0)]).buffer(15, quad_segs=8), 6.0),
        (shapely.Polygon(gon(20.0, 8)), 3.0),
    ],
    ids=["long sides between round ends", "octagon"],
)
def test_long_edges_do_not_hide_that_all_of_an_outline_moved(shape, shift):
    moved = shapely.affinity.translate(shape, 0.0, shift)
    first, second = survey([shape], edge=0.1), survey([moved], edge=0.1)
    assert compared(first, second)[1].verdict.tolist() == ["moved"]


def test_one_side_that_moved_is_no_shift_of_the_whole():
    old = [shapely.box(0, 0, 20, 10), shapely.box(60, 0, 80, 10)]
    for new in (
        [shapely.box(0, 0, 21, 10)],
        [shapely.affinity.translate(old[0], 1.0), old[1]],
    ):
        before, after = survey(old[: len(new)]), survey(new)
        assert common_offset(before.geometry, after.geometry, PLANE) is None


def test_an_unsure_datum_makes_edges_unsure_and_no_area():
    old, new = survey([square(20)], edge=0.05), survey([square(20, 1.0)], edge=0.05)
    areas, pairs = (area_register(old), area_register(new)), pair_surveys(old, new)
    sure, unsure = (
        compare_surveys(old, areas[0], new, areas[1], pairs, datum_m=datum) for datum in (0.0, 1.0)
    )
    assert (sure.verdict[0], unsure.verdict[0]) == ("moved", "within uncertainty")
    assert unsure.u_edge_m[0] == pytest.approx(math.hypot(1.0, 0.05 * math.sqrt(2)))
    assert unsure.u_difference_m2.tolist() == sure.u_difference_m2.tolist()
