"""Surveys that divide the same ground in other ways, or lie shifted as a whole."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from geosand.areas.comparison import change_spread_m2, compare_regrouped, compare_surveys
from geosand.areas.edge_shifts import common_offset
from geosand.areas.pairing import pair_surveys, regroupings
from geosand.areas.register import area_register
from geosand.site.tables import Surfaces
from tests.areas.surveys import PLANE, square, survey


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
