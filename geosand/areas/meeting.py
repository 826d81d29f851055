"""Where drawn surfaces meet: the same ground twice, no ground of their own, empty holes."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

from geosand.areas.ellipsoid import ellipsoid_areas_m2
from geosand.areas.overlay import areal_m2, common_m2, united
from geosand.areas.ownership import owned_geometries, precedence_levels, precedence_ranks, same_area
from geosand.areas.remarks import Remark, at, square_metres
from geosand.columns import Floats, Geometries, Ints, Strings

SAME_SHARE = 0.98  #: common ground over the larger of two, from which they are one surface twice
TINY_HOLE_M2 = 0.5
_OVERLAP_M2, _OVERLAP_SHARE = 0.5, 0.02  # of two of one kind
_OPEN_SHARE = 0.5
_PAIRS = 20_000  #: of overlays that are kept at once
#: Kinds that are drawn over each other in the usual course of tracing.
_HEAPED = ("other", "path", "water")


def pair_remarks(
    geometries: Geometries, kinds: Strings, ids: Strings, rows: Ints, factor: Floats
) -> list[Remark]:
    """Of the valid ``rows``: surfaces drawn twice, nearly alike, and overlaps within one kind."""
    if not len(rows):
        return []
    shapes = geometries[rows]
    ground = ellipsoid_areas_m2(shapes) * factor[rows]
    first, second = shapely.STRtree(shapes).query(shapes)
    smaller = np.minimum(ground[first], ground[second])
    larger = np.maximum(ground[first], ground[second])
    alike = smaller >= SAME_SHARE * larger
    kin = (kinds[rows][first] == kinds[rows][second]) & ~np.isin(kinds[rows][first], _HEAPED)
    kept = (first < second) & (alike | kin)
    first, second, larger, smaller = first[kept], second[kept], larger[kept], smaller[kept]
    order = np.lexsort((second, first))
    first, second, larger, smaller = first[order], second[order], larger[order], smaller[order]
    common = _common_m2(shapes, first, second) * factor[rows][first]
    level = precedence_levels(kinds)
    equal = same_area(smaller, larger)
    rank = precedence_ranks(kinds[rows], ground / factor[rows])
    remarks = []
    for k in np.flatnonzero(common > np.minimum(_OVERLAP_M2, larger / 2)).tolist():
        i, j = int(rows[first[k]]), int(rows[second[k]])
        place = inside(shapely.intersection(shapes[first[k]], shapes[second[k]]))
        if common[k] >= SAME_SHARE * larger[k]:
            i, j = (i, j) if level[i] <= level[j] else (j, i)  # the one on top is kept
            apart = float(ground[first[k]] + ground[second[k]] - 2 * common[k])
            remarks.append(_nearly_same(i, j, ids, common[k] / larger[k], apart, place))
        elif (
            kinds[i] == kinds[j]
            and kinds[i] not in _HEAPED
            and common[k] > max(_OVERLAP_M2, _OVERLAP_SHARE * smaller[k])
        ):
            i, j = (i, j) if rank[first[k]] > rank[second[k]] else (j, i)
            owner = "first" if equal[k] else "smaller"
            remarks.append(_overlap(i, j, ids, str(kinds[i]), owner, float(common[k]), place))
    return remarks


def _common_m2(shapes: Geometries, first: Ints, second: Ints) -> Floats:
    """Ellipsoid area (n,) of the ground that two rows each of ``shapes`` have in common."""
    blocks = [
        common_m2(shapes[first[some]], shapes[second[some]])
        for some in (slice(k, k + _PAIRS) for k in range(0, len(first), _PAIRS))
    ]
    return np.concatenate([np.zeros(0), *blocks])


def _nearly_same(
    i: int, j: int, ids: Strings, share: float, apart: float, place: tuple[float, float]
) -> Remark:
    return Remark(
        j,
        "fault",
        f"it is nearly the same polygon as {ids[i]}: {share * 100:.1f} % of the ground is common, "
        f"{square_metres(apart)} are not, at {at(*place)}",
        "delete one of the two",
        sort="nearly the same",
        place=place,
        size_m2=apart,
        mend=f"keeps {ids[i]} alone",
        other=i,
    )


def _overlap(
    i: int, j: int, ids: Strings, kind: str, owner: str, common: float, place: tuple[float, float]
) -> Remark:
    return Remark(
        i,
        "finding",
        f"it overlaps {ids[j]}, which is of the kind {kind} too, by {square_metres(common)} at "
        f"{at(*place)}: the {owner} of the two owns that ground",
        "draw them side by side if that is not meant",
        sort="overlap",
        place=place,
        size_m2=common,
        other=j,
    )


def inside(shape: Any) -> tuple[float, float]:
    """A lon/lat on the shape itself, in its largest part."""
    parts = shapely.get_parts(shape)
    part = parts[int(shapely.area(parts).argmax())] if len(parts) else shape
    point = shapely.point_on_surface(part)
    return float(shapely.get_x(point)), float(shapely.get_y(point))


def uncovered(holes: Geometries, geometries: Geometries, owner: Ints, rows: Ints) -> Geometries:
    """What is left of each hole (n,) of the ``owner`` rows without other surfaces.

    ``rows`` are the valid surfaces that may lie in it.
    """
    left = holes.copy()
    there = np.flatnonzero(~shapely.is_empty(holes))
    which, met = shapely.STRtree(geometries[rows]).query(holes[there], "intersects")
    other = rows[met] != owner[there[which]]
    which, met = which[other], met[other]
    covering, group = united(geometries[rows[met]], which)
    left[there[group]] = shapely.difference(holes[there[group]], covering)
    return left


def hole_remarks(
    geometries: Geometries, kinds: Strings, rows: Ints, factor: Floats
) -> list[Remark]:
    """Holes that no other surface fills; those of collars are told by their gap."""
    parts, owner = shapely.get_parts(geometries[rows], return_index=True)
    holed = (shapely.get_num_interior_rings(parts) > 0) & (kinds[rows[owner]] != "collar")
    rings, part = shapely.get_rings(parts[holed], return_index=True)
    inner = np.diff(part, prepend=-1) == 0  # the first ring of a part is its outline
    holes = shapely.polygons(rings[inner])
    surface = rows[owner[holed][part[inner]]]
    left = uncovered(holes, geometries, surface, rows)
    size = ellipsoid_areas_m2(holes) * factor[surface]
    empty = areal_m2(left) * factor[surface] > _OPEN_SHARE * size
    remarks = []
    for row in np.unique(surface[empty]).tolist():
        mine = empty & (surface == row)
        for tiny in (True, False):
            which = np.flatnonzero(mine & ((size < TINY_HOLE_M2) == tiny))
            if len(which):
                remarks.append(_hole(row, tiny, len(which), float(size[which].sum()),
                                     inside(holes[which[0]])))  # fmt: skip
    return remarks


def _hole(row: int, tiny: bool, count: int, size: float, place: tuple[float, float]) -> Remark:
    many = count > 1
    text = f"{count} {'tiny ' if tiny else ''}hole{'s' if many else ''} that no surface fills, "
    text += f"{'together ' if many else ''}{square_metres(size)}, "
    return Remark(
        row,
        "finding",
        f"{text}{'the first ' if many else ''}at {at(*place)}",
        "draw what lies there, or fill the hole if nothing does",
        sort="tiny hole" if tiny else "hole",
        place=place,
        size_m2=size,
        mend=("fills them" if many else "fills it") if tiny else "",
    )


def nothing_owned(geometries: Geometries, kinds: Strings, factor: Floats) -> list[Remark]:
    """Surfaces of one survey that others lie on wholly, so that no ground is left to them.

    A house or a wood on a lawn is no surface that is lost, but the lawn is too large by it.
    """
    rows = np.flatnonzero(shapely.is_valid(geometries) & (shapely.area(geometries) > 0))
    shapes = geometries[rows]
    owned = owned_geometries(shapes, kinds[rows], np.zeros(len(rows), dtype=np.int64))
    remarks = []
    for k in np.flatnonzero(shapely.is_empty(owned)).tolist():
        row = int(rows[k])
        drawn = float(ellipsoid_areas_m2(shapes[[k]])[0] * factor[row])
        place = inside(shapes[k])
        turf = kinds[row] != "other"
        counted = "" if turf else "; what is there counts as theirs"
        remedy = "delete it, or what lies on it"
        remarks.append(
            Remark(
                row,
                "fault" if turf else "finding",
                f"it owns no ground: other surfaces lie on all of it ({square_metres(drawn)} "
                f"drawn, at {at(*place)}){counted}",
                remedy if turf else "cut it out of them if it is none of theirs",
                sort="no ground",
                place=place,
                size_m2=drawn,
            )
        )
    return remarks
