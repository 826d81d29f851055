"""Areas of 100,000 polygons beside a loop over pyproj.Geod and a projected frame a site.

Ways take turns, so that a busy machine slows all alike; the medians of the rounds are compared. The
slow ways do a share of the polygons in each round, another one each time, and are scaled up.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from typing import Any

import geopandas
import numpy as np
import shapely
from pyproj import Geod

from geosand.areas.ellipsoid import ellipsoid_areas_m2
from geosand.areas.rings import rings_from_ragged

SEED = 20260301
SITE = 72  #: polygons that lie together
SHARES = 20  #: the slow ways do one in so many sites in a round
METRES_PER_DEGREE = 111_195.0


def comparisons(polygons: int, rounds: int) -> list[dict[str, Any]]:
    """Ready to print: both times, their ratio, the aim, how far the results differ."""
    position, rings, parts = ragged_polygons(polygons)
    outlines = np.repeat(np.arange(polygons), np.diff(rings))
    column = shapely.polygons(shapely.linearrings(position, indices=outlines))
    frame = geopandas.GeoDataFrame(geometry=column, crs=4326)

    def from_coordinates(_: int) -> np.ndarray:
        return ellipsoid_areas_m2(rings_from_ragged(position, rings, parts))

    def from_frame(_: int) -> np.ndarray:
        return ellipsoid_areas_m2(np.asarray(frame.geometry.array, dtype=object))

    def copied(_: int) -> np.ndarray:
        return position.copy()

    geod = Geod(ellps="WGS84")

    def looped(number: int) -> np.ndarray:
        share = column[_share(number, polygons)]
        return np.array([abs(geod.geometry_area_perimeter(one)[0]) for one in share])

    def projected(number: int) -> np.ndarray:
        part = frame.iloc[_share(number, polygons)]
        sites = [part.geometry.iloc[k : k + SITE] for k in range(0, len(part), SITE)]
        return np.concatenate([one.to_crs(one.estimate_utm_crs()).area for one in sites])

    taken = in_turn([from_coordinates, from_frame, copied, looped, projected], rounds)
    exact = from_coordinates(0)
    size = f"{polygons:,} polygons of 40 to 120 corners, {len(position):,} corners"
    rows = []
    for mine, way, aims in (
        (from_coordinates, "coordinates", {looped: 80.0, projected: None, copied: None}),
        (from_frame, "a GeoDataFrame", {looped: 25.0, projected: None}),
    ):
        for other, aim in aims.items():
            scale = 1.0 if other is copied else polygons / len(exact[_share(0, polygons)])
            seconds = taken[mine], taken[other] * scale
            rows.append(
                {
                    "what": f"areas from {way}",
                    "size": size,
                    "beside": NAMES[other.__name__],
                    "geosand_ms": seconds[0] * 1000,
                    "other_ms": seconds[1] * 1000,
                    "ratio": seconds[1] / seconds[0],
                    "at_least": aim,
                }
                | (
                    _difference(exact, other, polygons)
                    if other is not copied
                    else {"difference": f"{seconds[0] / seconds[1]:.1f} times the limit"}
                )
            )
    return rows


NAMES = {
    "looped": "a pyproj.Geod loop",
    "projected": "geopandas, a UTM projection a site",
    "copied": "a copy of the coordinates (no work: the limit)",
}


def ragged_polygons(number: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Vertices (N, 2) in degrees, where each ring and each polygon begins: smooth greens."""
    rng = np.random.default_rng(SEED)
    corners = rng.integers(40, 121, number)
    rings = np.concatenate([[0], np.cumsum(corners + 1)])
    owner = np.repeat(np.arange(number), corners + 1)
    turn = (np.arange(len(owner)) - rings[owner]) / corners[owner]
    angle = 2 * np.pi * np.where(turn == 1, 0.0, turn)
    radius = rng.uniform(8, 20, number)[owner]
    for wave in (2, 3, 4):
        radius = radius * (1 + rng.normal(0, 0.04, number)[owner] * np.cos(wave * angle))
    site = np.arange(number) // SITE
    lon, lat = rng.uniform(-170, 170, site[-1] + 1)[site], rng.uniform(-58, 58, site[-1] + 1)[site]
    lat = lat + rng.uniform(-0.01, 0.01, number)
    x = lon[owner] + radius * np.cos(angle) / METRES_PER_DEGREE / np.cos(np.radians(lat))[owner]
    y = lat[owner] + radius * np.sin(angle) / METRES_PER_DEGREE
    return np.column_stack([x, y]), rings, np.arange(number + 1)


def _share(number: int, polygons: int) -> slice:
    size = max(1, polygons // SHARES // SITE) * SITE  # whole sites
    begin = number % SHARES * size % polygons
    return slice(begin, begin + size)


#: how far the ways may differ: Geod by its own noise, a projection by the scale of its zone
AGREE_PPM = {"looped": 10, "projected": 2000}


def _difference(
    exact: np.ndarray, other: Callable[[int], np.ndarray], polygons: int
) -> dict[str, Any]:
    found = other(0)
    off = np.abs(exact[_share(0, polygons)] - found)
    ppm = (off / found).max() * 1e6
    told = f"up to {off.max():.2g} m² or {ppm:.2g} ppm"
    return {"difference": told, "agree": bool(ppm < AGREE_PPM[other.__name__])}


#: CPU seconds that a turn takes at least, else its call is made again: a single call of less than a
#: millisecond after another way's work would mostly tell how long caches take to fill.
TURN_S = 0.02


def in_turn(ways: list[Callable[[int], Any]], rounds: int) -> dict[Callable[[int], Any], float]:
    """Median CPU seconds of a call of each way; the first round only warms up.

    In its turn a way is called until ``TURN_S`` have passed, and the mean of its calls counts.
    """
    taken: dict[Callable[[int], Any], list[float]] = {way: [] for way in ways}
    for number in range(rounds + 1):
        for way in ways:
            calls, begun, passed = 0, time.process_time(), 0.0
            while passed < TURN_S:
                way(number)
                calls, passed = calls + 1, time.process_time() - begun
            taken[way].append(passed / calls)
    return {way: statistics.median(seconds[1:]) for way, seconds in taken.items()}
