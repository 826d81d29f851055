"""Surface by surface: depth so far against its target; sand beside the edges; the areas."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from geosand.errors import printable
from geosand.planning.route import natural
from geosand.reports.area_rows import TOTALS_NOTE, area_rows, area_totals, by_kind
from geosand.reports.classes import Scale
from geosand.reports.documents import MILLIMETRE, Document, si, told
from geosand.reports.printable.cell_pictures import Depth, depth_bar, scale_head, scale_over
from geosand.reports.printable.content import Block, Column, Row, Section, Table, Text
from geosand.reports.words import MISSING, Units, between, chance, label_of
from geosand.results import Results
from geosand.season.ledger import NOT_YET, ON_TARGET, UNDER
from geosand.units import SHOWN

BAR = 118.0
_ZONES = ("collar", "surrounds")


def surfaces_section(results: Results, depths: Sequence[Document], units: Units) -> Section:
    """The ledger of the surfaces (``season --json``) as a table with a bar in each row."""
    rows = [row for row in depths if "around" not in row]
    if not rows:
        return Section(title="Surface by surface", blocks=())
    site = results.site
    names = dict(zip(site.surfaces.id.tolist(), site.surfaces.name.tolist(), strict=True))
    scale = _scale(rows, site.settings.tolerance, units)
    unit = label_of("depth", units)
    holes = any(si(row["in_holes_mm"]) > 0 for row in rows)
    filled = [Column(head="of it in\u00a0holes", width=36, align="right")] if holes else []
    columns = (
        Column(head="surface", width=50),
        Column(head="name", width=80, wrap=True),
        Column(head=scale_head(scale, unit, BAR, "depth so far"), width=BAR),
        Column(head=f"depth {unit}", width=40, align="right"),
        Column(head="95 % interval", width=80, align="right"),
        *filled,
        Column(head="target so\u00a0far", width=44, align="right"),
        Column(head="state", width=98, wrap=True),
    )
    lines: list[Row] = []
    for kind, mine in by_kind(rows):
        lines.append(Row(cells=(printable(kind),), tone="group"))
        lines += [_row(row, names, scale, site.settings.tolerance, units, holes) for row in mine]
    blocks: tuple[Block, ...] = (
        Text(text=_reading(results), soft=True),
        Table(columns=columns, rows=lines),
    )
    return Section(title="Surface by surface", blocks=blocks)


def _scale(rows: Sequence[Document], tolerance: float, units: Units) -> Scale:
    factor = SHOWN[units]["depth"][0] / MILLIMETRE
    highs = [si(row.get("high_mm")) * factor for row in rows]
    targets = [si(row["target_so_far_mm"]) * (1 + tolerance) * factor for row in rows]
    depths = [si(row["depth_mm"]) * factor for row in rows]
    return scale_over([*_without_outliers(highs, depths + targets), *targets, *depths], BAR)


def _without_outliers(highs: Sequence[float], others: Sequence[float]) -> list[float]:
    """Upper limits, but none so far out that it would press all bars flat."""
    most = max((v for v in others if math.isfinite(v)), default=0.0)
    return [min(v, 1.6 * most) if most > 0 else v for v in highs if math.isfinite(v)]


def _row(
    row: Document,
    names: dict[str, str],
    scale: Scale,
    tolerance: float,
    units: Units,
    holes: bool,
) -> Row:
    factor = SHOWN[units]["depth"][0] / MILLIMETRE
    under = row["state"] == UNDER
    nothing_due = not row["dressings"] and not row["target_so_far_mm"]
    state = NOT_YET if nothing_due and row["state"] == ON_TARGET else row["state"]
    bar = Depth(
        value=si(row["depth_mm"]) * factor,
        low=si(row["low_mm"]) * factor,
        high=si(row["high_mm"]) * factor,
        target=si(row["target_so_far_mm"]) * factor,
        tolerance=tolerance,
        under=under,
        estimated=row["basis"] == "other surfaces",
    )
    some = row["depth_mm"] is not None and not row["all_measured"]
    least = "at least " if some else ""
    sure = row["probability"] is not None and state != NOT_YET
    probability = f", {chance(row['probability'])}" if sure else ""
    name = names.get(row["id"], "")
    low, high = si(row["low_mm"], MILLIMETRE), si(row["high_mm"], MILLIMETRE)
    return Row(
        cells=(
            row["id"],
            "" if name == row["id"] else printable(name),
            depth_bar(bar, scale, BAR),
            least + told(row["depth_mm"], "depth", units, unit=False),
            between(low, high, "depth", units),
            *([told(row["in_holes_mm"], "depth", units, unit=False)] if holes else []),
            told(row["target_so_far_mm"], "depth", units, unit=False),
            f"{state}{probability}",
        ),
        tone="alarm" if under else "",
    )


def _reading(results: Results) -> str:
    """How to read the bars."""
    tolerance = f"{results.site.settings.tolerance * 100:g} %"
    text = (
        f"Bar: depth so far; line through its end: 95 % interval; upright stroke: target so far,"
        f" within its band of ± {tolerance}. A triangle marks what is under-dressed"
    )
    if ((results.ledger.dressings > 0) & ~results.ledger.own).any():
        text += "; an open bar is estimated from the other surfaces, without a catch of its own"
    return text + ". The percentage is the probability of the state."


def beside_section(depths: Sequence[Document], units: Units) -> list[Section]:
    """Collar and surrounds of each surface (rings of ``season --json``), the deepest first."""
    rings = {(r["around"], r["kind"]): r for r in depths if "around" in r}
    names = list(dict.fromkeys(name for name, _ in rings))
    if not any(si(ring["mass_kg"]) > 0 for ring in rings.values()):
        return []

    def deepest(name: str) -> float:
        depth = [si(rings[name, zone]["depth_mm"]) for zone in _ZONES if (name, zone) in rings]
        return max((d for d in depth if math.isfinite(d)), default=0.0)

    names.sort(key=lambda name: (-deepest(name), natural(name)))
    zones = [zone for zone in _ZONES if any((name, zone) in rings for name in names)]
    depth, mass = label_of("depth", units), label_of("mass", units)
    columns = [Column(head="around", width=100)]
    for zone in zones:
        columns += [
            Column(head=f"{zone} depth {depth}", width=72, align="right"),
            Column(head=f"u {depth}", width=60, align="right"),
            Column(head=f"mass {mass}", width=73, align="right"),
        ]
    rows = [
        Row(cells=(printable(name), *_cells(rings, name, zones, units)))
        for name in names
        if deepest(name) > 0
    ]
    text = "Sand that has built up beside the edges so far, as if all overthrow lay there."
    if "collar" in zones:
        text += " Sand on a collar raises the rim; look here before the next dressing."
    blocks = (Table(columns=columns, rows=rows), Text(text=text, soft=True))
    return [Section(title="Beside the edges", blocks=blocks)]


def _cells(
    rings: dict[tuple[str, str], Document], name: str, zones: Sequence[str], units: Units
) -> list[str]:
    cells: list[str] = []
    for zone in zones:
        ring = rings.get((name, zone))
        if ring is None:
            cells += [MISSING] * 3
            continue
        for key, measure in (("depth_mm", "depth"), ("u_depth_mm", "depth"), ("mass_kg", "mass")):
            cells.append(told(ring[key], measure, units, unit=False))
    return cells


def areas_section(results: Results, units: Units) -> Section:
    """All surfaces in force by kind, each kind with its sum and the sum's own u."""
    site = results.site
    rows = area_rows(site, results.areas)
    if not rows:
        return Section(title="Areas", blocks=())
    nothing = np.full(len(rows), np.nan)
    totals = {t["kind"]: t for t in area_totals(site, results.areas, nothing)}
    area, length = label_of("area", units), label_of("length", units)
    columns = (
        Column(head="surface", width=70),
        Column(head="name", width=150, wrap=True),
        Column(head=f"area {area}", width=74, align="right"),
        Column(head=f"u {area}", width=60, align="right"),
        Column(head=f"perimeter {length}", width=76, align="right"),
        Column(head=f"as drawn {area}", width=80, align="right"),
    )
    lines: list[Row] = []
    for kind, mine in by_kind(rows):
        lines.append(Row(cells=(printable(kind),), tone="group"))
        lines += [_area_row(row, units) for row in mine]
        if len(mine) > 1:
            lines.append(_area_sum(f"{len(mine)} together", totals[kind], units))
    if len(totals) > 2:
        lines.append(_area_sum("all", totals["all"], units))
    text = (
        "Ground area on the ellipsoid, raised to the site's elevation and slope; what another"
        f" surface lies on is not counted twice. {TOTALS_NOTE}"
    )
    return Section(
        title="Areas", blocks=(Table(columns=columns, rows=lines), Text(text=text, soft=True))
    )


def _area_row(row: Document, units: Units) -> Row:
    name = "" if row["name"] == row["id"] else printable(row["name"])
    measures = {"area_m2": "area", "u_area_m2": "area"}
    measures |= {"perimeter_m": "length", "drawn_area_m2": "area"}
    texts = (told(row[key], measure, units, unit=False) for key, measure in measures.items())
    return Row(cells=(row["id"], name, *texts))


def _area_sum(name: str, total: Document, units: Units) -> Row:
    area, u = (told(total[key], "area", units, unit=False) for key in ("area_m2", "u_area_m2"))
    return Row(cells=(name, "", area, u, "", ""), tone="sum")
