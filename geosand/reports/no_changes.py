"""What looks like a change between two surveys and may be none: another datum, wider corners."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geosand.areas.bends import round_edges_m2
from geosand.areas.edge_shifts import Offset
from geosand.areas.remarks import square_metres
from geosand.formats.other_survey import Survey
from geosand.reports.documents import Document, number

if TYPE_CHECKING:
    from geosand.reports.area_comparison import Compared

LEAST_CHORDS_M2 = 0.5  #: less that bends may add or take is not worth a word


def datum_gap_of(old: Survey, new: Survey, offset: Offset | None) -> Document | None:
    """What the datums of two surveys are known to differ by, where the way to WGS 84 leaves it."""
    from geosand.formats.boundaries.datum_gap import datum_gap, explains, gap_words
    from geosand.formats.boundaries.whereabouts import middle_of

    if not len(old.surfaces):
        return None
    place = middle_of(old.surfaces.geometry.tolist())
    gap = datum_gap(old.source_crs, new.source_crs, *place)
    if gap is None:
        return None
    return {
        "east_m": number(gap.east_m),
        "north_m": number(gap.north_m),
        "accuracy_m": number(gap.accuracy_m),
        "old_datum": gap.old_datum,
        "new_datum": gap.new_datum,
        "is_offset": offset is not None and explains(gap, offset),
        "text": gap_words(gap, "the old survey", "the new one"),
    }


def wide_chords(found: Compared) -> list[tuple[str, str]]:
    """Changes that may come of corners farther apart in one of the two surveys.

    Edges that both draw with the same vertices say nothing, and no more can be no change than was
    gained or lost.
    """
    pairs, changes = found.pairs, found.changes
    before, after = found.old.geometry[pairs.old], found.new.geometry[pairs.new]
    factor = found.new_areas.ground_factor[pairs.new]
    old, new = (round_edges_m2(*both) * factor for both in ((before, after), (after, before)))
    apart = np.fmin(np.abs(old - new), np.where(old > new, changes.gained_m2, changes.lost_m2))
    told = (apart > changes.u_difference_m2) & (apart > LEAST_CHORDS_M2)
    rows = np.flatnonzero(told & ~found.in_regrouping())
    return [
        (
            str(found.new.id[pairs.new[k]]),
            f"its corners lie farther apart on its bends in the {'old' if by_old else 'new'}"
            f" survey: if its edge is round there, about {square_metres(float(apart[k]))} of what"
            f" it {'gained' if old[k] > new[k] else 'lost'} is no change",
        )
        for k, by_old in zip(rows.tolist(), (np.abs(old) > np.abs(new))[rows], strict=True)
    ]
