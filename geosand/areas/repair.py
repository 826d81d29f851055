"""Drawn boundaries mended where a person asked for it, each change with the area before and after.

Nothing here decides that something be repaired: see :class:`geosand.areas.remarks.Remark` for what
is asked about, and ``mend`` there for what is done. Overlaps that the rule of precedence settles
are left as drawn.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from geosand.areas.audit import audit
from geosand.areas.collars import collars_of
from geosand.areas.crossings import METHODS, mended, without_collapsed
from geosand.areas.ellipsoid import ellipsoid_areas_m2
from geosand.areas.meeting import TINY_HOLE_M2
from geosand.areas.outline_remarks import are_slivers, spike_vertices
from geosand.areas.remarks import Remark
from geosand.areas.rings import rings_of
from geosand.columns import Bools, Floats, Geometries, Ints, Strings, columns

_ROUNDS = 10  # of spikes behind spikes
_DUST_M2 = 1e-3
_TIDIED = ("repeated vertex", "spike", "sliver part", "tiny hole")
_DELETED = ("duplicate", "nearly the same", "sliver")
_COLLARS = ("filled collar", "edge overlap", "gap", "around")


@dataclass(frozen=True, slots=True, kw_only=True)
class Mend:
    """What was done to one surface."""

    row: int
    text: str
    before_m2: float  #: as drawn, by the surveyors' formula: loops run backwards count negative
    after_m2: float  #: 0 where the surface is deleted


@columns
class Repaired:
    """The surfaces (S,) after the repair."""

    geometry: Geometries
    kept: Bools  #: False = deleted
    around: Ints  #: row of the surface that each one encloses, -1 for none
    mends: tuple[Mend, ...]


def repair(
    geometries: Geometries,
    kinds: Strings,
    ids: Strings,
    around: Ints,
    *,
    crossings: str = next(iter(METHODS)),
    factor: Floats | None = None,
) -> Repaired:
    """Mend all that :func:`audit` has a mend for; ``crossings`` is one of METHODS.

    Geometries are polygons in lon/lat degrees, of one survey. Raises KeyError for another method.
    """
    factor = np.ones(len(geometries)) if factor is None else factor
    shapes = geometries.copy()
    kept = np.ones(len(shapes), dtype=np.bool_)
    enclosed = around.copy()
    done: dict[int, list[str]] = defaultdict(list)
    for row in np.flatnonzero(~shapely.is_valid(shapes)).tolist():
        made = mended(shapes[row], crossings)
        if made is not None:
            less = without_collapsed(shapes[row])
            if less is not shapes[row]:
                done[row].append("rings of fewer than three corners deleted")
            if not shapely.is_valid(less):
                done[row].append(f"crossings mended: {METHODS[crossings]}")
            shapes[row] = made
    for remark in _found(shapes, kinds, ids, kept, enclosed, _TIDIED):
        _tidy(shapes, remark, done)
    for remark in _found(shapes, kinds, ids, kept, enclosed, _DELETED):
        if kept[remark.other] or remark.sort == "sliver":
            kept[remark.row] = False
            same = f", {ids[remark.other]} is kept" if remark.other >= 0 else ""
            done[remark.row].append(f"deleted by the repair{same}")
            enclosed[enclosed == remark.row] = remark.other
    _mend_collars(shapes, kinds, ids, kept, enclosed, done)
    before = ellipsoid_areas_m2(geometries) * factor
    after = np.where(kept, ellipsoid_areas_m2(shapes) * factor, 0.0)
    mends = [
        Mend(
            row=row,
            text="; ".join(said),
            before_m2=float(before[row]),
            after_m2=float(after[row]),
        )
        for row, said in sorted(done.items())
    ]
    return Repaired(geometry=shapes, kept=kept, around=enclosed, mends=tuple(mends))


def _found(
    shapes: Geometries,
    kinds: Strings,
    ids: Strings,
    kept: Bools,
    around: Ints,
    sorts: tuple[str, ...],
) -> list[Remark]:
    """Remarks of some sorts on the surfaces that are still there, rows of the whole table."""
    rows = np.flatnonzero(kept)
    place = np.full(len(kept) + 1, -1, dtype=np.int64)  # the last is for "none", row -1
    place[rows] = np.arange(len(rows))
    remarks = audit(shapes[rows], kinds[rows], ids[rows], around=place[around[rows]])
    return [
        remark._replace(
            row=int(rows[remark.row]), other=int(rows[remark.other]) if remark.other >= 0 else -1
        )
        for remark in remarks
        if remark.sort in sorts
    ]


def _tidy(shapes: Geometries, remark: Remark, done: dict[int, list[str]]) -> None:
    """One surface without what the remark is about; as it was where that would spoil it."""
    row, shape = remark.row, shapes[remark.row]
    if remark.sort == "repeated vertex":
        made, text = shapely.remove_repeated_points(shape), "repeated vertices deleted"
    elif remark.sort == "spike":
        made, text = _without_spikes(shape), "spikes deleted"
    elif remark.sort == "sliver part":
        made, text = _without_small_parts(shape), "slivers deleted"
    else:
        made, text = _without_small_holes(shape), "tiny holes filled"
    if made is not None and shapely.is_valid(made) and not shapely.is_empty(made):
        shapes[row] = made
        done[row].append(text)


def _without_spikes(shape: Any) -> Any:
    for _ in range(_ROUNDS):
        rings = rings_of(np.array([shape], dtype=object))
        spike, _area = spike_vertices(rings)
        if not spike.any():
            return shape
        kept: list[Any] = []
        for first, last in zip(rings.first.tolist(), rings.last.tolist(), strict=True):
            corners = rings.position[first:last][~spike[first:last]]
            kept.append(corners if len(corners) > 2 else None)
        shape = _rebuilt(shape, kept)
        if shape is None:
            return None
        shape = shapely.remove_repeated_points(shape)
    return shape


def _rebuilt(shape: Any, corners: list[Any]) -> Any:
    """The same polygons with other corners for each ring in turn; None where a shell is lost."""
    parts, at = [], 0
    for part in shapely.get_parts(shape):
        count = 1 + int(shapely.get_num_interior_rings(part))
        shell, *holes = corners[at : at + count]
        at += count
        if shell is None:
            return None
        parts.append(shapely.Polygon(shell, [hole for hole in holes if hole is not None]))
    return parts[0] if len(parts) == 1 else shapely.multipolygons(parts)


def _without_small_parts(shape: Any) -> Any:
    parts = shapely.get_parts(shape)
    large = parts[~are_slivers(parts, ellipsoid_areas_m2(parts))]
    return large[0] if len(large) == 1 else shapely.multipolygons(large)


def _without_small_holes(shape: Any) -> Any:
    parts = []
    for part in shapely.get_parts(shape):
        shell, *holes = shapely.get_rings(part).tolist()
        filled = np.array([shapely.Polygon(hole) for hole in holes], dtype=object)
        size = ellipsoid_areas_m2(filled)
        large = [hole for hole, s in zip(holes, size, strict=True) if s >= TINY_HOLE_M2]
        parts.append(shapely.Polygon(shell, large))
    return parts[0] if len(parts) == 1 else shapely.multipolygons(parts)


def _mend_collars(
    shapes: Geometries,
    kinds: Strings,
    ids: Strings,
    kept: Bools,
    around: Ints,
    done: dict[int, list[str]],
) -> None:
    """Collars named, cut along their green and grown over the gap, where there is a remark."""
    remarks = _found(shapes, kinds, ids, kept, around, _COLLARS)
    rows = np.flatnonzero(kept & shapely.is_valid(shapes))
    collars, _ = collars_of(shapes, kinds, around, rows)
    at = {row: k for k, row in enumerate(collars.row.tolist())}
    for remark in remarks:
        if not remark.mend or remark.other < 0 or remark.row not in at:
            continue
        k, name = at[remark.row], ids[remark.other]
        if remark.sort == "around":
            around[remark.row] = remark.other
            done[remark.row].append(f"named as around {name}")
            continue
        if remark.sort == "gap":
            made = shapely.union(shapes[remark.row], collars.gap[k])
            text = f"gap to {name} closed"
        else:
            made = shapely.difference(shapes[remark.row], shapes[remark.other])
            text = f"{name} cut out"
        made = _areal(made)
        if made is not None:
            shapes[remark.row] = made
            done[remark.row].append(text)


def _areal(shape: Any) -> Any:
    """The polygons of an overlay without dust; None where none is left."""
    parts = shapely.get_parts(shape)
    parts = parts[shapely.get_type_id(parts) == 3]
    parts = parts[ellipsoid_areas_m2(parts) >= _DUST_M2] if len(parts) else parts
    if not len(parts):
        return None
    return parts[0] if len(parts) == 1 else shapely.multipolygons(parts)
