"""A site's boundaries beside an earlier survey of them, as a document."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

from geosand.areas.comparison import change_spread_m2
from geosand.areas.edge_shifts import Offset
from geosand.areas.register import AreaRegister
from geosand.columns import Bools, Ints
from geosand.errors import Finding
from geosand.formats.other_survey import Survey
from geosand.reports.compared import Compared, datum_gap_of, wide_chords
from geosand.reports.documents import Document, columns_of, findings_rows, number, rows_of
from geosand.site.tables import Surfaces

AGAINST_NOTE = (
    "The two surveys are taken to err independently; edges that both draw with the same vertices"
    " count as one measurement and add nothing to u."
)


def against_document(old: Survey, new: Survey, found: Compared) -> Document:
    """What changed from survey ``old`` to survey ``new``."""
    gone, added = found.alone()
    return {
        "old": old.label,
        "old_survey": survey_document(old),
        "new_survey": survey_document(new),
        "surfaces": pair_rows(found),
        "regrouped": _regrouped(found),
        "only_in_old": _alone(found.old, found.old_areas, gone),
        "only_in_new": _alone(found.new, found.new_areas, added),
        "totals": _totals(found),
        "offset": _offset(found.offset),
        "datum_gap": datum_gap_of(old, new, found.offset),
        "notes": [AGAINST_NOTE],
        "findings": findings_rows(_findings(found)),
    }


def survey_document(survey: Survey) -> Document:
    """Where a survey came from and from when it holds."""
    return {
        "label": survey.label,
        "valid_from": survey.day,
        "source": survey.source or None,
        "source_crs": survey.source_crs or None,
        "datum_accuracy_m": number(survey.datum_accuracy_m),
    }


def pair_rows(found: Compared) -> list[Document]:
    """What became of the surface of each pair."""
    changes, before, after = found.changes, found.pairs.old, found.pairs.new
    places = np.stack([changes.longitude_deg, changes.latitude_deg], axis=1).round(9).tolist()
    moved = (changes.edge_maximum_m > 0).tolist()
    return rows_of(
        {
            "id": found.new.id[after],
            "old_id": found.old.id[before],
            "name": found.new.name[after],
            "kind": found.new.kind[after],
            "old_area_m2": found.old_areas.area_m2[before],
            "new_area_m2": found.new_areas.area_m2[after],
            **columns_of(changes, "difference_m2", "u_difference_m2", "gained_m2", "lost_m2"),
            **columns_of(changes, "edge_mean_m", "edge_maximum_m"),
            "edge_maximum_at": [at if far else None for at, far in zip(places, moved, strict=True)],
            **columns_of(changes, "u_edge_m", "verdict"),
        }
    )


def _regrouped(found: Compared) -> list[Document]:
    groups, ground = found.regrouped, found.ground
    return rows_of(
        {
            "change": [one.change for one in groups],
            "kind": [str(found.new.kind[one.new[0]]) for one in groups],
            "old_ids": [found.old.id[one.old].tolist() for one in groups],
            "new_ids": [found.new.id[one.new].tolist() for one in groups],
            **columns_of(ground, "old_area_m2", "new_area_m2"),
            "difference_m2": ground.new_area_m2 - ground.old_area_m2,
            **columns_of(ground, "u_difference_m2", "gained_m2", "lost_m2", "verdict"),
        }
    )


def _alone(surfaces: Surfaces, areas: AreaRegister, rows: Ints) -> list[Document]:
    names = columns_of(surfaces, "id", "name", "kind", rows=rows)
    return rows_of(names | columns_of(areas, "area_m2", "u_area_m2", rows=rows))


def _totals(found: Compared) -> list[Document]:
    kinds = list(dict.fromkeys([*found.new.kind.tolist(), *found.old.kind.tolist()]))
    before, after = _members(found.old, kinds), _members(found.new, kinds)
    on_ground = before * found.old_areas.ground_factor, after * found.new_areas.ground_factor
    u = change_spread_m2(found.changes, *on_ground)
    sums = before @ found.old_areas.area_m2, after @ found.new_areas.area_m2
    return rows_of(
        {
            "kind": [*kinds, "all"],
            "old_surfaces": before.sum(axis=1),
            "new_surfaces": after.sum(axis=1),
            "old_area_m2": sums[0],
            "new_area_m2": sums[1],
            "difference_m2": sums[1] - sums[0],
            "u_difference_m2": u,
        }
    )


def _members(surfaces: Surfaces, kinds: list[str]) -> Bools:
    """Which surface is of which kind (kinds + 1, S); the last row is all."""
    return np.array([surfaces.kind == kind for kind in kinds] + [surfaces.kind != ""])


def _offset(offset: Offset | None) -> Document | None:
    if offset is None:
        return None
    return {
        **{f"{name}_m": number(getattr(offset, f"{name}_m")) for name in ("east", "north", "u")},
        "surfaces": offset.surfaces,
    }


def _findings(found: Compared) -> list[Finding]:
    said: list[tuple[str, str]] = []
    old, new, pairs = found.old, found.new, found.pairs
    for before, after, overlap in zip(pairs.old, pairs.new, pairs.by_overlap, strict=True):
        name = str(new.id[after])
        if overlap:
            said.append((name, f"was called {old.id[before]}: paired by the ground they share"))
        if old.kind[before] != new.kind[after]:
            said.append((name, f"was of kind {old.kind[before]}, is now {new.kind[after]}"))
        factors = found.new_areas.ground_factor[after] / found.old_areas.ground_factor[before] - 1
        if abs(factors) > 1e-6:
            cost = f"{factors * found.old_areas.area_m2[before]:+.2f}".replace("-", "−")
            said.append((name, f"{cost} m² of it is another height or slope, not boundary"))
    said += wide_chords(found)
    return [Finding(about=about, topic="area", text=text) for about, text in said]


def change_features(old: Survey, new: Survey, found: Compared) -> list[dict[str, Any]]:
    """GeoJSON-like mappings of ground gained and lost between two surveys, with their days.

    A regrouping is one piece of ground: what only changed its name is neither gained nor lost. Of
    surfaces that only one survey has it is all their ground.
    """
    changes, ground = found.changes, found.ground
    rows: list[tuple[str, str, str, float, Any]] = []
    for k in np.flatnonzero(~found.in_regrouping()).tolist():
        after = found.pairs.new[k]
        name, kind = str(found.new.id[after]), str(found.new.kind[after])
        rows.append((name, kind, "gained", float(changes.gained_m2[k]), changes.gained[k]))
        rows.append((name, kind, "lost", float(changes.lost_m2[k]), changes.lost[k]))
    for k, one in enumerate(found.regrouped):
        name, kind = ", ".join(found.new.id[one.new]), str(found.new.kind[one.new[0]])
        rows.append((name, kind, "gained", float(ground.gained_m2[k]), ground.gained[k]))
        rows.append((name, kind, "lost", float(ground.lost_m2[k]), ground.lost[k]))
    gone, added = found.alone()
    for surfaces, areas, alone, change in (
        (found.new, found.new_areas, added, "gained"),
        (found.old, found.old_areas, gone, "lost"),
    ):
        for row in alone:
            name, kind = str(surfaces.id[row]), str(surfaces.kind[row])
            rows.append((name, kind, change, float(areas.area_m2[row]), areas.owned[row]))
    surveys = {
        name: f"{survey.label} ({survey.day or 'not dated'})"
        for name, survey in (("old_survey", old), ("new_survey", new))
    }
    return [
        {
            "properties": {
                "surface": name,
                "kind": kind,
                "change": change,
                "area_m2": number(area),
                **surveys,
            },
            "geometry": shape,
        }
        for name, kind, change, area, shape in rows
        if area >= 1e-3 and not shapely.is_empty(shape)  # less is numerical dust
    ]
