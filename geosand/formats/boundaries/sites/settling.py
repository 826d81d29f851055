"""What must be decided before boundaries are written, and what is done about it.

Nothing is decided here that a person did not say. What asks for a decision (a fault of
:class:`geosand.areas.remarks.Remark`, an area that could not be read, a line that nearly closes)
holds the import up; ``repair`` mends what there is a mend for, ``accept`` takes the rest as it
stands. Everything else is told and goes on.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace

import numpy as np
import shapely

from geosand.areas.audit import audit
from geosand.areas.crowds import refuse_crowds
from geosand.areas.ellipsoid import ellipsoid_areas_m2
from geosand.areas.meeting import nothing_owned
from geosand.areas.remarks import Remark, square_metres
from geosand.areas.repair import repair
from geosand.columns import Bools, Floats, Geometries, Ints, Strings, take
from geosand.errors import Fault, Finding
from geosand.formats.boundaries.drawings.labels import TEXT_OPEN
from geosand.formats.boundaries.place.antimeridian import cut, on_one_side
from geosand.formats.boundaries.shapes.mendable import ALONG, NOT_CLOSED
from geosand.formats.boundaries.sites.ground import factor_of
from geosand.formats.boundaries.sites.questions import Choice, fault_of, finding_of, lost_fault
from geosand.formats.boundaries.sites.surfaces_file import SurfaceRow, rows_of
from geosand.formats.boundaries.tables import Boundaries, LeftOut, Outlines, counted_by_kind
from geosand.site.cells import Cell, quoted


@dataclass(frozen=True, slots=True, kw_only=True)
class Mended:
    """One surface that was repaired, with its ground area before and after."""

    id: str
    text: str
    before_m2: float
    after_m2: float

    def __str__(self) -> str:
        before, after = square_metres(self.before_m2), square_metres(self.after_m2)
        change = before if before == after else f"{before} → {after}"
        return f"{self.id}: {self.text} ({change})"


@dataclass(frozen=True, slots=True, kw_only=True)
class Settled:
    """Boundaries ready to be written once ``faults`` is empty or accepted."""

    boundaries: Boundaries  #: features as they will be written
    rows: tuple[SurfaceRow, ...]
    mended: tuple[Mended, ...]
    faults: tuple[Fault, ...]  #: what asks for a decision
    findings: tuple[Finding, ...]  #: what is told and goes on
    remarks: tuple[tuple[str, Remark], ...]  #: all of both with the surface's id, place and size
    elevation_m: float  #: of surfaces that state no height; nan = not known


@dataclass(frozen=True, slots=True, kw_only=True)
class _Table:
    """All that was drawn as an area, sound rows first, and what has become of it so far."""

    whole: Outlines
    why: tuple[str, ...]  #: of each row, why it is none; "" for the sound ones
    rows: list[SurfaceRow]
    joined: Geometries  #: outlines as drawn, on one side of 180°
    shapes: Geometries  #: the same as they are now
    around: Ints
    factor: Floats  #: ground over ellipsoid area
    kept: Bools  #: rows that are written
    looked: Bools  #: rows that are looked at
    deleted: Mapping[int, str]
    mended: tuple[Mended, ...]

    def nearly_closed(self) -> Bools:
        return np.array([why.startswith(NOT_CLOSED) for why in self.why], dtype=np.bool_)


def settle(boundaries: Boundaries, choice: Choice, elevation_m: float = float("nan")) -> Settled:
    """Look at the boundaries as drawn, mend them if that was said, and list what is left open.

    ``elevation_m`` is the height of surfaces that state none, for ground areas. Raises Refused
    where too many surfaces lie on each other.
    """
    table = _as_drawn(boundaries, elevation_m)
    one_survey = np.zeros(len(table.whole), dtype=np.int64)
    refuse_crowds(shapely.bounds(table.shapes), one_survey, boundaries.file)
    if choice.repair and len(table.whole):
        table = _repaired(table, choice)
    remarks = _remarks(table)
    if not choice.repair:
        remarks += _not_closed(table)
    taken = _taken(boundaries, table)
    asked = [r for r in remarks if r.severity == "fault"]
    faults = [fault_of(remark, table.whole, boundaries.file, choice) for remark in asked]
    places = {fault.row for fault in faults}
    lost = [i for i in taken.tally.left_out if i.lost and i.place not in places]
    written = zip(np.flatnonzero(table.kept).tolist(), taken.features.geometry, strict=True)
    return Settled(
        boundaries=taken,
        rows=tuple(replace(table.rows[k], geometry=shape) for k, shape in written),
        mended=table.mended,
        faults=(*faults, *(lost_fault(item, boundaries.file) for item in lost)),
        findings=tuple(
            finding_of(r, table.whole, choice) for r in remarks if r.severity != "fault"
        ),
        remarks=tuple((str(table.whole.id[r.row]), r) for r in remarks),
        elevation_m=elevation_m,
    )


def _as_drawn(boundaries: Boundaries, elevation_m: float) -> _Table:
    """Surfaces and broken outlines in one table; only the surfaces would be written."""
    whole = _joined(boundaries.features, boundaries.broken)
    sound = len(boundaries.features)
    rows = rows_of(whole)
    shapes = on_one_side(whole.geometry)
    why = (*("" for _ in range(sound)), *boundaries.broken_why)
    closed = np.array([not text.startswith(NOT_CLOSED) for text in why], dtype=np.bool_)
    return _Table(
        whole=whole,
        why=why,
        rows=rows,
        joined=shapes,
        shapes=shapes,
        around=_around(rows),
        factor=factor_of(rows, elevation_m),
        kept=np.arange(len(whole)) < sound,
        looked=closed,
        deleted={},
        mended=(),
    )


def _repaired(table: _Table, choice: Choice) -> _Table:
    """The table after the repair, with what was done to each surface."""
    whole, nearly = table.whole, table.nearly_closed()
    done = repair(
        table.shapes,
        whole.kind,
        whole.id,
        table.around,
        crossings=choice.crossings,
        factor=table.factor,
    )
    sound = shapely.is_valid(done.geometry)
    kept = done.kept & sound
    after = ellipsoid_areas_m2(done.geometry) * table.factor
    parts, before = (shapely.get_num_geometries(g) for g in (done.geometry, table.shapes))
    apart = {k: f", in {parts[k]} parts" for k in np.flatnonzero(kept & (parts > before)).tolist()}
    texts = {
        mend.row: (mend.text + apart.get(mend.row, ""), mend.before_m2, mend.after_m2)
        for mend in done.mends
    }
    for row in np.flatnonzero(nearly & kept).tolist():
        more = f"; {texts[row][0]}" if row in texts else ""
        how = "along that edge" if ALONG in table.why[row] else "over its gap"
        text = f"closed {how} ({table.why[row]}){more}"
        texts[row] = (text, 0.0, float(after[row]))
    return replace(
        table,
        rows=_named(table.rows, table.around, done.around, whole.id),
        shapes=done.geometry,
        around=done.around,
        kept=kept,
        looked=kept | ~sound,
        deleted={row: text for row, (text, _, _) in texts.items() if not done.kept[row]},
        mended=tuple(
            Mended(id=str(whole.id[row]), text=text, before_m2=before, after_m2=after_m2)
            for row, (text, before, after_m2) in sorted(texts.items())
        ),
    )


def with_known_around(
    rows: list[SurfaceRow], known: set[str]
) -> tuple[list[SurfaceRow], list[Finding]]:
    """Rows without an ``around`` that names no surface of ``known``; each of those is told."""
    out, findings = list(rows), []
    for k, row in enumerate(rows):
        named = row.properties.get("around")
        if named is not None and str(named) not in known:
            text = (
                f"its column around names {quoted(str(named))}, which is no surface here:"
                " it is written without"
            )
            findings.append(Finding(about=str(row.properties["id"]), text=text, topic="area"))
            out[k] = replace(row, properties=_without_around(row))
    return out, findings


def _without_around(row: SurfaceRow) -> dict[str, Cell]:
    return {key: cell for key, cell in row.properties.items() if key != "around"}


def _joined(first: Outlines, second: Outlines) -> Outlines:
    names = [field.name for field in fields(Outlines)]
    return Outlines(**{n: np.concatenate([getattr(first, n), getattr(second, n)]) for n in names})


def _around(rows: list[SurfaceRow]) -> Ints:
    """Row of the surface that each one encloses, -1 for none or an unknown one."""
    at = {str(row.properties["id"]): k for k, row in enumerate(rows)}
    named = [str(row.properties.get("around", "")) for row in rows]
    return np.array([at.get(name, -1) for name in named], dtype=np.int64)


def _named(rows: list[SurfaceRow], before: Ints, after: Ints, ids: Strings) -> list[SurfaceRow]:
    """Rows with the surface that a repair found each to be around."""
    out = list(rows)
    for k in np.flatnonzero(before != after).tolist():
        cells = _without_around(rows[k])
        if after[k] >= 0:
            cells["around"] = str(ids[after[k]])
        out[k] = replace(rows[k], properties=cells)
    return out


def _remarks(table: _Table) -> list[Remark]:
    """The audit of the rows looked at, and surfaces that others cover wholly."""
    looked = np.flatnonzero(table.looked)
    place = np.full(len(table.whole) + 1, -1, dtype=np.int64)  # the last is for "none", -1
    place[looked] = np.arange(len(looked))
    some, factor = table.shapes[looked], table.factor[looked]
    kinds, ids = table.whole.kind[looked], table.whole.id[looked]
    found = audit(some, kinds, ids, around=place[table.around[looked]], factor=factor)
    said = {r.row for r in found if r.severity == "fault"}
    found += [r for r in nothing_owned(some, kinds, factor) if r.row not in said]
    return [
        r._replace(row=int(looked[r.row]), other=int(looked[r.other]) if r.other >= 0 else -1)
        for r in found
    ]


def _not_closed(table: _Table) -> list[Remark]:
    """Lines of a kind that has an area whose ends nearly meet."""
    area = ellipsoid_areas_m2(table.shapes) * table.factor
    remarks = []
    for row in np.flatnonzero(table.nearly_closed()).tolist():
        lon, lat = shapely.get_coordinates(table.shapes[row])[0].tolist()
        how = "along that edge" if ALONG in table.why[row] else "straight"
        remarks.append(
            Remark(
                row,
                "fault",
                f"{table.why[row]}; closed {how} it is {square_metres(float(area[row]))}",
                "close it in the drawing",
                sort="not closed",
                place=(lon, lat),
                size_m2=float(area[row]),
                mend=f"closes it {how}",
            )
        )
    return remarks


def _written(table: _Table) -> Geometries:
    """The outlines as they came, those that were changed cut at 180° again."""
    pairs = zip(table.shapes, table.joined, strict=True)
    changed = np.array([now is not before for now, before in pairs], dtype=np.bool_)
    back, _ = cut(table.shapes)
    return np.where(changed, back, table.whole.geometry)


def _taken(boundaries: Boundaries, table: _Table) -> Boundaries:
    """The boundaries with the surfaces that are written, and a tally that still adds up."""
    rows = np.flatnonzero(table.kept)
    features: Outlines = replace(take(table.whole, rows), geometry=_written(table)[rows])
    used = set(features.place.tolist())
    saved = {(str(table.whole.place[row]), table.why[row]) for row in rows if table.why[row]}
    closed = {place for place, why in saved if why.startswith(NOT_CLOSED)}
    texts = {TEXT_OPEN + place for place in closed}
    left_out = [
        item
        for item in boundaries.tally.left_out
        if (item.place, item.reason) not in saved
        and item.place not in closed
        and item.reason not in texts
    ]
    labels = sum(item.reason in texts for item in boundaries.tally.left_out)
    left_out += [
        LeftOut(place=str(table.whole.place[row]), name=str(table.whole.name[row]), reason=text)
        for row, text in table.deleted.items()
    ]
    tally = replace(
        boundaries.tally,
        used=len(used),
        surfaces=len(features),
        by_kind=counted_by_kind(features.kind),
        labels=boundaries.tally.labels + labels,
        left_out=tuple(replace(item, partly=item.place in used) for item in left_out),
    )
    return replace(boundaries, features=features, tally=tally)
