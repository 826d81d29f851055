"""What a report says, as plain data: sections of texts, lists, tables and pictures."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import field
from typing import Any, Literal

from geosand.columns import frozen
from geosand.reports.printable.drawing import Drawing

Cell = str | Drawing


@frozen
class Text:
    """A paragraph."""

    text: str
    soft: bool = False


@frozen
class Items:
    """A list, numbered in order of weight or not."""

    items: Sequence[str]
    numbered: bool = False


@frozen
class Figure:
    """One figure to be seen from afar: what it is, the figure, and what stands beside it."""

    label: str
    value: str
    detail: str = ""


@frozen
class Figures:
    """A row of them."""

    figures: Sequence[Figure]


@frozen
class Picture:
    """A drawing with its caption; ``narrow`` is the same for a phone."""

    drawing: Drawing
    caption: str
    narrow: Drawing | None = None


@frozen
class Column:
    """A column: its head (words, or a scale), its width in points on paper, how it is set."""

    head: Cell
    width: float
    align: Literal["left", "right"] = "left"
    wrap: bool = False  #: long text goes on in a second line; else it is kept in one


@frozen
class Row:
    """A row; ``tone`` says whether it stands out, is a sum, or begins a group."""

    cells: Sequence[Cell]
    tone: Literal["", "alarm", "sum", "group"] = ""


@frozen
class Table:
    """Rows under a head that is repeated on each page; no row is cut."""

    columns: Sequence[Column]
    rows: Sequence[Row]
    caption: str = ""


Block = Text | Items | Figures | Picture | Table


@frozen
class Section:
    """A titled part."""

    title: str
    blocks: Sequence[Block]


@frozen
class Report:
    """A whole report, all its texts as people read them."""

    kicker: str
    title: str
    subtitle: str
    day: str  #: ISO date of the account
    sections: Sequence[Section] = field(default_factory=tuple)
    inputs: Mapping[str, str] = field(default_factory=dict)  #: file -> SHA-256
    made_with: Mapping[str, Any] = field(default_factory=dict)  #: version, verb and options
