"""Tables in a PDF: the head on each page, no row cut, a group's name never left behind."""

from __future__ import annotations

import numpy as np

from geosand.columns import Floats, frozen
from geosand.reports.printable.content import Cell, Column, Row, Table
from geosand.reports.printable.drawing import HAIR, INK, Drawing
from geosand.reports.printable.pdf_canvas import CONTENT, TOP, Canvas
from geosand.reports.words import glued

SIZE, HEAD_SIZE, STEP = 8.0, 7.5, 10.2
PAD, GROUP_GAP, GAP = 2.2, 8.0, 7.0  #: above and below a row, above a group, between columns
USUAL = 0.9  #: share of a column's texts that get one line before others get room for theirs


@frozen
class _Layout:
    """Left ends and widths of the columns."""

    columns: tuple[Column, ...]
    left: tuple[float, ...]
    width: tuple[float, ...]

    @classmethod
    def of(cls, canvas: Canvas, table: Table) -> _Layout:
        meant = np.array([column.width for column in table.columns])
        wanted, needed = np.array([_widths_of(canvas, table, k) for k in range(len(meant))]).T
        width = _with_room(_with_room(meant * CONTENT / meant.sum(), wanted), needed)
        left = np.cumsum(width) - width
        return cls(
            columns=tuple(table.columns), left=tuple(left.tolist()), width=tuple(width.tolist())
        )

    def inside(self, k: int) -> float:
        """Width that a text of column ``k`` may take."""
        return self.width[k] - _gaps(k, len(self.columns))


def _gaps(k: int, count: int) -> float:
    """Room that column ``k`` keeps free at its sides."""
    return (0.0 if k == 0 else GAP / 2) + (0.0 if k == count - 1 else GAP / 2)


def _widths_of(canvas: Canvas, table: Table, k: int) -> tuple[float, float]:
    """Width of column ``k`` with hardly a text in two lines, and with no word broken."""
    column, gaps = table.columns[k], _gaps(k, len(table.columns))
    cells = [row.cells[k] for row in table.rows if k < len(row.cells) and row.tone != "group"]
    drawn = [cell.width - gaps for cell in (column.head, *cells) if isinstance(cell, Drawing)]
    head = "" if isinstance(column.head, Drawing) else glued(column.head)
    least = max([*drawn, *(1.06 * canvas.width(word, HEAD_SIZE) for word in head.split(" "))])
    texts = [glued(cell) for cell in cells if isinstance(cell, str)]
    words = " ".join(texts).split(" ") if column.wrap else texts
    whole = [1.01 * canvas.width(text, SIZE) for text in texts]  # bold is a little wider
    unbroken = max([least, *(1.01 * canvas.width(word, SIZE) for word in words)])
    usual = float(np.quantile(whole, USUAL)) if column.wrap and whole else 0.0
    return max(usual, unbroken) + gaps, unbroken + gaps


def _with_room(width: Floats, needed: Floats) -> Floats:
    """Widths of the same sum: columns that are too narrow get what others have to spare."""
    short, spare = np.maximum(needed - width, 0.0), np.maximum(width - needed, 0.0)
    moved = min(short.sum(), spare.sum())
    if not moved > 0:
        return width
    made: Floats = width + short * (moved / short.sum()) - spare * (moved / spare.sum())
    return made


def least_of_table(canvas: Canvas, table: Table) -> float:
    """Height of the head and the first two rows."""
    layout = _Layout.of(canvas, table)
    rows = sum(_height(canvas, layout, row) for row in table.rows[:3])
    return _head_height(canvas, layout) + rows + (14 if table.caption else 0)


def set_table(canvas: Canvas, table: Table) -> None:
    """The whole table, over as many pages as it needs."""
    layout = _Layout.of(canvas, table)
    canvas.room(least_of_table(canvas, table))
    if table.caption:
        canvas.y += 13
        canvas.text(table.caption, 0, canvas.y - 2, SIZE + 0.4, colour=INK, bold=True)
    _head(canvas, layout)
    for k, row in enumerate(table.rows):
        needed = _height(canvas, layout, row)
        following = table.rows[k + 1] if k + 1 < len(table.rows) else None
        last = k + 2 == len(table.rows)
        if following and (last or row.tone == "group" or following.tone == "sum"):
            needed += _height(canvas, layout, following)  # no group, sum or last row alone
        if canvas.y + needed > canvas.bottom and canvas.y > TOP:
            canvas.new_page()
            _head(canvas, layout)
        _row(canvas, layout, row)
    canvas.y += 7


def _texts(canvas: Canvas, layout: _Layout, row: Row) -> list[list[str] | Drawing]:
    if row.tone == "group":
        return [canvas.lines(str(row.cells[0]), SIZE, CONTENT)]
    return [_set(canvas, cell, SIZE, layout.inside(k)) for k, cell in enumerate(row.cells)]


def _set(canvas: Canvas, cell: Cell, size: float, width: float) -> list[str] | Drawing:
    if isinstance(cell, Drawing):
        return cell
    return canvas.lines(cell, size, width)


def _tall(cells: list[list[str] | Drawing], step: float) -> float:
    return max(c.height if isinstance(c, Drawing) else len(c) * step for c in cells)


def _height(canvas: Canvas, layout: _Layout, row: Row) -> float:
    above = GROUP_GAP if row.tone == "group" else 0.0
    return _tall(_texts(canvas, layout, row), STEP) + 2 * PAD + above


def _head_height(canvas: Canvas, layout: _Layout) -> float:
    return _tall(_head_cells(canvas, layout), 9.2) + 8


def _head_cells(canvas: Canvas, layout: _Layout) -> list[list[str] | Drawing]:
    return [
        _set(canvas, column.head, HEAD_SIZE, layout.inside(k) * 0.96)  # bold is a little wider
        for k, column in enumerate(layout.columns)
    ]


def _head(canvas: Canvas, layout: _Layout) -> None:
    """The heads, all standing on one line."""
    cells = _head_cells(canvas, layout)
    low = canvas.y + _tall(cells, 9.2) + 5
    for k, cell in enumerate(cells):
        if isinstance(cell, Drawing):
            canvas.draw(cell, layout.left[k], low - cell.height)
            continue
        for line, text in enumerate(reversed(cell)):
            y = low - 4 - 9.2 * line
            _cell_text(canvas, layout, k, text, y, HEAD_SIZE, bold=True)
    canvas.rule(0, low, CONTENT, INK, 1.1)
    canvas.y = low + 1


def _row(canvas: Canvas, layout: _Layout, row: Row) -> None:
    cells = _texts(canvas, layout, row)
    if row.tone == "group":
        canvas.y += GROUP_GAP
    tall = _tall(cells, STEP)
    for k, cell in enumerate(cells):
        if isinstance(cell, Drawing):
            canvas.draw(cell, layout.left[k], canvas.y + PAD + (tall - cell.height) / 2)
            continue
        top = canvas.y + PAD + (tall - len(cell) * STEP) / 2
        for line, text in enumerate(cell):
            y = top + STEP * (line + 1) - 2.6
            shown = text[:1].upper() + text[1:] if row.tone == "group" else text
            _cell_text(
                canvas,
                layout,
                k,
                shown,
                y,
                SIZE,
                bold=row.tone in ("sum", "group") or (k == 0 and row.tone == "alarm"),
            )
    canvas.y += tall + 2 * PAD
    if row.tone == "sum":
        canvas.rule(0, canvas.y - tall - 2 * PAD, CONTENT, INK, 0.9)
    canvas.rule(0, canvas.y, CONTENT, HAIR, 0.4)


def _cell_text(
    canvas: Canvas, layout: _Layout, k: int, text: str, y: float, size: float, *, bold: bool
) -> None:
    x = layout.left[k] + (0.0 if k == 0 else GAP / 2)
    if layout.columns[k].align == "right":
        x += layout.inside(k) - canvas.width(text, size)
    canvas.text(text, x, y, size, colour=INK, bold=bold)
