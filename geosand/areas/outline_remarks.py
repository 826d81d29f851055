"""What is odd in one outline by itself: crossings, repeats, spikes, slivers, size, decimals."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

from geosand.areas.bends import sides_m
from geosand.areas.crossings import figures_m2, figures_text, without_collapsed
from geosand.areas.ellipsoid import (
    ellipsoid_areas_m2,
    perimeters_m,
    rounding_spread_m2,
)
from geosand.areas.remarks import Remark, at, square_metres
from geosand.areas.rings import Rings
from geosand.columns import Bools, Floats, Geometries, Ints, Strings

#: Usual sizes in m² by kind (common practice, no published source; the largest pitch is a polo
#: field of 300 by 200 yards, the most that rules allow); outside them only a finding.
USUAL_AREAS_M2 = {
    "green": (50.0, 3000.0),
    "collar": (10.0, 2000.0),
    "tee": (8.0, 3000.0),
    "bunker": (2.0, 5000.0),
    "approach": (10.0, 10000.0),
    "surround": (10.0, 20000.0),
    "fairway": (300.0, 80000.0),
    "pitch": (50.0, 52000.0),
}
TINY_M2 = 0.5  #: smaller is a sliver left over from drawing
THIN_M = 0.05  #: of a mean width (2 × area / perimeter) below this too: what two edges do not share
_FEW_DECIMALS = 6
_SPIKE_RAD = np.radians(2.0)
_SPIKE_ARM_M = 0.3


def self_crossings(geometries: Geometries, rows: Ints, factor: Floats) -> list[Remark]:
    kept = geometries[rows]
    broken = np.flatnonzero(~shapely.is_valid(kept))
    reasons = shapely.is_valid_reason(kept[broken])
    return [
        _crossing(int(rows[k]), kept[k], str(reason), float(factor[rows[k]]))
        for k, reason in zip(broken, reasons, strict=True)
    ]


def _crossing(row: int, polygon: object, reason: str, factor: float) -> Remark:
    """GEOS says ``Self-intersection[lon lat]``; people get words, the place and the figures."""
    less = without_collapsed(polygon)
    collapsed = less is not None and shapely.is_valid(less)
    if less is not polygon and less is not None and not collapsed:
        reason = str(shapely.is_valid_reason(less))  # of what is left when such rings are deleted
    name, _, place = reason.partition("[")
    lon, _, lat = place.rstrip("]").partition(" ")
    where = (float(lon), float(lat)) if lat else (np.nan, np.nan)
    words = {
        "Self-intersection": "the boundary crosses itself",
        "Ring Self-intersection": "the boundary touches itself",
        "Too few points in geometry component": "a ring of it has fewer than three corners",
        "Hole lies outside shell": "a hole lies outside its surface",
        "Holes are nested": "a hole lies within another hole",
        "Interior is disconnected": "holes cut the surface in two",
        "Nested shells": "a part lies within another part",
        "Duplicate Rings": "a ring is there twice",
    }
    figures = {method: area * factor for method, area in figures_m2(polygon).items()}
    place = f" at {at(*where)}" if lat else ""
    text = words.get(name, name) + place
    if figures and collapsed:
        text = words["Too few points in geometry component"] + place
        return Remark(
            row,
            "fault",
            f"{text}: {square_metres(max(figures.values()))} without it",
            "delete that ring, or draw what it stands for",
            sort="collapsed ring",
            place=where,
            mend="deletes it",
        )
    return Remark(
        row,
        "fault",
        f"{text}: {figures_text(figures) if figures else 'it has no area'}",
        "move or delete the vertex there so that the edge goes round once without crossing",
        sort="crossing",
        place=where,
        size_m2=max(figures.values(), default=0.0) - min(figures.values(), default=0.0),
        mend="keeps one of these" if figures else "",
    )


def _counted(rings: Rings, vertices: Bools) -> tuple[Floats, Ints, Ints]:
    """How many marked vertices each surface has, the surfaces that have any, a first vertex."""
    owner = rings.per_vertex(rings.surface)[vertices]
    surfaces, example = np.unique(owner, return_index=True)
    count = np.bincount(owner, minlength=rings.surfaces)[surfaces]
    return rings.position[np.flatnonzero(vertices)[example]], surfaces, count


def repeated_vertices(rings: Rings, rows: Ints) -> list[Remark]:
    begin, end = rings.edges()
    repeated = (begin == end).all(axis=1)
    repeated[rings.last] = False
    place, surfaces, count = _counted(rings, repeated)
    return [
        Remark(
            int(rows[k]),
            "finding",
            f"{n} vertices come twice in a row, the first at {at(lon, lat)}"
            if n > 1
            else f"the vertex at {at(lon, lat)} comes twice in a row",
            "delete the repeats; the area is not changed by them",
            sort="repeated vertex",
            place=(float(lon), float(lat)),
            size_m2=0.0,
            mend=f"deletes the repeat{'s' if n > 1 else ''}, the area stays",
        )
        for (lon, lat), k, n in zip(place, surfaces, count, strict=True)
    ]


def spike_vertices(rings: Rings) -> tuple[Bools, Floats]:
    """Vertices (N,) where the edge runs out at least 0.3 m and back within two degrees.

    With them the area in m² of the triangle (N,) that each vertex makes with its neighbours.
    """
    back, ahead = sides_m(rings)
    cross = back[:, 0] * ahead[:, 1] - back[:, 1] * ahead[:, 0]
    turn = np.abs(np.arctan2(cross, -(back * ahead).sum(1)))  # 0 where it runs straight back
    arm = np.minimum(np.hypot(*back.T), np.hypot(*ahead.T))
    spike = (turn < _SPIKE_RAD) & (arm > _SPIKE_ARM_M)
    spike[rings.last] = False
    return spike, np.abs(cross) / 2


def spikes(rings: Rings, rows: Ints) -> list[Remark]:
    spike, triangle = spike_vertices(rings)
    place, surfaces, count = _counted(rings, spike)
    owner = rings.per_vertex(rings.surface)
    size = np.bincount(owner[spike], triangle[spike], rings.surfaces)
    return [
        Remark(
            int(rows[k]),
            "finding",
            f"{n} spike{'s' if n > 1 else ''}, the first at {at(lon, lat)}: the edge runs out and "
            f"straight back ({square_metres(size[k])})",
            "delete the vertex at its tip unless the ground is really so",
            sort="spike",
            place=(float(lon), float(lat)),
            size_m2=float(size[k]),
            mend="deletes the vertex at its tip" if n == 1 else "deletes the vertices at the tips",
        )
        for (lon, lat), k, n in zip(place, surfaces, count, strict=True)
    ]


def are_slivers(parts: Geometries, size_m2: Floats) -> Bools:
    """Which single polygons (P,) of area ``size_m2`` are smaller or thinner than turf can be."""
    return (size_m2 < TINY_M2) | (2 * size_m2 < THIN_M * perimeters_m(parts))


def tiny_parts(kept: Geometries, ground: Floats, rows: Ints, factor: Floats) -> list[Remark]:
    """Slivers: parts of a surface, and whole surfaces, under 0.5 m² or 0.05 m of mean width."""
    parts, owner = shapely.get_parts(kept, return_index=True)
    size = ellipsoid_areas_m2(parts) * factor[rows[owner]]
    tiny = are_slivers(parts, size)
    lost = np.bincount(owner[~tiny], minlength=len(kept)) == 0
    tiny &= ~lost[owner]
    count = np.bincount(owner[tiny], minlength=len(kept))
    total = np.bincount(owner[tiny], size[tiny], len(kept))
    thin = np.bincount(owner[tiny & (size >= TINY_M2)], minlength=len(kept)) > 0
    or_thin = np.where(thin, f" or thinner than {THIN_M * 1000:.0f} mm", "")
    first = {int(k): parts[i] for i, k in reversed(list(enumerate(owner.tolist()))) if tiny[i]}
    remarks = [
        _tiny(
            int(rows[k]),
            "finding",
            f"{count[k]} part{'s' if count[k] > 1 else ''} smaller than {TINY_M2} m²{or_thin[k]}",
            ("delete them" if count[k] > 1 else "delete it") + " if left over from drawing",
            "sliver part",
            first[int(k)],
            float(total[k]),
        )
        for k in np.flatnonzero(count)
    ]
    remedy = "draw the boundary again, or delete the surface"
    return remarks + [
        _tiny(
            int(rows[k]),
            "fault",
            f"its whole area is {ground[k]:.3f} m²{_thin(kept[k], float(ground[k]))}",
            remedy,
            "sliver",
            kept[k],
            float(ground[k]),
        )
        for k in np.flatnonzero(lost)
    ]


def _thin(shape: Any, size: float) -> str:
    """How wide a sliver is that is not small."""
    around = float(perimeters_m(np.array([shape], dtype=object))[0])
    return f", {2000 * size / around:.0f} mm wide on average" if size >= TINY_M2 else ""


def _tiny(
    row: int, severity: str, text: str, remedy: str, sort: str, shape: Any, size: float
) -> Remark:
    lon, lat = shapely.get_coordinates(shape)[0].tolist()
    together = f", {square_metres(size)} together" if sort == "sliver part" else ""
    return Remark(
        row,
        severity,
        f"{text}{together}, at {at(lon, lat)}",
        remedy,
        sort=sort,
        place=(lon, lat),
        size_m2=size,
        mend="deletes the surface" if sort == "sliver" else "deletes what is so small",
    )


def _a(word: str) -> str:
    return f"an {word}" if word[:1] in "aeiou" else f"a {word}"


def unusual_areas(
    areas: Floats, kinds: Strings, rows: Ints, slivers: frozenset[int]
) -> list[Remark]:
    """Sizes that a kind seldom has; what is told to be a sliver is not told again."""
    low, high = (
        np.array([USUAL_AREAS_M2.get(str(k), (0.0, np.inf)) for k in kinds]).reshape(-1, 2).T
    )
    odd = np.flatnonzero((areas < low) | (areas > high))
    return [
        Remark(
            int(rows[k]),
            "finding",
            f"{areas[k]:.{0 if areas[k] >= 10 else 1}f} m² is unusual for {_a(str(kinds[k]))} "
            f"(usually {low[k]:g} to {high[k]:g} m²)",
            "check the boundary, its scale and its kind",
            sort="unusual size",
            size_m2=float(areas[k]),
        )
        for k in odd
        if int(rows[k]) not in slivers
    ]


def few_decimals(kept: Geometries, rings: Rings, areas: Floats, rows: Ints) -> list[Remark]:
    """Surfaces all of whose coordinates are whole multiples of 10^-6 degree or coarser."""
    decimals = np.full(len(kept), _FEW_DECIMALS + 1)
    owner = rings.per_vertex(rings.surface)
    for places in range(_FEW_DECIMALS, -1, -1):
        scaled = rings.position * 10.0**places
        off = (np.abs(scaled - np.rint(scaled)) > 1e-6).any(axis=1)
        decimals[np.bincount(owner, weights=off, minlength=len(kept)) == 0] = places
    step = 10.0 ** -decimals.astype(np.float64)
    cost = 100 * rounding_spread_m2(kept, step) / np.maximum(areas, TINY_M2)
    coarse = np.flatnonzero(decimals <= _FEW_DECIMALS)
    return [
        Remark(
            int(rows[k]),
            "finding",
            f"its coordinates have {decimals[k]} decimals: rounding alone makes its area uncertain "
            f"by {cost[k]:.2g} % (one standard uncertainty)",
            "export it with 9 decimals of a degree",
            sort="few decimals",
            size_m2=float(cost[k] / 100 * areas[k]),
        )
        for k in coarse
    ]
