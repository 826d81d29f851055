"""What a repair does to each sort of fault, in square metres known by hand."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from geosand.areas.audit import audit
from geosand.areas.ellipsoid import ellipsoid_areas_m2
from geosand.areas.plane import Plane
from geosand.areas.repair import repair

PLANE = Plane(longitude_deg=-2.8001234567, latitude_deg=56.0001234567)


def square(x: float, y: float, side: float) -> shapely.Polygon:
    return shapely.box(x - side / 2, y - side / 2, x + side / 2, y + side / 2)


def repaired(column, *drawn, around=None, **wishes):
    """(id, kind, shape in metres) repaired: the result and its areas in m²."""
    shapes = PLANE.to_lonlat(column(*(shape for _, _, shape in drawn)))
    ids = np.array([name for name, _, _ in drawn])
    kinds = np.array([kind for _, kind, _ in drawn])
    named = np.array([ids.tolist().index(around[i]) if i in (around or {}) else -1 for i in ids])
    done = repair(shapes, kinds, ids, named, **wishes)
    left = [r for r in audit(done.geometry[done.kept], kinds[done.kept], ids[done.kept],
                             around=_among(done)) if r.mend]  # fmt: skip
    assert left == []  # a second look finds nothing more to mend
    return done, ellipsoid_areas_m2(done.geometry)


def _among(done):
    place = np.full(len(done.kept) + 1, -1)
    place[np.flatnonzero(done.kept)] = np.arange(int(done.kept.sum()))
    return place[done.around[done.kept]]


def test_nothing_wrong_nothing_done(column):
    drawn = [("g", "green", square(0, 0, 20)), ("f", "fairway", square(0, 0, 90))]
    done, _ = repaired(column, *drawn)
    assert done.mends == () and done.kept.all()


@pytest.mark.parametrize(
    ("method", "area"), [("loops", 200), ("even-odd", 200), ("largest", 100), ("uncrossed", 400)]
)
def test_bow_tie_by_each_method(column, method, area):
    bow = shapely.Polygon([(0, 0), (20, 20), (20, 0), (0, 20)])
    done, areas = repaired(column, ("b", "tee", bow), crossings=method)
    assert areas[0] == pytest.approx(area, rel=1e-6)
    (mend,) = done.mends
    assert mend.after_m2 == pytest.approx(area, rel=1e-6)
    assert mend.before_m2 == pytest.approx(0, abs=1e-3)  # the two loops run against each other


def test_repeats_spikes_slivers_and_tiny_holes(column):
    corners = shapely.get_coordinates(square(0, 0, 20))[:-1]
    corners = np.repeat(corners, [1, 3, 1, 1], axis=0)
    corners = np.insert(corners, 5, [(-10.0, 0.1), (-40.0, 0.05), (-10.0, 0.0)], axis=0)
    body = shapely.Polygon(corners, [square(3, 3, 0.5).exterior.coords[::-1]])
    shape = shapely.MultiPolygon([body, square(30, 0, 0.4)])
    done, areas = repaired(column, ("g", "lawn", shape))
    (mend,) = done.mends
    did = {"repeated vertices deleted", "spikes deleted", "slivers deleted", "tiny holes filled"}
    assert set(mend.text.split("; ")) == did
    assert areas[0] == pytest.approx(400, abs=1e-3)
    # before: 400 + spike 30 · 0.1 / 2 - hole 0.25 + sliver 0.16
    assert mend.before_m2 == pytest.approx(400 + 1.5 - 0.25 + 0.16, abs=1e-3)


def test_duplicates_and_slivers_are_deleted_and_collars_follow(column):
    ring = square(0, 0, 22).difference(square(0, 0, 20))
    drawn = [
        ("a", "green", square(0, 0, 20)),
        ("b", "green", square(0.1, 0, 20)),
        ("c", "green", square(0, 0, 20)),
        ("s", "bunker", square(50, 0, 0.3)),
        ("k", "collar", ring),
    ]
    done, _ = repaired(column, *drawn, around={"k": "c"})
    assert done.kept.tolist() == [True, False, False, False, True]
    assert done.around.tolist()[-1] == 0  # the green that is kept
    texts = {mend.row: mend.text for mend in done.mends}
    assert texts[1] == texts[2] == "deleted by the repair, a is kept"
    assert texts[3] == "deleted by the repair"
    assert {mend.row: mend.after_m2 for mend in done.mends}[1] == 0


@pytest.mark.parametrize("inner", [20.2, 19.9, 0.0])
def test_collars_end_at_their_green(column, inner):
    """With a gap, over the edge, or filled: 22² - 20² = 84 m² are left."""
    outline = square(0, 0, 22)
    collar = outline.difference(square(0, 0, inner)) if inner else outline
    drawn = [("g", "green", square(0, 0, 20)), ("c", "collar", collar)]
    done, areas = repaired(column, *drawn, around={"c": "g"})
    assert areas == pytest.approx([400, 84], abs=1e-3)
    (mend,) = done.mends
    assert mend.row == 1
    assert mend.before_m2 == pytest.approx(22**2 - inner**2, abs=1e-3)
    common = shapely.intersection(done.geometry[0], done.geometry[1])
    assert shapely.area(common) == pytest.approx(0, abs=1e-18)


def test_a_collar_in_two_halves_keeps_both(column):
    """A ring 1 m wide with two openings of 2 m, drawn 10 cm over its green."""
    halves = square(0, 0, 22).difference(square(0, 0, 19.8)).difference(shapely.box(-12, -1, 12, 1))
    drawn = [("g", "green", square(0, 0, 20)), ("c", "collar", halves)]
    _, areas = repaired(column, *drawn, around={"c": "g"})
    assert areas == pytest.approx([400, 84 - 4], abs=1e-3)


def test_a_collar_keeps_its_green_among_others_where_rows_before_it_are_deleted(column):
    """It touches h as well: only its own word tells that the gap about g is to be closed."""
    drawn = [
        ("s", "bunker", square(90, 0, 0.3)),
        ("h", "green", square(21, 0, 20)),
        ("g", "green", square(0, 0, 20)),
        ("c", "collar", square(0, 0, 22).difference(square(0, 0, 20.2))),
    ]
    done, areas = repaired(column, *drawn, around={"c": "g"})
    assert done.kept.tolist() == [False, True, True, True]
    assert done.around.tolist() == [-1, -1, -1, 2]
    assert areas[1:] == pytest.approx([400, 400, 84], abs=1e-3)


def test_a_collar_gets_its_green(column):
    ring = square(0, 0, 22).difference(square(0, 0, 20))
    done, _ = repaired(column, ("g", "green", square(0, 0, 20)), ("c", "collar", ring))
    assert done.around.tolist() == [-1, 0]
    assert [mend.text for mend in done.mends] == ["named as around g"]


def test_areas_are_on_the_ground(column):
    bow = shapely.Polygon([(0, 0), (20, 20), (20, 0), (0, 20)])
    done, _ = repaired(column, ("b", "tee", bow), factor=np.array([1.01]))
    assert done.mends[0].after_m2 == pytest.approx(202, rel=1e-6)


@pytest.mark.parametrize("seed", range(15))
def test_random_tangles_come_out_valid(column, seed):
    rng = np.random.default_rng(seed)
    tangles = [
        shapely.Polygon(rng.uniform(0, 40, (10, 2)) + np.array([60 * k, 0])) for k in range(4)
    ]
    drawn = [(f"s{k}", "lawn", shape) for k, shape in enumerate(tangles)]
    for method in ("loops", "even-odd", "largest", "uncrossed"):
        shapes = PLANE.to_lonlat(column(*tangles))
        ids, kinds = np.array([d[0] for d in drawn]), np.array([d[1] for d in drawn])
        done = repair(shapes, kinds, ids, np.full(4, -1), crossings=method)
        changed = [mend.row for mend in done.mends]
        assert shapely.is_valid(done.geometry[changed]).all()
