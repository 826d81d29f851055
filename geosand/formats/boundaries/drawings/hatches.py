"""Hatches of a drawing: the ground that they fill, with islands by their style."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import shapely

from geosand.areas.crossings import meet_often
from geosand.columns import Floats, Geometries

MOST_CROSSINGS = 20_000  #: of outlines of one hatch, which then would take minutes. Own choice
TEXT_BOX = 8  #: a path around a text: DXF reference, HATCH, group 92


def hatched_ground(entity: Any, run_of: Callable[[Any], Floats], segments: int) -> tuple[Any, str]:
    """The filled ground of a hatch, or why there is none.

    ``run_of`` gives the points (n, 3) along a path; an arc is cut in ``segments``. Room left free
    for a text is filled ground too.
    """
    from ezdxf.entities import EdgePath
    from ezdxf.path import Path, converter, tools

    ocs, height, rings = entity.ocs(), entity.dxf.elevation.z, []
    for boundary in entity.paths:
        if boundary.path_type_flags & TEXT_BOX:
            continue
        if isinstance(boundary, EdgePath):
            fine = EdgePath()
            fine.edges = [part for edge in boundary.edges for part in _parts(edge)]
            made = converter.from_hatch_boundary_path(fine, ocs, height)
        else:
            made = Path()
            points, close = boundary.vertices, boundary.is_closed
            tools.add_2d_polyline(made, points, close, ocs, height, segments=segments)
        runs = [run_of(p) for p in (made.sub_paths() if made.has_sub_paths else [made])]
        rings += [run for run in runs if len(np.unique(run[:, :2], axis=0)) > 2]
    if not rings:
        return None, "a hatch without outline"
    parts = np.array([shapely.Polygon(run[:, :2]) for run in rings], dtype=object)
    if len(parts) == 1:
        return parts[0], ""  # where it crosses itself that is asked about, as of any outline
    if not shapely.is_valid(parts).all():
        return None, "a hatch of several outlines, one of which crosses itself: draw it anew"
    corners = int(shapely.get_num_coordinates(parts).sum())
    if meet_often(shapely.boundary(parts), MOST_CROSSINGS + corners):
        return None, "a hatch of outlines that cross far too often: draw it anew"
    return _filled_ground(parts, entity.dxf.hatch_style), ""


def _filled_ground(parts: Geometries, style: int) -> Any:
    """What a hatch fills of its rings (n,): DXF reference, HATCH, group 75.

    0: even and odd, so that islands are holes; 1: the outermost but for what lies in it; 2: all.
    """
    if style == 2:
        return shapely.union_all(parts)
    if style == 1:
        inner, outer = shapely.STRtree(parts).query(parts, "within")
        within = np.zeros(len(parts), dtype=bool)
        within[inner[shapely.area(parts[outer]) > shapely.area(parts[inner])]] = True
        return shapely.difference(
            shapely.union_all(parts[~within]), shapely.union_all(parts[within])
        )
    while len(parts) > 1:  # by halves, as one after the other takes a time that grows by the square
        pairs = shapely.symmetric_difference(parts[: len(parts) // 2 * 2 : 2], parts[1::2])
        parts = np.concatenate([pairs, parts[len(parts) // 2 * 2 :]])
    return parts[0]


def _parts(edge: Any) -> list[Any]:
    """An edge of a hatch; arcs cut in parts of 22.5 degrees, since they become one cubic each."""
    from copy import copy

    if edge.type.name not in ("ARC", "ELLIPSE"):
        return [edge]
    span = (edge.end_angle - edge.start_angle) % 360 or 360.0
    cuts = edge.start_angle + np.linspace(0, span, math.ceil(span / 22.5) + 1)
    parts = []
    for low, high in zip(cuts[:-1].tolist(), cuts[1:].tolist(), strict=True):
        part = copy(edge)
        part.start_angle, part.end_angle = low, high
        parts.append(part)
    return parts if edge.ccw else parts[::-1]
