"""A result that another program shows: some systems do not let it be replaced meanwhile."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest
from click.testing import CliRunner

from geosand.cli import main
from tests.sites import write_site


@pytest.fixture
def shown(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing that is there can be replaced, as where a spreadsheet holds it open on Windows.

    MoveFileEx allows no open destination; "[WinError 5] Access is denied" is a PermissionError
    (Python's issue 46003).
    """
    replace = os.replace

    def kept(made: str, place: str) -> None:
        if os.path.isfile(place):
            raise PermissionError(errno.EACCES, "Access is denied", str(made), None, str(place))
        replace(made, place)

    monkeypatch.setattr(os, "replace", kept)


def test_a_workbook_that_is_open_is_to_be_closed(tmp_path: Path, shown: None) -> None:
    site, book = write_site(tmp_path / "site"), tmp_path / "ledgers.xlsx"
    book.write_bytes(b"last week's")
    pages = ["--out", str(tmp_path / "m.html"), "--report", str(tmp_path / "r.html")]
    told = CliRunner().invoke(main, ["account", str(site), *pages, "--workbook", str(book)])
    assert told.exit_code == 1
    found = f"{book}: can not be written: Access is denied. Close it where it is open, or name"
    assert found in " ".join(told.stderr.split())
    assert book.read_bytes() == b"last week's"


def test_a_table_of_many_that_is_open_is_named(tmp_path: Path, shown: None) -> None:
    write_site(tmp_path / "sites" / "one")
    (out := tmp_path / "out").mkdir()
    (out / "ledger.csv").write_text("last week's\n")
    told = CliRunner().invoke(main, ["many", str(tmp_path / "sites"), "--out", str(out)])
    assert told.exit_code == 1
    assert "Close ledger.csv where it is open, or name another place" in " ".join(
        told.stderr.split()
    )
    assert (out / "ledger.csv").read_text() == "last week's\n"
