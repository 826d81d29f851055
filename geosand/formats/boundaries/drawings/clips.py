"""Blocks of a drawing of which only what lies within a frame is shown (XCLIP)."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import shapely

from geosand.areas.crossings import meet_often
from geosand.formats.boundaries.drawings.labels import NOTHING
from geosand.formats.boundaries.drawn import Drawn

_OUTSIDE = "outside the clip of its block (XCLIP): the drawing does not show it"
_ACROSS = (
    "the clip of its block (XCLIP) cuts through it: trim it to the clip, or take the clip off it"
)
_WIDEST = 1e12
MOST_CROSSINGS = 50  #: of a frame with itself; one that a person draws has none


def shown_ground(insert: Any) -> Any:
    """The polygon within which an insert shows its block; None where it shows it whole.

    Without area where nobody can tell, as its frame crosses itself so often that to mend it would
    take minutes.
    """
    from ezdxf.xclip import XClip

    clip = XClip(insert)
    if not (clip.has_clipping_path and clip.is_clipping_enabled):
        return None
    path = clip.get_wcs_clipping_path()
    drawn = shapely.Polygon([(p.x, p.y) for p in path.vertices])
    if meet_often(np.array([drawn.exterior]), MOST_CROSSINGS + len(path.vertices)):
        return shapely.Polygon()
    frame = shapely.make_valid(drawn)
    if not path.is_inverted_clip:
        return frame
    return shapely.difference(shapely.box(-_WIDEST, -_WIDEST, _WIDEST, _WIDEST), frame)


def clipped(part: Drawn, shown: Any, sag: float) -> Drawn:
    """A part of a block, kept where the clip shows it whole; what is cut has to be asked about."""
    shape = part.geometry
    if shape is None or shape.is_empty:
        return part
    if shown.is_empty:
        return replace(part, geometry=None, problem=_ACROSS)
    # rings as lines: an outline that crosses itself is no area yet
    lines = shapely.boundary(shape) if shape.geom_type.endswith("Polygon") else shape
    if shapely.covers(shapely.buffer(shown, sag), lines):
        return part
    inside = shapely.point_on_surface(shown)
    around = lines is not shape and shapely.contains_properly(shapely.envelope(shape), inside)
    if shapely.disjoint(shapely.buffer(shown, -sag), lines) and not around:
        return replace(part, geometry=NOTHING, problem=_OUTSIDE)
    return replace(part, geometry=None, problem=_ACROSS)
