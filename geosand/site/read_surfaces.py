"""Boundary editions to the table of surfaces, with the checks of ids, kinds and enclosed ground."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from geosand.columns import Floats, Geometries, Ints, Strings
from geosand.errors import Faults, Finding
from geosand.site.cells import RawTable, nearest, quoted
from geosand.site.outlines import check_outlines, check_together, mean_height_m, on_one_side
from geosand.site.read_settings import SiteText
from geosand.site.reading import Reader
from geosand.site.tables import KINDS, Surfaces

ID_PATTERN = r"[A-Za-z0-9_.-]+"
KIND_PATTERN = r"[^\s,;]+"

#: A surface's own column, and where its edition holds the same for all its surfaces.
ACCURACIES = {
    "boundary_accuracy_m": "boundary_accuracy_m",
    "edge_accuracy_m": "accuracy_m",
    "edge_bias_m": "edge_bias_m",
}

Columns = dict[str, np.ndarray[Any, np.dtype[Any]]]


@dataclass(frozen=True, slots=True, kw_only=True)
class RawEdition:
    """One boundary file as read: its cells, its geometries and what it says of itself."""

    table: RawTable
    geometry: Geometries  #: None where there is none; rows of ``table.told`` are not judged
    valid_from: np.datetime64  #: NaT = not said
    source_crs: str = ""
    source: str = ""  #: file that the boundaries came in
    datum_accuracy_m: float = float("nan")  #: of the shift to WGS 84; nan = not said
    accuracy_m: float = float("nan")  #: edge accuracy of this survey; nan = as in site.toml
    edge_bias_m: float = float("nan")  #: the same of its bias
    boundary_accuracy_m: float = float("nan")  #: the same of one vertex


def read_surfaces(
    editions: list[RawEdition], text: SiteText, faults: Faults, findings: list[Finding]
) -> tuple[Surfaces, dict[str, int]]:
    """Surfaces of all editions (oldest first) and the ``ground`` index of each id."""
    kinds = {str(c).strip().lower() for e in editions for c in e.table.columns.get("kind", ())}
    parts = [_one_edition(e, k, kinds, faults, findings) for k, e in enumerate(editions)]
    if not parts:
        nothing = RawTable(file="surfaces.geojson", rows=[], columns={})
        empty = RawEdition(
            table=nothing, geometry=np.empty(0, dtype=object), valid_from=np.datetime64("NaT")
        )
        editions, parts = [empty], [_one_edition(empty, 0, kinds, faults, findings)]
    columns = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    ids = [str(i) for i in columns["id"]]
    ground = {name: k for k, name in enumerate(dict.fromkeys(ids))}
    around = _around(parts, editions, ground, faults)
    by_kind = np.array([text.targets_m.get(str(k), np.nan) for k in columns["kind"]], dtype=float)
    counts = [len(part["id"]) for part in parts]
    accuracy = {
        name: _said(columns[name], np.repeat([getattr(e, held) for e in editions], counts))
        for name, held in ACCURACIES.items()
    }
    _unused_defaults(accuracy, findings)
    target, elevation = columns["target_m"], columns["elevation_m"]
    geometry = on_one_side(columns["geometry"])
    check_together(geometry, editions[-1].table.file, faults)
    surfaces = Surfaces(
        id=columns["id"],
        name=columns["name"],
        kind=columns["kind"],
        edition=columns["edition"],
        ground=np.array([ground[i] for i in ids], dtype=np.int64),
        around=around,
        geometry=geometry,
        target_m=np.where(np.isnan(target), by_kind, target),
        elevation_m=np.where(np.isnan(elevation), text.elevation_m, elevation),
        slope=columns["slope"],
        **{name: _said(values, getattr(text, name)) for name, values in accuracy.items()},
    )
    return surfaces, ground


def _said(first: Floats, second: Floats | float) -> Floats:
    """The first where it is said, else the second."""
    chosen: Floats = np.where(np.isnan(first), second, first)
    return chosen


def _unused_defaults(accuracy: dict[str, Floats], findings: list[Finding]) -> None:
    """Takes back that a default is used where every survey says its own accuracy."""
    for name, values in accuracy.items():
        if len(values) and not np.isnan(values).any():
            start = f"{name.removesuffix('_m').replace('_', ' ')} is not said"
            findings[:] = [f for f in findings if not f.text.startswith(start)]


def _one_edition(
    edition: RawEdition, number: int, kinds: set[str], faults: Faults, findings: list[Finding]
) -> Columns:
    reader = Reader(edition.table, faults, findings)
    ids = reader.text("id", required=True, pattern=ID_PATTERN, allowed="letters, digits, _ . and -")
    kind = reader.text(
        "kind",
        required=True,
        pattern=KIND_PATTERN,
        allowed="one word, such as green or practice_green",
    )
    kind = np.char.lower(kind) if reader.size else kind
    names = reader.text("name")
    _check_ids(reader, ids, kinds | set(KINDS))
    _other_kinds(ids, kind, findings)
    geometry = check_outlines(reader, edition.geometry, ids)
    elevation = reader.quantity("elevation", "m", minimum=-500, maximum=9000)
    columns = {
        "id": ids,
        "kind": kind,
        "name": np.where(names == "", ids, names),
        "around": reader.text("around"),
        "target_m": reader.quantity("target", "m", minimum=0, maximum=1.0),
        "elevation_m": np.where(np.isnan(elevation), mean_height_m(edition.geometry), elevation),
        "slope": reader.quantity("slope", "ratio", minimum=0, maximum=1.0),
        **{
            name: reader.quantity(name.removesuffix("_m"), "m", minimum=0, maximum=20)
            for name in ACCURACIES
        },
        "edition": np.full(reader.size, number, dtype=np.int64),
        "geometry": geometry,
    }
    reader.cells("valid_from")
    reader.finish()
    return columns


def _check_ids(reader: Reader, ids: Strings, kinds: set[str]) -> None:
    first: dict[str, int] = {}
    for row, name in enumerate(ids.tolist()):
        if not name:
            continue
        if name in first:
            earlier = reader.table.rows[first[name]]
            found = f"{quoted(name)} is there already ({earlier})"
            reader.fault(row, "id", found, remedy="give each surface an id of its own")
        elif name.lower() in kinds:
            remedy = "a dressing names surfaces by id or kind, so an id must not be a kind"
            reader.fault(row, "id", f"{quoted(name)} is the name of a kind", remedy=remedy)
        first.setdefault(name, row)


def _other_kinds(ids: Strings, kind: Strings, findings: list[Finding]) -> None:
    for word in sorted(set(kind.tolist()) - set(KINDS) - {""}):
        near = nearest(word, KINDS)
        hint = f"; did you mean {near[0]}?" if near else ""
        about = ", ".join(str(i) for i in ids[kind == word][:5])
        text = f"kind {quoted(word)} is ranked as 'other'{hint}"
        findings.append(Finding(about=about, text=text, topic="area"))


def _around(
    parts: list[Columns], editions: list[RawEdition], ground: dict[str, int], faults: Faults
) -> Ints:
    """Index of the enclosed surface; faults for unknown ids and for rings of references."""
    out: list[int] = []
    for part, edition in zip(parts, editions, strict=True):
        targets = part["around"].tolist()
        named = dict(zip(part["id"].tolist(), targets, strict=True))
        for row, (name, target) in enumerate(zip(part["id"].tolist(), targets, strict=True)):
            found = ""
            if target and target not in named:
                found = f"{quoted(target)} is not a surface's id in this file"
            elif target and _comes_back(name, named):
                found = f"{quoted(name)} is around itself"
            if found:
                faults.add(
                    edition.table.file,
                    found,
                    row=edition.table.rows[row],
                    column="around",
                    remedy="a collar or surround names the surface that it encloses",
                )
        out += [ground.get(target, -1) if target else -1 for target in targets]
    return np.array(out, dtype=np.int64)


def _comes_back(name: str, named: dict[str, str]) -> bool:
    seen: set[str] = set()
    step = named[name]
    while step and step in named and step not in seen:
        if step == name:
            return True
        seen.add(step)
        step = named[step]
    return False
