"""``geosand new``."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from geosand.cli.importing import boundary_options, document_of, read_with, said_of
from geosand.cli.options import json_option, print_document, refusals_end_with_1, units_option


@click.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.option(
    "--boundaries",
    "file",
    type=click.Path(path_type=Path),
    help="File with the surfaces' outlines.",
)
@click.option("--site-name", "name", help="Name of the site [the folder's].")
@click.option("--workbook", is_flag=True, help="Records in one workbook with drop-down lists.")
@click.option("--season-start", metavar="DAY", help="First day of the season.")
@click.option("--season-end", metavar="DAY", help="Last day of the season.")
@click.option("--valid-from", metavar="DAY", help="Day from which the boundaries hold.")
@boundary_options
@json_option
@units_option
@refusals_end_with_1
def command(
    folder: Path,
    file: Path | None,
    name: str | None,
    workbook: bool,
    season_start: str | None,
    season_end: str | None,
    valid_from: str | None,
    as_json: bool,
    units: str | None,
    **options: Any,
) -> None:
    """Set up a complete site folder, ready to fill.

    Boundaries may come as GeoJSON, GeoPackage, Shapefile (zipped or not), KML, KMZ, FlatGeobuf,
    GML, DXF, GPX or a survey controller's text. Nothing vanishes: what became no surface is listed.
    """
    boundaries = read_with(file, options) if file is not None else None
    from geosand.formats.boundaries.new_site import new_site

    new_site(
        folder,
        boundaries,
        name=name or folder.resolve().name,
        workbook=workbook,
        units=units or "metric",
        season_start=season_start,
        season_end=season_end,
        valid_from=valid_from,
    )
    if as_json:
        print_document({"folder": str(folder), **document_of(boundaries)})
        return
    if boundaries is not None:
        click.echo("\n".join(said_of(boundaries)))
    click.echo(f"{folder} is set up. Next: fill in site.toml, then geosand check {folder}")
