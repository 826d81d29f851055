"""Dressings and the surfaces each was to get sand on."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from geosand.columns import Dates, Ints, Strings
from geosand.errors import Faults, Finding
from geosand.site.cells import RawTable, nearest, quoted
from geosand.site.reading import Reader
from geosand.site.tables import Dressed, Dressings, Sands, Surfaces

YEAR = np.timedelta64(366, "D")


def read_dressings(
    table: RawTable,
    surfaces: Surfaces,
    valid_from: Dates,
    sands: Sands,
    season: tuple[np.datetime64, np.datetime64 | None],
    faults: Faults,
    findings: list[Finding],
) -> tuple[Dressings, Dressed]:
    """One row a dressing in order of date, and one row a dressed surface."""
    reader = Reader(table, faults, findings)
    names = reader.text("dressing", required=True)
    dates = reader.dates("date", required=True)
    shared: dict[str, np.ndarray[Any, np.dtype[Any]]] = {
        "date": dates,
        **{name: reader.text(name) for name in ("sand", "spreader", "setting")},
        "speed": reader.quantity("speed", "m_s", above=0, maximum=20),
        "heading": reader.quantity("heading", "rad", minimum=-2 * np.pi, maximum=2 * np.pi),
        "swath": reader.quantity("swath", "m", above=0, maximum=50),
    }
    notes = reader.text("note")
    per_row = {
        "planned_m": reader.quantity("planned_depth", "m", above=0, maximum=0.2),
        "hole_diameter_m": reader.quantity("hole_diameter", "m", above=0, maximum=0.1),
        "hole_spacing_m": reader.quantity("hole_spacing", "m", above=0, maximum=1),
        "hole_depth_m": reader.quantity("hole_depth", "m", above=0, maximum=1),
    }
    named = reader.text("surfaces", required=True)
    reader.finish()
    order, head = _order(names, dates)
    index = {name: k for k, name in enumerate(order)}
    rows = {name: _row_of(reader, names, index, head, name, shared[name]) for name in shared}
    date = dates[rows["date"]]
    _season(order, date, season, findings)
    edition = _editions(order, date, valid_from, findings)
    dressings = Dressings(
        id=np.array(order, dtype=np.str_),
        date=date,
        sand=_sand_rows(reader, shared["sand"][rows["sand"]], rows["sand"], sands),
        spreader=shared["spreader"][rows["spreader"]],
        setting=shared["setting"][rows["setting"]],
        speed_m_s=shared["speed"][rows["speed"]],
        heading_degree=np.degrees(shared["heading"][rows["heading"]]),
        swath_m=shared["swath"][rows["swath"]],
        edition=edition,
        note=_joined(names, notes, order),
    )
    pairs: list[tuple[int, int, int]] = []
    for row in np.flatnonzero(names != "").tolist():
        number = index[str(names[row])]
        found = _resolve(reader, row, str(named[row]), surfaces, int(edition[number]))
        pairs += [(number, surface, row) for surface in found]
    pairs = _disjoint(reader, pairs, surfaces)
    columns = np.array(sorted(pairs), dtype=np.int64).reshape(-1, 3)
    dressed = Dressed(
        dressing=columns[:, 0],
        surface=columns[:, 1],
        **{name: column[columns[:, 2]] for name, column in per_row.items()},
    )
    return dressings, dressed


def _order(names: Strings, dates: Dates) -> tuple[list[str], Ints]:
    """Dressings in order of date (those without one last), and the first row of each."""
    first: dict[str, int] = {}
    for row, name in enumerate(names.tolist()):
        if name:
            first.setdefault(name, row)
    last = np.datetime64("9999-12-31")
    day = {name: last if np.isnat(dates[row]) else dates[row] for name, row in first.items()}
    order = sorted(first, key=lambda name: (day[name], first[name]))
    return order, np.array([first[name] for name in order], dtype=np.int64)


def _row_of(
    reader: Reader,
    names: Strings,
    index: Mapping[str, int],
    head: Ints,
    column: str,
    values: np.ndarray[Any, np.dtype[Any]],
) -> Ints:
    """The row of each dressing that says ``column``; a fault where two rows contradict."""
    blank = values == "" if values.dtype.kind == "U" else np.isnan(values)  # NaT too
    out = head.copy()
    for row in np.flatnonzero(~blank & (names != "")).tolist():
        name = str(names[row])
        start = int(out[index[name]])
        if blank[start]:
            out[index[name]] = row
        elif values[row] != values[start]:
            found = f"dressing {quoted(name)} has another {column}"
            found += f" in row {reader.table.rows[start]}"
            remedy = "rows of one dressing share it; else give the second a name of its own"
            reader.fault(row, column, found, remedy=remedy)
    return out


def _joined(names: Strings, notes: Strings, order: list[str]) -> Strings:
    """All notes of a dressing, each once."""
    texts: dict[str, dict[str, None]] = {name: {} for name in order}
    for name, note in zip(names.tolist(), notes.tolist(), strict=True):
        if name and note:
            texts[name][note] = None
    return np.array(["; ".join(texts[name]) for name in order], dtype=np.str_)


def _sand_rows(reader: Reader, texts: Strings, rows: Ints, sands: Sands) -> Ints:
    """Row of ``sands`` of each dressing; 0 where there is one sand only, or none to name."""
    known = {str(n): k for k, n in enumerate(sands.name)}
    for text, row in zip(texts.tolist(), rows.tolist(), strict=True):
        if known and text and text not in known:
            found = f"{quoted(text)} is not in site.toml"
            reader.fault(row, "sand", found, allowed=", ".join(known))
        elif len(known) > 1 and not text:
            reader.fault(row, "sand", "it is not said which sand", allowed=", ".join(known))
    return np.array([known.get(text, 0) for text in texts.tolist()], dtype=np.int64)


def _season(
    order: list[str],
    dates: Dates,
    season: tuple[np.datetime64, np.datetime64 | None],
    findings: list[Finding],
) -> None:
    start, end = season
    for name, date in zip(order, dates, strict=True):
        text = ""
        if (not np.isnat(start) and date < start) or (end is not None and date > end):
            text = f"its date {date} is outside the season; the season's ledger leaves it out"
        elif end is None and not np.isnat(start) and date > start + YEAR:
            text = f"its date {date} is more than a year after the season's start: check the year"
        if text:
            findings.append(Finding(about=name, text=text, topic="season"))


def _editions(order: list[str], dates: Dates, valid_from: Dates, findings: list[Finding]) -> Ints:
    """Boundary edition of each date; the oldest for dates before it, with a finding."""
    edition = np.searchsorted(valid_from, dates, side="right") - 1
    early = (edition < 0) & ~np.isnat(dates)
    for k in np.flatnonzero(early) if len(valid_from) else []:
        text = f"its date {dates[k]} is before the oldest boundaries ({valid_from[0]}), used here"
        findings.append(Finding(about=order[k], text=text, topic="area"))
    return np.maximum(edition, 0).astype(np.int64)


def _resolve(reader: Reader, row: int, text: str, surfaces: Surfaces, edition: int) -> list[int]:
    """Rows of ``surfaces`` meant by ids or kinds separated by spaces."""
    here = np.flatnonzero(surfaces.edition == edition)
    ids = dict(zip(surfaces.id[here].tolist(), here.tolist(), strict=True))
    kind = surfaces.kind[here]
    kinds = set(kind.tolist())
    out: list[int] = []
    if not ids:  # no surface could be read: that is told already
        return out
    for word in text.replace(",", " ").replace(";", " ").split():
        if word in ids:
            out.append(ids[word])
        elif word.lower() in kinds:
            out += here[kind == word.lower()].tolist()
        else:
            near = nearest(word, [*ids, *kinds])
            found = f"{quoted(word)} is neither a surface's id nor a kind in the boundaries"
            remedy = f"did you mean {near[0]}?" if near else "write ids or kinds, spaces between"
            if word in surfaces.id:
                found = f"{quoted(word)} is not in the boundaries of that date"
                remedy = "look at the date, and at valid_from of the editions"
            reader.fault(row, "surfaces", found, remedy=remedy)
    return list(dict.fromkeys(out))


def _disjoint(
    reader: Reader, pairs: list[tuple[int, int, int]], surfaces: Surfaces
) -> list[tuple[int, int, int]]:
    seen: dict[tuple[int, int], int] = {}
    for dressing, surface, row in pairs:
        earlier = seen.setdefault((dressing, surface), row)
        if earlier != row:
            reader.fault(
                row,
                "surfaces",
                f"{quoted(str(surfaces.id[surface]))} is already in row"
                f" {reader.table.rows[earlier]} of this dressing",
                remedy="rows of one dressing name different surfaces",
            )
    return [(d, s, row) for (d, s), row in seen.items()]
