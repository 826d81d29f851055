"""What the 95 % intervals hold at sites whose sand was laid pass by pass (tests/pass_by_pass.py).

``python tests/calibration.py [sites] [first seed]`` prints the table of all sites, 320 if not said,
in less than a minute; the test of the same name runs a fixed part of it.

What is mistaken at a site, and once for what:

- the whole season: the tray's size, what trays catch, a bag's label, the sand's bulk density, the
  water in the bags, how far the whole survey has the edge from where it is;
- a surface: how much heavier it is always dressed, how far its own edge was drawn, each vertex;
- a dressing: its heading on each surface, the passes, how well the trays were dried; a bag; a tray:
  what bounces in and out.

Truth is a sum over grid cells within the true outline and beyond it. The folder is written, read
again and worked out as any other.
"""

from __future__ import annotations

import sys
import tempfile
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

if __package__ in (None, ""):  # run as a script: the tests' own folder is no package then
    sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from geosand.estimates import Interval
from geosand.formats.site_folder import read_site
from geosand.results import Results, work_out
from tests.pass_by_pass import Field, Floats, Spreader, dress
from tests.simulation import _normals, _place, _polygon
from tests.sites import collection, surface, table, write_site

SURFACES, DRESSINGS, VERTICES, BAG_KG = 6, 3, 60, 25.0
#: surfaces with trays, trays on each
DESIGNS = ((6, 2), (4, 3), (5, 1), (2, 5))
#: standard uncertainties of vertex, edge and survey, and of a catch's position, m
SURVEYS = {"surveyed": (0.03, 0.05, 0.02, 1.0), "traced": (0.05, 0.30, 0.15, 3.0)}
U = {"label": 0.01, "bag": 0.01, "tray": 0.005, "efficiency": 0.03, "density": 0.03 / 1.55}
U |= {"moisture": 0.005, "dried": 0.002}
MOISTURE, OWN, BOUNCE = 0.03, 0.03, 0.04
LASTING = (0.02, 0.14)  #: between these lies the spread of a site's surfaces that stays all season
#: claims whose intervals are held against the truth; the others are shares of verdicts
CLAIMS = (
    *("on surfaces", "overthrow", "depth, caught", "depth, uncaught"),
    *("season, caught", "season, never caught"),
)
FALSE, TRUE = "verdict overthrow, none there", "verdict overthrow, one there"

TOML = """\
name = "Pass by pass"
season_start = 2026-03-01
season_end = 2026-11-30
boundary_accuracy_m = {}
edge_accuracy_m = {}
edge_bias_m = {}
position_accuracy_m = {}

[sands.dried]
bulk_density_g_cm3 = 1.55
u_bulk_density_g_cm3 = 0.03
moisture_dry_basis_percent = 3.0
u_moisture_percent = 0.5

[catches]
u_tray_percent = 0.5
catch_efficiency_percent = 100
u_catch_efficiency_percent = 3.0

[targets_mm]
green = 5.0
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """How a site is run: what its owner decides, none of it known to the analysis."""

    survey: str
    wide: bool  #: a thrown, tapering swath; else a belt
    masked: bool  #: no overthrow at all
    least_m: float  #: trays at least so far inside the edge
    dried: bool  #: trays are dried before weighing
    caught: int
    each: int
    same: bool  #: trays on the same surfaces in each dressing

    @classmethod
    def drawn(cls, seed: int) -> Plan:
        """Designs and masks in turn, the rest at random."""
        rng = np.random.default_rng([seed, 1])
        caught, each = DESIGNS[seed % len(DESIGNS)]
        return cls(
            survey=("surveyed", "traced")[int(rng.integers(2))],
            wide=bool(rng.integers(2)),
            masked=(seed // len(DESIGNS)) % 2 == 0,
            least_m=float(rng.choice([0.0, 2.5])),
            dried=bool(rng.integers(2)),
            caught=caught,
            each=each,
            same=bool(rng.integers(2)),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """What really happened: D dressings, S surfaces."""

    depth_m: Floats  #: (D, S), mean over the surface
    on_surfaces_kg: Floats  #: (D,)
    overthrow_kg: Floats  #: (D,)
    caught: Any  #: (D, S)


def make_site(folder: Path, seed: int, plan: Plan, toml: str = TOML) -> Truth:
    """Dress a site pass by pass, measure it as ``plan`` says, write its folder.

    ``toml`` is what the site claims of itself; what is true of it does not change with it.
    """
    rng = np.random.default_rng(seed)
    error = {name: float(rng.normal(0.0, u)) for name, u in U.items()}
    vertex, edge, bias, position = SURVEYS[plan.survey]
    shift_m = rng.normal(0.0, bias) + rng.normal(0.0, edge, SURFACES)
    rings = [_ring(rng) for _ in range(SURFACES)]
    drawn = [
        ring + shift * _normals(ring) + rng.normal(0.0, vertex, ring.shape)
        for ring, shift in zip(rings, shift_m, strict=True)
    ]
    spreader = Spreader.drawn(rng, wide=plan.wide, masked=plan.masked)
    lasting = np.exp(rng.normal(0.0, rng.uniform(*LASTING), SURFACES))
    own = np.exp(rng.normal(0.0, OWN, (DRESSINGS, SURFACES)))
    rate = rng.uniform(0.75, 1.25, (DRESSINGS, 1)) * lasting * own
    fields = [
        [dress(rng, rings[s], spreader, rate[d, s]) for s in range(SURFACES)]
        for d in range(DRESSINGS)
    ]
    on = _each(fields, Field.on_surface_kg)
    total = _each(fields, Field.total_kg).sum(axis=1)
    caught = _caught(rng, plan)
    write_site(
        folder,
        toml=toml.format(vertex, edge, bias, position),
        surfaces=collection(
            surface(f"g{s + 1}", "green", _polygon(ring, s)) for s, ring in enumerate(drawn)
        ),
        dressings=table([_dressing(d, spreader) for d in range(DRESSINGS)]),
        loads=table([_load(rng, d, total[d], error) for d in range(DRESSINGS)]),
        catches=table(_catches(rng, fields, caught, plan, error, position)),
    )
    return Truth(
        depth_m=_each(fields, Field.mean_rate_kg_m2) / (1550.0 * (1 + error["density"])),
        on_surfaces_kg=on.sum(axis=1),
        overthrow_kg=total - on.sum(axis=1),
        caught=caught,
    )


def _each(fields: list[list[Field]], measure: Any) -> Floats:
    return np.array([[measure(field) for field in row] for row in fields])


def _ring(rng: np.random.Generator) -> Floats:
    """A green's true outline, vertices at equal angles, 280 to 600 m²."""
    angle = np.arange(VERTICES) * (2 * np.pi / VERTICES)
    turn = rng.uniform(0.0, 2 * np.pi, 2)
    bulge = 0.12 * np.cos(2 * (angle - turn[0])) + 0.05 * np.cos(3 * (angle - turn[1]))
    radius = rng.uniform(9.5, 13.5) * (1 + bulge)
    return np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=1)


def _caught(rng: np.random.Generator, plan: Plan) -> Any:
    caught = np.zeros((DRESSINGS, SURFACES), dtype=np.bool_)
    first = rng.permutation(SURFACES)
    for d in range(DRESSINGS):
        caught[d, (first if plan.same else rng.permutation(SURFACES))[: plan.caught]] = True
    return caught


def _dressing(d: int, spreader: Spreader) -> dict[str, Any]:
    said = {"dressing": f"D{d + 1}", "date": f"2026-{4 + d:02d}-10", "surfaces": "green"}
    return said | {"swath_m": f"{spreader.spacing_m:.2f}"}


def _load(
    rng: np.random.Generator, d: int, dry_kg: float, error: Mapping[str, float]
) -> dict[str, Any]:
    """Whole bags of 25 kg by their label, opened until there was enough; the rest came back."""
    moist = dry_kg * (1 + MOISTURE + error["moisture"])
    most = int(moist / BAG_KG * 1.2) + 2
    bags = BAG_KG * (1 + error["label"]) * (1 + rng.normal(0.0, U["bag"], most))
    held = np.cumsum(bags)
    count = int(np.searchsorted(held, moist)) + 1
    return {
        "load": f"L{d + 1}",
        "dressing": f"D{d + 1}",
        "count": count,
        "unit_mass_kg": BAG_KG,
        "u_unit_mass_kg": BAG_KG * U["bag"],
        "u_label_percent": 100 * U["label"],
        "returned_kg": f"{held[count - 1] - moist:.1f}",
    }


def _catches(
    rng: np.random.Generator,
    fields: list[list[Field]],
    caught: Any,
    plan: Plan,
    error: Mapping[str, float],
    position_m: float,
) -> Iterable[dict[str, Any]]:
    """Trays of 400 × 250 mm by their maker, weighed to 1 g with their water or dried."""
    rows = []
    tray_m2 = 0.4 * 0.25 * (1 + error["tray"]) * (1 + error["efficiency"])
    for d, s in np.argwhere(caught).tolist():
        place, sand = fields[d][s].trays(rng, plan.each, plan.least_m)
        bounce = np.exp(rng.normal(-(BOUNCE**2) / 2, BOUNCE, plan.each))
        water = error["dried"] if plan.dried else MOISTURE + error["moisture"]
        weighed = sand * tray_m2 * bounce * (1 + water)
        # a position off by more than twice its accuracy would be refused
        seen = place + np.clip(rng.normal(0.0, position_m, place.shape), -1.3, 1.3) * position_m
        for k in range(plan.each):
            lon, lat = _place(seen[k], s)
            row = {"catch": f"c{d}-{s}-{k}", "dressing": f"D{d + 1}", "surface": f"g{s + 1}"}
            row |= {"lon": f"{lon:.8f}", "lat": f"{lat:.8f}"}
            row |= {"tray_length_mm": 400, "tray_width_mm": 250, "tare_g": 50}
            row |= {"gross_g": str(round(50 + 1000 * weighed[k]))}
            if plan.dried:
                row |= {"moisture_dry_basis_percent": "0", "u_moisture_percent": "0.2"}
            rows.append(row)
    return rows


def holds(interval: Interval, truth: Floats) -> Floats:
    return ((interval.low <= truth) & (truth <= interval.high)).astype(np.float64)


def judge(results: Results, truth: Truth, plan: Plan) -> dict[str, Floats]:
    """What one site's intervals held, 1 or 0 a claim, and the errors in units of u."""
    balance, rates, ledger = results.balance, results.rates, results.ledger
    depth = holds(rates.depth.interval(floor=0.0), truth.depth_m.ravel())
    season = holds(ledger.interval, truth.depth_m.sum(axis=0))
    ever = truth.caught.any(axis=0)
    called = (balance.verdict == "overthrow").astype(np.float64)
    on, over = balance.on_surfaces, balance.overthrow
    return {
        "on surfaces": holds(balance.on_interval, truth.on_surfaces_kg),
        "overthrow": holds(balance.interval, truth.overthrow_kg),
        "depth, caught": depth[rates.own],
        "depth, uncaught": depth[~rates.own],
        "season, caught": season[ever],
        "season, never caught": season[~ever],
        FALSE if plan.masked else TRUE: called,
        "error of on surfaces, u": (on.value - truth.on_surfaces_kg) / on.u(),
        "error of on surfaces, %": 100 * (on.value / truth.on_surfaces_kg - 1),
        "u of on surfaces, %": 100 * on.u() / on.value,
        "error of overthrow, u": (over.value - truth.overthrow_kg) / over.u(),
        "true overthrow, %": 100 * truth.overthrow_kg / truth.on_surfaces_kg,
    }


Held = dict[str, list[Floats]]


def trial(
    folder: Path, seeds: Iterable[int], toml: str = TOML
) -> tuple[Held, list[tuple[Plan, dict[str, Floats]]]]:
    """Claims of all sites (one entry a site that makes the claim), and each site with its plan."""
    held: Held = defaultdict(list)
    sites = []
    for seed in seeds:
        plan = Plan.drawn(seed)
        truth = make_site(folder / str(seed), seed, plan, toml)
        kept = judge(work_out(read_site(folder / str(seed))), truth, plan)
        sites.append((plan, kept))
        for claim, values in kept.items():
            if len(values):
                held[claim].append(values)
    return held, sites


def share(held: Held, claim: str) -> float:
    return float(np.concatenate(held[claim]).mean())


def standard_error(held: Held, claim: str) -> float:
    """Of the share, with sites as the draws: claims of one site share its mistakes."""
    total = np.array([site.sum() for site in held[claim]])
    count = np.array([len(site) for site in held[claim]])
    spread = total - share(held, claim) * count
    return float(np.sqrt((spread**2).sum()) / count.sum())


def printed(held: Held) -> str:
    """The table: share held, its standard error, number of claims and of sites."""
    lines = [f"{'claim':34}{'held %':>8}{'± %':>6}{'claims':>8}{'sites':>7}"]
    for claim in (*CLAIMS, FALSE, TRUE):
        if claim in held:
            percent, error = 100 * share(held, claim), 100 * standard_error(held, claim)
            claims = sum(map(len, held[claim]))
            lines.append(f"{claim:34}{percent:8.1f}{error:6.1f}{claims:8}{len(held[claim]):7}")
    for name, values in held.items():
        if name.endswith((", u", ", %")):
            every = np.concatenate(values)
            lines.append(f"{name:34}mean {every.mean():6.2f}   sd {every.std():6.2f}")
    return "\n".join(lines)


def by_plan(sites: list[tuple[Plan, dict[str, Floats]]]) -> str:
    """The same shares for each way of running a site, to see what fails where."""
    names = ("survey", "wide", "masked", "least_m", "dried", "same", "caught")
    lines = [" " * 22 + "".join(f"{claim[:14]:>16}" for claim in (*CLAIMS, FALSE))]
    for name in names:
        for value in sorted({getattr(plan, name) for plan, _ in sites}):
            mine = [kept for plan, kept in sites if getattr(plan, name) == value]
            cells = []
            for claim in (*CLAIMS, FALSE):
                every = np.concatenate([kept.get(claim, np.zeros(0)) for kept in mine])
                cells.append(f"{100 * every.mean():16.1f}" if len(every) else " " * 16)
            lines.append(f"{f'{name} = {value}':22}" + "".join(cells))
    return "\n".join(lines)


def main(arguments: list[str]) -> None:
    count, first = (int(a) for a in (*arguments, *("320", "0")[len(arguments) :]))
    with tempfile.TemporaryDirectory() as folder:
        held, sites = trial(Path(folder), range(first, first + count))
    print(printed(held), by_plan(sites), sep="\n\n")


if __name__ == "__main__":
    main(sys.argv[1:])
