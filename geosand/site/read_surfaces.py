"""Boundary editions to the table of surfaces, with the checks that geometry needs at the door."""

from __future__ import annotations

import difflib
from dataclasses import dataclass

import numpy as np
import shapely

from geosand.columns import Floats, Geometries, Ints
from geosand.errors import Faults, Finding
from geosand.site.read_settings import SiteText
from geosand.site.reading import RawTable, Reader, quoted
from geosand.site.tables import KINDS, Surfaces

ID_PATTERN = r"[A-Za-z0-9_.-]+"
MAXIMUM_LATITUDE = 89.9


@dataclass(frozen=True, slots=True, kw_only=True)
class RawEdition:
    """One boundary file as read: its cells, its geometries and what it says of itself."""

    table: RawTable
    geometry: Geometries
    valid_from: np.datetime64  #: NaT = not said
    source_crs: str = ""
    accuracy_m: float = float("nan")  #: edge accuracy of this survey; nan = as in site.toml


def read_surfaces(
    editions: list[RawEdition], text: SiteText, faults: Faults, findings: list[Finding]
) -> tuple[Surfaces, dict[str, int]]:
    """Surfaces of all editions (oldest first) and the ``ground`` index of each id."""
    parts = [_one_edition(e, k, faults, findings) for k, e in enumerate(editions)]
    ids = [str(i) for part in parts for i in part["id"]]
    ground = {name: k for k, name in enumerate(dict.fromkeys(ids))}
    around = _around(parts, editions, ground, faults)
    kind = np.concatenate([p["kind"] for p in parts])
    target = np.concatenate([p["target_m"] for p in parts])
    by_kind = np.array([text.targets_m.get(str(k), np.nan) for k in kind], dtype=float)
    elevation = np.concatenate([p["elevation_m"] for p in parts])
    rows = len(ids)
    edge = np.concatenate(
        [np.full(len(p["id"]), e.accuracy_m) for p, e in zip(parts, editions, strict=True)]
    )
    surfaces = Surfaces(
        id=np.array(ids, dtype=np.str_),
        name=np.concatenate([p["name"] for p in parts]),
        kind=kind,
        edition=np.concatenate([p["edition"] for p in parts]),
        ground=np.array([ground[i] for i in ids], dtype=np.int64),
        around=around,
        geometry=np.concatenate([p["geometry"] for p in parts]),
        target_m=np.where(np.isnan(target), by_kind, target),
        elevation_m=np.where(np.isnan(elevation), text.elevation_m, elevation),
        slope=np.concatenate([p["slope"] for p in parts]),
        boundary_accuracy_m=np.full(rows, text.boundary_accuracy_m),
        edge_accuracy_m=np.where(np.isnan(edge), text.edge_accuracy_m, edge),
        edge_bias_m=np.full(rows, text.edge_bias_m),
    )
    return surfaces, ground


def _one_edition(
    edition: RawEdition, number: int, faults: Faults, findings: list[Finding]
) -> dict[str, np.ndarray]:  # type: ignore[type-arg]
    reader = Reader(edition.table, faults, findings)
    ids = reader.text("id", required=True, pattern=ID_PATTERN, allowed="letters, digits, _ . and -")
    kind = np.char.lower(reader.text("kind", required=True)) if reader.size else reader.text("kind")
    names = reader.text("name")
    _check_ids(reader, [str(i) for i in ids])
    for word in sorted(set(kind.tolist()) - set(KINDS) - {""}):
        near = difflib.get_close_matches(word, KINDS, n=1)
        hint = f"; did you mean {near[0]}?" if near else ""
        about = ", ".join(str(i) for i in ids[kind == word][:5])
        findings.append(
            Finding(
                about=about, text=f"kind {quoted(word)} is ranked as 'other'{hint}", topic="area"
            )
        )
    geometry = _check_geometry(reader, edition.geometry, [str(i) for i in ids], findings)
    elevation = reader.quantity("elevation", "m", minimum=-500, maximum=9000)
    columns = {
        "id": ids,
        "kind": kind,
        "name": np.where(names == "", ids, names),
        "around": reader.text("around"),
        "target_m": reader.quantity("target", "m", minimum=0, maximum=1.0),
        "elevation_m": np.where(np.isnan(elevation), _mean_z(edition.geometry), elevation),
        "slope": reader.quantity("slope", "ratio", minimum=0, maximum=1.0),
        "edition": np.full(reader.size, number, dtype=np.int64),
        "geometry": geometry,
    }
    reader.cells("valid_from")
    reader.finish()
    return columns


def _check_ids(reader: Reader, ids: list[str]) -> None:
    first: dict[str, int] = {}
    for row, name in enumerate(ids):
        if name in first:
            earlier = reader.table.rows[first[name]]
            reader.fault(
                row,
                "id",
                f"{quoted(name)} is there already ({earlier})",
                remedy="give each surface an id of its own",
            )
        elif name.lower() in KINDS:
            reader.fault(
                row,
                "id",
                f"{quoted(name)} is the name of a kind",
                remedy="a dressing names surfaces by id or kind, so an id must not be a kind",
            )
        first.setdefault(name, row)


def _check_geometry(
    reader: Reader, geometry: Geometries, ids: list[str], findings: list[Finding]
) -> Geometries:
    """The geometries in two dimensions; faults for what has no area or is not lon/lat."""
    flat = shapely.force_2d(geometry)
    empty = np.array([g is None for g in geometry], dtype=bool) | shapely.is_empty(flat)
    for row in np.flatnonzero(empty):
        reader.fault(int(row), None, f"surface {quoted(ids[row])} has no polygon")
    bounds = shapely.bounds(flat)
    wide = (np.abs(bounds[:, [0, 2]]) > 180).any(axis=1) | (np.abs(bounds[:, [1, 3]]) > 90).any(
        axis=1
    )
    polar = ~wide & (np.abs(bounds[:, [1, 3]]) > MAXIMUM_LATITUDE).any(axis=1)
    across = ~wide & (bounds[:, 2] - bounds[:, 0] > 180)
    checks = [
        (
            wide,
            "lies outside longitude ±180, latitude ±90",
            "these are not lon/lat degrees in WGS 84",
        ),
        (polar, f"reaches beyond latitude {MAXIMUM_LATITUDE}°", "no turf is kept there"),
        (
            across,
            "spans more than 180° of longitude",
            "cut it at the antimeridian (RFC 7946, 3.1.9)",
        ),
    ]
    bad = empty.copy()
    for mask, words, remedy in checks:
        for row in np.flatnonzero(mask & ~bad):
            place = f"from {bounds[row, 0]:g}, {bounds[row, 1]:g} to {bounds[row, 2]:g}, {bounds[row, 3]:g}"
            reader.fault(
                int(row), None, f"surface {quoted(ids[row])} {words}: {place}", remedy=remedy
            )
        bad |= mask
    for row in np.flatnonzero(~bad & ~shapely.is_valid(flat)):
        reason = shapely.is_valid_reason(flat[row])
        reader.fault(
            int(row),
            None,
            f"the outline of {quoted(ids[row])} crosses or touches itself: {reason}",
            remedy="mend the outline there; it is not repaired silently",
        )
    _check_together(reader, bounds[~bad])
    return flat


def _check_together(reader: Reader, bounds: Floats) -> None:
    """One site is one place: surfaces a degree apart mean swapped or mixed-up coordinates."""
    if len(bounds) == 0:
        return
    centre = np.stack(
        [(bounds[:, 0] + bounds[:, 2]) / 2, (bounds[:, 1] + bounds[:, 3]) / 2], axis=1
    )
    away = np.abs(centre - np.median(centre, axis=0)).max(axis=1)
    if away.max() > 1.0:
        row = int(away.argmax())
        reader.faults.add(
            reader.table.file,
            f"surfaces lie up to {away.max():.1f}° apart (farthest near {centre[row, 0]:g}, {centre[row, 1]:g})",
            remedy="one folder holds one site; look for longitude and latitude swapped",
        )


def _mean_z(geometry: Geometries) -> Floats:
    heights = np.full(len(geometry), np.nan)
    for row in np.flatnonzero(shapely.has_z(geometry)):
        z = shapely.get_coordinates(geometry[row], include_z=True)[:, 2]
        if np.isfinite(z).all() and (z != 0).any():
            heights[row] = z.mean()
    return heights


def _around(
    parts: list[dict[str, np.ndarray]],  # type: ignore[type-arg]
    editions: list[RawEdition],
    ground: dict[str, int],
    faults: Faults,
) -> Ints:
    """Index of the enclosed surface; faults for unknown ids and for rings of references."""
    out: list[int] = []
    for part, edition in zip(parts, editions, strict=True):
        named = dict(zip(part["id"].tolist(), part["around"].tolist(), strict=True))
        for row, (name, target) in enumerate(named.items()):
            place = edition.table.rows[row] if row < len(edition.table.rows) else None
            if target and target not in named:
                _fault_around(faults, edition, place, f"{quoted(target)} is not a surface's id")
            seen, step = {name}, target
            while step and step in named and step not in seen:
                seen.add(step)
                step = named[step]
            if step and step in seen and step == name:
                _fault_around(faults, edition, place, f"{quoted(name)} is around itself")
        out += [ground.get(str(t), -1) if t else -1 for t in part["around"].tolist()]
    return np.array(out, dtype=np.int64)


def _fault_around(faults: Faults, edition: RawEdition, place: int | str | None, found: str) -> None:
    faults.add(
        edition.table.file,
        found,
        row=place,
        column="around",
        remedy="a collar or surround names the surface that it encloses",
    )
