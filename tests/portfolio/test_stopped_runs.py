"""Runs that are stopped, killed or out of room, and those that follow."""

from __future__ import annotations

import errno
import multiprocessing
import os
import re
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from click.testing import CliRunner

from geosand.cli import main, many
from geosand.portfolio import account, parts
from tests.portfolio import dying
from tests.portfolio.conftest import SITES, run_many
from tests.portfolio.test_run import same_files, whole_parts


def test_no_process_outlives_a_run_that_was_killed(folders, tmp_path):
    """Each process of a run holds its output open, so that the output ends with the last one."""
    lines = (
        "import sys; from pathlib import Path; from tests.portfolio import conftest, dying",
        "asked = {'chunk': 1, 'workers': 2, 'work': dying.never_ends_third}",
        "conftest.run_many(Path(sys.argv[1]), Path(sys.argv[2]), **asked)",
    )
    run = subprocess.Popen(
        [sys.executable, "-c", "\n".join(lines), str(folders), str(tmp_path)],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
    )
    until = time.monotonic() + 120
    while time.monotonic() < until and len(whole_parts(tmp_path)) < SITES - 1:
        time.sleep(0.02)
    run.kill()
    run.communicate(timeout=60)
    assert run.returncode < 0
    assert len(whole_parts(tmp_path)) == SITES - 1
    assert not (tmp_path / "sites.csv").exists()
    assert run_many(folders, tmp_path).kept == SITES - 1
    assert not list((tmp_path / "parts").glob(".part-*"))


def _heard():
    """What a shell has its background jobs ignore ends a process again."""
    for name in ("SIGINT", "SIGTERM", "SIGHUP"):
        signal.signal(getattr(signal, name), signal.SIG_DFL)


@pytest.fixture
def long_run(folders, tmp_path):
    """Starts a run of many chunks in a session of its own; gives it when it has begun."""
    for number in range(20):
        shutil.copytree(folders, tmp_path / "sites" / str(number))
    started = []

    def start(*options):
        out = tmp_path / "out"
        asked = ["-m", "geosand", "many", str(tmp_path / "sites"), "--out", str(out)]
        begun = subprocess.Popen(
            [sys.executable, *asked, "--chunk", "1", *options],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            start_new_session=True,
            preexec_fn=_heard,  # noqa: PLW1509 - it sets signals only
        )
        started.append(begun)
        until = time.monotonic() + 60
        while time.monotonic() < until and not out.exists():
            time.sleep(0.01)
        time.sleep(0.3)
        return begun

    yield start
    for process in started:
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGKILL)


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such signals")
@pytest.mark.parametrize("workers", ["1", "2"])
@pytest.mark.parametrize("by", ["SIGINT", "SIGTERM", "SIGHUP"])
def test_a_run_that_is_stopped_says_one_line(long_run, by, workers):
    """Processes that it has started, or is starting, end with it and say nothing."""
    run = long_run("--workers", workers)
    os.killpg(run.pid, getattr(signal, by))
    out, told = run.communicate(timeout=30)
    kept = "Stopped. What is finished is kept; say the same again to go on.\n"
    assert (out, told, run.returncode) == ("", kept, 128 + getattr(signal, by))


def test_a_stop_that_a_library_passes_over_is_heard_between_chunks(folders, tmp_path, monkeypatch):
    monkeypatch.setattr(many, "STOPS", [15])
    told = CliRunner().invoke(main, ["many", str(folders), "--out", str(tmp_path), "--chunk", "1"])
    assert (told.exit_code, told.stdout) == (128 + 15, "")
    assert told.stderr.startswith("Stopped. What is finished is kept")


def killed_before_it_is_told(monkeypatch, root, out, **settings):
    """A run that is stopped when its first chunk is finished and before it takes it over."""

    def killed(self, done):
        raise dying.Interrupted

    with monkeypatch.context() as patched:
        patched.setattr(parts.Parts, "add", killed)
        with pytest.raises(dying.Interrupted):
            run_many(root, out, **settings)
    for process in multiprocessing.active_children():  # one that was told to end may yet write
        process.join(60)


@pytest.mark.parametrize("workers", [1, 2])
def test_what_a_process_finished_is_kept_though_its_run_never_heard_of_it(
    folders, whole, tmp_path, monkeypatch, workers
):
    killed_before_it_is_told(monkeypatch, folders, tmp_path, chunk=2, workers=workers)
    finished = len(whole_parts(tmp_path))
    assert finished
    done = run_many(folders, tmp_path, chunk=1)
    assert 2 * finished - 1 <= done.kept <= 2 * finished  # the last of the five is alone
    same_files(whole[0], tmp_path)


def test_a_site_that_a_killed_run_finished_has_no_older_map(folders, tmp_path, monkeypatch):
    root, out = shutil.copytree(folders, tmp_path / "sites"), tmp_path / "out"
    page = out / "maps" / "site-00001.html"
    run_many(root, out, maps=True)
    assert "Renamed" not in page.read_text(encoding="utf-8")
    settings = root / "site-00001" / "site.toml"
    text = settings.read_text(encoding="utf-8")
    settings.write_text(re.sub(r'(?m)^name = ".*"$', 'name = "Renamed"', text, count=1))

    def killed(*part):
        parts.stored(*part)
        raise dying.Interrupted

    with monkeypatch.context() as patched:
        patched.setattr(account, "stored", killed)
        with pytest.raises(dying.Interrupted):
            run_many(root, out, maps=True)
    done = run_many(root, out, maps=True)
    assert (done.computed, done.kept) == (0, SITES)
    assert "Renamed" in page.read_text(encoding="utf-8")


def test_a_site_finished_by_a_killed_run_and_then_changed_is_worked_out_anew(
    folders, tmp_path, monkeypatch
):
    root, out = shutil.copytree(folders, tmp_path / "sites"), tmp_path / "out"
    killed_before_it_is_told(monkeypatch, root, out)
    with (root / "site-00002" / "loads.csv").open("a") as file:
        file.write("\n")
    done = run_many(root, out)
    assert (done.computed, done.kept) == (1, SITES - 1)


def test_what_a_killed_run_was_writing_goes_and_other_hidden_files_stay(folders, whole, tmp_path):
    left = (".areas.parquet.k3_x9abc", ".ledger.csv.abcdefgh", "maps/.site-00001.html.abcdefgh")
    others = (".notes.csv", ".areas.parquet", "areas.parquet.abcdefgh", "maps/mine.html")
    (tmp_path / "maps").mkdir()
    for name in (*left, *others):
        (tmp_path / name).write_text("x")
    run_many(folders, tmp_path)
    assert not [name for name in left if (tmp_path / name).exists()]
    assert [name for name in others if (tmp_path / name).exists()] == list(others)
    same_files(whole[0], tmp_path)


def test_a_part_that_a_dying_process_still_moves_does_not_end_the_next_run(
    folders, whole, tmp_path, monkeypatch
):
    """A process of a killed run may put its part in place while the next one lists them."""
    name, listed = ".part-abcdefgh", Path.glob
    (tmp_path / "parts" / name).mkdir(parents=True)

    def moved_meanwhile(folder, pattern):
        found = list(listed(folder, pattern))
        if pattern == "*" and (folder / name).exists():  # not while leftover files are swept
            (folder / name).rename(folder / "0123456789abcdef0123")
        return found

    monkeypatch.setattr(Path, "glob", moved_meanwhile)
    assert run_many(folders, tmp_path).computed == SITES
    same_files(whole[0], tmp_path)
    assert not (tmp_path / "parts" / "0123456789abcdef0123").exists()


def test_a_full_disk_leaves_no_half_of_a_part(folders, whole, tmp_path, monkeypatch):
    def full(path, table):
        path.write_bytes(b"ARROW1")
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(parts, "_write_stream", full)
        with pytest.raises(OSError, match="No space"):
            run_many(folders, tmp_path)
    assert list((tmp_path / "parts").iterdir()) == []
    run_many(folders, tmp_path)
    same_files(whole[0], tmp_path)
