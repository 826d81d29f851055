"""The map of a reader whose browser runs no scripts: one path a surface, in its season's colour."""

from __future__ import annotations

from html import escape

import shapely

from geosand.mapping.breaks import period_breaks
from geosand.mapping.shapes import svg_paths
from geosand.mapping.table import so_far
from geosand.mapping.view import MapPeriod, MapView, PeriodSurface
from geosand.mapping.words import KIND_COLOURS, OTHER_KIND, SCALES, UNITS, figure, plain
from geosand.reports.classes import class_of


def still_picture(view: MapView) -> str:
    """A map without script: one path a surface in the colour of its season depth."""
    shown = [s for s in view.surfaces if not s.geometry.is_empty]
    if not shown:
        return ""
    paths, width, height = svg_paths(
        [shapely.make_valid(s.geometry) for s in shown], width=2400, tolerance=1.5
    )
    period = view.periods[0] if view.periods else MapPeriod(key="", label="")
    breaks = period_breaks(view, period)["depth"][view.units]
    factor = UNITS[view.units]["depth"][0]
    drawn = []
    for surface, path in zip(shown, paths, strict=True):
        now = period.surfaces.get(surface.id, PeriodSurface())
        colour = "#fff"
        if now.depth_m is not None and breaks:
            colour = SCALES["depth"][class_of(now.depth_m * factor, breaks)]
        elif not any(surface.id in p.surfaces for p in view.periods):
            colour = KIND_COLOURS.get(surface.kind, OTHER_KIND)
        depth = so_far(now, figure(now.depth_m, "depth", view.units, unit=True))
        title = escape(f"{plain(surface.name)}: {depth}")
        drawn.append(f'<path fill="{colour}" d="{path}"><title>{title}</title></path>')
    return (
        '<noscript><p class="still">The map moves only with scripts allowed; this picture and the '
        f'table hold the same figures.</p><svg class="still" viewBox="-40 -40 {width + 80} '
        f'{height + 80}" role="img" aria-label="Depth of sand on each surface">'
        f'<g stroke="#4d4a42" stroke-width="2" fill-rule="evenodd">{"".join(drawn)}</g>'
        "</svg></noscript>"
    )
