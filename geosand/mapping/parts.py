"""The page's own HTML around map and table: title, balance, legend, lists, still picture."""

from __future__ import annotations

import re
from collections.abc import Sequence
from html import escape
from itertools import pairwise

from geosand.mapping.breaks import period_breaks
from geosand.mapping.table import NOT_MEASURED
from geosand.mapping.view import SYSTEMS, MapPeriod, MapView, Said, System, said
from geosand.mapping.words import (
    LEGENDS,
    SCALES,
    SYSTEM_NAMES,
    UNITS,
    figure,
    interval,
    number,
    plain,
)
from geosand.reports.words import glued

CAUTION = (
    "Areas are for planning sand and are no substitute for a licensed survey. Depths are nominal: "
    "dry product over bulk density, before brushing, watering and mowing. Intervals hold 95 %; "
    "± is one standard uncertainty."
)


def masthead(view: MapView) -> str:
    """Title, what and when; the choice of period and units, and print."""
    radios = "".join(
        f'<label><input type="radio" name="gs-units" value="{key}"'
        f"{' checked' if key == view.units else ''}>{name}</label>"
        for key, name in SYSTEM_NAMES.items()
    )
    options = "".join(
        f'<option value="{index}">{escape(plain(period.label))}</option>'
        for index, period in enumerate(view.periods)
    )
    until = f"as of {view.as_of}" if view.as_of else ""
    # A date is never cut in two at the end of a line.
    subtitle = " ".join(
        f"<span>{escape(plain(part))}</span>" for part in (view.subtitle, until) if part
    )
    return (
        '<a class="skip" href="#gs-table">Skip to the table</a>\n'
        f'<header class="masthead"><div><h1 dir="auto">{escape(plain(view.title))}</h1>'
        f'<p class="subtitle">{subtitle}</p></div>\n'
        f'<div class="tools"><label class="period"{"" if options else " hidden"}>'
        f'<span>Period</span> <select id="gs-period">{options}</select></label>'
        f"<fieldset><legend>Units</legend>{radios}</fieldset>"
        '<button type="button" id="gs-print">Print</button></div></header>'
    )


def legend(view: MapView) -> str:
    """The legend of the first view; the script writes the classes of the others."""
    period = view.periods[0] if view.periods else MapPeriod(key="", label="")
    breaks = period_breaks(view, period)["depth"][view.units]
    _, unit, decimals = UNITS[view.units]["depth"]
    items = "".join(
        f'<li><i style="background:{colour}"></i>{label}</li>'
        for colour, label in zip(SCALES["depth"], class_labels(breaks, decimals), strict=False)
    )
    return (
        '<section class="legend" aria-label="Legend">'
        f'<h2 id="gs-legend-title">{LEGENDS["depth"]}, {unit}</h2><ul id="gs-classes">{items}</ul>'
        f'<ul id="gs-signs">{_signs(view)}</ul></section>'
    )


def class_labels(breaks: list[float], decimals: int) -> list[str]:
    """Words for the five classes between four limits, with no more decimals than they need.

    >>> class_labels([0.7, 0.8, 0.9, 1.0], 2)
    ['under 0.7', '0.7–0.8', '0.8–0.9', '0.9–1.0', '1.0 or more']
    """
    if not breaks:
        return []
    while decimals and all(round(limit, decimals - 1) == limit for limit in breaks):
        decimals -= 1
    text = [number(limit, decimals) for limit in breaks]
    joint = " to " if breaks[0] < 0 else "–"
    between = [low + joint + high for low, high in pairwise(text)]
    return [f"under {text[0]}", *between, f"{text[-1]} or more"]


def _signs(view: MapView) -> str:
    """What is drawn beside colour: only the signs that occur on this map."""
    figures = [surface for period in view.periods for surface in period.surfaces.values()]
    estimated = any(surface.basis == "other surfaces" for surface in figures)
    under = any(surface.state == "under-dressed" for surface in figures)
    least = any(s.state == NOT_MEASURED and s.depth_m is not None for s in figures)
    used = any(catch.used for catch in view.catches)
    aside = any(not catch.used for catch in view.catches)
    measured = "depth shortfall overthrow"
    signs = (
        (
            estimated,
            "depth shortfall catches",
            '<i class="hatch"></i>estimated from other surfaces',
        ),
        (under, measured, '<i class="under">▼</i>under-dressed'),
        (True, "depth shortfall", '<i class="none"></i>no figure'),
        (least, "depth", '<i class="neutral">≥</i>at least: a dressing was not measured'),
        (bool(view.rings), "overthrow", '<i class="neutral"></i>dressed surface'),
        (used, f"{measured} areas", '<i class="catch"></i>catch', "near"),
        (used, "catches", '<i class="count">3</i>number of catches', "far"),
        (
            used,
            "catches",
            f'<em data-m="0.00084">{figure(0.00084, "depth", view.units)}</em>'
            f"<span>depth in the tray, <span>{UNITS[view.units]['depth'][1]}</span></span>",
            "near",
        ),
        (aside, f"{measured} catches areas", '<i class="aside">×</i>catch set aside', "near"),
    )
    lines = [
        f'<li data-for="{themes}" class="{"".join(when)}">{text}</li>'
        for there, themes, text, *when in signs
        if there
    ]
    if view.fields:
        lines.append('<li data-for="depth" class="near" data-cells="yes" hidden>'
                     '<i class="cells"></i>depth by place, from its own catches</li>')  # fmt: skip
    if view.passes:
        lines.append('<li data-for="depth shortfall overthrow catches areas" class="near" '
                     'data-overlay="passes" hidden><i class="pass"></i>pass of the next dressing; '
                     "the dot: where the first begins</li>")  # fmt: skip
    return "".join(lines)


def balance_of(view: MapView) -> str:
    """Where the script writes the balance; for who runs none, that of the first period in words."""
    told = "".join(
        f"<div></div><noscript>{_balance_told(period, view.units)}</noscript>"
        for period in view.periods[:1]
    )
    return f'<section class="account" aria-label="Balance">{told}</section>'


def _balance_told(period: MapPeriod, system: System) -> str:
    texts = [said(period.headline, system)] if period.headline else []
    balance, measured = period.balance, "Not measured: no balance without both loads and catches."
    if balance is None and all(surface.depth_m == 0 for surface in period.surfaces.values()):
        measured = ""  # nothing was dressed
    elif balance is not None and balance.spread_kg is not None:
        measured = f"Spread {figure(balance.spread_kg, 'mass', system, unit=True)}"
        if balance.on_surfaces_kg is None:
            measured += "; not measured where it landed."
        else:
            on = interval(balance.on_surfaces_low_kg, balance.on_surfaces_high_kg, "mass", system)
            over = interval(balance.overthrow_low_kg, balance.overthrow_high_kg, "mass", system)
            measured += (
                f", on surfaces {figure(balance.on_surfaces_kg, 'mass', system, unit=True)}"
                f" (95\u00a0% {on}), overthrow"
                f" {figure(balance.overthrow_kg, 'mass', system, unit=True)} (95\u00a0% {over})."
            )
    lines = "".join(f"<p>{escape(plain(text))}</p>" for text in (*texts, measured) if text)
    return f"<h2>{escape(plain(period.label))}</h2>{lines}"


def look_first(view: MapView) -> str:
    """What to do next, and the few things to look at first, leading to their surfaces."""
    told = ""
    if view.next_step:
        step = _OPTION.sub(r'<span class="one">\g<0></span>', _linked(view, view.next_step, {}))
        told = f'<p class="next">{step}</p>'
    if view.first:
        told += f"<ol>{_items(view, view.first)}</ol>"
    return f'<section class="first"><h2>Look first</h2>{told}</section>' if told else ""


def findings(view: MapView) -> str:
    """All findings, folded away."""
    if not view.findings:
        return ""
    summary = f"<summary>Findings ({len(view.findings)})</summary>"
    return f'<details class="findings">{summary}<ul>{_items(view, view.findings)}</ul></details>'


def _items(view: MapView, lines: Sequence[Said]) -> str:
    places = _places(view)
    return "".join(f"<li>{_linked(view, text, places)}</li>" for text in lines)


def _places(view: MapView) -> dict[str, int]:
    """Numbers of the surfaces by id and name; an id wins over a name, the first over the next."""
    numbered = [*enumerate(view.surfaces)][::-1]
    return {s.name: k for k, s in numbered} | {s.id: k for k, s in numbered}


def _linked(view: MapView, text: Said, places: dict[str, int]) -> str:
    """A line in both systems of units; surfaces named at its head become links to them."""
    about, cut = _about(said(text, view.units), places)
    names = [
        f'<a href="#{escape(view.surfaces[k].id)}" data-s="{k}">'
        f"{escape(plain(view.surfaces[k].name))}</a>"
        for k in about
    ]
    links = " ".join([*[f'<span class="one">{name},</span>' for name in names[:-1]], *names[-1:]])
    rest = {system: glued(said(text, system)[cut:]) for system in SYSTEMS}
    if links and all(line.startswith(":") for line in rest.values()):
        links, rest = links + ":", {system: line[1:] for system, line in rest.items()}
    if len(set(rest.values())) == 1:
        return links + escape(plain(rest[view.units]))
    return links + "".join(
        f'<span data-units="{system}"{"" if system == view.units else " hidden"}>'
        f"{escape(plain(rest[system]))}</span>"
        for system in SYSTEMS
    )


def _about(text: str, places: dict[str, int]) -> tuple[list[int], int]:
    """The surfaces that a line begins with, and where their names end; none: the whole line."""
    head, colon, _ = text.partition(":")
    names = _MORE.sub("", head)
    each = [names] if names in places else names.split(", ")
    about = [places[name] for name in each if name in places]
    return (about, len(names)) if colon and len(about) == len(each) else ([], 0)


#: An option of a command, which no line parts.
_OPTION = re.compile(r"--[a-z]+")
#: Behind the names: how many more there are.
_MORE = re.compile(r" and \d+ more$")
