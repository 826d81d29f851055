"""The same tables however the work is divided, whatever dies, and no work done twice."""

from __future__ import annotations

import errno
import json
import os
import shutil
import subprocess
import sys

import pytest
from click.testing import CliRunner

from geosand.cli import main
from geosand.portfolio import parts
from geosand.portfolio.chunk import work_chunk
from geosand.portfolio.folders import find_sites
from tests.portfolio import dying
from tests.portfolio.conftest import SITES, run_many

pq = pytest.importorskip("pyarrow.parquet")
FILES = [f"{name}.{end}" for name in ("sites", "balances", "ledger", "areas", "spreaders")
         for end in ("parquet", "csv")]  # fmt: skip


def same_files(one, other):
    for name in FILES:
        assert (one / name).read_bytes() == (other / name).read_bytes(), name


@pytest.mark.parametrize(("chunk", "workers"), [(1, 1), (2, 1), (2, 2)])
def test_tables_are_the_same_bytes_for_any_chunks_and_workers(
    folders, whole, tmp_path, chunk, workers
):
    done = run_many(folders, tmp_path, chunk=chunk, workers=workers)
    assert done.computed == SITES
    same_files(whole[0], tmp_path)


@pytest.mark.parametrize("source", ["folders", "site_set"])
def test_chunks_of_large_sites_are_of_few(request, source, tmp_path, monkeypatch):
    """Held against the files: as many sites a chunk as their bytes allow."""
    root, asked = request.getfixturevalue(source), []
    told = find_sites(root, tmp_path).as_they_stand()
    assert list(told) == [f"site-{k + 1:05d}" for k in range(SITES)]
    if source == "folders":
        large = ("surfaces.geojson", "catches.csv")
        sizes = [sum((root / key / name).stat().st_size for name in large) for key in told]
        assert list(told.values()) == sizes
    monkeypatch.setattr("geosand.portfolio.run.CHUNK_BYTES", 2.5 * max(told.values()))

    def noted(chunk):
        asked.append(list(chunk.keys))
        return work_chunk(chunk)

    run_many(root, tmp_path, work=noted)
    keys = list(told)
    assert asked == [keys[:2], keys[2:4], keys[4:]]


@pytest.mark.parametrize("name", ["catches.geojson", "records.xlsx"])
def test_sites_whose_catches_stand_in_another_file_are_as_large(folders, tmp_path, name):
    root = shutil.copytree(folders, tmp_path / "sites")
    before = find_sites(root, tmp_path / "out").as_they_stand()
    moved = (root / "site-00001/catches.csv").rename(root / "site-00001" / name)
    assert moved.stat().st_size > 10_000
    assert find_sites(root, tmp_path / "out").as_they_stand() == before


def test_large_sites_have_row_groups_of_their_own(folders, whole, tmp_path, monkeypatch):
    monkeypatch.setattr(parts, "BATCH_ROWS", 200)
    run_many(folders, tmp_path)
    for name, rows in (("areas", 144), ("balances", 60), ("sites", 5)):
        told = pq.read_metadata(tmp_path / f"{name}.parquet")
        sizes = [told.row_group(k).num_rows for k in range(told.num_row_groups)]
        assert sizes[0] == rows and sum(sizes) == told.num_rows
        assert (tmp_path / f"{name}.csv").read_bytes() == (whole[0] / f"{name}.csv").read_bytes()


def test_a_process_that_dies_once_costs_nothing(folders, whole, tmp_path, monkeypatch):
    monkeypatch.setenv(dying.FLAG, str(tmp_path / "died"))
    done = run_many(folders, tmp_path / "out", chunk=2, workers=2, work=dying.dies_once)
    assert (tmp_path / "died").exists()
    assert not done.comparison.failed
    same_files(whole[0], tmp_path / "out")


def test_a_site_that_always_ends_its_process_is_told_and_the_others_are_done(folders, tmp_path):
    done = run_many(folders, tmp_path, chunk=2, workers=2, work=dying.always_dies)
    (failed,) = done.comparison.failed
    assert failed["site"] == dying.DEADLY
    assert failed["faults"] == "the process that worked on it died, twice: out of memory?"
    again = run_many(folders, tmp_path, chunk=2)
    assert (again.computed, again.kept) == (1, SITES - 1)
    assert not again.comparison.failed


def test_an_interrupted_run_goes_on_where_it_stopped(folders, whole, tmp_path):
    with pytest.raises(dying.Interrupted):
        run_many(folders, tmp_path, chunk=1, work=dying.stops_at_third)
    assert not (tmp_path / "sites.csv").exists()
    done = run_many(folders, tmp_path, chunk=2)
    assert (done.computed, done.kept) == (SITES - 2, 2)
    same_files(whole[0], tmp_path)


def test_nothing_is_worked_out_twice_and_a_changed_site_is_anew(folders, whole, tmp_path):
    root, out = shutil.copytree(folders, tmp_path / "sites"), tmp_path / "out"
    first = run_many(root, out)
    assert run_many(root, out, work=dying.never_called).kept == SITES
    loads = root / "site-00002" / "loads.csv"
    loads.write_text(loads.read_text().replace(",25.0,", ",30.0,"))
    done = run_many(root, out)
    assert (done.computed, done.kept) == (1, SITES - 1)
    before, after = (d.comparison.sites for d in (first, done))
    changed = [a["site"] for a, b in zip(before, after, strict=True) if a != b]
    assert changed == ["site-00002"]
    assert after[1]["spread_kg"] == pytest.approx(before[1]["spread_kg"] * 1.2)


def test_another_day_of_account_is_another_run(folders, tmp_path):
    run_many(folders, tmp_path)
    done = run_many(folders, tmp_path, as_of="2026-06-30")
    assert done.computed == SITES
    assert {row["dressings"] for row in done.comparison.sites} == {6}


def test_sites_that_are_gone_leave_the_tables(folders, tmp_path):
    root, out = shutil.copytree(folders, tmp_path / "sites"), tmp_path / "out"
    run_many(root, out)
    shutil.rmtree(root / "site-00004")
    done = run_many(root, out)
    assert (done.computed, done.kept) == (0, SITES - 1)
    assert "site-00004" not in (out / "balances.csv").read_text()


def test_a_part_that_was_cut_short_is_not_trusted(folders, whole, tmp_path):
    run_many(folders, tmp_path, chunk=2)
    part = sorted((tmp_path / "parts").iterdir())[0]
    (part / "part.json").write_text('{"options": ')
    done = run_many(folders, tmp_path)
    assert 0 < done.computed < SITES
    same_files(whole[0], tmp_path)


def test_a_set_of_files_gives_the_figures_of_the_folders(site_set, whole, tmp_path):
    done = run_many(site_set, tmp_path, chunk=2)
    assert done.computed == SITES
    for ours, theirs in zip(done.comparison.sites, whole[1].comparison.sites, strict=True):
        different = {k for k in ours if ours[k] != theirs[k]}
        assert different <= {"findings"}


def test_pandas_is_not_loaded_and_a_frame_can_be_had_all_the_same(site_set, tmp_path):
    lines = (
        "import sys; from geosand.cli import main",
        "main(sys.argv[1:], standalone_mode=False)",
        "assert 'pandas' not in sys.modules, 'a third of the time of a small run'",
        "import pyarrow.parquet as pq; areas = pq.read_table(sys.argv[4] + '/areas.parquet')",
        "frame = areas.to_pandas()",
        "assert frame.area_m2.sum() > 0 and frame.geometry.notna().all()",
    )
    asked = ("many", str(site_set), "--out", str(tmp_path))
    ran = subprocess.run(
        [sys.executable, "-c", "\n".join(lines), *asked],
        check=False,
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert ran.returncode == 0, ran.stderr


def whole_parts(out):
    """Parts in their places."""
    return [path for path in out.glob("parts/*") if not path.name.startswith(".")]


@pytest.mark.parametrize("at_once", ["read_at_once", "folders_at_once"])
def test_a_run_says_that_an_error_in_here_made_it_slow(
    folders, site_set, whole, tmp_path, monkeypatch, at_once
):
    def wrong(*_, **__):
        raise ZeroDivisionError("wrong here")

    root = site_set if at_once == "read_at_once" else folders
    monkeypatch.setattr(f"geosand.portfolio.{at_once}._raw_sites", wrong)
    monkeypatch.delenv("GEOSAND_TRACEBACK")
    done = run_many(root, tmp_path / "out", chunk=2)
    assert (done.computed, dict(done.unforeseen)) == (SITES, {"ZeroDivisionError": SITES})
    assert not done.comparison.refused and not done.comparison.failed
    assert whole[1].unforeseen == {}
    asked = ["many", str(root), "--out", str(tmp_path / "told")]
    told = " ".join(CliRunner().invoke(main, asked).output.split())
    assert (
        "5 sites were read one by one, which is slow: reading many at once met an error that was"
        " not foreseen (ZeroDivisionError). The results are the same. Please report it;"
        " GEOSAND_TRACEBACK=1 before the command shows where."
    ) in told
    again = CliRunner().invoke(main, asked)  # they are kept
    assert "one by one" not in again.output
    shutil.rmtree(tmp_path / "told")
    document = json.loads(CliRunner().invoke(main, [*asked, "--json"]).output)
    assert document["read_one_by_one"] == {"ZeroDivisionError": SITES}


def test_the_inputs_are_named_by_what_they_hold(folders, tmp_path):
    root, out = shutil.copytree(folders, tmp_path / "sites"), tmp_path / "out"
    before = run_many(root, out).inputs
    with (root / "site-00002" / "loads.csv").open("a") as file:
        file.write("\n")
    after = run_many(root, out).inputs
    assert list(before) == list(after) == [f"site-{k + 1:05d}" for k in range(SITES)]
    assert all(len(mark) == 64 for mark in after.values())
    assert [key for key in before if before[key] != after[key]] == ["site-00002"]


def test_a_system_where_processes_share_no_locks_is_told(folders, tmp_path, monkeypatch):
    """Read-only ones, and those without /dev/shm; else the results' folder is called read-only."""

    def none(*args, **named):
        raise OSError(errno.EROFS, os.strerror(errno.EROFS))

    monkeypatch.setattr("multiprocessing.synchronize.SemLock.__init__", none)
    asked = ["many", str(folders), "--out", str(tmp_path / "out"), "--workers", "2"]
    end = CliRunner().invoke(main, asked)
    assert end.exit_code == 1
    assert end.stderr == (
        "The data were refused: 1 thing is wrong.\n  - --workers: processes can not share locks on"
        " this system: [Errno 30] Read-only file system. Leave it out: one process does the same"
        " work.\n"
    )
