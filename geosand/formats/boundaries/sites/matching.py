"""Which surface of a new survey is which of the old one: by id, else by common ground."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from geosand.columns import Bools, Floats, Geometries, Ints
from geosand.errors import Finding
from geosand.formats.boundaries.sites.surfaces_file import SurfaceRow
from geosand.formats.boundaries.tables import Outlines

LEAST_OVERLAP = 0.5  #: of intersection over union, above which two outlines are one surface
WHOLE = 0.8  #: below it a match by ground is worth a look of its own


@dataclass(frozen=True, slots=True, kw_only=True)
class Matches:
    """For each new outline its lasting id and the row of the old surface that it continues."""

    ids: tuple[str, ...]
    old: tuple[int, ...]  #: -1 = a new surface
    by_id: tuple[str, ...]
    by_overlap: tuple[str, ...]
    new: tuple[str, ...]
    gone: tuple[str, ...]  #: ids of the old survey without a successor
    doubts: tuple[tuple[int, str], ...]  #: new rows matched by id on other ground, and words on it
    findings: tuple[Finding, ...]


def overlaps(new: Geometries, old: Geometries) -> tuple[Ints, Ints, Floats]:
    """Rows of new and old outlines that share ground, and intersection over union of each pair.

    In lon/lat degrees: both areas of a ratio shrink alike.
    """
    new, old = shapely.make_valid(new), shapely.make_valid(old)
    rows, others = shapely.STRtree(old).query(new, "intersects")
    common = shapely.area(shapely.intersection(new[rows], old[others]))
    whole = shapely.area(new)[rows] + shapely.area(old)[others] - common
    return rows, others, np.divide(common, whole, out=np.zeros(len(rows)), where=whole > 0)


def match(outlines: Outlines, old: Sequence[SurfaceRow], *, partial: bool = False) -> Matches:
    """Match by the id (or the name) that the file states; the rest by most common ground.

    A made-up number says nothing: such a surface is matched by ground alone, and gets a number
    that no old surface has where none fits. Of surfaces of one name the number behind it says only
    their order in the file: they are matched by ground first, with old ones of that name and kind.
    Of a ``partial`` survey nothing is gone for being left out: it is not told.
    """
    findings: list[Finding] = []
    names = [str(row.properties.get("id", "")) for row in old]
    row_of = {name: k for k, name in enumerate(names)}
    shapes = np.array([row.geometry for row in old], dtype=object)
    rows, others, share = overlaps(outlines.geometry, shapes) if len(old) else _nothing()
    stating = zip(outlines.id.tolist(), outlines.id_from.tolist(), strict=True)
    said_rows = [-1 if source == "number" else row_of.get(made, -1) for made, source in stating]
    said = np.array(said_rows, dtype=np.int64)
    chosen = _chosen(outlines, old, said, (rows, others, share))
    stated = (chosen >= 0) & (chosen == said)
    best = {(int(r), int(o)): float(s) for r, o, s in zip(rows, others, share, strict=True)}
    ids = _ids(outlines, chosen, names)
    doubts: list[tuple[int, str]] = []
    for k in np.flatnonzero(chosen >= 0).tolist():
        findings += _told(k, chosen, best, outlines, old, ids, bool(stated[k]))
        if stated[k] and (
            text := _on_other_ground(k, int(chosen[k]), best, old, outlines.geometry[k])
        ):
            doubts.append((k, text))
    gone = [name for k, name in enumerate(names) if k not in set(chosen.tolist())]
    findings += [
        Finding(about=name, text="is not in the new survey any more", topic="area")
        for name in gone
        if not partial
    ]
    return Matches(
        ids=tuple(ids),
        old=tuple(chosen.tolist()),
        by_id=tuple(ids[k] for k in np.flatnonzero(stated)),
        by_overlap=tuple(ids[k] for k in np.flatnonzero((chosen >= 0) & ~stated)),
        new=tuple(ids[k] for k in np.flatnonzero(chosen < 0)),
        gone=tuple(gone),
        doubts=tuple(doubts),
        findings=tuple(findings),
    )


def _chosen(
    outlines: Outlines, old: Sequence[SurfaceRow], said: Ints, pairs: tuple[Ints, Ints, Floats]
) -> Ints:
    """The old row that each new one (n,) continues, -1 for none, by what the file ``said``."""
    rows, others, share = pairs
    chosen = np.where(_namesakes(outlines), -1, said)
    called = dict(zip(said.tolist(), outlines.name.tolist(), strict=True))
    kinds = np.array([str(row.properties.get("kind", "")) for row in old], dtype=np.str_)
    alike = outlines.name[rows] == np.array([called.get(o, "") for o in others.tolist()], np.str_)
    alike &= outlines.kind[rows] == kinds[others]  # a collar may lie where its green was
    _by_ground(chosen, rows, others, share * alike)
    free = np.flatnonzero((chosen < 0) & (said >= 0) & ~np.isin(said, chosen))
    chosen[free] = said[free]
    _by_ground(chosen, rows, others, share)
    return chosen


def _by_ground(chosen: Ints, rows: Ints, others: Ints, share: Floats) -> None:
    """Fill in which old row each new one (n,) continues, by the pairs that share most ground."""
    for pair in np.argsort(-share, kind="stable").tolist():
        new, before = int(rows[pair]), int(others[pair])
        if share[pair] > LEAST_OVERLAP and chosen[new] < 0 and before not in set(chosen.tolist()):
            chosen[new] = before


def _namesakes(outlines: Outlines) -> Bools:
    """Which outlines (n,) have their id from a name that others of the file have too."""
    _, same, often = np.unique(outlines.name, return_inverse=True, return_counts=True)
    shared: Bools = (often[same] > 1) & (outlines.id_from == "name")
    return shared


def _nothing() -> tuple[Ints, Ints, Floats]:
    none = np.zeros(0, dtype=np.int64)
    return none, none, np.zeros(0)


def _ids(outlines: Outlines, chosen: Ints, names: list[str]) -> list[str]:
    """Old ids for matched outlines; for the others their own, or the next that is free."""
    ids = [names[before] if before >= 0 else "" for before in chosen.tolist()]
    taken = {name.lower() for name in (*names, *ids) if name}
    for k, made in enumerate(ids):
        if made:
            continue
        own = str(outlines.id[k])
        base = own.rpartition("-")[0] if outlines.id_from[k] == "number" else own
        number = 1
        while own.lower() in taken:
            number += 1
            own = f"{base}-{number}"
        taken.add(own.lower())
        ids[k] = own
    return ids


def _told(
    k: int,
    chosen: Ints,
    best: dict[tuple[int, int], float],
    outlines: Outlines,
    old: Sequence[SurfaceRow],
    ids: list[str],
    stated: bool,
) -> list[Finding]:
    """What a reader should look at in one match."""
    before = int(chosen[k])
    texts = []
    if not stated:
        own = str(outlines.id[k])
        named = f" (it is {own} in the file)" if own != ids[k] else ""
        share = best.get((k, before), 0.0)
        only = "only " if share < WHOLE else ""
        texts.append(f"matched by ground, {only}{100 * share:.0f} % in common{named}")
    was, now = old[before].properties.get("kind"), str(outlines.kind[k])
    if was and was != now:
        kept = "the old kind is kept" if now == "other" else "the new kind holds from now on"
        texts.append(f"was {was} and is {now} in the new survey: {kept}")
    return [Finding(about=ids[k], text=text, topic="area") for text in texts]


def _on_other_ground(
    k: int,
    before: int,
    best: dict[tuple[int, int], float],
    old: Sequence[SurfaceRow],
    shape: Any,
) -> str:
    """Words on a surface with the id of an old one that lies elsewhere; "" where it does not."""
    share = best.get((k, before), 0.0)
    if share > LEAST_OVERLAP or _filled_share(shape, old[before].geometry) > LEAST_OVERLAP:
        return ""
    rivals = ((s, o) for (r, o), s in best.items() if r == k and o != before)
    nearest, other = max(rivals, default=(0.0, -1))
    text = (
        f"has the id of a surface of the site, but {100 * share:.0f} % of the ground is common to"
        " both"
    )
    if nearest > LEAST_OVERLAP:
        text += f"; it lies where {old[other].properties.get('id')} was, as if ids were exchanged"
    return text


def _filled_share(new: Any, old: Any) -> float:
    """Intersection over union with holes filled: a collar may be a ring now and a disc before."""
    first, second = (
        shapely.union_all(shapely.polygons(shapely.get_exterior_ring(shapely.get_parts(shape))))
        for shape in (new, old)
    )
    if not (shapely.is_valid(first) and shapely.is_valid(second)):
        return 0.0
    common = shapely.area(shapely.intersection(first, second))
    whole = shapely.area(shapely.union(first, second))
    return float(common / whole) if whole > 0 else 0.0
