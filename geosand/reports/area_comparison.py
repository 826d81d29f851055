"""A site's areas beside an earlier survey and beside a list of claimed areas, as documents."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

from geosand.areas.claimed import check_claims
from geosand.areas.comparison import (
    Changes,
    Pairs,
    change_spread_m2,
    compare_surveys,
    pair_surveys,
)
from geosand.areas.register import AreaRegister, area_register
from geosand.columns import Bools, Floats, Ints
from geosand.errors import Fault, Refused
from geosand.formats.claimed_areas import ClaimedAreas, folded
from geosand.reports.documents import Document, number
from geosand.site.cells import quoted
from geosand.site.tables import Site, Surfaces

FAR_M = 1000.0  #: surveys whose paired edges lie farther apart are not of one place
AGAINST_NOTE = (
    "The two surveys are taken to err independently; edges that both draw with the same vertices"
    " count as one measurement and add nothing to u."
)


def against_document(
    label: str, old: Surfaces, new: Surfaces
) -> tuple[Document, list[dict[str, Any]]]:
    """What changed from survey ``old`` to ``new`` (one edition each), and features of the ground.

    The features are GeoJSON-like mappings of gained and lost ground with shapely geometries.
    Raises Refused where the two are not of one place.
    """
    old_areas, new_areas = area_register(old), area_register(new)
    pairs = pair_surveys(old, new)
    changes = compare_surveys(old, old_areas, new, new_areas, pairs)
    _one_place(label, pairs, changes)
    rows = [_pair(k, pairs, changes, old, old_areas, new, new_areas) for k in range(len(pairs.new))]
    document: Document = {
        "old": label,
        "surfaces": rows,
        "only_in_old": _alone(old, old_areas, pairs.old),
        "only_in_new": _alone(new, new_areas, pairs.new),
        "totals": _totals(changes, old, old_areas, new, new_areas),
        "notes": [AGAINST_NOTE],
        "findings": _findings(pairs, old, old_areas, new, new_areas),
    }
    return document, _features(pairs, changes, old, new)


def _one_place(label: str, pairs: Pairs, changes: Changes) -> None:
    if not len(pairs.new):
        found = "no surface of it has an id of this site, or lies where one does"
    elif float(np.median(changes.edge_maximum_m)) > FAR_M:
        kilometres = float(np.median(changes.edge_maximum_m)) / 1000
        found = f"its surfaces lie about {kilometres:.0f} km from those of the same ids here"
    else:
        return
    remedy = "compare two surveys of one site; look for swapped coordinates"
    raise Refused(Fault(file=label, found=found, remedy=remedy))


def _pair(
    k: int,
    pairs: Pairs,
    changes: Changes,
    old: Surfaces,
    old_areas: AreaRegister,
    new: Surfaces,
    new_areas: AreaRegister,
) -> Document:
    before, after = pairs.old[k], pairs.new[k]
    place = [float(changes.longitude_deg[k].round(9)), float(changes.latitude_deg[k].round(9))]
    return {
        "id": str(new.id[after]),
        "old_id": str(old.id[before]),
        "name": str(new.name[after]),
        "kind": str(new.kind[after]),
        "old_area_m2": number(old_areas.area_m2[before]),
        "new_area_m2": number(new_areas.area_m2[after]),
        "difference_m2": number(changes.difference_m2[k]),
        "u_difference_m2": number(changes.u_difference_m2[k]),
        "gained_m2": number(changes.gained_m2[k]),
        "lost_m2": number(changes.lost_m2[k]),
        "edge_mean_m": number(changes.edge_mean_m[k]),
        "edge_maximum_m": number(changes.edge_maximum_m[k]),
        "edge_maximum_at": place if changes.edge_maximum_m[k] > 0 else None,
        "u_edge_m": number(changes.u_edge_m[k]),
        "verdict": str(changes.verdict[k]),
    }


def _alone(surfaces: Surfaces, areas: AreaRegister, paired: Ints) -> list[Document]:
    rows = np.setdiff1d(np.arange(len(surfaces)), paired)
    return [
        {
            "id": str(surfaces.id[row]),
            "name": str(surfaces.name[row]),
            "kind": str(surfaces.kind[row]),
            "area_m2": number(areas.area_m2[row]),
            "u_area_m2": number(areas.u_area_m2[row]),
        }
        for row in rows
    ]


def _totals(
    changes: Changes,
    old: Surfaces,
    old_areas: AreaRegister,
    new: Surfaces,
    new_areas: AreaRegister,
) -> list[Document]:
    kinds = list(dict.fromkeys([*new.kind.tolist(), *old.kind.tolist()]))
    before, after = _members(old, kinds), _members(new, kinds)
    u = change_spread_m2(changes, before.astype(np.float64), after.astype(np.float64))
    sums = before @ old_areas.area_m2, after @ new_areas.area_m2
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


def _findings(
    pairs: Pairs,
    old: Surfaces,
    old_areas: AreaRegister,
    new: Surfaces,
    new_areas: AreaRegister,
) -> list[Document]:
    found: list[tuple[str, str]] = []
    for before, after, overlap in zip(pairs.old, pairs.new, pairs.by_overlap, strict=True):
        name = str(new.id[after])
        if overlap:
            found.append((name, f"was called {old.id[before]}: paired by the ground they share"))
        if old.kind[before] != new.kind[after]:
            found.append((name, f"was of kind {old.kind[before]}, is now {new.kind[after]}"))
        factors = new_areas.ground_factor[after] / old_areas.ground_factor[before] - 1
        if abs(factors) > 1e-6:
            cost = factors * old_areas.area_m2[before]
            found.append((name, f"{cost:+.2f} m² of it is another height or slope, not boundary"))
    return [{"about": about, "topic": "area", "text": text} for about, text in found]


def _features(pairs: Pairs, changes: Changes, old: Surfaces, new: Surfaces) -> list[dict[str, Any]]:
    """Gained and lost ground, of surfaces that only one survey has all of it."""
    rows: list[dict[str, Any]] = []

    def add(name: str, kind: str, change: str, area_m2: float, geometry: Any) -> None:
        if area_m2 >= 1e-3:  # less is numerical dust
            properties = {
                "surface": name,
                "kind": kind,
                "change": change,
                "area_m2": number(area_m2),
            }
            rows.append({"properties": properties, "geometry": geometry})

    for k, row in enumerate(pairs.new):
        name, kind = str(new.id[row]), str(new.kind[row])
        add(name, kind, "gained", float(changes.gained_m2[k]), changes.gained[k])
        add(name, kind, "lost", float(changes.lost_m2[k]), changes.lost[k])
    for surfaces, paired, change in ((new, pairs.new, "gained"), (old, pairs.old, "lost")):
        areas = area_register(surfaces)
        for row in np.setdiff1d(np.arange(len(surfaces)), paired):
            name, kind = str(surfaces.id[row]), str(surfaces.kind[row])
            add(name, kind, change, float(areas.area_m2[row]), areas.owned[row])
    return [row for row in rows if not shapely.is_empty(row["geometry"])]


def claimed_document(
    claims: ClaimedAreas, site: Site, document: Document, file: str, tolerance: float | None
) -> Document:
    """Claims held against the register ``document``; a kind's name stands for all surfaces of it.

    The tolerance is that of the row, else ``tolerance`` (a share), else the site's. Raises Refused
    for claims that could mean several surfaces, or that name one surface twice.
    """
    places = _places(claims, document, file)
    targets = [*document["surfaces"], *document["totals"]]
    matched = np.array([place is not None for place in places], dtype=np.bool_)
    rows = [targets[place] for place in places if place is not None]
    default = site.settings.tolerance if tolerance is None else tolerance
    allowed = np.where(np.isfinite(claims.tolerance), claims.tolerance, default)[matched]
    others = {
        "area as drawn, before what lies on top is cut out": _column(rows, "drawn_area_m2"),
        "grid area of a plan": _column(rows, "grid_area_m2"),
    }
    checks = check_claims(
        claims.area_m2[matched],
        allowed,
        _column(rows, "area_m2"),
        _column(rows, "u_area_m2"),
        others,
    )
    told = [
        {
            "claim": str(claims.label[matched][k]),
            "id": row.get("id"),
            "kind": row["kind"],
            "claimed_m2": number(claims.area_m2[matched][k]),
            "area_m2": row["area_m2"],
            "u_area_m2": row["u_area_m2"],
            "difference_m2": number(checks.difference_m2[k]),
            "difference_percent": number(checks.difference[k], 100),
            "sigmas": number(checks.sigmas[k]),
            "tolerance_percent": number(checks.tolerance[k], 100),
            "verdict": str(checks.verdict[k]),
            "hint": str(checks.hint[k]) or None,
        }
        for k, row in enumerate(rows)
    ]
    kinds = {row["kind"] for row in rows if row.get("id") is None}
    named = {row.get("id") for row in rows}
    missing = [r["id"] for r in document["surfaces"] if not {r["id"], r["kind"]} & (named | kinds)]
    return {
        "file": file,
        "surfaces": told,
        "unmatched_claims": [str(label) for label in claims.label[~matched]],
        "unmatched_surfaces": [] if "all" in kinds else missing,
    }


def _column(rows: list[Document], name: str) -> Floats:
    values = [row.get(name) for row in rows]
    return np.array([np.nan if v is None else v for v in values], dtype=np.float64)


def _places(claims: ClaimedAreas, document: Document, file: str) -> list[int | None]:
    """For each claim its row among surfaces and totals: by id, by kind, by name; None = unknown."""
    surfaces = document["surfaces"]
    exact = {row["id"]: k for k, row in enumerate(surfaces)}
    kinds = {row["kind"]: len(surfaces) + k for k, row in enumerate(document["totals"])}
    names: dict[str, list[int]] = {}
    for k, row in enumerate(surfaces):
        for key in {folded(row["name"]), folded(row["id"])}:
            names.setdefault(key, []).append(k)
    places: list[int | None] = []
    faults: list[Fault] = []
    taken: dict[int, str] = {}
    for row, label in zip(claims.row.tolist(), claims.label.tolist(), strict=True):
        found = [exact[label]] if label in exact else names.get(folded(label), [])
        if not found and folded(label) in kinds:
            found = [kinds[folded(label)]]
        if len(found) > 1:
            several = ", ".join(surfaces[k]["id"] for k in found)
            text = f"{quoted(label)} is the name of {several}"
            faults.append(Fault(file=file, row=row, found=text, remedy="give the id instead"))
        place = found[0] if len(found) == 1 else None
        if place is not None and place in taken:
            text = f"{quoted(label)} and {quoted(taken[place])} are the same surface"
            faults.append(Fault(file=file, row=row, found=text, remedy="keep one of the two"))
        if place is not None:
            taken.setdefault(place, label)
        places.append(place)
    if faults:
        raise Refused(faults)
    return places
