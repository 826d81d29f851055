"""Which dressed surfaces are alike, and which stand together: each is then laid out only once.

Polygons that belong together are made one; so are hazards of a kind that overlap, that no sand over
them counts twice.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

from geosand.areas.near_pairs import near_pairs
from geosand.areas.overlay import united
from geosand.columns import Floats, Geometries, Ints, begins, distinct, joined_labels, ragged, take
from geosand.tuples import NamedTuple


class Stands(NamedTuple):
    """Surfaces as they stand among the other dressed surfaces; one row a distinct case."""

    surface: Geometries
    case: Ints  #: which surface with its collar
    party: Ints  #: rows of one number are dressed together and may meet
    field: Ints  #: whose plane: rows of different fields never meet
    collar: Geometries  #: drawn; None where it is not
    collar_width_m: Floats  #: of the ring where no collar is drawn
    surrounds_width_m: Floats


def distinct_cases(
    surfaces: Geometries,
    collars: Geometries,
    collar_width_m: Floats,
    surrounds_width_m: Floats,
    field: Ints,
    number: Ints | None = None,
) -> tuple[Stands, Ints]:
    """The distinct surfaces with their collars, each by itself, and which one each row is.

    ``number``: the same in rows that are alike in all columns. Else they are held against each
    other; a surface is one object in all its rows. Cases are in the order in which they first come.
    """
    columns: tuple[Floats | Ints, ...]
    if number is None:
        one, other = (np.fromiter(map(id, c), np.int64, len(c)) for c in (surfaces, collars))
        columns = (field, collar_width_m, surrounds_width_m, one, other)
    else:
        columns = (number,)
    order = np.lexsort(columns)
    new = np.zeros(len(order), dtype=np.bool_)
    for column in columns:
        new |= begins(column[order])
    earliest = order[new]  # a stable order: the lowest row of each case
    rank = np.empty(len(earliest), dtype=np.int64)
    rank[np.argsort(earliest)] = np.arange(len(earliest))
    case = np.empty(len(order), dtype=np.int64)
    case[order] = rank[np.cumsum(new) - 1]
    first = np.sort(earliest)
    cases = Stands(
        surface=surfaces[first],
        case=np.arange(len(first)),
        party=np.arange(len(first)),
        field=field[first],
        collar=collars[first],
        collar_width_m=collar_width_m[first],
        surrounds_width_m=surrounds_width_m[first],
    )
    return cases, case


def distinct_stands(
    cases: Stands, case: Ints, dressing: Ints, distance_m: Floats
) -> tuple[Stands, Ints]:
    """Cases as they stand among what is dressed with them, and which stand each row is.

    Rows of one dressing that lie within ``distance_m`` (one a case, the same in all of a field) of
    each other, or are joined by others that do, are one party; the same party in another dressing
    is laid only once.
    """
    left, right = near_stands(cases, cases.field, distance_m)
    place = dressing * len(cases.case) + case
    if not len(left) and len(distinct(place)) == len(place):
        return cases, case  # nothing stands with another
    party = _parties(left, right, case, place, len(cases.case))
    order = np.lexsort((case, party))
    start = np.flatnonzero(begins(party[order]))
    size = np.diff(np.append(start, len(order)))
    _, first, like = np.unique(_alike(case[order], size), return_index=True, return_inverse=True)
    chosen = np.sort(first)  # parties that are the first of their kind
    laid = np.zeros(len(size), dtype=np.int64)
    laid[chosen] = np.cumsum(size[chosen]) - size[chosen]
    owner, place = ragged(np.zeros(len(size), np.int64), size)
    stand = np.empty(len(case), dtype=np.int64)
    stand[order] = (laid[first[like]])[owner] + place
    one = order[ragged(start[chosen], size[chosen])[1]]
    return take(cases, case[one])._replace(party=party[one]), stand


def near_stands(stands: Stands, key: Ints, distance_m: Floats) -> tuple[Ints, Ints]:
    """Pairs, both ways round, of stands with the same key within their distance; sorted."""
    if np.bincount(key).max(initial=0) <= 1:
        return np.empty(0, np.int64), np.empty(0, np.int64)
    bounds = shapely.bounds(stands.surface)
    left, right = near_pairs(bounds, key, bounds, key, distance_m)
    once = left < right
    left, right = left[once], right[once]
    far: Any = distance_m[left]  # stubs know one distance for all alone
    near = shapely.dwithin(stands.surface[left], stands.surface[right], far)
    left, right = left[near], right[near]
    both = np.concatenate((left, right)), np.concatenate((right, left))
    order = np.lexsort(both[::-1])
    return both[0][order], both[1][order]


def _parties(left: Ints, right: Ints, case: Ints, place: Ints, cases: int) -> Ints:
    """A number by row, the same for rows of a dressing that chains of near surfaces join.

    ``left`` and ``right``: cases that are near each other; ``place``: dressing · cases + case.
    """
    bounds = np.searchsorted(left, np.arange(cases + 1))
    row, which = ragged(bounds[case], bounds[case + 1] - bounds[case])
    neighbour = place[row] - case[row] + right[which]
    known, party = np.unique(place, return_inverse=True)
    other = np.searchsorted(known, neighbour)
    present = known[np.minimum(other, len(known) - 1)] == neighbour
    return joined_labels(len(known), party[row[present]], other[present])[party]


def _alike(items: Ints, size: Ints) -> Ints:
    """A number for each run of ``size`` items, the same for runs of the same items.

    Neighbours in a run become one number for the pair of them until one is left of each run.
    """
    code, size = items, size.copy()
    while size.max(initial=1) > 1:
        owner, place = ragged(np.zeros(len(size), np.int64), size)
        left = np.flatnonzero(place % 2 == 0)
        paired = place[left] + 1 < size[owner[left]]
        right = np.where(paired, code[np.minimum(left + 1, len(code) - 1)], -1)
        pair = code[left] * (code.max() + 2) + right + 1
        code = np.unique(pair, return_inverse=True)[1].astype(np.int64)
        size = (size + 1) // 2
    return code


class Hazards(NamedTuple):
    """Polygons that are no turf; one row a polygon."""

    shape: Geometries
    kind: Ints  #: number of the kind
    field: Ints  #: in which field's plane


def disjoint_hazards(shape: Geometries, kind: Ints, field: Ints) -> Hazards:
    """The polygons, those of a kind and field that overlap as one."""
    bounds = shapely.bounds(shape)
    key = field * (kind.max(initial=0) + 1) + kind
    left, right = near_pairs(bounds, key, bounds, key)
    once = left < right
    left, right = left[once], right[once]
    overlap = shapely.relate_pattern(shape[left], shape[right], "T********")
    label = joined_labels(len(shape), left[overlap], right[overlap])
    merged, first = united(shape, label)
    parts, row = shapely.get_parts(merged, return_index=True)
    areal = shapely.get_dimensions(parts) == 2
    first = first[row[areal]]
    return Hazards(shape=parts[areal], kind=kind[first], field=field[first])
