"""Shapes, trays and rows of records in metres about one place."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from tests.sites import TOML, TRAY, surface

Row = dict[str, Any]
Metres = tuple[float, float]  #: east and north of the middle of a site
MIDDLES: tuple[Metres, ...] = ((0.0, 0.0), (60.0, 10.0), (-20.0, 70.0))  #: of the round greens
RADIUS = 10.0


class Place:
    """Shapes and trays in metres about one place; across the antimeridian as GeoJSON cuts them."""

    def __init__(self, lon: float, lat: float) -> None:
        a, e2, phi = 6378137.0, 0.0066943799901413165, math.radians(lat)
        w2 = 1 - e2 * math.sin(phi) ** 2
        self.lon, self.lat = lon, lat
        self.east = math.degrees(1 / (a / math.sqrt(w2) * math.cos(phi)))
        self.north = math.degrees(1 / (a * (1 - e2) / w2**1.5))

    def at(self, x: float, y: float) -> tuple[float, float]:
        """Longitude and latitude, rounded as a receiver tells them."""
        lon = self.lon + x * self.east
        return round(lon - 360 if lon > 180 else lon, 9), round(self.lat + y * self.north, 9)

    def ring(self, outline: list[Metres]) -> list[list[float]]:
        """A closed ring."""
        places = [list(self.at(x, y)) for x, y in outline]
        return [*places, places[0]]

    def polygon(self, *outlines: list[Metres]) -> dict[str, Any]:
        """An outline and its holes."""
        return {"type": "Polygon", "coordinates": [self.ring(one) for one in outlines]}

    def tray(self, x: float, y: float, caught_g: float, **changes: Any) -> Row:
        """A tray that held ``caught_g`` of sand; ``None`` leaves a column blank."""
        lon, lat = self.at(x, y)
        row = {"lon": f"{lon:.9f}", "lat": f"{lat:.9f}", **TRAY, "tare_g": 50}
        row |= {"gross_g": round(50 + caught_g, 1)} | changes
        return {name: "" if value is None else value for name, value in row.items()}


def disc(middle: Metres, radius: float, corners: int = 40, wave: float = 0.0) -> list[Metres]:
    """A round outline; ``wave`` is how far it swings in and out three times."""
    out = []
    for k in range(corners):
        angle = 2 * math.pi * k / corners
        r = radius + wave * math.cos(3 * angle)
        out.append((middle[0] + r * math.cos(angle), middle[1] + r * math.sin(angle)))
    return out


def box(west: float, south: float, east: float, north: float) -> list[Metres]:
    """An upright rectangle."""
    return [(west, south), (east, south), (east, north), (west, north)]


def greens(place: Place, wave: float = 1.0, grown: float = 0.0) -> list[dict[str, Any]]:
    """Three round greens of about 10 m, each a little larger than the one before."""
    return [
        surface(f"g{k}", "green", place.polygon(disc(m, RADIUS + k + grown, wave=wave)))
        for k, m in enumerate(MIDDLES, start=1)
    ]


def trays(place: Place, dressing: str, seed: int, each: int = 3, **changes: Any) -> list[Row]:
    """Trays within 6 m of the middle of each round green, 90 g of sand with 8 % of scatter."""
    rng = np.random.default_rng(seed)
    rows = []
    for middle in MIDDLES:
        for _ in range(each):
            x, y = np.array(middle) + rng.uniform(-4.0, 4.0, 2)
            rows.append(place.tray(x, y, 90.0 * float(np.exp(rng.normal(0, 0.08))), **changes))
    return [{"catch": f"{dressing}c{k}", "dressing": dressing} | r for k, r in enumerate(rows)]


def ring_trays(place: Place, dressing: str, count: int, farthest_m: float) -> list[Row]:
    """Taped trays beside the first green, the sand in them falling with the distance."""
    rows = []
    for k in range(count):
        away = farthest_m * (k + 0.5) / count
        angle = 2.4 * k
        r = RADIUS + 1 + math.cos(3 * angle) + away
        row = place.tray(r * math.cos(angle), r * math.sin(angle), 80.0 * math.exp(-away / 1.2))
        rows.append({"catch": f"{dressing}r{k}", "dressing": dressing} | row)
        rows[-1] |= {"surface": "g1", "edge_distance_m": round(away, 2)}
    return rows


def dressing(name: str, date: str, surfaces: str = "green", **more: Any) -> Row:
    """A row of dressings.csv."""
    return {"dressing": name, "date": date, "surfaces": surfaces, "planned_depth_mm": 0.6} | more


def load(name: str, of: str, count: float, **more: Any) -> Row:
    """A row of loads.csv: sacks of 25 kg."""
    return {"load": name, "dressing": of, "count": count, "unit_mass_kg": 25} | more


def said(name: str, **changes: str | None) -> str:
    """The plain site.toml with lines changed by their key; ``None`` leaves one out."""
    lines = [f'name = "{name} (invented)"', *TOML.splitlines()[1:]]
    kept = []
    for line in lines:
        key = line.partition(" = ")[0]
        if key not in changes:
            kept.append(line)
        elif changes[key] is not None:
            kept.append(f"{key} = {changes[key]}")
    return "\n".join(kept) + "\n"
