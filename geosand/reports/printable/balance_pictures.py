"""Where the sand went: a waterfall; where the doubt comes from: one bar a source."""

from __future__ import annotations

import math
from collections.abc import Sequence

from geosand.columns import frozen
from geosand.reports.classes import Scale
from geosand.reports.documents import Document
from geosand.reports.printable.drawing import (
    ELSEWHERE,
    FAINT,
    HAIR,
    INK,
    PAPER,
    SAND,
    SOFT,
    Box,
    Drawing,
    Line,
    Mark,
    Words,
)
from geosand.reports.words import MISSING, Units, between, label_of, shown
from geosand.units import SHOWN

Limits = tuple[float, float]

UNKNOWN = (math.nan, math.nan)
NARROW = 400.0  #: below this width labels stand over their bars
BAR, ROW, TALL_ROW = 14.0, 29.0, 38.0
TOP, BOTTOM = 6.0, 24.0
LABELS, FIGURES = 132.0, 102.0


@frozen
class Stage:
    """One bar of the waterfall, from ``start_kg`` to ``end_kg``; backwards where it is negative."""

    label: str
    start_kg: float
    end_kg: float
    limits_kg: Limits = UNKNOWN  #: interval of the bar's own mass
    part: bool = False  #: of the stage above it
    on_surfaces: bool = False
    backwards: bool = False  #: more was claimed than spread

    @property
    def mass_kg(self) -> float:
        """Signed mass."""
        return self.end_kg - self.start_kg


def sand_picture(stages: Sequence[Stage], units: Units, width: float) -> Drawing:
    """The waterfall, ``width`` points wide; each bar has its label and figure beside or over it."""
    narrow = width < NARROW
    left, right = (4.0, 4.0) if narrow else (LABELS, FIGURES)
    row = TALL_ROW if narrow else ROW
    factor = SHOWN[units]["mass"][0]
    ends = [v for s in stages for v in (s.start_kg, s.end_kg, *_whisker(s)) if math.isfinite(v)]
    scale = Scale.over([v * factor for v in ends], start=left, end=width - right, tight=True)
    bottom = TOP + row * len(stages)
    marks: list[Mark] = _grid(scale, bottom, units)
    for k, stage in enumerate(stages):
        y = TOP + row * k + (row - BAR - (4 if narrow else 8))
        if k + 1 < len(stages):
            marks.append(_leader(scale.at(stages[k + 1].start_kg * factor), y, row))
        marks += _bar(stage, scale, factor, y)
        marks += _labels(stage, units, width, y, narrow)
    return Drawing(width=width, height=bottom + BOTTOM, marks=marks, said=_said(stages, units))


def _whisker(stage: Stage) -> Limits:
    return stage.start_kg + stage.limits_kg[0], stage.start_kg + stage.limits_kg[1]


def _grid(scale: Scale, bottom: float, units: Units) -> list[Mark]:
    marks: list[Mark] = []
    for value in scale.marks():
        x = scale.at(value)
        marks.append(Line(x1=x, y1=TOP, x2=x, y2=bottom, colour=FAINT if value else HAIR))
        text = scale.text(value)
        if value == scale.marks()[-1]:
            text += f"\u00a0{label_of('mass', units)}"
        marks.append(Words(x=x, y=bottom + 11, text=text, size=7, anchor="middle", colour=SOFT))
    return marks


def _leader(x: float, y: float, row: float) -> Mark:
    return Line(x1=x, y1=y + BAR, x2=x, y2=y + row, colour=SOFT, width=0.5, dash=(1.5, 1.5))


def _bar(stage: Stage, scale: Scale, factor: float, y: float) -> list[Mark]:
    """The bar, its outline telling what kind it is, and its whisker."""
    start, end = sorted((scale.at(stage.start_kg * factor), scale.at(stage.end_kg * factor)))
    fill = SAND if stage.on_surfaces else PAPER if stage.backwards else ELSEWHERE
    if not stage.part and not stage.on_surfaces and stage.start_kg == 0:
        fill = HAIR  # all that was spread
    height, top = (BAR - 4, y + 2) if stage.part else (BAR, y)
    stroke = INK if stage.backwards else ""
    marks: list[Mark] = [
        Box(x=start, y=top, width=max(end - start, 0.7), height=height, fill=fill, stroke=stroke)
    ]
    if all(map(math.isfinite, stage.limits_kg)):
        low, high = (scale.at(v * factor) for v in _whisker(stage))
        marks += whisker(low, high, y + BAR / 2)
    return marks


def whisker(low: float, high: float, y: float, *, cap: float = 2.6) -> list[Mark]:
    """A line from low to high with end caps, on a white line so that it shows on any bar."""
    lines = [(low, y, high, y), (low, y - cap, low, y + cap), (high, y - cap, high, y + cap)]
    return [
        Line(x1=a, y1=b, x2=c, y2=d, colour=colour, width=width)
        for colour, width in ((PAPER, 2.2), (INK, 0.9))
        for a, b, c, d in lines
    ]


def _labels(stage: Stage, units: Units, width: float, y: float, narrow: bool) -> list[Mark]:
    indent = 10.0 if stage.part else 0.0
    size = 8.0 if stage.part else 8.5
    figure = shown(stage.mass_kg, "mass", units)
    known = all(map(math.isfinite, stage.limits_kg))
    limits = between(*stage.limits_kg, "mass", units) if known else ""
    if narrow:
        beside = f"{figure}  ({limits})" if limits else figure
        return [
            Words(x=4 + indent, y=y - 4, text=stage.label, size=size, bold=not stage.part),
            Words(x=width - 4, y=y - 4, text=beside, size=size, anchor="end"),
        ]
    middle = y + BAR / 2
    name = Words(x=indent, y=middle + size * 0.35, text=stage.label, size=size, bold=not stage.part)
    up = 0.5 if limits else size * 0.35
    marks: list[Mark] = [
        name,
        Words(x=width, y=middle + up, text=figure, size=size, anchor="end", bold=not stage.part),
    ]
    if limits:
        below = Words(x=width, y=middle + 9.5, text=limits, size=6.8, anchor="end", colour=SOFT)
        marks.append(below)
    return marks


def _said(stages: Sequence[Stage], units: Units) -> str:
    told = [f"{s.label} {shown(s.mass_kg, 'mass', units)}" for s in stages]
    return "; ".join(told) or MISSING


SOURCE_ROW, SOURCE_BAR, SOURCE_TOP, SOURCE_BOTTOM = 16.0, 8.5, 4.0, 15.0
SOURCE_LABELS, SOURCE_FIGURES = 100.0, 92.0
FILL = "#7f877a"


def budget_picture(sources: Sequence[Document], units: Units, width: float) -> Drawing:
    """Shares of the variance by source (``source``, ``u_kg``, ``share``), which sum to 1."""
    start, end = SOURCE_LABELS, width - SOURCE_FIGURES
    bottom = SOURCE_TOP + SOURCE_ROW * len(sources)
    marks: list[Mark] = []
    most = max((s["share"] for s in sources), default=1.0)
    steps = [0.25 * k for k in range(5) if 0.25 * (k - 1) < most]
    top = max(steps[-1], 0.25)
    for share in steps:
        x = start + (end - start) * share / top
        marks.append(Line(x1=x, y1=SOURCE_TOP, x2=x, y2=bottom, colour=FAINT if share else HAIR))
        text = f"{share * 100:.0f} %"
        marks.append(Words(x=x, y=bottom + 10, text=text, size=7, anchor="middle", colour=SOFT))
    for k, source in enumerate(sources):
        middle = SOURCE_TOP + SOURCE_ROW * (k + 0.5)
        long = (end - start) * source["share"] / top
        marks.append(Words(x=0, y=middle + 3, text=source["source"], size=8.5))
        marks.append(
            Box(
                x=start,
                y=middle - SOURCE_BAR / 2,
                width=max(long, 0.7),
                height=SOURCE_BAR,
                fill=FILL,
            )
        )
        for x, text in (
            (width - 54, f"{whole_percent(source['share'])} %"),
            (width, f"± {shown(source['u_kg'], 'mass', units)}"),
        ):
            marks.append(Words(x=x, y=middle + 3, text=text, size=8, anchor="end"))
    told = ", ".join(f"{s['source']} {whole_percent(s['share'])} %" for s in sources)
    return Drawing(width=width, height=bottom + SOURCE_BOTTOM, marks=marks, said=told or MISSING)


def whole_percent(share: float) -> str:
    """A share in whole percents; a small one is not called nothing."""
    return "< 1" if 0 < share < 0.005 else f"{share * 100:.0f}"
