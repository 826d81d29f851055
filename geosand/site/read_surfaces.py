"""Boundary editions to the table of surfaces, with the checks of ids, kinds and enclosed ground."""

from __future__ import annotations

from typing import Any

import numpy as np

from geosand.columns import Bools, Floats, Geometries, Ints, Strings, distinct
from geosand.errors import Faults, Finding
from geosand.site.catch_places import METRES_PER_DEGREE
from geosand.site.cells import RawTable, nearest, quoted, tidied
from geosand.site.editions import RawEdition
from geosand.site.outlines import (
    Outlines,
    check_outlines,
    check_together,
    mean_height_m,
    on_one_side,
)
from geosand.site.raw_columns import (
    Ids,
    Texts,
    blank_texts,
    cells_of,
    find,
    first_come,
    in_rows,
    joined,
    repeated,
    words_as_written,
)
from geosand.site.read_settings import SiteTexts
from geosand.site.reading import Reader
from geosand.site.tables import KINDS, Surfaces
from geosand.tuples import NamedTuple

FAR_AROUND_M = 10.0  #: a collar or surround touches what it lies around
ELEVATIONS_M = (-500, 9000)  #: of any land, with room
TARGETS_M = (5e-4, 0.05)  #: usual depths of a season (common practice)
ID_PATTERN = r"[A-Za-z0-9_.-]+"
KIND_PATTERN = r"[^\s,;]+"

#: A surface's own column, and where its edition holds the same for all its surfaces.
ACCURACIES = {
    "boundary_accuracy_m": "boundary_accuracy_m",
    "edge_accuracy_m": "accuracy_m",
    "edge_bias_m": "edge_bias_m",
}

Columns = dict[str, np.ndarray[Any, np.dtype[Any]]]


def read_surfaces(
    editions: list[RawEdition],
    members: int,
    text: SiteTexts,
    faults: Faults,
    findings: list[Finding],
) -> tuple[Surfaces, Ids, Outlines]:
    """Surfaces of all editions, the ids that their ``ground`` counts, and their outlines again.

    Each of ``editions``, the oldest first, holds that edition of every site; the surfaces of one
    site follow another's, and so are its editions numbered.
    """
    if not editions:
        nothing = RawTable(file="surfaces.geojson", members=members)
        none = np.empty(0, dtype=object)
        editions = [RawEdition(table=nothing, geometry=none, valid_from=np.datetime64("NaT", "D"))]
    kinds = _kinds(editions)
    parts = [_one_edition(e, kinds, faults, findings) for e in editions]
    enclosed = [_enclosed(part) for part in parts]
    for part, target in zip(parts, enclosed, strict=True):
        _tell_far_around(part, target)
    member = np.concatenate([part.reader.member for part in parts])
    edition = np.repeat(np.arange(len(parts)), [part.reader.size for part in parts])
    order = np.lexsort((edition, member))
    member, edition = member[order], edition[order]
    ids = joined([part.ids for part in parts]).take(order)
    first, ground = first_come(member * len(ids.words) + ids.code)
    columns = {
        name: np.concatenate([part.columns[name] for part in parts])[order]
        for name in parts[0].columns
    }
    accuracy = {name: columns[name] for name in ACCURACIES}
    _unused_defaults(accuracy, member, findings)
    target, elevation = columns["target_m"], columns["elevation_m"]
    outlines = Outlines(**{f: columns[f] for f in ("geometry", "bounds", "solid")})
    outlines = on_one_side(outlines, member)
    check_together(outlines, member, editions[-1].table.file, faults)
    surfaces = Surfaces(
        id=ids.strings(),
        name=columns["name"],
        kind=columns["kind"],
        edition=member * len(parts) + edition,
        ground=ground,
        around=_around(enclosed, order, ground),
        geometry=outlines.geometry,
        target_m=np.where(np.isnan(target), _aims(columns["kind"], member, text), target),
        elevation_m=np.where(np.isnan(elevation), text.elevation_m[member], elevation),
        slope=columns["slope"],
        **{name: _said(values, getattr(text, name)[member]) for name, values in accuracy.items()},
    )
    return surfaces, Ids(text=ids.take(first), member=member[first]), outlines


def _kinds(editions: list[RawEdition]) -> Ids:
    """The kinds that each site has, as they are written, but for case."""
    texts, members = [blank_texts(0)], [np.zeros(0, dtype=np.int64)]
    for edition in editions:
        column = edition.table.columns.get("kind")
        if column is None:
            continue
        texts.append(
            (words_as_written(column) or in_rows([str(c) for c in cells_of(column)])).changed(
                _lowered
            )
        )
        members.append(edition.table.of_site())
    return Ids(text=joined(texts), member=np.concatenate(members))


def _lowered(word: str) -> str:
    return tidied(word).lower()


def _aims(kind: Strings, member: Ints, text: SiteTexts) -> Floats:
    """The season's depth that the site aims at for each surface's kind."""
    aims = np.full(len(kind), np.nan)
    for name, depths in text.targets_m:
        rows = np.flatnonzero(kind == name)
        aims[rows] = np.where(np.isnan(depths[member[rows]]), aims[rows], depths[member[rows]])
    return aims


def _said(first: Floats, second: Floats | float) -> Floats:
    """The first where it is said, else the second."""
    return np.where(np.isnan(first), second, first)


def _unused_defaults(accuracy: dict[str, Floats], member: Ints, findings: list[Finding]) -> None:
    """Takes back that a default is used where every survey says its own accuracy."""
    for name, values in accuracy.items():
        start = f"{name.removesuffix('_m').replace('_', ' ')} is not said"
        told = {finding.member for finding in findings if finding.text.startswith(start)}
        unused = (told & set(distinct(member).tolist())) - set(member[np.isnan(values)].tolist())
        if unused:
            findings[:] = [
                f for f in findings if f.member not in unused or not f.text.startswith(start)
            ]


class _Part(NamedTuple):
    """The surfaces of one edition."""

    reader: Reader
    ids: Texts
    around: Texts
    columns: Columns


def _one_edition(edition: RawEdition, kinds: Ids, faults: Faults, findings: list[Finding]) -> _Part:
    """The columns of one boundary file, each checked by itself."""
    reader = Reader(edition.table, faults, findings)
    ids = reader.texts(
        "id", required=True, pattern=ID_PATTERN, allowed="letters, digits, _ . and -"
    )
    kind = reader.texts(
        "kind",
        required=True,
        pattern=KIND_PATTERN,
        allowed="one word, such as green or practice_green",
    ).changed(str.lower)
    names = reader.text("name")
    _check_ids(reader, ids, kinds)
    reader.tell_nearly_same(Ids(text=ids, member=reader.member), "surface")
    id_of, kind_of = ids.strings(), kind.strings()
    _other_kinds(reader, id_of, kind)
    outlines = check_outlines(reader, edition.geometry, id_of)
    elevation = _elevations(reader, edition.geometry)
    around = reader.texts("around")
    columns = {
        "kind": kind_of,
        "name": np.where(names == "", id_of, names),
        "target_m": reader.quantity("target", "m", minimum=0, maximum=1.0, usual=TARGETS_M),
        "elevation_m": elevation,
        "slope": reader.quantity("slope", "ratio", minimum=0, maximum=1.0, usual=(0.0, 0.4)),
        **{
            name: _said(
                reader.quantity(name.removesuffix("_m"), "m", minimum=0, maximum=20),
                getattr(edition, held),
            )
            for name, held in ACCURACIES.items()
        },
        "geometry": outlines.geometry,
        "bounds": outlines.bounds,
        "solid": outlines.solid,
    }
    reader.column("valid_from")
    reader.finish()
    return _Part(reader=reader, ids=ids, around=around, columns=columns)


def _elevations(reader: Reader, geometry: Geometries) -> Floats:
    """Elevation (m) of each surface: as it is said, else the mean of its corners' heights."""
    low, high = ELEVATIONS_M
    said = reader.quantity("elevation", "m", minimum=low, maximum=high)
    heights = mean_height_m(geometry)
    for row in np.flatnonzero(np.isnan(said) & ((heights < low) | (heights > high))).tolist():
        found = f"its corners are {heights[row]:.6g} m high in the mean, which can not be right"
        remedy = "export it without heights (Z), or say elevation_m"
        reader.fault(row, None, found, allowed=f"{low} to {high} m", remedy=remedy)
    return _said(said, heights)


def _check_ids(reader: Reader, ids: Texts, kinds: Ids) -> None:
    """Faults for ids that are there twice, and for those that are kinds."""
    written = ids.matching(bool)
    twice = dict(repeated(reader.member * len(ids.words) + ids.code, written))
    for row, start in twice.items():
        found = f"{quoted(ids.words[ids.code[row]])} is there already ({reader.place(start)})"
        reader.fault(row, "id", found, remedy="give each surface an id of its own")
    lowered = ids.changed(str.lower)
    of_kind = lowered.matching(lambda word: word in KINDS)
    of_kind |= kinds.find(lowered, reader.member) >= 0
    for row in np.flatnonzero(of_kind & written).tolist():
        if row not in twice:
            remedy = "a dressing names surfaces by id or kind, so an id must not be a kind"
            found = f"{quoted(ids.words[ids.code[row]])} is the name of a kind"
            reader.fault(row, "id", found, remedy=remedy)


def _other_kinds(reader: Reader, ids: Strings, kind: Texts) -> None:
    """Findings for kinds that are not known, which own ground after all others."""
    for word in sorted(set(kind.words) - set(KINDS) - {""}):
        near = nearest(word, KINDS)
        hint = f"; did you mean {near[0]}?" if near else ""
        text = f"kind {quoted(word)} is ranked as 'other'{hint}"
        rows = np.flatnonzero(kind.code == kind.words.index(word))
        for k in distinct(reader.member[rows]).tolist():
            about = ", ".join(str(i) for i in ids[rows[reader.member[rows] == k]][:5])
            reader.finding(text, "area", k, about=about)


def _enclosed(part: _Part) -> Ints:
    """Row of the surface that each encloses, -1 for none; faults for unknown ids and for rings."""
    reader, ids, around = part.reader, part.ids, part.around
    target = find(ids, reader.member, around, reader.member)
    said = around.matching(bool)
    target[~said] = -1
    back = _comes_back(find(ids, reader.member, ids, reader.member), target)
    for row in np.flatnonzero(said & ((target < 0) | back)).tolist():
        found = f"{quoted(ids.words[ids.code[row]])} is around itself"
        if target[row] < 0:
            word = around.words[around.code[row]]
            found = f"{quoted(word)} is not a surface's id in this file"
        remedy = "a collar or surround names the surface that it encloses"
        reader.fault(row, "around", found, remedy=remedy)
    return target


def _tell_far_around(part: _Part, target: Ints) -> None:
    """A finding for each surface far from the one that it is said to lie around."""
    # of collars the audit tells it, by their outlines
    row = np.flatnonzero((target >= 0) & (part.columns["kind"] != "collar"))
    one, other = part.columns["bounds"][row], part.columns["bounds"][target[row]]
    # across the antimeridian a collar and its green lie at either end
    wide = np.maximum(one[:, 2] - one[:, 0], other[:, 2] - other[:, 0]) > 180
    apart = np.maximum(one[:, :2] - other[:, 2:], other[:, :2] - one[:, 2:])
    apart[:, 0] = np.where(apart[:, 0] > 180, 0, apart[:, 0] * np.cos(np.radians(one[:, 1])))
    metres = np.maximum(apart, 0).max(axis=1, initial=0) * METRES_PER_DEGREE
    for k in np.flatnonzero((metres > FAR_AROUND_M) & ~wide).tolist():
        ids, code = part.ids.words, part.ids.code
        name = ids[code[target[row[k]]]]
        text = f"it is said to lie around {name}, and lies {metres[k]:.0f} m from it: check around"
        member = int(part.reader.member[row[k]])
        part.reader.finding(text, "area", member, about=ids[code[row[k]]])


def _comes_back(own: Ints, target: Ints) -> Bools:
    """True where going on from surface to enclosed surface leads back to the first."""
    back = np.zeros(len(own), dtype=np.bool_)
    step = target[own]
    for _ in range(len(own)):
        going = step >= 0
        if not going.any():
            break
        back |= going & (step == own)
        step = np.where(going & ~back, target[step], -1)
    return back


def _around(enclosed: list[Ints], order: Ints, ground: Ints) -> Ints:
    """``ground`` number of the enclosed surface of each row, in ``order``; -1 for none."""
    begun = np.cumsum([0, *map(len, enclosed)])
    parts = [np.where(e >= 0, e + k, -1) for e, k in zip(enclosed, begun.tolist(), strict=False)]
    rows = np.concatenate(parts)[order]
    place = np.empty(len(order), dtype=np.int64)
    place[order] = np.arange(len(order))
    return np.where(rows >= 0, ground[place[rows]], -1)
