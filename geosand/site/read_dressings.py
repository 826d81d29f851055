"""Dressings and the surfaces each was to get sand on."""

from __future__ import annotations

import difflib

import numpy as np

from geosand.columns import Dates, Ints
from geosand.errors import Faults, Finding
from geosand.site.reading import RawTable, Reader, quoted
from geosand.site.tables import Dressed, Dressings, Sands, Surfaces

SAME = ("date", "sand", "spreader", "setting")


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
    sand = _sand_rows(reader, sands)
    words = {name: reader.text(name) for name in ("spreader", "setting", "note")}
    speed = reader.quantity("speed", "m_s", above=0, maximum=20)
    heading = np.degrees(reader.quantity("heading", "rad", minimum=-2 * np.pi, maximum=2 * np.pi))
    swath = reader.quantity("swath", "m", above=0, maximum=50)
    per_row = {
        "planned_m": reader.quantity("planned_depth", "m", above=0, maximum=0.2),
        "hole_diameter_m": reader.quantity("hole_diameter", "m", above=0, maximum=0.1),
        "hole_spacing_m": reader.quantity("hole_spacing", "m", above=0, maximum=1),
        "hole_depth_m": reader.quantity("hole_depth", "m", above=0, maximum=1),
    }
    named = reader.text("surfaces", required=True)
    reader.finish()
    keep = [k for k in range(reader.size) if names[k] and not np.isnat(dates[k])]
    order = sorted(
        dict.fromkeys(str(names[k]) for k in keep), key=lambda n: _first(names, dates, n)
    )
    index = {name: k for k, name in enumerate(order)}
    head = [int(np.flatnonzero(names == name)[0]) for name in order]
    _same_in_all_rows(reader, names, {"date": dates, "sand": sand, **words})
    _season(order, dates[head], season, findings)
    edition = np.maximum(np.searchsorted(valid_from, dates[head], side="right") - 1, 0)
    dressings = Dressings(
        id=np.array(order, dtype=np.str_),
        date=dates[head],
        sand=sand[head],
        spreader=words["spreader"][head],
        setting=words["setting"][head],
        speed_m_s=speed[head],
        heading_degree=heading[head],
        swath_m=swath[head],
        edition=edition.astype(np.int64),
        note=words["note"][head],
    )
    pairs: list[tuple[int, int, int]] = []
    for row in keep:
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


def _first(names: np.ndarray, dates: Dates, name: str) -> tuple[np.datetime64, int]:  # type: ignore[type-arg]
    row = int(np.flatnonzero(names == name)[0])
    return (dates[row] if not np.isnat(dates[row]) else np.datetime64("9999-12-31"), row)


def _sand_rows(reader: Reader, sands: Sands) -> Ints:
    texts = reader.text("sand")
    known = {str(n): k for k, n in enumerate(sands.name)}
    out = np.zeros(reader.size, dtype=np.int64)
    for row, text in enumerate(texts.tolist()):
        if text in known:
            out[row] = known[text]
        elif text:
            reader.fault(
                row, "sand", f"{quoted(text)} is not in site.toml", allowed=", ".join(known) or "–"
            )
        elif len(known) > 1:
            reader.fault(row, "sand", "it is not said which sand", allowed=", ".join(known))
    return out


def _same_in_all_rows(reader: Reader, names: np.ndarray, columns: dict[str, np.ndarray]) -> None:  # type: ignore[type-arg]
    for name in dict.fromkeys(names.tolist()):
        rows = np.flatnonzero(names == name)
        for column in SAME:
            values = columns[column][rows]
            for row, value in zip(rows[1:], values[1:], strict=True):
                if value != values[0] and name:
                    reader.fault(
                        int(row),
                        column,
                        f"dressing {quoted(name)} has another {column} in an earlier row",
                        remedy="rows of one dressing share it; else give the second a name of its own",
                    )


def _season(
    order: list[str],
    dates: Dates,
    season: tuple[np.datetime64, np.datetime64 | None],
    findings: list[Finding],
) -> None:
    for name, date in zip(order, dates, strict=True):
        start, end = season
        outside = (not np.isnat(start) and date < start) or (end is not None and date > end)
        if outside:
            text = f"its date {date} is outside the season; the season's ledger leaves it out"
            findings.append(Finding(about=name, text=text, topic="season"))


def _resolve(reader: Reader, row: int, text: str, surfaces: Surfaces, edition: int) -> list[int]:
    """Rows of ``surfaces`` meant by ids or kinds separated by spaces."""
    here = np.flatnonzero(surfaces.edition == edition)
    ids = {str(surfaces.id[k]): int(k) for k in here}
    kinds = set(surfaces.kind[here].tolist())
    out: list[int] = []
    for word in text.replace(",", " ").replace(";", " ").split():
        if word in ids:
            out.append(ids[word])
        elif word.lower() in kinds:
            out += [int(k) for k in here if surfaces.kind[k] == word.lower()]
        else:
            near = difflib.get_close_matches(word, [*ids, *kinds], n=1)
            reader.fault(
                row,
                "surfaces",
                f"{quoted(word)} is neither a surface's id nor a kind in surfaces.geojson",
                remedy=f"did you mean {near[0]}?"
                if near
                else "write ids or kinds, with spaces between",
            )
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
                f"{quoted(str(surfaces.id[surface]))} is already in row {reader.table.rows[earlier]}"
                " of this dressing",
                remedy="rows of one dressing name different surfaces",
            )
    return [(d, s, row) for (d, s), row in seen.items()]
