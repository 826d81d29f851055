"""Dressings and the surfaces each was to get sand on."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np

from geosand.columns import Bools, Dates, Floats, Ints, Strings
from geosand.errors import Faults, Finding
from geosand.site.cells import RawTable, quoted
from geosand.site.named_surfaces import resolved
from geosand.site.raw_columns import Ids, Texts, find, first_come, in_rows
from geosand.site.read_settings import YEAR, SiteTexts
from geosand.site.reading import Reader
from geosand.site.tables import Dressed, Dressings, Surfaces

PLANS_M = (1e-4, 0.025)  #: usual depths of one dressing (common practice)


def read_dressings(
    table: RawTable,
    surfaces: Surfaces,
    editions: Editions,
    text: SiteTexts,
    faults: Faults,
    findings: list[Finding],
) -> tuple[Dressings, Dressed, Ids]:
    """One row a dressing of a site in order of date, one row a dressed surface, and the names."""
    reader = Reader(table, faults, findings)
    names = reader.names("dressing")
    dates = reader.dates("date", required=True)
    sand = reader.texts("sand")
    shared: dict[str, np.ndarray[Any, np.dtype[Any]]] = {
        "date": dates,
        "sand": sand.strings(),
        "spreader": reader.text("spreader"),
    }
    driven: dict[str, np.ndarray[Any, np.dtype[Any]]] = {
        "setting": reader.text("setting"),
        "speed": reader.quantity("speed", "m_s", above=0, maximum=20, usual=(0.15, 9.0)),
        "heading": reader.quantity("heading", "rad", minimum=-2 * np.pi, maximum=2 * np.pi),
        "swath": reader.quantity("swath", "m", above=0, maximum=50, usual=(0.3, 24.0)),
    }
    notes = reader.text("note")
    per_row = {
        "planned_m": reader.quantity("planned_depth", "m", above=0, maximum=0.2, usual=PLANS_M),
        "hole_diameter_m": reader.quantity("hole_diameter", "m", above=0, maximum=0.1),
        "hole_spacing_m": reader.quantity("hole_spacing", "m", above=0, maximum=1),
        "hole_depth_m": reader.quantity("hole_depth", "m", above=0, maximum=1),
    }
    named = reader.texts("surfaces", required=True)
    reader.finish()
    _holes(reader, per_row)
    number, head = _order(reader, names, dates)
    rows = {name: _row_of(reader, names, number, head, name, shared[name]) for name in shared}
    date, member = dates[rows["date"]], reader.member[head]
    ids = Ids(text=names.take(head), member=member)
    reader.tell_nearly_same(ids, "dressing")
    told = _Told(id=ids.text.strings(), date=date, member=member, findings=findings)
    _season(told, text)
    _out_of_order(reader, head, told)
    edition = _editions(told, editions)
    dressings = Dressings(
        id=told.id,
        date=date,
        sand=sand_rows(reader, sand.take(rows["sand"]), rows["sand"], member, text),
        spreader=shared["spreader"][rows["spreader"]],
        edition=edition,
        note=_joined(number, notes, len(head)),
    )
    kept = np.flatnonzero(number >= 0)
    pairs = resolved(reader, kept, named, edition[number[kept]], surfaces)
    pairs = _disjoint(reader, number, pairs, surfaces)
    driven = {name: _filled(reader, number, head, name, driven[name]) for name in driven}
    row = pairs[:, 1]
    dressed = Dressed(
        dressing=number[row],
        surface=pairs[:, 0],
        setting=driven["setting"][row],
        speed_m_s=driven["speed"][row],
        heading_degree=np.degrees(driven["heading"][row]),
        swath_m=driven["swath"][row],
        **{name: column[row] for name, column in per_row.items()},
    )
    return dressings, dressed, ids


def _holes(reader: Reader, columns: dict[str, Floats]) -> None:
    """A fault for holes wider than apart; a finding where their size is not said in full."""
    diameter, spacing, depth = (
        columns[f"hole_{name}_m"] for name in ("diameter", "spacing", "depth")
    )
    for row in np.flatnonzero(diameter > spacing).tolist():
        found = f"holes {diameter[row] * 1000:g} mm wide, {spacing[row] * 1000:g} mm apart"
        remedy = "spacing is from middle to middle; check the units of both"
        reader.fault(row, "hole_spacing_mm", found, remedy=remedy)
    said = np.sum([np.isfinite(column) for column in (diameter, spacing, depth)], axis=0)
    text = "diameter, spacing and depth of holes are not all said: no sand is counted in holes"
    rows = np.flatnonzero((said > 0) & (said < 3))
    reader.tell_rows(rows, lambda mine: f"{reader.places(mine)}: {text}", "file")


class Editions(NamedTuple):
    """From which day each site's boundary editions hold (sites, editions), the oldest first."""

    valid_from: Dates


class _Told(NamedTuple):
    """What findings about dressings need."""

    id: Strings
    date: Dates
    member: Ints
    findings: list[Finding]

    def tell(self, rows: Bools, topic: str, text: Callable[[int], str]) -> None:
        """A finding about each of the dressings."""
        for k in np.flatnonzero(rows).tolist():
            finding = Finding(
                about=str(self.id[k]), text=text(k), topic=topic, member=int(self.member[k])
            )
            self.findings.append(finding)


def _order(reader: Reader, names: Texts, dates: Dates) -> tuple[Ints, Ints]:
    """The dressing that each row is of, -1 without a name, and the first row of each dressing.

    They are counted site by site in order of date, those without one last.
    """
    rows = np.flatnonzero(names.matching(bool))
    first, number = first_come((reader.member * len(names.words) + names.code)[rows])
    head = rows[first]
    day = np.where(np.isnat(dates[head]), np.datetime64("9999-12-31"), dates[head])
    order = np.lexsort((head, day, reader.member[head]))
    place = np.empty(len(order), dtype=np.int64)
    place[order] = np.arange(len(order))
    out = np.full(reader.size, -1, dtype=np.int64)
    out[rows] = place[number]
    return out, head[order]


def _row_of(
    reader: Reader,
    names: Texts,
    number: Ints,
    head: Ints,
    column: str,
    values: np.ndarray[Any, np.dtype[Any]],
) -> Ints:
    """The row of each dressing that says ``column``; a fault where two rows contradict."""
    out, others = _said(number, head, values)
    for row in others.tolist():
        start = int(out[number[row]])
        found = f"dressing {quoted(names.words[names.code[row]])} has another {column}"
        found += f" in row {reader.table.rows[start]}"
        remedy = "rows of one dressing share it; else give the second a name of its own"
        reader.fault(row, column, found, remedy=remedy)
    return out


def _said(number: Ints, head: Ints, values: np.ndarray[Any, np.dtype[Any]]) -> tuple[Ints, Ints]:
    """The first row of each dressing that has a value, and the rows that have another one.

    Of a dressing without any it is its first row.
    """
    said = np.flatnonzero(~_blank(values) & (number >= 0))
    of, at = np.unique(number[said], return_index=True)
    out = head.copy()
    out[of] = said[at]
    return out, said[values[said] != values[out[number[said]]]]


def _blank(values: np.ndarray[Any, np.dtype[Any]]) -> Bools:
    """Where nothing is said."""
    blank: Bools = values == "" if values.dtype.kind == "U" else np.isnan(values)  # NaT too
    return blank


def _filled(
    reader: Reader, number: Ints, head: Ints, column: str, values: np.ndarray[Any, np.dtype[Any]]
) -> np.ndarray[Any, np.dtype[Any]]:
    """What each row has: blank is that of its dressing's other rows, where these have one only.

    Where they differ nobody knows which was meant: it stays blank, with a finding.
    """
    first, others = _said(number, head, values)
    blank = np.flatnonzero(_blank(values) & (number >= 0))
    differs = np.zeros(len(head), dtype=np.bool_)
    differs[number[others]] = True
    open_ = differs[number[blank]]
    out = values.copy()
    out[blank[~open_]] = values[first[number[blank[~open_]]]]
    text = f"no {column}, and the other rows of the dressing differ in it: not known there"
    reader.tell_rows(blank[open_], lambda rows: f"{reader.places(rows)}: {text}", "file")
    return out


def _joined(number: Ints, notes: Strings, size: int) -> Strings:
    """All notes of a dressing, each once."""
    texts: list[dict[str, None]] = [{} for _ in range(size)]
    for row in np.flatnonzero((notes != "") & (number >= 0)).tolist():
        texts[number[row]][str(notes[row])] = None
    return np.array(["; ".join(one) for one in texts], dtype=np.str_)


def sand_rows(
    reader: Reader,
    texts: Texts,
    rows: Ints,
    member: Ints,
    text: SiteTexts,
    *,
    blank_is_told: bool = False,
) -> Ints:
    """Row of ``sands`` that each text (m,) names; ``rows`` are theirs in the file.

    Blank is a site's first sand, and a fault where it has several.
    """
    names = text.sands.name.tolist()
    found = find(in_rows(names), text.of_sand, texts, member)
    number, first = text.sands_known()[member], text.first_sand()[member]
    said = texts.matching(bool)
    unsaid = ~said & (number > 1) & (not blank_is_told)
    wrong = (said & (found < 0) & (number > 0)) | unsaid
    for k in np.flatnonzero(wrong).tolist():
        word = texts.words[texts.code[k]]
        told = f"{quoted(word)} is not in site.toml" if word else "it is not said which sand"
        allowed = ", ".join(names[first[k] : first[k] + number[k]])
        reader.fault(int(rows[k]), "sand", told, allowed=allowed)
    return np.where(said & (found >= 0), found, np.where(number > 0, first, 0))


def _season(told: _Told, text: SiteTexts) -> None:
    start, end = text.season_start[told.member], text.season_end[told.member]
    date = told.date
    outside = (date < start) | (date > end)
    late = ~outside & np.isnat(end) & (date > start + YEAR)
    words = {
        True: "is outside the season; the season's ledger leaves it out",
        False: "is more than a year after the season's start: check the year",
    }
    told.tell(outside | late, "season", lambda k: f"its date {date[k]} {words[bool(outside[k])]}")


def _out_of_order(reader: Reader, head: Ints, told: _Told) -> None:
    """A finding for the one date of a site that breaks the order of its rows, turned about not.

    ``head`` is the first row of each dressing. Month and day may have changed places.
    """
    rows = np.argsort(head, kind="stable")
    date, member = told.date[rows], told.member[rows]
    falls = np.flatnonzero((date[1:] < date[:-1]) & (member[1:] == member[:-1]))
    for k in falls[np.bincount(member[falls], minlength=reader.members)[member[falls]] == 1]:
        mine = np.flatnonzero(member == member[k])
        for place in (int(k), int(k) + 1):
            turned = _turned(date[place])
            rest = date[mine[mine != place]]
            new = np.where(mine == place, turned, date[mine])
            in_order = (rest[1:] >= rest[:-1]).all() and (new[1:] >= new[:-1]).all()
            if len(rest) > 1 and in_order and turned != date[place]:
                row = head[rows[place]]
                text = (
                    f"row {reader.table.rows[row]}: {date[place]} is out of the order of the rows,"
                    f" {turned} would be in it: check day and month"
                )
                about, of = reader.table.file, int(member[k])
                told.findings.append(Finding(about=about, text=text, topic="file", member=of))
                break


def _turned(day: np.datetime64) -> np.datetime64:
    """The day with its day and month changed about; NaT where there is none."""
    year, month, number = str(day).split("-")
    return np.datetime64(f"{year}-{number}-{month}" if int(number) <= 12 else "NaT", "D")


def _editions(told: _Told, editions: Editions) -> Ints:
    """Boundary edition of each date; the oldest for dates before it, with a finding."""
    days, date = editions.valid_from[told.member], told.date
    count = editions.valid_from.shape[1]
    edition = np.where(np.isnat(date), count, (days <= date[:, None]).sum(axis=1)) - 1
    text = "its date {} is before the oldest boundaries ({}), used here"
    if count:
        told.tell(edition < 0, "area", lambda k: text.format(date[k], days[k, 0]))
    number: Ints = told.member * max(count, 1) + np.maximum(edition, 0)
    return number


def _disjoint(reader: Reader, number: Ints, pairs: Ints, surfaces: Surfaces) -> Ints:
    """The pairs (surface, row) by dressing and surface; a fault where one comes again."""
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
                f"{quoted(str(surfaces.id[pairs[k, 0]]))} is already in row"
                f" {reader.table.rows[earlier]} of this dressing",
                remedy="rows of one dressing name different surfaces",
            )
    return pairs[~again]
