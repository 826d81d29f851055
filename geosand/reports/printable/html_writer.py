"""A report as one HTML page: it needs no network, runs nothing, and prints to A4 and Letter."""

from __future__ import annotations

import re
from collections.abc import Sequence
from html import escape

from geosand.columns import Floats
from geosand.reports.printable.content import (
    Block,
    Cell,
    Column,
    Figures,
    Items,
    Picture,
    Report,
    Row,
    Section,
    Table,
    Text,
)
from geosand.reports.printable.drawing import Box, Drawing, Line, Mark, Outline, Words
from geosand.reports.printed_page import asset, page
from geosand.reports.words import glued

PHONE = 360  #: pixels: a wider table would need a sideways scroll there


def report_page(report: Report) -> str:
    """The whole page of a report, the same bytes each time. All texts enter escaped."""
    widths: list[str] = []
    body = "\n".join(_section(section, widths) for section in report.sections)
    head = (
        f'<header><p class="kicker">{escape(report.kicker)}</p>'
        f'<h1 dir="auto">{escape(report.title)}</h1>'
        f"<p>{_text(report.subtitle)}</p></header>\n"
    )
    style = asset("report.css") + "\n".join(widths)
    title = f"{report.title}: {report.kicker.lower()}"
    source = {"inputs": dict(report.inputs), "made_with": dict(report.made_with)}
    whole = f"{head}<main>\n{body}\n</main>\n"
    return page(title=title, body=whole, style=style, data=source if report.inputs else None)


def _section(section: Section, widths: list[str]) -> str:
    blocks = "\n".join(_block(block, section.title, widths) for block in section.blocks)
    return f"<section><h2>{escape(section.title)}</h2>\n{blocks}</section>"


def _block(block: Block, title: str, widths: list[str]) -> str:
    if isinstance(block, Text):
        soft = ' class="soft"' if block.soft else ""
        return f"<p{soft}>{_text(block.text)}</p>"
    if isinstance(block, Items):
        tag = "ol" if block.numbered else "ul"
        items = "".join(f'<li dir="auto">{_text(item)}</li>' for item in block.items)
        return f"<{tag}>{items}</{tag}>"
    if isinstance(block, Figures):
        return _figures(block)
    return _picture(block) if isinstance(block, Picture) else _table(block, title, widths)


def _figures(block: Figures) -> str:
    each = "".join(
        f"<div><dt>{escape(figure.label)}</dt><dd><b>{escape(figure.value)}</b>"
        f"<span>{_text(figure.detail)}</span></dd></div>"
        for figure in block.figures
    )
    return f'<dl class="figures">{each}</dl>'


def _picture(block: Picture) -> str:
    wide = svg(block.drawing, "wide" if block.narrow else "")
    narrow = svg(block.narrow, "narrow") if block.narrow else ""
    return f"<figure>{wide}{narrow}<figcaption>{_text(block.caption)}</figcaption></figure>"


def _table(block: Table, title: str, widths: list[str]) -> str:
    """A table whose columns keep their shares of the width; the style rules go into ``widths``.

    One that is wider than a phone becomes a card a row there: each cell then shows its head, and
    roles keep it a table for who hears it.
    """
    number = len(widths)
    whole = sum(column.width for column in block.columns)
    cards = whole * 1.5 > PHONE
    widths.append(
        f".t{number} {{ min-width: {whole * 1.5:.0f}px; }} "
        + " ".join(
            f".t{number} col:nth-child({k}) {{ width: {100 * column.width / whole:.2f}%; }}"
            for k, column in enumerate(block.columns, start=1)
        )
    )
    caption = f"<caption>{_text(block.caption)}</caption>" if block.caption else ""
    heads = "".join(
        f'<th{_role("columnheader", cards)} scope="col"{_align(column)}>{_cell(column.head)}</th>'
        for column in block.columns
    )
    rows = "\n".join(_row(row, block.columns, cards) for row in block.rows)
    label = escape(block.caption or title)
    cols = "<col>" * len(block.columns)
    return (
        f'<div class="scroll" tabindex="0" role="region" aria-label="{label}">'
        f'<table{_role("table", cards)} class="t{number}{" cards" if cards else ""}">{caption}'
        f"<colgroup>{cols}</colgroup><thead><tr{_role('row', cards)}>{heads}</tr></thead>\n"
        f"<tbody>\n{rows}\n</tbody></table></div>"
    )


def _role(role: str, cards: bool) -> str:
    return f' role="{role}"' if cards else ""


def _row(row: Row, columns: Sequence[Column], cards: bool) -> str:
    if row.tone == "group":
        size = len(columns)
        return (
            f'<tr{_role("row", cards)} class="group"><th{_role("rowheader", cards)}'
            f' scope="rowgroup" colspan="{size}" dir="auto">{_cell(row.cells[0])}</th></tr>'
        )
    cells = "".join(
        f"<td{_role('cell', cards)}{_align(column)}{_head(column, cards)}>{_cell(cell)}</td>"
        for cell, column in zip(row.cells[1:], columns[1:], strict=True)
    )
    tone = f' class="{row.tone}"' if row.tone else ""
    return (
        f'<tr{_role("row", cards)}{tone}><th{_role("rowheader", cards)} scope="row" dir="auto">'
        f"{_cell(row.cells[0])}</th>{cells}</tr>"
    )


def _head(column: Column, cards: bool) -> str:
    """A cell's head, to be shown with it; a scale stays where it is."""
    if not cards or not isinstance(column.head, str):
        return ""
    return f' data-head="{escape(glued(column.head))}"'


def _align(column: Column) -> str:
    if column.align == "right":
        return ' class="r"'
    return ' dir="auto"' if column.wrap else ' class="k" dir="auto"'


def _cell(cell: Cell) -> str:
    if isinstance(cell, str):
        return _text(cell)
    return svg(cell)


def _text(text: str) -> str:
    """Text as HTML; a figure and its percent sign stay in one line, and an option of a command."""
    return re.sub(r"--[a-z][a-z-]*", r'<span class="whole">\g<0></span>', escape(glued(text)))


def svg(drawing: Drawing, css: str = "") -> str:
    """The drawing as one ``<svg>``; ``css`` is a class that the page's style knows."""
    label = f' role="img" aria-label="{escape(drawing.said)}"' if drawing.said else ""
    label = label or ' aria-hidden="true"'
    name = f' class="{css}"' if css else ""
    body = "".join(_mark(mark) for mark in drawing.marks)
    return (
        f'<svg{name} viewBox="0 0 {_n(drawing.width)} {_n(drawing.height)}"'
        f' width="{_n(drawing.width)}pt" height="{_n(drawing.height)}pt"{label}>{body}</svg>'
    )


def _n(value: float) -> str:
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def _mark(mark: Mark) -> str:
    if isinstance(mark, Line):
        dash = _dash(mark.dash)
        return (
            f'<path d="M{_n(mark.x1)} {_n(mark.y1)}L{_n(mark.x2)} {_n(mark.y2)}"'
            f' stroke="{mark.colour}" stroke-width="{_n(mark.width)}"{dash}/>'
        )
    if isinstance(mark, Box):
        stroke = f' stroke="{mark.stroke}" stroke-width="{_n(mark.stroke_width)}"'
        return (
            f'<rect x="{_n(mark.x)}" y="{_n(mark.y)}" width="{_n(mark.width)}"'
            f' height="{_n(mark.height)}" fill="{mark.fill}"{stroke if mark.stroke else ""}/>'
        )
    return _outline(mark) if isinstance(mark, Outline) else _words(mark)


def _dash(dash: tuple[float, float] | None) -> str:
    return f' stroke-dasharray="{_n(dash[0])} {_n(dash[1])}"' if dash else ""


def _outline(mark: Outline) -> str:
    stroke = f' stroke="{mark.stroke}" stroke-width="{_n(mark.width)}"' if mark.stroke else ""
    fill = f'fill="{mark.fill}" fill-rule="evenodd"' if mark.fill else 'fill="none"'
    way = "".join(_way(points, closed=mark.closed) for points in mark.ways)
    return f'<path d="{way}" {fill}{stroke}{_dash(mark.dash)}/>'


def _way(points: Floats, *, closed: bool) -> str:
    """A ring or line in tenths of a point, as steps from its first corner."""
    corners = (points[:-1] if closed and (points[0] == points[-1]).all() else points) * 10
    whole = corners.round().astype(int)
    first, steps = whole[0].tolist(), (whole[1:] - whole[:-1]).ravel().tolist()
    text = f"M{first[0] / 10:g} {first[1] / 10:g}l" + " ".join(f"{s / 10:g}" for s in steps)
    return text.replace(" -", "-") + ("z" if closed else "")


def _words(mark: Words) -> str:
    anchor = "" if mark.anchor == "start" else f' text-anchor="{mark.anchor}"'
    bold = ' font-weight="700"' if mark.bold else ""
    halo = ' class="halo"' if mark.halo else ""
    return (
        f'<text x="{_n(mark.x)}" y="{_n(mark.y)}" font-size="{_n(mark.size)}"'
        f' fill="{mark.colour}"{anchor}{bold}{halo}>{escape(mark.text)}</text>'
    )
