"""The same tables however the work is divided, whatever dies, and no work done twice."""

from __future__ import annotations

import shutil

import pytest

from geosand.errors import Refused
from tests.portfolio import dying
from tests.portfolio.conftest import SITES, run_many

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


def test_no_scheduler_is_told(folders, tmp_path):
    pytest.importorskip("distributed")
    with pytest.raises(Refused, match=r"no dask scheduler answers at tcp://127\.0\.0\.1:9"):
        run_many(folders, tmp_path, scheduler="tcp://127.0.0.1:9")
