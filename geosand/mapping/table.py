"""The table of surfaces as HTML; the script fills the same cells anew for a period or units."""

from __future__ import annotations

from html import escape

from geosand.mapping.payload import kinds_of
from geosand.mapping.view import MapPeriod, MapSurface, MapView, PeriodSurface
from geosand.mapping.words import NO_FIGURE, UNITS, figure, interval, percent, plain

UNDER_DRESSED = "under-dressed"
#: Column key -> (heading, quantity); the row's heading, the surface's name, comes before them.
COLUMNS: dict[str, tuple[str, str | None]] = {
    "kind": ("Kind", None),
    "area": ("Area", "area"),
    "u_area": ("± u", "area"),
    "mass": ("Sand", "mass"),
    "depth": ("Depth", "depth"),
    "range": ("95 %", "depth"),
    "target": ("Target so far", "depth"),
    "shortfall": ("Shortfall", "depth"),
    "state": ("State", None),
    "catches": ("Catches", None),
    "collar_depth": ("Collar", "depth"),
    "collar_mass": ("Collar", "mass"),
    "surrounds_depth": ("Surrounds", "depth"),
    "surrounds_mass": ("Surrounds", "mass"),
}
_TEXT_COLUMNS = ("kind", "state")
_NOTHING = PeriodSurface()
FLAG = '<span class="flag" role="img" aria-label="under-dressed">▼</span>'


def surface_table(view: MapView) -> str:
    """The table of the first period, with its filters."""
    period = view.periods[0] if view.periods else MapPeriod(key="", label="")
    head = ['<th scope="col"><button type="button">Surface</button></th>']
    for key, (title, quantity) in COLUMNS.items():
        unit = UNITS[view.units][quantity][1] if quantity else ""
        shown = f' <small data-unit="{quantity}">{unit}</small>' if quantity else ""
        css = "text" if key in _TEXT_COLUMNS else "figure"
        head.append(
            f'<th scope="col" class="{css}" data-c="{key}">'
            f'<button type="button">{title}{shown}</button></th>'
        )
    rows = "\n".join(_row(view, period, index) for index in range(len(view.surfaces)))
    empty = '<p class="nothing" id="gs-nothing" hidden>No surface matches the search.</p>'
    return (
        '<section class="ledger" aria-labelledby="gs-table-title">\n'
        '<h2 id="gs-table-title">Surface by surface</h2>\n'
        f"{_filters(view)}\n"
        '<div class="scroll" id="gs-table" tabindex="0" role="region" '
        'aria-labelledby="gs-table-title"><table data-theme="depth">\n'
        '<caption id="gs-caption">Press a name to see the surface on the map; '
        "press a heading to sort.</caption>\n"
        f"<thead><tr>{''.join(head)}</tr></thead>\n<tbody>\n{rows}\n</tbody></table>{empty}</div>"
        "</section>"
    )


def _filters(view: MapView) -> str:
    states = sorted({s.state for p in view.periods for s in p.surfaces.values() if s.state})
    kinds = "".join(f"<option>{escape(kind)}</option>" for kind in kinds_of(view))
    named = "".join(f"<option>{escape(plain(state))}</option>" for state in states)
    return (
        '<div class="filters" role="search">'
        '<label>Search <input type="search" id="gs-search" autocomplete="off"></label>'
        f'<label>Kind <select id="gs-kind"><option value="">all</option>{kinds}</select></label>'
        f'<label>State <select id="gs-state"><option value="">any</option>{named}</select></label>'
        "</div>"
    )


def _row(view: MapView, period: MapPeriod, index: int) -> str:
    surface = view.surfaces[index]
    passive = not any(surface.id in p.surfaces for p in view.periods)
    cells = row_cells(view, period, surface)
    under = period.surfaces.get(surface.id, _NOTHING).state == UNDER_DRESSED
    name = f'<button type="button" dir="auto">{escape(plain(surface.name))}</button>'
    body = "".join(f"<td>{escape(cells[key])}</td>" for key in COLUMNS)
    css = ' class="passive"' if passive else ""
    return (
        f'<tr data-s="{index}"{css}><th scope="row">{name}{FLAG if under else ""}</th>{body}</tr>'
    )


def row_cells(view: MapView, period: MapPeriod, surface: MapSurface) -> dict[str, str]:
    """The text of each cell of one surface in one period, in the view's units."""
    system = view.units
    now = period.surfaces.get(surface.id, _NOTHING)
    cells = {
        "kind": plain(surface.kind),
        "area": figure(surface.area_m2, "area", system),
        "u_area": figure(surface.u_area_m2, "area", system),
        "mass": figure(now.mass_kg, "mass", system),
        "depth": figure(now.depth_m, "depth", system),
        "range": interval(now.low_m, now.high_m, "depth", system),
        "target": figure(now.target_so_far_m, "depth", system),
        "shortfall": figure(now.shortfall_m, "depth", system),
        "state": state_words(now),
        "catches": catch_words(now),
    }
    for zone in ("collar", "surrounds"):
        found = [
            period.rings[ring.id]
            for ring in view.rings
            if ring.surface == surface.id and ring.zone == zone and ring.id in period.rings
        ]
        depth, mass = found[0] if found else (None, None)
        cells[f"{zone}_depth"] = figure(depth, "depth", system)
        cells[f"{zone}_mass"] = figure(mass, "mass", system)
    return cells


def state_words(now: PeriodSurface) -> str:
    """The state with its probability, such as ``under-dressed 97 %``."""
    if not now.state:
        return NO_FIGURE
    if now.probability is None:
        return plain(now.state)
    # A probability never reads as certainty.
    likely = "> 99\u00a0%" if now.probability >= 0.995 else percent(now.probability)
    return f"{plain(now.state)} {likely}"


def catch_words(now: PeriodSurface) -> str:
    """How many catches a figure stands on, or that it is estimated from other surfaces."""
    if now.basis is None:
        return NO_FIGURE
    return "estimated" if now.basis == "other surfaces" else str(now.catches)
