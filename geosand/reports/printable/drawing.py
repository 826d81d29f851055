"""Pictures as lists of marks in points (1/72 inch), y downwards: written as SVG or as PDF alike."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np

from geosand.columns import Floats, frozen

Anchor = Literal["start", "middle", "end"]
WIDTH, PHONE = 510.0, 330.0  #: points; 180 mm, which A4 and Letter both hold, and a phone

#: One ink, one soft ink, hairlines, and sand; meaning never rests on a colour alone.
INK, SOFT, HAIR, FAINT, PAPER = "#1f211e", "#5b6057", "#c9ccc4", "#eceee8", "#ffffff"
SAND, SAND_DARK, ELSEWHERE, ALARM = "#d9a95b", "#8c5a14", "#7d78ad", "#8f1d14"
#: Sequential scheme YlOrBr by C. Brewer (colorbrewer2.org, Apache-2.0): darker is more, in grey too
DEPTHS = ("#ffffd4", "#fed98e", "#fe9929", "#d95f0e", "#993404")

#: Mean width of a letter over the letter's size, by kind: near enough to place labels.
_NARROW, _USUAL, _BROAD = 0.33, 0.6, 0.86


@frozen
class Line:
    """A straight line."""

    x1: float
    y1: float
    x2: float
    y2: float
    colour: str = INK
    width: float = 0.75
    dash: tuple[float, float] | None = None


@frozen
class Box:
    """An upright rectangle."""

    x: float
    y: float
    width: float
    height: float
    fill: str = SAND
    stroke: str = ""
    stroke_width: float = 0.6


@frozen
class Outline:
    """Closed rings, holes by the even-odd rule, or open ways where ``closed`` is False."""

    ways: tuple[Floats, ...]  #: each (n, 2)
    fill: str = ""
    stroke: str = ""
    width: float = 0.6
    dash: tuple[float, float] | None = None
    closed: bool = True


@frozen
class Words:
    """A line of text; ``y`` is its baseline. ``halo`` keeps it readable over a map."""

    x: float
    y: float
    text: str
    size: float = 8.0
    anchor: Anchor = "start"
    colour: str = INK
    bold: bool = False
    halo: bool = False


Mark = Line | Box | Outline | Words


@frozen
class Drawing:
    """Marks on a sheet of ``width`` × ``height`` points, those that come later on top."""

    width: float
    height: float
    marks: Sequence[Mark]
    said: str = ""  #: what a reader hears who does not see it


def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """Width of a line of text, erring to the wide side.

    >>> text_width("iii", 10) < text_width("mmm", 10)
    True
    """
    letters = sum(
        _NARROW if letter in " .,:;|!'iljtfrI()–·" else _BROAD if letter in "mwMWQG@%" else _USUAL
        for letter in text
    )
    return letters * size * (1.1 if bold else 1.0)


def flag(x: float, y: float, size: float, colour: str = ALARM) -> Outline:
    """A triangle that points down: the mark of what falls behind. ``y`` is its lower end."""
    half = 0.55 * size
    corners = np.array([[x - half, y - size], [x + half, y - size], [x, y]])
    return Outline(ways=(corners,), fill=colour)
