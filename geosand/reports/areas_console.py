"""The area register at a console: tables that fit the window, and findings in few lines."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, Any

from geosand.areas.register import OVERLAP_M2
from geosand.reports.documents import Document
from geosand.reports.words import MISSING, Units, label_of, listed, shown, signed_percent

if TYPE_CHECKING:
    from geosand.reports.plain_table import Table

WIDE = 118  #: columns of a window in which all figures fit
_LARGE = {"metric": (1e-4, "ha"), "us": (1 / 4046.8564224, "acres")}
_NAMES_SHOWN = 5
_VERDICTS = {"within uncertainty": "within 2 u"}
_FIGURES = re.compile(r"[-−+]?\d[\d.,e]*")


def areas_table(document: Document, units: Units, width: int = 160) -> Table:
    """The area register of the boundaries in force; a narrow window leaves the checks out."""
    from geosand.reports.console import table

    rows = document["surfaces"]
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
    lines = [[_cell(row[key], sort, units) for key, _, sort in columns] for row in rows]
    return table(f"{document['site']}: areas", heads, lines)


def totals_table(document: Document, units: Units) -> Table:
    """Sums by kind with the u that their shared edges leave."""
    from geosand.reports.console import table

    factor, large = _LARGE[units]
    unit = label_of("area", units)
    lines = [
        [
            row["kind"],
            str(row["surfaces"]),
            _cell(row["area_m2"], "area", units),
            _cell(row["u_area_m2"], "area", units),
            f"{row['area_m2'] * factor:,.4f}".replace(",", "\u202f"),
        ]
        for row in document["totals"]
    ]
    heads = [("kind", False), ("surfaces", True), (f"ground\n{unit}", True), ("u", True)]
    return table("Totals", [*heads, (large, True)], lines)


def against_table(against: Document, units: Units) -> Table:
    """Two surveys side by side, changed surfaces first as they stand in the register."""
    from geosand.reports.console import table

    area, length = label_of("area", units), label_of("length", units)
    keys = ("old_area_m2", "new_area_m2", "gained_m2", "lost_m2")
    lines = []
    for row in against["surfaces"]:
        if row["verdict"] == "unchanged":
            continue
        cells = [_cell(row[key], "area", units) for key in keys]
        change = _change(row["difference_m2"], row["u_difference_m2"], units)
        shift = [_cell(row[key], "length", units) for key in ("edge_mean_m", "edge_maximum_m")]
        lines.append(
            [row["id"], *cells, change, *shift, _VERDICTS.get(row["verdict"], row["verdict"])]
        )
    heads = [("surface", False), (f"old\n{area}", True), (f"new\n{area}", True)]
    heads += [("gained", True), ("lost", True), ("difference\n± u", True)]
    heads += [(f"edge {length}\nmean", True), ("\nmax", True), ("area", False)]
    return table(f"Against {against['old']}", heads, lines)


def against_lines(against: Document, units: Units) -> list[str]:
    """What the table of two surveys leaves out."""
    same = [r["id"] for r in against["surfaces"] if r["verdict"] == "unchanged"]
    lines = [f"Drawn the same in both: {listed(same, _NAMES_SHOWN)}."] if same else []
    for key, words in (("only_in_old", "Only in the old survey"), ("only_in_new", "Only here")):
        alone = [f"{r['id']} ({shown(r['area_m2'], 'area', units)})" for r in against[key]]
        lines += [f"{words}: {listed(alone, _NAMES_SHOWN)}."] if alone else []
    for row in against["totals"]:
        if not row["u_difference_m2"] and not row["difference_m2"]:
            continue
        change = _change(row["difference_m2"], row["u_difference_m2"], units)
        told = abs(row["difference_m2"]) > 2 * row["u_difference_m2"]
        verdict = "larger than its uncertainty" if told else "within its uncertainty (2 u)"
        unit = label_of("area", units)
        lines.append(f"All {row['kind']}: {change} {unit}, {verdict}.".replace("All all", "All"))
    lines += _edge_lines(against["surfaces"], units)
    lines += merged_findings(against["findings"])
    return [*lines, *against["notes"]]


def _edge_lines(rows: list[Document], units: Units) -> list[str]:
    lines = []
    if any(row["verdict"] == "moved" for row in rows):
        lines.append("moved: the area is the same within 2 u, but the edge moved somewhere.")
    still = [r["id"] for r in rows if r["edge_maximum_m"] == 0 and r["verdict"] != "unchanged"]
    if still:
        names = listed(still, _NAMES_SHOWN)
        lines.append(f"{names}: drawn the same, but what lies on top of it was drawn anew.")
    farthest = max(rows, key=lambda row: row["edge_maximum_m"] or 0.0, default=None)
    if farthest and farthest["edge_maximum_m"]:
        lon, lat = farthest["edge_maximum_at"]
        distance = shown(farthest["edge_maximum_m"], "length", units)
        place = f"lon {lon:.7f}, lat {lat:.7f}"
        lines.append(f"The edge moved farthest on {farthest['id']}: {distance} at {place}.")
    return lines


def claimed_table(claimed: Document, units: Units) -> Table:
    """Claimed areas beside the computed ones."""
    from geosand.reports.console import table

    lines = [
        [
            row["claim"],
            _cell(row["claimed_m2"], "area", units),
            _cell(row["area_m2"], "area", units),
            _cell(row["u_area_m2"], "area", units),
            _cell(row["difference_m2"], "area", units),
            _signed(row["difference_percent"]),
            _signed(row["sigmas"]),
            f"{row['tolerance_percent']:g}",
            row["verdict"],
        ]
        for row in claimed["surfaces"]
    ]
    unit = label_of("area", units)
    heads = [("claim", False), (f"claimed\n{unit}", True), (f"ground\n{unit}", True), ("u", True)]
    heads += [("difference", True), ("in %", True), ("in u", True), ("tolerance\n%", True)]
    return table(f"Against {claimed['file']}", [*heads, ("verdict", False)], lines)


def claimed_lines(claimed: Document) -> list[str]:
    """Hints, and names without a partner on either side."""
    rows = claimed["surfaces"]
    outside = sum(row["verdict"] == "outside" for row in rows)
    lines = [f"{len(rows)} claims compared: {len(rows) - outside} within, {outside} outside."]
    loose = [
        row["claim"]
        for row in rows
        if row["verdict"] == "outside" and row["sigmas"] is not None and abs(row["sigmas"]) <= 2
    ]
    if loose:
        names = listed(loose, _NAMES_SHOWN)
        lines.append(f"{names}: outside, but not told apart from our own uncertainty (2 u).")
    hints: dict[str, list[str]] = {}
    for row in rows:
        if row["hint"]:
            hints.setdefault(row["hint"], []).append(row["claim"])
    lines += [f"{listed(names, _NAMES_SHOWN)}: {hint}." for hint, names in hints.items()]
    for key, words in (
        ("unmatched_claims", f"In {claimed['file']} but not on the site"),
        ("unmatched_surfaces", f"On the site but not in {claimed['file']}"),
    ):
        if claimed[key]:
            lines.append(f"{words} ({len(claimed[key])}): {listed(claimed[key], 12)}.")
    return lines


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
    return lines + merged_findings(others)


def merged_findings(findings: list[Document]) -> list[str]:
    """One line for all findings that differ only in their figures; the first one's are shown."""
    groups: dict[str, list[Document]] = {}
    for finding in findings:
        groups.setdefault(_FIGURES.sub("#", finding["text"]), []).append(finding)
    lines = []
    for group in groups.values():
        names = list(dict.fromkeys(f["about"] for f in group if f["about"]))
        texts = {f["text"] for f in group}
        first = f" (figures of {group[0]['about']})" if len(texts) > 1 else ""
        about = f"{listed(names, _NAMES_SHOWN)}: " if names else ""
        lines.append(f"{about}{group[0]['text'].rstrip('.')}{first}.")
    return lines


def _cell(value: Any, sort: str, units: Units) -> str:
    if sort == "text":
        return str(value)
    if value is None:
        return MISSING
    if sort == "count":
        return str(value)
    if sort == "factor":
        return f"{value:.6f}"
    return shown(math.nan if value is None else value, sort, units, unit=False)


def _signed(value: float | None) -> str:
    if value is None:
        return MISSING
    text = signed_percent(value)
    return "0.0" if text in ("+0.0", "−0.0") else text


def _change(difference: float, u: float, units: Units) -> str:
    text = shown(difference, "area", units, unit=False)
    sign = "+" if difference > 0 and not text.startswith("−") else ""
    return f"{sign}{text} ± {shown(u, 'area', units, unit=False)}"
