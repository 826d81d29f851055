"""``geosand balance``."""

from __future__ import annotations

from pathlib import Path

import click

from geosand.cli.options import display, print_document, results_of, verb


@verb
@click.option("--dressing", "only", metavar="NAME", help="Only this dressing, with its surfaces.")
@click.option(
    "--witness",
    is_flag=True,
    help="Second opinions: ring catches, the season reconciled, draws, what would sharpen.",
)
def command(
    folder: Path, as_json: bool, units: str | None, only: str | None, witness: bool
) -> None:
    """Spread, on surfaces and overthrow of each dressing, with intervals and verdicts.

    Overthrow is what was spread less what the catches say landed: positive landed elsewhere,
    negative means that a measured figure is wrong.
    """
    results = results_of(folder)
    from geosand.reports.documents import balance_document, budgets

    names = results.site.dressings.id.tolist()
    if only is not None and only not in names:
        raise click.BadParameter(
            f"{only!r} is not among {', '.join(names)}", param_hint="--dressing"
        )
    if as_json:
        document = balance_document(results)
        if only is not None:
            kept = [d for d in document["dressings"] if d["dressing"] == only]
            document["dressings"] = kept
        if witness:
            from geosand.reports.witnesses import hear, witness_document

            document["witness"] = witness_document(results, hear(results))
        print_document(document)
        return
    from geosand.reports.console import balance_notes, balance_table, console, surfaces_table

    shown = display(units, results.site)
    out = console()
    sources = budgets(results)
    out.print(balance_table(results, shown, only))
    for k, name in enumerate(names):
        if only in (None, name):
            out.print("\n".join(balance_notes(results, k, shown, sources[k])), soft_wrap=True)
    if only is not None:
        out.print()
        out.print(surfaces_table(results, names.index(only), shown))
    if witness:
        from geosand.reports.witnesses import hear, witness_lines

        out.print("\n".join(witness_lines(results, hear(results), shown)), soft_wrap=True)
