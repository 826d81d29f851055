"""``geosand new``."""

from __future__ import annotations

from pathlib import Path
from typing import Any

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
from geosand.cli.options import FILE, print_document, verb
from geosand.cli.progress import steps


@verb
@click.option("--boundaries", "file", type=FILE, help="File with the surfaces' outlines.")
@click.option("--site-name", "name", help="Name of the site [the folder's].")
@click.option("--workbook", is_flag=True, help="Records in one workbook with drop-down lists.")
@click.option(
    "--season-start", metavar="DAY", help="First day of the season, as in 2026-03-01 [1 January]."
)
@click.option("--season-end", metavar="DAY", help="Last day of the season [31 December].")
@click.option("--valid-from", metavar="DAY", help="Day from which the boundaries hold.")
@boundary_options
@choice_options
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

    Boundaries may come as GeoJSON, JSON-FG, TopoJSON, OSM (.osm, JSON of a query), GeoPackage,
    Shapefile or GDB (zipped or not), KML, KMZ, FlatGeobuf, GeoParquet, GML, LandXML, DXF, GPX, TAB,
    MIF, CSV with WKT or a survey controller's text (both also as .xlsx). Nothing vanishes: what
    became no surface is listed.

    Example: geosand new my_site --boundaries survey.geojson
    """
    accuracies, choice = accuracies_of(options), choice_of(options)
    if file is None:
        _check_alone()
    from geosand.formats.boundaries.sites.new_site import new_site
    from geosand.reports.plain_table import show

    with steps(silent=as_json) as step:
        step(f"Reading {file.name}" if file is not None else "Setting up")
        boundaries = read_with(file, options) if file is not None else None
        step("Setting up the site")
        settled = new_site(
            folder,
            boundaries,
            name=name or folder.resolve().name,
            workbook=workbook,
            units=units or "metric",
            season_start=season_start,
            season_end=season_end,
            valid_from=valid_from,
            accuracies=accuracies,
            choice=choice,
        )
    if settled is None:
        if as_json:
            nothing: dict[str, Any] = {"surfaces": [], "left_out": [], "findings": []}
            print_document({"folder": str(folder), "read": 0, **nothing})
            return
    else:
        taken = settled.boundaries
        told = (taken, settled.rows, settled, settled.faults)
        findings = (*taken.findings, *settled.findings)
        if as_json:
            print_document({"folder": str(folder), **document_of(*told, findings)})
            return
        show(*said_of(*told, findings, "us" if units == "us" else "metric"))
    surfaces = f"draw surfaces.geojson, or geosand bring FILE --into {folder}; "
    first = surfaces if settled is None else ""
    show(f"{folder} is set up. Next: {first}fill in site.toml, then geosand check {folder}")


def _check_alone() -> None:
    """Options of reading a file say nothing where there is none: wrong usage."""
    context = click.get_current_context()
    own = {"folder", "name", "workbook", "season_start", "season_end", "as_json", "units"}
    own |= {"valid_from", "edge_accuracy", "edge_bias", "boundary_accuracy"}
    for parameter in context.command.params:
        source = context.get_parameter_source(parameter.name or "")
        if parameter.name not in own and source is click.core.ParameterSource.COMMANDLINE:
            text = f"{parameter.opts[0]} is about a boundary file: give one with --boundaries"
            raise click.UsageError(text)
