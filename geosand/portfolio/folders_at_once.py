"""The site folders of a chunk, each parsed by itself, checked and read in one call.

Their tables are laid one below the other. A site's order of columns is kept in that of all, so that
what is told of it comes in the order in which it would come alone; a site whose order can not be
kept, or whose settings could mean something else as a column, is left to be read by itself.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial
from itertools import pairwise
from typing import Any

import numpy as np

from geosand.columns import Floats, Ints
from geosand.errors import Finding
from geosand.formats.site_folder import SURFACES, ParsedSite
from geosand.portfolio.sound_sites import or_one_by_one, sound_ones
from geosand.site.assemble import RawSite, RawSites
from geosand.site.cells import RECORDS, Cell, RawTable, all_floats, is_blank
from geosand.site.editions import RawEdition
from geosand.site.raw_columns import Column, Texts, in_rows
from geosand.site.settings_document import FILE as SETTINGS
from geosand.site.tables import NO_DAY, Site

LAYOUTS = 6  #: orders of columns that contradict each other; sites of further ones are read alone
POSITION = ("lon", "lat")
NOT_SAID = np.datetime64("NaT", "D")
EARLIER = (
    "\0edition {}"  #: stands for the file of an earlier edition, which sites name as they like
)

Names = tuple[str, ...]
Layout = dict[Names, Names]  #: names in order by the place of the table


def read_folders_at_once(parsed: Sequence[ParsedSite], unforeseen: list[str]) -> dict[int, Site]:
    """Those of the sites, by number, in which nothing is wrong. What is parsed is not changed.

    ``unforeseen`` gets the kind of an error that left some of them out.
    """
    sites: dict[int, Site] = {}
    alike: dict[tuple[int, str], list[int]] = {}
    for k, site in enumerate(parsed):
        raw = site.raw
        whole = not site.faults.found and raw.settings is not None and raw.editions
        if whole and raw.dressings.file == "dressings.csv":  # a workbook is read alone
            alike.setdefault((len(raw.editions), raw.catches.file), []).append(k)
    for numbers in alike.values():
        with or_one_by_one(unforeseen):
            for group, order in _laid_out(numbers, parsed):
                sites |= sound_ones(group, partial(_stacked, parsed=parsed, order=order))
    return {k: _told(site, _in_order(parsed[k].raw.editions)) for k, site in sites.items()}


def _stacked(
    group: Ints, parsed: Sequence[ParsedSite], order: _Order
) -> tuple[RawSites, list[Finding]]:
    """The tables of some sites as those of one, and what was found when they were parsed."""
    mine = [parsed[k] for k in group.tolist()]
    if len(mine) == 1:  # a column or table that one site leaves out is none of it
        order, layout = _Order(), _layout(mine[0].raw)
        order.takes(layout or {})
    surveys = [_in_order(one.raw.editions) for one in mine]
    told = [f._replace(member=k) for k, one in enumerate(mine) for f in one.findings]
    return _raw_sites([one.raw for one in mine], surveys, order), told


class _Order:
    """The names of all tables in one order, in which those of each site keep theirs."""

    def __init__(self) -> None:
        self.names: dict[Names, list[str]] = {}
        self.known: set[tuple[tuple[Names, Names], ...]] = set()

    def takes(self, layout: Layout) -> bool:
        """Whether a site's names fit in; if so they are."""
        key = tuple(layout.items())
        if key in self.known:
            return True
        merged = {}
        for place, names in layout.items():
            one = _merged(self.names.get(place, []), names)
            if one is None or (place[0] == SETTINGS and _twofold(one)):
                return False
            merged[place] = one
        self.names |= merged
        self.known.add(key)
        return True


def _twofold(names: Sequence[str]) -> bool:
    """True where a key is a value of one site and a table of another."""
    return len({name[1:] for name in names}) < len(names)


def _merged(order: list[str], names: Names) -> list[str] | None:
    """The order with further names in it; None where it contradicts theirs."""
    place = {name: k for k, name in enumerate(order)}
    known = [place[name] for name in names if name in place]
    if any(a >= b for a, b in pairwise(known)):
        return None
    out, done = list[str](), 0
    for name in names:
        if name in place:
            out += order[done : place[name]]
            done = place[name] + 1
        out.append(name)
    return [*out, *order[done:]]


def _laid_out(numbers: list[int], parsed: Sequence[ParsedSite]) -> Iterator[tuple[Ints, _Order]]:
    """The sites in groups whose names can be brought into one order."""
    layouts = {k: one for k in numbers if (one := _layout(parsed[k].raw)) is not None}
    for _ in range(LAYOUTS):
        if not layouts:
            return
        order = _Order()
        taken = [k for k, layout in layouts.items() if order.takes(layout)]
        yield np.array(taken, dtype=np.int64), order
        for k in taken:
            del layouts[k]


def _layout(raw: RawSite) -> Layout | None:
    """The names in each table; None for settings that would mean something else as a column."""
    layout: Layout = {}
    assert raw.settings is not None
    if not _add_names(raw.settings, (SETTINGS,), layout):
        return None
    for name in RECORDS:
        layout[(name,)] = tuple(_record(raw, name).columns)
    for number, edition in enumerate(_in_order(raw.editions)):
        layout[("edition", str(number))] = tuple(edition.table.columns)
    return layout


def _add_names(table: Mapping[str, Any], place: Names, layout: Layout) -> bool:
    """Names of values and of tables told apart by their first letter; False for what is odd."""
    tables = {key: value for key, value in table.items() if isinstance(value, dict)}
    layout[place] = tuple(f"{'[' if key in tables else '='}{key}" for key in table)
    if not table or any(isinstance(v, list) or v is None or is_blank(v) for v in table.values()):
        return False
    return all(_add_names(inner, (*place, key), layout) for key, inner in tables.items())


def _in_order(editions: Sequence[RawEdition]) -> list[RawEdition]:
    """The editions, the oldest first; the last of the files is in force."""
    days = [NO_DAY if np.isnat(e.valid_from) else e.valid_from for e in editions[:-1]]
    earlier = sorted(range(len(days)), key=lambda k: (days[k], k))
    return [*(editions[k] for k in earlier), editions[-1]]


def _record(raw: RawSite, name: str) -> RawTable:
    table: RawTable | None = getattr(raw, name)
    return RawTable(file=f"{name}.csv", rows=[], columns={}) if table is None else table


def _raw_sites(
    sites: Sequence[RawSite], surveys: Sequence[Sequence[RawEdition]], order: _Order
) -> RawSites:
    records: dict[str, Any] = {
        name: _one_table([_record(raw, name) for raw in sites], order.names[(name,)])
        for name in RECORDS
    }
    editions = [
        _one_edition([one[n] for one in surveys], order.names[("edition", str(n))], n)
        for n in range(len(surveys[0]))
    ]
    days = [[_day(e, e is one[-1]) for e in one] for one in surveys]
    return RawSites(
        members=len(sites),
        settings=_settings([dict(raw.settings or {}) for raw in sites], (SETTINGS,), order),
        editions=editions,
        valid_from=np.array(days, dtype="datetime64[D]"),
        **records,
        surveys=surveys,
        inputs=[raw.inputs for raw in sites],
    )


def _day(edition: RawEdition, newest: bool) -> np.datetime64:
    unsaid = np.isnat(edition.valid_from) and not newest
    return NO_DAY if unsaid else edition.valid_from


def _one_table(tables: Sequence[RawTable], names: Sequence[str], file: str = "") -> RawTable:
    """The rows of all sites, one site after the other; blank where one lacks a column."""
    sizes = np.array([len(table.rows) for table in tables], dtype=np.int64)
    columns: dict[str, Column] = {}
    present = {}
    for name in names:
        parts = [table.columns.get(name) for table in tables]
        cells = list[Cell]()
        for part, size in zip(parts, sizes.tolist(), strict=True):
            cells += [""] * size if part is None else part
        columns[name] = _typed(name, cells)
        present[name] = np.array([part is not None for part in parts], dtype=np.bool_)
    return RawTable(
        file=file or tables[0].file,
        rows=[row for table in tables for row in table.rows],
        columns=columns,
        member=np.repeat(np.arange(len(tables)), sizes),
        members=len(tables),
        present=present,
    )


def _typed(name: str, cells: list[Cell]) -> Column:
    """Texts as such, and positions as numbers, which is all that they can mean."""
    if name in POSITION and (numbers := all_floats(cells)) is not None:
        return numbers
    kinds = set(map(type, cells))
    if kinds == {str} and cells[0] == cells[-1] and cells.count(cells[0]) == len(cells):
        # as all trays are of one size
        return Texts(words=[cells[0]], code=np.zeros(len(cells), dtype=np.int64))  # type: ignore[list-item]
    if kinds == {str}:
        return in_rows(cells)  # type: ignore[arg-type]
    column = np.empty(len(cells), dtype=np.object_)
    column[:] = cells
    return column


def _one_edition(editions: Sequence[RawEdition], names: Sequence[str], number: int) -> RawEdition:
    """One edition of every site; what each says for all its surfaces stands in their rows."""
    last = editions[0].table.file == SURFACES
    table = _one_table(
        [e.table for e in editions], names, SURFACES if last else EARLIER.format(number)
    )

    def held(name: str) -> Floats:
        return np.array([getattr(e, name) for e in editions], dtype=np.float64)[table.of_site()]

    return RawEdition(
        table=table,
        geometry=np.concatenate([e.geometry for e in editions]),
        valid_from=NOT_SAID,
        accuracy_m=held("accuracy_m"),
        edge_bias_m=held("edge_bias_m"),
        boundary_accuracy_m=held("boundary_accuracy_m"),
    )


def _settings(tables: Sequence[Mapping[str, Any]], place: Names, order: _Order) -> dict[str, Any]:
    """The documents as one, with a column behind each key."""
    settings: dict[str, Any] = {}
    for name in order.names[place]:
        key = name[1:]
        if name.startswith("["):
            inner = [table.get(key, {}) for table in tables]
            settings[key] = _settings(inner, (*place, key), order)
        else:
            settings[key] = _typed("", [table.get(key, "") for table in tables])
    return settings


def _told(site: Site, editions: Sequence[RawEdition]) -> Site:
    """The site with its own files in what was found of earlier editions."""
    files = {EARLIER.format(n): e.table.file for n, e in enumerate(editions)}
    if not any(finding.about in files for finding in site.findings):
        return site
    findings = tuple(f._replace(about=files.get(f.about, f.about)) for f in site.findings)
    return replace(site, findings=findings)
