"""``geosand season``."""

from __future__ import annotations

from pathlib import Path

import click

from geosand.cli.options import as_of_option, display, print_document, results_of, verb


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
    """Depth each surface has had so far, its target so far, and its state with a probability."""
    results = results_of(folder, as_of)
    ids = results.site.surfaces.id[results.ledger.row].tolist()
    if surface is not None and surface not in ids:
        raise click.BadParameter(
            f"{surface!r} has no season account: {', '.join(ids)}", param_hint="--surface"
        )
    row = None if surface is None else ids.index(surface)
    if as_json:
        from geosand.reports.season_document import season_document

        document = season_document(results)
        if row is not None:
            from geosand.reports.budgets import season_sharpening, sharpening_document

            entry = document["surfaces"][row]
            found = season_sharpening(results, row)
            entry["sharpen"] = sharpening_document(found, "mm", 1000.0)
            rows = document["surfaces"]
            document["surfaces"] = [r for r in rows if surface in (r["id"], r.get("around"))]
        print_document(document)
        return
    from geosand.reports.console import console, outlook, rings_table, season_table
    from geosand.reports.words import NO_DRESSING, in_words_of

    shown = display(units, results.site)
    out = console()
    if not len(results.site.dressings):
        out.print(NO_DRESSING, soft_wrap=True)
    elif row is None:
        out.print("\n".join(outlook(results, shown)), soft_wrap=True)
    out.print(season_table(results, shown, only=row))
    if row is not None:
        from geosand.reports.budgets import budget_table, season_sharpening, sentence

        found = season_sharpening(results, row)
        if found is not None:
            figures = {"depth": (results.ledger.depth, row)}
            out.print(budget_table("Where its uncertainty comes from", figures, shown, "depth"))
        out.print(sentence("depth", found, shown, "depth"), soft_wrap=True)
    for finding in results.findings if row is None else ():
        if finding.topic == "season":
            out.print(in_words_of(str(finding), shown), soft_wrap=True)
    if rings:
        beside = rings_table(results, shown, around=surface)
        out.print(beside if beside.rows else "No sand is known to lie beside the edges.")
