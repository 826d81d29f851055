"""A user's own table of kinds: which word of a file means which kind of surface."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from geosand.errors import Faults, Finding
from geosand.formats.boundaries.words.kinds import likeliest
from geosand.formats.csv_table import read_csv
from geosand.formats.plain_files import plain_bytes
from geosand.site.cells import as_text, is_blank, quoted, word_key
from geosand.site.tables import KINDS

MAXIMUM_MB = 5
REMEDY = "name a CSV file with the columns found and kind"
_WORDS, _KINDS = "found", "kind"


def kinds_table(path: Path | None, pairs: Sequence[str]) -> tuple[dict[str, str], list[Finding]]:
    """Word (see :func:`word_key`) -> kind, from a CSV file (columns found, kind) and ``word=kind``.

    A pair overrules the file. Raises Refused with every word that has no kind or two.
    """
    faults, findings = Faults(), list[Finding]()
    table = {} if path is None else _from_file(path, faults, findings)
    given: dict[str, str] = {}
    for pair in pairs:
        word, mark, kind = pair.rpartition("=")  # a tag has a mark of its own: golf=rough=other
        if not mark or not word.strip():
            remedy = "write the word, = and the kind, as in --kind-map 'Abschlag=tee'"
            faults.add("--kind-map", f"{quoted(pair)} names no word and kind", remedy=remedy)
            continue
        _put(given, word, kind, "--kind-map", None, faults)
    faults.refuse()
    return table | given, findings


def _from_file(path: Path, faults: Faults, findings: list[Finding]) -> dict[str, str]:
    file, table = path.name, dict[str, str]()
    content = plain_bytes(path, file, MAXIMUM_MB, faults, REMEDY)
    if faults.found:
        return table
    raw = read_csv(content, file, faults, findings)
    if raw.unreadable:
        return table
    missing = [name for name in (_WORDS, _KINDS) if name not in raw.columns]
    if missing:
        there = ", ".join(list(raw.columns)[:10])
        found = f"there is no column {' and no column '.join(missing)} (it has {there})"
        faults.add(file, found, remedy="its first line is: found,kind")
        return table
    rows = zip(raw.rows, raw.columns[_WORDS], raw.columns[_KINDS], strict=True)
    for row, word, kind in rows:
        if is_blank(word):
            faults.add(file, "no word is written here", row=row, column=_WORDS)
        else:
            _put(table, as_text(word), "" if is_blank(kind) else as_text(kind), file, row, faults)
    return table


def _put(
    table: dict[str, str], word: str, kind: str, file: str, row: int | str | None, faults: Faults
) -> None:
    key, meant = word_key(word), kind.strip().lower()
    if meant not in KINDS:
        near = likeliest(kind)
        found = f"{quoted(kind.strip())} is no kind" if meant else f"{quoted(word)} has no kind"
        remedy = f"did you mean {near}?" if near else "use other for what is no turf of the site"
        faults.add(file, found, row=row, column=_KINDS, allowed=", ".join(KINDS), remedy=remedy)
    elif table.get(key, meant) != meant:
        found = f"{quoted(word)} is {table[key]} already, and {meant} here"
        faults.add(file, found, row=row, column=_WORDS, remedy="give each word one kind")
    else:
        table[key] = meant
