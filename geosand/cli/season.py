"""``geosand season``."""

from __future__ import annotations

from pathlib import Path

import click

from geosand.cli.options import as_of_option, display, print_document, results_of, verb


@verb
@as_of_option
@click.option("--rings", is_flag=True, help="Also sand built up in collars and surrounds.")
def command(folder: Path, as_json: bool, units: str | None, as_of: str | None, rings: bool) -> None:
    """Depth each surface has had so far, its target so far, and its state with a probability."""
    results = results_of(folder, as_of)
    if as_json:
        from geosand.reports.documents import season_document

        print_document(season_document(results))
        return
    from geosand.reports.console import console, rings_table, season_table

    shown = display(units, results.site)
    out = console()
    out.print(season_table(results, shown))
    for finding in results.findings:
        if finding.topic == "season":
            out.print(str(finding), soft_wrap=True)
    if rings:
        out.print(rings_table(results, shown))
