"""Where surfaces meet: ground drawn twice, collars against their greens, empty holes; in m²."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from geosand.areas.audit import audit
from geosand.areas.ellipsoid import ellipsoid_areas_m2
from geosand.areas.meeting import nothing_owned
from geosand.areas.plane import Plane

PLANE = Plane(longitude_deg=-2.8001234567, latitude_deg=56.0001234567)


def square(x: float, y: float, side: float) -> shapely.Polygon:
    """A square about a place, in metres."""
    return shapely.box(x - side / 2, y - side / 2, x + side / 2, y + side / 2)


def ring(outer: float, inner: float, x: float = 0, y: float = 0) -> shapely.Polygon:
    return square(x, y, outer).difference(square(x, y, inner))


def told(column, *drawn, around=None, factor=None):
    """Remarks on (id, kind, shape in metres), by id and sort; decimals and sizes left out."""
    shapes = PLANE.to_lonlat(column(*(shape for _, _, shape in drawn)))
    ids = np.array([name for name, _, _ in drawn])
    kinds = np.array([kind for _, kind, _ in drawn])
    named = None
    if around is not None:
        named = np.array([ids.tolist().index(around[i]) if i in around else -1 for i in ids])
    remarks = audit(shapes, kinds, ids, around=named, factor=factor)
    skipped = ("few decimals", "unusual size")
    return {(str(ids[r.row]), r.sort): r for r in remarks if r.sort not in skipped}


def place(remark) -> shapely.Point:
    """Where a remark says it is, in metres; its text says the same."""
    lon, lat = remark.place
    assert f"at lon {lon:.7f}, lat {lat:.7f}" in remark.text
    return shapely.Point(*(float(c) for c in PLANE.forward(np.array(lon), np.array(lat))))


def test_gap_between_a_green_and_its_collar(column):
    """Green of 20 m, collar from 20.2 m on: 20.2² - 20² = 8.04 m² between them."""
    drawn = [("g", "green", square(0, 0, 20)), ("c", "collar", ring(22, 20.2))]
    (key, remark), *rest = told(column, *drawn, around={"c": "g"}).items()
    assert (key, rest) == (("c", "gap"), [])
    assert remark.size_m2 == pytest.approx(8.04, abs=1e-4)
    assert remark.severity == "finding"
    # a frame of 0.1 m: 2 · 8.04 over 4 · (20 + 20.2)
    assert remark.text.startswith(
        "there is a gap of 8.04 m², 0.10 m wide on average, between it and g at lon -2.8"
    )
    assert remark.mend == "gives the gap to the collar"
    assert ring(20.2, 20).contains(place(remark))


def test_a_collar_whose_green_was_moved_is_not_filled(column):
    """The green is 100 m off: the 20 m hole is no slip that a repair may close."""
    drawn = [("g", "green", square(100, 0, 20)), ("c", "collar", ring(22, 20))]
    remark = told(column, *drawn, around={"c": "g"})["c", "gap"]
    assert remark.size_m2 == pytest.approx(400, abs=0.01)
    assert "10.00 m wide on average" in remark.text and not remark.mend


def test_a_gap_stays_one_where_a_fairway_runs_on_beneath(column):
    drawn = [
        ("g", "green", square(0, 0, 20)),
        ("c", "collar", ring(22, 20.2)),
        ("f", "fairway", square(0, 0, 60)),
    ]
    assert told(column, *drawn, around={"c": "g"})["c", "gap"].size_m2 == pytest.approx(
        8.04, abs=1e-3
    )


def test_what_lies_on_top_fills_a_gap(column):
    bunker = shapely.box(10, -3, 12, 3)  # in the collar's hole beside the green
    hole = shapely.union(square(0, 0, 20), bunker)
    drawn = [
        ("g", "green", square(0, 0, 20)),
        ("c", "collar", square(0, 0, 26).difference(hole)),
        ("b", "bunker", bunker),
    ]
    assert told(column, *drawn, around={"c": "g"}) == {}


def test_collar_over_the_edge_of_its_green(column):
    """Collar from 19.9 m on over a green of 20 m: 20² - 19.9² = 3.99 m²."""
    drawn = [("g", "green", square(0, 0, 20)), ("c", "collar", ring(22, 19.9))]
    remark = told(column, *drawn, around={"c": "g"})["c", "edge overlap"]
    assert remark.size_m2 == pytest.approx(3.99, abs=1e-4)
    assert "it lies on g by 3.99 m²" in remark.text and "the green owns that ground" in remark.text
    assert ring(20, 19.9).contains(place(remark))


def test_a_collar_in_two_halves_about_its_green_of_two_parts(column):
    """Two greens of 20 m in one surface; the gap about one of them only, 8.04 m²."""
    greens = shapely.MultiPolygon([square(0, 0, 20), square(60, 0, 20)])
    collars = shapely.MultiPolygon([ring(22, 20), ring(22, 20.2, x=60)])
    drawn = [("g", "green", greens), ("c", "collar", collars)]
    (key, remark), *rest = told(column, *drawn, around={"c": "g"}).items()
    assert (key, rest) == (("c", "gap"), [])
    assert remark.size_m2 == pytest.approx(8.04, abs=1e-3)
    assert ring(20.2, 20, x=60).contains(place(remark))


def test_collar_as_a_filled_disc(column):
    drawn = [("g", "green", square(0, 0, 20)), ("c", "collar", square(0, 0, 22))]
    found = told(column, *drawn, around={"c": "g"})
    assert set(found) == {("c", "filled collar")}
    remark = found["c", "filled collar"]
    assert (remark.severity, remark.mend) == ("finding", "cuts g out of it")
    # 22² = 484 drawn, 484 - 400 = 84 of its own
    assert remark.text.startswith(
        "it is drawn as a filled disc over g: 484.0 m² drawn, 84.0 m² are the ring that it owns; at"
    )
    assert remark.size_m2 == pytest.approx(400, abs=1e-2)
    assert square(0, 0, 20).contains(place(remark))


def test_collar_without_a_name_for_its_green(column):
    greens = [("g1", "green", square(0, 0, 20)), ("g2", "green", square(60, 0, 20))]
    alone = told(column, *greens, ("c", "collar", ring(22, 20)))["c", "around"]
    assert alone.text == (
        "it names no surface that it is around; g1 is the only green that it touches"
    )
    assert alone.mend == "writes that it is around g1"
    both = told(column, *greens, ("c", "collar", shapely.box(10, -5, 50, 5)))["c", "around"]
    assert both.text.endswith("and touches 2 greens (g1, g2)") and not both.mend
    none = told(column, *greens, ("c", "collar", square(200, 0, 9)))["c", "around"]
    assert none.text.endswith("and there is no green within 0.5 m")


def test_collar_that_does_not_reach_its_green(column):
    crescent = shapely.box(10.2, -5, 14, 5)
    drawn = [("g", "green", square(0, 0, 20)), ("c", "collar", crescent)]
    remark = told(column, *drawn, around={"c": "g"})["c", "apart"]
    assert remark.text == "it does not touch g, which it is around: 0.20 m apart"


def test_nearly_the_same_twice(column):
    """A square of 20 m moved by 0.1 m: 99.5 % in common, 2 · 20 · 0.1 = 4 m² not."""
    drawn = [("a", "green", square(0, 0, 20)), ("b", "green", square(0.1, 0, 20))]
    remark = told(column, *drawn)["b", "nearly the same"]
    assert remark.severity == "fault" and remark.other == 0
    assert remark.size_m2 == pytest.approx(4.0, abs=1e-4)
    assert remark.text.startswith(
        "it is nearly the same polygon as a: 99.5 % of the ground is common, 4.00 m² are not"
    )
    assert square(0, 0, 20).contains(place(remark))
    # of two kinds as well
    other = [drawn[0], ("b", "lawn", drawn[1][2])]
    assert ("b", "nearly the same") in told(column, *other)


@pytest.mark.parametrize(("shift", "same"), [(0.39, True), (0.41, False)])
def test_where_nearly_ends(column, shift, same):
    """98 % of the larger: a square of 20 m moved by up to 0.4 m."""
    drawn = [("a", "green", square(0, 0, 20)), ("b", "green", square(shift, 0, 20))]
    found = told(column, *drawn)
    assert (("b", "nearly the same") in found) == same
    assert (("a", "overlap") in found or ("b", "overlap") in found) != same


def test_overlap_of_two_of_a_kind(column):
    """20 m and 10 m squares that share 5 m · 10 m."""
    drawn = [("big", "tee", square(0, 0, 20)), ("small", "tee", square(10, 0, 10))]
    remark = told(column, *drawn)["big", "overlap"]
    assert remark.size_m2 == pytest.approx(50, abs=1e-3)
    assert "it overlaps small, which is of the kind tee too, by 50.0 m²" in remark.text
    fairway = [("f", "fairway", square(0, 0, 80)), ("g", "green", square(0, 0, 20))]
    assert told(column, *fairway) == {}  # the rule, not the exception
    woods = [("w", "other", square(0, 0, 80)), ("r", "other", square(0, 0, 20))]
    assert told(column, *woods) == {}


def test_holes_with_and_without_a_surface(column):
    holed = square(0, 0, 40).difference(square(0, 0, 10)).difference(square(12, 12, 0.5))
    remarks = told(column, ("l", "lawn", holed))
    assert remarks["l", "hole"].size_m2 == pytest.approx(100, abs=1e-3)
    assert remarks["l", "tiny hole"].size_m2 == pytest.approx(0.25, abs=1e-4)
    assert remarks["l", "tiny hole"].mend == "fills it"
    assert not remarks["l", "hole"].mend
    partly = told(column, ("l", "lawn", holed), ("b", "pitch", square(0, 0, 4)))
    assert "hole that no surface fills, 100.0 m²" in partly["l", "hole"].text
    filled = told(column, ("l", "lawn", holed), ("b", "bunker", square(0, 0, 10)))
    assert set(filled) == {("l", "tiny hole")}


def test_sizes_are_on_the_ground(column):
    """1 % more ground than on the ellipsoid: 8.04 m² of gap become 8.12."""
    drawn = [("g", "green", square(0, 0, 20)), ("c", "collar", ring(22, 20.2))]
    remark = told(column, *drawn, around={"c": "g"}, factor=np.array([1.01, 1.01]))["c", "gap"]
    assert remark.size_m2 == pytest.approx(8.04 * 1.01, abs=1e-4)


def test_no_ground_of_its_own(column):
    shapes = PLANE.to_lonlat(column(square(0, 0, 10), square(0, 0, 20), square(90, 0, 20)))
    kinds = np.array(["lawn", "green", "lawn"])
    (remark,) = nothing_owned(shapes, kinds, np.array([1.02, 1.0, 1.0]))
    assert (remark.row, remark.severity) == (0, "fault")
    assert remark.text.startswith("it owns no ground: other surfaces lie on all of it (102.0 m²")


def test_a_house_on_a_lawn_is_told_and_asks_for_no_decision(column):
    """Map data have houses and woods on grass; the lawn counts too much, but nothing is lost."""
    shapes = PLANE.to_lonlat(column(square(0, 0, 10), square(0, 0, 40)))
    (remark,) = nothing_owned(shapes, np.array(["other", "lawn"]), np.ones(2))
    assert (remark.row, remark.severity) == (0, "finding")
    assert remark.text.endswith("; what is there counts as theirs")
    assert remark.remedy == "cut it out of them if it is none of theirs"


def test_many_collars_are_looked_at_at_once(column):
    """2,000 greens with collars: the one gap among them is found, in seconds."""
    x, y = np.divmod(np.arange(2000), 45)
    greens = [square(80.0 * i, 80.0 * j, 20) for i, j in zip(x, y, strict=True)]
    collars = [ring(22, 20, 80.0 * i, 80.0 * j) for i, j in zip(x, y, strict=True)]
    collars[777] = ring(22, 20.2, 80.0 * x[777], 80.0 * y[777])
    shapes = PLANE.to_lonlat(column(*greens, *collars))
    kinds = np.array(["green"] * 2000 + ["collar"] * 2000)
    ids = np.array([f"s{k}" for k in range(4000)])
    around = np.concatenate([np.full(2000, -1), np.arange(2000)])
    remarks = [r for r in audit(shapes, kinds, ids, around=around) if r.sort == "gap"]
    assert [r.row for r in remarks] == [2777]
    whole = ellipsoid_areas_m2(shapes[[2777]])[0]
    assert remarks[0].size_m2 + whole == pytest.approx(84, abs=0.01)
