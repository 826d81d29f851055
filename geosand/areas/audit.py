"""What is wrong or doubtful in drawn boundaries, each with its place and its remedy."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import shapely

from geosand.areas.ellipsoid import (
    ellipsoid_areas_m2,
    radii_m,
    rounding_spread_m2,
)
from geosand.areas.rings import Rings, rings_of
from geosand.columns import Bools, Floats, Geometries, Ints, Strings

#: Usual sizes in m² by kind (common practice, no published source); outside them only a finding.
USUAL_AREAS_M2 = {
    "green": (50.0, 3000.0),
    "collar": (10.0, 2000.0),
    "tee": (8.0, 3000.0),
    "bunker": (2.0, 5000.0),
    "approach": (10.0, 10000.0),
    "surround": (10.0, 20000.0),
    "fairway": (300.0, 80000.0),
    "pitch": (50.0, 25000.0),
}

_TINY_M2 = 0.5
_POLE_DEG = 89.9
_FEW_DECIMALS = 6
_SPIKE_RAD = np.radians(2.0)
_SPIKE_ARM_M = 0.3
_FAR_DEG = 1.0
_CLOSE_DEG = 0.5
_LON_FIRST = "write longitude first, then latitude (RFC 7946, 3.1.1)"


class Remark(NamedTuple):
    """One fault (the boundary can not be used) or finding (it can, but the reader should know)."""

    row: int  #: of the surface
    severity: str  #: "fault" or "finding"
    text: str
    remedy: str


def audit(
    geometries: Geometries, kinds: Strings, ids: Strings, edition: Ints | None = None
) -> list[Remark]:
    """Faults and findings of the boundaries of S surfaces in lon/lat degrees, by row.

    ``kinds`` and ``ids`` are those of the surfaces; polygons of different ``edition`` are not
    duplicates of each other. Nothing is raised and nothing repaired. Surfaces whose coordinates
    can not be longitude and latitude are not looked at further.
    """
    remarks = _not_polygons(geometries)
    sound = _rows_left(len(geometries), remarks)
    remarks += _outside_the_world(geometries, sound)
    sound = _rows_left(len(geometries), remarks)
    remarks += _elsewhere(geometries, sound)
    remarks += _duplicates(geometries, ids, edition, sound)
    crossings = _self_crossings(geometries, sound)
    remarks += crossings
    sound = np.setdiff1d(sound, [remark.row for remark in crossings])  # they have no area
    kept = geometries[sound]
    areas = ellipsoid_areas_m2(kept)
    rings = rings_of(kept)
    remarks += _repeated_vertices(rings, sound)
    remarks += _spikes(rings, sound)
    remarks += _tiny_parts(kept, areas, sound)
    remarks += _unusual_areas(areas, kinds[sound], sound)
    remarks += _few_decimals(kept, rings, areas, sound)
    return sorted(remarks, key=lambda remark: (remark.row, remark.severity))


def _rows_left(surfaces: int, remarks: list[Remark]) -> Ints:
    return np.setdiff1d(np.arange(surfaces), [remark.row for remark in remarks])


def _not_polygons(geometries: Geometries) -> list[Remark]:
    types = shapely.get_type_id(geometries)
    remedy = "draw it as a Polygon or MultiPolygon"
    strange = np.flatnonzero(~np.isin(types, (-1, 3, 6)))
    remarks = [
        Remark(int(i), "fault", f"it is a {geometries[i].geom_type}, not a polygon", remedy)
        for i in strange
    ]
    empty = np.flatnonzero((types < 0) | (np.isin(types, (3, 6)) & shapely.is_empty(geometries)))
    return remarks + [Remark(int(i), "fault", "it has no boundary", remedy) for i in empty]


def _outside_the_world(geometries: Geometries, rows: Ints) -> list[Remark]:
    """Coordinates that are no longitude and latitude, and places where lon/lat edges fail."""
    position, owner = shapely.get_coordinates(geometries[rows], return_index=True)
    west, south, east, north = shapely.bounds(geometries[rows]).T
    lon, lat = np.fmax(abs(west), abs(east)), np.fmax(abs(south), abs(north))
    infinite = np.isin(np.arange(len(rows)), owner[~np.isfinite(position).all(axis=1)])
    cases = (  # the first that is true says it
        (infinite, "has a coordinate that is not a number", "export the boundary again"),
        (
            (lon > 360) | (lat > 180),
            "looks like metres or feet of a grid, not degrees",
            "convert the file to longitude and latitude (WGS 84), or name its CRS on import",
        ),
        ((lat > 90) & (lon <= 90), "looks as if latitude and longitude were swapped", _LON_FIRST),
        (
            (lat > 90) | (lon > 180),
            "is outside ±180 and ±90 degrees",
            "write longitude and latitude in degrees, longitude within ±180",
        ),
        (
            lat > _POLE_DEG,
            f"reaches beyond ±{_POLE_DEG} degrees of latitude",
            "areas this near a pole are not computed: check the coordinates",
        ),
        (
            east - west > 180,
            "crosses the antimeridian",
            "cut the surface at 180 degrees into two surfaces (RFC 7946, 3.1.9)",
        ),
    )
    wrong = np.array([case[0] for case in cases])
    worst = wrong.argmax(axis=0)
    remarks = []
    for k in np.flatnonzero(wrong.any(axis=0)):
        _, text, remedy = cases[worst[k]]
        extent = f"lon {west[k]:.6g} to {east[k]:.6g}, lat {south[k]:.6g} to {north[k]:.6g}"
        remarks.append(Remark(int(rows[k]), "fault", f"{extent} {text}", remedy))
    return remarks


def _elsewhere(geometries: Geometries, rows: Ints) -> list[Remark]:
    """Surfaces far from the others; swapped ones would lie among them with their axes exchanged."""
    if len(rows) < 3:
        return []
    west, south, east, north = shapely.bounds(geometries[rows]).T
    lon, lat = (west + east) / 2, (south + north) / 2
    middle_lon, middle_lat = np.median(lon), np.median(lat)
    far = np.hypot(lon - middle_lon, lat - middle_lat) > _FAR_DEG
    swapped = far & (np.hypot(lat - middle_lon, lon - middle_lat) < _CLOSE_DEG)
    others = f"the others are about lon {middle_lon:.4f}, lat {middle_lat:.4f}"
    remarks = []
    for k in np.flatnonzero(far):
        place = f"it lies at lon {lon[k]:.4f}, lat {lat[k]:.4f}, {others}"
        if swapped[k]:
            text = f"{place}: latitude and longitude look swapped"
            remarks.append(Remark(int(rows[k]), "fault", text, _LON_FIRST))
        else:
            text = f"{place}, more than {_FAR_DEG:g} degree away"
            remedy = "check that it belongs to this site"
            remarks.append(Remark(int(rows[k]), "finding", text, remedy))
    return remarks


def _self_crossings(geometries: Geometries, rows: Ints) -> list[Remark]:
    kept = geometries[rows]
    broken = np.flatnonzero(~shapely.is_valid(kept))
    reasons = shapely.is_valid_reason(kept[broken])
    return [
        Remark(int(rows[k]), "fault", *_crossing_text(str(reason)))
        for k, reason in zip(broken, reasons, strict=True)
    ]


def _crossing_text(reason: str) -> tuple[str, str]:
    """GEOS says ``Self-intersection[lon lat]``; people get words and the place."""
    name, _, place = reason.partition("[")
    lon, _, lat = place.rstrip("]").partition(" ")
    where = f" at lon {float(lon):.7f}, lat {float(lat):.7f}" if lat else ""
    words = {
        "Self-intersection": "the boundary crosses itself",
        "Ring Self-intersection": "the boundary touches itself",
        "Too few points in geometry component": "the boundary has fewer than three corners",
        "Hole lies outside shell": "a hole lies outside its surface",
        "Holes are nested": "a hole lies within another hole",
        "Interior is disconnected": "holes cut the surface in two",
        "Nested shells": "a part lies within another part",
        "Duplicate Rings": "a ring is there twice",
    }
    remedy = "move or delete the vertex there so that the edge goes round once without crossing"
    return f"{words.get(name, name)}{where}", remedy


def _duplicates(
    geometries: Geometries, ids: Strings, edition: Ints | None, rows: Ints
) -> list[Remark]:
    """The same polygon under two ids, whatever its start vertex and winding."""
    forms = shapely.to_wkb(shapely.normalize(shapely.force_2d(geometries[rows])))
    survey = np.zeros(len(rows), dtype=np.int64) if edition is None else edition[rows]
    seen: dict[tuple[bytes, int], int] = {}
    remarks = []
    for row, form, number in zip(rows.tolist(), forms, survey.tolist(), strict=True):
        first = seen.setdefault((form, number), row)
        if first != row:
            text = f"it is the same polygon as {ids[first]}"
            remarks.append(Remark(row, "fault", text, "delete one of the two"))
    return remarks


def _counted(rings: Rings, vertices: Bools) -> tuple[Floats, Ints, Ints]:
    """How many marked vertices each surface has, the surfaces that have any, a first vertex."""
    owner = np.repeat(rings.surface, rings.last - rings.first + 1)[vertices]
    surfaces, example = np.unique(owner, return_index=True)
    count = np.bincount(owner, minlength=rings.surfaces)[surfaces]
    return rings.position[np.flatnonzero(vertices)[example]], surfaces, count


def _repeated_vertices(rings: Rings, rows: Ints) -> list[Remark]:
    begin, end = rings.edges()
    repeated = (begin == end).all(axis=1)
    repeated[rings.last] = False
    place, surfaces, count = _counted(rings, repeated)
    return [
        Remark(
            int(rows[k]),
            "finding",
            f"{n} vertices come twice in a row, the first at lon {lon:.7f}, lat {lat:.7f}"
            if n > 1
            else f"the vertex at lon {lon:.7f}, lat {lat:.7f} comes twice in a row",
            "delete the repeats; the area is not changed by them",
        )
        for (lon, lat), k, n in zip(place, surfaces, count, strict=True)
    ]


def _spikes(rings: Rings, rows: Ints) -> list[Remark]:
    """Vertices where the edge runs out at least 0.3 m and back within two degrees."""
    before, after = rings.neighbours()
    meridian, parallel = radii_m(rings.position[:, 1])
    metres = np.radians(1.0) * np.column_stack([parallel, meridian])
    back, ahead = (before - rings.position) * metres, (after - rings.position) * metres
    turn = np.abs(
        np.arctan2(back[:, 0] * ahead[:, 1] - back[:, 1] * ahead[:, 0], (back * ahead).sum(1))
    )
    arm = np.minimum(np.hypot(*back.T), np.hypot(*ahead.T))
    spike = (turn < _SPIKE_RAD) & (arm > _SPIKE_ARM_M)
    spike[rings.last] = False
    place, surfaces, count = _counted(rings, spike)
    return [
        Remark(
            int(rows[k]),
            "finding",
            f"{n} spike{'s' if n > 1 else ''}, the first at lon {lon:.7f}, lat {lat:.7f}: the edge "
            "runs out and straight back",
            "delete the vertex at its tip unless the ground is really so",
        )
        for (lon, lat), k, n in zip(place, surfaces, count, strict=True)
    ]


def _tiny_parts(kept: Geometries, areas: Floats, rows: Ints) -> list[Remark]:
    parts, owner = shapely.get_parts(kept, return_index=True)
    size = ellipsoid_areas_m2(parts)
    tiny = (size < _TINY_M2) & (areas[owner] >= _TINY_M2)
    count = np.bincount(owner[tiny], minlength=len(kept))
    remarks = [
        Remark(
            int(rows[k]),
            "finding",
            f"parts smaller than {_TINY_M2} m²: {count[k]}",
            "delete them if they are left over from drawing",
        )
        for k in np.flatnonzero(count)
    ]
    whole = np.flatnonzero(areas < _TINY_M2)
    remedy = "draw the boundary again, or delete the surface"
    return remarks + [
        Remark(int(rows[k]), "fault", f"its whole area is {areas[k]:.3f} m²", remedy) for k in whole
    ]


def _unusual_areas(areas: Floats, kinds: Strings, rows: Ints) -> list[Remark]:
    low, high = (
        np.array([USUAL_AREAS_M2.get(str(k), (0.0, np.inf)) for k in kinds]).reshape(-1, 2).T
    )
    odd = np.flatnonzero(((areas < low) | (areas > high)) & (areas >= _TINY_M2))
    return [
        Remark(
            int(rows[k]),
            "finding",
            f"{areas[k]:.0f} m² is unusual for a {kinds[k]} (usually {low[k]:g} to {high[k]:g} m²)",
            "check the boundary, its scale and its kind",
        )
        for k in odd
    ]


def _few_decimals(kept: Geometries, rings: Rings, areas: Floats, rows: Ints) -> list[Remark]:
    """Surfaces all of whose coordinates are whole multiples of 10^-6 degree or coarser."""
    decimals = np.full(len(kept), _FEW_DECIMALS + 1)
    owner = np.repeat(rings.surface, rings.last - rings.first + 1)
    for places in range(_FEW_DECIMALS, -1, -1):
        scaled = rings.position * 10.0**places
        off = (np.abs(scaled - np.rint(scaled)) > 1e-6).any(axis=1)
        decimals[np.bincount(owner, weights=off, minlength=len(kept)) == 0] = places
    step = 10.0 ** -decimals.astype(np.float64)
    cost = 100 * rounding_spread_m2(kept, step) / np.maximum(areas, _TINY_M2)
    coarse = np.flatnonzero(decimals <= _FEW_DECIMALS)
    return [
        Remark(
            int(rows[k]),
            "finding",
            f"its coordinates have {decimals[k]} decimals: rounding alone makes its area uncertain "
            f"by {cost[k]:.2g} % (one standard uncertainty)",
            "export it with 9 decimals of a degree",
        )
        for k in coarse
    ]
