"""Which surfaces of two surveys are the same ground, and which were split or merged."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from geosand.areas.ellipsoid import ellipsoid_areas_m2
from geosand.areas.overlay import common_m2
from geosand.columns import Bools, Geometries, Ints, Strings, columns, joined_labels, ratio
from geosand.site.tables import Surfaces

HALF = 0.5  #: surfaces with more than this of their ground in common are one


@columns
class Pairs:
    """Surfaces that both surveys have, one row a pair, in the order of the new survey."""

    old: Ints  #: row in the old survey
    new: Ints  #: row in the new survey
    by_overlap: Bools  #: the ids differ; they were paired because they cover the same ground


@dataclass(frozen=True, slots=True, kw_only=True)
class Regrouping:
    """Ground that one survey draws as one surface and the other as several of the same kind."""

    old: Ints  #: rows in the old survey
    new: Ints  #: rows in the new survey

    def __post_init__(self) -> None:
        for column in (self.old, self.new):
            column.flags.writeable = False

    @property
    def change(self) -> str:
        """``split``, ``merged``, or ``divided anew`` where both surveys have several."""
        if len(self.old) == 1:
            return "split"
        return "merged" if len(self.new) == 1 else "divided anew"


def pair_surveys(old: Surfaces, new: Surfaces) -> Pairs:
    """Which surfaces of two surveys (one edition each) are the same.

    The same id; of the rest, the same kind where more than half of the larger one is common
    ground, the largest share first.
    """
    row_of = {str(name): row for row, name in enumerate(old.id)}
    named = np.array([row_of.get(str(name), -1) for name in new.id], dtype=np.int64)
    new_rows = np.flatnonzero(named >= 0)
    old_rows = named[new_rows]
    left_old = np.setdiff1d(np.arange(len(old)), old_rows)
    left_new = np.setdiff1d(np.arange(len(new)), new_rows)
    more_old, more_new = _same_ground(old, new, left_old, left_new)
    olds, news = np.concatenate([old_rows, more_old]), np.concatenate([new_rows, more_new])
    order = np.argsort(news, kind="stable")
    return Pairs(old=olds[order], new=news[order], by_overlap=(order >= len(new_rows)))


def _same_ground(old: Surfaces, new: Surfaces, left_old: Ints, left_new: Ints) -> tuple[Ints, Ints]:
    tree = shapely.STRtree(old.geometry[left_old])
    found_new, found_old = tree.query(new.geometry[left_new], predicate="intersects")
    olds, news = left_old[found_old], left_new[found_new]
    alike = old.kind[olds] == new.kind[news]
    olds, news = olds[alike], news[alike]
    common = common_m2(old.geometry[olds], new.geometry[news])
    larger = np.maximum(
        ellipsoid_areas_m2(old.geometry[olds]), ellipsoid_areas_m2(new.geometry[news])
    )
    share = ratio(common, larger, 0.0)
    order = np.argsort(-share, kind="stable")
    order = order[share[order] > HALF]
    olds, news = olds[order], news[order]
    # overlapping polygons of one survey could each claim the same partner
    first = np.zeros(len(order), dtype=np.bool_)
    first[np.unique(olds, return_index=True)[1]] = True
    once = np.zeros(len(order), dtype=np.bool_)
    once[np.unique(news, return_index=True)[1]] = True
    return olds[first & once], news[first & once]


def regroupings(
    old_owned: Geometries, old_kind: Strings, new_owned: Geometries, new_kind: Strings
) -> tuple[Regrouping, ...]:
    """Surfaces that were split or merged between two surveys (one edition each).

    Owned ground counts, so that a tee inside a tee is not a part of it. Surfaces of one kind belong
    together where more than half of the smaller one is common ground; of those that are not simply
    one to one, each chain is a regrouping.
    """
    tree = shapely.STRtree(old_owned)
    news, olds = tree.query(new_owned, predicate="intersects")
    alike = old_kind[olds] == new_kind[news]
    olds, news = olds[alike], news[alike]
    smaller = np.minimum(ellipsoid_areas_m2(old_owned[olds]), ellipsoid_areas_m2(new_owned[news]))
    common = common_m2(old_owned[olds], new_owned[news])
    kept = ratio(common, smaller, 0.0) > HALF
    olds, news = olds[kept], news[kept]
    surfaces = len(new_owned) + len(old_owned)
    chain = joined_labels(surfaces, news, len(new_owned) + olds)[news]
    found = []
    for number in np.unique(chain):
        mine = chain == number
        rows = np.unique(olds[mine]), np.unique(news[mine])
        if len(rows[0]) + len(rows[1]) > 2:
            found.append(Regrouping(old=rows[0], new=rows[1]))
    return tuple(found)


def without_regrouped(pairs: Pairs, regrouped: Sequence[Regrouping]) -> Pairs:
    """The pairs without those that only overlap paired and that a regrouping tells better."""
    olds = np.concatenate([np.zeros(0, dtype=np.int64), *(one.old for one in regrouped)])
    kept = ~(pairs.by_overlap & np.isin(pairs.old, olds))
    return Pairs(old=pairs.old[kept], new=pairs.new[kept], by_overlap=pairs.by_overlap[kept])
