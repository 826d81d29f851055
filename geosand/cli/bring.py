"""``geosand bring``."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from geosand.cli.importing import boundary_options, document_of, read_with, said_of
from geosand.cli.options import json_option, print_document, refusals_end_with_1
from geosand.errors import Fault, Refused


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--into", "folder", required=True, type=click.Path(path_type=Path), help="The site.")
@click.option(
    "--valid-from", required=True, metavar="DAY", help="Day from which the new survey holds."
)
@click.option(
    "--edge-accuracy",
    metavar="LENGTH",
    help="Standard uncertainty of the mown edge in this survey, as in 0.05m.",
)
@boundary_options
@json_option
@refusals_end_with_1
def command(
    file: Path,
    folder: Path,
    valid_from: str,
    edge_accuracy: str | None,
    as_json: bool,
    **options: Any,
) -> None:
    """Bring a new survey into a site. Dressings before its day keep the areas of the old one.

    Surfaces are matched by id, else by the ground they share. The old survey goes to editions/.
    """
    accuracy = _length(edge_accuracy)
    from geosand.formats.boundaries.bring import bring_into, place_of

    if not (folder / "site.toml").is_file():
        raise Refused(
            Fault(
                file=str(folder),
                found="is no site folder: there is no site.toml in it",
                remedy=f"set one up with geosand new {folder} --boundaries {file.name}",
            )
        )
    boundaries = read_with(file, options, near=place_of(folder))
    brought = bring_into(folder, boundaries, valid_from=valid_from, edge_accuracy_m=accuracy)
    changes = {
        "same id": brought.by_id,
        "same ground": brought.by_overlap,
        "new": brought.new,
        "gone": brought.gone,
    }
    if as_json:
        kept = {name.replace(" ", "_"): list(ids) for name, ids in changes.items()}
        document = {**document_of(boundaries), "edition": brought.edition, **kept}
        print_document({**document, "findings": [str(f) for f in brought.findings]})
        return
    click.echo("\n".join(said_of(boundaries)))
    for finding in brought.findings[len(boundaries.findings) :]:
        click.echo(f"  - {finding}")
    for name, ids in changes.items():
        if ids:
            click.echo(f"  {name}: {len(ids)} ({', '.join(ids[:8])}{' …' if len(ids) > 8 else ''})")
    if brought.edition:
        click.echo(f"The survey until now is kept in {brought.edition}")


def _length(text: str | None) -> float | None:
    if text is None:
        return None
    from geosand.units import UnitFault, parse_quantity

    try:
        return parse_quantity(text, "m")
    except UnitFault as problem:
        raise click.BadParameter(str(problem), param_hint="--edge-accuracy") from problem
