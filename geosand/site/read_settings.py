"""``site.toml``: settings, sands, targets. Every default that enters a result is noted."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from geosand.columns import Floats
from geosand.errors import Faults, Finding
from geosand.site.cells import LONGEST, RawTable, parse_number, quoted
from geosand.site.reading import Reader
from geosand.site.tables import Moistures, Sands, Settings
from geosand.units import UnitFault, factor_to_si

FILE = "site.toml"
U_MOISTURE = 0.005  #: of a stated moisture without u: 0.5 points; common practice, no source
U_MOISTURE_KILN = 0.002
TABLES = ("sand", "sands", "catches", "targets")


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteText:
    """What ``site.toml`` says, checked; accuracies and targets go into the surfaces' columns."""

    name: str
    season_start: np.datetime64
    season_end: np.datetime64 | None
    units: str
    settings: Settings
    elevation_m: float
    boundary_accuracy_m: float
    edge_accuracy_m: float
    edge_bias_m: float
    position_accuracy_m: float
    targets_m: Mapping[str, float]
    sands: Sands


class MoistureBook:
    """The measured water contents, each once; the label names the source of uncertainty."""

    def __init__(self) -> None:
        self.rows: dict[str, tuple[int, float, float]] = {}
        self.mixtures: dict[int, list[tuple[int, float]]] = {}

    def add(self, label: str, ratio: float, u_ratio: float) -> int:
        """Row of this water content in the table of moistures; another u is another source."""
        if self.rows.get(label, (0, ratio, u_ratio))[1:] != (ratio, u_ratio):
            label = f"{label} ± {u_ratio * 100:.6g}"
        return self.rows.setdefault(label, (len(self.rows), ratio, u_ratio))[0]

    def mix(self, label: str, parts: Mapping[int, float]) -> int:
        """Row of the mean of other rows, given with their weights (sum 1); it keeps their sources.

        The same parts are one row, in whatever order.
        """
        rows = list(self.rows.values())
        ratio = sum(weight * rows[k][1] for k, weight in parts.items())
        u = sum((weight * rows[k][2]) ** 2 for k, weight in parts.items()) ** 0.5
        row = self.add(label, ratio, u)
        self.mixtures[row] = sorted(parts.items())
        return row

    def ratios(self) -> Floats:
        """Water contents by row, and nan at the end, so that row -1 has none."""
        return np.array([row[1] for row in self.rows.values()] + [np.nan])

    def table(self) -> Moistures:
        """All of them as columns."""
        ratios = [row[1] for row in self.rows.values()]
        return Moistures(
            label=np.array(list(self.rows), dtype=np.str_),
            ratio=np.array(ratios, dtype=float),
            u_ratio=np.array([row[2] for row in self.rows.values()], dtype=float),
            mixtures=dict(self.mixtures),
        )


def one_row(mapping: Mapping[str, Any], place: str) -> RawTable:
    """A TOML table as a table of one row; its sub-tables left out."""
    cells = {k: [v] for k, v in mapping.items() if not isinstance(v, (dict, list))}
    return RawTable(file=FILE, rows=[place], columns=cells)


def dry_basis(reader: Reader) -> tuple[Floats, Floats]:
    """Columns of water content on dry basis and its u; nan where not given.

    From wet basis w = ww / (1 - ww) (mass of water per mass of wet product).
    """
    for name in reader.table.columns:
        cells = reader.table.columns[name]
        bare = name.startswith("moisture") and "basis" not in name
        if bare and any(parse_number(c) is not None for c in cells):
            reader.read.add(name)
            reader.whole_fault(
                name,
                "a bare moisture can mean two things",
                remedy="call it moisture_dry_basis_percent (water per dry sand)"
                " or moisture_wet_basis_percent (water per moist sand)",
            )
    dry = reader.quantity("moisture_dry_basis", "ratio", minimum=0.0, maximum=1.0)
    wet = reader.quantity("moisture_wet_basis", "ratio", minimum=0.0, maximum=0.5)
    u = reader.quantity("u_moisture", "ratio", minimum=0.0, maximum=0.5)
    for row in np.flatnonzero(np.isfinite(dry) & np.isfinite(wet)):
        found = "moisture is given on both bases"
        reader.fault(int(row), "moisture_…", found, remedy="keep one of them")
    wet = np.where(wet >= 1, np.nan, wet)
    return (
        np.where(np.isfinite(dry), dry, wet / (1 - wet)),
        np.where(np.isfinite(dry), u, u / (1 - wet) ** 2),
    )


def read_settings(
    document: Mapping[str, Any], book: MoistureBook, faults: Faults, findings: list[Finding]
) -> SiteText:
    """Check ``site.toml`` and return what it says in SI. Faults are noted, not raised."""
    reader = Reader(one_row(document, "top of the file"), faults, findings)
    start = reader.dates("season_start", required=True)[0]
    end = reader.dates("season_end")[0]
    if not np.isnat(end) and not np.isnat(start) and end <= start:
        found = f"the season ends ({end}) before it starts ({start})"
        reader.fault(0, "season_end", found, remedy="check both dates")
    default = _Defaults(reader, findings)
    values = {
        "elevation_m": float(reader.quantity("elevation", "m", minimum=-500, maximum=9000)[0]),
        "boundary_accuracy_m": default("boundary_accuracy", "m", 0.05, 20),
        "edge_accuracy_m": default("edge_accuracy", "m", 0.30, 20),
        "edge_bias_m": default("edge_bias", "m", 0.15, 20),
        "position_accuracy_m": default("position_accuracy", "m", 3.0, 200),
    }
    catches = document.get("catches", {})
    catch_reader = Reader(
        one_row(_table(catches, "catches", faults), "[catches]"), faults, findings
    )
    catch_default = _Defaults(catch_reader, findings)
    settings = Settings(
        u_tray=catch_default("u_tray", "ratio", 0.005, 0.5),
        catch_efficiency=catch_default("catch_efficiency", "ratio", 1.0, 2.0, above=0.0),
        u_catch_efficiency=catch_default("u_catch_efficiency", "ratio", 0.03, 0.5),
        collar_width_m=default("collar_width", "m", 0.9, 20),
        surrounds_width_m=default("surrounds_width", "m", 4.0, 100),
        tolerance=default("tolerance", "ratio", 0.10, 1.0, above=0.0),
        agreement=default("agreement", "ratio", 0.10, 1.0, above=0.0),
    )
    catch_reader.finish()
    units = str(reader.choice("units", ["metric", "us"])[0]) or "metric"
    name = " ".join(str(reader.text("name")[0]).split())
    if not name:
        findings.append(Finding(about=FILE, text="the site has no name", topic="default"))
    targets = _targets(document, faults)
    sands = _sands(document, book, faults, findings)
    reader.finish()
    _misspelt_tables(document, findings)
    return SiteText(
        name=name or "unnamed site",
        season_start=start,
        season_end=None if np.isnat(end) else end,
        units=units,
        settings=settings,
        targets_m=targets,
        sands=sands,
        **values,
    )


def unread_settings() -> SiteText:
    """Stands in for a ``site.toml`` that could not be read: no season, no sand, nothing noted."""
    return read_settings({}, MoistureBook(), Faults(), [])


class _Defaults:
    """Reads one value with its default; says the default where it enters."""

    def __init__(self, reader: Reader, findings: list[Finding]) -> None:
        self.reader, self.findings = reader, findings

    def __call__(
        self, base: str, si: str, value: float, maximum: float, *, above: float | None = None
    ) -> float:
        column = self.reader.quantity(
            base, si, minimum=None if above is not None else 0.0, above=above, maximum=maximum
        )
        if np.isfinite(column[0]):
            return float(column[0])
        shown = f"{value * 100:g} %" if si == "ratio" else f"{value:g} m"
        words = base.replace("_", " ").replace("u ", "standard uncertainty of ", 1)
        self.findings.append(
            Finding(about=FILE, text=f"{words} is not said: {shown} is used", topic="default")
        )
        return value


def _table(value: Any, name: str, faults: Faults) -> Mapping[str, Any]:
    if isinstance(value, dict):
        return value
    faults.add(FILE, f"{name} is not a table", remedy=f"write it as [{name}] with lines below it")
    return {}


def _targets(document: Mapping[str, Any], faults: Faults) -> dict[str, float]:
    targets: dict[str, float] = {}
    for key in [k for k in document if k == "targets" or k.startswith("targets_")]:
        try:
            factor = factor_to_si(key.removeprefix("targets").removeprefix("_"), "m")
        except UnitFault as problem:
            remedy = "write [targets_mm]"
            faults.add(FILE, str(problem), row=f"[{key}]", remedy=remedy)
            continue
        for kind, value in _table(document[key], key, faults).items():
            number = None if isinstance(value, str) else parse_number(value)
            if number is None or not 0 <= number * factor <= 1:
                faults.add(
                    FILE,
                    f"{quoted(str(value))} is not a season's depth",
                    row=f"[{key}]",
                    column=kind,
                    allowed=f"a number from 0 to {1 / factor:g}",
                )
            elif kind.lower() in targets:
                faults.add(FILE, "stands twice", row=f"[{key}]", column=kind, remedy="keep one")
            else:
                targets[kind.lower()] = number * factor
    return targets


def _sands(
    document: Mapping[str, Any], book: MoistureBook, faults: Faults, findings: list[Finding]
) -> Sands:
    before = len(faults.found)
    named = _table(document.get("sands", {}), "sands", faults)
    tables = {k: _table(v, f"sands.{k}", faults) for k, v in named.items()}
    if "sand" in document:
        if tables:
            faults.add(FILE, "both [sand] and [sands.…] are there", remedy="keep [sands.…]")
        tables["sand"] = _table(document["sand"], "sand", faults)
    if not tables and isinstance(document.get("sands", {}), dict):
        faults.add(
            FILE,
            "no sand is described",
            remedy="add a table [sands.NAME] with bulk_density_g_cm3 and its moisture",
        )
    unsure = len(faults.found) > before
    rows = [_one_sand(name, t, book, faults, findings) for name, t in tables.items()]
    if unsure:  # which sands there are is not known: what names one is not judged
        tables, rows = {}, []
    numbers = np.array(rows, dtype=np.float64).reshape(-1, 4)
    return Sands(
        name=np.array([name[:LONGEST] for name in tables], dtype=np.str_),
        bulk_density_kg_m3=numbers[:, 0],
        u_bulk_density_kg_m3=numbers[:, 1],
        moisture=numbers[:, 2].astype(np.int64),
        sand_mass_fraction=numbers[:, 3],
    )


def _one_sand(
    name: str,
    mapping: Mapping[str, Any],
    book: MoistureBook,
    faults: Faults,
    findings: list[Finding],
) -> tuple[float, float, int, float]:
    place = "[sand]" if name == "sand" else f"[sands.{name}]"
    reader = Reader(one_row(mapping, place), faults, findings)
    density = reader.quantity("bulk_density", "kg_m3", minimum=500, maximum=2700)[0]
    u_density = reader.quantity("u_bulk_density", "kg_m3", minimum=0, maximum=500)[0]
    if np.isfinite(density) and not np.isfinite(u_density):
        u_density = 30.0
        text = f"the bulk density's standard uncertainty of sand {name} is not said: 0.03 g/cm³"
        findings.append(Finding(about=FILE, text=f"{text} is used", topic="default"))
    ratio, u_ratio = (column[0] for column in dry_basis(reader))
    kiln = bool(reader.flag("kiln_dried")[0])
    moisture = -1
    if np.isfinite(ratio) or kiln:
        if kiln and np.isfinite(ratio) and ratio > 0.005:
            found = "kiln_dried = true beside a moisture above 0.5 %"
            reader.fault(0, "kiln_dried", found, remedy="say one or the other")
        ratio = ratio if np.isfinite(ratio) else 0.0
        moisture = book.add(
            f"moisture: {name}", float(ratio), stated_u(ratio, u_ratio, name, findings)
        )
    fraction = reader.number("sand_mass_fraction", above=0.0, maximum=1.0)[0]
    if reader.faulty and moisture < 0:
        moisture = book.add(f"moisture: {name}", 0.0, 0.0)  # told here once, not for each load
    reader.finish()
    return (
        float(density),
        float(u_density),
        moisture,
        1.0 if np.isnan(fraction) else float(fraction),
    )


def stated_u(ratio: float, u_ratio: float, name: str, findings: list[Finding]) -> float:
    """The u of a stated moisture, or the default: 0.2 points when dry, else 0.5, said."""
    if np.isfinite(u_ratio):
        return float(u_ratio)
    value = U_MOISTURE_KILN if ratio <= 0.001 else U_MOISTURE
    text = f"standard uncertainty of the moisture of {name} is not said: {value * 100:g} points"
    finding = Finding(about=FILE, text=f"{text} are used", topic="default")
    if finding not in findings:
        findings.append(finding)
    return value


def _misspelt_tables(document: Mapping[str, Any], findings: list[Finding]) -> None:
    for key, value in document.items():
        known = key in TABLES or key.startswith("targets_")
        if isinstance(value, (dict, list)) and not known:
            text = f"{quoted(key)} is not read; tables are [sands.…], [catches], [targets_mm]"
            findings.append(Finding(about=FILE, text=text, topic="file"))
