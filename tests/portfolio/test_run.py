"""The same tables however the work is divided, whatever dies, and no work done twice."""

from __future__ import annotations

import errno
import json
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

import geosand
from geosand.cli import main
from geosand.errors import Refused
from geosand.portfolio import account, parts
from geosand.portfolio.chunk import Chunk, Options, work_chunk
from geosand.portfolio.folders import find_sites
from geosand.portfolio.run import run
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


def test_a_cluster_gives_the_same_tables_though_a_worker_dies(
    folders, whole, tmp_path, monkeypatch
):
    distributed = pytest.importorskip("distributed")
    monkeypatch.setenv(dying.FLAG, str(tmp_path / "died"))
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
    ) as cluster:
        address = cluster.scheduler_address
        done = run_many(folders, tmp_path / "out", chunk=1, scheduler=address, work=dying.dies_once)
    assert (tmp_path / "died").exists()
    assert not done.comparison.failed
    same_files(whole[0], tmp_path / "out")


def test_a_cluster_gets_its_workers_late_or_not_at_all(folders, whole, tmp_path, monkeypatch):
    """It may wait for machines itself: that is said, and only after long it is given up."""
    distributed = pytest.importorskip("distributed")
    monkeypatch.setattr("geosand.portfolio.cluster.LOOK_S", 0.2)
    told = []
    with distributed.LocalCluster(
        n_workers=0, threads_per_worker=1, processes=False, dashboard_address=None
    ) as cluster:

        def comes_late(step):
            if not told:
                cluster.scale(2)
            told.append(step)

        address = cluster.scheduler_address
        run_many(folders, tmp_path / "out", chunk=1, scheduler=address, tell=comes_late)
        assert set(told) == {"Waiting for a worker of the cluster"}
        same_files(whole[0], tmp_path / "out")
        cluster.scale(0)
        with distributed.Client(cluster) as client:
            while client.nthreads():
                time.sleep(0.05)
        monkeypatch.setattr("geosand.portfolio.cluster.PATIENCE_S", 0.5)
        with pytest.raises(Refused) as refused:
            run_many(folders, tmp_path / "none", scheduler=address)
    assert str(refused.value) == (
        "--scheduler: no worker was there for 0 minutes. Start some with dask worker and repeat the"
        " command: what is finished is kept."
    )


def test_a_cluster_that_is_lost_is_told_in_words_and_the_next_run_goes_on(
    folders, whole, tmp_path, caplog
):
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, processes=False, dashboard_address=None
    ) as cluster:
        address = cluster.scheduler_address

        def lost(done, total):
            if done == 2:
                cluster.close()

        with pytest.raises(
            Refused, match=r"^--scheduler: the cluster is lost: \w+\. Start it again"
        ):
            run_many(folders, tmp_path, chunk=1, scheduler=address, progress=lost)
    assert not [r for r in caplog.records if r.name == "distributed.client"]
    assert len(whole_parts(tmp_path)) == 2
    assert run_many(folders, tmp_path, chunk=1).kept == 2
    same_files(whole[0], tmp_path)


@pytest.fixture
def other_worker(tmp_path):
    """Starts a worker of a scheduler in a process of its own that finds another geosand."""
    home = tmp_path / "other"
    shutil.copytree(Path(geosand.__file__).parent, home / "geosand")
    (home / "geosand/__init__.py").write_text('__version__ = "0.0.9"\n')
    started = []

    def start(address):
        asked = ["-m", "distributed.cli.dask_worker", address, "--no-nanny", "--no-dashboard"]
        environment = os.environ | {"PYTHONPATH": str(home)}
        started.append(
            subprocess.Popen(
                [sys.executable, *asked], cwd=home, env=environment, stderr=subprocess.DEVNULL
            )
        )

    yield start
    for process in started:
        process.kill()
        process.wait()


OTHER = (
    r"--scheduler: worker tcp://[\d.:]+ has geosand 0\.0\.9; allowed: geosand \d+\.\d+\.\d+, as"
    r" here\. Install it there and repeat the command: what is finished is kept\."
)


def test_workers_with_another_version_are_refused(folders, tmp_path, other_worker):
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(n_workers=0, dashboard_address=None) as cluster:
        other_worker(cluster.scheduler_address)
        with distributed.Client(cluster) as client:
            client.wait_for_workers(1, timeout=60)
        with pytest.raises(Refused, match=OTHER):
            run_many(folders, tmp_path / "out", scheduler=cluster.scheduler_address)
    assert not (tmp_path / "out/sites.csv").exists()


def test_a_worker_with_another_version_that_joins_later_is_refused(folders, tmp_path, other_worker):
    """None is there when the run begins; the first job is only made when versions were compared."""
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(n_workers=0, dashboard_address=None) as cluster:

        def jobs():
            other_worker(cluster.scheduler_address)
            source = find_sites(folders, tmp_path / "out")
            yield Chunk(source=source, keys=source.keys()[:1], known={}, options=Options())

        with pytest.raises(Refused, match=OTHER):
            list(run(jobs(), scheduler=cluster.scheduler_address))


def test_a_cluster_beside_processes_of_this_machine_is_wrong_usage(folders, tmp_path):
    asked = ["many", str(folders), "--out", str(tmp_path / "out"), "--scheduler", "tcp://x:1"]
    end = CliRunner().invoke(main, [*asked, "--workers", "1"])
    assert end.exit_code == 2
    assert "--scheduler has the cluster's workers: leave out --workers" in end.output
    assert not (tmp_path / "out").exists()


def test_no_scheduler_is_told(folders, tmp_path):
    pytest.importorskip("distributed")
    with pytest.raises(Refused, match=r"no dask scheduler answers at tcp://127\.0\.0\.1:9"):
        run_many(folders, tmp_path, scheduler="tcp://127.0.0.1:9")


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


def whole_parts(out):
    """Parts in their places."""
    return [path for path in out.glob("parts/*") if not path.name.startswith(".")]


def killed_before_it_is_told(monkeypatch, root, out, **settings):
    """A run that is stopped when its first chunk is finished and before it takes it over."""

    def killed(self, done):
        raise dying.Interrupted

    with monkeypatch.context() as patched:
        patched.setattr(parts.Parts, "add", killed)
        with pytest.raises(dying.Interrupted):
            run_many(root, out, **settings)


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
