"""Where the uncertainty of a figure comes from, and what would sharpen it most."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from geosand.balance.sharpen import Sharpening, changes, sharpen
from geosand.estimates import Estimates
from geosand.reports.documents import MILLIMETRE, Document, budgets, number
from geosand.reports.plain_table import Table, by_columns
from geosand.reports.words import Units, cells, in_words_of, label_of, percent
from geosand.results import Results
from geosand.units import SHOWN

ON, OVER = "on surfaces", "overthrow"


def dressing_sharpenings(results: Results, k: int) -> dict[str, Sharpening]:
    """What would sharpen the sand on surfaces and the overthrow of dressing ``k``, if measured."""
    balance, found = results.balance, {}
    options = changes(results.site, results.areas, results.rates, dressings=np.array([k]))
    for name, table in ((ON, balance.on_surfaces), (OVER, balance.overthrow)):
        if math.isfinite(table.value[k]):
            found[name] = sharpen(table, options, row=k)
    return found


def depth_sharpening(results: Results, row: int) -> Sharpening | None:
    """What would sharpen the depth of dressed surface ``row``; None where it is not measured."""
    site, depth = results.site, results.rates.depth
    if not math.isfinite(depth.value[row]):
        return None
    dressing = site.dressed.dressing[[row]]
    ground = site.surfaces.ground[site.dressed.surface[[row]]]
    options = changes(site, results.areas, results.rates, dressings=dressing, surfaces=ground)
    return sharpen(depth, options, row=row)


def season_sharpening(results: Results, row: int) -> Sharpening | None:
    """What would sharpen the season depth in row ``row`` of the ledger; None if not measured."""
    site, ledger = results.site, results.ledger
    ground = site.surfaces.ground[ledger.row[[row]]]
    mine = ledger.counted & (site.surfaces.ground[site.dressed.surface] == ground)
    if not mine.any() or not math.isfinite(ledger.depth.value[row]):
        return None
    of, parts = site.dressed.dressing[mine], (site, results.areas, results.rates)
    options = changes(*parts, dressings=of, surfaces=ground, season=True)
    return sharpen(ledger.depth, options, row=row)


def sentence(name: str, found: Sharpening | None, units: Units, measure: str) -> str:
    """``name``: the best change in words, in the reader's units."""
    if found is None:
        return f"{name}: not measured"
    factor, unit, digits = SHOWN[units][measure]
    said = found.sentence(unit=unit, factor=factor, digits=digits)
    return in_words_of(f"{name}: {said}", units)


def depth_budget(
    depth: Estimates, row: int, found: Sharpening | None, units: Units
) -> list[Table | str]:
    """Where the uncertainty of the depth in ``row`` comes from, and what would sharpen it most."""
    title, figures = "Where its uncertainty comes from", {"depth": (depth, row)}
    tables = [] if found is None else [budget_table(title, figures, units, "u depth")]
    return [*tables, sentence("depth", found, units, "u depth")]


def sharpening_document(
    found: Sharpening | None, unit: str, factor: float = 1.0
) -> Document | None:
    """The changes that would sharpen a figure, the best first; masses in kg, depths in mm."""
    if found is None:
        return None
    return {
        f"u_{unit}": number(found.u, factor),
        "changes": [
            {"change": text, f"u_{unit}": number(u, factor)}
            for text, u in zip(found.text, found.u_after, strict=True)
        ],
        "sentence": found.sentence(unit=unit, factor=factor, digits=0 if unit == "kg" else 2),
    }


def add_budgets(document: Document, results: Results, dressings: Sequence[int]) -> None:
    """Put budgets of single surfaces' depths and sharpenings into some dressings of a document."""
    site, budget = results.site, budgets(results.rates.depth, "mm", MILLIMETRE)
    for entry, k in zip(document["dressings"], dressings, strict=True):
        entry["sharpen"] = {
            name.replace(" ", "_"): sharpening_document(found, "kg")
            for name, found in dressing_sharpenings(results, k).items()
        }
        rows = np.flatnonzero(site.dressed.dressing == k).tolist()
        for one, row in zip(entry["surfaces"], rows, strict=True):
            one["budget"] = budget[row]
            one["sharpen"] = sharpening_document(depth_sharpening(results, row), "mm", MILLIMETRE)


def budget_table(
    title: str, figures: Mapping[str, tuple[Estimates, int]], units: Units, measure: str
) -> Table:
    """Sources of one or more figures, given as table and row, with what each adds and its share."""
    columns, size = [], dict[str, float]()
    for table, row in figures.values():
        own = {source: float(column[row]) for source, column in table.shares().items()}
        columns.append({source: share for source, share in own.items() if share > 0})
        for source, share in columns[-1].items():
            size[source] = max(size.get(source, 0.0), share)
    order = sorted(size, key=lambda source: -size[source])
    told: list[tuple[str, bool, list[str]]] = [("source", False, [*order, "together"])]
    for (name, (table, row)), shares in zip(figures.items(), columns, strict=True):
        u = {source: column[row] for source, column in table.by_category().items()}
        each = [u[source] if source in shares else math.nan for source in order]
        head = f"{name}\nu {label_of(measure, units)}"
        told.append((head, True, cells([*each, table.u()[row]], measure, units)))
        told.append(("share", True, [*(percent(shares.get(s)) for s in order), percent(1.0)]))
    return by_columns(title, *told)
