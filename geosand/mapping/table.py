"""The table of surfaces as HTML; the script fills the same cells anew for a period or units."""

from __future__ import annotations

from html import escape

from geosand.mapping.payload import kinds_of, states_of
from geosand.mapping.view import SEASON, MapPeriod, MapSurface, MapView, PeriodSurface
from geosand.mapping.words import NO_FIGURE, UNITS, figure, interval, percent, percentages, plain

UNDER_DRESSED, NOT_MEASURED = "under-dressed", "not measured"
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
    "residuals": ("Off the estimate", "percent"),
    "collar_depth": ("Collar", "depth"),
    "collar_mass": ("Collar", "mass"),
    "surrounds_depth": ("Surrounds", "depth"),
    "surrounds_mass": ("Surrounds", "mass"),
    "thrown": ("Past the edge", "mass"),
    "share": ("Share", None),
}
#: Columns beside the name that each view shows on the screen; without scripts: all.
VISIBLE: dict[str, tuple[str, ...]] = {
    "depth": ("mass", "depth", "range", "catches"),
    "shortfall": ("depth", "target", "shortfall", "state"),
    "overthrow": ("collar_depth", "surrounds_depth", "thrown", "share"),
    "catches": ("catches", "depth", "range", "residuals"),
    "areas": ("kind", "area", "u_area"),
}
#: What upright paper has no room for.
NOT_UPRIGHT = ("u_area", "collar_mass", "surrounds_mass")
_TEXT_COLUMNS = ("kind", "state")
_NOTHING = PeriodSurface()
Ranges = dict[str, tuple[float, float]]
FLAG = '<span class="flag" role="img" aria-label="under-dressed">▼</span>'


def column_style() -> str:
    """The style rules by which each view hides the columns of the others, and of text columns.

    >>> column_style().splitlines()[-2].partition(" {")[0]
    '.ledger td:nth-child(2), .ledger td:nth-child(10)'
    """
    place = {key: index + 2 for index, key in enumerate(COLUMNS)}
    live = "html:not(.still)"
    rules = [
        f"{live} table[data-theme={theme}] tr > "
        f":not(:first-child, {', '.join(f':nth-child({place[key]})' for key in keys)})"
        for theme, keys in VISIBLE.items()
    ]
    texts = [f".ledger td:nth-child({place[key]})" for key in _TEXT_COLUMNS]
    folded = ", ".join(f"{live} {text}" for text in texts) + " { white-space: normal; }"
    upright = ", ".join(f"table tr > :nth-child({place[key]})" for key in NOT_UPRIGHT)
    hidden = ",\n".join(rules)
    return (
        f"@media screen {{\n{hidden} {{ display: none; }}\n{folded}\n}}\n"
        f"@media print and (orientation: portrait) {{ {upright} {{ display: none; }} }}\n"
        f"{', '.join(texts)} {{ text-align: left; }}\n"
        f".ledger td:nth-child({place['state']}) {{ min-width: 7.6em; }}"
    )


def surface_table(view: MapView) -> str:
    """The table of the first period, with its filters."""
    period = view.periods[0] if view.periods else MapPeriod(key="", label="")
    head = ['<th scope="col"><button type="button">Surface</button></th>']
    for key, (title, quantity) in COLUMNS.items():
        unit = "%" if quantity == "percent" else UNITS[view.units][quantity][1] if quantity else ""
        shown = f' <small data-unit="{quantity}">{unit}</small>' if quantity else ""
        css = "text" if key in _TEXT_COLUMNS else "figure"
        head.append(
            f'<th scope="col" class="{css}" data-c="{key}">'
            f'<button type="button">{title}{shown}</button></th>'
        )
    off = catch_ranges(view, period)
    rows = "\n".join(_row(view, period, index, off) for index in range(len(view.surfaces)))
    empty = '<p class="nothing" id="gs-nothing" hidden>No surface matches the search.</p>'
    return (
        '<section class="ledger" aria-labelledby="gs-table-title">\n'
        '<h2 id="gs-table-title">Surface by surface</h2>\n'
        f"{_filters(view)}\n"
        '<div class="scroll" id="gs-table" tabindex="0" role="region" '
        'aria-label="Table of surfaces"><table data-theme="depth">\n'
        '<caption id="gs-caption">Press a name to see the surface on the map; '
        "press a heading to sort.</caption>\n"
        f"<thead><tr>{''.join(head)}</tr></thead>\n<tbody>\n{rows}\n</tbody></table>{empty}"
        '<button type="button" id="gs-more" hidden></button></div>'
        "</section>"
    )


def _filters(view: MapView) -> str:
    states = states_of(view)
    kinds = "".join(f"<option>{escape(kind)}</option>" for kind in kinds_of(view))
    named = "".join(f"<option>{escape(plain(state))}</option>" for state in states)
    return (
        '<div class="filters" role="search">'
        '<label>Search <input type="search" id="gs-search" autocomplete="off"></label>'
        f'<label>Kind <select id="gs-kind"><option value="">all</option>{kinds}</select></label>'
        f'<label>State <select id="gs-state"><option value="">any</option>{named}</select></label>'
        "</div>"
    )


def catch_ranges(view: MapView, period: MapPeriod) -> Ranges:
    """By surface: how far its used catches of the period lie off its estimate, lowest, highest."""
    found: dict[str, list[float]] = {}
    for catch in view.catches:
        shown = catch.used and period.key in (SEASON, catch.dressing)
        if shown and catch.surface is not None and catch.residual is not None:
            found.setdefault(catch.surface, []).append(catch.residual)
    return {surface: (min(values), max(values)) for surface, values in found.items()}


def _row(view: MapView, period: MapPeriod, index: int, off: Ranges) -> str:
    surface = view.surfaces[index]
    cells = row_cells(view, period, surface, off)
    under = period.surfaces.get(surface.id, _NOTHING).state == UNDER_DRESSED
    name = f"<button dir=auto>{escape(plain(surface.name))}</button>"
    body = "".join(f"<td>{escape(cells[key])}" for key in COLUMNS)
    # HTML closes cells by itself where the next one begins
    return f"<tr data-s={index}><th scope=row>{name}{FLAG if under else ''}{body}</tr>"


def row_cells(view: MapView, period: MapPeriod, surface: MapSurface, off: Ranges) -> dict[str, str]:
    """The text of each cell of one surface in one period, in the view's units."""
    system = view.units
    now = period.surfaces.get(surface.id, _NOTHING)
    cells = {
        "kind": plain(surface.kind),
        "area": figure(surface.area_m2, "area", system),
        "u_area": figure(surface.u_area_m2, "area", system),
        "mass": so_far(now, figure(now.mass_kg, "mass", system)),
        "depth": so_far(now, figure(now.depth_m, "depth", system)),
        "range": interval(now.low_m, now.high_m, "depth", system),
        "target": figure(now.target_so_far_m, "depth", system),
        "shortfall": figure(now.shortfall_m, "depth", system),
        "state": state_words(now),
        "catches": catch_words(now),
        "residuals": percentages(*off.get(surface.id, (None, None))),
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
    cells["thrown"] = figure(now.thrown_kg, "mass", system)
    cells["share"] = share_words(now.thrown_kg, period.thrown_kg)
    return cells


def so_far(now: PeriodSurface, text: str) -> str:
    """A figure of sand; at least that much where a dressing of the surface was not measured.

    >>> so_far(PeriodSurface(state="not measured"), "5.94"), so_far(PeriodSurface(), "5.94")
    ('≥\\u202f5.94', '5.94')
    """
    return text if now.state != NOT_MEASURED or text == NO_FIGURE else f"≥\u202f{text}"


def share_words(part: float | None, whole: float | None) -> str:
    """What share of all overthrow lies past one surface's edge."""
    return NO_FIGURE if part is None or not whole else percent(part / whole)


def state_words(now: PeriodSurface) -> str:
    """The state with its probability, such as ``under-dressed 97 %``."""
    if not now.state:
        return NO_FIGURE
    if now.probability is None:
        return plain(now.state)
    # A probability never reads as certainty.
    likely = ">\u00a099\u00a0%" if now.probability > 0.99 else percent(now.probability)
    return f"{plain(now.state)} {likely}"


def catch_words(now: PeriodSurface) -> str:
    """How many catches a figure stands on, or that it is estimated from other surfaces."""
    if now.basis is None:
        return NO_FIGURE
    return "estimated" if now.basis == "other surfaces" else str(now.catches)
