"""Drawn against owned ground of surfaces as they will be written."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from geosand.areas.ellipsoid import ellipsoid_areas_m2
from geosand.areas.ground import ground_factor
from geosand.areas.ownership import owned_geometries
from geosand.columns import Floats
from geosand.formats.boundaries.place.antimeridian import on_one_side
from geosand.formats.boundaries.sites.surfaces_file import SurfaceRow

DIFFERENCE_M2 = 0.5  #: drawn and owned areas closer than this are not worth a line


def ground_by_kind(
    rows: Sequence[SurfaceRow], elevation_m: float = float("nan")
) -> list[tuple[str, int, float, float]]:
    """Kind, surfaces, drawn and owned ground (m²), of kinds where the two differ.

    Of the surfaces as they will be written.
    """
    shapes = on_one_side(np.array([row.geometry for row in rows], dtype=object))
    kinds = np.array([str(row.properties["kind"]).lower() for row in rows], dtype=np.str_)
    factor = factor_of(rows, elevation_m)
    owned = owned_geometries(shapes, kinds, np.zeros(len(rows), dtype=np.int64))
    drawn_m2, owned_m2 = (ellipsoid_areas_m2(g) * factor for g in (shapes, owned))
    found = []
    for kind in dict.fromkeys(kinds.tolist()):
        mine = kinds == kind
        both = float(drawn_m2[mine].sum()), float(owned_m2[mine].sum())
        if both[0] - both[1] > DIFFERENCE_M2:
            found.append((kind, int(mine.sum()), *both))
    return found


def factor_of(rows: Sequence[SurfaceRow], elevation_m: float) -> Floats:
    """Ground over ellipsoid area of each row."""
    heights = [row.properties.get("elevation_m", elevation_m) for row in rows]
    slopes = [row.properties.get("slope_percent", 0.0) for row in rows]
    return ground_factor(_numbers(heights), _numbers(slopes) / 100)


def _numbers(cells: list[Any]) -> Floats:
    good = [c if isinstance(c, (int, float)) and not isinstance(c, bool) else np.nan for c in cells]
    return np.array(good, dtype=np.float64)
