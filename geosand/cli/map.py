"""``geosand map``."""

from __future__ import annotations

from pathlib import Path

import click

from geosand.cli.options import (
    as_of_option,
    display,
    print_document,
    results_of,
    verb,
    write_text,
)

out_option = click.option(
    "--out", type=click.Path(path_type=Path), help="File to write [maps/<folder>.html]."
)


def map_path(folder: Path, out: Path | None) -> Path:
    """Where the map goes: as asked, else ``maps/<folder>.html`` below where one stands."""
    return out or Path("maps") / f"{folder.resolve().name}.html"


@verb
@as_of_option
@out_option
def command(
    folder: Path, as_json: bool, units: str | None, as_of: str | None, out: Path | None
) -> None:
    """Write the map: applied depth, shortfall, overthrow, areas and catches, in one HTML file."""
    results = results_of(folder, as_of)
    from geosand.mapping.fill import map_view
    from geosand.mapping.page import map_page

    path = map_path(folder, out)
    write_text(path, map_page(map_view(results, display(units, results.site))))
    if as_json:
        print_document({"site": results.site.name, "map": str(path)})
    else:
        click.echo(f"map: {path}")
