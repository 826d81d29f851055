"""Packed outlines: against the published example of the scheme, and there and back."""

import numpy as np
import pytest
import shapely

from geosand.mapping.shapes import (
    PER_DEGREE,
    encode_rings,
    metres_scale,
    pack,
    poles_of,
    svg_paths,
    thin_rings,
)
from tests.mapping.sample_view import sample_view


def test_encoding_agrees_with_the_published_example():
    # "Encoded Polyline Algorithm Format", developers.google.com: (38.5, -120.2), (40.7, -120.95),
    # (43.252, -126.453) at 1e-5 degree
    corners = np.array([[3850000, -12020000], [4070000, -12095000], [4325200, -12645300]])
    example = "_p~iF~ps|U_ulLnnqC_mqNvxq`@"
    assert encode_rings(corners, np.array([3])) == [example]
    assert encode_rings(np.tile(corners, (2, 1)), np.array([3, 3])) == [example, example]


def decode(text):
    """The scheme read back, character by character."""
    values, value, shift = [], 0, 0
    for letter in text:
        part = ord(letter) - 63
        value |= (part & 31) << shift
        shift += 5
        if part < 32:
            values.append(~(value >> 1) if value & 1 else value >> 1)
            value = shift = 0
    return np.cumsum(np.array(values).reshape(-1, 2), axis=0)


def unpacked(packed, index):
    """The polygon number ``index`` in degrees."""
    origin = np.array(packed.origin)
    polygons = [
        [(decode(packed.pool[ring]) + origin) / PER_DEGREE for ring in polygon]
        for polygon in packed.shapes[index]
    ]
    return shapely.MultiPolygon([(rings[0], rings[1:]) for rings in polygons])


def test_outlines_come_back_within_the_picture_tolerance():
    view = sample_view()
    shapes = [s.geometry for s in view.surfaces] + [r.geometry for r in view.rings]
    packed = pack(shapes)
    scale = metres_scale(51.73)
    for index, shape in enumerate(shapes):
        there, back = (
            shapely.transform(s, lambda p: p * scale) for s in (shape, unpacked(packed, index))
        )
        assert shapely.hausdorff_distance(there.boundary, back.boundary) < 0.05
        rings = [len(shapely.get_rings(shapely.get_parts(s))) for s in (there, back)]
        assert rings[0] == rings[1]


@pytest.mark.parametrize("gap", [0.003, 0.006, 0.01])
def test_a_neck_narrower_than_the_tolerance_does_not_part_the_outline(gap):
    """Two lawns joined by a path of some millimetres, whose sides wander by 12 mm."""
    x = np.linspace(10, 30, 81)
    low = 5 + 0.012 * np.sin(3 * x)
    up = low + gap + 0.004 * np.random.default_rng(0).random(81)
    west, east = [(10, 10), (0, 10), (0, 0), (10, 0)], [(30, 0), (40, 0), (40, 10), (30, 10)]
    path = zip(x, low, strict=True), zip(x[::-1], up[::-1], strict=True)
    outline = shapely.normalize(np.array([shapely.Polygon([*west, *path[0], *east, *path[1]])]))
    corners, _ = thin_rings(outline, scale=np.ones(2), tolerance_m=np.array([0.02]))
    drawn = shapely.Polygon(corners)
    assert shapely.hausdorff_distance(drawn.exterior, outline[0].exterior, densify=0.05) < 0.05
    assert drawn.area == pytest.approx(outline[0].area, rel=2e-3)


def test_a_shared_boundary_is_kept_once():
    inner = shapely.Point(-2.2, 51.7).buffer(2e-4, quad_segs=16)
    ring = shapely.Polygon(inner.buffer(1e-5).exterior, [inner.exterior])
    packed = pack([inner, ring])
    assert len(packed.pool) == 2
    assert packed.shapes[1][0][1] == packed.shapes[0][0][0]


def test_empty_and_many_part_shapes_keep_their_place():
    parts = shapely.MultiPolygon([shapely.box(0, 0, 1e-4, 1e-4), shapely.box(2e-4, 0, 3e-4, 1e-4)])
    packed = pack([shapely.Polygon(), parts])
    assert packed.shapes[0] == []
    assert len(packed.shapes[1]) == 2
    assert pack([]).pool == []


def test_still_picture_has_north_up_and_true_proportions():
    west, east_north = (
        shapely.box(0, 51.7, 1e-4, 51.7001),
        shapely.box(3e-4, 51.7004, 4e-4, 51.7005),
    )
    paths, width, height = svg_paths([west, east_north], width=1000, tolerance=0)
    assert max(width, height) == pytest.approx(1000, abs=1)
    # 4e-4 degree east against 5e-4 degree north at this latitude
    assert width / height == pytest.approx(0.8 * np.cos(np.radians(51.70025)), rel=2e-3)
    top = [int(path[1:].split("l")[0].split()[1]) for path in paths]
    assert top[1] < top[0]


def test_poles_lie_as_far_from_the_edge_as_closed_forms_say():
    """Half the short side of a rectangle; half the width of a ring; the middle of a disc."""
    scale = metres_scale(51.7)
    metres = [
        shapely.box(0, 0, 30, 12),
        shapely.Point(100, 0).buffer(10, quad_segs=32),
        shapely.Point(200, 0).buffer(11).difference(shapely.Point(200, 0).buffer(10)),
        shapely.MultiPolygon([shapely.box(300, 0, 302, 2), shapely.box(310, 0, 330, 20)]),
    ]
    shapes = [shapely.transform(m, lambda p: p / scale + [-2.2, 51.7]) for m in metres]
    poles, radii = poles_of([*shapes, shapely.Polygon()])
    assert radii == pytest.approx([6, 10, 0.5, 10, 0], rel=0.06)
    for pole, shape in zip(poles, shapes, strict=False):
        assert shape.contains(shapely.Point(pole))
    middle = (poles[1] - [-2.2, 51.7]) * scale
    assert middle == pytest.approx([100, 0], abs=0.6)


def test_without_surfaces_there_are_no_poles():
    poles, radii = poles_of([])
    assert (poles.shape, radii.shape) == ((0, 2), (0,))
