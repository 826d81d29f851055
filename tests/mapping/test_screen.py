"""Boxes and outlines on the screen, held against Shapely's geometry on random ones."""

import json

import numpy as np
import pytest
import shapely

pytestmark = pytest.mark.browser

#: Each case by a function of the page's own script, a box as [left, top, right, bottom].
ASKED = """(cases) => { const { apart, touches, upon, gap, grown } = geosand.screen;
  const told = { apart, touches, upon, gap, grown };
  return cases.map(([name, ...given]) => told[name](...given)); }"""


def blob(random, spread):
    """A ring that does not cross itself, as the page has rings: the first corner once."""
    turns = np.sort(random.uniform(0, 2 * np.pi, 9))
    radius = random.uniform(0.3, 1.0, 9) * spread
    x, y = random.uniform(-40, 40, 2)
    return np.column_stack([x + radius * np.cos(turns), y + radius * np.sin(turns)])


def shapes(random, count):
    """Outlines, every other one with a hole, as Shapely and as the page has them."""
    for k in range(count):
        rings = [blob(random, 60.0)]
        if k % 2:
            middle = rings[0].mean(axis=0)
            rings.append(middle + 0.3 * (rings[0] - middle))
        area = shapely.Polygon(rings[0], rings[1:])
        if not area.is_valid:
            continue
        told = [[{"x": x, "y": y} for x, y in ring.tolist()] for ring in rings]
        yield area, {"rings": told, "box": list(area.bounds)}


def boxes(random, count):
    low = random.uniform(-110, 100, (count, 2))
    return np.hstack([low, low + random.uniform(0.5, 45, (count, 2))]).tolist()


def test_boxes_and_outlines_meet_as_in_shapely(open_page):
    random = np.random.default_rng(7)
    cases, wanted = [], []
    for area, told in shapes(random, 60):
        for one in boxes(random, 40):
            box = shapely.box(*one)
            cases += [["touches", told, one], ["upon", told, one]]
            wanted += [area.intersects(box), area.contains_properly(box)]
            if not area.intersects(box):
                cases.append(["gap", told, one])
                wanted.append(pytest.approx(area.distance(box), abs=1e-9))
    for one, other in zip(boxes(random, 300), boxes(random, 300), strict=True):
        cases.append(["apart", one, other])
        wanted.append(not shapely.box(*one).intersects(shapely.box(*other)))
    names = [name for name, *_ in cases]
    assert min(sum(w is True for w, n in zip(wanted, names, strict=True) if n == k)
               for k in ("touches", "upon", "apart")) > 30  # fmt: skip
    assert open_page().evaluate(ASKED, cases) == wanted


def test_circles_and_edges_along_boxes(open_page):
    at, radius = {"x": 3.0, "y": -4.0}, 10.0
    circle = {"at": at, "radius": radius, "box": [-7, -14, 13, 6]}
    random = np.random.default_rng(8)
    point, cases, wanted = shapely.Point(3.0, -4.0), [], []
    for one in (random.uniform(-25, 20, (200, 2)) @ np.hstack([np.eye(2)] * 2)).tolist():
        one[2:] = [one[2] + 3.0, one[3] + 2.0]
        away = point.distance(shapely.box(*one))
        cases += [["touches", circle, one], ["gap", circle, one]]
        wanted += [away <= radius, pytest.approx(max(away - radius, 0.0), abs=1e-9)]
    # edges that run along a side of the box, and corners drawn twice
    square = [{"x": x, "y": y} for x, y in ((0, 0), (20, 0), (20, 0), (20, 20), (0, 20))]
    plain = {"rings": [square], "box": [0, 0, 20, 20]}
    cases += [["upon", plain, [5, 5, 9, 9]], ["upon", plain, [5, 0, 9, 9]]]
    cases += [["touches", plain, [20, 5, 25, 9]], ["touches", plain, [5, -9, 9, -3]]]
    cases += [["gap", plain, [23, 24, 30, 30]], ["gap", plain, [6, 26, 9, 30]]]
    hole = [{"x": x, "y": y} for x, y in ((4, 4), (16, 4), (16, 16), (4, 16))]
    ring = {"rings": [square, hole], "box": [0, 0, 20, 20]}
    cases += [["touches", ring, [7, 7, 12, 12]], ["upon", ring, [7, 7, 12, 12]]]
    cases += [["gap", ring, [7, 6, 12, 12]], ["grown", [1, 2, 3, 4], 5]]
    wanted += [True, False, True, False, 5.0, 6.0, False, False, 2.0, [-4, -3, 8, 9]]
    assert open_page().evaluate(ASKED, cases) == wanted


def test_neighbours_are_found_by_their_squares(open_page):
    """As many as are found by looking at all; two squares far apart are never one."""
    random = np.random.default_rng(9)
    things = (np.array(boxes(random, 120)) * 6).tolist()
    asked = (np.array(boxes(random, 200)) * 6).tolist()
    found = open_page().evaluate(
        """([things, asked]) => { const { squares, apart } = geosand.screen, held = squares();
        things.forEach((box, k) => held.add(box, { box, k }));
        return asked.map((box) => things.map((_, k) => k)
          .filter((k) => held.some(box, (thing) => thing.k === k && !apart(thing.box, box)))); }""",
        json.loads(json.dumps([things, asked])),
    )
    all_of = shapely.box(*np.array(things).T)
    wanted = [
        np.flatnonzero(shapely.intersects(all_of, shapely.box(*one))).tolist() for one in asked
    ]
    assert found == wanted
    looked_at = open_page().evaluate(
        """() => { const held = geosand.screen.squares(), seen = [];
        [[0, 0, 5, 5], [400, 0, 405, 5], [400, 400, 405, 405]]
          .forEach((box, k) => held.add(box, k));
        held.some([401, 1, 402, 2], (k) => { seen.push(k); return false; }); return seen; }"""
    )
    assert looked_at == [1]
