"""Folders and files made to do harm, and folders of results that hold what is not ours."""

from __future__ import annotations

import csv
import errno
import os
import shutil
import sys

import numpy as np
import pytest
from click.testing import CliRunner

from geosand.cli import main
from geosand.errors import Refused
from geosand.portfolio.folders import find_sites
from tests.portfolio.conftest import run_many
from tests.sites import TOML, write_site

FORMULA = '=HYPERLINK("http://x","y")'


def many(*words):
    result = CliRunner().invoke(main, ["many", *map(str, words)])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result


def test_no_formula_reaches_a_csv_file(tmp_path):
    name = FORMULA.replace('"', '\\"')
    write_site(tmp_path / "in" / "@a", toml=TOML.replace("Test site", name))
    write_site(tmp_path / "in" / "-b")
    assert many(tmp_path / "in", "--out", tmp_path / "out").exit_code == 0
    for path in (tmp_path / "out").glob("*.csv"):
        cells = [c for row in csv.reader(path.open(encoding="utf-8")) for c in row]
        texts = [c for c in cells if not c.replace("-", "").replace(".", "").isdigit()]
        assert not [c for c in texts if c.startswith(("=", "+", "@", "\t"))]
    sites = list(csv.DictReader((tmp_path / "out" / "sites.csv").open(encoding="utf-8")))
    assert {row["site"]: row["name"] for row in sites} == {
        "'@a": f"'{FORMULA}",
        "'-b": "Test site",
    }


@pytest.mark.skipif(sys.platform != "linux", reason="other systems refuse such names")
def test_names_that_are_no_utf_8_links_that_turn_in_circles_and_pipes(tmp_path):
    root = tmp_path / "in"
    write_site(root / "good")
    odd = os.fsencode(root) + b"/n\xff"
    shutil.copytree(os.fsencode(root / "good"), odd)
    (root / "loop").symlink_to(root)
    pipe = write_site(root / "pipe") / "site.toml"
    pipe.unlink()
    os.mkfifo(pipe)
    done = run_many(root, tmp_path / "out")
    assert [row["site"] for row in done.comparison.sites] == ["good", "n\\xff", "pipe"]
    assert [row["site"] for row in done.comparison.refused] == ["pipe"]
    assert run_many(root, tmp_path / "out").kept == 3


def test_links_to_sites_are_followed_and_no_site_counts_twice(tmp_path):
    root, away = tmp_path / "in", tmp_path / "away"
    for place in (root / "b", away / "site", away / "more" / "deep"):
        write_site(place)
    for name, target in (
        ("a", root / "b"),
        ("site", away / "site"),
        ("again", away / "site"),
        ("more", away / "more"),
        (".hidden", away),
        ("nowhere", tmp_path / "none"),
    ):
        (root / name).symlink_to(target)
    (away / "more" / "back").symlink_to(root)
    for out in (tmp_path / "out", root / "out", root):
        found = find_sites(root, out).keys()
        assert found == ["again", "b", "more/deep"]
    assert find_sites(root, away / "more").keys() == ["again", "b"]
    assert len(run_many(root, tmp_path / "out").comparison.sites) == 3


@pytest.fixture
def closed(monkeypatch):
    """A folder that can not be listed; the one who runs the tests may look into all of them."""
    places, listed, walked = [], os.listdir, os.scandir

    def refuse(then):
        def look(path="."):
            if str(path) in places:
                raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(path))
            return then(path)

        return look

    monkeypatch.setattr(os, "listdir", refuse(listed))
    monkeypatch.setattr(os, "scandir", refuse(walked))
    return places


def test_a_folder_that_can_not_be_looked_into_is_told(tmp_path, closed):
    root, out = tmp_path / "in", tmp_path / "out"
    for name in "ab":
        write_site(root / name)
    closed.append(str(root / "b"))
    (refused,) = run_many(root, out).comparison.refused
    assert refused["site"] == "b"
    told = "the folder: can not be looked into: Permission denied. Look at its rights"
    assert refused["faults"] == f"{told}, or take it away."
    assert run_many(root, out).kept == 2
    closed.clear()
    done = run_many(root, out)
    assert (done.computed, len(done.comparison.refused)) == (1, 0)


def test_a_path_that_is_too_long_costs_its_folder_alone(tmp_path, monkeypatch):
    """Longer than any call may take (PATH_MAX), as programs make that go down folder by folder."""
    root, out = tmp_path / "in", tmp_path / "out"
    write_site(root / "a")
    deep = root / "deep"
    deep.mkdir()
    monkeypatch.chdir(deep)
    for _ in range(20):
        os.mkdir("n" * 250)
        os.chdir("n" * 250)
    os.chdir(tmp_path)
    try:
        done = run_many(root, out)
    finally:
        shutil.rmtree(deep)
    (refused,) = done.comparison.refused
    assert len(done.comparison.sites) == 2
    assert "can not be looked into: File name too long" in refused["faults"]


def test_earlier_surveys_that_can_not_be_looked_into_are_not_taken_for_none(tmp_path, closed):
    root, out = tmp_path / "in", tmp_path / "out"
    survey = write_site(root / "a") / "editions"
    survey.mkdir()
    closed.append(str(survey))
    (refused,) = run_many(root, out).comparison.refused
    assert refused["faults"].startswith("editions: can not be looked into: Permission denied.")
    closed.clear()
    assert not run_many(root, out).comparison.refused
    survey.rmdir()
    survey.write_text("no folder")
    (refused,) = run_many(root, out).comparison.refused
    assert refused["faults"].startswith("editions: is no folder that can be read.")
    survey.unlink()
    assert not run_many(root, out).comparison.refused


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such names")
def test_names_that_would_drive_a_terminal_are_shown_as_they_are_not_obeyed(tmp_path):
    root = tmp_path / "St. Odd [red]"
    write_site(root / "good [bold]")
    write_site(root / "bad\n\x1b[31m\u202e", toml="name = ")
    told = many(root, "--out", tmp_path / "out")
    assert told.output.startswith("1 site worked out, 1 refused: bad··[31m·.\n")
    assert "  refused: bad··[31m·: site.toml" in told.output
    page = (tmp_path / "out" / "index.html").read_text(encoding="utf-8")
    assert "<h1>St. Odd [red]: 2 sites</h1>" in page
    assert "\x1b" not in page
    assert "\\u001b" not in page
    assert "\\u202e" not in page


def test_a_folder_of_somebody_else_is_not_cleared(tmp_path):
    write_site(tmp_path / "in" / "a")
    mine = tmp_path / "out" / "parts" / "my thesis" / "text"
    mine.parent.mkdir(parents=True)
    mine.write_text("years of work")
    for _ in range(2):
        assert many(tmp_path / "in", "--out", tmp_path / "out").exit_code == 0
    assert mine.read_text() == "years of work"


@pytest.mark.parametrize("spoiled", ["*.arrow", "part.json"])
def test_a_part_that_is_cut_off_is_made_again(tmp_path, spoiled):
    write_site(tmp_path / "in" / "a")
    run_many(tmp_path / "in", tmp_path / "out")
    sound = (tmp_path / "out" / "ledger.csv").read_bytes()
    for path in (tmp_path / "out" / "parts").glob(f"*/{spoiled}"):
        path.write_bytes(path.read_bytes()[:40])
    assert run_many(tmp_path / "in", tmp_path / "out").computed == 1
    assert (tmp_path / "out" / "ledger.csv").read_bytes() == sound


def test_results_do_not_go_where_sites_are_read(tmp_path, site_set):
    site = write_site(tmp_path / "site")
    for source, place in ((site, site), (site_set, site_set)):
        end = many(source, "--out", place)
        assert end.exit_code == 1
        assert "holds what was measured" in end.stderr
    end = many(site, "--out", site / "loads.csv")
    assert end.exit_code == 1
    assert "can not be written" in end.stderr


@pytest.mark.parametrize("name", ["surfaces.gpkg", "surfaces.parquet", "all.gpkg"])
@pytest.mark.parametrize("content", [b"", b"SQLite format 3\0", b"PAR1xx", b"text"])
def test_sets_that_are_none(tmp_path, name, content):
    (tmp_path / name).write_bytes(content)
    root = tmp_path / name if name == "all.gpkg" else tmp_path
    with pytest.raises(Refused) as told:
        find_sites(root, tmp_path / "out")
    assert str(told.value).startswith(f"{name}: ")
    assert str(tmp_path) not in str(told.value)


def test_damaged_sets_are_refused_in_words_or_tell_each_site(tmp_path, site_set):
    """Seeded: the same damage in every run."""
    ended = set()
    for round_ in range(25):
        rng = np.random.default_rng(round_)
        root = shutil.copytree(site_set, tmp_path / str(round_))
        path = sorted(root.glob("*.parquet"))[rng.integers(5)]
        data = bytearray(path.read_bytes())
        start = int(rng.integers(len(data)))
        data[start : start + 20] = rng.bytes(int(rng.integers(1, 30)))
        path.write_bytes(bytes(data))
        try:
            done = run_many(root, tmp_path / "out" / str(round_))
        except Refused as problem:
            assert str(problem).replace("\n", "").isprintable()
            assert str(tmp_path) not in str(problem)
            ended.add("refused")
        else:
            assert not done.comparison.failed
            ended.add("done")
    assert ended == {"refused", "done"}


@pytest.mark.parametrize("source", ["folders", "site_set"])
def test_an_error_that_nobody_foresaw_costs_its_site_alone(request, tmp_path, monkeypatch, source):
    """Tried again the next time, as the fault is not one of the data."""
    from geosand.portfolio import folders, site_set

    monkeypatch.delenv("GEOSAND_TRACEBACK")
    read, calls = site_set.assemble, 0

    def fail(*arguments):
        nonlocal calls
        calls += 1
        if calls == 2:
            raise ZeroDivisionError("odd")
        return read(*arguments)

    monkeypatch.setattr(site_set, "read_at_once", lambda *_: {})
    monkeypatch.setattr(folders, "read_folders_at_once", lambda *_: {})
    monkeypatch.setattr(site_set, "assemble", fail)
    monkeypatch.setattr("geosand.formats.site_folder.assemble", fail)
    root = request.getfixturevalue(source)
    done = run_many(root, tmp_path / "out").comparison
    (failed,) = [row for row in done.sites if row["status"] == "failed"]
    assert failed["faults"] == "ZeroDivisionError: odd"
    done = run_many(root, tmp_path / "out")
    assert (done.computed, done.comparison.refused) == (1, [])
