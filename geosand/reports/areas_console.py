"""The area register at a console: tables that fit the window, and findings in few lines."""

from __future__ import annotations

from typing import Any

from geosand.areas.register import OVERLAP_M2
from geosand.errors import listed
from geosand.reports.area_rows import by_kind
from geosand.reports.documents import Document
from geosand.reports.plain_table import Table, table
from geosand.reports.words import (
    MISSING,
    Units,
    grouped,
    label_of,
    merged_findings,
    shown,
    signed_percent,
)

WIDE = 118  #: columns of a window in which all figures fit
_LARGE = {"metric": (1e-4, "ha"), "us": (1 / 4046.8564224, "acres")}


def areas_table(document: Document, units: Units, width: int = 160) -> Table:
    """The area register of the boundaries in force; a narrow window leaves the checks out."""
    rows = [row for _, rows in by_kind(document["surfaces"]) for row in rows]
    wide, grid = width >= WIDE, any(row["grid_area_m2"] is not None for row in rows)
    area, length = label_of("area", units), label_of("length", units)
    columns = [("id", "surface", "text"), ("kind", "kind", "text")]
    columns += [("area_m2", f"ground\n{area}", "area"), ("u_area_m2", "u", "area")]
    columns += [("drawn_area_m2", "as\ndrawn", "area")]
    if wide:
        columns += [("geodesic_area_m2", "geodesic", "area")]
        columns += [("equal_area_m2", "equal-\narea", "area")]
    if grid:
        columns += [("grid_area_m2", "grid", "area")]
        columns += [("combined_scale_factor", "combined\nfactor", "factor")] if wide else []
    if wide:
        columns += [("height_factor", "height\nfactor", "factor")]
        columns += [("slope_factor", "slope\nfactor", "factor")]
    columns += [("perimeter_m", f"perimeter\n{length}", "length")]
    columns += [("vertices", "ver-\ntices", "count"), ("holes", "holes", "count")]
    heads = [(head, sort != "text") for _, head, sort in columns]
    lines = [[cell(row[key], sort, units) for key, _, sort in columns] for row in rows]
    return table(f"{document['site']}: areas", heads, lines)


def totals_table(document: Document, units: Units) -> Table:
    """Sums by kind with the u that their shared edges leave."""
    *kinds, total = document["totals"]
    kinds = [{**row, "id": row["kind"]} for row in kinds]
    factor, large = _LARGE[units]
    unit = label_of("area", units)
    lines = [
        [
            row["kind"],
            str(row["surfaces"]),
            cell(row["area_m2"], "area", units),
            cell(row["u_area_m2"], "area", units),
            grouped(row["area_m2"] * factor, 4),
        ]
        for row in [*(row for _, rows in by_kind(kinds) for row in rows), total]
    ]
    heads = [("kind", False), ("surfaces", True), (f"ground\n{unit}", True), ("u", True)]
    return table("Totals", [*heads, (large, True)], lines)


def findings_lines(document: Document, units: Units, width: int = 160) -> list[str]:
    """Findings of the register in few lines: overlaps in one, the same text once."""
    rows = document["surfaces"]
    cut = [(row["drawn_area_m2"] - row["area_m2"], row["id"]) for row in rows]
    cut = sorted((c for c in cut if c[0] > OVERLAP_M2), reverse=True)
    lines = []
    if cut:
        losses = [f"{name} {shown(loss, 'area', units, unit=False)}" for loss, name in cut]
        unit = label_of("area", units)
        lines.append(
            "Other surfaces lie on top of some, which own less than was drawn, in"
            f" {unit}: {listed(losses, 8)}."
        )
    if width < WIDE:
        lines.append(
            "A wider window, --json and --out show geodesic and equal-area figures too, and the"
            " factors of grid, height and slope."
        )
    others = [f for f in document["findings"] if not f["text"].startswith("drawn ")]
    return lines + merged_findings(others, units)


def cell(value: Any, sort: str, units: Units) -> str:
    if value is None:
        return MISSING
    if sort in ("text", "count"):
        return str(value)
    return f"{value:.6f}" if sort == "factor" else shown(value, sort, units, unit=False)


def signed(value: float | None) -> str:
    if value is None:
        return MISSING
    text = signed_percent(value)
    return "0.0" if text in ("+0.0", "−0.0") else text


def change(difference: float, u: float, units: Units) -> str:
    """A difference with its sign, and its u."""
    text = shown(difference, "area", units, unit=False)
    sign = "+" if not text.startswith("−") and float(text.replace("\u202f", "")) else ""
    return f"{sign}{text} ± {shown(u, 'area', units, unit=False)}"
