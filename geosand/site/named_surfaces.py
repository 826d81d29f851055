"""Surfaces named by their ids or kinds, as dressings and loads name them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from geosand.columns import Bools, Ints, distinct, ragged
from geosand.errors import listed
from geosand.site.cells import quoted
from geosand.site.raw_columns import Texts, find, in_rows
from geosand.site.reading import Reader
from geosand.site.tables import HAZARDS, KINDS, Surfaces


def words_of(text: str) -> list[str]:
    """The names in a cell: spaces, commas or semicolons stand between them."""
    return text.replace(",", " ").replace(";", " ").split()


def resolved(reader: Reader, rows: Ints, named: Texts, edition: Ints, surfaces: Surfaces) -> Ints:
    """Pairs (surface, row) that the texts of ``rows`` mean, ids before kinds; each once.

    ``edition`` (like ``rows``) is the one in whose boundaries each looks. What is known in none of
    them is a fault, unless there are no boundaries, which is told already.
    """
    of, words = _words(named.take(rows))
    ids = find(in_rows(surfaces.id.tolist()), surfaces.edition, words, edition[of])
    lower = words.changed(str.lower)
    kind = _kinds(surfaces, lower.words)
    order, begun, size = _by_kind(surfaces.edition, kind, lower, edition[of])
    size[ids >= 0] = 0
    described = (surfaces.id != "") & (surfaces.kind != "")  # else what is missing is told
    drawn = np.isin(edition[of], distinct(surfaces.edition[described]))
    for k in np.flatnonzero((ids < 0) & (size == 0) & drawn).tolist():
        word = words.words[words.code[k]]
        _unknown(reader, int(rows[of[k]]), word, surfaces, int(edition[of[k]]))
    _named_again(reader, rows, of, lower, ids, kind, size > 0, surfaces)
    word, place = ragged(begun, size)
    surface = np.concatenate([ids[ids >= 0], order[place]])
    row = np.concatenate([rows[of[ids >= 0]], rows[of[word]]])
    keys = distinct(surface * reader.size + row) if reader.size else surface
    return np.stack([keys // max(reader.size, 1), keys % max(reader.size, 1)], axis=1)


def disjoint(reader: Reader, number: Ints, pairs: Ints, surfaces: Surfaces) -> Ints:
    """The pairs (surface, row) by dressing and surface; a fault where one comes again.

    ``number`` is the dressing of each row.
    """
    order = np.argsort(number[pairs[:, 1]], kind="stable")  # they come by surface and row
    pairs = pairs.take(order, axis=0)
    of = number[pairs[:, 1]]
    again = np.zeros(len(pairs), dtype=np.bool_)
    again[1:] = (of[1:] == of[:-1]) & (pairs[1:, 0] == pairs[:-1, 0])
    start = np.maximum.accumulate(np.where(again, 0, np.arange(len(pairs))))
    twice: dict[tuple[int, int], list[str]] = {}
    for k in np.flatnonzero(again).tolist():
        earlier, row = int(pairs[start[k], 1]), int(pairs[k, 1])
        if earlier != row:
            name = quoted(str(surfaces.id[pairs[k, 0]]))
            twice.setdefault((row, earlier), []).append(name)
    for (row, earlier), names in twice.items():
        are = "is" if len(names) == 1 else "are"
        found = f"{listed(names)} {are} already in {reader.place(earlier)} of this dressing"
        reader.fault(row, "surfaces", found, remedy="rows of one dressing name different surfaces")
    return pairs[~again]


def _words(named: Texts) -> tuple[Ints, Texts]:
    """Every word of every cell, and the number (m,) of the cell that it is of."""
    lists = [words_of(text) for text in named.words]
    size = np.array([len(words) for words in lists], dtype=np.int64)
    of, place = ragged((np.cumsum(size) - size)[named.code], size[named.code])
    return of, in_rows([word for words in lists for word in words]).take(place)


def _kinds(surfaces: Surfaces, words: Sequence[str]) -> Ints:
    """Which word is each surface's kind; -1 for none."""
    code = {word: k for k, word in enumerate(words)}
    return np.array([code.get(word, -1) for word in surfaces.kind.tolist()], dtype=np.int64)


def _by_kind(edition_of: Ints, kind: Ints, words: Texts, edition: Ints) -> tuple[Ints, Ints, Ints]:
    """Surfaces by edition and kind, and where in that order each word's begin and how many."""
    rows = np.flatnonzero(kind >= 0)
    keys = edition_of[rows] * len(words.words) + kind[rows]
    order = np.argsort(keys, kind="stable")
    sought = edition * len(words.words) + words.code
    begun = np.searchsorted(keys[order], sought, side="left")
    return rows[order], begun, np.searchsorted(keys[order], sought, side="right") - begun


def _named_again(
    reader: Reader,
    rows: Ints,
    of: Ints,
    words: Texts,
    ids: Ints,
    kind: Ints,
    named: Bools,
    surfaces: Surfaces,
) -> None:
    """A fault where a cell has a kind and one of its surfaces: "green 3" may mean either.

    Each word stands in the cell ``of``, is the id of a surface ``ids`` (else -1), or ``named`` as a
    kind. ``kind`` is the code of the word that is each surface's kind (else -1).
    """
    number = len(words.words)
    by_id = np.flatnonzero((ids >= 0) & np.isin(of, of[named]))
    by_id = by_id[kind[ids[by_id]] >= 0]
    if not len(by_id):  # of nothing np.isin would load numpy.ma
        return
    wanted = of[by_id] * number + kind[ids[by_id]]
    for k in by_id[np.isin(wanted, of[named] * number + words.code[named])].tolist():
        whole, one = (quoted(str(column[ids[k]])) for column in (surfaces.kind, surfaces.id))
        found = f"{whole} means every surface of that kind, and {one} is one of them"
        remedy = "write the kind alone for all of them, or ids alone, spaces between"
        reader.fault(int(rows[of[k]]), "surfaces", found, remedy=remedy)


def _unknown(reader: Reader, row: int, word: str, surfaces: Surfaces, edition: int) -> None:
    """The fault for a word that is neither an id nor a kind in the boundaries of that date."""
    from geosand.site.remedies import surface_remedy  # for words that are not known only

    here = surfaces.edition == edition
    kinds = sorted(set(surfaces.kind[here].tolist()))
    turf = (k for k in dict.fromkeys([*KINDS, *kinds]) if k not in HAZARDS)  # greens first
    ids = [one for kind in turf for one in surfaces.id[here & (surfaces.kind == kind)].tolist()]
    found = f"{quoted(word)} is neither a surface's id nor a kind in the boundaries"
    remedy = surface_remedy(word, ids, kinds, "write ids or kinds, spaces between")
    if word in surfaces.id:
        found = f"{quoted(word)} is not in the boundaries of that date"
        remedy = "look at the date, and at valid_from of the editions"
    reader.fault(row, "surfaces", found, remedy=remedy)
