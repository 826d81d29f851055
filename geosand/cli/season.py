"""``geosand season``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from geosand.cli.options import as_of_option, display, print_document, results_of, verb

if TYPE_CHECKING:
    from rich.console import Console

    from geosand.reports.plain_table import Pipe
    from geosand.reports.words import Units
    from geosand.results import Results


@verb
@as_of_option
@click.option("--rings", is_flag=True, help="Also sand built up in collars and surrounds.")
@click.option("--surface", metavar="ID", help="Only this surface, with its depth's budget.")
def command(
    folder: Path,
    as_json: bool,
    units: str | None,
    as_of: str | None,
    rings: bool,
    surface: str | None,
) -> None:
    """Depth each surface has had so far, its target so far, and its state with a probability.

    Example: geosand season my_site --as-of 2026-06-30
    """
    results = results_of(folder, as_of)
    ids = results.site.surfaces.id[results.ledger.row].tolist()
    if surface is not None and surface not in ids:
        raise click.BadParameter(
            f"{surface!r} has no season account: {', '.join(ids)}", param_hint="--surface"
        )
    row = None if surface is None else ids.index(surface)
    if as_json:
        print_document(_document(results, row))
        return
    from geosand.reports.console import outlook, rings_table, season_table
    from geosand.reports.plain_table import console
    from geosand.reports.words import NO_DRESSING, in_words_of

    shown = display(units, results.site)
    out = console()
    if not len(results.site.dressings):
        out.print(NO_DRESSING, soft_wrap=True)
    elif row is None:
        out.print("\n".join(outlook(results, shown)), soft_wrap=True)
    out.print(season_table(results, shown, only=row))
    if row is not None:
        _print_budget(out, results, row, shown)
    for finding in results.findings if row is None else ():
        if finding.topic == "season":
            out.print(in_words_of(str(finding), shown), soft_wrap=True)
    if rings:
        beside = rings_table(results, shown, around=surface)
        out.print(beside if beside.rows else "No sand is known to lie beside the edges.")


def _document(results: Results, row: int | None) -> dict[str, Any]:
    """The season; with a ``row`` that surface and its rings only, and what would sharpen it."""
    from geosand.reports.season_document import season_document

    document = season_document(results)
    if row is not None:
        from geosand.reports.budgets import season_sharpening, sharpening_document

        rows = document["surfaces"]
        surface = rows[row]["id"]
        rows[row]["sharpen"] = sharpening_document(season_sharpening(results, row), "mm", 1000.0)
        document["surfaces"] = [r for r in rows if surface in (r["id"], r.get("around"))]
    return document


def _print_budget(out: Console | Pipe, results: Results, row: int, units: Units) -> None:
    """Where the uncertainty of a surface's depth comes from, and what would sharpen it most."""
    from geosand.reports.budgets import budget_table, season_sharpening, sentence

    found = season_sharpening(results, row)
    if found is not None:
        figures = {"depth": (results.ledger.depth, row)}
        out.print(budget_table("Where its uncertainty comes from", figures, units, "depth"))
    out.print(sentence("depth", found, units, "depth"), soft_wrap=True)
