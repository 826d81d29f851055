"""All ledgers of a site as one workbook: a sheet a table, its rows those of the JSON documents."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from typing import Any

from geosand.columns import frozen
from geosand.errors import printable
from geosand.formats.workbook_writing import DAY_FORMAT, Sheet, SheetColumn, Value, workbook
from geosand.reports.area_rows import area_rows
from geosand.reports.balance_document import balance_document
from geosand.reports.catch_rows import catch_rows
from geosand.reports.console import CAUTION
from geosand.reports.documents import MILLIMETRE, Document
from geosand.reports.printable.method_section import METHOD
from geosand.reports.season_document import season_balance, season_document
from geosand.reports.words import Units, by_weight, in_words_of
from geosand.results import Results
from geosand.units import SHOWN

#: (key in the document, words of the head, measure); a measure is one of SHOWN or of _FORMATS.
Spec = Sequence[tuple[str, str, str]]
_FORMATS = {
    "text": "",
    "long": "",
    "told": "",  # a finding: in the reader's units too
    "count": "0",
    "day": DAY_FORMAT,
    "share": "0.0%",
    "percent": "0.0",
    "degree": "0.0000000",
}
#: What turns a document's figure into SI, by measure.
_TO_SI = {"depth": 1 / MILLIMETRE}

BALANCE: Spec = (
    ("dressing", "dressing", "text"),
    ("date", "date", "day"),
    ("sand", "sand", "text"),
    ("spread.mass_kg", "spread", "mass"),
    ("spread.u_kg", "u of spread", "mass"),
    ("on_surfaces.mass_kg", "on surfaces", "mass"),
    ("on_surfaces.u_kg", "u of on surfaces", "mass"),
    ("on_surfaces.low_kg", "on surfaces, low", "mass"),
    ("on_surfaces.high_kg", "on surfaces, high", "mass"),
    ("overthrow.mass_kg", "overthrow", "mass"),
    ("overthrow.u_kg", "u of overthrow", "mass"),
    ("overthrow.low_kg", "overthrow, low", "mass"),
    ("overthrow.high_kg", "overthrow, high", "mass"),
    ("overthrow.fraction", "overthrow over spread", "share"),
    ("overthrow.verdict", "verdict", "text"),
    ("overthrow.strip_width_m", "strip width", "length"),
    ("overthrow.reach_m", "reach", "length"),
    ("overthrow.collar_kg", "in collars", "mass"),
    ("overthrow.surrounds_kg", "in surrounds", "mass"),
    ("overthrow.farther_kg", "farther", "mass"),
    ("dressed_area_m2", "dressed area", "area"),
    ("methods.by_mass.rate_kg_m2", "rate by mass", "rate"),
    ("methods.by_volume.rate_kg_m2", "rate by volume", "rate"),
    ("methods.by_bulk.rate_kg_m2", "rate by bulk", "rate"),
    ("methods.agree", "methods agree", "text"),
    ("uniformity.catches", "catches", "count"),
    ("uniformity.cv_percent", "CV, %", "percent"),
    ("uniformity.du_lq_percent", "low quarter uniformity, %", "percent"),
    ("uniformity.cu_percent", "Christiansen's coefficient, %", "percent"),
)
SURFACES: Spec = (
    ("dressing", "dressing", "text"),
    ("date", "date", "day"),
    ("id", "surface", "text"),
    ("name", "name", "text"),
    ("kind", "kind", "text"),
    ("area_m2", "area", "area"),
    ("catches", "catches", "count"),
    ("basis", "stands on", "text"),
    ("rate_kg_m2", "rate", "rate"),
    ("u_rate_kg_m2", "u of rate", "rate"),
    ("planned_mm", "planned depth", "depth"),
    ("depth_mm", "depth", "depth"),
    ("u_depth_mm", "u of depth", "depth"),
    ("low_mm", "depth, low", "depth"),
    ("high_mm", "depth, high", "depth"),
    ("mass_kg", "mass", "mass"),
    ("u_mass_kg", "u of mass", "mass"),
    ("collar_mm", "collar depth", "depth"),
    ("surrounds_mm", "surrounds depth", "depth"),
    ("collar_kg", "in the collar", "mass"),
    ("surrounds_kg", "in the surrounds", "mass"),
)
SEASON: Spec = (
    ("id", "surface", "text"),
    ("name", "name", "text"),
    ("kind", "kind", "text"),
    ("dressings", "dressings", "count"),
    ("depth_mm", "depth so far", "depth"),
    ("u_depth_mm", "u of depth", "depth"),
    ("low_mm", "depth, low", "depth"),
    ("high_mm", "depth, high", "depth"),
    ("target_mm", "target", "depth"),
    ("target_so_far_mm", "target so far", "depth"),
    ("shortfall_mm", "shortfall", "depth"),
    ("state", "state", "text"),
    ("probability", "probability of the state", "share"),
    ("basis", "stands on", "text"),
    ("all_measured", "all its dressings measured", "text"),
    ("in_holes_mm", "depth in holes", "depth"),
    ("surface_mm", "depth on the surface", "depth"),
)
RINGS: Spec = (
    ("id", "collar or surrounds", "text"),
    ("around", "around", "text"),
    ("kind", "zone", "text"),
    ("depth_mm", "depth so far", "depth"),
    ("u_depth_mm", "u of depth", "depth"),
    ("mass_kg", "mass", "mass"),
)
AREAS: Spec = (
    ("id", "surface", "text"),
    ("name", "name", "text"),
    ("kind", "kind", "text"),
    ("area_m2", "ground area", "area"),
    ("u_area_m2", "u of area", "area"),
    ("perimeter_m", "perimeter", "length"),
    ("drawn_area_m2", "ground area as drawn", "area"),
)
CATCHES: Spec = (
    ("catch", "catch", "text"),
    ("dressing", "dressing", "text"),
    ("date", "date", "day"),
    ("surface", "surface", "text"),
    ("lon", "longitude, °", "degree"),
    ("lat", "latitude, °", "degree"),
    ("rate_kg_m2", "rate", "rate"),
    ("depth_mm", "depth", "depth"),
    ("estimate_kg_m2", "rate of its surface", "rate"),
    ("residual_percent", "off the surface's rate, %", "percent"),
    ("used", "used", "text"),
    ("reject_reason", "reason if not", "text"),
    ("note", "note", "text"),
)
BUDGET: Spec = (
    ("dressing", "dressing", "text"),
    ("source", "source", "text"),
    ("u_kg", "its u of the overthrow", "mass"),
    ("share", "share of the variance", "share"),
)
FINDINGS: Spec = (("about", "about", "text"), ("topic", "topic", "text"), ("text", "text", "told"))
INPUTS: Spec = (("file", "file", "text"), ("sha256", "SHA-256", "text"))
NOTES: Spec = (("text", "notes", "long"),)


@frozen
class _Ledger:
    """A sheet before its units: title, columns, rows of documents."""

    title: str
    spec: Spec
    rows: Sequence[Document]
    frozen: int = 1


def results_workbook(results: Results, units: Units) -> bytes:
    """The whole workbook in the reader's units, the same bytes each time."""
    ledgers = _ledgers(results)
    return workbook(
        [_sheet(ledger, units) for ledger in ledgers],
        title=printable(results.site.name),
        day=datetime.date.fromisoformat(str(results.ledger.as_of)),
    )


def _ledgers(results: Results) -> list[_Ledger]:
    site = results.site
    balance, season = balance_document(results), season_document(results)
    called = zip(site.surfaces.id, site.surfaces.name, site.surfaces.kind, strict=True)
    told = {str(i): {"name": str(name), "kind": str(kind)} for i, name, kind in called}
    dressings, whole = balance["dressings"], season_balance(results)
    budget = [{**part, "dressing": d["dressing"]} for d in dressings for part in d["budget"]]
    budget += [{**part, "dressing": "whole season"} for part in whole["budget"]]
    dressed = [
        {**row, **told[row["id"]], "dressing": d["dressing"], "date": d["date"]}
        for d in dressings
        for row in d["surfaces"]
    ]
    rows = [{**r, **told[r["id"]]} for r in season["surfaces"] if "around" not in r]
    inputs = [{"file": name, "sha256": digest} for name, digest in sorted(site.inputs.items())]
    return [
        _Ledger(title="balance", spec=BALANCE, rows=dressings, frozen=2),
        _Ledger(title="season balance", spec=_WHOLE, rows=_whole_rows(whole)),
        _Ledger(title="surfaces by dressing", spec=SURFACES, rows=dressed, frozen=4),
        _Ledger(title="season", spec=SEASON, rows=rows, frozen=2),
        _Ledger(title="rings", spec=RINGS, rows=[r for r in season["surfaces"] if "around" in r]),
        _Ledger(title="areas", spec=AREAS, rows=area_rows(site, results.areas), frozen=2),
        _Ledger(title="catches", spec=CATCHES, rows=catch_rows(results)),
        _Ledger(title="budget", spec=BUDGET, rows=budget, frozen=2),
        _Ledger(title="findings", spec=FINDINGS, rows=by_weight(balance["findings"])),
        _Ledger(title="inputs", spec=INPUTS, rows=inputs),
        _Ledger(title="notes", spec=NOTES, rows=_notes(results)),
    ]


_WHOLE: Spec = (
    ("what", "season so far", "text"),
    ("mass_kg", "mass", "mass"),
    ("u_kg", "u", "mass"),
    ("low_kg", "low", "mass"),
    ("high_kg", "high", "mass"),
    ("fraction", "share of the spread", "share"),
)


def _whole_rows(season: Document) -> list[Document]:
    """The waterfall as rows, from the spread to where it lies."""
    beside = season["beside"]
    collar, surrounds = (
        {"low_kg": beside[f"{zone}_least_kg"], "high_kg": beside[f"{zone}_most_kg"]}
        for zone in ("collar", "surrounds")
    )
    return [
        {"what": "spread", **season["spread"]},
        {"what": "on the surfaces", **season["on_surfaces"]},
        {"what": "overthrow, signed", **season["overthrow"]},
        {"what": "in collars", "mass_kg": beside["collar_kg"], **collar},
        {"what": "in the surrounds", "mass_kg": beside["surrounds_kg"], **surrounds},
        {"what": "farther", "mass_kg": beside["farther_kg"]},
        {"what": "not laid out beside edges, signed", "mass_kg": season["not_laid_out_kg"]},
        {"what": "spread but not measured", "mass_kg": season["not_measured_kg"]},
    ]


def _notes(results: Results) -> list[Document]:
    first = (
        f"{printable(results.site.name)}, season from {results.ledger.start}, as of"
        f" {results.ledger.as_of}. u: standard uncertainty; low and high: 95 % interval. An empty"
        " cell: no figure, not zero."
    )
    return [{"text": text} for text in (first, *METHOD, CAUTION)]


def _sheet(ledger: _Ledger, units: Units) -> Sheet:
    columns = [_column(words, measure, units) for _, words, measure in ledger.spec]
    rows = [
        [_value(_found(row, key), measure, units) for key, _, measure in ledger.spec]
        for row in ledger.rows
    ]
    return Sheet(title=ledger.title, columns=columns, rows=rows, frozen=ledger.frozen)


def _column(words: str, measure: str, units: Units) -> SheetColumn:
    if measure in _FORMATS:
        return SheetColumn(head=words, format=_FORMATS[measure], long=measure in ("long", "told"))
    _, unit, decimals = SHOWN[units][measure]
    digits = f".{'0' * decimals}" if decimals else ""
    return SheetColumn(head=f"{words}, {unit}", format=f"#,##0{digits}")


def _found(row: Mapping[str, Any], key: str) -> Any:
    """A figure of a document, ``overthrow.mass_kg`` within its part; None where it is not."""
    value: Any = row
    for part in key.split("."):
        value = value.get(part) if isinstance(value, Mapping) else None
    return value


def _value(value: Any, measure: str, units: Units) -> Value:
    """A cell: a date as a date, yes or no in words, a number in the reader's unit."""
    if value is None:
        return None
    if measure == "day":
        return datetime.date.fromisoformat(value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if measure == "told":
        return in_words_of(value, units)
    if measure in _FORMATS:
        found: Value = value
        return found
    return float(f"{value * _TO_SI.get(measure, 1.0) * SHOWN[units][measure][0]:.9g}")
