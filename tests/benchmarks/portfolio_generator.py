"""A seeded maker of portfolios: many invented sites with known overthrow, as folders or as a set.

A site has 18 holes with a green (40 to 120 vertices), its collar, an approach that runs under the
collar, and a tee: 72 surfaces; 12 dressings of all greens, every third of them of the tees as well;
4 catches on each dressed surface's green in each dressing. Places are drawn at random between 58
degrees south and north; nothing is a real property.

    python tests/benchmarks/portfolio_generator.py FOLDER --sites 100 --as set
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

Floats = NDArray[np.float64]

BINARY, NATIVE = "WKB", "polygon"  #: encodings of the polygons of a set, as GeoParquet calls them
METRES_PER_DEGREE = 111_320.0
SPREADERS = ("twin disc", "belt drop", "single disc")
OVERTHROWN = {"twin disc": 0.10, "belt drop": 0.02, "single disc": 0.14}
KINDS = ("green", "collar", "approach", "tee")
PLANNED_MM = 0.6
FIRST_DAY = np.datetime64("2026-03-05")
SETTINGS: dict[str, Any] = {
    "season_start": "2026-03-01",
    "season_end": "2026-11-30",
    "boundary_accuracy_m": 0.05,
    "edge_accuracy_m": 0.10,
    "edge_bias_m": 0.05,
    "position_accuracy_m": 1.0,
    "collar_width_m": 0.9,
    "surrounds_width_m": 4.0,
    "tolerance_percent": 10.0,
    "agreement_percent": 10.0,
    "sands.dried.bulk_density_g_cm3": 1.55,
    "sands.dried.u_bulk_density_g_cm3": 0.03,
    "sands.dried.moisture_dry_basis_percent": 1.0,
    "sands.dried.u_moisture_percent": 0.3,
    "catches.u_tray_percent": 0.5,
    "catches.catch_efficiency_percent": 100.0,
    "catches.u_catch_efficiency_percent": 3.0,
    "targets_mm.green": 7.5,
    "targets_mm.tee": 2.5,
}

Columns = dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Extent:
    """How much there is of a site; four surfaces a green, catches on each green and dressing."""

    greens: int = 18
    dressings: int = 12
    catches: int = 4


WHOLE = Extent()


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeSite:
    """The tables of one site, by the names of the site folder's columns."""

    name: str
    settings: Columns
    surfaces: Columns  #: with ``geometry``
    dressings: Columns
    loads: Columns
    catches: Columns
    overthrow: float  #: true overthrow over the sand on the surfaces


def made_sites(sites: int, seed: int = 20261125, extent: Extent = WHOLE) -> Iterator[MadeSite]:
    """The first ``sites`` sites of a seed; each is the same however many are asked for."""
    for number in range(sites):
        yield _site(np.random.default_rng([seed, number]), f"site-{number + 1:05d}", extent)


def _site(rng: np.random.Generator, name: str, extent: Extent) -> MadeSite:
    greens, dressings = extent.greens, extent.dressings
    lon, lat = float(rng.uniform(-170, 170)), float(rng.uniform(-58, 58))
    polygons, centres, radii, area = _polygons(rng, lon, lat, greens)
    spreader = SPREADERS[int(rng.integers(len(SPREADERS)))]
    overthrow = OVERTHROWN[spreader] * float(rng.uniform(0.6, 1.4))
    keen = float(rng.choice([1.0, 1.0, 1.0, 0.75]))  # one site in four falls behind its target
    lasting = np.exp(rng.normal(0, 0.07, greens))
    rate = (
        (PLANNED_MM / 1000 * 1550 * keen)
        * np.exp(rng.normal(0, 0.05, (dressings, 1)))
        * (lasting * np.exp(rng.normal(0, 0.04, (dressings, greens))))
    )
    on = (rate * area[:greens]).sum(axis=1)
    with_tees = np.arange(dressings) % 3 == 2
    on = on + with_tees * rate.mean(axis=1) * area[greens:].sum()
    ids = [f"{kind[0]}{hole + 1}" for kind in KINDS for hole in range(greens)]
    return MadeSite(
        name=name,
        settings={"name": f"{name} (invented)", **SETTINGS},
        surfaces={
            "id": ids,
            "name": [f"{kind} {hole + 1}" for kind in KINDS for hole in range(greens)],
            "kind": [kind for kind in KINDS for _ in range(greens)],
            "around": [f"g{i[1:]}" if i[0] == "c" else None for i in ids],
            "geometry": polygons,
        },
        dressings={
            "dressing": [f"D{k + 1}" for k in range(dressings)],
            "date": [str(FIRST_DAY + np.timedelta64(22 * k, "D")) for k in range(dressings)],
            "surfaces": ["green tee" if tees else "green" for tees in with_tees],
            "planned_depth_mm": [PLANNED_MM] * dressings,
            "spreader": [spreader] * dressings,
            "swath_m": [4.0] * dressings,
        },
        loads=_loads(rng, on * (1 + overthrow), wrong=bool(rng.random() < 0.05)),
        catches=_catches(rng, rate, centres, radii, (lon, lat), extent),
        overthrow=overthrow,
    )


def _polygons(
    rng: np.random.Generator, lon: float, lat: float, greens: int
) -> tuple[NDArray[np.object_], Floats, Floats, Floats]:
    """Polygons by kind, centres (m) and least radii of the greens, areas of greens and tees."""
    polygons = np.empty(4 * greens, dtype=object)
    centres, radii, areas = np.zeros((greens, 2)), np.zeros(greens), np.zeros(2 * greens)
    for hole in range(greens):
        middle = np.array([160.0 * (hole % 6), 190.0 * (hole // 6)])
        angle = np.linspace(0, 2 * np.pi, int(rng.integers(40, 121)), endpoint=False)
        waves = [rng.normal(0, 0.9 / k) * np.cos(k * angle + rng.uniform(0, 6)) for k in (2, 3, 4)]
        radius = rng.uniform(11, 14) + sum(waves)
        green = middle + _round(angle, radius)
        collar = middle + _round(angle, radius + 1.0)
        approach = middle + np.array([[-7, -32], [7, -32], [8, -8], [-8, -8]])
        tee = middle + np.array([[-6, -84], [6, -84], [6, -76], [-6, -76]])
        tee = tee + rng.uniform(-1, 1, (4, 2))
        shapes = ((green,), (collar, green), (approach,), (tee,))
        for kind, (shell, *holes) in enumerate(shapes):
            rings = [_degrees(ring, lon, lat) for ring in holes]
            polygons[kind * greens + hole] = shapely.Polygon(_degrees(shell, lon, lat), rings)
        centres[hole], radii[hole] = middle, radius.min()
        areas[hole], areas[greens + hole] = (shapely.Polygon(r).area for r in (green, tee))
    return polygons, centres, radii, areas


def _round(angle: Floats, radius: Floats) -> Floats:
    return np.column_stack((radius * np.cos(angle), radius * np.sin(angle)))


def _degrees(metres: Floats, lon: float, lat: float) -> Floats:
    scale = METRES_PER_DEGREE * np.array([np.cos(np.radians(lat)), 1.0])
    return np.round(np.array([lon, lat]) + metres / scale, 9)


def _loads(rng: np.random.Generator, spread: Floats, *, wrong: bool) -> Columns:
    """Moist sacks of 25 kg; the label errs by 1 %, alike in all; ``wrong``: really 33 kg."""
    mass = (33.0 if wrong else 25.0) * (1 + rng.normal(0, 0.01)) / 1.01
    return {
        "load": [f"L{k + 1}" for k in range(len(spread))],
        "dressing": [f"D{k + 1}" for k in range(len(spread))],
        "count": np.round(spread / mass, 1).tolist(),
        "unit_mass_kg": [25.0] * len(spread),
        "u_unit_mass_kg": [0.25] * len(spread),
        "u_label_percent": [1.0] * len(spread),
    }


def _catches(
    rng: np.random.Generator,
    rate: Floats,
    centres: Floats,
    radii: Floats,
    place: tuple[float, float],
    extent: Extent,
) -> Columns:
    greens, catches = extent.greens, extent.catches
    shape = (extent.dressings, greens, catches)
    far = np.sqrt(rng.uniform(0, 0.95, shape)) * radii[:, None]
    angle = rng.uniform(0, 2 * np.pi, shape)
    metres = centres[:, None] + np.stack((far * np.cos(angle), far * np.sin(angle)), axis=-1)
    places = _degrees(metres.reshape(-1, 2), *place)
    efficiency = 1 + rng.normal(0, 0.03)
    sand = rate[:, :, None] * 0.1 * 1000 * 1.01 * efficiency * (1 + rng.normal(0, 0.1, shape))
    number = np.arange(len(places))
    dressing, green = number // (greens * catches), number // catches % greens
    return {
        "catch": [f"c{k}" for k in number],
        "dressing": [f"D{k + 1}" for k in dressing],
        "surface": [f"g{k + 1}" for k in green],
        "lon": places[:, 0],
        "lat": places[:, 1],
        "tray_length_mm": np.full(len(number), 400.0),
        "tray_width_mm": np.full(len(number), 250.0),
        "tare_g": np.full(len(number), 50.0),
        "gross_g": np.round(50.0 + sand.ravel(), 1),
    }


def write_folders(root: Path, sites: int, seed: int = 20261125, extent: Extent = WHOLE) -> Path:
    """One site folder a site below ``root``."""
    for site in made_sites(sites, seed, extent):
        folder = root / site.name
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "site.toml").write_text(_toml(site.settings), encoding="utf-8")
        names = [n for n in site.surfaces if n != "geometry"]
        features = [
            {
                "type": "Feature",
                "properties": {n: site.surfaces[n][k] for n in names if site.surfaces[n][k]},
                "geometry": shapely.geometry.mapping(shape),
            }
            for k, shape in enumerate(site.surfaces["geometry"])
        ]
        document = {"type": "FeatureCollection", "features": features}
        (folder / "surfaces.geojson").write_text(json.dumps(document), encoding="utf-8")
        for name in ("dressings", "loads", "catches"):
            table = getattr(site, name)
            rows = zip(*[_texts(column) for column in table.values()], strict=True)
            lines = [",".join(table), *(",".join(row) for row in rows)]
            (folder / f"{name}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return root


def _texts(column: Any) -> list[str]:
    return [f"{v:.9f}" if isinstance(v, np.float64) else str(v) for v in column]


def _toml(settings: Columns) -> str:
    """Keys with points are tables."""
    plain = {k: v for k, v in settings.items() if "." not in k}
    lines = [f"{k} = {v if 'season' in k else json.dumps(v)}" for k, v in plain.items()]
    for table in dict.fromkeys(k.rpartition(".")[0] for k in settings if "." in k):
        lines.append(f"[{table}]")
        for key, value in settings.items():
            head, _, name = key.rpartition(".")
            if head == table:
                lines.append(f"{name} = {json.dumps(value)}")
    return "\n".join(lines) + "\n"


def write_set(
    root: Path,
    sites: int,
    seed: int = 20261125,
    chunk: int = 100,
    extent: Extent = WHOLE,
    encoding: str = NATIVE,
) -> Path:
    """One set of GeoParquet and Parquet files below ``root``, a row group for ``chunk`` sites.

    Compressed by LZ4, which is read fastest; of native polygons the bytes of each number apart,
    which makes their file half as large.
    """
    root.mkdir(parents=True, exist_ok=True)
    writers: dict[str, Any] = {}
    batch: dict[str, list[Columns]] = {}

    def flush() -> None:
        for name, parts in batch.items():
            table = _arrow(name, parts, encoding)
            if name not in writers:
                writers[name] = _writer(root / f"{name}.parquet", table.schema)
            writers[name].write_table(table.cast(writers[name].schema), row_group_size=len(table))
        batch.clear()

    for number, site in enumerate(made_sites(sites, seed, extent), start=1):
        tables = {"sites": {k: [v] for k, v in site.settings.items()}}
        tables |= {n: getattr(site, n) for n in ("surfaces", "dressings", "loads", "catches")}
        for name, columns in tables.items():
            size = len(next(iter(columns.values())))
            batch.setdefault(name, []).append({"site": [site.name] * size, **columns})
        if number % chunk == 0 or number == sites:
            flush()
    for writer in writers.values():
        writer.close()
    return root


def _writer(path: Path, schema: Any) -> Any:
    """Corners are different numbers: a dictionary of them would only be tried in vain."""
    import pyarrow.parquet as pq

    corners = [f"geometry.list.element.list.element.{axis}" for axis in "xy"]
    plain = [name for name in schema.names if name != "geometry"]
    native = b'"encoding": "polygon"' in (schema.metadata or {}).get(b"geo", b"")
    return pq.ParquetWriter(
        path,
        schema,
        compression="lz4",
        use_dictionary=plain,
        use_byte_stream_split=corners if native else False,
    )


def _arrow(name: str, parts: list[Columns], encoding: str) -> Any:
    import pyarrow as pa

    columns: Columns = {}
    for key in parts[0]:
        values = [part[key] for part in parts]
        if key == "geometry":
            columns[key] = _encoded(np.concatenate(values), encoding)
        elif isinstance(values[0], np.ndarray):
            columns[key] = pa.array(np.concatenate(values))
        else:
            kind = pa.string() if isinstance(values[0][0], (str, type(None))) else None
            columns[key] = pa.array([v for one in values for v in one], kind)
    table = pa.table(columns)
    if name != "surfaces":
        return table
    geo = {
        "version": "1.1.0",
        "primary_column": "geometry",
        "columns": {"geometry": {"encoding": encoding, "geometry_types": ["Polygon"]}},
    }
    return table.replace_schema_metadata({b"geo": json.dumps(geo).encode()})


def _encoded(polygons: NDArray[np.object_], encoding: str) -> Any:
    """A column of polygons as geopandas writes it: bytes, or lists of rings of x and y."""
    import pyarrow as pa

    if encoding == BINARY:
        return pa.array(shapely.to_wkb(polygons), pa.binary())
    _, corners, (ends, rings) = shapely.to_ragged_array(polygons)
    axes = [pa.field(axis, pa.float64(), nullable=False) for axis in "xy"]
    places = pa.StructArray.from_arrays([pa.array(axis) for axis in corners.T.copy()], fields=axes)
    return _lists(rings, _lists(ends, places))


def _lists(begun: Any, members: Any) -> Any:
    """Lists without blanks in them: where some could be, reading takes half as long again."""
    import pyarrow as pa

    kind = pa.list_(pa.field("element", members.type, nullable=False))
    return pa.ListArray.from_arrays(pa.array(begun), members, type=kind)


def main() -> None:
    """Write a portfolio."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--sites", type=int, default=100)
    parser.add_argument("--seed", type=int, default=20261125)
    parser.add_argument("--as", dest="form", choices=["folders", "set"], default="folders")
    asked = parser.parse_args()
    write = write_folders if asked.form == "folders" else write_set
    print(write(asked.folder, asked.sites, asked.seed))


if __name__ == "__main__":
    main()
