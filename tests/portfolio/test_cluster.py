"""Runs on a cluster."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest
from click.testing import CliRunner

import geosand
from geosand.cli import main
from geosand.errors import Refused
from geosand.portfolio.chunk import Chunk, Options
from geosand.portfolio.folders import find_sites
from geosand.portfolio.run import run
from tests.portfolio import dying
from tests.portfolio.conftest import run_many
from tests.portfolio.test_run import same_files, whole_parts


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
