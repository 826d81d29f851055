"""What all verbs share: the site's folder, the display, and how refusals end."""

from __future__ import annotations

import errno
import functools
import io
import os
import re
import sys
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import click

from geosand import __version__
from geosand.errors import NO_ROOM, Refused, Undecided, Unwritten, printable, stop_code
from geosand.formats.writing import noting

if TYPE_CHECKING:
    import numpy as np

    from geosand.reports.documents import Document
    from geosand.reports.words import Units
    from geosand.results import Results
    from geosand.site.tables import Site

Verb = Callable[..., None]
LONGEST_SETTINGS = 1_000_000  #: characters of site.toml that are looked at
FILE = click.Path(path_type=Path)
NO_MEMORY = "There is not enough memory for this."


def refusals_end_with_1(function: Verb) -> Verb:
    """Print a refusal on stderr and end with exit code 1; a closed pipe ends quietly.

    A run that is stopped says what it has written by then. What geosand did not foresee ends so
    too, and says that it is no fault of the data; with ``GEOSAND_TRACEBACK`` set it is raised.
    """

    @functools.wraps(function)
    def run(**options: Any) -> None:
        with noting() as written:
            _run(function, options, written)

    return run


def _run(function: Verb, options: dict[str, Any], written: Callable[[], list[Path]]) -> None:
    try:
        function(**options)
    except BrokenPipeError:
        sys.exit(0)
    except (click.ClickException, click.exceptions.Exit, click.Abort):
        raise
    except KeyboardInterrupt as stop:
        end_with("Stopped.", written, stop_code(stop))
    except Refused as refusal:
        told = in_units_of(options.get("folder"), options.get("units"))
        end_with(_refusal(refusal, told), written if written() else None)
    except MemoryError:
        end_with(NO_MEMORY, written)
    except Exception as problem:
        if isinstance(problem.__cause__, KeyboardInterrupt):  # within a class that Python 3.11 made
            end_with("Stopped.", written, stop_code(problem.__cause__))
        if isinstance(problem, OSError) and problem.errno == errno.EBADF:
            end_with(f"The output can not be written: {problem.strerror}.", written)
        if isinstance(problem, OSError) and problem.errno in NO_ROOM:
            no_room = f"No room to write the output: {problem.strerror}."
            end_with(_no_temporary_files() or no_room, written)
        if isinstance(problem, OSError) and problem.errno == errno.ENAMETOOLONG:
            end_with("A name is longer than this system takes: name a shorter one.", written)
        if isinstance(problem, FileNotFoundError) and not _in_a_folder():
            end_with("The folder that you are in is no more: change into another one.", written)
        lost = isinstance(problem, FileNotFoundError) and problem.filename is None
        if lost and (lacking := _no_temporary_files()):
            end_with(lacking, written)
        if os.environ.get("GEOSAND_TRACEBACK"):
            raise
        if "bad_alloc" in str(problem):  # how libraries in C++ say it
            end_with(NO_MEMORY, written)
        end_with(_own_fault(problem), written)


def _no_temporary_files() -> str:
    """What is wrong with the folder for temporary files, which libraries use unasked; "" if none.

    Where it is full, or none can be written, they raise what looks like a fault of the output.
    """
    import tempfile

    remedy = "make room there, or name another folder in TMPDIR"
    try:
        with tempfile.TemporaryFile() as file:
            file.write(bytes(1 << 16))
    except OSError as problem:
        if problem.errno in NO_ROOM:
            return f"The folder for temporary files, {tempfile.gettempdir()}, is full: {remedy}."
        return f"No folder for temporary files can be written, or all are full: {remedy}."
    return ""


def _in_a_folder() -> bool:
    try:
        return bool(os.getcwd())
    except OSError:
        return False


def end_with(text: str, written: Callable[[], list[Path]] | None, code: int = 1) -> NoReturn:
    """End the run with a text on stderr, and with what it has written by then."""
    if written is not None:
        places = ", ".join(printable(str(place)) for place in written())
        said = f"Written before that, and whole: {places}" if places else "Nothing was written."
        text = f"{text}{chr(10) if chr(10) in text else ' '}{said}"
    with suppress(OSError):  # a terminal that was closed
        click.echo(text, err=True)
    sys.exit(code)


def _own_fault(problem: Exception) -> str:
    text = printable(str(problem))[:200]
    return (
        f"geosand met something that it did not foresee ({type(problem).__name__}: {text}).\n"
        "This is a fault of the program, not of your data. Please report it with what you asked"
        " for; GEOSAND_TRACEBACK=1 before the command shows where."
    )


_SHARED = (
    click.Option(["--units"], type=click.Choice(["metric", "us"]), help="How results are shown."),
    click.Option(["--json", "as_json"], is_flag=True, help="One JSON document on stdout."),
)


class Once(click.Command):
    """A command that refuses an option with a value that is given twice: one would be lost."""

    def parse_args(self, context: click.Context, args: list[str]) -> list[str]:
        """The rest of the words; what is no usage at all the command itself tells."""
        order: list[click.Parameter] = []
        with suppress(click.UsageError):
            order = self.make_parser(context).parse_args(list(args))[2]
        for option in order:
            alone = isinstance(option, click.Option) and not (option.is_flag or option.multiple)
            if alone and order.count(option) > 1:
                context.fail(f"{option.opts[0]} is given twice: say which one counts")
        return super().parse_args(context, args)


def with_shared_options(command: click.Command) -> click.Command:
    """The command with the options that all verbs have, behind its own."""
    command.params += _SHARED
    return command


def verb(function: Verb) -> click.Command:
    """A command on a site folder with ``--json`` and ``--units``; refusals end with exit code 1."""
    run = click.argument("folder", type=FILE)(refusals_end_with_1(function))
    return with_shared_options(click.command(cls=Once)(run))


def _refusal(refusal: Refused, units: Units) -> str:
    from geosand.reports.plain_table import for_people
    from geosand.reports.words import in_words_of

    count = len(refusal.faults)
    things = "1 thing is wrong" if count == 1 else f"{count} things are wrong"
    opening = f"The data were refused: {things}."
    if isinstance(refusal, Undecided):
        things = "1 thing is" if count == 1 else f"{count} things are"
        opening = f"Nothing was written: {things} to be decided first."
    if isinstance(refusal, Unwritten):
        opening = f"The result{'' if count == 1 else 's'} can not be written."
    lines = [opening]
    lines += [f"  - {in_words_of(line, units)}" for line in str(refusal).splitlines()]
    return for_people("\n".join(lines))


as_of_option = click.option(
    "--as-of", metavar="DAY", help="Account up to this day, as in 2026-06-30 [the last record]."
)


def day_of(text: str | None) -> np.datetime64 | None:
    """The day a person wrote, or None; exit code 2 for anything else, and for absurd years."""
    from geosand.site.cells import parse_day
    from geosand.site.reading import DAYS

    if text is None:
        return None
    day = parse_day(text)
    if day is None:
        raise click.BadParameter(
            f"{text!r} is not a day; write it as 2026-06-30", param_hint="--as-of"
        )
    if not DAYS[0] <= day <= DAYS[1]:
        raise click.BadParameter(
            f"{day} can not be right: {DAYS[0]} to {DAYS[1]} are taken", param_hint="--as-of"
        )
    return day


def read(folder: Path) -> Site:
    """The site in ``folder``; raises Refused."""
    from geosand.formats.site_folder import read_site

    return read_site(folder)


def results_of(folder: Path, as_of: str | None = None) -> Results:
    """Everything worked out for the site in ``folder``; raises Refused."""
    day = day_of(as_of)
    from geosand.results import work_out

    return work_out(read(folder), as_of=day)


def display(units: str | None, site: Site) -> Units:
    """The units asked for, else the site's own."""
    return "us" if (units or site.units) == "us" else "metric"


def in_units_of(folder: Path | None, units: str | None) -> Units:
    """The units asked for, else those of a site that perhaps can not be read."""
    settings = None if folder is None else folder / "site.toml"
    if units is None and settings is not None and os.path.isfile(settings):
        try:
            with settings.open(encoding="utf-8", errors="replace") as file:
                text = file.read(LONGEST_SETTINGS)
        except OSError:
            return "metric"
        us = re.search(r"""^\s*units\s*=\s*["']us["']""", text, re.MULTILINE | re.IGNORECASE)
        units = "us" if us else None
    return "us" if units == "us" else "metric"


def print_document(document: Document) -> None:
    """One JSON document on stdout, with what it was made with, so that it can be made again."""
    from geosand.reports.documents import to_json

    if isinstance(sys.stdout, io.TextIOWrapper):
        # JSON between programs is UTF-8 (RFC 8259, 8.1); of a name that is not, bytes are \udcff
        sys.stdout.reconfigure(encoding="utf-8", errors="backslashreplace")
    click.echo(to_json({**document, "made_with": made_with()}))


def made_with() -> dict[str, Any]:
    """Version, verb and the options that were given, for results to carry."""
    context = click.get_current_context()
    default, given = click.core.ParameterSource.DEFAULT, {}
    for option in context.command.params:
        name = max(option.opts, key=len)
        source = context.get_parameter_source(str(option.name))
        if name.startswith("--") and name != "--json" and source != default:
            value = context.params.get(str(option.name))
            given[name[2:]] = value if isinstance(value, (bool, int, float)) else _plain(value)
    return {"geosand": __version__, "verb": context.info_name, "options": given}


def origin_of(site: Site) -> dict[str, Any]:
    """What a result of a site was made from and with, for files that have a place for it."""
    return {"inputs": dict(site.inputs), "made_with": made_with()}


def _plain(value: Any) -> Any:
    """An option's value as JSON; of a path its last part, as results name no folders.

    Bytes that are no UTF-8 could not be written to any file.
    """
    if isinstance(value, (tuple, list)):
        return [_plain(v) for v in value]
    text = str(value)
    named = isinstance(value, Path) or (set(text) & {"/", "."} and os.path.exists(text))
    name = Path(os.path.abspath(text)).name if named else text
    return name.encode("utf-8", "backslashreplace").decode()


def write_text(path: Path, text: str, *, option: str = "--out") -> None:
    """Write a whole file or nothing: temporary file, fsync, rename. Raises Refused."""
    from geosand.formats.result_files import write_result

    write_result(path, text.encode("utf-8"), remedy=f"name another place with {option}")


def check_ending(path: Path | None, allowed: Sequence[str], option: str) -> None:
    """Exit code 2 for a file to write whose ending says none of the formats."""
    if path is not None and path.suffix.lower() not in allowed:
        problem = f"{path.name!r}: its name must end in {' or '.join(allowed)}"
        raise click.BadParameter(problem, param_hint=option)


def check_results(*paths: Path | None) -> None:
    """Refuse, before any work, results in the place of another or of something measured."""
    named = [path for path in paths if path is not None]
    places = [os.path.realpath(path) for path in named]
    for path, place in zip(named, places, strict=True):
        if places.count(place) > 1:
            raise click.UsageError(f"{path} is named for two results: name two files")
    if named:
        from geosand.formats.result_files import check_results as check

        check(named)
