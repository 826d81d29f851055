"""``geosand season``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from geosand.cli.options import as_of_option, display, print_document, results_of, verb

if TYPE_CHECKING:
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
    from geosand.reports.plain_table import show
    from geosand.reports.words import NO_DRESSING, in_words_of

    shown = display(units, results.site)
    if not len(results.site.dressings):
        show(NO_DRESSING)
    elif row is None:
        show(*outlook(results, shown))
    table = season_table(results, shown, only=row)
    show(*[table] if table.rows else [])  # none where nothing is dressed or has a target
    if row is not None:
        from geosand.reports.budgets import depth_budget, season_sharpening

        found = season_sharpening(results, row)
        show(*depth_budget(results.ledger.depth, row, found, shown))
    for finding in results.findings if row is None else ():
        if finding.topic == "season":
            show(in_words_of(str(finding), shown))
    if rings:
        beside = rings_table(results, shown, around=surface)
        show(beside if beside.rows else "No sand is known to lie beside the edges.")


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
