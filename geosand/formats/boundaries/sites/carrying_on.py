"""What of a site's survey goes on under a new one: ids, cells, surfaces that it does not name."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import shapely

from geosand.areas.edge_shifts import FEWEST, Offset, common_offset
from geosand.areas.meeting import nothing_owned, pair_remarks
from geosand.areas.plane import Plane
from geosand.errors import Fault, Finding, listed
from geosand.formats.boundaries.place.antimeridian import on_one_side
from geosand.formats.boundaries.place.datum_gap import apart_words, datum_gap, explains, gap_words
from geosand.formats.boundaries.place.whereabouts import middle_of
from geosand.formats.boundaries.sites.matching import Matches
from geosand.formats.boundaries.sites.surfaces_file import ACCURACIES, SurfaceRow
from geosand.formats.boundaries.tables import Boundaries
from geosand.site.read_settings import SiteText

#: What a matched surface keeps from before where the new survey says nothing of it.
KEPT = ("around", "target_mm", "slope_percent", "elevation_m")


def decisions(
    matches: Matches, boundaries: Boundaries, old: list[SurfaceRow], partial: bool
) -> list[Fault]:
    """What would change in the site without the file saying it in so many words."""
    places = boundaries.features.place
    faults = [
        Fault(
            file=boundaries.file,
            row=str(places[row]),
            found=f"{matches.ids[row]}: {text}",
            remedy="check the ids in the file, or --accept keeps to them",
        )
        for row, text in matches.doubts
    ]
    if matches.gone and not partial:
        count, names = len(matches.gone), listed(matches.gone, 8)
        are = "is" if count == 1 else "are"
        goes = "it goes on as it is" if count == 1 else "they go on as they are"
        ends = "it ends" if count == 1 else "they end"
        found = f"{count} of the site's {len(old)} surfaces {are} not in it: {names}"
        remedy = f"with --partial {goes}, with --accept {ends} when this survey begins"
        if open_lines := _drawn_in_vain(boundaries):
            found += f"; {open_lines} of the file became no surface"
            remedy = f"close or mend what is meant to be one; {remedy}"
        faults.append(Fault(file=boundaries.file, found=found, remedy=remedy))
    return faults


def _drawn_in_vain(boundaries: Boundaries) -> str:
    """Places of lines of a kind with an area, and of areas that are none: some may be there."""
    places = [
        item.place
        for item in boundaries.tally.left_out
        if not item.partly and (item.lost or item.meant)
    ]
    return listed(places, 4)


def moved_alike(
    matches: Matches, boundaries: Boundaries, old: list[SurfaceRow], old_crs: str
) -> list[Finding]:
    """Words on surfaces that all lie as far off in the new survey: ground does not move so.

    ``old_crs`` is the CRS that the survey in force came in, "" for lon/lat.
    """
    pairs = [(row, before) for row, before in enumerate(matches.old) if before >= 0]
    if not pairs:
        return []
    there = np.array([old[before].geometry for _, before in pairs], dtype=object)
    here = boundaries.features.geometry[[row for row, _ in pairs]]
    both = on_one_side(np.concatenate([there, here]))
    there, here = both[: len(pairs)], both[len(pairs) :]
    offset = common_offset(there, here, Plane.around(there))
    gap = datum_gap(old_crs, boundaries.source_crs, *middle_of(list(there)))
    texts = [gap_words(gap)] if gap is not None else []
    if offset is not None and not (gap is not None and explains(gap, offset)):
        texts.append(_offset_words(offset))
    return [Finding(about=boundaries.file, text=text, topic="area") for text in texts]


def _offset_words(offset: Offset) -> str:
    far = apart_words(offset.east_m, offset.north_m)
    if offset.surfaces >= FEWEST:
        return (
            f"its surfaces lie {far} of the same ones in the survey in force (median of"
            f" {offset.surfaces}): more likely another zone, datum or epoch than edges that moved."
            " Check a point that did not move; areas do not change by it"
        )
    who = "its surface lies" if offset.surfaces == 1 else "its surfaces lie"
    same = "the same one" if offset.surfaces == 1 else "the same ones"
    return (
        f"{who} {far} of {same} in the survey in force, in the same shape: moved as a whole, or"
        " another zone, datum or epoch. Check a point that did not move; areas do not change by it"
    )


def unchanged(
    old: list[SurfaceRow],
    matches: Matches,
    in_force: Mapping[str, float],
    said: Mapping[str, float],
    settings: SiteText,
) -> list[SurfaceRow]:
    """Surfaces that the file does not name, with their own accuracies where these differ."""
    out = []
    continued = set(matches.old)
    for k, row in enumerate(old):
        if k in continued:
            continue
        cells = {key: v for key, v in row.properties.items() if key != "valid_from"}
        for key in ACCURACIES:
            if in_force[key] != said.get(key, getattr(settings, key)):
                cells.setdefault(key, in_force[key])
        out.append(replace(row, properties=cells))
    return out


def met(rows: list[SurfaceRow], new: int, boundaries: Boundaries) -> list[Fault]:
    """Ground that a new and a carried-on surface both have whole."""
    shapes = on_one_side(np.array([row.geometry for row in rows], dtype=object))
    kinds, ids = (
        np.array([str(row.properties.get(name, "")) for row in rows], dtype=np.str_)
        for name in ("kind", "id")
    )
    factor = np.ones(len(rows))
    sound = np.flatnonzero(shapely.is_valid(shapes))
    pairs = pair_remarks(shapes, kinds, ids, sound, factor)
    remarks = [r for r in pairs if r.severity == "fault" and (r.row < new) != (r.other < new)]
    told = {r.row for r in remarks}
    covered = nothing_owned(shapes, kinds, factor)
    remarks += [r for r in covered if r.row >= new and r.row not in told]
    return [
        Fault(
            file=boundaries.file,
            row=str(boundaries.features.place[r.other]) if 0 <= r.other < new else None,
            found=f"{ids[r.row]}, which goes on as it is: {r.text}",
            remedy="give the surface in the file the id that it has in the site, or --accept",
        )
        for r in remarks
    ]


def carried(
    rows: list[SurfaceRow], matches: Matches, old: list[SurfaceRow]
) -> tuple[list[SurfaceRow], list[Finding]]:
    """Rows under the ids they keep, with what was said of the surface before; what is dropped."""
    renamed = {str(row.properties["id"]): made for row, made in zip(rows, matches.ids, strict=True)}
    ended = set(matches.gone)
    out, findings = [], []
    for row, made, before in zip(rows, matches.ids, matches.old, strict=True):
        cells = {**row.properties, "id": made}
        if "around" in cells:
            cells["around"] = renamed.get(str(cells["around"]), cells["around"])
        if before >= 0:
            earlier = old[before].properties
            cells = {**{k: earlier[k] for k in KEPT if earlier.get(k) is not None}, **cells}
            if cells["kind"] == "other" and earlier.get("kind"):
                cells["kind"] = earlier["kind"]
        if cells.get("around") in ended and "around" not in row.properties:
            text = f"it was around {cells['around']}, which is not in the new survey"
            findings.append(Finding(about=made, text=text, topic="area"))
        order = ("id", "name", "kind", *KEPT)
        out.append(replace(row, properties={k: cells[k] for k in order if k in cells}))
    return out, findings
