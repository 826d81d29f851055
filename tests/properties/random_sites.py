"""Random small sites as rows, to be written, worked out and compared with a changed twin."""

from __future__ import annotations

import copy
import json
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from hypothesis import strategies as st

from geosand.formats.site_folder import read_site
from geosand.reports.balance_document import balance_document
from geosand.reports.season_document import season_document
from geosand.results import work_out
from tests.sites import collection, surface, write_site

RADIUS_M = 6_371_000.0
KINDS = ("green", "green", "tee", "approach")


@dataclass(slots=True)
class Rows:
    """What ``write_site`` takes, as rows that a test may change."""

    surfaces: list[dict[str, Any]]
    dressings: list[dict[str, Any]]
    loads: list[dict[str, Any]]
    catches: list[dict[str, Any]]

    def twin(self) -> Rows:
        """A copy to be changed."""
        return copy.deepcopy(self)


def degrees(x_m: float, y_m: float, lon: float, lat: float) -> tuple[float, float]:
    """Metres east and north of a place as lon, lat; a sphere will do for drawing."""
    north = np.degrees(y_m / RADIUS_M)
    return lon + np.degrees(x_m / RADIUS_M / np.cos(np.radians(lat))), lat + north


def outline(
    rng: np.random.Generator, middle: tuple[float, float], lon: float, lat: float
) -> tuple[dict[str, Any], float]:
    """A random star-shaped polygon about a middle in metres, and the radius that lies within it."""
    corners = int(rng.integers(5, 24))
    angle = np.linspace(0, 2 * np.pi, corners, endpoint=False)
    radius = rng.uniform(6, 18) * (1 + 0.25 * rng.uniform(-1, 1, corners))
    ring = [
        [float(v) for v in degrees(middle[0] + r * np.cos(a), middle[1] + r * np.sin(a), lon, lat)]
        for r, a in zip(radius, angle, strict=True)
    ]
    inner = float(radius.min() * np.cos(np.pi / corners))
    return {"type": "Polygon", "coordinates": [[*ring, list(ring[0])]]}, inner


@st.composite
def random_sites(draw: st.DrawFn) -> Rows:
    """A site of 1 to 5 surfaces, 1 to 3 dressings of all of them, 0 to 4 catches on each."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    count, times = draw(st.integers(1, 5)), draw(st.integers(1, 3))
    most = draw(st.integers(0, 4))
    lon, lat = draw(st.sampled_from([(-30.0, 47.0), (20.0, -35.0), (140.0, 5.0), (-100.0, 64.0)]))
    surfaces, places = [], []
    for k in range(count):
        middle = (float(80 * k), float(rng.uniform(-20, 20)))
        shape, inner = outline(rng, middle, lon, lat)
        surfaces.append(surface(f"s{k}", KINDS[k % len(KINDS)], shape))
        places.append((middle, inner))
    rows = Rows(surfaces=surfaces, dressings=[], loads=[], catches=[])
    for d in range(times):
        _dress(rng, rows, d, places, most, (lon, lat))
    return rows


def _dress(
    rng: np.random.Generator,
    rows: Rows,
    d: int,
    places: list[tuple[tuple[float, float], float]],
    most: int,
    origin: tuple[float, float],
) -> None:
    names = " ".join(f["properties"]["id"] for f in rows.surfaces)
    rows.dressings.append(
        {"dressing": f"D{d}", "date": f"2026-0{4 + d}-10", "surfaces": names, "swath_m": 4}
        | {"planned_depth_mm": 0.6}
    )
    for n in range(int(rng.integers(1, 3))):
        rows.loads.append(
            {"load": f"D{d}L{n}", "dressing": f"D{d}", "count": int(rng.integers(8, 40))}
            | {"unit_mass_kg": 25, "u_unit_mass_kg": 0.25, "u_label_percent": 1}
            | {"returned_kg": int(rng.integers(0, 20))}
        )
    for k, ((x, y), inner) in enumerate(places):
        for n in range(int(rng.integers(0, most + 1))):
            angle, reach = rng.uniform(0, 2 * np.pi), (inner - 1.5) * rng.uniform(0, 1)
            spot = degrees(x + reach * np.cos(angle), y + reach * np.sin(angle), *origin)
            rows.catches.append(
                {"catch": f"D{d}s{k}c{n}", "dressing": f"D{d}", "lon": spot[0], "lat": spot[1]}
                | {"tray_length_mm": 400, "tray_width_mm": 250, "tare_g": 50}
                | {"gross_g": 50 + round(float(rng.uniform(60, 130)), 1), "surface": f"s{k}"}
            )


def documents(rows: Rows) -> tuple[dict[str, Any], dict[str, Any]]:
    """Balance and season of a site, as the verbs print them; NaN in either is an error."""
    with tempfile.TemporaryDirectory() as place:
        folder = write_site(
            Path(place),
            surfaces=collection(rows.surfaces),
            dressings=rows.dressings,
            loads=rows.loads,
            catches=rows.catches or None,
        )
        results = work_out(read_site(folder))
    balance = json.loads(json.dumps(balance_document(results), allow_nan=False))
    return balance, json.loads(json.dumps(season_document(results), allow_nan=False))


def figures(rows: Rows) -> dict[tuple[str, ...], float | None]:
    """All masses, depths and their u by name: of dressings, of surfaces, of the season."""
    balance, season = documents(rows)
    out: dict[tuple[str, ...], float | None] = {}
    for dressing in balance["dressings"]:
        name = dressing["dressing"]
        for part in ("spread", "on_surfaces", "overthrow"):
            for key in ("mass_kg", "u_kg", "low_kg", "high_kg", "reach_m"):
                out[name, part, key] = dressing[part].get(key)
        for row in dressing["surfaces"]:
            for key in ("area_m2", "depth_mm", "u_depth_mm", "low_mm", "high_mm", "mass_kg"):
                out[name, row["id"], key] = row[key]
    for row in season["surfaces"]:
        for key in ("depth_mm", "u_depth_mm", "probability"):
            out["season", row["id"], key] = row[key]
    return out
