"""What to write in place of a cell that can not be read: what mends the commonest slips."""

from __future__ import annotations

import re
from collections.abc import Iterable

from geosand.site.cells import DAY, NOTHING, NUMBER, RECORDS, Cell, nearest, parse_number, unseen

SERIAL_DAYS = (20_000, 80_000)  #: spreadsheets count days from 1900: 1954 to 2119
#: A day as spreadsheets of many countries write it, and one with a time zone behind it.
_SLASHED = r"\s*\d{1,4}[./-]\d{1,2}[./-]\d{1,4}\.?\s*"
_YEAR_FIRST = r"\s*((?:19|20)\d{2})[-./]?(0[1-9]|1[0-2]|(?<=\D)[1-9])[-./]?(\d{1,2})\s*"
_ZONED = r"\s*\d{4}-\d{2}-\d{2}[T ][\d:.]+ ?(Z|[+-]\d{2}:?\d{2})\s*"
_TIMED = r"\s*\d{4}-\d{2}-\d{2}[T ][\d:.]+\s*"
#: Degrees as receivers and maps show them: 99.5151 W, N 41°18'57.5".
_DEGREES = r"-?\d[\d.,]* ?[NSEW]|[NSEW] ?\d[\d.,]*|.*\d ?°.*"
_LETTERS_FOR_DIGITS = str.maketrans("OolI", "0011")
MOST_NAMESAKES = 5  #: more of one number do not tell which is meant
MINUSES = "\u2212\u2010\u2011\u2012\u2013\u2014"  #: signs that look like the one of the keyboard


def date_remedy(cell: Cell) -> str:
    """What to write in place of a cell that is no date.

    >>> date_remedy("2026-02-30")
    'there is no such day: look it up'
    """
    remedy = "write the date so that day and month can not be mixed up"
    number = parse_number(cell)
    if number is not None and SERIAL_DAYS[0] < number < SERIAL_DAYS[1]:
        return "it looks like a spreadsheet's day number: give the column the date format"
    if re.fullmatch(_ZONED, str(cell), re.ASCII):
        return "write the day alone: with a time zone it could be another day at the site"
    if not isinstance(cell, str):
        return unseen(str(cell)) or remedy
    if DAY.fullmatch(cell):
        return "there is no such day: look it up"
    if re.fullmatch(_TIMED, cell, re.ASCII):
        return "write the day alone: there is no such time of day"
    if re.fullmatch(_YEAR_FIRST, cell, re.ASCII):
        return "write it with hyphens and two digits each for month and day"
    if re.fullmatch(_SLASHED, cell, re.ASCII):
        return (
            f"{remedy}: in a spreadsheet give the column the format yyyy-mm-dd before it is saved"
        )
    if hint := unseen(cell):
        return hint
    if not cell.isascii() and any(map(str.isdecimal, cell)):
        return "type it anew: its digits or hyphens are not those of the keyboard"
    return remedy


def surface_remedy(word: str, ids: list[str], kinds: Iterable[str], otherwise: str) -> str:
    """Which surface is meant by a word that is no id: one of its number, else of like letters.

    >>> surface_remedy("Green 1", ["1-green", "1-tee", "green-10"], (), "")
    'did you mean 1-green?'
    >>> surface_remedy("#1", ["1-green", "1-tee", "green-10"], (), "")
    'did you mean 1-green or 1-tee?'
    >>> surface_remedy("greens", ["g1"], {"green"}, ""), surface_remedy("x9", ["g1"], (), "look")
    ('did you mean green?', 'look')
    """
    near = namesakes(word, ids) or nearest(word, [*ids, *kinds])
    return unseen(word) or (f"did you mean {in_choice(near)}?" if near else otherwise)


def in_choice(names: list[str]) -> str:
    """Names of which one is meant.

    >>> in_choice(["g1", "t1", "f1"])
    'g1, t1 or f1'
    """
    *most, last = names
    return f"{', '.join(most)} or {last}" if most else last


def namesakes(word: str, ids: list[str]) -> list[str]:
    """Ids that have the numbers of a word, and no letters that contradict it; none of too many."""
    letters, numbers = _letters_and_numbers(word)
    same = [one for one in ids if numbers and _letters_and_numbers(one)[1] == numbers]
    alike = [one for one in same if _begin_alike(letters, _letters_and_numbers(one)[0])]
    return alike if len(alike) <= MOST_NAMESAKES else []


def _letters_and_numbers(text: str) -> tuple[list[str], list[int]]:
    """The runs of letters in a name, and its numbers."""
    parts = re.findall(r"[^\W\d_]+|[0-9]{1,9}", text.casefold())
    return [p for p in parts if not p.isdigit()], [int(p) for p in parts if p.isdigit()]


def _begin_alike(some: list[str], others: list[str]) -> bool:
    """Whether one of two names has no letters, or letters of one begin as some of the other."""
    pairs = ((a, b) for a in some for b in others)
    return not (some and others) or any(a.startswith(b) or b.startswith(a) for a, b in pairs)


def number_remedy(text: str, file: str) -> str:
    """What to write in place of a text that is no number; "" where that is anyone's guess.

    ``file`` is where it stands.
    """
    plain = text.strip()
    if re.fullmatch(r"[+-]?\d+,\d+", plain, re.ASCII):
        remedy = "write 1,5 as 1.5 and 1,500 as 1500"
        workbook = ", or keep the records in a workbook, records.xlsx, which has numbers as such"
        return remedy + (workbook if file in [f"{name}.csv" for name in RECORDS] else "")
    if "catches" in file and re.fullmatch(_DEGREES, plain):
        return "write decimal degrees, west and south with a minus, as in -99.5151"
    if re.fullmatch(r"(\d+[ -])?\d+/\d+\s*\W?", plain, re.ASCII) or re.search("[¼½¾⅐-⅞]", plain):
        return "write fractions as decimal numbers, 1/32 as 0.03125"
    if re.fullmatch(r"[+-]?[\d.,]*\d\s*((?!O+$)[^\W\d]{1,5}[23²³]?|%)", plain):
        return "write the number alone; a unit belongs into the name of the column"
    if plain.lower() in NOTHING:
        return "write nothing where nothing was measured"
    if plain[0] in MINUSES and NUMBER.fullmatch(plain[1:]):
        return "write its minus as the hyphen of the keyboard, -"
    if plain[0] == "=":
        return "write the result of the formula"
    if plain[0] == "#":
        return "mend the formula in that cell, or write the value"
    if re.fullmatch(r"\d{4}-\d\d-\d\d [\d:]+", plain):
        return "the cell has the format of a date: give it that of a number and look at it again"
    if hint := unseen(plain):
        return hint
    if re.fullmatch(r"[+-]?\d{1,3}([ .,_'’\u00a0\u202f]\d{3})+([.,]\d+)?", plain):
        return "write 1 500 as 1500 and 1.500,5 as 1500.5"
    if NUMBER.fullmatch(plain):
        return "it is too large"
    if any(c.isdecimal() and not c.isascii() for c in plain):
        return "write its digits anew, as 0 to 9 of the keyboard"
    if NUMBER.fullmatch(plain.translate(_LETTERS_FOR_DIGITS)):
        return "write the digits 0 and 1 where the letters O, l or I stand"
    if not any(map(str.isdecimal, plain)):
        return ""
    if re.fullmatch(r"[^\W\d][\w-]*", plain):  # a name, such as D1
        beside = "the cells of this row stand one column beside their own"
        return f"write the number alone, or look whether {beside}"
    return "write the number alone"
