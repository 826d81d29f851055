"""``geosand account``."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from geosand.cli.map import map_path, out_option
from geosand.cli.options import (
    as_of_option,
    check_ending,
    check_results,
    day_of,
    display,
    made_with,
    print_document,
    read,
    verb,
)
from geosand.cli.progress import Step, steps
from geosand.tuples import NamedTuple

if TYPE_CHECKING:
    from geosand.reports.words import Units
    from geosand.results import Results

_FILE = click.Path(path_type=Path, dir_okay=False)


@verb
@as_of_option
@out_option
@click.option(
    "--report",
    "reports",
    type=_FILE,
    multiple=True,
    help="The printable report, .html or .pdf; may repeat [beside the map, .html].",
)
@click.option("--workbook", type=_FILE, help="Also all ledgers as a workbook, .xlsx.")
def command(
    folder: Path,
    as_json: bool,
    units: str | None,
    as_of: str | None,
    out: Path | None,
    reports: tuple[Path, ...],
    workbook: Path | None,
) -> None:
    """The whole job on one site: summary, map, printable report and, if asked, a workbook.

    Example: geosand account my_site --workbook maps/ledgers.xlsx
    """
    day = day_of(as_of)
    path = map_path(folder, out)
    files = reports or (path.parent / f"{path.stem}_report.html",)
    for file in files:
        check_ending(file, (".html", ".pdf"), "--report")
    check_ending(workbook, (".xlsx",), "--workbook")
    check_results(path, *files, workbook)
    with steps(silent=as_json) as step:
        from geosand.results import work_out

        step("Reading the site")
        site = read(folder)
        step("Working out the balance")
        results = work_out(site, as_of=day)
        shown = display(units, site)
        written = _write_all(results, shown, path, files, workbook, step)
    if as_json:
        _print_json(results, shown, written)
    else:
        _print(results, shown, written)


class _Written(NamedTuple):
    """What an account has written, and the words that a PDF among it can not show."""

    map: Path
    reports: tuple[Path, ...]
    workbook: Path | None
    not_in_pdf: list[str]


def _write_all(
    results: Results,
    units: Units,
    path: Path,
    reports: tuple[Path, ...],
    workbook: Path | None,
    step: Step,
) -> _Written:
    """Make everything that was asked for, then write it: a failure leaves no half of it."""
    from geosand.mapping.fill import map_view
    from geosand.mapping.page import map_page

    step("Drawing the map")
    view = replace(map_view(results, units), made_with=made_with())
    made = [(path, map_page(view).encode("utf-8"), "--out")]
    step("Setting the report")
    printed, unshown = _reports(results, units, reports)
    made += [(file, content, "--report") for file, content in printed]
    if workbook is not None:
        from geosand.reports.workbook import results_workbook

        step("Filling the workbook")
        made.append((workbook, results_workbook(results, units), "--workbook"))
    for file, content, option in made:
        _write(file, content, option)
    return _Written(path, reports, workbook, unshown)


def _reports(
    results: Results, units: Units, files: tuple[Path, ...]
) -> tuple[list[tuple[Path, bytes]], list[str]]:
    """The report in each form that was asked for, and the words that a PDF can not show.

    Raises Refused where PDF can not be made.
    """
    from geosand.reports.printable.html_writer import report_page
    from geosand.reports.printable.season_report import season_report

    report = replace(season_report(results, units), made_with=made_with())
    made: list[tuple[Path, bytes]] = []
    unshown: list[str] = []
    for file in files:
        if file.suffix.lower() == ".pdf":
            from geosand.reports.printable.pdf_writer import report_pdf

            content, unshown = report_pdf(report, paper="Letter" if units == "us" else "A4")
            made.append((file, content))
        else:
            made.append((file, report_page(report).encode("utf-8")))
    return made, unshown


def _write(path: Path, content: bytes, option: str) -> None:
    from geosand.formats.result_files import write_result

    write_result(path, content, remedy=f"name another place with {option}")


def _print_json(results: Results, units: Units, written: _Written) -> None:
    from geosand.reports.balance_document import balance_document
    from geosand.reports.first import look_first
    from geosand.reports.season_document import season_balance, season_document

    print_document(
        {
            "site": results.site.name,
            "inputs": dict(results.site.inputs),
            "balance": balance_document(results)["dressings"],
            "season_balance": season_balance(results),
            "season": season_document(results),
            "look_first": look_first(results, units),
            "map": str(written.map),
            "reports": [str(file) for file in written.reports],
            "workbook": None if written.workbook is None else str(written.workbook),
            "not_in_pdf": written.not_in_pdf,
        }
    )


def _print(results: Results, units: Units, written: _Written) -> None:
    from geosand.reports.console import CAUTION, balance_table, summary
    from geosand.reports.plain_table import show

    show(*summary(results, units), "")
    if len(results.site.dressings):
        show(balance_table(results, units))
    show(f"Map: {written.map}", *(f"Report to print: {file}" for file in written.reports))
    if written.not_in_pdf:
        show(_unshown_line(written))
    if written.workbook is not None:
        show(f"Workbook: {written.workbook}")
    if any(finding.topic != "default" for finding in results.findings):
        show("geosand check lists what else is worth knowing of the records.")
    show(CAUTION)


def _unshown_line(written: _Written) -> str:
    """What the PDF can not show, and what can."""
    from geosand.errors import listed, printable

    page = next((file for file in written.reports if file.suffix.lower() != ".pdf"), None)
    remedy = f"print {page}" if page else "add --report with a name in .html, and print that"
    told = listed([printable(word) for word in written.not_in_pdf], 3)
    return f"The font of the PDF lacks letters of {told}: {remedy} from a browser instead."
