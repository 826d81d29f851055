"""Collars against the greens that they are drawn around."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from geosand.areas.ellipsoid import ellipsoid_areas_m2, perimeters_m
from geosand.areas.meeting import inside, uncovered
from geosand.areas.overlay import areal_m2
from geosand.areas.plane import Plane
from geosand.areas.remarks import Remark, at, square_metres
from geosand.columns import Floats, Geometries, Ints, Strings

FILLED_SHARE = 0.95  #: of its green, from which a collar is drawn as a filled disc
GAP_M2 = 0.1  #: smaller gaps and overlaps along an edge are not worth a word
_NEAR_M = 0.5  # a collar as near as this to one green alone may be meant to be around it
_TOUCHING_M = 0.02
WIDEST_GAP_M = 0.5  #: a wider one is no slip of drawing: a person must look
#: Kinds that may lie between a green and its collar; what runs on beneath them does not fill a gap.
_BETWEEN = ("green", "collar", "tee", "bunker", "water", "path")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Collars:
    """Collars that lie around one surface, one row a collar, rows of the surfaces' table."""

    row: Ints
    green: Ints  #: the surface that it is around
    said: Ints  #: 1 where the drawing says so, 0 where it is only the one green that it touches
    common: Geometries  #: ground drawn in both
    gap: Geometries  #: ground inside the collar that is neither its green nor another's on top
    common_share: Floats  #: of the green


def collars_of(
    geometries: Geometries, kinds: Strings, around: Ints, rows: Ints
) -> tuple[Collars, list[tuple[int, Ints]]]:
    """Collars of the valid ``rows`` with what lies inside; and those that touch no or many greens.

    Of the latter each with the rows of the greens that it touches.
    """
    collar = rows[kinds[rows] == "collar"]
    green = rows[kinds[rows] == "green"]
    said = np.isin(around[collar], rows)
    enclosed = np.where(said, around[collar], -1)
    unclear: list[tuple[int, Ints]] = []
    if len(collar) and not said.all():
        for k, touched in _touched(geometries, collar[~said], green):
            place = np.flatnonzero(~said)[k]
            if len(touched) == 1:
                enclosed[place] = touched[0]
            else:
                unclear.append((int(collar[place]), touched))
    known = enclosed >= 0
    collar, enclosed, said = collar[known], enclosed[known], said[known]
    shapes, greens = geometries[collar], geometries[enclosed]
    common = shapely.intersection(shapes, greens)
    whole = ellipsoid_areas_m2(greens)
    share = areal_m2(common) / np.where(whole > 0, whole, 1.0)
    holes = shapely.difference(_filled(shapes), shapes)
    on_top = rows[np.isin(kinds[rows], _BETWEEN)]
    gap = uncovered(holes, geometries, collar, on_top)
    return (
        Collars(
            row=collar,
            green=enclosed,
            said=said.astype(np.int64),
            common=common,
            gap=gap,
            common_share=share,
        ),
        unclear,
    )


def _touched(geometries: Geometries, collar: Ints, green: Ints) -> list[tuple[int, Ints]]:
    """For each collar (its place in the column) the greens within half a metre."""
    plane = Plane.around(geometries[np.concatenate([collar, green])])
    rings, greens = plane.to_plane(geometries[collar]), plane.to_plane(geometries[green])
    which, met = shapely.STRtree(greens).query(rings, "dwithin", distance=_NEAR_M)
    order = np.lexsort((met, which))
    ends = np.searchsorted(which[order], np.arange(1, len(collar)))
    return list(enumerate(np.split(green[met[order]], ends)))


def _filled(shapes: Geometries) -> Geometries:
    """The shapes with their holes filled."""
    parts, row = shapely.get_parts(shapes, return_index=True)
    shells = np.asarray(shapely.polygons(shapely.get_exterior_ring(parts)), dtype=object)
    filled = shapes.copy()
    several = np.bincount(row, minlength=len(shapes)) > 1
    filled[row] = shells
    for k in np.flatnonzero(several):
        filled[k] = shapely.union_all(shells[row == k])
    return filled


def collar_remarks(
    geometries: Geometries,
    kinds: Strings,
    ids: Strings,
    around: Ints,
    rows: Ints,
    factor: Floats,
) -> list[Remark]:
    """Collars: filled over their green, lying on its edge, with a gap, or around no surface."""
    collars, unclear = collars_of(geometries, kinds, around, rows)
    remarks = []
    for row, greens in unclear:
        text = "it names no surface that it is around"
        if len(greens):
            text += f", and touches {len(greens)} greens ({', '.join(ids[greens[:4]])})"
        else:
            text += ", and there is no green within 0.5 m"
        remedy = "write the id of the surface that it encloses into its column around"
        remarks.append(Remark(row, "finding", text, remedy, sort="around"))
    drawn = ellipsoid_areas_m2(geometries[collars.row]) * factor[collars.row]
    common = areal_m2(collars.common) * factor[collars.row]
    gap = areal_m2(collars.gap) * factor[collars.row]
    apart = _apart_m(geometries, collars)
    for k, (row, green) in enumerate(
        zip(collars.row.tolist(), collars.green.tolist(), strict=True)
    ):
        name = str(ids[green])
        if not collars.said[k]:
            remarks.append(_proposed(row, green, name))
        if collars.common_share[k] >= FILLED_SHARE:
            remarks.append(
                _filled_disc(row, green, name, drawn[k], common[k], inside(collars.common[k]))
            )
        elif common[k] >= GAP_M2:
            place = inside(collars.common[k])
            remarks.append(_on_its_green(row, green, name, float(common[k]), place))
        if gap[k] >= GAP_M2:
            width = 2 * gap[k] / perimeters_m(collars.gap[[k]])[0]
            place = inside(collars.gap[k])
            remarks.append(_gap(row, green, name, float(gap[k]), float(width), place))
        if apart[k] > _TOUCHING_M:
            text = f"it does not touch {name}, which it is around: {apart[k]:.2f} m apart"
            remedy = "draw its inner edge along the green, or name another surface in around"
            remarks.append(Remark(row, "finding", text, remedy, sort="apart", other=green))
    return remarks


def _apart_m(geometries: Geometries, collars: Collars) -> Floats:
    """Distance (n,) from each collar without a hole around its green to that green; else 0."""
    apart = np.zeros(len(collars.row))
    open_ring = np.flatnonzero((collars.common_share == 0) & shapely.is_empty(collars.gap))
    if len(open_ring):
        pairs = np.concatenate([collars.row[open_ring], collars.green[open_ring]])
        moved = Plane.around(geometries[pairs]).to_plane(geometries[pairs])
        half = len(open_ring)
        apart[open_ring] = shapely.distance(moved[:half], moved[half:])
    return apart


def _proposed(row: int, green: int, name: str) -> Remark:
    return Remark(
        row,
        "finding",
        f"it names no surface that it is around; {name} is the only green that it touches",
        f"write {name} into its column around if it is that",
        sort="around",
        mend=f"writes that it is around {name}",
        other=green,
    )


def _filled_disc(
    row: int, green: int, name: str, drawn: float, common: float, place: tuple[float, float]
) -> Remark:
    return Remark(
        row,
        "finding",
        f"it is drawn as a filled disc over {name}: {square_metres(drawn)} drawn, "
        f"{square_metres(drawn - common)} are the ring that it owns; at {at(*place)}",
        f"cut {name} out of it; the areas are the same either way",
        sort="filled collar",
        place=place,
        size_m2=float(common),
        mend=f"cuts {name} out of it",
        other=green,
    )


def _on_its_green(
    row: int, green: int, name: str, common: float, place: tuple[float, float]
) -> Remark:
    return Remark(
        row,
        "finding",
        f"it lies on {name} by {square_metres(common)} at {at(*place)}: the green owns that ground",
        "draw both along one edge",
        sort="edge overlap",
        place=place,
        size_m2=common,
        mend=f"cuts {name} out of it",
        other=green,
    )


def _gap(
    row: int, green: int, name: str, gap: float, width_m: float, place: tuple[float, float]
) -> Remark:
    """``width_m`` is the mean width of the gap, twice its area over its perimeter."""
    return Remark(
        row,
        "finding",
        f"there is a gap of {square_metres(gap)}, {width_m:.2f} m wide on average, between it and"
        f" {name} at {at(*place)}",
        "draw both along one edge",
        sort="gap",
        place=place,
        size_m2=gap,
        mend="gives the gap to the collar" if width_m <= WIDEST_GAP_M else "",
        other=green,
    )
