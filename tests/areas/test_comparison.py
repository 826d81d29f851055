"""Two surveys of the same ground: closed forms, and u of a change against random draws."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely

from geosand.areas.bends import largest_sagitta_m
from geosand.areas.comparison import change_spread_m2, compare_regrouped, compare_surveys
from geosand.areas.edge_shifts import common_offset
from geosand.areas.pairing import pair_surveys, regroupings
from geosand.areas.plane import Plane
from geosand.areas.register import area_register
from geosand.site.tables import Surfaces

PLANE = Plane(longitude_deg=-30.0, latitude_deg=47.0)
DRAWS = 20_000


def survey(shapes, *, ids=None, kinds=None, edge=0.0, bias=0.0, vertex=0.0) -> Surfaces:
    """Surfaces of one edition from polygons in metres about 30 W, 47 N."""
    flat = np.empty(len(shapes), dtype=object)
    flat[:] = shapes
    n = len(shapes)
    names = np.array(ids or [f"s{k}" for k in range(n)])
    return Surfaces(
        id=names,
        name=names.copy(),
        kind=np.array(kinds or ["green"] * n),
        edition=np.zeros(n, dtype=np.int64),
        ground=np.arange(n),
        around=np.full(n, -1),
        geometry=PLANE.to_lonlat(flat),
        target_m=np.full(n, np.nan),
        elevation_m=np.full(n, np.nan),
        slope=np.full(n, np.nan),
        boundary_accuracy_m=np.full(n, vertex),
        edge_accuracy_m=np.full(n, edge),
        edge_bias_m=np.full(n, bias),
    )


def compared(old: Surfaces, new: Surfaces):
    pairs = pair_surveys(old, new)
    return pairs, compare_surveys(old, area_register(old), new, area_register(new), pairs)


def square(side: float, x: float = 0.0, y: float = 0.0) -> shapely.Polygon:
    return shapely.box(x - side / 2, y - side / 2, x + side / 2, y + side / 2)


def gon(radius: float, corners: int = 12) -> np.ndarray:
    angle = np.arange(corners) * 2 * np.pi / corners
    return radius * np.column_stack([np.cos(angle), np.sin(angle)])


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


def grouped(old: Surfaces, new: Surfaces):
    """Regroupings with the changes of their whole ground."""
    areas = area_register(old), area_register(new)
    pairs = pair_surveys(old, new)
    found = regroupings(areas[0].owned, old.kind, areas[1].owned, new.kind)
    changes = compare_surveys(old, areas[0], new, areas[1], pairs, found)
    return found, changes, compare_regrouped(*areas, found, changes)


def halves(x: float = 0.0) -> list[shapely.Polygon]:
    """A square of 20 m as two rectangles of 8 and 12 m."""
    return [shapely.box(x - 10, -10, x - 2, 10), shapely.box(x - 2, -10, x + 10, 10)]


@pytest.mark.parametrize("keeps", [["a", "b"], ["s0", "b"], ["a", "s0"]])
def test_a_surface_split_in_two_is_still_the_same_ground(keeps):
    """Whatever the parts are called; the line between them moves nothing."""
    old = survey([square(20), square(12, 50)], edge=0.2, bias=0.1, vertex=0.05)
    new = survey([*halves(), square(12, 50)], ids=[*keeps, "s1"], edge=0.2, bias=0.1, vertex=0.05)
    found, changes, ground = grouped(old, new)
    assert [(one.change, one.old.tolist(), one.new.tolist()) for one in found] == [
        ("split", [0], [0, 1])
    ]
    assert ground.new_area_m2 - ground.old_area_m2 == pytest.approx([0.0], abs=1e-3)
    assert ground.gained_m2 == pytest.approx([0.0], abs=1e-3)
    assert ground.verdict.tolist() == ["within uncertainty"]
    # corners are counted as surveyed anew where a name ends; edges that both draw are not
    assert ground.u_difference_m2[0] < 0.05 * 20 * 3
    together = change_spread_m2(changes, np.ones((1, 2)), np.ones((1, 3)))
    assert together[0] < 0.05 * 20 * 3


def test_two_surfaces_merged_and_made_larger():
    larger = shapely.box(-10, -10, 10, 11)
    old, new = survey(halves(), edge=0.05), survey([larger], ids=["whole"], edge=0.05)
    found, _, ground = grouped(old, new)
    assert [one.change for one in found] == ["merged"]
    assert ground.new_area_m2[0] - ground.old_area_m2[0] == pytest.approx(20.0, abs=1e-3)
    assert ground.gained_m2[0] == pytest.approx(20.0, abs=1e-3)
    assert ground.lost_m2[0] == pytest.approx(0.0, abs=1e-6)
    assert ground.verdict.tolist() == ["larger"]
    # what moved: 20 m of the old edge in two parts of 8 and 12 m, 22 m of the new one
    expected = 0.05 * math.hypot(math.hypot(8, 12), 22)
    assert ground.u_difference_m2[0] == pytest.approx(expected, rel=0.02)


def test_two_tees_between_which_the_line_moved_far_are_divided_anew():
    old = survey([shapely.box(0, 0, 10, 10), shapely.box(10, 0, 14, 10)])
    new = survey([shapely.box(0, 0, 4, 10), shapely.box(4, 0, 14, 10)], ids=["x", "y"])
    found, _, ground = grouped(old, new)
    assert [one.change for one in found] == ["divided anew"]
    assert ground.gained_m2[0] == pytest.approx(0.0, abs=1e-3)


def test_what_is_no_regrouping():
    """A tee within a tee, surfaces that lie as before, another kind on the same ground."""
    nested = [square(20), square(6, 3)]
    assert grouped(survey(nested), survey(nested))[0] == ()
    moved = survey([square(20, 4), square(12, 52)])
    assert grouped(survey([square(20), square(12, 50)]), moved)[0] == ()
    kinds = ["green", "tee"]
    assert grouped(survey([square(20)]), survey(halves(), kinds=kinds, ids=["a", "b"]))[0] == ()


def test_a_survey_that_is_shifted_as_a_whole():
    places = [(0, 0), (60, 10), (130, -20), (40, 90), (95, 70)]
    old = [square(20, x, y) for x, y in places]
    random = np.random.default_rng(4)
    new = [
        shapely.affinity.translate(shape, 0.8 + dx, -0.6 + dy)
        for shape, (dx, dy) in zip(old, random.normal(0, 0.05, (5, 2)), strict=True)
    ]
    new[2] = square(26, 137, -11)  # rebuilt elsewhere: it has no say
    first, second = survey(old), survey(new)
    offset = common_offset(first.geometry, second.geometry, PLANE)
    assert offset is not None and offset.surfaces == 5
    assert (offset.east_m, offset.north_m) == pytest.approx((0.8, -0.6), abs=0.1)
    assert common_offset(first.geometry, first.geometry, PLANE) is None
    scattered = survey([shapely.affinity.translate(s, *random.normal(0, 1, 2)) for s in old])
    assert common_offset(first.geometry, scattered.geometry, PLANE) is None


@pytest.mark.parametrize("count", [16, 100])
def test_u_of_a_shift_is_how_far_the_medians_of_such_surveys_scatter(count):
    """Against the scatter of medians of drawn shifts; the worse of two axes is a tenth more."""
    random = np.random.default_rng(11)
    old = [square(20, 60.0 * (k % 10), 60.0 * (k // 10)) for k in range(count)]
    told = []
    for _ in range(6):
        shifts = random.normal((1.0, 0.0), 0.1, (count, 2))
        new = [shapely.affinity.translate(s, *by) for s, by in zip(old, shifts, strict=True)]
        offset = common_offset(survey(old).geometry, survey(new).geometry, PLANE)
        assert offset is not None
        told.append(offset.u_m)
    medians = np.median(random.normal(0.0, 0.1, (4000, count)), axis=1)
    assert np.mean(told) / medians.std() == pytest.approx(1.1, abs=0.25)


@pytest.mark.parametrize("count", [1, 2])
def test_one_or_two_surfaces_that_keep_their_shape_are_shifted(count):
    """With so few their outlines tell: what was rebuilt has another shape."""
    old = [square(20), square(12, 60, 10)][:count]
    alike = [shapely.affinity.translate(shape, 0.5, 1.46) for shape in old]
    offset = common_offset(survey(old).geometry, survey(alike).geometry, PLANE)
    assert offset is not None and offset.surfaces == count and offset.u_m < 0.01
    assert (offset.east_m, offset.north_m) == pytest.approx((0.5, 1.46), abs=0.002)
    rebuilt = [shapely.affinity.scale(shape, 1.2, 0.9) for shape in alike]
    assert common_offset(survey(old).geometry, survey(rebuilt).geometry, PLANE) is None
    assert common_offset(survey(old).geometry, survey(old).geometry, PLANE) is None


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
