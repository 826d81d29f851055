"""Small site folders for tests: one valid site, any file of it replaced, left out or added.

The place is open sea; nothing here is a real property.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

LON, LAT = -30.0, 47.0
DEMO = Path(__file__).resolve().parents[1] / "data" / "demo_site"  #: invented, as its files say

Content = str | bytes | Mapping[str, Any] | Sequence[Mapping[str, Any]] | None


def square(lon: float, lat: float, side_m: float) -> dict[str, Any]:
    """A GeoJSON Polygon about ``lon, lat``: a square of ``side_m`` along the meridian and parallel.

    Side over the radii of curvature of WGS 84 there; right within 1e-6 for sides below 1 km.
    """
    a, e2, phi = 6378137.0, 0.0066943799901413165, math.radians(lat)
    w2 = 1 - e2 * math.sin(phi) ** 2
    north = math.degrees(side_m / 2 / (a * (1 - e2) / w2**1.5))
    east = math.degrees(side_m / 2 / (a / math.sqrt(w2) * math.cos(phi)))
    corners = [(-1, -1), (1, -1), (1, 1), (-1, 1), (-1, -1)]
    return {
        "type": "Polygon",
        "coordinates": [[[lon + x * east, lat + y * north] for x, y in corners]],
    }


def surface(id: str | None, kind: str | None, geometry: Any, **properties: Any) -> dict[str, Any]:
    """One GeoJSON feature of a surface; ``None`` leaves ``id`` or ``kind`` out."""
    named = {"id": id, "kind": kind}
    return {
        "type": "Feature",
        "properties": {k: v for k, v in named.items() if v is not None} | properties,
        "geometry": geometry,
    }


def collection(features: Iterable[Mapping[str, Any]], **members: Any) -> dict[str, Any]:
    """A FeatureCollection with further members, such as ``valid_from``."""
    return {"type": "FeatureCollection", **members, "features": list(features)}


def table(rows: Sequence[Mapping[str, Any]], separator: str = ",") -> str:
    """CSV text of rows; the columns in the order in which they first appear."""
    names = list(dict.fromkeys(name for row in rows for name in row))
    lines = [names, *[[str(row.get(name, "")) for name in names] for row in rows]]
    return "".join(separator.join(line) + "\n" for line in lines)


def points(rows: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """Rows with ``lon`` and ``lat`` as a FeatureCollection of points."""
    return collection(
        {
            "type": "Feature",
            "properties": {k: v for k, v in row.items() if k not in ("lon", "lat")},
            "geometry": {"type": "Point", "coordinates": [row["lon"], row["lat"]]},
        }
        for row in rows
    )


TOML = """\
name = "Test site"
season_start = 2026-03-01
season_end = 2026-11-30
boundary_accuracy_m = 0.05
edge_accuracy_m = 0.10
edge_bias_m = 0.05
position_accuracy_m = 1.0
collar_width_m = 0.9
surrounds_width_m = 4.0
tolerance_percent = 10
agreement_percent = 10

[sands.dried]
bulk_density_g_cm3 = 1.55
u_bulk_density_g_cm3 = 0.03
moisture_dry_basis_percent = 0.0
u_moisture_percent = 0.2

[catches]
u_tray_percent = 0.5
catch_efficiency_percent = 100
u_catch_efficiency_percent = 3.0

[targets_mm]
green = 9.0
tee = 4.0
"""

G1, G2, T1 = (LON, LAT), (LON + 0.004, LAT), (LON, LAT + 0.003)
SURFACES = [
    surface("g1", "green", square(*G1, 20.0), name="First green"),
    surface("g2", "green", square(*G2, 30.0), name="Second green"),
    surface("t1", "tee", square(*T1, 10.0), name="First tee"),
]
DRESSINGS = "dressing,date,surfaces,planned_depth_mm,swath_m\nD1,2026-04-10,green,0.6,4\n"
LOADS = "load,dressing,count,unit_mass_kg,u_unit_mass_kg,u_label_percent\nL1,D1,52,25,0.25,1\n"
TRAY = {"tray_length_mm": 400, "tray_width_mm": 250}
CATCHES = [
    {"catch": f"c{k}", "dressing": "D1", "lon": lon + dx, "lat": lat, **TRAY}
    | {"tare_g": 50, "gross_g": 50 + sand}
    for k, (lon, lat, dx, sand) in enumerate(
        [
            (*G1, -5e-5, 92.0),
            (*G1, 0.0, 97.0),
            (*G1, 5e-5, 88.0),
            (*G2, -5e-5, 90.0),
            (*G2, 0.0, 95.0),
            (*G2, 5e-5, 86.0),
        ],
        start=1,
    )
]


def catch(k: int = 1, **changes: Any) -> dict[str, Any]:
    """Catch ``k`` (1 to 6) of the valid site with changes; ``None`` drops a column."""
    return {name: v for name, v in (CATCHES[k - 1] | changes).items() if v is not None}


def write_site(
    folder: Path,
    *,
    toml: str | bytes | None = TOML,
    surfaces: Content = SURFACES,
    catches: Content = CATCHES,
    dressings: Content = DRESSINGS,
    loads: Content = LOADS,
    files: Mapping[str, Content] | None = None,
    **extra: Content,
) -> Path:
    """Write a site folder and return it; ``None`` leaves that file out.

    ``surfaces`` is text, bytes, a whole document or features; records are text, bytes or rows.
    ``catches`` given as a document (``points(rows)``) becomes catches.geojson. ``files`` adds files
    by their own name (``"editions/2024.geojson"``); ``extra`` adds records (``deliveries=…``).
    """
    folder.mkdir(parents=True, exist_ok=True)
    geojson = isinstance(catches, Mapping)
    everything: dict[str, Content] = {
        "site.toml": toml,
        "surfaces.geojson": _document(surfaces),
        "dressings.csv": dressings,
        "loads.csv": loads,
        "catches.geojson" if geojson else "catches.csv": catches,
        **{f"{name}.csv": content for name, content in extra.items()},
        **(files or {}),
    }
    for name, content in everything.items():
        if content is not None:
            path = folder / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(_bytes(content))
    return folder


def _document(content: Content) -> Content:
    plain = content is None or isinstance(content, (str, bytes, Mapping))
    return content if plain else collection(content)


def _bytes(content: Any) -> bytes:
    if isinstance(content, bytes):
        return content
    if isinstance(content, str):
        return content.encode()
    if isinstance(content, Mapping):
        return json.dumps(content).encode()
    return table(content).encode()


def refusal(folder: Path) -> list[str]:
    """The texts of all faults for which a site folder is refused; AssertionError if it is not."""
    from geosand.errors import Refused
    from geosand.formats.site_folder import read_site

    try:
        site = read_site(folder)
    except Refused as problem:
        return [str(fault) for fault in problem.faults]
    raise AssertionError(f"not refused; findings: {[str(f) for f in site.findings]}")
