"""The register of areas, with sums by kind."""

from __future__ import annotations

import numpy as np

from geosand.errors import printable
from geosand.reports.area_rows import TOTALS_NOTE, area_rows, area_totals, by_kind
from geosand.reports.documents import Document, told
from geosand.reports.printable.content import Column, Row, Section, Table, Text
from geosand.reports.words import Units, label_of
from geosand.results import Results


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
        lines += [_row(row, units) for row in mine]
        if len(mine) > 1:
            lines.append(_sum(f"{len(mine)} together", totals[kind], units))
    if len(totals) > 2:
        lines.append(_sum("all", totals["all"], units))
    text = (
        "Ground area on the ellipsoid, raised to the site's elevation and slope; what another"
        f" surface lies on is not counted twice. {TOTALS_NOTE}"
    )
    return Section(
        title="Areas", blocks=(Table(columns=columns, rows=lines), Text(text=text, soft=True))
    )


def _row(row: Document, units: Units) -> Row:
    name = "" if row["name"] == row["id"] else printable(row["name"])
    measures = {"area_m2": "area", "u_area_m2": "area"}
    measures |= {"perimeter_m": "length", "drawn_area_m2": "area"}
    texts = (told(row[key], measure, units, unit=False) for key, measure in measures.items())
    return Row(cells=(row["id"], name, *texts))


def _sum(name: str, total: Document, units: Units) -> Row:
    area, u = (told(total[key], "area", units, unit=False) for key in ("area_m2", "u_area_m2"))
    return Row(cells=(name, "", area, u, "", ""), tone="sum")
