"""Surfaces in metres, given to the throw-off with what they threw over."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from shapely.affinity import rotate

from geosand.balance.rings.drawing import ring_geometries
from geosand.balance.rings.throw_off import ThrowOff, throw_off

RASTER = 5e-3  # agreement with the raster, relative


def column(shapes: list[Any]) -> Any:
    result = np.empty(len(shapes), dtype=object)
    result[:] = shapes
    return result


def spread(surfaces: list[Any], overthrow: Any, **other: Any) -> dict[str, Any]:
    """Arguments of one dressing: rate 1 kg/m², a ring of 0.9 m and 4 m of surrounds unless said."""
    n, kg = len(surfaces), np.atleast_1d(np.asarray(overthrow, dtype=float))
    hazards = other.get("hazards", {})
    return {
        "surfaces": column(surfaces),
        "dressing": np.asarray(other.get("dressing", [0] * n), dtype=np.int64),
        "group": np.asarray(other.get("group", [0] * n), dtype=np.int64),
        "rate_kg_m2": np.asarray(other.get("rate", [1.0] * n), dtype=float),
        "overthrow_kg": kg,
        "low_kg": np.asarray(other.get("low", 0.8 * kg), dtype=float),
        "high_kg": np.asarray(other.get("high", 1.2 * kg), dtype=float),
        "collars": column(other.get("collars", [None] * n)),
        "collar_width_m": np.asarray(other.get("collar_width", [0.9] * n), dtype=float),
        "surrounds_width_m": np.full(n, 4.0),
        "hazards": column([h for _, h in hazards]) if hazards else column([]),
        "hazard_kind": np.array([k for k, _ in hazards], dtype=str),
    }


def blob(x: float, y: float, radius: float, lobes: int = 3, depth: float = 0.1) -> Any:
    t = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    r = radius * (1 + depth * np.cos(lobes * t))
    return shapely.Polygon(np.column_stack((x + r * np.cos(t), y + r * np.sin(t))))


def kidney() -> Any:
    t = np.linspace(0, 2 * np.pi, 72, endpoint=False)
    bay = 6 * np.exp(-((14 * np.cos(t) / 4) ** 2)) * (np.sin(t) > 0)
    return shapely.Polygon(np.column_stack((14 * np.cos(t), 9 * np.sin(t) - bay)))


SQUARE = shapely.box(0, 0, 20, 20)


def drawn(result: ThrowOff, given: dict[str, Any]) -> Any:
    names = ("surfaces", "dressing", "collars", "collar_width_m", "surrounds_width_m")
    return ring_geometries(result, **{name: given[name] for name in names})


def on_raster(given: dict[str, Any], reach_m: Any, step: float = 0.05) -> dict[str, Any]:
    """Masses and areas of zones from small squares, each that of the nearest surface."""
    surfaces, n = given["surfaces"], len(given["surfaces"])
    left, low, right, top = shapely.total_bounds(surfaces)
    x, y = np.meshgrid(np.arange(left - 7, right + 7, step), np.arange(low - 7, top + 7, step))
    x, y = x.ravel() + step / 2, y.ravel() + step / 2
    points = shapely.points(x, y)
    shapely.prepare(surfaces)
    away = np.array([shapely.distance(one, points) for one in surfaces])
    nearest, away = away.argmin(axis=0), away.min(axis=0)
    reach = np.asarray(reach_m)[given["group"]]
    taper = np.clip(1 - away / reach[nearest], 0, None) * given["rate_kg_m2"][nearest]
    outside = away > 0
    sums: dict[str, Any] = {}

    def add(name: str, inside: Any, weight: Any) -> None:
        here = outside & inside
        sums[name] = np.bincount(nearest[here], weight[here] * step**2, n)

    collar, outer = np.zeros((2, len(x)), bool)
    for row, own in enumerate(given["collars"]):
        mine, width = nearest == row, given["collar_width_m"][row]
        if own is None:
            collar |= mine & (away <= width)
            outer |= mine & (away <= width + 4.0)
        else:
            with_surface = shapely.union(own, surfaces[row])
            collar |= mine & shapely.intersects_xy(own, x, y)
            outer |= mine & (shapely.distance(with_surface, points) <= 4.0)
    add("collar", collar, taper)
    add("surrounds", outer & ~collar, taper)
    add("farther", ~outer & ~collar, taper)
    add("collar_area", collar, np.ones(len(x)))
    add("surrounds_area", outer & ~collar, np.ones(len(x)))
    for kind in np.unique(given["hazard_kind"]):
        over = shapely.union_all(given["hazards"][given["hazard_kind"] == kind])
        add(str(kind), shapely.intersects_xy(over, x, y), taper)
    return sums


def agree_with_raster(given: dict[str, Any]) -> ThrowOff:
    result = throw_off(**given)
    sums = on_raster(given, result.reach_m)
    whole = sums["collar"] + sums["surrounds"] + sums["farther"]
    np.testing.assert_allclose(
        result.collar_kg + result.surrounds_kg + result.farther_kg, whole, rtol=RASTER
    )
    np.testing.assert_allclose(result.collar_kg, sums["collar"], rtol=RASTER)
    np.testing.assert_allclose(result.surrounds_kg, sums["surrounds"], rtol=RASTER)
    np.testing.assert_allclose(result.collar_area_m2, sums["collar_area"], rtol=RASTER)
    np.testing.assert_allclose(result.surrounds_area_m2, sums["surrounds_area"], rtol=RASTER)
    for kind, mass in result.hazard_kg.items():
        np.testing.assert_allclose(mass, sums[kind], rtol=RASTER)
    return result


def turned(*shapes: Any) -> list[Any]:
    """Turned by an odd angle, so that no edge runs along the squares of the raster."""
    return [rotate(s, 17.3, origin=(3, 1)) for s in shapes]
