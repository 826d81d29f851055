"""Seasons laid pass by pass in which one kind of bags holds 5 % more than its label says.

``python tests/bag_errors.py [seasons]`` prints how often that is named, by what was measured
beside: nothing (an unknown overthrow hides it: nobody may be named), two loads of six over a scale,
or other kinds of bags and trays beside the edges. Bags are moist, trays bounce, swaths taper and
overlap (tests/pass_by_pass.py); the seasons are written as folders and read again.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

if __package__ in (None, ""):  # run as a script: the tests' own folder is no package then
    sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from geosand.balance.reconciliation.reconcile import Reconciliation, reconcile
from geosand.formats.site_folder import read_site
from geosand.results import work_out
from geosand.site.tables import Site
from tests.calibration import BOUNCE, MOISTURE, OWN, _ring
from tests.pass_by_pass import CELL_M, Field, Floats, Spreader, dress
from tests.simulation import _normals, _place, _polygon
from tests.sites import collection, surface, table, write_site

BAG_ERROR, BAD_KG = 0.05, 25.0
BAGS = "unit mass: dried 25 kg"
U = {"label": 0.005, "bag": 0.01, "tray": 0.003, "efficiency": 0.005, "moisture": 0.003}
VERTEX_M, EDGE_M, BIAS_M, POSITION_M = 0.03, 0.03, 0.02, 0.5
SCALE = 0.002  #: of a weighed load

TOML = f"""\
name = "Bags"
season_start = 2026-03-01
season_end = 2026-11-30
boundary_accuracy_m = {VERTEX_M}
edge_accuracy_m = {EDGE_M}
edge_bias_m = {BIAS_M}
position_accuracy_m = {POSITION_M}
[sands.dried]
bulk_density_g_cm3 = 1.55
u_bulk_density_g_cm3 = 0.03
moisture_dry_basis_percent = 3.0
u_moisture_percent = {100 * U["moisture"]}
[catches]
u_tray_percent = {100 * U["tray"]}
catch_efficiency_percent = 100
u_catch_efficiency_percent = {100 * U["efficiency"]}
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """What is dressed and measured in a season."""

    greens: int
    dressings: int
    catches: int  #: on each green, each time
    bags: tuple[float, ...]  #: kinds by their label, in turn; those of 25 kg are too heavy
    beside: int = 0  #: trays beside each green, each time
    weighed: tuple[int, ...] = ()  #: dressings whose load goes over a scale
    wide: bool | None = None  #: a throwing spreader, a belt; None: either


NOTHING = Design(greens=4, dressings=6, catches=4, bags=(25.0,))
WEIGHED = Design(greens=4, dressings=6, catches=4, bags=(25.0,), weighed=(0, 3))
RINGS = Design(
    greens=6, dressings=24, catches=40, bags=(20.0, 40.0, 30.0, 25.0), beside=12, wide=False
)
DESIGNS = {"nothing beside": NOTHING, "two loads weighed": WEIGHED, "rings, other bags": RINGS}


@dataclass(frozen=True, slots=True, kw_only=True)
class Laid:
    """A season as read, and what was truly thrown over in each dressing."""

    site: Site
    overthrow_kg: Floats


def season(
    folder: Path, seed: int, design: Design, *, bag_error: float = BAG_ERROR
) -> Reconciliation:
    """Lay a season, work it out and reconcile it."""
    results = work_out(lay(folder, seed, design, bag_error=bag_error).site)
    found = reconcile(results.balance)
    assert found is not None
    return found


def lay(folder: Path, seed: int, design: Design, *, bag_error: float) -> Laid:
    """Lay a season, measure it as designed, write it and read it."""
    rng = np.random.default_rng([seed, design.dressings, len(design.weighed)])
    error = {name: float(rng.normal(0.0, u)) for name, u in U.items()}
    rings = [_ring(rng) for _ in range(design.greens)]
    shift_m = rng.normal(0.0, BIAS_M) + rng.normal(0.0, EDGE_M, design.greens)
    drawn = [
        ring + shift * _normals(ring) + rng.normal(0.0, VERTEX_M, ring.shape)
        for ring, shift in zip(rings, shift_m, strict=True)
    ]
    wide = bool(rng.integers(2)) if design.wide is None else design.wide
    spreader = Spreader.drawn(rng, wide=wide, masked=False)
    far_m = max(1.5, 0.8 * spreader.spacing_m)  # trays are laid until nothing falls into them
    lasting = np.exp(rng.normal(0.0, 0.05, design.greens))
    held = {kg: kg * (1 + rng.normal(0.0, U["label"])) for kg in design.bags}
    held[BAD_KG] = BAD_KG * (1 + bag_error)
    catches: list[dict[str, Any]] = []
    loads, over = [], []
    for d in range(design.dressings):
        rate = rng.uniform(0.8, 1.2) * lasting * np.exp(rng.normal(0.0, OWN, design.greens))
        fields = [dress(rng, ring, spreader, r) for ring, r in zip(rings, rate, strict=True)]
        total = sum(field.total_kg() for field in fields)
        over.append(total - sum(field.on_surface_kg() for field in fields))
        kg = design.bags[d % len(design.bags)]
        loads.append(_load(rng, d, total, kg, held[kg], design, error))
        for g, field in enumerate(fields):
            catches += _trays(rng, d, g, field, design, error, far_m)
    features = (surface(f"g{g + 1}", "green", _polygon(ring, g)) for g, ring in enumerate(drawn))
    write_site(
        folder,
        toml=TOML,
        surfaces=collection(features),
        dressings=table([_dressing(d, spreader) for d in range(design.dressings)]),
        loads=table(loads),
        catches=table(catches),
    )
    return Laid(site=read_site(folder), overthrow_kg=np.array(over))


def _dressing(d: int, spreader: Spreader) -> dict[str, Any]:
    said = {
        "dressing": f"D{d + 1}",
        "date": str(np.datetime64("2026-03-05") + np.timedelta64(9 * d, "D")),
    }
    return said | {"surfaces": "green", "swath_m": f"{spreader.spacing_m:.2f}"}


def _load(
    rng: np.random.Generator,
    d: int,
    dry_kg: float,
    label_kg: float,
    held_kg: float,
    design: Design,
    error: Mapping[str, float],
) -> dict[str, Any]:
    """Whole bags until there was enough; the rest came back, weighed."""
    moist = dry_kg * (1 + MOISTURE + error["moisture"])
    bags = held_kg * (1 + rng.normal(0.0, U["bag"], int(moist / held_kg * 1.2) + 2))
    count = int(np.searchsorted(np.cumsum(bags), moist)) + 1
    full = float(bags[:count].sum())
    row: dict[str, Any] = {"load": f"L{d + 1}", "dressing": f"D{d + 1}", "count": count}
    row |= {"unit_mass_kg": label_kg, "u_unit_mass_kg": label_kg * U["bag"]}
    row |= {"u_label_percent": 100 * U["label"], "returned_kg": f"{full - moist:.1f}"}
    on_scale = d in design.weighed
    row["weighed_kg"] = f"{full * (1 + rng.normal(0.0, SCALE)):.1f}" if on_scale else ""
    row["u_weighed_kg"] = f"{full * SCALE:.2f}" if on_scale else ""
    return row


def _trays(
    rng: np.random.Generator,
    d: int,
    g: int,
    field: Field,
    design: Design,
    error: Mapping[str, float],
    far_m: float,
) -> list[dict[str, Any]]:
    """Trays on the green, one of them near its edge, and beside it at taped distances."""
    near, there = field.trays(rng, 1, 0.0), field.trays(rng, design.catches - 1, 0.0)
    place, sand = np.concatenate([near[0], there[0]]), np.concatenate([near[1], there[1]])
    rows = _rows(rng, f"c{d}-{g}", d, f"g{g + 1}", g, place, sand, error)
    if design.beside:
        place, sand, out = _beside(rng, field, design.beside, far_m)
        beside = _rows(rng, f"r{d}-{g}", d, "", g, place, sand, error)
        for row, distance in zip(beside, out, strict=True):
            row["edge_distance_m"] = f"{distance:.2f}"
        rows += beside
    return rows


def _beside(
    rng: np.random.Generator, field: Field, count: int, far_m: float
) -> tuple[Floats, Floats, Sequence[float]]:
    """Trays all round the green, from 0.3 m outside its edge to ``far_m``, and true distances."""
    place, sand, out = [], [], []
    for k in range(count):
        wanted = 0.3 + (far_m - 0.3) * k / max(count - 1, 1)
        cells = np.flatnonzero(np.abs(field.inside_m + wanted) < CELL_M / 2)
        cell = int(rng.choice(cells))
        place.append([field.x_m.flat[cell], field.y_m.flat[cell]])
        sand.append(field.sand_kg_m2.flat[cell])
        out.append(-float(field.inside_m.flat[cell]))
    return np.array(place), np.array(sand), out


def _rows(
    rng: np.random.Generator,
    name: str,
    d: int,
    on: str,
    g: int,
    place: Floats,
    sand: Floats,
    error: Mapping[str, float],
) -> list[dict[str, Any]]:
    tray_m2 = 0.1 * (1 + error["tray"]) * (1 + error["efficiency"])
    bounce = np.exp(rng.normal(-(BOUNCE**2) / 2, BOUNCE, len(sand)))
    weighed = sand * tray_m2 * bounce * (1 + MOISTURE + error["moisture"])
    rows = []
    for k, (point, kg) in enumerate(zip(place, weighed, strict=True)):
        lon, lat = _place(point + np.clip(rng.normal(0.0, 0.3, 2), -0.6, 0.6), g)
        row: dict[str, Any] = {"catch": f"{name}-{k}", "dressing": f"D{d + 1}", "surface": on}
        row |= {"lon": f"{lon:.8f}", "lat": f"{lat:.8f}", "edge_distance_m": ""}
        row |= {"tray_area_cm2": 1000, "tare_g": 50, "gross_g": f"{50 + 1000 * kg:.1f}"}
        rows.append(row)
    return rows


def named(
    folder: Path, seeds: Sequence[int], designs: Sequence[str] = tuple(DESIGNS)
) -> dict[str, list[str | None]]:
    """Who was named in each season of each design."""
    return {
        name: [season(folder / f"{name} {seed}", seed, DESIGNS[name]).culprit for seed in seeds]
        for name in designs
    }


def printed(found: Mapping[str, Sequence[str | None]]) -> str:
    """The table: seasons, bags named, somebody else named."""
    lines = [f"{'measured beside':22}{'seasons':>9}{'bags named %':>14}{'others named %':>16}"]
    for name, culprits in found.items():
        right = 100 * np.mean([one == BAGS for one in culprits])
        wrong = 100 * np.mean([one not in (BAGS, None) for one in culprits])
        lines.append(f"{name:22}{len(culprits):9}{right:14.0f}{wrong:16.0f}")
    return "\n".join(lines)


def main(arguments: Sequence[str]) -> None:
    """Print the table of so many seasons of each design."""
    with tempfile.TemporaryDirectory() as folder:
        print(printed(named(Path(folder), range(int(arguments[0]) if arguments else 60))))


if __name__ == "__main__":
    main(sys.argv[1:])
