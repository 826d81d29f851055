"""Terminals and pipes that lack letters, colours, width or a reader: no traceback, exit 0."""

from __future__ import annotations

import json
import os
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from tests.sites import LOADS, SURFACES, TOML, collection, write_site

NAME = "Gr\u00fcn \u53f0"
TERMINALS = {
    "ASCII": {"PYTHONIOENCODING": "ascii"},
    "Latin-1": {"PYTHONIOENCODING": "latin-1"},
    "Windows-1252": {"PYTHONIOENCODING": "cp1252"},
    "no locale": {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"},
    "dumb and narrow": {"TERM": "dumb", "COLUMNS": "20"},
}


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("terminals") / "site"
    return write_site(place, toml=TOML.replace("Test site", NAME))


def geosand(*words: str | Path, **settings: str) -> subprocess.CompletedProcess[bytes]:
    environment = {**os.environ, **settings}
    environment.pop("GEOSAND_TRACEBACK", None)
    command = [sys.executable, "-m", "geosand", *map(str, words)]
    return subprocess.run(command, capture_output=True, env=environment, check=False)


@pytest.mark.parametrize("name", TERMINALS)
def test_a_terminal_that_lacks_letters_is_no_fault(name: str, site: Path) -> None:
    end = geosand("balance", site, **TERMINALS[name])
    assert (end.returncode, end.stderr) == (0, b"")
    assert b"D1" in end.stdout


def test_a_terminal_without_a_minus_shows_another(tmp_path: Path) -> None:
    """Of "?931 kg" nobody could tell what it is; "-931 kg" is what was meant."""
    site = write_site(tmp_path / "site", loads=LOADS.replace(",52,", ",20,"))
    wide = geosand("balance", site, PYTHONIOENCODING="utf-8").stdout.decode()
    plain = geosand("balance", site, PYTHONIOENCODING="ascii").stdout.decode("ascii")
    line = next(line for line in wide.splitlines() if line.startswith(" D1"))
    assert "\u2212" in line
    assert line.replace("\u2212", "-").replace("\u202f", " ") in plain.splitlines()
    assert "?" not in plain
    assert "kg/m2" in plain


def test_json_is_utf_8_everywhere(site: Path) -> None:
    end = geosand("check", site, "--json", PYTHONIOENCODING="ascii")
    assert json.loads(end.stdout.decode("utf-8"))["site"] == NAME


def test_a_reader_that_has_seen_enough(site: Path) -> None:
    environment = {**os.environ}
    environment.pop("GEOSAND_TRACEBACK", None)
    command = [sys.executable, "-m", "geosand", "balance", str(site), "--json"]
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=environment
    ) as process:
        assert process.stdout is not None and process.stderr is not None
        process.stdout.close()
        assert process.stderr.read() == b""


@pytest.mark.parametrize("closed", ["<&-", ">&-", "2>&-", "<&- >&- 2>&-"])
def test_whoever_closes_streams_gets_the_files(closed: str, site: Path, tmp_path: Path) -> None:
    """Nothing that is meant for a closed stream may go into the file that took its number."""
    out = tmp_path / "m.html"
    words = shlex.join([sys.executable, "-m", "geosand", "account", str(site), "--out", str(out)])
    assert subprocess.run(["sh", "-c", f"{words} {closed}"], check=False).returncode == 0
    text = out.read_text(encoding="utf-8")
    assert text.startswith("<!DOCTYPE html>") and text.rstrip().endswith("</html>")


def test_a_stream_that_can_not_be_written_is_told(site: Path) -> None:
    words = shlex.join([sys.executable, "-m", "geosand", "balance", str(site)])
    told = subprocess.run(["sh", "-c", f"{words} 1</dev/null"], capture_output=True, check=False)
    assert told.returncode == 1
    assert told.stderr.startswith(b"The output can not be written")


@pytest.mark.skipif(sys.platform != "linux", reason="other systems refuse such names")
def test_names_of_files_that_are_no_utf_8(tmp_path: Path) -> None:
    place = Path(os.fsdecode(os.fsencode(tmp_path) + b"/n\xff\xfe"))
    site = write_site(place)
    end = geosand("map", site, "--out", place / "m.html")
    assert (end.returncode, end.stderr) == (0, b"")
    assert (place / "m.html").is_file()


@pytest.mark.skipif(sys.platform != "linux", reason="other systems refuse such names")
def test_results_surveys_and_editions_named_in_another_encoding(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As of disks and archives written where names were not yet UTF-8."""
    odd = "n\udcff"
    site = write_site(tmp_path / odd, surfaces=collection(SURFACES, valid_from="2026-03-02"))
    survey = tmp_path / f"{odd}.geojson"
    survey.write_text(json.dumps(collection(SURFACES)))
    (site / "editions").mkdir()
    (site / "editions" / survey.name).write_bytes(survey.read_bytes())
    out = {ending: tmp_path / f"{odd}.{ending}" for ending in ("html", "xlsx", "gpx", "gpkg")}
    runs: list[tuple[str | Path, ...]] = [
        ("account", site, "--out", out["html"], "--workbook", out["xlsx"], "--json"),
        ("place", site, "--catches", "1", "--out", out["gpx"], "--json"),
        ("areas", site, "--out", out["gpkg"], "--json"),
        ("areas", site, "--against", survey, "--out", tmp_path / "a.geojson", "--json"),
        ("check", site, "--since", out["gpkg"], "--json"),
        ("new", tmp_path / odd / odd, "--boundaries", survey, "--believe-place", "--json"),
        ("new", tmp_path / "b", "--boundaries", survey, "--believe-place", "--site-name", odd[1:]),
    ]
    for words in runs:
        end = geosand(*words)
        assert (end.returncode, end.stderr) == (0, b""), words
        assert json.loads(end.stdout) if "--json" in words else end.stdout
    assert not json.loads(geosand(*runs[4]).stdout)["changed"]
    monkeypatch.chdir(site)
    for place in (tmp_path / f"{odd}-many", Path("many")):
        told = geosand("many", tmp_path, "--out", place)
        assert told.returncode == 1
        assert b"has a name that is no UTF-8" in told.stderr
        assert not place.exists()


HOSTILE = "a\x1bcb"  #: ESC c clears a terminal


@pytest.mark.parametrize("verb", ["account", "map", "place", "new", "new from", "bring"])
def test_names_of_files_do_not_steer_the_terminal(verb: str, tmp_path: Path) -> None:
    """Whoever unpacks a stranger's archive gets files and folders of any name."""
    site = write_site(tmp_path / HOSTILE)
    survey = tmp_path / f"{HOSTILE}.geojson"
    survey.write_bytes((site / "surfaces.geojson").read_bytes())
    fresh = tmp_path / HOSTILE / HOSTILE
    words: dict[str, tuple[str | Path, ...]] = {
        "account": ("account", site, "--out", site / "m.html"),
        "map": ("map", site, "--out", site / "m.html"),
        "place": ("place", site, "--catches", "1", "--out", site / "t.gpx"),
        "new": ("new", fresh),
        "new from": ("new", fresh, "--boundaries", survey, "--believe-place"),
        "bring": ("bring", survey, "--into", site, "--valid-from", "2026-06-01", "--believe-place"),
    }
    end = geosand(*words[verb])
    assert (end.returncode, end.stderr) == (0, b"")
    assert "a·cb" in end.stdout.decode()
    assert b"\x1b" not in end.stdout


MADE_WITH = (
    {"geosand": HOSTILE, "options": {HOSTILE: HOSTILE}},
    {"geosand": "1", "options": 1},
    [1],
)


@pytest.mark.parametrize("made_with", MADE_WITH)
def test_earlier_results_do_not_steer_the_terminal(
    made_with: object, site: Path, tmp_path: Path
) -> None:
    earlier = tmp_path / "earlier.json"
    named = {HOSTILE: 64 * "0"}
    document = {"inputs": named, "also_read": named, "made_with": made_with}
    earlier.write_text(json.dumps(document))
    end = geosand("check", site, "--since", earlier)
    assert (end.returncode, end.stderr) == (0, b"")
    assert "gone: a·cb".encode() in end.stdout
    assert b"\x1b" not in end.stdout
