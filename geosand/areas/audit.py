"""What is wrong or doubtful in drawn boundaries, each with its place and its remedy."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

import numpy as np
import shapely

from geosand.areas.collars import collar_remarks
from geosand.areas.ellipsoid import ellipsoid_areas_m2
from geosand.areas.meeting import hole_remarks, pair_remarks
from geosand.areas.outline_remarks import (
    few_decimals,
    repeated_vertices,
    self_crossings,
    spikes,
    tiny_parts,
    unusual_areas,
)
from geosand.areas.ownership import precedence_levels
from geosand.areas.remarks import Remark, square_metres
from geosand.areas.rings import rings_of
from geosand.columns import Floats, Geometries, Ints, Strings

_POLE_DEG = 89.9
_FAR_DEG = 1.0
_CLOSE_DEG = 0.5
_LON_FIRST = "write longitude first, then latitude (RFC 7946, 3.1.1)"


def audit(
    geometries: Geometries,
    kinds: Strings,
    ids: Strings,
    *,
    around: Ints | None = None,
    factor: Floats | None = None,
) -> list[Remark]:
    """Faults and findings (see :class:`Remark`) of S surfaces in lon/lat degrees, by row.

    ``kinds`` and ``ids`` are those of the surfaces, all of one survey.
    ``around`` is the row of the surface that each one encloses, -1 for none; ``factor`` (S,) turns
    ellipsoid into ground areas [1]. Nothing is raised and nothing repaired. Surfaces whose
    coordinates can not be longitude and latitude are not looked at further.
    """
    size = len(geometries)
    around = np.full(size, -1, dtype=np.int64) if around is None else around
    factor = np.ones(size) if factor is None else factor
    remarks = _not_polygons(geometries)
    sound = _rows_left(size, remarks)
    remarks += _outside_the_world(geometries, sound)
    sound = _rows_left(size, remarks)
    remarks += _elsewhere(geometries, sound)
    remarks += _duplicates(geometries, kinds, ids, sound, factor)
    crossings = self_crossings(geometries, sound, factor)
    remarks += crossings
    sound = np.setdiff1d(sound, [remark.row for remark in crossings])  # they have no area
    same = {remark.row for remark in remarks if remark.sort == "duplicate"}
    kept = geometries[sound]
    ground = ellipsoid_areas_m2(kept) * factor[sound]
    rings = rings_of(kept)
    remarks += repeated_vertices(rings, sound)
    remarks += spikes(rings, sound)
    tiny = tiny_parts(kept, ground, sound, factor)
    slivers = frozenset(remark.row for remark in tiny if remark.sort == "sliver")
    remarks += tiny + unusual_areas(ground, kinds[sound], sound, slivers)
    remarks += few_decimals(kept, rings, ground, sound)
    alone = np.setdiff1d(sound, list(same))
    remarks += pair_remarks(geometries, kinds, ids, alone, factor)
    remarks += collar_remarks(geometries, kinds, ids, around, alone, factor)
    remarks += hole_remarks(geometries, kinds, alone, factor)
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
            (lat > 90) | (lon > 181),  # a site across 180° may run on to 181°
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
        remarks.append(
            Remark(int(rows[k]), "fault", f"{extent} {text}", remedy, sort="outside the world")
        )
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
            remarks.append(Remark(int(rows[k]), "fault", text, _LON_FIRST, sort="elsewhere"))
        else:
            text = f"{place}, more than {_FAR_DEG:g} degree away"
            remedy = "check that it belongs to this site"
            remarks.append(Remark(int(rows[k]), "finding", text, remedy, sort="elsewhere"))
    return remarks


def _duplicates(
    geometries: Geometries, kinds: Strings, ids: Strings, rows: Ints, factor: Floats
) -> list[Remark]:
    """The same polygon under two ids, whatever its start vertex and winding.

    The one whose kind lies on top, as a green on its collar, is the one to keep; else the first.
    """
    forms = shapely.to_wkb(shapely.normalize(shapely.force_2d(geometries[rows])))
    alike: dict[bytes, list[int]] = defaultdict(list)
    for row, form in zip(rows.tolist(), forms, strict=True):
        alike[form].append(row)
    several = [same for same in alike.values() if len(same) > 1]
    level = precedence_levels(kinds) if several else np.zeros(0, dtype=np.int64)
    remarks = []
    for same in several:
        kept = min(same, key=lambda row: (int(level[row]), row))
        size = float(ellipsoid_areas_m2(geometries[[kept]])[0] * factor[kept])
        remarks += [
            _duplicate(row, kept, ids, geometries[row], size) for row in same if row != kept
        ]
    return remarks


def _duplicate(row: int, kept: int, ids: Strings, polygon: Any, size: float) -> Remark:
    centre = shapely.centroid(polygon)
    return Remark(
        row,
        "fault",
        f"it is the same polygon as {ids[kept]} ({square_metres(size)})",
        "delete one of the two",
        sort="duplicate",
        place=(float(centre.x), float(centre.y)),
        size_m2=size,
        mend=f"keeps {ids[kept]} alone",
        other=kept,
    )
