"""``geosand areas``."""

from __future__ import annotations

from pathlib import Path

from geosand.cli.options import display, print_document, read, verb


@verb
def command(folder: Path, as_json: bool, units: str | None) -> None:
    """Ground area of every surface, held against geodesic, equal-area and grid area.

    Ground area is the ellipsoid's, raised to the site's elevation and slope; grid area is what a
    drawing in a projected system shows. Figures are for sand and renovation quantities: boundary
    and title work needs a licensed surveyor.
    """
    from geosand.reports.register import register_document

    site = read(folder)
    document = register_document(site)
    if as_json:
        print_document(document)
        return
    from geosand.reports.console import CAUTION, areas_table, console

    out = console()
    shown = display(units, site)
    out.print(areas_table(document, shown))
    for finding in document["findings"]:
        out.print(f"{finding['about']}: {finding['text']}", soft_wrap=True)
    out.print(CAUTION, soft_wrap=True)
