"""Outlines that are no surfaces as they are, but could be; and what is written otherwise."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from geosand.columns import Geometries
from geosand.formats.boundaries.drawn import MAXIMUM_RING, Drawn

if TYPE_CHECKING:
    from geosand.formats.boundaries.wishes import Wishes

#: Gap between a line's ends over its length, up to which it may be an outline left open.
NEARLY_CLOSED = 0.1
NOT_CLOSED = "a line that does not close: its ends are "
#: Formats with a rule for the direction of rings (RFC 7946, 3.1.6; OGC KML 2.3, 10.8).
WOUND = (".geojson", ".json", ".kml", ".kmz")


def can_be_mended(shape: Any) -> bool:
    """Whether an outline that is not sound is one that only crosses or touches itself."""
    points = shapely.get_coordinates(shape)
    if len(points) > MAXIMUM_RING or not np.isfinite(points).all() or shapely.is_valid(shape):
        return False
    return bool(shapely.area(shapely.make_valid(shape)) > 0)


def nearly_closed(
    things: list[Drawn], metres: tuple[float, float], wishes: Wishes
) -> tuple[list[Drawn], Geometries, list[str]]:
    """Lines of a kind that has an area whose ends nearly meet: closed, with why they are broken.

    They are listed as left out as well, until somebody says that they are to be closed.
    """
    kept, shapes, reasons = [], [], []
    for thing in things:
        if thing.geometry is None or thing.geometry.geom_type != "LineString":
            continue
        points = shapely.get_coordinates(thing.geometry)
        step = np.diff(points, axis=0) * metres
        gap = float(np.hypot(*((points[-1] - points[0]) * metres)))
        near = 0 < gap <= NEARLY_CLOSED * float(np.hypot(*step.T).sum())
        if not near or len(np.unique(points, axis=0)) < 3:
            continue
        if wishes.kind_and_word(thing)[0] in ("", "path", "other"):
            continue
        kept.append(thing)
        shapes.append(shapely.polygons(np.vstack([points, points[:1]])))
        reasons.append(f"{NOT_CLOSED}{gap:.2f} m apart")
    geometry = np.empty(len(shapes), dtype=object)
    geometry[:] = shapes
    return kept, geometry, reasons


def said_of_rings(geometry: Geometries, across: int, shown: str) -> list[str]:
    """What is written otherwise than it was drawn, though no area changes by it."""
    said = []
    if across:
        one = "1 outline crosses" if across == 1 else f"{across} outlines cross"
        said.append(f"{one} the antimeridian: cut at 180° (RFC 7946, 3.1.9)")
    if shown.lower().endswith(WOUND):
        parts = shapely.get_parts(geometry)
        turned = int((~shapely.is_ccw(shapely.get_exterior_ring(parts))).sum())
        if turned:
            one = "1 outline runs" if turned == 1 else f"{turned} outlines run"
            written = "it is" if turned == 1 else "they are"
            said.append(
                f"{one} clockwise: {written} written counter-clockwise (RFC 7946, 3.1.6),"
                " the area stays"
            )
    return said
