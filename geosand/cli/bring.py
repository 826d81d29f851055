"""``geosand bring``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from geosand.cli.importing import (
    accuracies_of,
    boundary_options,
    choice_of,
    choice_options,
    document_of,
    read_with,
    said_of,
)
from geosand.cli.options import (
    in_units_of,
    print_document,
    refusals_end_with_1,
    with_shared_options,
)
from geosand.cli.progress import steps
from geosand.errors import Fault, Refused

if TYPE_CHECKING:
    from geosand.formats.boundaries.bring import Brought


@with_shared_options
@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--into", "folder", required=True, type=click.Path(path_type=Path), help="The site.")
@click.option(
    "--valid-from", required=True, metavar="DAY", help="Day from which the new survey holds."
)
@click.option(
    "--partial", is_flag=True, help="Surfaces that the file does not name go on as they are."
)
@boundary_options
@choice_options
@refusals_end_with_1
def command(
    file: Path,
    folder: Path,
    valid_from: str,
    partial: bool,
    as_json: bool,
    units: str | None,
    **options: Any,
) -> None:
    """Bring a new survey into a site. Dressings before its day keep the areas of the old one.

    Surfaces are matched by id, else by the ground they share. The old survey goes to editions/.
    Nothing is written while something asks for a decision.

    Example: geosand bring new.geojson --into my_site --valid-from 2026-07-01
    """
    accuracies, choice = accuracies_of(options), choice_of(options)
    from geosand.formats.boundaries.bring import bring_into, place_of
    from geosand.reports.words import in_words_of

    if not (folder / "site.toml").is_file():
        raise Refused(
            Fault(
                file=str(folder),
                found="is no site folder: there is no site.toml in it",
                remedy=f"set one up with geosand new {folder} --boundaries {file.name}",
            )
        )
    with steps(silent=as_json) as step:
        step(f"Reading {file.name}")
        boundaries = read_with(file, options, near=place_of(folder))
        step("Matching the surveys")
        brought = bring_into(
            folder,
            boundaries,
            valid_from=valid_from,
            accuracies=accuracies,
            choice=choice,
            partial=partial,
        )
    told = (brought.settled.boundaries, brought.rows, brought.settled, brought.accepted)
    if as_json:
        kept = {name.replace(" ", "_"): list(ids) for name, ids in _changes(brought).items()}
        document = document_of(*told, brought.findings)
        accuracy = {"accuracies": dict(brought.accuracies)}
        print_document({**document, "edition": brought.edition, **kept, **accuracy})
        return
    shown = in_units_of(folder, units)
    click.echo("\n".join(said_of(*told, brought.findings, shown)))
    for name, ids in _changes(brought).items():
        if ids:
            click.echo(f"  {name}: {len(ids)} ({', '.join(ids[:8])}{' …' if len(ids) > 8 else ''})")
    words = in_words_of(_accuracy_words(brought, accuracies), shown)
    click.echo(f"It holds from {valid_from}; {words}")
    if brought.edition:
        click.echo(f"The survey until now is kept in {brought.edition}")


def _changes(brought: Brought) -> dict[str, tuple[str, ...]]:
    return {
        "same id": brought.by_id,
        "same ground": brought.by_overlap,
        "new": brought.new,
        "gone": brought.gone,
        "carried on": brought.carried_on,
    }


def _accuracy_words(brought: Brought, said: dict[str, float]) -> str:
    """Each accuracy of the new survey, and where it comes from."""
    from geosand.formats.boundaries.surfaces_file import ACCURACIES

    words = [
        f"{words} {brought.accuracies[key]:g} m{'' if key in said else ' (as for the site)'}"
        for key, words in ACCURACIES.items()
    ]
    return f"standard uncertainty: {', '.join(words)}"
