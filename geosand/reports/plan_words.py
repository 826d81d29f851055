"""The next dressing as a console table and in sentences."""

from __future__ import annotations

import math

from geosand.errors import listed_dressings, printable
from geosand.planning.next_rate import NOT_KNOWN
from geosand.reports.documents import Document, si, told
from geosand.reports.plain_table import Table, table
from geosand.reports.plan import BASIS
from geosand.reports.setting_words import setting_cell, setting_lines
from geosand.reports.words import (
    MISSING,
    Units,
    between,
    ended,
    grouped,
    label_of,
    listed_runs,
    shown,
)
from geosand.season.ledger import NO_TARGET

MOST_RUNS = 12  #: ids or runs of ids in one sentence
LOADS_A_SURFACE = 2  #: more loads than this a surface are bags, and not listed one by one
LEAST_SENSIBLE_MM = 0.1  #: a dressing lighter than this is hardly seen; our own choice


def plan_table(document: Document, units: Units) -> Table:
    """One line a surface that gets sand, in the order of work."""
    over = document["spreader"]["strip_width_m"] is not None
    rows = [_line(row, units, over=over) for row in document["surfaces"] if row["mass_kg"] > 0]
    depth, rate, mass = (label_of(m, units) for m in ("depth", "rate", "mass"))
    heads = [
        ("surface", False),
        ("kind", False),
        (f"depth\n{depth}", True),
        ("\n".join(["rate", *rate.split()]), True),
    ]
    heads += [(f"on it\n{mass}", True), (f"over-\nthrow {mass}", True), ("units", True)]
    heads += [("setting", True), ("head-\ning °", True), (f"saves\n{mass}", True)]
    if any(row[-1] for row in rows):
        heads.append(("note", False))
    return table(plan_title(document), heads, [row[: len(heads)] for row in rows])


def plan_title(document: Document) -> str:
    """Site and day."""
    return f"{printable(document['site'])}: next dressing, planned for {document['as_of']}"


def _line(row: Document, units: Units, *, over: bool) -> list[str]:
    """Cells of a surface; ``over``: whether the overthrow to expect is known."""
    heading = row["heading"]
    figures = {"depth_mm": "depth", "rate_kg_m2": "rate", "mass_kg": "mass"}
    return [
        row["id"],
        row["kind"],
        *(told(row[key], measure, units, unit=False) for key, measure in figures.items()),
        told(row["overthrow_kg"] if over else None, "mass", units, unit=False),
        units_cell(row),
        setting_cell(row["setting"]),
        f"{heading['heading_deg']:.0f}" if heading else MISSING,
        told(heading and heading["saving_against_worst_kg"], "mass", units, unit=False),
        row["note"],
    ]


def units_cell(row: Document) -> str:
    """Bags of a surface; of less than a tenth the first figure, so that none says 0."""
    count = row["units"]
    return f"{count:.{'1f' if count >= 0.095 else '1g'}}" if count else MISSING


def plan_lines(document: Document, units: Units) -> list[str]:
    """What to order and why, in sentences."""
    if not document["sand"]["needed_kg"]:
        few = [f for f in document["findings"] if f["about"] in ("", "season")]
        return [_order_line(document["sand"], units), *_none_lines(document), *_noted(few)]
    lines = [_order_line(document["sand"], units), _stock_line(document["sand"], units)]
    lines += [*_need_lines(document, units), *hole_lines(document, units)]
    lines += [*_heading_lines(document, units), *_none_lines(document)]
    lines += [*_light_lines(document, units), *setting_lines(document, units)]
    return [*lines, *route_lines(document, units), *_noted(document["findings"])]


def _noted(findings: list[Document]) -> list[str]:
    texts = [ended(f"{f['about']}: {f['text']}" if f["about"] else f["text"]) for f in findings]
    return [text[:1].upper() + text[1:] for text in texts]


def _need_lines(document: Document, units: Units) -> list[str]:
    sand, spreader, crew = document["sand"], document["spreader"], document["crew"]

    def mass(key: str) -> str:
        return told(sand[key], "mass", units)

    low, high = si(sand["overthrow_low_kg"]), si(sand["overthrow_high_kg"])
    water = sand["moisture_dry_basis_percent"]
    wet = "" if _is_dry(sand) else f" as delivered (water {water:.1f} % of the dry mass)"
    known = math.isfinite(high)
    lines = [
        f"Needed {mass('needed_kg')}{wet}; with {sand['assurance'] * 100:.0f} % assurance"
        f" {mass('needed_at_assurance_kg')}{'' if known else ' if nothing is thrown over'}."
    ]
    over = ", dry; overthrow is not known and not in the order"
    if known:
        bounds = between(low, high, "mass", units)
        over = f", overthrow to expect {mass('overthrow_kg')} (95 % {bounds}), both dry"
    lines.append(f"On surfaces {mass('on_surfaces_kg')}{over}.")
    if spreader["strip_width_m"] is not None:
        strip, low, high = (si(spreader[f"strip_width_{end}m"]) for end in ("", "low_", "high_"))
        bounds = between(low, high, "length", units)
        lines.append(  # none is narrower than nothing, whatever the balances say
            f"Strip width {shown(max(strip, 0.0), 'length', units)} of"
            f" {printable(spreader['name'] or 'the spreader')}, from"
            f" {listed_dressings(spreader['dressings'])} (95 % of a further dressing {bounds})."
        )
    past = f"from {listed_dressings(crew['dressings'])}" if crew["dressings"] else "by default"
    more = f"{crew['more_than_planned_percent']:.0f}"
    hits = f"spread {more} % more than planned" if more != "0" else "hit the planned rate to"
    lines.append(
        f"The crew is taken to {hits} ± {crew['u_percent']:.0f} % (one standard"
        f" deviation, {past}); the assurance allows for it."
    )
    return lines


def _is_dry(sand: Document) -> bool:
    """Whether its water would be told as nothing."""
    return f"{sand['moisture_dry_basis_percent']:.1f}" == "0.0"


def _order_line(sand: Document, units: Units) -> str:
    """What to order, or why nothing is."""
    if sand["order_kg"]:
        order = si(sand["order_kg"])
        parts = [shown(order, "tonnage", units) + ("s" if units == "us" else "")]
        if sand["bulk_density_kg_m3"]:
            dry = order / (1 + sand["moisture_dry_basis_percent"] / 100)
            volume = shown(dry / sand["bulk_density_kg_m3"], "volume", units)
            parts.append(f"{volume} if dry and poured")
        count = ""
        if sand["units"] is not None:
            unit = told(sand["unit_mass_kg"], "mass", units)
            said = f"{grouped(sand['units'])} unit{'' if sand['units'] == 1 else 's'}"
            count = f", so {said} of {unit}"
        return (
            f"Order {printable(sand['name'])}: {shown(order, 'mass', units)}{count}"
            f"{'' if _is_dry(sand) else f', {BASIS}'}{_also(parts)}."
        )
    if not sand["needed_at_assurance_kg"]:
        return "No sand need be ordered: none is to be spread."
    stock = told(sand["stock_kg"], "mass", units)
    return f"No sand need be ordered: {stock} in stock covers it."


def _also(parts: list[str]) -> str:
    """The same in larger units, but for what is nothing in them."""
    kept = [part for part in parts if part.split()[0].strip("0.")]
    return f" ({'; '.join(kept)})" if kept else ""


def _stock_line(sand: Document, units: Units) -> str:
    stock = si(sand["stock_kg"])
    if sand["stock_from"] is None:
        return "Stock: no delivery of this sand is recorded; it is not known and counts as 0."
    if stock < 0:
        more = shown(-stock, "mass", units)
        return f"Stock: loads exceed deliveries by {more}: a delivery is missing; it counts as 0."
    have = shown(stock, "mass", units)
    doubt = si(sand["u_stock_kg"])
    doubt_said = f" (u {shown(doubt, 'mass', units)}, allowed for)" if doubt > 0 else ""
    done = "is subtracted" if stock else "nothing left"
    return f"Stock: {have}{doubt_said}, {sand['stock_from']}, {done}."


def hole_lines(document: Document, units: Units) -> list[str]:
    """How much of the sand fills the holes first."""
    sand = document["sand"]
    if sand["holes_take_mm"] is None:
        return []
    depth = told(sand["holes_take_mm"], "depth", units)
    mass = told(sand["in_holes_kg"], "mass", units)
    return [f"The holes take {depth} and fill first: {mass} dry of the sand goes into them."]


def _heading_lines(document: Document, units: Units) -> list[str]:
    """What geometry forces beside the surfaces, against the worst and the last headings."""
    ways = [row["heading"] for row in document["surfaces"] if row["heading"]]
    if not ways:
        return []
    best = sum(si(way["forced_kg"]) for way in ways)
    worst = sum(si(way["saving_against_worst_kg"]) for way in ways)
    text = (
        f"At these headings full-width passes that never shut off early throw"
        f" {shown(best, 'mass', units)} beside the surfaces:"
        f" {_less(worst, best + worst, units)} less than at the worst ones (column saves)"
    )
    known_last = [way for way in ways if way["saving_against_last_kg"] is not None]
    if known_last:
        saved = sum(si(way["saving_against_last_kg"]) for way in known_last)
        force = sum(si(way["forced_kg"]) for way in known_last)
        where = (
            "" if len(known_last) == len(ways) else f" on the {len(known_last)} where it is known"
        )
        side = "less" if saved >= 0 else "more"
        text += f", {_less(abs(saved), force + saved, units)} {side} than as last driven{where}"
    return [text + "."]


def _less(saved: float, of: float, units: Units) -> str:
    share = f" ({saved / of * 100:.0f} %)" if of > 0 else ""
    return f"{shown(saved, 'mass', units)}{share}"


def _none_lines(document: Document) -> list[str]:
    """Surfaces that get no sand, by the reason."""
    reasons: dict[str, list[str]] = {}
    for row in document["surfaces"]:
        if not row["mass_kg"] > 0:
            reasons.setdefault(row["note"], []).append(row["id"])
    lines = []
    for note, ids in reasons.items():
        why = note.replace("at its target", "at their targets") if len(ids) > 1 else note
        end = "; --depth plans them all the same." if note in (NO_TARGET, NOT_KNOWN) else "."
        lines.append(f"No sand: {listed_runs(ids, MOST_RUNS)}: {why}{end}")
    return lines


def _light_lines(document: Document, units: Units) -> list[str]:
    light = [r["id"] for r in document["surfaces"] if 0 < r["depth_mm"] < LEAST_SENSIBLE_MM]
    if not light:
        return []
    one = len(light) == 1
    least = told(LEAST_SENSIBLE_MM, "depth", units)
    who = light[0] if one else f"{len(light)} surfaces"
    return [
        f"Hardly worth the way: {who} {'needs' if one else 'need'} less than {least};"
        " --min-depth leaves such out."
    ]


def route_lines(document: Document, units: Units) -> list[str]:
    """How the order of work was made and how far the way is."""
    way = document["route"]
    given = [row["id"] for row in document["surfaces"] if row["mass_kg"] > 0]
    if len(given) < 2:
        return []
    start = "the start" if way["from_a_start"] else given[0]
    length = told(way["length_m"], "way", units)
    return [f"Order of work: {way['order']}; {length} from {start} on, in straight lines."]


def load_lines(document: Document, units: Units) -> list[str]:
    """Which surfaces each load serves, its overthrow included, as weighed."""
    loads, sand = document["loads"], document["sand"]
    given = sum(row["mass_kg"] > 0 for row in document["surfaces"])
    if len(loads) > max(LOADS_A_SURFACE * given, 10) and sand["load_from"] == "one unit":
        size = told(sand["load_kg"], "mass", units)
        count = grouped(len(loads))
        return [f"Loads: {count} of {size}; --load tells what the spreader holds at a time."]
    alike: list[list[Document]] = []
    for load in loads:
        if alike and _same(alike[-1][-1], load):
            alike[-1].append(load)
        else:
            alike.append([load])
    return [_load_line(several, units) for several in alike]


def _same(one: Document, other: Document) -> bool:
    """Whether both loads go wholly, and as much of them, onto the same one surface."""
    first, second = one["surfaces"], other["surfaces"]
    if len(first) > 1 or len(second) > 1 or (one["refill_on"] is None) != (not other["refill_on"]):
        return False
    alike = abs(first[0]["delivered_kg"] - second[0]["delivered_kg"]) < 1e-6 * one["delivered_kg"]
    return bool(first[0]["id"] == second[0]["id"] and alike)


def _load_line(several: list[Document], units: Units) -> str:
    load, last = several[0], several[-1]
    parts = ", ".join(
        f"{part['id']} {told(part['delivered_kg'], 'mass', units)}" for part in load["surfaces"]
    )
    name = f"Load {load['load']}"
    if len(several) > 1:
        name, parts = f"Loads {load['load']}–{last['load']}", f"{parts} each"
    if load["refill_on"] is None:
        return f"{name}: {parts}."
    back = load["to_start_m"]
    far = "" if back is None else f", {told(back, 'way', units)} from the start"
    return f"{name}: {parts}; refill on {load['refill_on']}{far}."
