"""``check --since``: which files are no longer those of an earlier result."""

from __future__ import annotations

import hashlib
import json
import os
import sqlite3
import subprocess
import sys
from pathlib import Path

import openpyxl
import pytest
from click.testing import CliRunner, Result

from geosand import __version__
from geosand.cli import main
from tests.sites import LOADS, write_site


def run(*words: object) -> Result:
    return CliRunner().invoke(main, [str(word) for word in words])


@pytest.fixture
def earlier(tmp_path: Path) -> Path:
    """The balance of a valid site, as it was printed."""
    folder = write_site(tmp_path / "site")
    path = tmp_path / "earlier.json"
    path.write_text(run("balance", folder, "--dressing", "D1", "--json").stdout)
    return path


def test_a_result_names_its_inputs_version_and_options(tmp_path: Path, earlier: Path) -> None:
    document = json.loads(earlier.read_text())
    for name, digest in document["inputs"].items():
        content = (tmp_path / "site" / name).read_bytes()
        assert digest == hashlib.sha256(content).hexdigest()
    assert set(document["inputs"]) == {
        *("site.toml", "surfaces.geojson"),
        *("dressings.csv", "loads.csv", "catches.csv"),
    }
    assert document["made_with"] == {
        "geosand": __version__,
        "verb": "balance",
        "options": {"dressing": "D1"},
    }


def test_nothing_changed(tmp_path: Path, earlier: Path) -> None:
    said = run("check", tmp_path / "site", "--since", earlier).stdout
    assert said.startswith("Nothing has changed since earlier.json: all 5 files are the same.\n")
    assert f"made by geosand {__version__}, balance --dressing D1." in said


def test_changed_new_and_gone(tmp_path: Path, earlier: Path) -> None:
    site = tmp_path / "site"
    (site / "loads.csv").write_text(LOADS.replace("52", "53"))
    (site / "catches.csv").rename(site / "deliveries.csv")
    said = run("check", site, "--since", earlier).stdout
    assert said.splitlines()[:4] == [
        "changed: loads.csv",
        "new: deliveries.csv",
        "gone: catches.csv",
        "the same: dressings.csv, site.toml, surfaces.geojson",
    ]
    document = json.loads(run("check", site, "--since", earlier, "--json").stdout)
    assert document["changed"] == ["loads.csv"]
    assert document["gone"] == ["catches.csv"]


def test_files_that_would_be_refused_are_compared_all_the_same(
    tmp_path: Path, earlier: Path
) -> None:
    (tmp_path / "site" / "loads.csv").write_bytes(b"\0")
    assert "changed: loads.csv\n" in run("check", tmp_path / "site", "--since", earlier).stdout


def test_a_file_that_is_no_result_is_refused(tmp_path: Path, earlier: Path) -> None:
    end = run("check", tmp_path / "site", "--since", tmp_path / "site" / "site.toml")
    assert end.exit_code == 1
    assert "site.toml: names no inputs with their SHA-256" in end.stderr
    assert "Give what a verb printed with --json" in end.stderr


def test_a_pipe_in_the_place_of_a_result_is_refused_for_what_it_is(
    tmp_path: Path, earlier: Path
) -> None:
    os.mkfifo(tmp_path / "result.json")
    end = run("check", tmp_path / "site", "--since", tmp_path / "result.json")
    assert (end.exit_code, "SHA-256" in end.stderr) == (1, False)
    assert "result.json: is no plain file. Give the result itself." in end.stderr


def test_no_such_site(tmp_path: Path, earlier: Path) -> None:
    end = run("check", tmp_path / "nowhere", "--since", earlier)
    assert end.exit_code == 1
    assert "there is no such folder" in end.stderr


@pytest.mark.parametrize("verb", ["map", "account"])
def test_a_page_names_its_inputs_and_how_it_was_made(tmp_path: Path, verb: str) -> None:
    site, page = write_site(tmp_path / "site"), tmp_path / "page.html"
    assert run(verb, site, "--out", page, "--units", "us").exit_code == 0
    once = page.read_bytes()
    said = run("check", site, "--since", page).stdout
    assert said.startswith("Nothing has changed since page.html: all 5 files are the same.\n")
    assert f"made by geosand {__version__}, {verb} --out page.html --units us." in said
    (site / "loads.csv").write_text(LOADS.replace("52", "53"))
    assert "changed: loads.csv\n" in run("check", site, "--since", page).stdout
    (site / "loads.csv").write_text(LOADS)
    assert run(verb, site, "--out", page, "--units", "us").exit_code == 0
    assert page.read_bytes() == once


def test_a_report_names_its_inputs_and_how_it_was_made(tmp_path: Path) -> None:
    site, report = write_site(tmp_path / "site"), tmp_path / "report.html"
    asked = ("account", site, "--out", tmp_path / "map.html", "--report", report)
    assert run(*asked).exit_code == 0
    once = report.read_bytes()
    said = run("check", site, "--since", report).stdout
    assert said.startswith("Nothing has changed since report.html: all 5 files are the same.\n")
    assert "account --out map.html --report report.html." in said
    assert run(*asked).exit_code == 0
    assert report.read_bytes() == once


@pytest.mark.parametrize(
    ("words", "option", "name"),
    [
        (("areas",), "--out", "areas.gpkg"),
        (("place", "--catches", "2", "--seed", "3"), "--out", "trays.gpx"),
        (("place", "--catches", "2", "--seed", "3"), "--out", "trays.geojson"),
        (("place", "--catches", "2", "--seed", "3"), "--out", "sheet.html"),
        (("place", "--show-power"), "--out", "power.html"),
        (("plan", "--depth", "1mm", "--swath", "4m"), "--passes", "passes.gpx"),
        (("plan", "--depth", "1mm", "--swath", "4m"), "--passes", "passes.geojson"),
        (("plan", "--depth", "1mm", "--swath", "4m"), "--map", "passes.html"),
        (("plan", "--depth", "1mm"), "--job-sheet", "job.html"),
    ],
)
def test_files_for_the_field_name_their_inputs(
    tmp_path: Path, words: tuple[str, ...], option: str, name: str
) -> None:
    site, path = write_site(tmp_path / "site"), tmp_path / name
    made = run(words[0], site, *words[1:], option, path)
    assert made.exit_code == 0, made.output
    said = run("check", site, "--since", path).stdout
    assert said.startswith(f"Nothing has changed since {name}: all 5 files are the same.\n")
    assert f"made by geosand {__version__}, {words[0]} --" in said
    (site / "loads.csv").write_text(LOADS.replace("52", "53"))
    assert "changed: loads.csv\n" in run("check", site, "--since", path).stdout


def test_a_geopackage_that_would_never_end_is_refused(tmp_path: Path) -> None:
    """A view in the place of the metadata that counts without end."""
    site, path = write_site(tmp_path / "site"), tmp_path / "endless.gpkg"
    package = sqlite3.connect(path)
    package.execute(
        "CREATE VIEW gpkg_metadata AS WITH RECURSIVE n(k) AS (SELECT 1 UNION ALL SELECT k + 1"
        " FROM n) SELECT count(*) AS metadata FROM n"
    )
    package.close()
    end = run("check", site, "--since", path)
    assert end.exit_code == 1
    assert "endless.gpkg: names no inputs with their SHA-256" in end.stderr


def test_areas_written_as_geojson_name_their_inputs(tmp_path: Path, earlier: Path) -> None:
    site, path = tmp_path / "site", tmp_path / "areas.geojson"
    assert run("areas", site, "--out", path).exit_code == 0
    document = json.loads(path.read_text())
    assert document["inputs"] == json.loads(earlier.read_text())["inputs"]
    assert document["made_with"]["verb"] == "areas"
    assert run("check", site, "--since", path).stdout.startswith("Nothing has changed since")


def test_files_beside_the_site_are_named_with_their_digests(tmp_path: Path) -> None:
    """What areas were held against enters a result as well, wherever it lies."""
    folder, old = write_site(tmp_path / "site"), write_site(tmp_path / "old")
    claims = tmp_path / "claims.csv"
    claims.write_text("id,area_m2\ng1,400\n")
    paths = [tmp_path / "areas.geojson", tmp_path / "areas.gpkg"]
    outputs = [word for path in paths for word in ("--out", path)]
    printed = run("areas", folder, "--against", old, "--claimed", claims, "--json", *outputs)
    document = json.loads(printed.stdout)
    also = document["also_read"]
    assert also["claims.csv"] == hashlib.sha256(claims.read_bytes()).hexdigest()
    assert {f"{old.name}/{name}" for name in document["inputs"]} == set(also) - {"claims.csv"}
    assert document["made_with"]["options"]["against"] == old.name
    assert str(tmp_path) not in printed.stdout
    for path in paths:
        said = run("check", folder, "--since", path).stdout
        assert said.startswith(f"Nothing has changed since {path.name}: all 5 files are the same.")
        assert f"not looked at here: claims.csv, which had the SHA-256 {also['claims.csv']}" in said
    assert json.loads(run("areas", folder, "--json").stdout)["also_read"] == {}


def test_files_of_one_name_keep_their_digests_apart(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An older survey, and a list of claims, called as files of the site are."""
    monkeypatch.chdir(tmp_path)
    own = (write_site(tmp_path / "site") / "surfaces.geojson").read_bytes()
    written = {
        "older/surfaces.geojson": own + b"\n",
        "lists/surfaces.geojson": b"id,area_m2\ng1,4\n",
    }
    for name, content in written.items():
        (tmp_path / name).parent.mkdir()
        (tmp_path / name).write_bytes(content)
    words = ("--against", "older/surfaces.geojson", "--claimed", "lists/surfaces.geojson")
    made = run("areas", "site", *words, "--json", "--out", "areas.xlsx", "--out", "areas.geojson")
    document = json.loads(made.stdout)
    beside = {name: hashlib.sha256(content).hexdigest() for name, content in written.items()}
    assert document["also_read"] == beside
    assert document["inputs"]["surfaces.geojson"] == hashlib.sha256(own).hexdigest()
    assert input_rows("areas.xlsx") == [*document["inputs"].items(), *beside.items()]
    said = run("check", "site", "--since", "areas.geojson").stdout
    assert "not looked at here: older/surfaces.geojson, which" in said
    # a survey named from its own folder bears the name of the site's: both keep their row
    monkeypatch.chdir(tmp_path / "older")
    run("areas", "../site", "--against", "surfaces.geojson", "--out", "../bare.xlsx")
    both = [digest for name, digest in input_rows("../bare.xlsx") if name == "surfaces.geojson"]
    assert both == [document["inputs"]["surfaces.geojson"], beside["older/surfaces.geojson"]]
    monkeypatch.chdir(tmp_path / "site")
    same = json.loads(run("areas", ".", "--against", ".", "--json").stdout)
    assert same["also_read"] == {f"site/{name}": digest for name, digest in same["inputs"].items()}


def input_rows(path: str) -> list[tuple[object, ...]]:
    """Files and their digests as a workbook lists them."""
    sheet = openpyxl.load_workbook(path)["inputs"]
    return list(sheet.iter_rows(min_row=2, max_col=2, values_only=True))


@pytest.mark.parametrize("opening", ["<script ", "<script type='x'", "<metadata><desc>"])
def test_beginnings_without_an_end_cost_no_more_than_their_length(
    opening: str, tmp_path: Path
) -> None:
    """Each was followed to the end of the file: four times as many took 16 times as long.

    These would take that way half an hour and more, and so the command has a ceiling.
    """
    (tmp_path / "page.html").write_text(opening * 400_000)
    words = ["check", write_site(tmp_path / "site"), "--since", tmp_path / "page.html"]
    command = [sys.executable, "-m", "geosand", *map(str, words)]
    done = subprocess.run(command, check=False, capture_output=True, text=True, timeout=120)
    assert done.returncode == 1
    assert "names no inputs" in " ".join(done.stderr.split())
