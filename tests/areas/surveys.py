"""Surveys of invented surfaces in metres, and two of them compared."""

from __future__ import annotations

import numpy as np
import shapely

from geosand.areas.comparison import compare_surveys
from geosand.areas.pairing import pair_surveys
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
