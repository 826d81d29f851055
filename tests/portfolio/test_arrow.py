"""Geometries as well-known binary, against GEOS and against the bytes of the standard."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pytest
import shapely

from geosand.portfolio.arrow import well_known_binary

DISC = shapely.Point(8.5, 47.1).buffer(3e-4)
RING = DISC.buffer(1e-5).difference(DISC)
KINDS = {
    "disc": DISC,
    "ring": RING,
    "two holes": shapely.box(0, 0, 9, 9).difference(
        shapely.union_all(shapely.box([1, 5], [1, 5], [2, 7], [2, 6]))
    ),
    "two parts": shapely.union_all([shapely.box(0, 0, 1, 1), RING]),
    "one part": shapely.multipolygons([DISC]),
    "empty": shapely.Polygon(),
    "height": shapely.force_3d(DISC, 7.0),
    "none": None,
    "point": shapely.Point(8.5, 47.1),
}


def test_a_triangle_is_the_bytes_of_the_standard() -> None:
    """OGC 06-103r4, 8.2.7: byte order, type, rings, corners, and x and y of each (IEEE 754)."""
    (written,) = well_known_binary(np.array([shapely.Polygon([(0, 0), (1, 0), (0, 2)])]))
    nil, one, two = "00" * 8, "000000000000f03f", "0000000000000040"
    corners = [nil, nil, one, nil, nil, two, nil, nil]
    assert written.as_py().hex() == "01030000000100000004000000" + "".join(corners)


@pytest.mark.parametrize("names", [[name] for name in KINDS] + [[], ["disc", "ring"], list(KINDS)])
def test_all_kinds_are_as_geos_writes_them(names: list[str]) -> None:
    shapes = np.array([KINDS[name] for name in [*names, *reversed(names)]], dtype=object)
    written = well_known_binary(shapes)
    assert written.type == pa.binary()
    assert written.to_pylist() == shapely.to_wkb(shapes).tolist()
