"""The map of a reader whose browser runs no scripts: one path a surface, in its season's colour."""

from __future__ import annotations

from html import escape
from itertools import compress

import numpy as np
import shapely

from geosand.mapping.breaks import period_breaks
from geosand.mapping.shapes import metres_scale, svg_paths
from geosand.mapping.table import so_far
from geosand.mapping.view import MapPeriod, MapSurface, MapView, PeriodSurface
from geosand.mapping.words import KIND_COLOURS, OTHER_KIND, SCALES, UNITS, figure, plain
from geosand.reports.classes import class_of
from geosand.reports.printable.map_sheet import beside


def still_picture(view: MapView) -> str:
    """A map without script: one path a surface in the colour of its season depth."""
    shown = [s for s in view.surfaces if not s.geometry.is_empty]
    if not shown:
        return ""
    dressed = {name for period in view.periods for name in period.surfaces}
    shown = _near(shown, dressed)
    paths, width, height = svg_paths(
        [shapely.make_valid(s.geometry) for s in shown], width=2400, tolerance=1.5
    )
    period = view.periods[0] if view.periods else MapPeriod(key="", label="")
    breaks = period_breaks(view, period)["depth"][view.units]
    factor = UNITS[view.units]["depth"][0]
    drawn, hatched = [], set[str]()
    for surface, path in zip(shown, paths, strict=True):
        now = period.surfaces.get(surface.id, PeriodSurface())
        colour = "#fff"
        if now.depth_m is not None and breaks:
            colour = SCALES["depth"][class_of(now.depth_m * factor, breaks)]
        elif surface.id not in dressed:
            colour = KIND_COLOURS.get(surface.kind, OTHER_KIND)
        depth = so_far(now, figure(now.depth_m, "depth", view.units, unit=True))
        title = escape(f"{plain(surface.name)}: {depth}")
        if now.basis == "other surfaces" and colour != "#fff":
            hatched.add(colour)
            colour = f"url(#still-{colour[1:]})"
        under = _UNDER if now.state == "under-dressed" else ""
        drawn.append(f'<path fill="{colour}"{under} d="{path}"><title>{title}</title></path>')
    return (
        '<noscript><p class="still">The map moves only with scripts allowed; this picture and the '
        f'table hold the same figures.</p><svg class="still" viewBox="-40 -40 {width + 80} '
        f'{height + 80}" role="img" aria-label="Depth of sand on each surface">'
        f"<defs>{''.join(map(_hatching, sorted(hatched)))}</defs>"
        f'<g stroke="#4d4a42" stroke-width="2" fill-rule="evenodd">{"".join(drawn)}</g>'
        "</svg></noscript>"
    )


#: The outline of what is under-dressed, as the legend has it.
_UNDER = ' stroke="#000" stroke-width="7" stroke-dasharray="18 10"'


def _hatching(colour: str) -> str:
    """The pattern of figures that are estimated from other surfaces."""
    line = "#fff" if SCALES["depth"].index(colour) > 2 else "#8d7645"
    return (
        f'<pattern id="still-{colour[1:]}" width="16" height="16" patternUnits="userSpaceOnUse"'
        f' patternTransform="rotate(45)"><rect width="16" height="16" fill="{colour}"/>'
        f'<rect width="5" height="16" fill="{line}"/></pattern>'
    )


def _near(surfaces: list[MapSurface], dressed: set[str]) -> list[MapSurface]:
    """Those with sand or a target, and what lies beside them, as on the printed map."""
    shapes = np.array([s.geometry for s in surfaces], dtype=object)
    subject = [s.id in dressed for s in surfaces]
    _, south, _, north = shapely.total_bounds(shapes)
    metres = shapely.transform(shapes, lambda points: points * metres_scale((south + north) / 2))
    return [*compress(surfaces, beside(metres, metres[subject]))]
