"""``geosand account``: what it writes and where, and that long work shows itself to people only."""

from __future__ import annotations

import json
import os
import pty
import re
import subprocess
import sys
import time
from pathlib import Path

import openpyxl
import pytest
from click.testing import CliRunner, Result

from geosand.cli import main, progress
from geosand.reports.season_document import season_balance
from geosand.results import Results
from tests.sites import DEMO


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(a) for a in arguments], catch_exceptions=False)


def test_the_report_lies_beside_the_map(tmp_path: Path) -> None:
    result = run("account", DEMO, "--out", tmp_path / "here.html")
    assert result.exit_code == 0
    assert {path.name for path in tmp_path.iterdir()} == {"here.html", "here_report.html"}
    assert f"Report to print: {tmp_path / 'here_report.html'}" in result.output
    assert "geosand check lists what else is worth knowing" in result.output
    assert result.stderr == ""


def test_everything_where_it_was_asked_for(tmp_path: Path) -> None:
    names = ["m.html", "r.pdf", "r.html", "w.xlsx"]
    map_file, pdf, page, book = (tmp_path / "new" / name for name in names)
    asked = ["--out", map_file, "--report", pdf, "--report", page, "--workbook", book]
    result = run("account", DEMO, *asked, "--json")
    assert result.exit_code == 0, result.stderr
    document = json.loads(result.stdout)
    assert document["map"] == str(map_file)
    assert document["reports"] == [str(pdf), str(page)]
    assert document["workbook"] == str(book)
    assert sorted(p.name for p in (tmp_path / "new").iterdir()) == sorted(names)
    assert pdf.read_bytes().startswith(b"%PDF")
    assert "balance" in openpyxl.load_workbook(book).sheetnames


def test_season_balance_is_in_the_document_and_in_the_report(tmp_path: Path, demo: Results) -> None:
    result = run("account", DEMO, "--out", tmp_path / "m.html", "--json")
    document = json.loads(result.stdout)
    assert document["season_balance"] == season_balance(demo)
    text = (tmp_path / "m_report.html").read_text(encoding="utf-8")
    for part in ("spread", "on_surfaces", "overthrow"):
        shown = f"{document['season_balance'][part]['mass_kg']:,.0f} kg".replace(",", "\u202f")
        assert f"<b>{shown}</b>" in text


def test_paper_and_figures_follow_the_units(tmp_path: Path) -> None:
    from pypdf import PdfReader

    widths = {}
    for units in ("metric", "us"):
        file = tmp_path / f"{units}.pdf"
        run("account", DEMO, "--out", tmp_path / "m.html", "--report", file, "--units", units)
        reader = PdfReader(file)
        widths[units] = float(reader.pages[0].mediabox.width)
        assert ("lb" in reader.pages[0].extract_text()) is (units == "us")
    assert widths == {"metric": pytest.approx(595.3, abs=0.1), "us": pytest.approx(612)}


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (["--report", "r.doc"], "its name must end in .html or .pdf"),
        (["--workbook", "w.csv"], "its name must end in .xlsx"),
        (["--out", "a.html", "--report", "a.html"], "is named for two results"),
    ],
)
def test_wrong_names_are_exit_code_2_and_nothing_is_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, asked: list[str], said: str
) -> None:
    monkeypatch.chdir(tmp_path)
    result = run("account", DEMO, *asked)
    assert result.exit_code == 2
    assert said in result.stderr.replace("\n", " ")
    assert list(tmp_path.iterdir()) == []


def test_without_the_library_for_pdf_nothing_is_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "fpdf", None)
    result = run("account", DEMO, "--out", tmp_path / "m.html", "--report", tmp_path / "r.pdf")
    assert result.exit_code == 1
    assert "pip install 'geosand[pdf]'" in result.stderr
    assert list(tmp_path.iterdir()) == []


def test_a_place_that_can_not_be_written_names_its_option(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    result = run(
        "account", DEMO, "--out", tmp_path / "m.html", "--workbook", tmp_path / "file/w.xlsx"
    )
    assert result.exit_code == 1
    assert "name another place with --workbook".capitalize() in result.stderr


@pytest.mark.parametrize("place", [".", "", "/", ".."])
def test_a_folder_is_no_place_for_a_map(
    place: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    end = CliRunner().invoke(main, ["account", str(DEMO), "--out", place])
    assert end.exit_code == 1
    assert "is a folder. Name another file for the result." in end.stderr
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("place", ["{250}.html", "new/{250}.html", "new/{300}/map.html"])
def test_a_name_that_is_too_long_is_refused_before_any_work(place: str, tmp_path: Path) -> None:
    """The map's own name of 255 letters is written, that of the report beside it has more."""
    out = tmp_path / place.replace("{250}", "m" * 250).replace("{300}", "m" * 300)
    end = CliRunner().invoke(main, ["account", str(DEMO), "--out", str(out)])
    assert end.exit_code == 1
    assert "has a name that is too long. Name another file for the result." in end.stderr
    assert not list(tmp_path.iterdir())


def test_an_account_without_workbook_or_pdf_loads_neither(tmp_path: Path) -> None:
    code = (
        "import sys\nfrom geosand.cli import main\n"
        f"try:\n    main(['account', {str(DEMO)!r}, '--out', {str(tmp_path / 'm.html')!r}])\n"
        "except SystemExit:\n    pass\n"
        "names = ('geopandas', 'openpyxl', 'fpdf', 'pyproj', 'pint', 'rich')\n"
        "print(sorted({m.split('.')[0] for m in sys.modules} & set(names)), file=sys.stderr)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr.strip() == "[]"


SLOW = """
import os, sys, threading, time
from geosand.cli import progress
over = threading.Timer(60, os._exit, [1])  # so that what never comes fails and does not hang
over.daemon = True
over.start()
if "short" in sys.argv:
    progress.DELAY_S = 50
wait = sys.stdin.readline if "seen" in sys.argv else lambda: time.sleep(0.7)
with progress.steps(silent="--json" in sys.argv) as step:
    step("Reading the site")
    wait()
    step("Many\\x1b[31m sites", done=2, total=9)
    wait()
print("rich" in sys.modules)
"""


def on_terminal(argument: str, *awaited: str) -> tuple[str, str]:
    """What a program writes to its terminal's stderr, and prints; it goes on when each is seen."""
    leader, follower = pty.openpty()
    pipe = subprocess.PIPE
    with subprocess.Popen(
        [sys.executable, "-c", SLOW, argument], stdin=pipe, stdout=pipe, stderr=follower, text=True
    ) as program:
        os.close(follower)
        assert program.stdin and program.stdout
        shown, left = "", list(awaited)
        while part := next_part(leader):
            shown += part
            if left and left[0] in shown:
                del left[0]
                program.stdin.write("\n")
                program.stdin.flush()
        printed = program.stdout.read()
    os.close(leader)
    return shown, printed


def next_part(leader: int) -> str:
    """What a terminal shows next, nothing once its program is gone."""
    try:
        return os.read(leader, 4096).decode(errors="replace")  # a sign may be cut in two
    except OSError:
        return ""


def test_long_work_shows_its_steps_on_a_terminal_and_wipes_them() -> None:
    shown, printed = on_terminal("seen", "Reading the site", "sites, 2 of 9 done")
    assert "Reading the site" in shown
    assert "sites, 2 of 9 done" in shown
    assert "\x1b[31m sites" not in shown, "a name can not colour the terminal"
    assert re.search(r"\x1b\[2K[^\n]*$", shown), "the line is wiped at the end"
    assert printed.strip() == "True"


@pytest.mark.parametrize("argument", ["--json", "short"])
def test_otherwise_nothing_is_shown_or_loaded(argument: str) -> None:
    shown, printed = on_terminal(argument)
    assert (shown, printed.strip()) == ("", "False")


def test_in_a_pipe_nothing_is_shown() -> None:
    done = subprocess.run([sys.executable, "-c", SLOW], capture_output=True, text=True, check=True)
    assert (done.stderr, done.stdout.strip()) == ("", "False")


def test_an_error_ends_the_line_too(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(progress, "DELAY_S", 0.01)
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    with pytest.raises(RuntimeError, match="broken"), progress.steps() as step:
        step("Working")
        time.sleep(0.2)
        raise RuntimeError("broken")
