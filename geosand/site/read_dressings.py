"""Dressings and the surfaces each was to get sand on."""

from __future__ import annotations

from typing import Any

import numpy as np

from geosand.columns import Bools, Dates, Floats, Ints, Strings
from geosand.errors import Faults, Finding
from geosand.site.cells import LONGEST_LIST, RawTable, quoted
from geosand.site.dressing_dates import Told, tell_out_of_order, tell_outside_season
from geosand.site.named_surfaces import disjoint, resolved
from geosand.site.odd_texts import means_day
from geosand.site.raw_columns import Ids, Texts, first_come, in_rows
from geosand.site.read_settings import SiteTexts, sand_rows
from geosand.site.reading import Reader
from geosand.site.tables import Dressed, Dressings, Surfaces
from geosand.tuples import NamedTuple

PLANS_M = (1e-4, 0.025)  #: usual depths of one dressing (common practice)
PLANS_KG_M2 = (0.15, 40.0)  #: the same of poured sand

Column = np.ndarray[Any, np.dtype[Any]]


class _Rows(NamedTuple):
    """The columns of the file, one row a row of it."""

    name: Texts
    date: Dates
    sand: Texts
    spreader: Strings
    driven: dict[str, Column]  #: how the spreader was set and driven
    note: Strings
    rate: Floats  #: that was planned, where no depth was
    aimed: dict[str, Floats]  #: the depth that was planned, and the holes
    surfaces: Texts


def read_dressings(
    table: RawTable,
    surfaces: Surfaces,
    valid_from: Dates,
    text: SiteTexts,
    faults: Faults,
    findings: list[Finding],
) -> tuple[Dressings, Dressed, Ids]:
    """One row a dressing of a site in order of date, one row a dressed surface, and the names.

    ``valid_from`` is from which day each site's editions hold (sites, editions), the oldest first.
    """
    reader = Reader(table, faults, findings)
    rows = _rows(reader)
    reader.finish()
    _holes(reader, rows.aimed)
    number, head = _order(reader, rows.name, rows.date)
    dressings, ids = _dressings(reader, rows, number, head, valid_from, text)
    rows.aimed["planned_m"] = _planned(reader, rows, number, dressings.sand, text)
    kept = np.flatnonzero(number >= 0)
    pairs = resolved(reader, kept, rows.surfaces, dressings.edition[number[kept]], surfaces)
    pairs = disjoint(reader, number, pairs, surfaces)
    return dressings, _dressed(reader, rows, number, head, pairs), ids


def _rows(reader: Reader) -> _Rows:
    """The columns of the file; limits are in SI units."""
    reader.bases["planned_depth"] = "m"  # a planned rate by volume is one: its fault says so
    return _Rows(
        name=reader.names("dressing"),
        date=reader.dates("date", required=True),
        sand=reader.texts("sand"),
        spreader=reader.labels("spreader").strings(),
        driven={
            "setting": _settings(reader),
            "speed": reader.quantity("speed", "m_s", above=0, maximum=20, usual=(0.15, 9.0)),
            "heading": reader.quantity("heading", "rad", minimum=-2 * np.pi, maximum=2 * np.pi),
            "swath": reader.quantity("swath", "m", above=0, maximum=50, usual=(0.3, 24.0)),
        },
        note=reader.text("note"),
        rate=reader.quantity("planned_rate", "kg_m2", above=0, maximum=320, usual=PLANS_KG_M2),
        aimed={
            "planned_m": reader.quantity("planned_depth", "m", above=0, maximum=0.2, usual=PLANS_M),
            "hole_diameter_m": reader.quantity("hole_diameter", "m", above=0, maximum=0.1),
            "hole_spacing_m": reader.quantity("hole_spacing", "m", above=0, maximum=1),
            "hole_depth_m": reader.quantity("hole_depth", "m", above=0, maximum=1),
        },
        surfaces=reader.texts("surfaces", required=True, longest=LONGEST_LIST),
    )


def _settings(reader: Reader) -> Strings:
    """The column ``setting``, with a finding for days in it, which no fit of settings reads."""
    settings = reader.labels("setting")
    text = "setting is a day, as spreadsheets make of 5-3 or 5.3: write the setting anew"
    days = np.flatnonzero(settings.matching(means_day))
    reader.tell_rows(days, lambda mine: f"{reader.places(mine)}: {text}", "file")
    return settings.strings()


def _dressings(
    reader: Reader, rows: _Rows, number: Ints, head: Ints, valid_from: Dates, text: SiteTexts
) -> tuple[Dressings, Ids]:
    """What all rows of a dressing share, one row a dressing; and the dressings' names.

    ``number`` is the dressing of each row, ``head`` the first row of each dressing.
    """
    shared = {"date": rows.date, "sand": rows.sand.strings(), "spreader": rows.spreader}
    said = {
        name: _row_of(reader, rows.name, number, head, name, column)
        for name, column in shared.items()
    }
    date, member = rows.date[said["date"]], reader.member[head]
    ids = Ids(text=rows.name.take(head), member=member)
    reader.tell_nearly_same(ids, "dressing")
    spreader = rows.spreader[said["spreader"]]
    reader.tell_nearly_same(Ids(text=in_rows(spreader.tolist()), member=member), "spreader")
    told = Told(id=ids.text.strings(), date=date, member=member, findings=reader.findings)
    tell_outside_season(told, text)
    tell_out_of_order(reader, head, told)
    edition = _editions(told, valid_from)
    dressings = Dressings(
        id=told.id,
        date=date,
        sand=sand_rows(reader, rows.sand.take(said["sand"]), said["sand"], member, text),
        spreader=spreader,
        edition=edition,
        note=_joined(number, rows.note, len(head)),
    )
    return dressings, ids


def _dressed(reader: Reader, rows: _Rows, number: Ints, head: Ints, pairs: Ints) -> Dressed:
    """One row a pair (surface, row of the file), in order of dressing."""
    driven = {
        name: _filled(reader, number, head, name, column) for name, column in rows.driven.items()
    }
    row = pairs[:, 1]
    return Dressed(
        dressing=number[row],
        surface=pairs[:, 0],
        setting=driven["setting"][row],
        speed_m_s=driven["speed"][row],
        heading_degree=np.degrees(driven["heading"][row]),
        swath_m=driven["swath"][row],
        **{name: column[row] for name, column in rows.aimed.items()},
    )


def _planned(reader: Reader, rows: _Rows, number: Ints, sand: Ints, text: SiteTexts) -> Floats:
    """Planned depths (m): as said, else planned rates (dry) by the bulk density of their ``sand``.

    ``number`` is the dressing of each row, ``sand`` that of each dressing.
    """
    depth, rated = rows.aimed["planned_m"], np.isfinite(rows.rate)
    column = reader.column_read("planned_rate")
    if not (rated.any() and len(text.sands.name)):
        return depth
    for row in reader.sound(rated & np.isfinite(depth)):
        found = "both a planned depth and a planned rate are given"
        reader.fault(row, column, found, remedy="keep one of them")
    density = text.sands.bulk_density_kg_m3[np.append(sand, 0)[number]]
    for row in reader.sound(rated & np.isnan(density)):
        found = "a planned rate needs the bulk density of its sand"
        remedy = "give bulk_density_g_cm3 in site.toml, or plan a depth"
        reader.fault(row, column, found, remedy=remedy)
    return np.where(rated, rows.rate / density, depth)


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
    values: Column,
) -> Ints:
    """The row of each dressing that says ``column``; a fault where two rows contradict."""
    out, others = _said(number, head, values)
    for row in others.tolist():
        start = int(out[number[row]])
        found = f"dressing {quoted(names.words[names.code[row]])} has another {column}"
        found += f" in {reader.place(start)}"
        remedy = "rows of one dressing share it; else give the second a name of its own"
        reader.fault(row, column, found, remedy=remedy)
    return out


def _said(number: Ints, head: Ints, values: Column) -> tuple[Ints, Ints]:
    """The first row of each dressing that has a value, and the rows that have another one.

    Of a dressing without any it is its first row.
    """
    said = np.flatnonzero(~_blank(values) & (number >= 0))
    of, at = np.unique(number[said], return_index=True)
    out = head.copy()
    out[of] = said[at]
    return out, said[values[said] != values[out[number[said]]]]


def _blank(values: Column) -> Bools:
    """Where nothing is said."""
    return values == "" if values.dtype.kind == "U" else np.isnan(values)  # NaT too


def _filled(reader: Reader, number: Ints, head: Ints, column: str, values: Column) -> Column:
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


def _editions(told: Told, valid_from: Dates) -> Ints:
    """Boundary edition of each date; the oldest for dates before it, with a finding."""
    days, date, count = valid_from[told.member], told.date, valid_from.shape[1]
    edition = np.where(np.isnat(date), count, (days <= date[:, None]).sum(axis=1)) - 1
    text = "its date {} is before the oldest boundaries ({}), used here"
    if count:
        told.tell(edition < 0, "area", lambda k: text.format(date[k], days[k, 0]))
    number: Ints = told.member * max(count, 1) + np.maximum(edition, 0)
    return number
