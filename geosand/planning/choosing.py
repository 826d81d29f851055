"""Which surfaces, which sand and which spreader a plan is for."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from geosand.areas.ownership import precedence_ranks
from geosand.columns import Ints
from geosand.season.ledger import Ledger
from geosand.site.tables import HAZARDS, Site


def chosen_surfaces(site: Site, ledger: Ledger, words: Sequence[str]) -> Ints:
    """Rows of ``Surfaces`` in force that ``words`` (ids or kinds) name, in the order named.

    Without words: all surfaces of the ledger (dressed this season, or with a target), in the order
    of the boundary file. Raises ValueError naming the words that are neither, and hazards.
    """
    rows = site.in_force()
    if not words:
        kept = ledger.row[~np.isin(site.surfaces.kind[ledger.row], HAZARDS)]
        return np.sort(kept).astype(np.int64)
    ids, kinds = site.surfaces.id[rows], site.surfaces.kind[rows]
    known = set(ids.tolist()) | set(kinds.tolist())
    strange = [word for word in words if word not in known]
    if strange:
        allowed = ", ".join(dict.fromkeys(kinds.tolist()))
        raise ValueError(
            f"{', '.join(map(repr, strange))}: no surface's id and no kind of this site; allowed"
            f" are ids and the kinds {allowed}"
        )
    found = dict.fromkeys(
        int(row) for word in words for row in rows[(ids == word) | (kinds == word)].tolist()
    )
    chosen = np.array(list(found), dtype=np.int64)
    hazards = site.surfaces.id[chosen[np.isin(site.surfaces.kind[chosen], HAZARDS)]].tolist()
    if hazards:
        raise ValueError(f"{', '.join(hazards[:8])}: no turf ({', '.join(HAZARDS)}): name turf")
    return chosen


def in_order_of_need(site: Site, ledger: Ledger, row: Ints) -> Ints:
    """Rows of ``Surfaces`` with greens first, then by the order of ownership of their kinds.

    Within a kind the one that is farthest behind its target so far comes first, and what was not
    measured or has no target last; equals stay in their order.
    """
    short = np.full(len(site.ids), np.nan)
    short[site.surfaces.ground[ledger.row]] = ledger.shortfall_m
    need = np.nan_to_num(short[site.surfaces.ground[row]], nan=-np.inf)
    order = np.argsort(-need, kind="stable")
    kinds = site.surfaces.kind[row][order]
    return row[order][np.argsort(precedence_ranks(kinds, np.zeros(len(row))), kind="stable")]


def chosen_sand(site: Site, ledger: Ledger, name: str | None) -> tuple[int, str]:
    """Row of ``Sands`` and a sentence where the choice was not the person's own.

    Without a name: the only sand, else that of the last dressing. Raises ValueError.
    """
    names = site.sands.name.tolist()
    if name is not None:
        if name not in names:
            raise ValueError(f"{name!r} is no sand of this site; allowed: {', '.join(names)}")
        return names.index(name), ""
    if len(names) == 1:
        return 0, ""
    last = _last(site, ledger)
    if last < 0:
        raise ValueError(f"no dressing tells which sand is meant; choose of: {', '.join(names)}")
    sand = int(site.dressings.sand[last])
    return sand, f"the sand is that of the last dressing, {site.dressings.id[last]}: {names[sand]}"


def chosen_spreader(site: Site, ledger: Ledger, name: str | None) -> tuple[str, str]:
    """A spreader's name ("" where none was ever named) and a sentence as above."""
    names = [n for n in dict.fromkeys(site.dressings.spreader.tolist()) if n]
    if name is not None:
        if name not in names:
            allowed = ", ".join(names) or "none: dressings.csv has no spreader"
            raise ValueError(f"{name!r} has no dressing on record; allowed: {allowed}")
        return name, ""
    last = _last(site, ledger)
    found = str(site.dressings.spreader[last]) if last >= 0 else ""
    if len(names) < 2:
        return found, ""
    return found, f"the spreader is that of the last dressing: {found or 'not named'}"


def _last(site: Site, ledger: Ledger) -> int:
    """Row of the newest dressing up to the ledger's day; -1 where there is none."""
    rows = np.flatnonzero(site.dressings.date <= ledger.as_of)
    return int(rows[-1]) if len(rows) else -1
