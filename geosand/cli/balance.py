"""``geosand balance``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from geosand.cli.options import (
    check_results,
    display,
    origin_of,
    print_document,
    results_of,
    verb,
    write_text,
)
from geosand.cli.progress import steps
from geosand.errors import printable, refused

if TYPE_CHECKING:
    from geosand.reports.words import Units
    from geosand.results import Results


@verb
@click.option(
    "--dressing", "only", metavar="NAME", help="Only this dressing, with its surfaces and budget."
)
@click.option(
    "--surface", metavar="ID", help="Only this surface of the dressing, with its depth's budget."
)
@click.option(
    "--witness",
    is_flag=True,
    help="Second opinions: rings, stock, the season reconciled, draws, what would sharpen.",
)
@click.option(
    "--field",
    "field_file",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Write the depth over each surface, cell by cell, as GeoJSON.",
)
def command(
    folder: Path,
    as_json: bool,
    units: str | None,
    only: str | None,
    surface: str | None,
    witness: bool,
    field_file: Path | None,
) -> None:
    """Spread, on surfaces and overthrow of each dressing, with intervals and verdicts.

    Overthrow is what was spread less what the catches say landed: positive landed elsewhere,
    negative means that a measured figure is wrong.

    Example: geosand balance my_site --dressing D7
    """
    check_results(field_file)
    results = results_of(folder)
    row = _chosen(results, only, surface)
    if field_file is not None:
        _write_field(results, field_file, only, as_json)
    if as_json:
        _print_json(results, only, surface, witness)
    elif row is not None:
        shown = display(units, results.site)
        _print_surface(results, row, shown)
        if witness:
            _print_witnesses(results, shown, only)
    else:
        _print_tables(results, display(units, results.site), only, witness)


def _chosen(results: Results, only: str | None, surface: str | None) -> int | None:
    """Row of the dressed surface that was asked for, if any; exit code 2 for what is not there."""
    site, names = results.site, results.site.dressings.id.tolist()
    if only is not None and only not in names:
        there = f"is not among {', '.join(names)}" if names else "is not there: none is recorded"
        raise click.BadParameter(f"{only!r} {there}", param_hint="--dressing")
    if surface is None:
        return None
    if only is None:
        raise click.UsageError(
            f"--surface {surface}: name the dressing too, as in --dressing {names[-1]}"
            if names
            else "--surface: no dressing is recorded"
        )
    mine = (site.dressed.dressing == names.index(only)).nonzero()[0].tolist()
    ids = site.surfaces.id[site.dressed.surface[mine]].tolist()
    if surface not in ids:
        raise click.BadParameter(
            f"{surface!r} is not dressed in {only}: {', '.join(ids)}", param_hint="--surface"
        )
    row: int = mine[ids.index(surface)]
    return row


def _write_field(results: Results, path: Path, only: str | None, quiet: bool) -> None:
    from geosand.reports.depth_fields import fields_text

    text, sentence = fields_text(results, only=only, origin=origin_of(results.site))
    if text is None:
        raise refused(str(path), f"there is no depth field to write: {sentence}")
    write_text(path, text + "\n", option="--field")
    if not quiet:
        from geosand.reports.plain_table import show

        show(f"{path}: written; {sentence}")


def _print_json(results: Results, only: str | None, surface: str | None, witness: bool) -> None:
    from geosand.reports.balance_document import balance_document

    names = results.site.dressings.id.tolist()
    document = balance_document(results)
    if only is not None:
        document["dressings"] = [d for d in document["dressings"] if d["dressing"] == only]
    if only is not None or witness:
        from geosand.reports.budgets import add_budgets

        add_budgets(document, results, range(len(names)) if only is None else [names.index(only)])
    for entry in document["dressings"] if surface is not None else ():
        entry["surfaces"] = [one for one in entry["surfaces"] if one["id"] == surface]
    if witness:
        from geosand.reports.witness_document import hear, witness_document

        document["witness"] = witness_document(results, hear(results))
    print_document(document)


def _print_surface(results: Results, row: int, units: Units) -> None:
    from geosand.reports.budgets import depth_budget, depth_sharpening
    from geosand.reports.console import surfaces_table
    from geosand.reports.plain_table import show

    dressing, found = int(results.site.dressed.dressing[row]), depth_sharpening(results, row)
    told = depth_budget(results.rates.depth, row, found, units)
    show(surfaces_table(results, dressing, units, only=row), *told)


def _print_tables(results: Results, units: Units, only: str | None, witness: bool) -> None:
    from geosand.reports.console import balance_notes, balance_table
    from geosand.reports.documents import budgets
    from geosand.reports.doubts import NO_PROOF
    from geosand.reports.plain_table import show
    from geosand.reports.words import NO_DRESSING

    names = results.site.dressings.id.tolist()
    if not names:
        show(NO_DRESSING)
        return
    sources, closing = budgets(results.balance.overthrow), False
    show(balance_table(results, units, only))
    for k, name in enumerate(names):
        if only in (None, name):
            show(*balance_notes(results, k, units, sources[k]))
            closing |= bool(results.balance.closing[k])
    if closing:
        show(f"{NO_PROOF} of its figures is off.")
    if only is not None:
        _print_budgets(results, names.index(only), units)
    if witness:
        _print_witnesses(results, units, only)


def _print_witnesses(results: Results, units: Units, only: str | None) -> None:
    from geosand.reports.plain_table import show
    from geosand.reports.witness_console import spatial_table, witness_lines
    from geosand.reports.witness_document import hear

    names = results.site.dressings.id.tolist()
    with steps() as step:
        step("Hearing the witnesses")
        heard = hear(results)
    if only is not None:
        show(spatial_table(results, heard.spatial, names.index(only), units))
    show(*witness_lines(results, heard, units, only))


def _print_budgets(results: Results, k: int, units: Units) -> None:
    """One dressing's surfaces, and the budgets of its masses with what would sharpen them."""
    from geosand.reports.budgets import ON, OVER, budget_table, dressing_sharpenings, sentence
    from geosand.reports.console import surfaces_table
    from geosand.reports.plain_table import show
    from geosand.reports.words import in_words_of

    balance = results.balance
    show("", surfaces_table(results, k, units))
    found = dressing_sharpenings(results, k)
    tables = {ON: balance.on_surfaces, OVER: balance.overthrow}
    figures = {name: (tables[name], k) for name in found}
    if found:
        show(budget_table("Where the uncertainty comes from", figures, units, "mass"))
    for name, one in found.items():
        show(sentence(name, one, units, "mass"))
    about = str(results.site.dressings.id[k])
    mine = (one.text for one in results.findings if one.about == about)
    told = [f"  - {printable(in_words_of(text, units))}" for text in mine]
    if told:
        show("Worth knowing:", *told)
