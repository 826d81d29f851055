"""A made-up site as large as they come: 18 greens, 40 other surfaces, 12 dressings, open sea."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

from tests.mapping.hostile import NAMES
from tests.sites import LAT, LON, TRAY, square, surface, write_site

KINDS = {"green": ("g", 18, 24.0), "tee": ("t", 18, 11.0), "approach": ("a", 14, 15.0)}
KINDS["lawn"] = ("l", 8, 30.0)
DRESSINGS = 12

TOML = """\
name = "A{{ 7*7 }} </title><script>document.title='ran'</script> & “Höhe” Луг"
season_start = 2026-03-01
season_end = 2026-11-30
collar_width_m = 0.9
surrounds_width_m = 4.0

[sands.dried]
bulk_density_g_cm3 = 1.55
kiln_dried = true

[targets_mm]
green = 9.0
tee = 4.0
approach = 3.0
lawn = 6.0
"""


def large_site(folder: Path, *, seed: int = 7) -> Path:
    """The site written as a folder; names of surfaces are hostile as far as there are such."""
    random = np.random.default_rng(seed)
    features, centres = [], {}
    for kind, (letter, count, side) in KINDS.items():
        for k in range(count):
            place = len(features)
            lon, lat = LON + 0.0016 * (place % 10), LAT + 0.0011 * (place // 10)
            name = NAMES[place] if place < len(NAMES) else f"{kind.title()} number {k + 1}"
            features.append(surface(f"{letter}{k + 1}", kind, square(lon, lat, side), name=name))
            centres[f"{letter}{k + 1}"] = (lon, lat, side)
    dressings, loads, catches = [], [], []
    for d in range(1, DRESSINGS + 1):
        kinds = "green" if d % 3 else "green tee approach lawn"
        day = f"2026-{3 + (d * 18) // 30:02d}-{1 + (d * 18) % 28:02d}"
        dressings.append(
            {"dressing": f"D{d}", "date": day, "surfaces": kinds, "planned_depth_mm": 0.6}
        )
        mine = [i for i in centres if d % 3 == 0 or i.startswith("g")]
        area = sum(centres[i][2] ** 2 for i in mine)
        short = 0.8 if d == 5 else 1.0  # one dressing does not close
        bags = round(area * 0.0006 * 1550 * 1.15 * short / 25)
        loads.append({"load": f"L{d}", "dressing": f"D{d}", "count": bags, "unit_mass_kg": 25})
        for k in range(12):
            where = mine[(5 * k + d) % len(mine)]
            lon, lat, side = centres[where]
            rate = 0.6e-3 * 1550 * (0.55 if where == "g4" else 1.0) * random.normal(1, 0.06)
            east = (random.random() - 0.5) * side * 0.9 / (111_320 * math.cos(math.radians(lat)))
            catches.append(
                {"catch": f"c{d}-{k}", "dressing": f"D{d}", "surface": where, **TRAY}
                | {"lon": f"{lon + east:.9f}", "lat": f"{lat:.9f}", "tare_g": 50}
                | {"gross_g": f"{50 + rate * 100:.2f}"}
            )
    return write_site(
        folder, toml=TOML, surfaces=features, dressings=dressings, loads=loads, catches=catches
    )
