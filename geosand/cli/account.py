"""``geosand account``."""

from __future__ import annotations

from pathlib import Path

from geosand.cli.map import map_path, out_option
from geosand.cli.options import as_of_option, display, print_document, results_of, verb, write_text


@verb
@as_of_option
@out_option
def command(
    folder: Path, as_json: bool, units: str | None, as_of: str | None, out: Path | None
) -> None:
    """The whole job on one site: what was spread, what landed, what to look at first; the map."""
    results = results_of(folder, as_of)
    from geosand.mapping.fill import map_view
    from geosand.mapping.page import map_page

    shown = display(units, results.site)
    path = map_path(folder, out)
    write_text(path, map_page(map_view(results, shown)))
    if as_json:
        from geosand.reports.documents import balance_document, season_document
        from geosand.reports.first import look_first

        print_document(
            {
                "site": results.site.name,
                "balance": balance_document(results)["dressings"],
                "season": season_document(results),
                "look_first": look_first(results, shown),
                "map": str(path),
            }
        )
        return
    from geosand.reports.console import CAUTION, balance_table, console, summary

    terminal = console()
    terminal.print("\n".join(summary(results, shown)), soft_wrap=True)
    terminal.print()
    terminal.print(balance_table(results, shown))
    terminal.print(f"Map: {path}", soft_wrap=True)
    terminal.print(CAUTION, soft_wrap=True)
