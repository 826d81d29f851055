"""One PDF document to set on: texts measured in its font, drawings, pages with their numbers.

fpdf2 writes the file; the font is Noto Sans, of which Latin, Greek and Cyrillic letters are used.
It has one weight: bold text is the same outline with a stroke, so that no second font need be made.
Words in other letters are marked and told. No font is added for them: scripts that join or reorder
letters need a shaping engine too, and no well-kept package with an East Asian font was found.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from datetime import UTC, datetime
from importlib.resources import files
from typing import TYPE_CHECKING, Literal

import numpy as np

from geosand.errors import Fault, Refused
from geosand.reports.printable.drawing import WIDTH, Box, Drawing, Line, Mark, Outline, Words
from geosand.reports.words import glued

if TYPE_CHECKING:
    from fpdf import FPDF

Paper = Literal["A4", "Letter"]

CONTENT, TOP, BOTTOM = WIDTH, 46.0, 56.0  #: width of the text, margins above and below, points
FONT_PACKAGE, FONT_FILE = "fontpkg_noto_sans", "NotoSans[wdth,wght].ttf"
BOLD_STROKE = 0.028  #: of the letters' size
#: Signs that the font has not, in words.
_IN_WORDS = {"≥": "at least ", "≤": "at most ", "→": "to", "▼": "", "✓": "yes"}
UNKNOWN_LETTER = "\ufffd"  #: the font has it
#: Devanagari, which the font has but which is wrong letter by letter: it must be shaped.
_SHAPED = range(0x0900, 0x0980)


def _needed() -> tuple[type[FPDF], str]:
    """fpdf2's document and the font's path; Refused with the remedy where one is missing."""
    try:
        from fpdf import FPDF

        return FPDF, str(files(FONT_PACKAGE).joinpath("files", FONT_FILE))
    except ModuleNotFoundError as missing:
        found = f"a report as PDF needs the package {missing.name}, which is not installed"
        remedy = "install it with pip install 'geosand[pdf]', or print the .html report"
        raise Refused(Fault(file="geosand", found=found, remedy=remedy)) from missing


class Canvas:
    """Pages of one paper; ``y`` is where the next thing is set, in points from the top."""

    def __init__(self, *, paper: Paper, title: str, day: str, footer: str) -> None:
        document, font = _needed()
        self.pdf = document(unit="pt", format=paper)
        self.pdf.add_font("text", "", font)
        self.pdf.alias_nb_pages(None)  # type: ignore[arg-type]  # a name may hold its sign
        self.pdf.set_auto_page_break(False)
        self.pdf.set_creation_date(datetime.fromisoformat(day).replace(tzinfo=UTC))
        cmap = self.pdf.fonts["text"].cmap  # type: ignore[union-attr]
        self._known = {chr(code) for code in cmap if code not in _SHAPED} | set(_IN_WORDS)
        self.unshown: dict[str, None] = {}  #: words with letters that can not be set
        self._widths: dict[tuple[str, float], float] = {}  # fpdf2 measures slowly
        self.pdf.set_title(title)
        self.pdf.set_lang("en")
        self.footer = footer
        self.left = (self.pdf.w - CONTENT) / 2
        self.y = TOP
        self.new_page()

    @property
    def bottom(self) -> float:
        """Where the page's text ends."""
        return float(self.pdf.h) - BOTTOM

    def new_page(self) -> None:
        """Begin a page."""
        self.pdf.add_page()
        self.y = TOP

    def room(self, height: float) -> None:
        """Begin a page where less than ``height`` is left, unless this one is still empty."""
        if self.y + height > self.bottom and self.y > TOP:
            self.new_page()

    def letters(self, text: str) -> str:
        """The text in letters that the font has; a run of others becomes one mark, and is noted."""
        text = unicodedata.normalize("NFC", text)  # one glyph for letter and mark
        strange = {letter for letter in text if letter not in self._known}
        if strange:
            self.unshown |= dict.fromkeys(w for w in text.split() if not strange.isdisjoint(w))
            text = re.sub(f"[{re.escape(''.join(sorted(strange)))}]+", UNKNOWN_LETTER, text)
        return "".join(_IN_WORDS.get(letter, letter) for letter in text)

    def width(self, text: str, size: float) -> float:
        """Width of a line of text."""
        line = self.letters(text), size
        if line not in self._widths:
            self.pdf.set_font("text", "", size)
            self._widths[line] = float(self.pdf.get_string_width(line[0]))
        return self._widths[line]

    def lines(self, text: str, size: float, width: float) -> list[str]:
        """The text in lines no wider than ``width``, broken at spaces, within words if it must."""
        self.pdf.set_font("text", "", size)
        made: list[str] = []
        line = ""
        for whole in self.letters(glued(text)).split(" "):
            word = whole
            tried = f"{line} {word}" if line else word
            if self.pdf.get_string_width(tried) <= width:
                line = tried
                continue
            made += [line] if line else []
            while self.pdf.get_string_width(word) > width and len(word) > 1:
                cut = self._fitting(word, width)
                cut = word.rfind("-", 1, cut) + 1 or cut  # an id is read part by part
                made.append(word[:cut])
                word = word[cut:]
            line = word
        return [*made, line]

    def _fitting(self, word: str, width: float) -> int:
        """How many first letters of a word fit, one at least."""
        for cut in range(len(word), 1, -1):
            if self.pdf.get_string_width(word[:cut]) <= width:
                return cut
        return 1

    def text(
        self, text: str, x: float, y: float, size: float, *, colour: str, bold: bool = False
    ) -> None:
        """One line with its baseline at ``y``; ``x`` from the left margin."""
        self.pdf.set_font("text", "", size)
        self.pdf.set_text_color(colour)
        shown = self.letters(text)
        if not bold:
            self.pdf.text(self.left + x, y, shown)
            return
        self._stroked(self.left + x, y, shown, colour, BOLD_STROKE * size, "FILL_STROKE")

    def _stroked(self, x: float, y: float, text: str, colour: str, width: float, mode: str) -> None:
        from fpdf.enums import TextMode

        self.pdf.set_draw_color(colour)
        self.pdf.set_line_width(width)
        with self.pdf.local_context(text_mode=TextMode[mode]):
            self.pdf.text(x, y, text)

    def draw(self, drawing: Drawing, x: float, y: float) -> None:
        """The drawing with its upper left corner at ``x`` from the left margin and ``y``."""
        write: dict[type[Mark], Callable[..., None]] = {
            Line: self._line,
            Box: self._box,
            Outline: self._outline,
            Words: self._words,
        }
        for mark in drawing.marks:
            write[type(mark)](mark, self.left + x, y)

    def rule(self, x: float, y: float, width: float, colour: str, thick: float) -> None:
        """A line across, ``width`` long, from ``x`` (from the left margin) on."""
        self._line(Line(x1=x, y1=y, x2=x + width, y2=y, colour=colour, width=thick), self.left, 0)

    def _line(self, mark: Line, x: float, y: float) -> None:
        self.pdf.set_draw_color(mark.colour)
        self.pdf.set_line_width(mark.width)
        self.pdf.set_dash_pattern(*(mark.dash or (0, 0)))
        self.pdf.line(x + mark.x1, y + mark.y1, x + mark.x2, y + mark.y2)
        self.pdf.set_dash_pattern()

    def _box(self, mark: Box, x: float, y: float) -> None:
        self.pdf.set_fill_color(mark.fill)
        self.pdf.set_draw_color(mark.stroke or mark.fill)
        self.pdf.set_line_width(mark.stroke_width)
        style = "DF" if mark.stroke else "F"
        self.pdf.rect(x + mark.x, y + mark.y, mark.width, mark.height, style=style)

    def _outline(self, mark: Outline, x: float, y: float) -> None:
        from fpdf.enums import PathPaintRule

        rule = "STROKE_FILL_EVENODD" if mark.stroke else "FILL_EVENODD"
        with self.pdf.new_path() as path:
            path.style.paint_rule = PathPaintRule[rule if mark.fill else "STROKE"]
            path.style.auto_close = False
            if mark.fill:
                path.style.fill_color = mark.fill
            if mark.stroke:
                path.style.stroke_color = mark.stroke
                path.style.stroke_width = mark.width
                path.style.stroke_cap_style = "butt"  # else caps fill the gaps of dashes
                path.style.stroke_dash_pattern = list(mark.dash) if mark.dash else None
            for way in mark.ways:
                corners = (way + np.array([x, y])).tolist()
                path.move_to(*corners[0])
                for corner in corners[1:]:
                    path.line_to(*corner)
                if mark.closed:
                    path.close()

    def _words(self, mark: Words, x: float, y: float) -> None:
        wide = self.width(mark.text, mark.size)
        start = mark.x - {"start": 0.0, "middle": wide / 2, "end": wide}[mark.anchor]
        if mark.halo:
            shown = self.letters(mark.text)
            self._stroked(x + start, y + mark.y, shown, "#ffffff", 1.8, "STROKE")
        place = x - self.left + start
        self.text(mark.text, place, y + mark.y, mark.size, colour=mark.colour, bold=mark.bold)

    def content(self) -> bytes:
        """The finished file, each page with its footer and number."""
        low, pages = self.pdf.h - 30, self.pdf.page
        for page in range(1, pages + 1):
            self.pdf.page = page
            self.pdf.set_font("text", "", 1)  # the page's own stream must name the font anew
            number = f"{page} of {pages}"
            self.text(self.footer, 0, low, 8, colour="#565b52")
            self.text(number, CONTENT - self.width(number, 8), low, 8, colour="#565b52")
        return bytes(self.pdf.output())
