"""Two boundary surveys of a site, paired and compared; what looks like a change and may be none."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from geosand.areas.bends import round_edges_m2
from geosand.areas.comparison import Changes, GroundChanges, compare_regrouped, compare_surveys
from geosand.areas.edge_shifts import Offset, common_offset
from geosand.areas.pairing import Pairs, Regrouping, pair_surveys, regroupings, without_regrouped
from geosand.areas.register import AreaRegister, area_register
from geosand.areas.remarks import square_metres
from geosand.columns import Bools, Ints
from geosand.errors import Fault, Refused
from geosand.formats.other_survey import Survey
from geosand.reports.documents import Document, number
from geosand.site.tables import Surfaces

FAR_M = 1000.0  #: surveys whose paired edges lie farther apart are not of one place
LEAST_CHORDS_M2 = 0.5  #: less that bends may add or take is not worth a word


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """Two surveys, and all that was found out about what changed between them."""

    old: Surfaces
    old_areas: AreaRegister
    new: Surfaces
    new_areas: AreaRegister
    pairs: Pairs
    changes: Changes
    regrouped: tuple[Regrouping, ...]
    ground: GroundChanges  #: of the regroupings
    offset: Offset | None

    def in_regrouping(self) -> Bools:
        """Pairs of which a side was split or merged: the regrouping tells of their ground."""
        old = [row for one in self.regrouped for row in one.old]
        new = [row for one in self.regrouped for row in one.new]
        return np.isin(self.pairs.old, old) | np.isin(self.pairs.new, new)

    def alone(self) -> tuple[Ints, Ints]:
        """Rows of the old and of the new survey that have no partner."""
        new, old = self.pairs.new, self.pairs.old
        for one in self.regrouped:
            old, new = np.concatenate([old, one.old]), np.concatenate([new, one.new])
        return (
            np.setdiff1d(np.arange(len(self.old)), old),
            np.setdiff1d(np.arange(len(self.new)), new),
        )


def compared(old: Survey, new: Survey) -> Compared:
    """Compare the older survey with the newer one. Raises Refused where they are of two places."""
    old_areas, new_areas = area_register(old.surfaces), area_register(new.surfaces)
    pairs = pair_surveys(old.surfaces, new.surfaces)
    regrouped = regroupings(old_areas.owned, old.surfaces.kind, new_areas.owned, new.surfaces.kind)
    pairs = without_regrouped(pairs, regrouped)
    changes = compare_surveys(
        old.surfaces, old_areas, new.surfaces, new_areas, pairs, regrouped,
        datum_m=datum_between_m(old, new),
    )  # fmt: skip
    _one_place(old.label, pairs, regrouped, changes)
    return Compared(
        old=old.surfaces,
        old_areas=old_areas,
        new=new.surfaces,
        new_areas=new_areas,
        pairs=pairs,
        changes=changes,
        regrouped=regrouped,
        ground=compare_regrouped(old_areas, new_areas, regrouped, changes),
        offset=common_offset(
            old.surfaces.geometry[pairs.old], new.surfaces.geometry[pairs.new], new_areas.plane
        ),
    )


def datum_between_m(old: Survey, new: Survey) -> float:
    """u of how two surveys lie to each other: a shift that both went through is no difference."""
    if old.source_crs == new.source_crs:
        return 0.0
    known = [a for a in (old.datum_accuracy_m, new.datum_accuracy_m) if math.isfinite(a)]
    return math.hypot(*known)


def _one_place(
    label: str, pairs: Pairs, regrouped: tuple[Regrouping, ...], changes: Changes
) -> None:
    if not len(pairs.new) and not regrouped:
        found = "no surface of it has an id of this site, or lies where one does"
    elif len(pairs.new) and float(np.median(changes.edge_maximum_m)) > FAR_M:
        kilometres = float(np.median(changes.edge_maximum_m)) / 1000
        found = f"its surfaces lie about {kilometres:.0f} km from those of the same ids here"
    else:
        return
    remedy = "compare two surveys of one site; look for swapped coordinates"
    raise Refused(Fault(file=label, found=found, remedy=remedy))


def datum_gap_of(old: Survey, new: Survey, offset: Offset | None) -> Document | None:
    """What the datums of two surveys are known to differ by, where the way to WGS 84 leaves it."""
    from geosand.formats.boundaries.place.datum_gap import datum_gap, explains, gap_words
    from geosand.formats.boundaries.place.whereabouts import middle_of

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
