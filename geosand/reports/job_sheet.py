"""The job sheet: one page for the crew, what goes where, in which order, and what to mind."""

from __future__ import annotations

import math
from html import escape

from geosand.errors import printable
from geosand.reports.documents import MILLIMETRE, Document
from geosand.reports.plan import load_lines, setting_words
from geosand.reports.printed_page import asset, page
from geosand.reports.words import MISSING, Units, label_of, shown

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


def job_sheet(document: Document, units: Units) -> str:
    """The page of a plan document: order of surfaces, rate, bags, setting, heading, cautions."""
    sand, spreader = document["sand"], document["spreader"]
    site = printable(document["site"])
    rows = [row for row in document["surfaces"] if row["mass_kg"] > 0]
    total = sand["on_surfaces_kg"] + sand["overthrow_kg"]
    lead = f"{_text(sand['name'])}: {shown(total, 'mass', units)} to spread (dry), "
    lead += f"{len(rows)} surfaces"
    if sand["unit_mass_kg"]:
        water = 1 + sand["moisture_dry_basis_percent"] / 100
        count = total * water / sand["unit_mass_kg"]
        lead += f", {count:.1f} units of {shown(sand['unit_mass_kg'], 'mass', units)} as delivered"
    body = (
        f"<h1>{escape(site)}: next dressing</h1>\n"
        f"<p>Planned for {escape(document['as_of'])}.{_spreader(spreader, units)}</p>\n"
        f'<p class="lead">{lead}.</p>\n{_table(rows, units)}'
        f"{_loads(document, units)}{_notes(rows, document, units)}"
        f'<div class="caution"><h2>Mind</h2><ul>{_items(list(CAUTIONS))}</ul></div>\n'
        '<p class="fine">Rates and masses are of dry sand; units are as delivered and hold the'
        " overthrow to expect. Set the spreader, lay trays, and go by what they catch. Headings are"
        " degrees clockwise from north; a line is driven either way. Begin: how far the border of"
        " the first pass lies outside the edge.</p>\n"
    )
    return page(title=f"{site}: next dressing", body=body, style=asset("job_sheet.css"))


def _text(text: str) -> str:
    return escape(printable(text))


def _items(texts: list[str]) -> str:
    return "".join(f"<li>{escape(text)}</li>" for text in texts)


def _spreader(spreader: Document, units: Units) -> str:
    parts = [f" Spreader: {_text(spreader['name'])}"] if spreader["name"] else []
    if spreader["speed_kmh"]:
        speed = spreader["speed_kmh"]
        text = f"{speed / 1.609344:.1f} mph" if units == "us" else f"{speed:.1f} km/h"
        parts.append(f" speed {text}")
    if spreader["swath_m"]:
        parts.append(f" swath {shown(spreader['swath_m'], 'length', units)}")
    return ",".join(parts) + "." if parts else ""


def _table(rows: list[Document], units: Units) -> str:
    heads = [
        "",
        "surface",
        f"depth<br>{label_of('depth', units)}",
        f"rate<br>{label_of('rate', units)}",
    ]
    heads += [f"sand with<br>overthrow, {label_of('mass', units)}", "units", "setting"]
    heads += ["heading<br>°", "passes", f"begin<br>outside, {label_of('length', units)}", "done"]
    head = "".join(f'<th scope="col">{text}</th>' for text in heads)
    lines = "".join(_line(k, row, units) for k, row in enumerate(rows, start=1))
    return (
        f'<div class="wide" tabindex="0" role="region" aria-label="Surfaces in order"><table>'
        f"<thead><tr>{head}</tr></thead><tbody>{lines}</tbody></table></div>\n"
    )


def _line(k: int, row: Document, units: Units) -> str:
    name, own = printable(row["name"]), row["id"]
    small = f"<small>{escape(own)}</small>" if name and name != own else ""
    heading = row["heading"]
    across = math.nan
    if heading:
        across = heading["first_pass_before_edge_m"]
    cells = [
        shown(row["depth_mm"] / MILLIMETRE, "depth", units, unit=False),
        shown(row["rate_kg_m2"], "rate", units, unit=False),
        shown(row["mass_kg"] + row["overthrow_kg"], "mass", units, unit=False),
        MISSING if row["units"] is None else f"{row['units']:.1f}",
        setting_words(row["setting"]),
        f"{heading['heading_deg']:.0f}" if heading else MISSING,
        f"{heading['passes']}" if heading else MISSING,
        shown(across, "length", units, unit=False),
    ]
    return (
        f'<tr><td>{k}</td><th scope="row">{escape(name or own)}{small}</th>'
        + "".join(f"<td>{cell}</td>" for cell in cells)
        + '<td><span class="box"></span></td></tr>\n'
    )


def _loads(document: Document, units: Units) -> str:
    lines = load_lines(document, units)
    return f"<h2>Loads, dry, with overthrow</h2><ul>{_items(lines)}</ul>\n" if lines else ""


def _notes(rows: list[Document], document: Document, units: Units) -> str:
    """What the crew should know of single surfaces: caps, holes, missing settings, left out."""
    texts = []
    for row in rows:
        if row["note"]:
            left = shown(row["left_mm"] / MILLIMETRE, "depth", units)
            later = f", {left} is left for later" if row["left_mm"] > 0 else ""
            texts.append(f"{row['id']}: {row['note']}{later}")
        if row["in_holes_mm"] > 0:
            depth = shown(row["in_holes_mm"] / MILLIMETRE, "depth", units)
            texts.append(f"{row['id']}: {depth} of it goes into the holes: brush it in first")
        setting = row["setting"]
        if setting and setting["refused"]:
            texts.append(f"{row['id']}: no setting: {setting['refused']}. Try it on trays first")
    none = [row["id"] for row in document["surfaces"] if not row["mass_kg"] > 0]
    if none:
        texts.append(f"No sand on: {', '.join(none)}")
    return f"<h2>Notes</h2><ul>{_items(texts)}</ul>\n" if texts else ""
