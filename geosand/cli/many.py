"""``geosand many``."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from geosand.cli.options import (
    FILE,
    as_of_option,
    day_of,
    end_with,
    print_document,
    verb,
    write_text,
)
from geosand.errors import STOPS, Fault, Unwritten, printable, refused, stop_code

if TYPE_CHECKING:
    from geosand.cli.progress import Step
    from geosand.portfolio.account import PortfolioDone
    from geosand.reports.words import Units

READ = ("site.toml", "surfaces.parquet", "surfaces.gpkg", "surfaces.geojson")
TOLD = 5  #: of a list in the summary; the files have all


@verb
@click.option("--out", type=FILE, help="Folder to write [maps/<folder>].")
@as_of_option
@click.option("--maps", is_flag=True, help="Write each site's map, too.")
@click.option(
    "--workers",
    type=click.IntRange(1, 256),
    default=1,
    show_default=True,
    help="Processes of this machine.",
)
@click.option("--scheduler", metavar="ADDRESS", help="A dask cluster instead, tcp://….")
@click.option(
    "--chunk",
    type=click.IntRange(1, 10_000),
    default=100,
    show_default=True,
    help="Sites at a time, at most.",
)
def command(
    folder: Path,
    as_json: bool,
    units: str | None,
    as_of: str | None,
    out: Path | None,
    workers: int,
    scheduler: str | None,
    chunk: int,
    maps: bool,
) -> None:
    """Many sites: balances, ledger and areas in a few tables, and a page that compares them.

    FOLDER holds site folders, however deep, or surfaces.parquet (or .gpkg) with its companions and
    a column site. A site that is refused is told and left out; a run that was interrupted goes on
    where it stopped, and sites that did not change are not worked out again.

    Example: geosand many my_sites --out maps/many
    """
    said = click.get_current_context().get_parameter_source("workers")
    if scheduler is not None and said != click.core.ParameterSource.DEFAULT:
        raise click.UsageError("--scheduler has the cluster's workers: leave out --workers")
    _needs_pyarrow()
    day_of(as_of)
    from geosand.cli.progress import steps
    from geosand.portfolio.account import account_portfolio
    from geosand.portfolio.arrow import without_pandas
    from geosand.portfolio.chunk import Options
    from geosand.portfolio.folders import find_sites
    from geosand.portfolio.index_page import index_page

    whole = folder.resolve()
    title = whole.stem if whole.is_file() else whole.name
    place = out or Path("maps") / title
    shown: Units = "us" if units == "us" else "metric"
    without_pandas()
    with _results_in(place), steps(silent=as_json) as step:
        step("Looking for sites")
        source = find_sites(folder, outside=place)
        done = account_portfolio(
            source,
            place,
            Options(as_of=as_of, maps=maps, units=units),
            workers=workers,
            scheduler=scheduler,
            chunk=chunk,
            progress=partial(_told_progress, step),
            tell=step,
        )
        write_text(place / "index.html", index_page(title, done, shown))
    if as_json:
        print_document(_document(done, place))
        return
    _print(done, place, shown)


def _told_progress(step: Step, done: int, total: int) -> None:
    if STOPS:
        raise KeyboardInterrupt(STOPS[-1])
    if done < total:
        step("Working out sites", done=done, total=total)
    else:
        step("Writing tables")


@contextmanager
def _results_in(place: Path) -> Iterator[None]:
    """Hold the folder of results; Unwritten where it is one that is read, or can not be written."""
    from geosand.formats.locking import held

    if own := [name for name in READ if (place / name).is_file()]:
        found = f"holds what was measured ({own[0]})"
        remedy = "name a folder of its own for the results with --out"
        raise Unwritten(Fault(file=str(place), found=found, remedy=remedy))
    whole = os.path.abspath(place)
    if whole.encode(errors="replace").decode() != whole:  # Arrow takes no such paths
        found, remedy = "has a name that is no UTF-8", "name another place with --out"
        raise Unwritten(Fault(file=whole, found=found, remedy=remedy))
    made = [f for f in (place, *place.parents) if not os.path.lexists(f)]
    try:
        place.mkdir(parents=True, exist_ok=True)
        with held(place, "folder of results"):
            yield
    except OSError as problem:
        why = os.strerror(problem.errno) if problem.errno else problem
        found = f"can not be written: {why}"
        full = "make room, or " if problem.errno in (errno.ENOSPC, errno.EDQUOT) else ""
        if isinstance(problem, PermissionError) and problem.filename2:  # replacing what is shown
            full = f"close {Path(problem.filename2).name} where it is open, or "
        kept = "; what is finished there is kept" if place.is_dir() else ""
        remedy = f"{full}name another place with --out{kept}"
        raise Unwritten(Fault(file=str(place), found=found, remedy=remedy)) from problem
    except KeyboardInterrupt as stop:
        kept = "What is finished is kept; say the same again to go on."
        end_with(f"Stopped. {kept}", None, stop_code(stop))
    finally:
        for made_here in made:
            with suppress(OSError):  # where it holds something, or is not there
                made_here.rmdir()


def _needs_pyarrow() -> None:
    from importlib.util import find_spec

    if find_spec("pyarrow") is None:
        remedy = "install geosand with the extra many: pip install 'geosand[many]'"
        raise refused("geosand many", "pyarrow is not installed", remedy=remedy)


def _document(done: PortfolioDone, place: Path) -> dict[str, Any]:
    """What the run found, in SI; all rows are in the files."""
    from geosand.portfolio.compare import public

    found = done.comparison

    def plain(row: dict[str, Any]) -> dict[str, Any]:
        return {k: v.isoformat() if hasattr(v, "isoformat") else v for k, v in public(row).items()}

    return {
        "sites": [plain(row) for row in found.sites],
        "computed": done.computed,
        "kept": done.kept,
        "read_one_by_one": dict(done.unforeseen),
        "changed_meanwhile": list(done.changed),
        "not_read": list(done.not_read),
        "refused": [
            {"site": row["site"], "faults": row["faults"].splitlines()}
            for row in (*found.refused, *found.failed)
        ],
        "not_closing": [plain(row) for row in found.not_closing],
        "under_dressed": [plain(row) for row in found.under_dressed],
        "under_dressed_count": found.under_dressed_count,
        "spreaders": [plain(row) for row in found.spreaders],
        "spreader_sites": [plain(row) for row in found.spreader_sites],
        "inputs_by_site": done.inputs,
        "files": [str(place / name) for name in ("index.html", *done.files)],
        "maps": {key: str(place / name) for key, name in done.maps.items()},
    }


def _print(done: PortfolioDone, place: Path, units: Units) -> None:
    from geosand.portfolio.summary import counted, first_lines, plus_minus, spreader_name
    from geosand.reports.console import CAUTION
    from geosand.reports.plain_table import show, table
    from geosand.reports.words import grouped, percent
    from geosand.units import SHOWN

    found = done.comparison
    told = first_lines(found, units, done.not_read)
    lines = [f"{line.in_words(found.labels)}." for line in told]
    for row in [*found.refused, *found.failed][:TOLD]:
        faults = row["faults"].splitlines()
        more = f" (and {len(faults) - 1} more)" if len(faults) > 1 else ""
        lines.append(printable(f"  {row['status']}: {row['site']}: {faults[0]}{more}"))
    lines += _rest(len(found.refused) + len(found.failed))
    worst = {row["site"]: row for row in reversed(found.not_closing)}  # of each site
    for row in [row for row in found.not_closing if row is worst[row["site"]]][:TOLD]:
        none = row["fraction"] is None
        share = "nothing was spread" if none else f"{percent(row['fraction'])} of the spread"
        site = found.labels[row["site"]]
        lines.append(printable(f"  does not close: {site}, {row['dressing']}: {share}"))
    lines += _rest(len(worst))
    show(*lines)
    factor, label, digits = SHOWN[units]["length"]
    rows = [
        [
            spreader_name(row),
            grouped(row["sites"] - row["left_out"]),
            grouped(row["dressings"]),
            plus_minus(row["fraction"], row["u_fraction"], 100, 1),
            plus_minus(row["strip_width_m"], row["u_strip_width_m"], factor, digits),
        ]
        for row in found.spreaders
    ]
    heads = [("spreader", False), ("sites", True), ("dressings", True), ("overthrow %", True)]
    if rows:
        title = "Overthrow by spreader, ± u"
        show("", table(title, [*heads, (f"strip width {label}", True)], rows))
    if done.kept:
        kept = counted(done.kept, "site was", "sites were")
        show(f"{kept} kept from an earlier run.")
    if done.changed:
        show(printable(_changed(done.changed)))
    if done.unforeseen:
        show(_read_slowly(done.unforeseen))
    show(f"Index: {place / 'index.html'}; tables beside it.")
    show(CAUTION)


def _changed(files: Sequence[str]) -> str:
    """That some sites may be of before, and some of after."""
    *most, last = files
    named = f"{', '.join(most)} and {last} were" if most else f"{last} was"
    return (
        f"{named} written anew while sites were read: some may be as they were before, and new ones"
        " are left out. Say the same again: only what changed is worked out."
    )


def _read_slowly(unforeseen: Mapping[str, int]) -> str:
    """That an error of geosand, which no site is at fault for, cost time and nothing else."""
    from geosand.portfolio.summary import counted

    count = sum(unforeseen.values())
    sites, errors = counted(count, "site was", "sites were"), ", ".join(unforeseen)
    return (
        f"{sites} read one by one, which is slow: reading many at once met an error that was not"
        f" foreseen ({errors}). The results are the same. Please report it;"
        " GEOSAND_TRACEBACK=1 before the command shows where."
    )


def _rest(count: int) -> list[str]:
    from geosand.reports.words import grouped

    return [f"  and {grouped(count - TOLD)} more, on the index page"] if count > TOLD else []
