"""What designs of catches would see, as one page: two plots and the table."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from html import escape
from itertools import pairwise
from typing import Any

from geosand.errors import printable
from geosand.reports.documents import Document
from geosand.reports.power import (
    MOST_CATCHES,
    design_rows,
    dressed_surfaces,
    power_answers,
    power_basis,
)
from geosand.reports.printed_page import asset, page

WIDE, HIGH = 480, 330
LEFT, RIGHT, TOP, BOTTOM = 46, 92, 12, 44
PERCENTS = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)
MOST_CURVES = 4
LINE = 14.0  #: least distance of two labels, in units of the drawing

Points = list[tuple[float, float]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Plot:
    """Curves of percents against a number of surfaces or catches; both axes logarithmic."""

    title: str
    across: str  #: what the lower axis counts
    curves: dict[str, Points]  #: label -> (count, percent), in order of count
    goals: tuple[float, ...] = ()  #: percents that were asked for


def power_page(document: Document, made_with: Mapping[str, Any] | None = None) -> str:
    """The whole page of a power document, the same bytes each time."""
    name = printable(document["site"])
    title = f"{name}: how many catches"
    told = "".join(f'<p class="told">{escape(line)}</p>\n' for line in power_answers(document))
    figures = "".join(
        f"<figure><h2>{escape(plot.title)}</h2>{drawn(plot)}"
        "<figcaption>Both scales are logarithmic.</figcaption></figure>\n"
        for plot in (overthrow_plot(document), depth_plot(document))
    )
    body = f'<h1>{escape(title)}</h1>\n{told}<div class="plots">\n{figures}</div>\n'
    basis = f"<p>{escape(power_basis(document))}</p>\n"
    body = f"<main>{body}{_table(document)}{basis}</main>\n"
    data = {"inputs": document["inputs"], "made_with": dict(made_with or {})}
    return page(title=title, body=body, style=asset("power.css"), data=data)


def overthrow_plot(document: Document) -> Plot:
    """Smallest overthrow seen against the surfaces caught, a curve a number of catches on each."""
    curves = {
        f"{n} on each": _points(document, "surfaces", "overthrow_percent", "catches_on_each", n)
        for n in (1, 2, 4, MOST_CATCHES)
    }
    return Plot(
        title="Smallest overthrow seen, % of the spread",
        across="Surfaces with catches",
        curves=curves,
        goals=_goals(document, "overthrow_percent"),
    )


def depth_plot(document: Document) -> Plot:
    """± of a caught surface's depth against the catches on each, a curve a number of surfaces."""
    rows = sorted({row["surfaces"] for row in document["designs"]})
    last = len(rows) - 1
    chosen = {rows[round(last * k / (MOST_CURVES - 1))] for k in range(MOST_CURVES)}
    curves = {
        f"{m} surface{'s' if m > 1 else ''}": _points(
            document, "catches_on_each", "depth_percent", "surfaces", m
        )
        for m in sorted(chosen)
    }
    return Plot(
        title="A caught surface's depth is known to ± %",
        across="Catches on each surface",
        curves=curves,
        goals=_goals(document, "depth_percent"),
    )


def _points(document: Document, across: str, up: str, of: str, number: int) -> Points:
    rows = [row for row in document["designs"] if row[of] == number]
    return sorted((float(row[across]), float(row[up])) for row in rows)


def _goals(document: Document, key: str) -> tuple[float, ...]:
    return tuple(float(a["percent"]) for a in document["asked"] if a["what"] == key)


def drawn(plot: Plot) -> str:
    """The plot as inline SVG with its labels at the ends of the curves."""
    points = [point for curve in plot.curves.values() for point in curve]
    counts = sorted({x for x, _ in points})
    heights = [y for _, y in points] + list(plot.goals)
    least = max((p for p in PERCENTS if p <= min(heights)), default=PERCENTS[0])
    most = min((p for p in PERCENTS if p >= max(heights)), default=PERCENTS[-1])
    width, height = WIDE - LEFT - RIGHT, HIGH - TOP - BOTTOM
    reach = math.log(counts[-1] / counts[0]) or 1.0
    rise = math.log(most / least) or 1.0

    def at(x: float, y: float) -> tuple[float, float]:
        y = min(max(y, least), most)
        right = LEFT + width * math.log(x / counts[0]) / reach
        return right, TOP + height * (1 - math.log(y / least) / rise)

    marks = [_level(p, at(counts[0], p)[1]) for p in PERCENTS if least <= p <= most]
    marks += _counts([(x, at(x, least)[0]) for x in counts])
    for goal in plot.goals:
        y = at(counts[0], goal)[1]
        marks.append(f'<path class="goal" d="M{LEFT} {y:.1f}h{width}"/>')
        marks.append(f'<text class="goalword" x="{LEFT + 4}" y="{y - 4:.1f}">asked</text>')
    marks += _curves({name: [at(*p) for p in curve] for name, curve in plot.curves.items()})
    frame = f'<path class="frame" d="M{LEFT} {TOP}v{height}h{width}"/>'
    words = (
        f'<text class="soft middle" x="{LEFT + width / 2:.0f}" y="{HIGH - 8}">'
        f"{escape(plot.across)}</text>"
    )
    return (
        f'<svg viewBox="0 0 {WIDE} {HIGH}" role="img" aria-label="{escape(plot.title)}; the table'
        f' below holds the same figures">{"".join(marks)}{frame}{words}</svg>'
    )


def _curves(curves: dict[str, Points]) -> list[str]:
    """Lines, dots and labels of curves that are already in units of the drawing."""
    marks: list[str] = []
    heights = apart([curve[-1][1] for curve in curves.values()])
    below = max(max(heights) - (HIGH - BOTTOM), 0.0)  # there the axis has its numbers
    for k, ((label, curve), y) in enumerate(zip(curves.items(), heights, strict=True)):
        way = " ".join(f"{right:.1f},{down:.1f}" for right, down in curve)
        marks.append(f'<polyline class="curve c{k}" points="{way}"/>')
        marks += [
            f'<circle class="c{k}" cx="{right:.1f}" cy="{down:.1f}" r="2.4"/>'
            for right, down in curve
        ]
        place = f'x="{WIDE - RIGHT + 8}" y="{y - below + 4:.1f}"'
        marks.append(f'<text class="c{k}" {place}>{label}</text>')
    return marks


def _level(percent: int, y: float) -> str:
    return (
        f'<path class="grid" d="M{LEFT} {y:.1f}h{WIDE - LEFT - RIGHT}"/>'
        f'<text class="soft end" x="{LEFT - 6}" y="{y + 4:.1f}">{percent} %</text>'
    )


def _counts(places: list[tuple[float, float]]) -> list[str]:
    """Numbers along the lower axis, from the right, those that have room."""
    marks: list[str] = []
    free = math.inf
    for count, x in reversed(places):
        if x + 16 <= free:
            marks.append(
                f'<text class="soft middle" x="{x:.1f}" y="{HIGH - BOTTOM + 16}">{count:g}</text>'
            )
            free = x
    return marks


def apart(heights: list[float]) -> list[float]:
    """Heights of labels moved as little as needed so that none covers another, in their order.

    >>> apart([50.0, 52.0, 90.0])
    [44.0, 58.0, 90.0]
    """
    order = sorted(range(len(heights)), key=lambda k: heights[k])
    groups: list[list[int]] = [[k] for k in order]

    def span(group: list[int]) -> tuple[float, float]:
        middle = sum(heights[k] for k in group) / len(group)
        half = LINE * (len(group) - 1) / 2
        return middle - half, middle + half

    merged = True
    while merged:
        merged = False
        for low, high in pairwise(range(len(groups))):
            if span(groups[low])[1] + LINE > span(groups[high])[0]:
                groups[low : high + 1] = [groups[low] + groups[high]]
                merged = True
                break
    out = list(heights)
    for group in groups:
        for place, k in enumerate(group):
            out[k] = span(group)[0] + LINE * place
    return out


def _table(document: Document) -> str:
    heads = "".join(f'<th scope="col">{n}</th>' for n in range(1, MOST_CATCHES + 1))
    body = "".join(
        f'<tr><th scope="row">{m}</th>{"".join(f"<td>{cell}</td>" for cell in cells)}</tr>\n'
        for m, cells in design_rows(document).items()
    )
    return (
        "<p>Smallest overthrow seen / a caught surface's depth to"
        f" ±, both in %, of {dressed_surfaces(document)}. Rows: surfaces with catches;"
        " columns: catches on each.</p>\n"
        '<div class="wide" tabindex="0" role="region" aria-label="Figures of every design"><table>'
        '<thead><tr><th scope="col">surfaces</th>'
        f"{heads}</tr></thead><tbody>\n{body}</tbody></table></div>\n"
    )
