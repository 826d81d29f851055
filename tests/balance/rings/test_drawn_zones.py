"""Zones of overthrow as they are drawn."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

from geosand.balance.rings import drawing as ring_drawing
from geosand.balance.rings.throw_off import throw_off
from tests.balance.rings.thrown import RASTER, blob, drawn, kidney, spread


def test_a_surface_wholly_under_others_changes_no_zone() -> None:
    """It owns no ground: nothing is thrown over its edge, and what lies round it is drawn."""
    shapes = [blob(0, 0, 12), blob(25.5, 0, 12)]
    given = spread(shapes, 400.0)
    result = throw_off(**given)
    alone = drawn(result, given)
    more = spread([shapes[0], shapely.Polygon(), shapes[1]], 400.0)
    bare = throw_off(**more)
    assert bare.collar_kg[1] == bare.perimeter_m[1] == 0
    np.testing.assert_array_equal(bare.surrounds_kg[[0, 2]], result.surrounds_kg)
    zones = drawn(bare, more)
    for zone, before in ((zones.collar, alone.collar), (zones.surrounds, alone.surrounds)):
        assert zone[1] is None
        assert shapely.equals_exact(zone[[0, 2]], before, 0.0).all()


def test_ground_of_strips_that_end_at_their_edge_is_no_line(monkeypatch: Any) -> None:
    """Between a dressed collar and its dressed green there is none: GEOS can not cut by a mixture
    of areas, lines and points."""
    found, own_ground = [], ring_drawing._own_ground

    def told(*arguments: Any) -> Any:
        grounds = own_ground(*arguments)
        found.extend(grounds)
        return grounds

    monkeypatch.setattr(ring_drawing, "_own_ground", told)
    green = blob(0, 0, 12)
    given = spread([green, blob(0, 0, 13.4).difference(green), blob(31, 0, 12)], 400.0)
    zones = drawn(throw_off(**given), given)
    assert {ground.geom_type for ground in found} == {"MultiPolygon"}
    assert zones.surrounds[1] is not None
    assert zones.surrounds[2] is not None


def test_holes_and_parts_are_drawn_as_far_as_their_own_ground_goes() -> None:
    """Two holes narrower than their ring, a wide one with a part of the same surface in it, and a
    neighbour."""
    holes = [shapely.box(-9, -1, -7, 0), shapely.box(-9, 2, -7, 3)]
    lawn = shapely.box(-12, -12, 12, 12).difference(shapely.union_all([*holes, blob(3, 0, 8)]))
    given = spread([shapely.union(lawn, blob(3, 0, 1.5)), shapely.box(14, -12, 20, 12)], 150.0)
    result = throw_off(**given)
    zones = drawn(result, given)
    np.testing.assert_allclose(shapely.area(zones.collar), result.collar_area_m2, rtol=RASTER)
    np.testing.assert_allclose(shapely.area(zones.surrounds), result.surrounds_area_m2, rtol=RASTER)
    beyond = np.array([shapely.box(13.01, -12, 40, 12), shapely.box(-40, -12, 12.99, 12)])
    for zone in (zones.collar, zones.surrounds):
        assert shapely.area(shapely.intersection(zone, beyond)).max() < 1e-3


def test_drawn_zones_have_the_areas_and_keep_apart() -> None:
    green = blob(0, 0, 12)
    shapes = [green, blob(25.5, 0, 12), shapely.box(-3, -30, 5, -13), kidney()]
    shapes[3] = shapely.affinity.translate(shapes[3], 10, 26)
    collars = [blob(0.3, 0, 13.4).difference(green), None, None, None]
    given = spread(shapes, 400.0, collars=collars)
    result = throw_off(**given)
    zones = drawn(result, given)
    np.testing.assert_allclose(shapely.area(zones.collar), result.collar_area_m2, rtol=RASTER)
    np.testing.assert_allclose(shapely.area(zones.surrounds), result.surrounds_area_m2, rtol=RASTER)
    every = np.concatenate((zones.collar, zones.surrounds, given["surfaces"]))
    assert shapely.is_valid(every).all()
    overlap = shapely.area(every).sum() - shapely.area(shapely.union_all(every))
    assert overlap < 0.002 * shapely.area(every).sum()
