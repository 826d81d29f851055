"""Small pictures that stand in the cells of a table, on one scale with the picture in its head."""

from __future__ import annotations

import math

import numpy as np

from geosand.columns import Floats, frozen
from geosand.reports.classes import Scale
from geosand.reports.printable.balance_pictures import whisker
from geosand.reports.printable.drawing import (
    ALARM,
    FAINT,
    HAIR,
    INK,
    PAPER,
    SAND,
    SAND_DARK,
    SOFT,
    Box,
    Drawing,
    Line,
    Mark,
    Outline,
    Words,
    flag,
    text_width,
)

HEIGHT = 12.0
PAD = 5.0  #: room at both ends, for marks that reach over


def scale_over(values: list[float], width: float) -> Scale:
    """The scale of a column of pictures, ``width`` points wide."""
    return Scale.over(values, start=PAD, end=width - PAD, marks=4)


def scale_head(scale: Scale, unit: str, width: float, label: str) -> Drawing:
    """The head of such a column: what is drawn, and the scale's marks."""
    marks: list[Mark] = [Words(x=PAD, y=8, text=f"{label}, {unit}", size=7.5, bold=True)]
    taken: list[tuple[float, float]] = []
    ends = (0.0, scale.marks()[-1], scale.marks()[0])
    for value in dict.fromkeys([*ends, *scale.marks()]):  # zero and the ends have the first right
        x = scale.at(value)
        half = text_width(scale.text(value), 6.8) / 2
        place = min(max(x, half), width - half)
        marks.append(Line(x1=x, y1=21, x2=x, y2=24, colour=SOFT, width=0.5))
        if any(low < place + half + 3 and place - half - 3 < high for low, high in taken):
            continue
        taken.append((place - half, place + half))
        marks.append(Words(x=place, y=19, text=scale.text(value), size=6.8, anchor="middle"))
    return Drawing(width=width, height=24, marks=marks, said=f"{label}, {unit}")


def _grid(scale: Scale) -> list[Mark]:
    return [
        Line(x1=x, y1=0, x2=x, y2=HEIGHT, colour=HAIR if value == 0 else FAINT, width=0.6)
        for value, x in ((value, scale.at(value)) for value in scale.marks())
    ]


@frozen
class Depth:
    """Depth of one surface against its target, in the unit of the scale; nan = no figure."""

    value: float
    low: float
    high: float
    target: float
    tolerance: float
    under: bool
    estimated: bool  #: no catch of its own


def depth_bar(depth: Depth, scale: Scale, width: float) -> Drawing:
    """A bar of the depth with its interval; a line at the target in its band of tolerance.

    A surface without catches of its own has an open bar, one that falls behind a triangle.
    """
    marks = _grid(scale)
    middle = HEIGHT / 2
    if math.isfinite(depth.target):
        low = scale.at(depth.target * (1 - depth.tolerance))
        high = scale.at(depth.target * (1 + depth.tolerance))
        marks.append(Box(x=low, y=0, width=max(high - low, 0.5), height=HEIGHT, fill=FAINT))
    if math.isfinite(depth.value):
        start, end = scale.at(0.0), scale.at(depth.value)
        fill, stroke = (PAPER, SAND_DARK) if depth.estimated else (SAND, SAND)
        box = Box(x=start, y=3.2, width=max(end - start, 0.4), height=HEIGHT - 6.4, fill=fill)
        marks.append(box)
        marks.append(Outline(ways=(_corners(box),), stroke=stroke, width=0.7))
    if math.isfinite(depth.target):
        x = scale.at(depth.target)
        colour = ALARM if depth.under else INK
        marks.append(Line(x1=x, y1=0.4, x2=x, y2=HEIGHT - 0.4, colour=colour, width=1.5))
        if depth.under:
            marks.append(flag(x, 4.4, 4.4))
    if math.isfinite(depth.low) and math.isfinite(depth.high):
        marks += whisker(scale.at(depth.low), scale.at(depth.high), middle, cap=1.9)
    return Drawing(width=width, height=HEIGHT, marks=marks)


def _corners(box: Box) -> Floats:
    right, low = box.x + box.width, box.y + box.height
    return np.array([[box.x, box.y], [right, box.y], [right, low], [box.x, low]])


def interval_mark(value: float, low: float, high: float, scale: Scale, width: float) -> Drawing:
    """A dot with its interval about the zero line; an open dot where the interval holds zero."""
    marks = _grid(scale)
    zero = scale.at(0.0)
    marks.append(Line(x1=zero, y1=0, x2=zero, y2=HEIGHT, colour=INK, width=0.9))
    if math.isfinite(low) and math.isfinite(high):
        marks += whisker(scale.at(low), scale.at(high), HEIGHT / 2, cap=0.0)
    if math.isfinite(value):
        told = low > 0 or high < 0
        half = 2.6
        x = scale.at(value)
        box = Box(
            x=x - half,
            y=HEIGHT / 2 - half,
            width=2 * half,
            height=2 * half,
            fill=INK if told else PAPER,
            stroke=INK,
            stroke_width=0.9,
        )
        marks.append(box)
    return Drawing(width=width, height=HEIGHT, marks=marks)
