"""Texts of cells that can not be taken as they stand, and names of rows that are not to count."""

from __future__ import annotations

import re

from geosand.site.cells import ERRORS, has_foreign_bytes, is_clean, parse_day, quoted, unseen

COMMENT = ("#", "//", ";", "%", "!")  #: marks with which programs leave a line out
#: The ditto mark, and what is typed for it: quotes, primes, commas, dots, arrows.
_DITTO = "\u3003\"'`,.^|\u00b4\u2018\u2019\u201c\u201d\u201e\u2026\u2032\u2033\u2191\u2193"
#: As spreadsheets show 5-3 or 5.3 where they took it for a day.
_SHOWN_DAY = r"\d{1,2}(-|\. ?)(jan|feb|mar|mrz|mär|apr|ma[iy]|jun|jul|aug|sep|o[ck]t|nov|de[cz])"
_SUM = re.compile(r"((sub|grand )?totals?|sum|mean|average)\b")


def means_total(word: str) -> bool:
    """True for the name of a row that sums up others.

    >>> means_total("Total D1"), means_total("Summit")
    (True, False)
    """
    return bool(_SUM.match(word.lower()))


def names_nothing(word: str) -> bool:
    """True for errors of formulas, and for ditto marks: the cell should be as that above."""
    return word.lower() in ERRORS or (word != "" and not word.strip(_DITTO))


def means_day(word: str) -> bool:
    """True for days, where a spreadsheet may have made them of numbers.

    >>> means_day("2026-03-05"), means_day("05. Mrz"), means_day("5-3"), means_day("3-low")
    (True, True, False, False)
    """
    return parse_day(word) is not None or bool(re.fullmatch(_SHOWN_DAY, word.lower()))


def wrong_text(
    text: str, required: str, pattern: str, allowed: str, longest: int
) -> dict[str, str] | None:
    """What is wrong with a text; None where nothing is."""
    if required and not text:
        return {"found": "nothing is written here", "remedy": required}
    if len(text) > longest:
        return {"found": f"a text of {len(text):,} characters", "allowed": f"{longest:,}"}
    if not is_clean(text):
        what = "bytes that are no UTF-8" if has_foreign_bytes(text) else "control characters"
        found = f"{quoted(text)} holds {what}"
        return {"found": found, "remedy": "write it anew"}
    if text and pattern and not re.fullmatch(pattern, text):
        return {
            "found": f"{quoted(text)} can not be used",
            "allowed": allowed,
            "remedy": unseen(text),
        }
    return None
