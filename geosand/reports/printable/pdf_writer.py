"""A report as PDF, for A4 or Letter: the same content as the HTML page, set page by page."""

from __future__ import annotations

from collections.abc import Sequence

from geosand.reports.printable.content import (
    Block,
    Figures,
    Items,
    Picture,
    Report,
    Section,
    Table,
    Text,
)
from geosand.reports.printable.drawing import HAIR, INK, SAND_DARK
from geosand.reports.printable.pdf_canvas import CONTENT, TOP, UNKNOWN_LETTER, Canvas, Paper
from geosand.reports.printable.pdf_table import least_of_table, set_table

SOFT = "#565b52"
BODY, SMALL, LEADING = 9.3, 8.2, 1.38
INDENT, AFTER = 15.0, 4.0
FEW = 3  #: lines of a paragraph that stay together
ABOVE, HEADING = 14.0, 27.0  #: above a section's rule, and from there to below its title


def report_pdf(report: Report, *, paper: Paper) -> tuple[bytes, list[str]]:
    """The whole file, the same bytes each time, and the words that its font can not show.

    The file tells on its first page that there are such words. Raises Refused where fpdf2 is not
    installed.
    """
    canvas = _set(report, paper, "")
    unshown = list(canvas.unshown)
    if unshown:
        canvas = _set(report, paper, _letters_note(len(unshown)))
    return canvas.content(), unshown


def _letters_note(count: int) -> str:
    words = "1 word has" if count == 1 else f"{count} words have"
    return (
        f"{words} letters that the font of this file lacks, shown as {UNKNOWN_LETTER}. Print the"
        " HTML report from a browser to have them all."
    )


def _set(report: Report, paper: Paper, note: str) -> Canvas:
    """All pages; ``note`` stands below the head."""
    canvas = Canvas(
        paper=paper,
        title=f"{report.title}: {report.kicker.lower()}",
        day=report.day,
        footer=report.kicker,
    )
    _head(canvas, report)
    if note:
        _paragraph(canvas, note, SMALL, INK)
    for section in report.sections:
        _section(canvas, section)
    return canvas


def _head(canvas: Canvas, report: Report) -> None:
    canvas.rule(0, canvas.y, CONTENT, SAND_DARK, 3.6)
    canvas.y += 16
    canvas.text(report.kicker, 0, canvas.y, BODY, colour=SAND_DARK, bold=True)
    canvas.y += 25
    for line in canvas.lines(report.title, 21, CONTENT):
        canvas.text(line, 0, canvas.y, 21, colour=INK, bold=True)
        canvas.y += 25
    canvas.y -= 9
    canvas.text(report.subtitle, 0, canvas.y, BODY, colour=INK)
    canvas.y += 8


def _section(canvas: Canvas, section: Section) -> None:
    kept = list(section.blocks[:2]) if isinstance(section.blocks[0], Text) else [section.blocks[0]]
    canvas.room(ABOVE + HEADING + sum(_least(canvas, block) for block in kept))
    if canvas.y > TOP:
        canvas.y += ABOVE
    canvas.rule(0, canvas.y, CONTENT, HAIR, 0.7)
    canvas.y += 18
    canvas.pdf.start_section(section.title)
    canvas.text(section.title, 0, canvas.y, 12.5, colour=INK, bold=True)
    canvas.y += HEADING - 18
    for block, following in zip(section.blocks, [*section.blocks[1:], None], strict=True):
        if isinstance(block, Text) and isinstance(following, Table | Items):
            canvas.room(_least(canvas, block) + _least(canvas, following))
        _block(canvas, block)


def _least(canvas: Canvas, block: Block) -> float:
    """Height of the part of a block that must stay together."""
    if isinstance(block, Text):
        size = SMALL if block.soft else BODY
        return len(canvas.lines(block.text, size, CONTENT)) * size * LEADING + AFTER
    if isinstance(block, Items):
        first = canvas.lines(block.items[0], BODY, CONTENT - INDENT)
        return len(first) * BODY * LEADING + AFTER
    if isinstance(block, Picture):
        caption = len(canvas.lines(block.caption, SMALL, CONTENT))
        return block.drawing.height + caption * SMALL * LEADING + 18
    return 62.0 if isinstance(block, Figures) else least_of_table(canvas, block)


def _block(canvas: Canvas, block: Block) -> None:
    if isinstance(block, Text):
        size, colour = (SMALL, SOFT) if block.soft else (BODY, INK)
        _paragraph(canvas, block.text, size, colour)
    elif isinstance(block, Items):
        _items(canvas, block.items, numbered=block.numbered)
    elif isinstance(block, Figures):
        _figures(canvas, block)
    elif isinstance(block, Picture):
        _picture(canvas, block)
    else:
        set_table(canvas, block)


def _paragraph(canvas: Canvas, text: str, size: float, colour: str, indent: float = 0.0) -> None:
    lines = canvas.lines(text, size, CONTENT - indent)
    step = size * LEADING
    canvas.room(min(len(lines), FEW) * step)
    for line in lines:
        canvas.room(step)
        canvas.y += step
        canvas.text(line, indent, canvas.y - 0.28 * size, size, colour=colour)
    canvas.y += AFTER


def _items(canvas: Canvas, items: Sequence[str], *, numbered: bool) -> None:
    widest = canvas.width(f"{len(items)}.", BODY) * 1.15 if numbered else 0.0  # they are bold
    indent = max(INDENT, widest + 4)
    for number, item in enumerate(items, start=1):
        lines = canvas.lines(item, BODY, CONTENT - indent)
        canvas.room(len(lines) * BODY * LEADING)  # an item is not cut
        mark, colour = (f"{number}.", SAND_DARK) if numbered else ("–", SOFT)
        y = canvas.y + BODY * LEADING - 0.28 * BODY
        canvas.text(mark, 1, y, BODY, colour=colour, bold=numbered)
        _paragraph(canvas, item, BODY, INK, indent)


def _figures(canvas: Canvas, block: Figures) -> None:
    canvas.room(_least(canvas, block))
    gap = 14.0
    width = (CONTENT - gap * (len(block.figures) - 1)) / len(block.figures)
    deepest = canvas.y
    for k, figure in enumerate(block.figures):
        x, y = k * (width + gap), canvas.y + 2
        canvas.rule(x, y, width, INK, 1.4)
        canvas.text(figure.label, x, y + 12, SMALL, colour=SOFT)
        size = min(14.5, 14.5 * width / max(canvas.width(figure.value, 14.5), 1.0))
        canvas.text(figure.value, x, y + 28, size, colour=INK, bold=True)
        y += 39
        for line in canvas.lines(figure.detail, 7.5, width):
            canvas.text(line, x, y, 7.5, colour=SOFT)
            y += 10
        deepest = max(deepest, y)
    canvas.y = deepest + 4


def _picture(canvas: Canvas, block: Picture) -> None:
    canvas.room(_least(canvas, block))
    canvas.y += 5
    canvas.draw(block.drawing, 0, canvas.y)
    canvas.y += block.drawing.height + 5
    _paragraph(canvas, block.caption, SMALL, SOFT)
