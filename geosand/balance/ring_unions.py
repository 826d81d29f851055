"""Polygons that belong together made one, without going through them singly.

So are hazards of a kind that overlap, that no sand over them counts twice.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import shapely

from geosand.areas.near_pairs import near_pairs
from geosand.columns import Geometries, Ints


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


def united(shapes: Geometries, label: Ints) -> tuple[Geometries, Ints]:
    """One geometry for each number in ``label`` (n,), and those numbers, in order.

    A shape that is alone with its number is returned as it is.
    """
    order = np.argsort(label, kind="stable")
    shapes, label = shapes[order], label[order]
    first = np.flatnonzero(np.diff(label, prepend=label[:1] - 1))
    size = np.diff(first, append=len(label))
    out, several = shapes[first], np.flatnonzero(size > 1)
    if len(several):
        of = np.repeat(np.arange(len(first)), size)
        some = size[of] > 1
        place = np.repeat(np.arange(len(several)), size[several])
        parts, of_part = shapely.get_parts(shapes[some], return_index=True)
        groups = shapely.geometrycollections(parts, indices=place[of_part])
        out[several] = shapely.union_all(np.asarray(groups)[:, None], axis=1)
    return out, label[first]


def joined_labels(count: int, one: Ints, other: Ints) -> Ints:
    """The lowest number (count,) that chains of the pairs join each number to.

    >>> joined_labels(4, np.array([3]), np.array([1])).tolist()
    [0, 1, 2, 1]
    """
    label = np.arange(count)
    while True:
        lower = label.copy()
        np.minimum.at(lower, one, label[other])
        np.minimum.at(lower, other, label[one])
        lower = lower[lower]
        if (lower == label).all():
            return label
        label = lower
