"""Water contents: what a file says of them, and the book of all that were measured."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from geosand.columns import Floats, Ints
from geosand.errors import Finding
from geosand.site.cells import parse_number
from geosand.site.raw_columns import cells_of
from geosand.site.reading import Reader
from geosand.site.sand_tables import Moistures
from geosand.site.settings_document import FILE

MOISTURE = "moisture_dry_basis_percent"
U_MOISTURE = 0.005  #: of a stated moisture without u: 0.5 points; common practice, no source
UNLIKE_WATER = 0.01  #: water contents nearer than this move a depth by less than a percent
WETTEST = 0.15  #: usual; pores that are full of water hold 0.25 (two fifths pores, from memory)
U_MOISTURE_KILN = 0.002


class MoistureBook:
    """The measured water contents of each site, each once; the label names the source."""

    def __init__(self) -> None:
        self.rows: dict[tuple[int, str], int] = {}
        self.values: list[tuple[float, float]] = []
        self.mixtures: dict[int, list[tuple[int, float]]] = {}

    def add(self, label: str, ratio: float, u_ratio: float, member: int = 0) -> int:
        """Row of this water content in the table of moistures; another u is another source."""
        row = self.rows.get((member, label))
        if row is not None and self.values[row] != (ratio, u_ratio):
            label = f"{label} ± {u_ratio * 100:.6g}"
        row = self.rows.setdefault((member, label), len(self.values))
        if row == len(self.values):
            self.values.append((ratio, u_ratio))
        return row

    def mix(self, label: str, parts: Mapping[int, float], member: int = 0) -> int:
        """Row of the mean of other rows, given with their weights (sum 1); it keeps their sources.

        The same parts are one row, in whatever order.
        """
        ratio = sum(weight * self.values[k][0] for k, weight in parts.items())
        u = sum((weight * self.values[k][1]) ** 2 for k, weight in parts.items()) ** 0.5
        row = self.add(label, ratio, u, member)
        self.mixtures[row] = sorted(parts.items())
        return row

    def ratios(self) -> Floats:
        """Water contents by row, and nan at the end, so that row -1 has none."""
        return np.array([ratio for ratio, _ in self.values] + [np.nan])

    def table(self) -> tuple[Moistures, Ints, Ints]:
        """All of them as columns, site by site; the site of each; and the new place of each row.

        The last of the places is -1, so that row -1 stays.
        """
        member = np.array([key[0] for key in self.rows], dtype=np.int64)
        order = np.argsort(member, kind="stable")
        place = np.full(len(order) + 1, -1, dtype=np.int64)
        place[order] = np.arange(len(order))
        values = np.array(self.values, dtype=np.float64).reshape(-1, 2)[order]
        mixtures = {
            int(place[row]): [(int(place[part]), weight) for part, weight in parts]
            for row, parts in self.mixtures.items()
        }
        moistures = Moistures(
            label=np.array([key[1] for key in self.rows], dtype=np.str_)[order],
            ratio=values[:, 0].copy(),
            u_ratio=values[:, 1].copy(),
            mixtures=mixtures,
        )
        return moistures, member[order], place


def dry_basis(reader: Reader) -> tuple[Floats, Floats]:
    """Columns of water content on dry basis and its u; nan where not given.

    From wet basis w = ww / (1 - ww) (mass of water per mass of wet product).
    """
    for name in reader.table.columns:
        if not name.startswith("moisture") or "basis" in name:
            continue
        cells = cells_of(reader.table.columns[name])
        numbers = np.array([parse_number(c) is not None for c in cells], dtype=np.bool_)
        if numbers.any():
            reader.read.add(name)
            reader.whole_fault(
                name,
                "a bare moisture can mean two things",
                members=reader.of(numbers),
                remedy="call it moisture_dry_basis_percent (water per dry sand)"
                " or moisture_wet_basis_percent (water per moist sand)",
            )
    dry, wet, u = (
        reader.quantity(
            name, "ratio", minimum=0.0, maximum=most, share_below=below, usual=(0.0, usual)
        )
        for name, most, below, usual in (
            ("moisture_dry_basis", 1.0, 1e-3, WETTEST),
            ("moisture_wet_basis", 0.5, 1e-3, WETTEST),
            ("u_moisture", 0.5, 2e-4, WETTEST / 2),
        )
    )
    for row in np.flatnonzero(np.isfinite(dry) & np.isfinite(wet)):
        found = "moisture is given on both bases"
        reader.fault(int(row), "moisture_…", found, remedy="keep one of them")
    wet = np.where(wet >= 1, np.nan, wet)
    return (
        np.where(np.isfinite(dry), dry, wet / (1 - wet)),
        np.where(np.isfinite(dry), u, u / (1 - wet) ** 2),
    )


def stated_u(
    ratio: float,
    u_ratio: float,
    name: str,
    findings: list[Finding],
    member: int = 0,
    about: str = FILE,
) -> float:
    """The u of a stated moisture, or the default: 0.2 points when dry, else 0.5, said."""
    if np.isfinite(u_ratio):
        return float(u_ratio)
    value = U_MOISTURE_KILN if ratio <= 0.001 else U_MOISTURE
    text = f"standard uncertainty of the moisture of {name} is not said: {value * 100:g} points"
    findings.append(Finding(about=about, text=f"{text} are used", topic="default", member=member))
    return value
