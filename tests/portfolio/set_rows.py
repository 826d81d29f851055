"""Sets of files made from site folders, whole or spoiled by chance, for the readers of sets."""

from __future__ import annotations

import csv
import datetime
import json
import math
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import shapely

from geosand.portfolio.rows_by_site import SiteRows, split_by_site

Rows = dict[str, list[dict[str, Any]]]
RECORDS = ("dressings", "loads", "catches", "deliveries")


def rows_of(folders: list[Path]) -> Rows:
    """The rows of a set that says what the folders say, by table."""
    tables: Rows = {name: [] for name in ("sites", "surfaces", *RECORDS)}
    for folder in folders:
        site = {"site": folder.name}
        settings = tomllib.loads((folder / "site.toml").read_text(encoding="utf-8"))
        tables["sites"].append(site | _flat(settings))
        for path in [*sorted((folder / "editions").glob("*.geojson")), folder / "surfaces.geojson"]:
            document = json.loads(path.read_text(encoding="utf-8"))
            for feature in document["features"]:
                shape = shapely.geometry.shape(feature["geometry"])
                row = {"valid_from": document.get("valid_from"), **feature["properties"]}
                tables["surfaces"].append(site | row | {"geometry": shape})
        for name in RECORDS:
            if (path := folder / f"{name}.csv").is_file():
                with path.open(encoding="utf-8", newline="") as file:
                    rows = [{k: _number(v) for k, v in r.items()} for r in csv.DictReader(file)]
                tables[name] += [site | row for row in rows]
    return tables


def _flat(table: dict[str, Any], before: str = "") -> dict[str, Any]:
    out: dict[str, Any] = {}
    for key, value in table.items():
        if isinstance(value, dict):
            out |= _flat(value, f"{before}{key}.")
        else:
            out[before + key] = str(value) if isinstance(value, datetime.date) else value
    return out


def _number(text: str) -> Any:
    try:
        return float(text)
    except ValueError:
        return text or None


def arrow(rows: list[dict[str, Any]], *, geometry: bool) -> pa.Table:
    """The rows as an Arrow table; a column of different kinds of cells becomes texts."""
    names = list(dict.fromkeys(name for row in rows for name in row))
    columns: dict[str, pa.Array] = {}
    for name in names:
        cells = [row.get(name) for row in rows]
        if name == "geometry" and geometry:
            columns[name] = pa.array([_binary(c) for c in cells], pa.binary())
            continue
        kinds = {type(c) for c in cells} - {type(None)}
        if len(kinds) > 1 and not kinds <= {int, float}:
            cells = [None if c is None else str(c) for c in cells]
        columns[name] = pa.array(cells, pa.float64() if kinds == {int, float} else None)
    return pa.table(columns)


def _binary(cell: Any) -> bytes | None:
    if isinstance(cell, shapely.Geometry):
        return bytes(shapely.to_wkb(cell))
    return cell if cell is None or isinstance(cell, bytes) else str(cell).encode()


def parts_of(tables: Rows, keys: list[str], *, words: bool = True) -> dict[str, SiteRows]:
    """The tables as they come from files: texts as words (Parquet) or written out."""
    parts = {}
    for name, rows in tables.items():
        if rows:
            table = arrow(rows, geometry=name in ("surfaces", "catches"))
            numbers = pa.array(range(1, len(rows) + 1))
            table = table.append_column("row", numbers)
            for k, column in enumerate(table.columns if words else []):
                if pa.types.is_string(column.type):
                    table = table.set_column(k, table.column_names[k], column.dictionary_encode())
            parts[name] = split_by_site(table, keys, "geometry")
    return parts


WORDS = ("", " ", "x", "green", "g1", "D1", "2026-13-45", "1e999", "1_000", "7", "a\x01b", "nan")
ODD: tuple[Any, ...] = (None, math.nan, math.inf, 0.0, -1.0, 1e-9, 1e9, 7.0, *WORDS, "y" * 1001)
NEW = ("gross_oz", "tray_length_in", "tray_area_cm2", "moisture_percent", "u_moisture_percent")
NEW += ("moisture_dry_basis_percent", "volume_cm3", "pool", "note", "reject_reason", "volume_state")
NEW += ("swath_ft", "surface", "surfaces", "around", "kind", "unit_mass_lb", "weighed_kg", "grain")
NEW += ("elevation_m", "target_mm", "speed_kmh", "gross", "edge_distance_m", "gross_ells", "lon")
NEW += ("sands.b.bulk_density_g_cm3", "sands.b.kiln_dried", "targets_mm.tee", "targets_in.green")
NEW += ("season_end", "units", "catches.u_tray_percent", "sand.bulk_density_g_cm3", "sands", "Kind")


def spoil(tables: Rows, rng: np.random.Generator) -> Rows:
    """The tables with one to three things changed at random, mostly of one site."""
    out = {name: [dict(row) for row in rows] for name, rows in tables.items()}
    for _ in range(int(rng.integers(1, 4))):
        name = str(rng.choice([name for name, rows in out.items() if rows]))
        rows = out[name]
        row = int(rng.integers(len(rows)))
        what = rng.choice(["cell", "cell", "cell", "new", "new", "copy", "drop", "swap", "shape"])
        if what == "cell":
            column = str(rng.choice(list(rows[row])))
            rows[row][column] = ODD[rng.integers(len(ODD))]
        elif what == "new":
            column = str(rng.choice(NEW))
            values = [ODD[rng.integers(len(ODD))] for _ in range(2)]
            mine = [r for r in rows if r["site"] == rows[row]["site"]]
            for one in mine if rng.random() < 0.5 else mine[:1]:
                one[column] = values[int(rng.integers(2))]
        elif what == "copy":
            rows.insert(int(rng.integers(len(rows))), dict(rows[row]))
        elif what == "drop":
            del rows[row]
        elif what == "swap":
            other = int(rng.integers(len(rows)))
            column = str(rng.choice([c for c in rows[row] if c != "geometry"]))
            rows[row][column] = rows[other].get(column)
        elif name == "surfaces":
            rows[row]["geometry"] = _another(rows[row]["geometry"], rng)
        rows[:] = [r for r in rows if isinstance(r["site"], str) and r["site"].strip()]
    return out


def _another(shape: Any, rng: np.random.Generator) -> Any:
    if not isinstance(shape, shapely.Geometry):
        return shape
    flipped = shapely.transform(shape, lambda points: points[:, ::-1])
    twisted = shapely.transform(shape, lambda points: np.roll(points, 1, axis=1)[:, :2])
    crossed = shapely.get_coordinates(shape)[:-1]
    crossed[[0, 2]] = crossed[[2, 0]]
    solid = shapely.force_3d(shape, 12.5)
    moved = shapely.transform(shape, lambda points: points + 3.0)
    around = shapely.transform(shape, lambda points: points + np.array([200.0, 0.0]))
    others = [None, b"\x01\x02", shape.centroid, shapely.Polygon(), flipped, twisted, solid, moved]
    others += [shapely.MultiPolygon([shape]) if shape.geom_type == "Polygon" else shape, around]
    others += [shapely.Polygon(crossed), shape.boundary]
    return others[int(rng.integers(len(others)))]
