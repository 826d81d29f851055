"""Of which hole a surface is, as a column, a folder or the layer of a drawing says it."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache

from geosand.formats.boundaries.drawn import Drawn
from geosand.formats.boundaries.words.kinds import HOLDERS, recognise, words_of
from geosand.formats.boundaries.words.naming import cell_of, clean
from geosand.site.cells import Cell

#: Columns that say of which hole a surface is; common practice, no published source.
HOLE_COLUMNS = (
    *("hole", "hole_no", "holeno", "hole_number", "holenumber", "hole_num", "holenum", "hole_nr"),
    *("hole_numbe", "loch", "bahn", "trou", "hoyo", "buca"),  # one as a Shapefile cuts it
)
#: Columns that say of which nine or course it is; common practice, no published source.
NINE_COLUMNS = (
    *("nine", "nine_name", "loop", "loop_name", "course", "course_name", "coursename"),
    *("course_nam", "schleife", "parcours", "recorrido", "percorso", "lus"),
)
NAMED = re.compile(r"hole[\W_]*(\d+[a-z]?)", re.IGNORECASE)
#: 7, 07, Hole 7, H7; Red 7 of three nines; 2/16 of a double green; 3.0 of a table with gaps.
_NUMBER = re.compile(
    r"(?:(?:#|h(?:oles?)?|loch|bahn|trou|hoyo|buca|no|nr)(?:[\W_]+|(?=\d)))*"
    r"((?:[^\W\d_]+[ _-]?)?)0*([1-9]\d?[a-z]?)(?:\.0)?"
    r"(?:( ?[/&+,-] ?| and )0*([1-9]\d?[a-z]?))?",
    re.IGNORECASE,
)
_PIECES = re.compile(r"\d+[a-z]?(?![^\W_])|[^\W\d_]+", re.IGNORECASE)
#: Before a number it is no nine: a par, the month of a day that a spreadsheet made of 5/12, or what
#: drawings are numbered by.
_NO_NINE = re.compile(
    "(?:par|jan|feb|mar|apr|ma[yi]|jun|jul|aug|sept?|o[ck]t|nov|de[cz]|phase|stage|rev|revision|v"
    "|version|level|layer|sheet|plan|survey|colou?r|pen|typ|type|ebene|blatt|niveau|nivel)[ _-]?",
    re.IGNORECASE,
)
GREENS, TEES = 2, 6  #: of one hole, at most; common practice, no published source
_OF_HOLES = ("green", "tee", "fairway")


def said_hole(thing: Drawn) -> str:
    """The number of its hole by a column, else by the folder or layer in which it stands."""
    if column := hole_in_column(thing.attributes):
        return column
    folders = (NAMED.fullmatch(text) for text in reversed(thing.folder.split(" / ")))
    return next((found[1].lstrip("0") for found in folders if found), "")


def hole_in_column(attributes: Mapping[str, Cell]) -> str:
    """The number of a hole that a column says, with its nine where that stands in it too."""
    return _number(cell_of(attributes, None, HOLE_COLUMNS))


def nine_in_column(attributes: Mapping[str, Cell]) -> str:
    """The nine or course that a column says."""
    return clean(cell_of(attributes, None, NINE_COLUMNS))


def nine_in_folder(folder: str) -> str:
    """The innermost folder that says no hole, no course and none of the kinds that holes have.

    >>> nine_in_folder("Course / Lake / Greens"), nine_in_folder("Greens / Hole 7")
    ('Lake', '')
    """
    return next(
        (
            text
            for text in reversed(folder.split(" / "))
            if not NAMED.fullmatch(text)
            and recognise(text) not in _OF_HOLES
            and " ".join(words_of(text)) not in HOLDERS
        ),
        "",
    )


def hole_of_nine(nine: str, hole: str) -> str:
    """A hole with its nine, of which a bare number is none that runs into the hole's.

    >>> hole_of_nine("Red", "7"), hole_of_nine("2", "7"), hole_of_nine("", "7")
    ('Red 7', '2.7', '7')
    """
    return f"{nine}{'.' if nine.isdecimal() else ' '}{hole}".strip() if nine else hole


@lru_cache(maxsize=256)
def hole_in_layer(layer: str, kind: str) -> str:
    """The number that the name of a layer says beside the kind, with the nine.

    >>> hole_in_layer("RED-3-GREEN", "green"), hole_in_layer("H07_TEE", "tee")
    ('RED 3', '7')
    >>> hole_in_layer("C-SURF-GREEN-01", "green"), hole_in_layer("GREENS", "green")
    ('', '')
    """
    pieces = [text for text in _PIECES.findall(layer) if recognise(text) != kind]
    return _number(" ".join(sorted(pieces, key=lambda text: text[0].isdigit())))


def _number(text: str) -> str:
    found = _NUMBER.fullmatch(text)
    if not found:
        return ""
    nine, number, between, other = found.groups()
    if _NO_NINE.fullmatch(nine):
        return ""
    if recognise(nine) in _OF_HOLES:  # "Green 7" of a column that says so
        nine = ""
    if not other:
        return f"{nine}{number}"
    return f"{nine}{number}{'-' if '-' in between else '/'}{other}"  # 1-18 may be a range
