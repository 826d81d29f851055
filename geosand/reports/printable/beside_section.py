"""Sand built up beside the edges over the season, if all overthrow landed there."""

from __future__ import annotations

import math
from collections.abc import Sequence

from geosand.errors import printable
from geosand.planning.route import natural
from geosand.reports.documents import MILLIMETRE, Document, si
from geosand.reports.printable.content import Column, Row, Section, Table, Text
from geosand.reports.words import MISSING, Units, label_of, shown

_ZONES = ("collar", "surrounds")


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
    depth, mass = label_of("depth", units), label_of("mass", units)
    columns = [Column(head="around", width=100)]
    for zone in _ZONES:
        columns += [
            Column(head=f"{zone} depth {depth}", width=72, align="right"),
            Column(head=f"u {depth}", width=60, align="right"),
            Column(head=f"mass {mass}", width=73, align="right"),
        ]
    rows = [
        Row(cells=(printable(name), *_cells(rings, name, units)))
        for name in names
        if deepest(name) > 0
    ]
    text = (
        "Sand that has built up beside the edges so far, as if all that landed elsewhere lay"
        " there. Sand on a collar raises the rim; look here before the next dressing."
    )
    blocks = (Table(columns=columns, rows=rows), Text(text=text, soft=True))
    return [Section(title="Beside the edges", blocks=blocks)]


def _cells(rings: dict[tuple[str, str], Document], name: str, units: Units) -> list[str]:
    cells: list[str] = []
    for zone in _ZONES:
        ring = rings.get((name, zone))
        if ring is None:
            cells += [MISSING] * 3
            continue
        for key in ("depth_mm", "u_depth_mm"):
            cells.append(shown(si(ring[key], MILLIMETRE), "depth", units, unit=False))
        cells.append(shown(si(ring["mass_kg"]), "mass", units, unit=False))
    return cells
