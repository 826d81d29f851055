"""Out of whatever was drawn: its polygons, and why the rest is no surface."""

from __future__ import annotations

from collections import Counter
from typing import Any

import numpy as np
import shapely

from geosand.columns import Geometries
from geosand.formats.boundaries.drawn import MAXIMUM_RING
from geosand.site.outlines import FARTHEST_DEGREE


def polygon_parts(shape: Any) -> tuple[Any, Counter[str]]:
    """The polygons of any geometry as one Polygon or MultiPolygon (None without), and what else."""
    parts = [shape]
    polygons: list[Any] = []
    rest: Counter[str] = Counter()
    while parts:
        part = parts.pop()
        if part.is_empty:
            continue
        if part.geom_type in ("MultiPolygon", "GeometryCollection"):
            parts += reversed(part.geoms)
        elif part.geom_type == "Polygon":
            polygons.append(part)
        elif part.geom_type.startswith("Multi"):
            rest[_word(part.geom_type[5:])] += len(part.geoms)
        else:
            rest[_word(part.geom_type)] += 1
    if not polygons:
        return None, rest
    return polygons[0] if len(polygons) == 1 else shapely.multipolygons(polygons), rest


def _word(geom_type: str) -> str:
    return "point" if geom_type == "Point" else "line"


def counted(rest: Counter[str]) -> str:
    """``2 points and 1 line``."""
    return " and ".join(
        f"{n} {word}{'s' * (n > 1)}" for word, n in sorted(rest.items(), reverse=True)
    )


def ring_problem(polygon: Any) -> str:
    """Why a polygon in lon/lat can not be a surface; "" where it can. Nothing is mended."""
    if shapely.get_num_coordinates(polygon) > MAXIMUM_RING:
        count = shapely.get_num_coordinates(polygon)
        return f"it has {count:,} vertices; at most {MAXIMUM_RING:,} are read"
    if not np.isfinite(shapely.get_coordinates(polygon)).all():
        return "a coordinate is not finite"
    if shapely.is_valid(polygon):
        return "" if shapely.area(polygon) > 0 else "it has no area"
    reason = str(shapely.is_valid_reason(polygon))
    name, _, place = reason.partition("[")
    lon, _, lat = place.rstrip("]").partition(" ")
    where = f" at lon {float(lon):.7f}, lat {float(lat):.7f}" if lat else ""
    if name.startswith("Too few points"):
        return f"a ring has fewer than three corners{where}"
    return f"its outline crosses or touches itself ({name.lower()}){where}"


def far_from_others(geometry: Geometries) -> list[int]:
    """Rows that lie more than a degree from where most lie; none where there are fewer than 3.

    None where half of them do, either: the file is of a country, which is told of the whole site.
    """
    if len(geometry) < 3:
        return []
    bounds = shapely.bounds(geometry)
    centre = (bounds[:, :2] + bounds[:, 2:]) / 2
    away = np.abs(centre - np.median(centre, axis=0)).max(axis=1)
    rows: list[int] = np.flatnonzero(away > FARTHEST_DEGREE).tolist()
    return rows if 2 * len(rows) < len(geometry) else []
