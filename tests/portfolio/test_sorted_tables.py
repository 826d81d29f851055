"""Sets whose rows are in any order: sorted once, with the bytes of a set that is in order."""

from __future__ import annotations

import os

import numpy as np
import pytest

from geosand.portfolio import parquet_tables, sorted_tables
from geosand.portfolio.account import account_portfolio
from geosand.portfolio.chunk import Options, work_chunk
from geosand.portfolio.folders import find_sites
from geosand.portfolio.set_tables import stamp
from geosand.portfolio.sorted_tables import in_order, times_read
from tests.portfolio.conftest import SITES, run_many
from tests.portfolio.test_run import same_files

pa = pytest.importorskip("pyarrow")
pq = pytest.importorskip("pyarrow.parquet")

ROWS = 50  #: of a piece


@pytest.fixture
def pieces(monkeypatch):
    """Row groups are read some rows at a time; tells of which table each was."""
    read, start = [], parquet_tables._LargeGroup._from_start

    def counted(group):
        for piece in start(group):
            read.append(group._table.path.stem)
            yield piece

    monkeypatch.setattr(parquet_tables, "rows_at_once", lambda group: ROWS)
    monkeypatch.setattr(parquet_tables._LargeGroup, "_from_start", counted)
    return read


@pytest.fixture(scope="module")
def shuffled(site_set, tmp_path_factory):
    """The set with all rows in any order, and one with the rows of each site as they stand there"""
    root = tmp_path_factory.mktemp("rows")
    rng = np.random.default_rng(9)
    for name in ("any", "sorted"):
        (root / name).mkdir()
    for path in site_set.glob("*.parquet"):
        rows = pq.read_table(path)
        rows = rows.take(pa.array(rng.permutation(len(rows))))
        pq.write_table(rows, root / "any" / path.name)
        order = np.argsort(np.array(rows["site"].to_pylist()), kind="stable")
        pq.write_table(rows.take(pa.array(order)), root / "sorted" / path.name)
    return root


@pytest.mark.parametrize("workers", [1, 2])
def test_rows_in_any_order_are_read_once_and_give_the_same_bytes(
    shuffled, tmp_path, pieces, workers
):
    told = []
    done = run_many(shuffled / "any", tmp_path / "any", chunk=1, workers=workers, tell=told.append)
    assert done.computed == SITES and not done.unforeseen
    names = ("surfaces", "dressings", "loads", "catches")
    assert told == [f"Sorting {name}.parquet by site" for name in names]
    sizes = {name: pq.read_metadata(shuffled / f"any/{name}.parquet").num_rows for name in names}
    assert {name: pieces.count(name) for name in sizes} == {
        name: -(-rows // ROWS) for name, rows in sizes.items()
    }
    run_many(shuffled / "sorted", tmp_path / "sorted", chunk=1)
    same_files(tmp_path / "any", tmp_path / "sorted")
    again = run_many(shuffled / "any", tmp_path / "any", chunk=2)
    assert again.kept == SITES
    assert not list((tmp_path / "any/parts").glob(".*"))


def test_a_cluster_is_sent_rows_that_were_sorted_once(shuffled, tmp_path, recwarn):
    """Its machines may not see the folder in which they were sorted."""
    distributed = pytest.importorskip("distributed")
    told, dask = [], pytest.importorskip("dask")
    with (
        dask.config.set({"distributed.admin.large-graph-warning-threshold": "1kB"}),
        distributed.LocalCluster(n_workers=2, processes=True, dashboard_address=None) as cluster,
    ):
        address = cluster.scheduler_address
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(sorted_tables, "WORTH", 0)
            patch.setattr(sorted_tables, "MOST_FILES", 3)  # some files are of two chunks
            settings = {"chunk": 1, "scheduler": address, "tell": told.append, "work": _sent_rows}
            done = run_many(shuffled / "any", tmp_path / "any", **settings)
    assert done.computed == SITES and not done.unforeseen and not done.comparison.failed
    assert len(told) == 5
    assert not [one for one in recwarn if "large graph" in str(one.message)]
    run_many(shuffled / "sorted", tmp_path / "sorted", chunk=1)
    same_files(tmp_path / "any", tmp_path / "sorted")
    assert not list((tmp_path / "any/parts").glob(".*"))


def _sent_rows(chunk):
    """As a machine works that has none of the files."""
    for table in chunk.source.tables.values():
        object.__setattr__(table.table, "path", table.path.with_name("elsewhere.parquet"))
    return work_chunk(chunk)


def test_a_set_in_order_is_not_sorted(shuffled, tmp_path, pieces):
    told = []
    run_many(shuffled / "sorted", tmp_path, chunk=1, tell=told.append)
    assert not told


@pytest.mark.parametrize("seed", range(3))
def test_how_often_a_file_would_be_read_is_what_is_read(
    shuffled, tmp_path, pieces, monkeypatch, seed
):
    """Row groups whole and in pieces, in and out of order, against what is counted."""
    rng = np.random.default_rng(seed)
    rows = pq.read_table(shuffled / "any/loads.parquet")
    if seed:
        near = np.arange(len(rows)) + rng.normal(0.0, 6.0 * seed, len(rows))
        rows = pq.read_table(shuffled / "sorted/loads.parquet").take(pa.array(np.argsort(near)))
    pq.write_table(rows, tmp_path / "loads.parquet", row_group_size=[1000, 17, 9][seed])
    monkeypatch.setattr(parquet_tables, "rows_at_once", lambda group: [7, 5, 20][seed])
    table = parquet_tables.parquet_table(tmp_path / "loads.parquet")
    whole, read = [], pq.ParquetFile.read_row_group
    keys = sorted(set(rows["site"].to_pylist()))
    told = table.pieces(stamp(table.path))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(
            pq.ParquetFile, "read_row_group", lambda *a, **k: whole.append(a) or read(*a, **k)
        )
        for key in keys:
            table.rows_of([key])
    assert times_read(told, [[key] for key in keys]) == len(pieces) + len(whole)


def test_a_refusal_names_the_rows_of_the_file(shuffled, tmp_path, pieces, monkeypatch):
    root = _changed(shuffled / "any", tmp_path / "set", "loads", "unit_mass_kg", 3, -1.0)
    monkeypatch.setattr(sorted_tables, "MOST_FILES", 2)  # files are of several chunks
    told = []
    done = run_many(root, tmp_path / "a", chunk=1, tell=told.append)
    monkeypatch.setattr(sorted_tables, "WORTH", 1e9)
    plain = run_many(root, tmp_path / "b", chunk=1)
    assert len(told) == 4 and len(done.comparison.refused) == 1
    assert done.comparison.refused == plain.comparison.refused
    assert done.comparison.refused[0]["faults"].startswith("loads.parquet, row 4, ")
    assert done.inputs == plain.inputs
    same_files(tmp_path / "a", tmp_path / "b")


def _changed(source, root, name, column, row, value):
    root.mkdir()
    for path in source.glob("*.parquet"):
        rows = pq.read_table(path)
        if path.stem == name:
            cells = rows[column].to_pylist()
            cells[row] = value
            rows = rows.set_column(rows.column_names.index(column), column, pa.array(cells))
        pq.write_table(rows, root / path.name)
    return root


def test_a_table_that_can_not_be_read_is_told_by_each_site(shuffled, tmp_path, pieces, monkeypatch):
    def spoilt(self, number):
        if self._table.path.stem == "catches":
            raise pa.ArrowInvalid("spoilt")
        return read(self, number)

    read = parquet_tables._Reading.piece
    monkeypatch.setattr(parquet_tables._Reading, "piece", spoilt)
    done = run_many(shuffled / "any", tmp_path, chunk=1)
    told = {row["faults"] for row in done.comparison.refused}
    assert told == {"catches.parquet: can not be read (ArrowInvalid). Write it again."}
    assert len(done.comparison.refused) == SITES


def test_a_table_that_is_written_anew_meanwhile_is_read_as_it_is_then(shuffled, tmp_path, pieces):
    root = _changed(shuffled / "any", tmp_path / "set", "loads", "unit_mass_kg", 0, 0.5)
    source = find_sites(root, tmp_path)
    chunks = [[key] for key in source.keys()]  # noqa: SIM118

    def written_anew(step):
        if step == "Sorting loads.parquet by site":
            path = root / "loads.parquet"
            time = os.stat(path).st_mtime_ns
            pq.write_table(pq.read_table(path), root / "new")
            os.utime(root / "new", ns=(time, time))

    read = parquet_tables.ParquetTable.piece

    def then(self, number, now):
        if self.file == "loads.parquet" and (root / "new").exists():
            os.replace(root / "new", root / "loads.parquet")
        return read(self, number, now)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(parquet_tables.ParquetTable, "piece", then)
        with in_order(source, chunks, tmp_path / "parts", written_anew) as ordered:
            sorted_ones = {
                name
                for name, table in ordered.tables.items()
                if isinstance(table, sorted_tables.SortedTable)
            }
    assert sorted_ones == {"surfaces", "dressings", "catches"}


@pytest.mark.parametrize("problem", [OSError(28, "No space left on device"), KeyboardInterrupt()])
def test_a_run_that_ends_while_it_sorts_leaves_nothing(
    shuffled, tmp_path, pieces, monkeypatch, problem
):
    def ended(*arguments):
        raise problem

    monkeypatch.setattr(sorted_tables, "_written_out", ended)
    source = find_sites(shuffled / "any", tmp_path)
    with pytest.raises(type(problem)):
        account_portfolio(source, tmp_path, Options(), chunk=1)
    assert not list((tmp_path / "parts").iterdir())
