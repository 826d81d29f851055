"""How the figures come about, what was assumed, what is worth knowing, and the cautions."""

from __future__ import annotations

from collections.abc import Sequence

from geosand.errors import Finding, printable
from geosand.reports.printable.content import Column, Items, Row, Section, Table, Text
from geosand.reports.words import Units, merged_findings, only_dressings
from geosand.results import Results

MOST_FINDINGS, MOST_NAMED = 60, 12

METHOD = (
    "A catch is sand weighed (or measured by volume) from a tray of known size. Its mass without"
    " water, over the tray's area and the tray's efficiency, is the rate where it lay.",
    "The rate of a surface is drawn from its own catches and those of the other surfaces of the"
    " dressing, each weighed by how well it is known. A surface without catches gets the mean of"
    " the dressing, with the wider interval that this deserves.",
    "On surfaces: rate times ground area, summed. Spread: loads less what came back and was"
    " spilled, without water. Overthrow: spread less what is on the surfaces, with its sign.",
    "Depth is nominal: rate over the bulk density of dry, poured sand. Brushing, watering and"
    " mowing move it later.",
    "Each uncertainty is kept by its source from the tray to the season. What is shared (trays,"
    " labels, density, the survey) adds up in full from dressing to dressing; what is new each time"
    " partly cancels. A 95 % interval holds the true value in about 19 of 20 such cases.",
    "Beside the edges the rate is taken to fall evenly from the edge to nothing, just so far that"
    " the strip holds the overthrow. This is common practice without a published source.",
    "The target so far is the season's target times the share of the season that has passed or,"
    " where no end is given, the planned depths so far. The state is the likeliest one.",
)

CAUTIONS = (
    "Dry sand makes dust with respirable crystalline silica. The US limits are 50 µg/m³ over an"
    " 8-hour shift, with an action level of 25 µg/m³ (29 CFR 1926.1153 and 1910.1053); other"
    " countries have their own. Work wet, or with the respirators that local rules ask for.",
    "Lift bulk bags by all their loops and within their safe working load; never stand below one."
    " Damp sand weighs more than the label says.",
    "Keep clear of turning machines and of slopes that they can not hold; mind heat, and drink.",
    "Areas here are for sand planning. Boundary and title work needs a licensed surveyor; follow"
    " local codes and licensed practice.",
)


def trust_sections(results: Results, units: Units) -> list[Section]:
    """The closing sections of a report; lengths and areas of findings in the reader's units too."""
    defaults = [f for f in results.findings if f.topic == "default"]
    others = [f for f in results.findings if f.topic != "default"]
    worth_knowing = _told(results, others, "Nothing was noticed.", units)
    sections = [
        Section(title="How the figures come about", blocks=(Items(items=METHOD),)),
        Section(title="Worth knowing", blocks=worth_knowing),
        Section(title="What was assumed", blocks=_told(results, defaults, _NO_DEFAULTS, units)),
        Section(title="Cautions", blocks=(Items(items=CAUTIONS),)),
    ]
    if results.site.inputs:
        sections.append(_inputs(results))
    return sections


_NO_DEFAULTS = "Nothing: each figure that enters was given."


def _told(
    results: Results, findings: Sequence[Finding], none: str, units: Units
) -> tuple[Text | Items, ...]:
    if not findings:
        return (Text(text=none),)
    told = [finding._asdict() for finding in findings]
    merged = merged_findings(told, units, MOST_NAMED, only_dressings(results.site))
    lines = [printable(line) for line in merged]
    items = lines[:MOST_FINDINGS]
    rest = len(lines) - len(items)
    more = (Text(text=f"And {rest} more, which geosand check lists.", soft=True),) if rest else ()
    return (Items(items=items), *more)


def _inputs(results: Results) -> Section:
    """The files that were read, so that the report can be held against them."""
    rows = [
        Row(cells=(printable(name), digest)) for name, digest in sorted(results.site.inputs.items())
    ]
    columns = (Column(head="file", width=150), Column(head="SHA-256", width=360))
    return Section(title="Files read", blocks=(Table(columns=columns, rows=rows),))
