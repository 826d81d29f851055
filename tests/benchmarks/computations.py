"""Areas and assignment of catches beside the ways of a notebook, on seeded synthetic sites."""

from __future__ import annotations

import json
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pandas as pd
import shapely
from pyproj import Geod

from geosand.areas.ellipsoid import ellipsoid_areas_m2
from geosand.areas.register import area_register
from geosand.formats.site_folder import read_site
from geosand.rates.assignment import assign

SEED = 20260301
GREENS, DRESSINGS, CATCHES = 18, 12, 4  #: catches on each green in each dressing
METRES_PER_DEGREE = 111_195.0
KINDS = ("green", "collar", "surround", "tee")
TOML = """\
name = "Synthetic"
season_start = 2026-03-01
season_end = 2026-11-30
position_accuracy_m = 0.02
[sand]
bulk_density_g_cm3 = 1.55
kiln_dried = true
"""


def comparisons(sites: int) -> list[dict[str, Any]]:
    """All comparisons, ready to print: both times, their ratio, the aim, how results differ."""
    rng = np.random.default_rng(SEED)
    places = np.column_stack((rng.uniform(-170, 170, sites), rng.uniform(-58, 58, sites)))
    made = [surfaces_at(rng, lon, lat) for lon, lat in places.tolist()]
    return [*compare_areas(made), *compare_assignment(rng, made[: max(1, sites // 4)])]


def surfaces_at(rng: np.random.Generator, lon: float, lat: float) -> np.ndarray:
    """A site of 72 polygons: for each hole a smooth green, its collar, its surround and a tee."""
    column = np.empty(4 * GREENS, dtype=object)
    for hole in range(GREENS):
        x, y = 160.0 * (hole % 6), 190.0 * (hole // 6)
        angle = np.linspace(0, 2 * np.pi, rng.integers(40, 120), endpoint=False)
        waves = [rng.normal(0, 0.9 / k) * np.cos(k * angle + rng.uniform(0, 6)) for k in (2, 3, 4)]
        radius = rng.uniform(11, 14) + sum(waves)
        edges = [_ring(angle, radius + more, x, y) for more in (0.0, 1.0, 5.0)]
        shapes = ((edges[0],), (edges[1], edges[0]), (edges[2], edges[1]), (_tee(rng, x, y),))
        for kind, rings in enumerate(shapes):
            shell, *holes = (_degrees(np.array(ring), lon, lat) for ring in rings)
            column[4 * hole + kind] = shapely.Polygon(shell, holes)
    return column


def _tee(rng: np.random.Generator, x: float, y: float) -> np.ndarray:
    corners = np.array([[-6, -64], [6, -64], [6, -56], [-6, -56]]) + rng.uniform(-1, 1, (4, 2))
    return corners + np.array([x, y])


def _ring(angle: np.ndarray, radius: np.ndarray, x: float, y: float) -> np.ndarray:
    return np.column_stack((x + radius * np.cos(angle), y + radius * np.sin(angle)))


def _degrees(metres: np.ndarray, lon: float, lat: float) -> np.ndarray:
    scale = METRES_PER_DEGREE * np.array([np.cos(np.radians(lat)), 1.0])
    return np.round(np.array([lon, lat]) + metres / scale, 9)


def compare_areas(made: list[np.ndarray]) -> list[dict[str, Any]]:
    """One call for all sites, beside a geodesic loop and a projected frame a site."""
    everything = np.concatenate(made)
    frames = [geopandas.GeoSeries(one, crs=4326) for one in made]
    geod = Geod(ellps="WGS84")

    def loop() -> np.ndarray:
        oriented = shapely.orient_polygons(everything)
        return np.array([geod.geometry_area_perimeter(one)[0] for one in oriented])

    def projected() -> np.ndarray:
        areas = [one.to_crs(one.estimate_utm_crs()).area for one in frames]
        return np.concatenate([one.to_numpy() for one in areas])

    mine, seconds = best(lambda: ellipsoid_areas_m2(everything))
    rows = []
    for way, call, aim in (
        ("a pyproj.Geod loop", loop, 25.0),
        ("geopandas, a UTM projection a site", projected, None),
    ):
        other, taken = best(call, 3)
        off = mine - other
        difference = (
            f"up to {np.abs(off).max():.2g} m² or {np.abs(off / other).max() * 1e6:.2g} ppm"
        )
        rows.append(
            _row("areas of polygons", f"{len(made)} sites of 72 surfaces", way, seconds, taken)
            | {"difference": difference, "at_least": aim}
        )
    return rows


def compare_assignment(rng: np.random.Generator, made: list[np.ndarray]) -> list[dict[str, Any]]:
    """The surface under each catch, beside spatial joins; geosand also measures edges and zones."""
    with tempfile.TemporaryDirectory() as folder:
        sites = [read_site(_write(rng, Path(folder) / str(k), one)) for k, one in enumerate(made)]
    registers = [area_register(site.surfaces) for site in sites]
    frames = [_frames(site) for site in sites]

    def mine() -> list[np.ndarray]:
        return [assign(s, r).surface for s, r in zip(sites, registers, strict=True)]

    def by_site() -> list[np.ndarray]:
        return [_joined(catches, surfaces) for catches, surfaces in frames]

    def by_dressing() -> list[np.ndarray]:
        found = []
        for catches, surfaces in frames:
            parts = [_joined(part, surfaces) for _, part in catches.groupby("dressing")]
            order = np.concatenate([part.index for _, part in catches.groupby("dressing")])
            found.append(np.concatenate(parts)[np.argsort(order)])
        return found

    ours, seconds = best(mine, 3)
    size = f"{len(sites)} sites of {GREENS * DRESSINGS * CATCHES} catches"
    rows = []
    for way, call, aim in (
        ("geopandas.sjoin, one a site", by_site, None),
        ("geopandas.sjoin, one a dressing", by_dressing, None),
    ):
        theirs, taken = best(call, 2)
        off = sum(int((a != b).sum()) for a, b in zip(ours, theirs, strict=True))
        rows.append(
            _row("assignment of catches", size, way, seconds, taken)
            | {"difference": f"{off} catches on another surface", "at_least": aim}
        )
    return rows


def _joined(catches: geopandas.GeoDataFrame, surfaces: geopandas.GeoDataFrame) -> np.ndarray:
    """Row of the surface under each catch, −1 for none, the first on a common edge."""
    plane = catches.estimate_utm_crs()
    found = geopandas.sjoin(
        catches.to_crs(plane), surfaces.to_crs(plane), predicate="intersects", how="left"
    )
    first = found[~found.index.duplicated()]["index_right"]
    return first.fillna(-1).to_numpy().astype(int)


def _frames(site: Any) -> tuple[geopandas.GeoDataFrame, geopandas.GeoDataFrame]:
    catches, surfaces = site.catches, site.surfaces
    points = geopandas.points_from_xy(catches.lon_degree, catches.lat_degree, crs=4326)
    frame = pd.DataFrame({"dressing": catches.dressing})
    polygons = geopandas.GeoDataFrame({"id": surfaces.id}, geometry=surfaces.geometry, crs=4326)
    return geopandas.GeoDataFrame(frame, geometry=points), polygons


def _write(rng: np.random.Generator, folder: Path, polygons: np.ndarray) -> Path:
    """A site folder with catches thrown at random over greens, collars and what lies beside."""
    folder.mkdir()
    features = [
        {
            "type": "Feature",
            "properties": {"id": f"{KINDS[k % 4]}{k // 4 + 1}", "kind": KINDS[k % 4]},
            "geometry": shapely.geometry.mapping(one),
        }
        for k, one in enumerate(polygons.tolist())
    ]
    document = {"type": "FeatureCollection", "features": features}
    (folder / "surfaces.geojson").write_text(json.dumps(document), encoding="utf-8")
    (folder / "site.toml").write_text(TOML, encoding="utf-8")
    days = [f"D{k},2026-04-{k + 1:02d},green,0.6" for k in range(DRESSINGS)]
    heads = "dressing,date,surfaces,planned_depth_mm\n"
    (folder / "dressings.csv").write_text(heads + "\n".join(days) + "\n", encoding="utf-8")
    centre = shapely.get_coordinates(shapely.centroid(polygons[0::4]))
    lines = ["catch,dressing,lon,lat,tray_length_mm,tray_width_mm,tare_g,gross_g"]
    for dressing in range(DRESSINGS):
        metres = rng.uniform(-11, 11, (CATCHES, GREENS, 2))
        for number, place in enumerate(metres.reshape(-1, 2)):
            lon, lat = _degrees(place, *centre[number % GREENS]).tolist()
            sand = 90 + rng.normal(0, 9)
            head = f"c{dressing}-{number},D{dressing}"
            lines.append(f"{head},{lon:.9f},{lat:.9f},400,250,50,{50 + sand:.1f}")
    (folder / "catches.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return folder


def _row(what: str, size: str, beside: str, mine: float, other: float) -> dict[str, Any]:
    return {
        "what": what,
        "size": size,
        "beside": beside,
        "geosand_ms": mine * 1000,
        "other_ms": other * 1000,
        "ratio": other / mine,
    }


def best(call: Callable[[], Any], times: int = 5) -> tuple[Any, float]:
    """What a call gives, and the CPU seconds of its fastest run."""
    taken = []
    for _ in range(times):
        begun = time.process_time()
        result = call()
        taken.append(time.process_time() - begun)
    return result, min(taken)
