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
from geosand.reports.documents import Document, figures_of, findings_rows, number
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
        "surfaces": [pair_document(found, k) for k in range(len(found.pairs.new))],
        "regrouped": [_regrouped(found, k) for k in range(len(found.regrouped))],
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


def pair_document(found: Compared, k: int) -> Document:
    """What became of the surface of pair ``k``."""
    changes, before, after = found.changes, found.pairs.old[k], found.pairs.new[k]
    place = [float(changes.longitude_deg[k].round(9)), float(changes.latitude_deg[k].round(9))]
    return {
        "id": str(found.new.id[after]),
        "old_id": str(found.old.id[before]),
        "name": str(found.new.name[after]),
        "kind": str(found.new.kind[after]),
        "old_area_m2": number(found.old_areas.area_m2[before]),
        "new_area_m2": number(found.new_areas.area_m2[after]),
        **figures_of(changes, k, "difference_m2", "u_difference_m2", "gained_m2", "lost_m2"),
        **figures_of(changes, k, "edge_mean_m", "edge_maximum_m"),
        "edge_maximum_at": place if changes.edge_maximum_m[k] > 0 else None,
        "u_edge_m": number(changes.u_edge_m[k]),
        "verdict": str(changes.verdict[k]),
    }


def _regrouped(found: Compared, k: int) -> Document:
    one, ground = found.regrouped[k], found.ground
    return {
        "change": one.change,
        "kind": str(found.new.kind[one.new[0]]),
        "old_ids": found.old.id[one.old].tolist(),
        "new_ids": found.new.id[one.new].tolist(),
        **figures_of(ground, k, "old_area_m2", "new_area_m2"),
        "difference_m2": number(ground.new_area_m2[k] - ground.old_area_m2[k]),
        **figures_of(ground, k, "u_difference_m2", "gained_m2", "lost_m2"),
        "verdict": str(ground.verdict[k]),
    }


def _alone(surfaces: Surfaces, areas: AreaRegister, rows: Ints) -> list[Document]:
    return [
        {
            "id": str(surfaces.id[row]),
            "name": str(surfaces.name[row]),
            "kind": str(surfaces.kind[row]),
            **figures_of(areas, row, "area_m2", "u_area_m2"),
        }
        for row in rows
    ]


def _totals(found: Compared) -> list[Document]:
    kinds = list(dict.fromkeys([*found.new.kind.tolist(), *found.old.kind.tolist()]))
    before, after = _members(found.old, kinds), _members(found.new, kinds)
    on_ground = before * found.old_areas.ground_factor, after * found.new_areas.ground_factor
    u = change_spread_m2(found.changes, *on_ground)
    sums = before @ found.old_areas.area_m2, after @ found.new_areas.area_m2
    return [
        {
            "kind": kind,
            "old_surfaces": int(before[k].sum()),
            "new_surfaces": int(after[k].sum()),
            "old_area_m2": number(sums[0][k]),
            "new_area_m2": number(sums[1][k]),
            "difference_m2": number(sums[1][k] - sums[0][k]),
            "u_difference_m2": number(u[k]),
        }
        for k, kind in enumerate([*kinds, "all"])
    ]


def _members(surfaces: Surfaces, kinds: list[str]) -> Bools:
    """Which surface is of which kind (kinds + 1, S); the last row is all."""
    members: Bools = np.array([surfaces.kind == kind for kind in kinds] + [surfaces.kind != ""])
    return members


def _offset(offset: Offset | None) -> Document | None:
    if offset is None:
        return None
    return {
        "east_m": number(offset.east_m),
        "north_m": number(offset.north_m),
        "u_m": number(offset.u_m),
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
