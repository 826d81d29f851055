"""Single cells as files hold them: numbers, days, texts, and how a message quotes them."""

from __future__ import annotations

import datetime
import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import field
from typing import Any

import numpy as np

from geosand.columns import Floats, Ints, frozen
from geosand.errors import printable

Cell = str | float | int | bool | datetime.date | datetime.time | datetime.timedelta | None
RECORDS = ("dressings", "loads", "catches", "deliveries")  #: tables of a site beside its surfaces
SHOW = 40  #: characters of a cell quoted in a message
LONGEST = 1000  #: characters of a text; a column is as wide as its longest text
LONGEST_LIST = 100_000  #: of a list of surfaces, which is taken apart at reading
#: What people write where there is nothing.
NOTHING = ("-", "--", "–", "—", "/", "na", "n/a", "n.a.", "#n/a", "none", "null", "nil", "nan", "?")
#: What a spreadsheet writes where a formula has no result.
ERRORS = ("#ref!", "#div/0!", "#value!", "#name?", "#num!", "#null!")
NUMBER = re.compile(r"\s*[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?\s*", re.ASCII)
#: What turns the text around it about, and zero: shown as a dot, here and in all outputs.
UNSHOWN = dict.fromkeys([0, *range(0x202A, 0x202F), *range(0x2066, 0x206A)], "·")
_TIME = r"(?:[01]\d|2[0-3]):[0-5]\d(?::(?:[0-5]\d|60)(?:\.\d{1,6})?)?"
DAY = re.compile(rf"\s*(\d{{4}}-\d{{2}}-\d{{2}})(?:[T ]{_TIME})?\s*", re.ASCII)
HIDDEN = "·"  #: how a sign that nobody sees is shown
#: Letters of Cyrillic and Greek, small, that as such or as capitals look like those of Latin.
_LIKE_LATIN = str.maketrans("аеорсухіјѕкмтвнαβεζηικμνορτυχ", "aeopcyxijskmtbhabezhikmnoptyx")


@frozen
class RawTable:
    """Cells as they stand in a file, by column, with the place of each row for messages.

    The rows may be of several sites, each numbered in ``member``; a blank column of one of them is
    then as good as none.
    """

    file: str
    rows: Sequence[int | str] = ()
    columns: Mapping[str, Any] = field(default_factory=dict)  #: each a ``raw_columns.Column``
    told: frozenset[int] = frozenset()  #: rows, counted from 0, with a fault already noted
    unreadable: bool = False  #: nothing could be read and that is already noted
    member: Ints | None = None  #: which site each row is of; None = all of one
    members: int = 1  #: how many sites
    #: for columns of several sites that are not the same: which sites have it, though all blank
    present: Mapping[str, Any] = field(default_factory=dict)

    def of_site(self) -> Ints:
        """The number of the site that each row is of."""
        return np.zeros(len(self.rows), dtype=np.int64) if self.member is None else self.member


def quoted(cell: Cell) -> str:
    """A cell as a message shows it: short, on one line, without control characters."""
    text = printable(str(cell))
    return f"'{text[:SHOW]}…'" if len(text) > SHOW else f"'{text}'"


def unseen(text: str) -> str:
    """What to do about signs in a text that nobody can see, "" where there are none."""
    hidden = ("Cf", "Zl", "Zp")
    seen = "".join(c for c in text if c != HIDDEN and unicodedata.category(c) not in hidden)
    if seen == text:
        return ""
    # a raised dot that somebody wrote is not told from it
    dot = " or a raised dot" if HIDDEN in text else ""
    return f"type it anew: it holds a sign that can not be seen{dot} (shown as ·)"


def nearest(word: str, words: Iterable[str], *, cutoff: float = 0.6) -> list[str]:
    """The word among ``words`` that is spelt most like it, if any is at least so alike.

    >>> nearest("gren", ["green", "tee"]), nearest("g", ["g1", "g2"])
    (['green'], [])
    """
    import difflib  # for words that are not known only

    lowered = {other.lower(): other for other in words}
    near = difflib.get_close_matches(word.lower(), lowered, n=2, cutoff=cutoff)
    alike = [difflib.SequenceMatcher(None, one, word.lower()).ratio() for one in near]
    return [lowered[one] for one in near[:1] if len(set(alike)) == len(near)]  # else anyone's guess


def is_blank(cell: Cell) -> bool:
    """True for a cell that holds nothing."""
    return cell is None or (isinstance(cell, str) and not cell.strip())


def as_text(cell: Cell) -> str:
    """A cell as text; 7.0 and a day of a workbook are the names 7 and 2026-04-30 of a CSV file."""
    if isinstance(cell, float) and cell.is_integer() and abs(cell) < 1e15:
        return str(int(cell))
    if isinstance(cell, datetime.datetime) and cell.time() == datetime.time():
        return cell.date().isoformat()
    return str(cell).strip()


def tidied(text: str) -> str:
    """A text without space around it, accents as one sign with their letters (Unicode NFC)."""
    return unicodedata.normalize("NFC", text.strip())


def word_key(text: str) -> str:
    """A name as it is compared with others: without case, with single spaces.

    >>> word_key("  First   GREEN ")
    'first green'
    """
    return " ".join(text.split()).casefold()


def loosely(name: str) -> str:
    """A name without what people leave out or add without a thought, or can not see."""
    seen = "".join(c for c in name if c != HIDDEN and unicodedata.category(c) != "Cf")
    plain = unicodedata.normalize("NFKC", seen).casefold().translate(_LIKE_LATIN)
    plain = re.sub(r"(?<!\d)[\s_]+|[\s_]+(?!\d)", "", plain)
    return re.sub(r"(?<![\d.])0+(?=\d)|\.0+$", "", plain)


def is_clean(text: str) -> bool:
    """False for text with control characters (line breaks and tabs excepted) or lone surrogates."""
    return text.isprintable() or not any(
        unicodedata.category(c) in ("Cc", "Cs") and c not in "\t\n\r" for c in text
    )


def has_foreign_bytes(text: str) -> bool:
    """True for text out of bytes that are no UTF-8, as ``surrogateescape`` decodes them."""
    return any("\udc80" <= sign <= "\udcff" for sign in text)


def all_floats(cells: Sequence[Cell]) -> Floats | None:
    """All cells as floats at once, nan for blanks; None where any cell is doubtful."""
    if set(map(type, cells)) == {float}:
        values = np.array(cells, dtype=np.float64)
        return values if np.isfinite(values).all() else None
    if set(map(type, cells)) == {str}:
        return _all_texts_as_floats(cells)  # type: ignore[arg-type]
    try:
        plain = [np.nan if c is None or c == "" else float(c) for c in cells]  # type: ignore[arg-type]
    except (TypeError, ValueError, OverflowError):
        return None
    values = np.array(plain, dtype=np.float64)
    doubtful = any(
        isinstance(c, bool) or (isinstance(c, str) and ("_" in c or not c.isascii())) for c in cells
    )
    blanks = sum(c is None or c == "" for c in cells)
    if doubtful or int((~np.isfinite(values)).sum()) != blanks:
        return None
    return values


def _all_texts_as_floats(cells: Sequence[str]) -> Floats | None:
    """Texts as floats, nan for ""; None where any is doubtful."""
    if len(cells) > 1 and cells.count(cells[0]) == len(cells):  # as all trays are of one size
        value = _all_texts_as_floats(cells[:1])
        return None if value is None else np.repeat(value, len(cells))
    whole = "".join(cells)
    if "_" in whole or not whole.isascii():
        return None
    try:
        values = np.array([float(cell or "nan") for cell in cells], dtype=np.float64)
    except ValueError:
        return None
    known = np.isfinite(values)
    return values if known.all() or len(known) - known.sum() == cells.count("") else None


def parse_number(cell: Cell) -> float | None:
    """A finite number, or None. No thousands separators, no decimal comma, no nan."""
    if isinstance(cell, str):
        value = float(cell) if NUMBER.fullmatch(cell.strip()) else np.nan
    elif isinstance(cell, (int, float)) and not isinstance(cell, bool):
        try:
            value = float(cell)
        except OverflowError:
            return None
    else:
        return None
    return value if np.isfinite(value) else None


def parse_day(cell: Cell) -> np.datetime64 | None:
    """A day from a date, a datetime or ISO 8601 text (a local time is left out); else None.

    With a time zone it is none, as at the site it could be another day; but midnight UTC is how
    tables with a column of times hold a day.

    >>> parse_day(datetime.datetime(2026, 4, 1, tzinfo=datetime.UTC))
    np.datetime64('2026-04-01')
    """
    if isinstance(cell, datetime.datetime):
        midnight = cell.time() == datetime.time() and not cell.utcoffset()
        return np.datetime64(cell.date(), "D") if midnight or not cell.tzinfo else None
    if isinstance(cell, datetime.date):
        return np.datetime64(cell, "D")
    match = DAY.fullmatch(cell.strip()) if isinstance(cell, str) else None
    try:
        return np.datetime64(datetime.date.fromisoformat(match[1]), "D") if match else None
    except ValueError:
        return None
