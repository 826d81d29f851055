"""The job sheet: one page for the crew, what goes where, in which order, and what to mind."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape
from typing import Any

from geosand.errors import printable
from geosand.reports.documents import KMH, Document, told
from geosand.reports.plan_words import MOST_RUNS, load_lines, route_lines, units_cell
from geosand.reports.printed_page import asset, page
from geosand.reports.setting_words import setting_cell, setting_lines
from geosand.reports.words import MISSING, Units, grouped, label_of, listed_runs, shown

#: Cautions, not advice. Silica: the dust of dry quartz sand is regulated, e.g. 50 µg/m³ over eight
#: hours (29 CFR 1910.1053) and 0.1 mg/m³ (HSE EH40/2005). Bulk bags: ISO 21898. The rest is common
#: practice, no published source.
CAUTIONS = (
    "Dry sand makes dust with crystalline silica, which harms the lungs. Work wet where that can be"
    " done, stay out of the dust, and wear the respirator that your local rules ask for.",
    "Bulk bags: lift by all loops with gear rated for the load, never stand or reach under a"
    " hanging bag, and keep to the safe working load. A bag filled by volume weighs more when wet.",
    "Stop the engine and let moving parts come to rest before you clear a spreader. Mind slopes and"
    " soft ground with a full hopper, and keep others away from the throw.",
    "Heat: water, shade and breaks; look after each other.",
    "Local codes and the makers' instructions come before this page.",
)


MANY, MOST = 24, 44  #: more surfaces are printed smaller, so that the cautions stay on their page
MOST_LATER = 8
MOST_LOADS = 60  #: more are bags, not loads of a spreader
#: What one sheet of A4 or Letter holds besides the cautions: rows, and loads two beside each other.
ROWS_A_SHEET = 54


def job_sheet(document: Document, units: Units, made_with: Mapping[str, Any] | None = None) -> str:
    """The page of a plan document: order of surfaces, rate, bags, setting, heading, cautions."""
    site = printable(document["site"])
    rows = [row for row in document["surfaces"] if row["mass_kg"] > 0]
    body = (
        f"<h1>{escape(site)}: next dressing</h1>\n"
        f"<p>Planned for {escape(document['as_of'])}.{_spreader(document, units)}</p>\n"
        f'<p class="lead">{_lead(document, len(rows), units)}.</p>\n{_table(rows, document, units)}'
        f'<div class="below">{_loads(document, units)}{_notes(rows, document, units)}</div>'
        f'<div class="caution"><h2>Mind</h2><ul>{_items(list(CAUTIONS))}</ul></div>\n'
        f'<p class="fine">{_fine(document, units)}</p>\n'
    )
    size = "" if len(rows) <= MANY else "many" if len(rows) <= MOST else "many most"
    main = f'<main class="{size}">' if size else "<main>"
    body = f"{main}{body}</main>\n"
    data = {"inputs": document["inputs"], "made_with": dict(made_with or {})}
    return page(title=f"{site}: next dressing", body=body, style=asset("job_sheet.css"), data=data)


def _lead(document: Document, surfaces: int, units: Units) -> str:
    """What goes out in all, as weighed."""
    sand = document["sand"]
    dry = sand["on_surfaces_kg"] + sand["overthrow_kg"]
    wet = dry * (1 + sand["moisture_dry_basis_percent"] / 100)
    lead = f"{_text(sand['name'])}: {shown(wet, 'mass', units)} to spread on {surfaces} surface"
    lead += "" if surfaces == 1 else "s"
    if sand["unit_mass_kg"]:
        unit = shown(sand["unit_mass_kg"], "mass", units)
        lead += f" = {grouped(wet / sand['unit_mass_kg'], 1)} units of {unit}"
    return lead


def _fine(document: Document, units: Units) -> str:
    sand = document["sand"]
    water = sand["moisture_dry_basis_percent"]
    damp = f", with {water:.1f} % of water (of the dry mass)" if water else ""
    lines = [
        f"Depth and rate are of dry sand; sand to take is as weighed{damp}, and holds the overthrow"
        " to expect. Set the spreader, lay trays, and go by what they catch. Headings are degrees"
        " clockwise from north; a line is driven either way. Way: straight, from the surface"
        " before. 2 ×: twice over it at that setting; small: the setting's 95 % range. Begin: how"
        " far the border of the first pass lies outside the edge.",
        *route_lines(document, units),
    ]
    return escape(" ".join(lines))


def _text(text: str) -> str:
    return escape(printable(text))


def _items(texts: list[str]) -> str:
    return "".join(f"<li>{escape(text)}</li>" for text in texts)


def _spreader(document: Document, units: Units) -> str:
    spreader = document["spreader"]
    parts = [f"spreader {_text(spreader['name'])}"] if spreader["name"] else []
    if spreader["speed_kmh"]:
        parts.append(f"speed {shown(spreader['speed_kmh'] / KMH, 'speed', units)}")
    if spreader["swath_m"]:
        parts.append(f"swath {shown(spreader['swath_m'], 'length', units)}")
    before, after = spreader["setting_words"]
    if before or after:
        parts.append(f"settings are the numbers of {_text(before)}…{_text(after)}")
    text = ", ".join(parts)
    return f" {text[0].upper()}{text[1:]}." if parts else ""


def _table(rows: list[Document], document: Document, units: Units) -> str:
    """The surfaces in order; a column that would be empty is left out."""

    def figures(key: str, measure: str) -> list[str]:
        return [told(row[key], measure, units, unit=False) for row in rows]

    length = label_of("length", units)
    columns = [  # what the driver needs first; on a phone each surface is a card of them
        ("setting", [setting_cell(row["setting"]) + _range(row["setting"]) for row in rows]),
        ("heading<br>°", [_heading(row, "heading_deg", "{:.0f}") for row in rows]),
        (f"sand to<br>take, {label_of('mass', units)}", figures("delivered_kg", "mass")),
        ("units", [units_cell(row) for row in rows]),
        ("load", [_loads_cell(row["loads"]) for row in rows]),
        (f"rate<br>{label_of('rate', units)}", figures("rate_kg_m2", "rate")),
        (f"depth<br>{label_of('depth', units)}", figures("depth_mm", "depth")),
        ("passes", [_heading(row, "passes", "{}") for row in rows]),
        (f"begin<br>outside, {length}", [_begin(row, units) for row in rows]),
        (f"way<br>{label_of('way', units)}", figures("from_previous_m", "way")),
    ]
    if not 0 < len(document["loads"]) <= MOST_LOADS:
        columns = [column for column in columns if column[0] != "load"]
    columns = [column for column in columns if set(column[1]) != {MISSING}]
    names = ["no.", "surface", *[name for name, _ in columns], "done"]
    head = "".join(f'<th role="columnheader" scope="col">{text}</th>' for text in names)
    cards = [
        [(name.replace("<br>", " "), cells[k]) for name, cells in columns] for k in range(len(rows))
    ]
    lines = "".join(_line(k, row, cards[k]) for k, row in enumerate(rows))
    return (  # roles: what is no longer laid out as a table, on a phone, is still read as one
        f'<table role="table" aria-label="Surfaces in order"><thead><tr role="row">{head}</tr>'
        f"</thead><tbody>{lines}</tbody></table>\n"
    )


def _line(k: int, row: Document, cells: list[tuple[str, str]]) -> str:
    """A surface's row; a cell knows its head, which stands beside it on a phone."""
    name, own = printable(row["name"]), row["id"]
    small = f" <small>{escape(own)}</small>" if name and name != own else ""
    return (
        f'<tr role="row"><td role="cell">{k + 1}</td>'
        f'<th role="rowheader" scope="row">{escape(name or own)}{small}</th>'
        + "".join(f'<td role="cell" data-head="{head}">{cell}</td>' for head, cell in cells)
        + '<td role="cell" data-head="done"><span class="box"></span></td></tr>\n'
    )


def _heading(row: Document, key: str, form: str) -> str:
    return form.format(row["heading"][key]) if row["heading"] else MISSING


def _begin(row: Document, units: Units) -> str:
    before_m = row["heading"] and row["heading"]["first_pass_before_edge_m"]
    return told(before_m, "length", units, unit=False)


def _loads_cell(loads: list[int]) -> str:
    """First and last load of a surface."""
    if not loads:
        return MISSING
    return f"{loads[0]}" if len(loads) == 1 else f"{loads[0]}–{loads[-1]}"


def _range(setting: Document | None) -> str:
    """The 95 % prediction interval of a setting, small."""
    if not setting or setting["setting"] is None or setting["low"] is None:
        return ""
    high = "…" if setting["high"] is None else f"{setting['high']:.2f}"
    return f" <small>{setting['low']:.2f}–{high}</small>"


def _loads(document: Document, units: Units) -> str:
    """Each load with its surfaces, and where it runs out."""
    if not document["loads"]:
        return ""
    size = told(document["sand"]["load_kg"], "mass", units)
    lines, count = load_lines(document, units), len(document["loads"])
    rows = sum(row["mass_kg"] > 0 for row in document["surfaces"])
    if rows > MANY and rows + len(lines) / 2 > ROWS_A_SHEET and count <= MOST_LOADS:
        return f"<p>{count} loads of {size}, as weighed: column load tells which goes where.</p>\n"
    return f'<h2>Loads of {size}, as weighed</h2><ul class="loads">{_items(lines)}</ul>\n'


def _notes(rows: list[Document], document: Document, units: Units) -> str:
    """What the crew should know of surfaces: caps, holes, missing settings, left out."""
    notes: dict[str, list[str]] = {}
    for row in rows:
        if row["note"]:
            notes.setdefault(row["note"], []).append(row["id"])
        if row["in_holes_mm"] > 0:
            depth = told(row["in_holes_mm"], "depth", units)
            text = f"{depth} of it goes into the holes: brush it in first"
            notes.setdefault(text, []).append(row["id"])
    texts = [f"{listed_runs(ids, MOST_RUNS)}: {text}" for text, ids in notes.items()]
    later: dict[str, list[str]] = {}
    for row in sorted(rows, key=lambda row: -row["left_mm"]):
        if row["left_mm"] > 0:
            depth = told(row["left_mm"], "depth", units)
            later.setdefault(depth, []).append(row["id"])
    if later:
        depths = [f"{depth} on {listed_runs(ids, MOST_RUNS)}" for depth, ids in later.items()]
        rest = sum(len(ids) for ids in [*later.values()][MOST_LATER:])
        more = [f"less on {rest} more"] if rest else []
        texts.append(f"Left for later: {'; '.join([*depths[:MOST_LATER], *more])}")
    refused = [line for line in setting_lines(document, units) if line.startswith("No setting")]
    texts += [f"{line} Try it on trays first." for line in refused]
    if len({setting_cell(row["setting"]) for row in rows} - {MISSING}) > 1:
        texts.append(
            "Settings differ: where another was set, write it beside its box. Each setting is a row"
            " of the records, with its surfaces"
        )
    none = [row["id"] for row in document["surfaces"] if not row["mass_kg"] > 0]
    if none:
        texts.append(f"No sand on: {listed_runs(none, MOST_RUNS)}")
    return f"<h2>Notes</h2><ul>{_items(texts)}</ul>\n" if texts else ""
