"""Every case: the outcome that it states, no traceback, the files as they were, nothing left over.

After the run the terminal shows how many cases were tried .
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from geosand.cli import main
from geosand.errors import Fault, Refused, printable
from geosand.formats.site_folder import read_site
from geosand.results import work_out
from geosand.site.cells import parse_number
from tests.bad_input import (
    clumsy,
    csv_files,
    folders,
    numbers,
    polygons,
    references,
    settings,
    slips,
    workbooks,
)
from tests.bad_input.case import FOUND, REFUSED, Case
from tests.sites import write_site

CASES = [
    case
    for module in (
        csv_files,
        numbers,
        references,
        settings,
        polygons,
        folders,
        workbooks,
        slips,
        clumsy,
    )
    for case in module.CASES
]
EXIT = {REFUSED: 1}
TABLES = ("dressings.csv", "loads.csv", "catches.csv", "deliveries.csv")
FILES = ("site.toml", "surfaces.geojson", "catches.geojson", "records.xlsx", *TABLES)
#: Faults of a file as a whole, which need no row and no column.
WHOLE = re.compile(
    "is |has |stands |unpacks |the (file is missing|first line|cells)|there (is no|are no|are two)"
    "|more than|no (sand|dressings)|both |its coordinates|something stands|a row has|sheet "
    "|[0-9]+ sands|'.*' is no FeatureCollection|surfaces lie|a surface is|.* say the same thing"
)
#: What only a programmer would understand.
PYTHON = re.compile(r"None|Error\b|<class|object at|0x[0-9a-f]{6}|numpy|\bdict\b|\bstr\b|  ")


def digests(folder: Path) -> dict[str, str]:
    """SHA-256 of every file beneath a folder."""
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def run(*words: str | Path) -> Result:
    """A verb in this process; what is no orderly end is raised here."""
    result = CliRunner().invoke(main, [str(word) for word in words])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result


@pytest.fixture(scope="module")
def said_of_the_valid_site(tmp_path_factory: pytest.TempPathFactory) -> set[str]:
    folder = write_site(tmp_path_factory.mktemp("valid") / "site")
    return {
        finding["text"] for finding in json.loads(run("check", folder, "--json").stdout)["findings"]
    }


@pytest.mark.parametrize("case", CASES, ids=[case.name for case in CASES])
def test_case(
    case: Case,
    tmp_path: Path,
    said_of_the_valid_site: set[str],
    record_property: Callable[[str, object], None],
) -> None:
    folder = write_site(tmp_path / "site", **case.changes)
    before = digests(folder)

    checked = run("check", folder)
    balanced = run("balance", folder, "--json")

    assert checked.exit_code == EXIT.get(case.outcome, 0), checked.output
    assert balanced.exit_code == checked.exit_code
    assert digests(tmp_path) == {f"site/{name}": value for name, value in before.items()}
    if case.outcome == REFUSED:
        assert not balanced.stdout
        assert case.text in checked.stderr
        assert balanced.stderr == checked.stderr
        _says_all(folder)
    else:
        document = json.loads(balanced.stdout, parse_constant=_no_number)
        assert document["dressings"] or "dressing" in case.name
        listed = json.loads(run("check", folder, "--json").stdout)["findings"]
        new = [
            f"{f['about']}: {f['text']}" for f in listed if f["text"] not in said_of_the_valid_site
        ]
        if case.outcome == FOUND:
            assert any(case.text in text for text in new), new
        else:
            assert not new
    record_property("bad input", case.outcome)


def _says_all(folder: Path) -> None:
    """Each fault of a refusal says where, what was found, and what is allowed or to be done."""
    with pytest.raises(Refused) as refusal:
        work_out(read_site(folder))
    for fault in refusal.value.faults:
        text = str(fault)
        assert fault.file.partition(", sheet ")[0] in FILES or fault.file.startswith("editions/")
        assert fault.row is not None or fault.column or WHOLE.match(fault.found), text
        assert fault.allowed or fault.remedy or re.search("use one of|: write ", fault.found), text
        assert 20 < len(text) < 420, text
        assert re.match("[a-z]", text) and text.endswith((".", "?", "!")), text
        assert not PYTHON.search(text), text
        cell, number = _cell(folder, fault), parse_number(_cell(folder, fault))
        found = cell[:30] if number is None else f"{number:g}"
        assert printable(found) in printable(fault.found) or "mm deep" in fault.found, text


def _cell(folder: Path, fault: Fault) -> str:
    """What stands in the cell of a CSV file that a fault is about; "" where there is none."""
    path = folder / fault.file
    if path.suffix != ".csv" or not isinstance(fault.row, int) or fault.allowed == "":
        return ""
    try:
        lines = list(csv.DictReader(io.StringIO(path.read_bytes().decode("utf-8"))))
        cell = lines[fault.row - 2][str(fault.column)]
    except (UnicodeDecodeError, csv.Error, IndexError, KeyError):
        return ""
    return cell.strip()


def _no_number(name: str) -> None:
    raise AssertionError(f"{name} in a document")


def test_several_faults_come_in_one_list(tmp_path: Path) -> None:
    folder = write_site(
        tmp_path / "site",
        toml=settings.CASES[3].changes["toml"],
        loads="load,dressing,count,unit_mass_kg\nL1,D9,-2,25\n",
        catches="catch,dressing,lon,lat,tray_length_mm,tray_width_mm,tare_g,gross_g\n"
        "c1,D1,x,47,400,250,50,40\n",
    )

    refusal = run("check", folder)

    assert refusal.exit_code == 1
    told = refusal.stderr
    for place in (
        "site.toml",
        "loads.csv, row 2, dressing",
        "loads.csv, row 2, count",
        "catches.csv, row 2",
    ):
        assert place in told


def test_the_corpus_is_large_enough_and_names_are_unique() -> None:
    names = [case.name for case in CASES]
    assert len(set(names)) == len(names)
    assert len(names) >= 120
