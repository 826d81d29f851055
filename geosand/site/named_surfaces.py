"""Surfaces named by their ids or kinds, as dressings and loads name them."""

from __future__ import annotations

import numpy as np

from geosand.columns import Ints, distinct
from geosand.site.cells import nearest, quoted, unseen
from geosand.site.raw_columns import Texts, find, in_rows
from geosand.site.reading import Reader
from geosand.site.tables import Surfaces


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
    order, begun, size = _by_kind(surfaces, words.changed(str.lower), edition[of])
    size[ids >= 0] = 0
    drawn = np.isin(edition[of], distinct(surfaces.edition))
    for k in np.flatnonzero((ids < 0) & (size == 0) & drawn).tolist():
        word = words.words[words.code[k]]
        _unknown(reader, int(rows[of[k]]), word, surfaces, int(edition[of[k]]))
    within = np.arange(size.sum()) - np.repeat(np.cumsum(size) - size, size)
    by_kind = order[np.repeat(begun, size) + within]
    surface = np.concatenate([ids[ids >= 0], by_kind])
    row = np.concatenate([rows[of[ids >= 0]], np.repeat(rows[of], size)])
    keys = distinct(surface * reader.size + row) if reader.size else surface
    return np.stack([keys // max(reader.size, 1), keys % max(reader.size, 1)], axis=1)


def disjoint(reader: Reader, number: Ints, pairs: Ints, surfaces: Surfaces) -> Ints:
    """The pairs (surface, row) by dressing and surface; a fault where one comes again.

    ``number`` is the dressing of each row.
    """
    order = np.lexsort((pairs[:, 1], pairs[:, 0], number[pairs[:, 1]]))
    pairs = pairs[order]
    of = number[pairs[:, 1]]
    again = np.zeros(len(pairs), dtype=np.bool_)
    again[1:] = (of[1:] == of[:-1]) & (pairs[1:, 0] == pairs[:-1, 0])
    start = np.maximum.accumulate(np.where(again, 0, np.arange(len(pairs))))
    for k in np.flatnonzero(again).tolist():
        earlier, row = int(pairs[start[k], 1]), int(pairs[k, 1])
        if earlier != row:
            reader.fault(
                row,
                "surfaces",
                f"{quoted(str(surfaces.id[pairs[k, 0]]))} is already in"
                f" {reader.place(earlier)} of this dressing",
                remedy="rows of one dressing name different surfaces",
            )
    return pairs[~again]


def _words(named: Texts) -> tuple[Ints, Texts]:
    """Every word of every cell, and the number (m,) of the cell that it is of."""
    lists = [words_of(text) for text in named.words]
    size = np.array([len(words) for words in lists], dtype=np.int64)
    begun, count = (np.cumsum(size) - size)[named.code], size[named.code]
    of = np.repeat(np.arange(len(named)), count)
    within = np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count)
    place = np.repeat(begun, count) + within
    return of, in_rows([word for words in lists for word in words]).take(place)


def _by_kind(surfaces: Surfaces, words: Texts, edition: Ints) -> tuple[Ints, Ints, Ints]:
    """Surfaces by edition and kind, and where in that order each word's begin and how many."""
    code = {word: k for k, word in enumerate(words.words)}
    kind = np.array([code.get(word, -1) for word in surfaces.kind.tolist()], dtype=np.int64)
    rows = np.flatnonzero(kind >= 0)
    keys = surfaces.edition[rows] * len(code) + kind[rows]
    order = np.argsort(keys, kind="stable")
    sought = edition * len(code) + words.code
    begun = np.searchsorted(keys[order], sought, side="left")
    return rows[order], begun, np.searchsorted(keys[order], sought, side="right") - begun


def _unknown(reader: Reader, row: int, word: str, surfaces: Surfaces, edition: int) -> None:
    """The fault for a word that is neither an id nor a kind in the boundaries of that date."""
    here = surfaces.edition == edition
    near = nearest(word, [*surfaces.id[here].tolist(), *set(surfaces.kind[here].tolist())])
    found = f"{quoted(word)} is neither a surface's id nor a kind in the boundaries"
    remedy = f"did you mean {near[0]}?" if near else "write ids or kinds, spaces between"
    remedy = unseen(word) or remedy
    if word in surfaces.id:
        found = f"{quoted(word)} is not in the boundaries of that date"
        remedy = "look at the date, and at valid_from of the editions"
    reader.fault(row, "surfaces", found, remedy=remedy)
