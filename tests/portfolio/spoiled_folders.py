"""Files of site folders changed by chance: cells, columns, keys, features, whole files."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np

from tests.portfolio.set_rows import NEW, ODD

Rng = np.random.Generator
HEADS = ("edge_accuracy_m", "edge_bias_m", "boundary_accuracy_m", "datum_accuracy_m", "source")
HEADS += ("source_crs", "valid_from", "crs", "unknown")
KEYS = ("elevation_m = 12", "units = 'us'", "season_end = 2026-10-01", "colour = 'green'", "x = []")
KEYS += ("elevation_ft = 30", "edge_acuracy_m = 0.2", "tolerance_percent = 20.0", "name = ''")
KEYS += (
    "catches = 3",
    "sands = 'dried'",
    "elevation_m = nan",
    "units = 3",
    "[more]",
    "[more]\na = 1",
)
KEYS += ("[sands.second]\nbulk_density_g_cm3 = 1.6\nkiln_dried = true", "[sands.empty]")
KEYS += ("[targets_in]\ngreen = 0.2", "[targets_mm.tee]", "[sand]\nbulk_density_g_cm3 = 1.5")
TEXTS = (
    '"',
    ";",
    "\t",
    ",",
    "\n",
    "\r",
    "\r\n",
    " ",
    "ü",
    "\0",
    "sep=;\n",
    "\ufeff",
    "1,5",
    "x" * 1001,
)


def spoil(folder: Path, rng: Rng) -> None:
    """One to three changes in the files of a folder."""
    for _ in range(int(rng.integers(1, 4))):
        files = sorted(p for p in folder.rglob("*.*") if p.is_file())
        path = files[int(rng.integers(len(files)))]
        kind = {".csv": _csv, ".toml": _toml, ".geojson": _geojson}.get(path.suffix, _any)
        (_any if rng.random() < 0.15 else kind)(path, rng)


def _any(path: Path, rng: Rng) -> None:
    """The file as a whole, whatever is in it."""
    content = path.read_bytes()
    place = int(rng.integers(len(content) + 1))
    what = int(rng.integers(8))
    if what == 0:
        path.unlink()
    elif what == 1:
        path.write_bytes(content[:place])
    elif what == 2:
        path.write_bytes(b"\xef\xbb\xbf" + content.replace(b"\n", b"\r\n"))
    elif what == 3:
        path.write_bytes(content.decode("utf-8", "replace").encode("utf-16"))
    elif what == 4:
        path.write_bytes(content[:place] + b"\xe9" + content[place:])
    elif what == 5 and path.name == "surfaces.geojson":
        (path.parent / "editions").mkdir(exist_ok=True)
        name = str(rng.choice(["2019-05-01", "2018-01-01", "old", "2027-01-01"]))
        shutil.copy(path, path.parent / "editions" / f"{name}.geojson")
    elif what == 6:
        path.with_name("deliveries.csv").write_text("date,kind,mass_kg\n2026-03-02,,100\n")
    else:
        text = TEXTS[int(rng.integers(len(TEXTS)))].encode()
        path.write_bytes(content[:place] + text + content[place:])


def _csv(path: Path, rng: Rng) -> None:
    rows = [line.split(",") for line in _text(path).splitlines()]
    if len(rows) < 2:
        return
    row, column = int(rng.integers(len(rows))), int(rng.integers(len(rows[0])))
    odd = ODD[int(rng.integers(len(ODD)))]
    what = int(rng.integers(9))
    if what <= 1 and row and column < len(rows[row]):
        rows[row][column] = "" if odd is None else str(odd)
    elif what == 2:
        rows.insert(row, list(rows[row]))
    elif what == 3 and row:
        del rows[row]
    elif what <= 5:
        name = str(rng.choice([*NEW, "catch_", "weather", "gros_g", "Date", rows[0][column]]))
        at = int(rng.integers(len(rows[0]) + 1))
        cells = [name] + [str(rng.choice(["", "7", "x"])) for _ in rows[1:]]
        cells = cells if rng.random() < 0.7 else [name] + [""] * (len(rows) - 1)
        rows = [[*r[:at], c, *r[at:]] for r, c in zip(rows, cells, strict=True)]
    elif what == 6:
        order = rng.permutation(len(rows[0]))
        if {len(r) for r in rows} == {len(order)}:
            rows = [[r[k] for k in order] for r in rows]
    elif what == 7:
        rows = [[f" {c}" if rng.random() < 0.1 else c for c in r] for r in rows]
    else:
        rows = [[f'"{c}"' if rng.random() < 0.1 else c for c in r] for r in rows]
    separator = ";" if rng.random() < 0.1 else ","
    path.write_text("".join(separator.join(r) + "\n" for r in rows), encoding="utf-8", newline="")


def _toml(path: Path, rng: Rng) -> None:
    lines = _text(path).splitlines()
    place, other = (int(k) for k in rng.integers(len(lines), size=2))
    what = int(rng.integers(4))
    if what == 0:
        del lines[place]
    elif what == 1:
        lines[place], lines[other] = lines[other], lines[place]
    elif what == 2:
        key = lines[place].partition(" = ")[0]
        odd = str(
            rng.choice(["0", "-1", "7.5", "''", "' '", "'x'", "nan", "true", "[]", "2026-05-05"])
        )
        lines[place] = f"{key} = {odd}" if "=" in lines[place] else lines[place]
    else:
        key = KEYS[int(rng.integers(len(KEYS)))]
        lines.insert(len(lines) if key.startswith("[") else int(rng.integers(2)), key)
    path.write_text("\n".join(lines) + "\n", encoding="utf-8", newline="")


def _geojson(path: Path, rng: Rng) -> None:
    try:
        document = json.loads(_text(path))
        features = document["features"]
        feature = features[int(rng.integers(len(features)))]
        rings = feature["geometry"]["coordinates"]
    except (ValueError, KeyError, TypeError):
        return _any(path, rng)
    what = int(rng.integers(8))
    odd = ODD[int(rng.integers(len(ODD)))]
    if what == 0:
        document[str(rng.choice(HEADS))] = [0.2, 0.5, "2026-05-05", "x", -1][int(rng.integers(5))]
    elif what == 1:
        feature["properties"][str(rng.choice([*NEW, "id", "kind", "name", "greenkeeper"]))] = odd
    elif what == 2:
        for one in features:
            one["properties"][str(rng.choice(["target_mm", "elevation_m"]))] = float(
                rng.integers(9)
            )
    elif what == 3:
        features.append(dict(feature))
    elif what == 4:
        feature["geometry"] = _another(feature["geometry"], rng)
    elif what == 5 and isinstance(rings[0], list) and isinstance(rings[0][0], list):
        ring = rings[0]
        ring[int(rng.integers(len(ring)))] = [[1, 2], [3.0], "x", [1.0, 2.0, 3.0], None][
            int(rng.integers(5))
        ]
    elif what == 6:
        features.remove(feature)
    else:
        feature["properties"] = dict(reversed(feature["properties"].items()))
    path.write_text(json.dumps(document), encoding="utf-8")
    return None


def _another(shape: dict, rng: Rng) -> object:
    rings = shape["coordinates"]
    others: list[Callable[[], object]] = [
        lambda: None,
        lambda: {"type": "Point", "coordinates": [1.0, 2.0]},
        lambda: {"type": "MultiPolygon", "coordinates": [rings]},
        lambda: {"type": "Polygon", "coordinates": []},
        lambda: {"type": "Polygon", "coordinates": [rings[0][:-1]]},
        lambda: {"type": "Polygon", "coordinates": [[[x, y, 7.0] for x, y in rings[0]]]},
        lambda: {"type": "Polygon", "coordinates": [[[y, x] for x, y in rings[0]]]},
        lambda: {"type": "Polygon", "coordinates": [[[int(x), y] for x, y in rings[0]]]},
        lambda: {"type": "GeometryCollection", "geometries": [shape, {"type": "Point"}]},
    ]
    try:
        return others[int(rng.integers(len(others)))]()
    except (TypeError, ValueError):
        return None


def _text(path: Path) -> str:
    return path.read_bytes().decode("utf-8", "replace")
