"""``geosand place --show-power``: what more catches would see."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from geosand.cli.options import check_ending, made_with, print_document, results_of, write_text
from geosand.cli.planning_options import asked_surfaces, last_swath, words


def show_power(folder: Path, as_json: bool, asked: dict[str, Any]) -> None:
    """Print, and with ``--out`` write, what more catches would see; ``asked`` are the options."""
    from geosand.planning.power import design_power, site_variances
    from geosand.reports.power import (
        designs,
        power_answers,
        power_basis,
        power_document,
        power_table,
    )

    page: Path | None = asked["out"]
    check_ending(page, (".html",), "--out with --show-power")
    results = results_of(folder)
    site = results.site
    row = asked_surfaces(results, words(asked["surfaces"]))
    swath = last_swath(results, None)
    variances = site_variances(results.balance, row=row, swath_m=swath)
    surfaces, catches = designs(len(row))
    power = design_power(variances, dressed=len(row), surfaces=surfaces, catches=catches)
    wanted = (asked["see_overthrow"], asked["know_depth"])
    document = power_document(site, variances, power, len(row), *wanted)
    if page is not None:
        from geosand.reports.power_page import power_page

        write_text(page, power_page(document, made_with()))
    if as_json:
        print_document(document if page is None else {**document, "written": str(page)})
        return
    from geosand.reports.plain_table import show

    show(*power_answers(document), power_table(document), power_basis(document))
    if page is not None:
        show(f"Written: {page}")
