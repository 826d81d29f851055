"""One site by geopandas, pandas and uncertainties, as a script, for comparison only.

    python tests/benchmarks/notebook_script.py data/demo_site [map.html]

Areas, the surface under each catch, mean rates by surface and dressing, the balance of each
dressing with shared inputs as correlated numbers, where the overthrow lies, and a map. It checks
nothing and knows less than geosand does: surfaces without catches take the mean of the others.
"""

from __future__ import annotations

import sys
import tomllib
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pandas as pd
from uncertainties import ufloat

REACH_M = 5.0


def rates_of(catches: geopandas.GeoDataFrame, surfaces: geopandas.GeoDataFrame) -> pd.DataFrame:
    """Mean, scatter and number of catches by dressing and surface, kg/m²."""
    size = catches.get("tray_area_cm2", np.nan) / 1e4
    round_tray = np.pi / 4 * (catches.tray_diameter_mm / 1000) ** 2
    square = catches.tray_length_mm * catches.tray_width_mm / 1e6
    size = size.fillna(round_tray).fillna(square)
    under = geopandas.sjoin(catches, surfaces[["id", "kind", "geometry"]], predicate="intersects")
    under = under[~under.index.duplicated()]
    if "reject_reason" in under:
        under = under[under.reject_reason.isna()]
    under["rate"] = (under.gross_g - under.tare_g) / 1000 / size
    return under.groupby(["dressing", "id"]).rate.agg(["mean", "std", "count"])


def balances(
    folder: Path, surfaces: geopandas.GeoDataFrame, rates: pd.DataFrame
) -> dict[str, tuple[Any, pd.DataFrame]]:
    """Overthrow of each dressing (kg), and its dressed surfaces with their rates."""
    settings = tomllib.loads((folder / "site.toml").read_text(encoding="utf-8"))
    dressings, loads = (pd.read_csv(folder / f"{n}.csv") for n in ("dressings", "loads"))
    caught = ufloat(1, settings["catches"]["u_catch_efficiency_percent"] / 100)
    tray = ufloat(1, settings["catches"]["u_tray_percent"] / 100)
    label = ufloat(1, 0.01)
    found = {}
    for name, rows in dressings.groupby("dressing"):
        words = set(" ".join(rows.surfaces).split())
        dressed = surfaces[surfaces.kind.isin(words) | surfaces.id.isin(words)].copy()
        mine = rates.loc[name] if name in rates.index else rates.iloc[:0]
        dressed["rate"] = dressed.id.map(mine["mean"]).fillna(mine["mean"].mean())
        dressed["u"] = dressed.id.map(mine["std"] / np.sqrt(mine["count"]))
        dressed["u"] = dressed.u.where(dressed.u > 0).fillna(mine["mean"].std())
        dressed["u"] = dressed.u.fillna(0.1 * dressed.rate)
        on: Any = 0
        for row in dressed.itertuples():
            on += ufloat(row.rate, row.u) / (tray * caught) * ufloat(row.area_m2, row.u_area_m2)
        spread: Any = 0
        for load in loads[loads.dressing == name].itertuples():
            sand = settings["sands"].get(rows.sand.iloc[0], {}) if "sand" in rows else {}
            water = 1 + sand.get("moisture_dry_basis_percent", 0) / 100
            u = load.u_unit_mass_kg if load.u_unit_mass_kg > 0 else 0.01 * load.unit_mass_kg
            mass = load.count * ufloat(load.unit_mass_kg, u) * label
            spread += (mass - np.nan_to_num(getattr(load, "returned_kg", 0))) / water
        found[str(name)] = spread - on, dressed
    return found


def ring_shares(dressed: geopandas.GeoDataFrame, surfaces: geopandas.GeoDataFrame) -> pd.Series:
    """Share of the overthrow by kind of ground, in a ring about the dressed surfaces."""
    ring = dressed[["rate", "geometry"]].copy()
    ring["geometry"] = dressed.buffer(REACH_M).difference(dressed.union_all())
    over = geopandas.overlay(ring, surfaces[["kind", "geometry"]], "identity", keep_geom_type=True)
    sand = (over.rate * over.area).groupby(over.kind.fillna("other")).sum()
    return sand / sand.sum()


def draw(surfaces: geopandas.GeoDataFrame, found: dict[str, Any], file: str) -> None:
    """A map with a layer for each dressing."""
    import folium

    bounds = surfaces.total_bounds
    page = folium.Map(location=[(bounds[1] + bounds[3]) / 2, (bounds[0] + bounds[2]) / 2])
    for name, (_, dressed) in found.items():
        shown = dressed[["id", "rate", "geometry"]].to_crs(4326)
        folium.GeoJson(
            shown.to_json(),
            name=name,
            style_function=lambda f: {"fillOpacity": min(1.0, f["properties"]["rate"] / 3)},
            tooltip=folium.GeoJsonTooltip(["id", "rate"]),
        ).add_to(page)
    folium.LayerControl().add_to(page)
    page.save(file)


def main(folder: Path, file: str | None) -> None:
    """Print the overthrow of each dressing and where it lies; write a map where one is named."""
    surfaces = geopandas.read_file(folder / "surfaces.geojson")
    geographic = folder / "catches.geojson"
    if geographic.exists():
        catches = geopandas.read_file(geographic)
    else:
        table = pd.read_csv(folder / "catches.csv")
        places = geopandas.points_from_xy(table.lon, table.lat, crs=4326)
        catches = geopandas.GeoDataFrame(table, geometry=places)
    for column in ("tray_area_cm2", "tray_diameter_mm", "tray_length_mm", "tray_width_mm"):
        if column not in catches:
            catches[column] = np.nan
    plane = surfaces.to_crs(surfaces.estimate_utm_crs())
    plane["area_m2"], plane["u_area_m2"] = plane.area, 0.05 * plane.length
    found = balances(folder, plane, rates_of(catches.to_crs(plane.crs), plane))
    for name, (over, dressed) in found.items():
        if dressed.rate.notna().any():
            shares = ring_shares(dressed, plane).round(2).to_dict()
            print(f"{name}: {over:.0f} kg beyond the surfaces; {shares}")
    if file is not None:
        draw(plane, found, file)


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2] if len(sys.argv) > 2 else None)
