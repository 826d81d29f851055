"""``geosand map``."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import click

from geosand.cli.options import (
    FILE,
    as_of_option,
    check_results,
    display,
    made_with,
    print_document,
    results_of,
    verb,
    write_text,
)

out_option = click.option("--out", type=FILE, help="File to write [maps/<folder>.html].")


def map_path(folder: Path, out: Path | None) -> Path:
    """Where the map goes: as asked, else ``maps/<folder>.html`` below where one stands."""
    return out or Path("maps") / f"{folder.resolve().name}.html"


@verb
@as_of_option
@out_option
@click.option(
    "--tiles",
    metavar="ADDRESS",
    help="Online map tiles as a background, https://host/{z}/{x}/{y}.png; off until ticked.",
)
@click.option(
    "--tiles-credit", metavar="TEXT", help="Who made the tiles, as they ask to be named [the host]."
)
def command(
    folder: Path,
    as_json: bool,
    units: str | None,
    as_of: str | None,
    out: Path | None,
    tiles: str | None,
    tiles_credit: str | None,
) -> None:
    """Write the map: depth, shortfall, overthrow, catches and areas, in one HTML file.

    Example: geosand map my_site --units us
    """
    background = _background(tiles, tiles_credit)
    path = map_path(folder, out)
    check_results(path)
    results = results_of(folder, as_of)
    from geosand.mapping.fill import map_view
    from geosand.mapping.page import map_page

    view = map_view(results, display(units, results.site))
    write_text(path, map_page(replace(view, background=background, made_with=made_with())))
    if as_json:
        print_document(
            {"site": results.site.name, "map": str(path), "inputs": dict(results.site.inputs)}
        )
        return
    from geosand.reports.plain_table import show

    show(f"Map: {path}")
    if background:
        show(f"Ticking the background sends the place you look at to {background[1]}.")


def _background(tiles: str | None, credit: str | None) -> tuple[str, str] | None:
    """The address of the tiles and whom to name; exit code 2 for an address that is none."""
    if tiles is None:
        if credit is not None:
            raise click.UsageError("--tiles-credit goes with --tiles")
        return None
    from geosand.mapping.page import tile_host

    try:
        host = tile_host(tiles)
    except ValueError as problem:
        raise click.BadParameter(str(problem), param_hint="--tiles") from problem
    return tiles, credit or host.removeprefix("https://").removeprefix("*.")
