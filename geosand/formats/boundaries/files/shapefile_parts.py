"""The files of a Shapefile held against each other: are they of one export, and in what letters?

Heads of .shp and .shx: ESRI, Shapefile Technical Description (1998), pages 4 and 24; those of a
dBASE table from memory.
"""

from __future__ import annotations

import codecs
import contextlib
from pathlib import Path
from typing import Any

import numpy as np

from geosand.columns import Ints
from geosand.errors import refused

HEAD_BYTES, LEAST_TABLE = 100, 33  #: of .shp and .shx; and of a table with no column
NO_PAGE = (b"", b"OEM", b"ANSI", b"SYSTEM")  #: words of a .cpg that name no code page


def check_parts(path: Path, shown: str) -> list[str]:
    """Words on outlines that are left out unread, and on a table that is none.

    Raises Refused where the table has not a row an outline: it may be that of other ones.
    """
    table, index = (_content(path, ending) for ending in (".dbf", ".shx"))
    words = np.frombuffer(index[HEAD_BYTES:][: (len(index) - HEAD_BYTES) // 8 * 8], ">i4")
    named = words.astype(np.int64).reshape(-1, 2) * 2  # where each begins, and its size
    said = []
    shapes = np.fromfile(path, np.uint8)
    held = int.from_bytes(shapes[24:28].tobytes(), "big") * 2
    if not _in_order(shapes, named[:, 0]):
        said.append(
            "its index (.shx) names the outlines in another order than they are numbered in:"
            " names may be those of others"
        )
    # what lies before may be what an outline was before it was changed
    if len(named) and named.sum(axis=1).max() + 8 < held:
        said.append("it holds outlines that its index (.shx) does not name: they are not read")
    if len(table) < LEAST_TABLE:
        missing = "empty" if path.with_suffix(".dbf").is_file() else "missing"
        return [*said, f"its table (.dbf) is {missing}: names and kinds are lost"]
    rows = int.from_bytes(table[4:8], "little")
    if len(named) and rows != len(named):
        found = f"its table (.dbf) has {rows:,} rows for the {len(named):,} outlines of its index"
        remedy = "hand over all files of one export; without the .dbf the outlines alone are read"
        raise refused(shown, f"{found} (.shx): names may be those of others", remedy=remedy)
    start, width = (int.from_bytes(table[k : k + 2], "little") for k in (8, 10))
    gone = table[start :: max(width, 1)][:rows].count(b"*")
    if gone:
        one = "1 row of its table is" if gone == 1 else f"{gone} rows of its table are"
        said.append(f"{one} marked as deleted: the outlines of such are not read")
    return said


def _in_order(shapes: np.ndarray[Any, np.dtype[np.uint8]], begun: Ints) -> bool:
    """Whether none of the outlines that begin at these bytes has a lower number than one before.

    Some writers number all alike, or leave numbers out.
    """
    inside = begun[(begun >= HEAD_BYTES) & (begun + 4 <= len(shapes))]
    number = shapes[inside[:, None] + np.arange(4)].view(">i4").astype(np.int64)[:, 0]
    return bool((np.diff(number) >= 0).all())


def table_encoding(path: Path) -> tuple[str, str]:
    """Encoding of the table, "" for the driver's own, and words on it where that is doubtful.

    Byte 29 of a dBASE file names a code page, 0 none (from memory); a .cpg comes first, if it names
    one.
    """
    table, said = _content(path, ".dbf"), _content(path, ".cpg")[:100].strip().upper()
    rows = table[int.from_bytes(table[8:10], "little") :]  # they begin behind the head
    wrong = _is_of_no_table(said.decode("utf-8-sig", "replace"))
    if rows.isascii() or len(table) < LEAST_TABLE:
        return "ISO-8859-1" if wrong else "", ""
    try:
        rows.decode("utf-8")
        utf_8 = True
    except UnicodeDecodeError:
        utf_8 = False
    if said in NO_PAGE or wrong:
        if table[29] and not (utf_8 or wrong):
            return "", ""
        named = f".cpg says {said.decode()}" if said else "no .cpg"
        doubt = f"its table does not say its encoding ({named})"
        encoding = "UTF-8" if utf_8 else "CP1252"
        return encoding, f"{doubt}: read as {encoding}; look at accents"
    word = said.decode("utf-8-sig", "replace")
    encoding = _known_page(word)
    if (encoding == "UTF-8") == utf_8:
        return encoding, ""
    says = f"its .cpg says {word[:20]}"
    if utf_8:
        mend = "look at accents; if they are wrong, take the .cpg away"
        return encoding, f"{says}, and its table looks like UTF-8: {mend}"
    return "CP1252", f"{says}, which its table is not: read as CP1252; look at accents"


def _known_page(word: str) -> str:
    """What the driver calls a code page; "" where it knows better than to stop at a word."""
    number = word.removeprefix("ANSI ").removeprefix("OEM ")
    if number == "65001" or number.replace("-", "").startswith("UTF8"):
        return "UTF-8"
    if number != word and number.isdigit():  # forms that the driver does not know
        with contextlib.suppress(LookupError):
            return codecs.lookup(f"CP{number}").name.upper()
    return ""


def _is_of_no_table(word: str) -> bool:
    """Whether it names a code in which letters are other bytes, as UTF-16: no table is in such.

    The driver would read other words out of it.
    """
    try:
        return "a".encode(word) != b"a"
    except (LookupError, ValueError):  # no code that is known here
        return False


def _content(path: Path, ending: str) -> bytes:
    """The bytes of a file beside it; none where there is none."""
    beside = path.with_suffix(ending)
    return beside.read_bytes() if beside.is_file() else b""
