"""Pieces of Parquet files: which hold a site, and that each is read once."""

from __future__ import annotations

import os
import shutil

import numpy as np
import pytest

from geosand.portfolio import parquet_tables
from geosand.portfolio.folders import find_sites
from geosand.portfolio.parquet_tables import parquet_table, pieces_of
from geosand.portfolio.rows_by_site import split_by_site
from tests.portfolio.conftest import SITES, run_many

pa = pytest.importorskip("pyarrow")
pc = pytest.importorskip("pyarrow.compute")
pq = pytest.importorskip("pyarrow.parquet")


@pytest.mark.parametrize("rows", [100, 3])
def test_pieces_are_those_that_hold_a_site(tmp_path, monkeypatch, rows):
    """Held against a look at each, sites in any order, row groups whole or in parts of 3 rows."""
    monkeypatch.setattr(parquet_tables, "rows_at_once", lambda group: rows)
    rng = np.random.default_rng(11)
    path, known = tmp_path / "rows.parquet", [f"s{k}" for k in range(200)]
    schema = pa.schema([("wide", pa.struct([("a", pa.int64())])), ("site", pa.string())])
    parts = []
    with pq.ParquetWriter(path, schema) as writer:
        for _ in range(30):
            begin, size = int(rng.integers(0, 190)), int(rng.integers(1, 9))
            sites = [*rng.permutation(known[begin : begin + size]).tolist(), None]
            parts += [sites[k : k + rows] for k in range(0, len(sites), rows)]
            columns = {"wide": [{"a": 1}] * len(sites), "site": sites}
            writer.write_table(pa.table(columns, schema=schema))
    with pq.ParquetFile(path) as file:
        pieces = pieces_of(file)
    assert np.diff(pieces.begun).tolist() == [len(part) for part in parts]
    assert pieces.without == 30
    for _ in range(50):
        keys = rng.choice(known, int(rng.integers(1, 6)), replace=False).tolist()
        hold = [k for k, part in enumerate(parts) if {*keys} & {*part}]
        assert pieces.that_hold(keys) == hold


@pytest.mark.parametrize("name", ["catches", "dressings", "loads", "sites", "surfaces"])
def test_pieces_are_counted_as_they_are_in_memory(site_set, tmp_path, name):
    """Held against what is read, of long columns: what comes again takes few bytes in files."""
    path, rows = tmp_path / f"{name}.parquet", pq.read_table(site_set / f"{name}.parquet")
    times = 1 if name == "surfaces" else 100_000 // len(rows)  # outlines do not come again
    pq.write_table(pa.concat_tables([rows] * times), path)
    table = parquet_table(path)
    with pq.ParquetFile(path, read_dictionary=list(table.texts)) as file:
        told, read = file.metadata.row_group(0), file.read_row_group(0)
    rows_at_once = parquet_tables.PIECE_BYTES * len(read) / read.nbytes
    assert parquet_tables.rows_at_once(told) == pytest.approx(rows_at_once, rel=0.15)
    assert sum(table.sites()[0].values()) == pytest.approx(read.nbytes, rel=0.15)


def test_a_row_group_that_chunks_share_is_read_once(site_set, tmp_path, monkeypatch):
    root = shutil.copytree(site_set, tmp_path / "set")
    for path in root.glob("*.parquet"):
        pq.write_table(pq.read_table(path), path)
    source, looks, read = find_sites(root, root / "out"), [], pq.ParquetFile.read_row_group

    def counted(self, *arguments, **options):
        looks.append(arguments)
        return read(self, *arguments, **options)

    monkeypatch.setattr(pq.ParquetFile, "read_row_group", counted)
    sites = [one for key in source.keys() for one in source.read([key], {})]  # noqa: SIM118
    assert len(sites) == SITES and not any(one.refused for one in sites)
    assert len(looks) == len(source.tables)


@pytest.fixture
def pieces(monkeypatch):
    """Row groups are read in pieces of a few rows; tells which rows each reading began with."""
    begun, start = [], parquet_tables._LargeGroup._from_start

    def counted(group):
        begun.append(group._table.path.name)
        return start(group)

    monkeypatch.setattr(parquet_tables, "rows_at_once", lambda group: 50)
    monkeypatch.setattr(parquet_tables._LargeGroup, "_from_start", counted)
    yield begun
    for held in (parquet_tables._pieces, parquet_tables._reading):  # the set serves other tests
        held.cache_clear()


@pytest.mark.parametrize("scattered", [False, True])
def test_a_large_row_group_is_read_in_pieces(site_set, tmp_path, pieces, scattered):
    """Many programs write all in one; in any order, of any sites, its rows are those of the file"""
    whole = pq.read_table(site_set / "surfaces.parquet")
    if scattered:
        whole = whole.take(np.random.default_rng(5).permutation(len(whole)))
    path = tmp_path / "surfaces.parquet"
    pq.write_table(whole, path)
    table = parquet_table(path)
    for numbers in ([1, 2], [3], [5, 4], [1, 5], [9], []):
        keys = [f"site-{number:05d}" for number in numbers]
        rows = table.rows_of(keys)
        for place, key in enumerate(keys):
            mine = whole.filter(pc.equal(whole["site"], key))
            found = rows.of(place)
            assert found["id"].to_pylist() == mine["id"].to_pylist()
            assert found["geometry"].to_pylist() == mine["geometry"].to_pylist()
            assert whole.take(pc.subtract(found["row"], 1))["site"].to_pylist() == [key] * len(mine)
    assert whole["site"].to_pylist() != sorted(whole["site"].to_pylist()) or len(pieces) == 2


def test_a_run_reads_the_pieces_of_a_row_group_once_and_its_tables_are_the_same(
    site_set, tmp_path, pieces
):
    root = shutil.copytree(site_set, tmp_path / "set")
    for path in root.glob("*.parquet"):
        pq.write_table(pq.read_table(path), path)
    run_many(root, tmp_path / "a", chunk=1)
    assert sorted(pieces) == [
        f"{name}.parquet" for name in ("catches", "dressings", "loads", "surfaces")
    ]
    run_many(site_set, tmp_path / "b")
    for name in ("areas", "ledger", "balances"):
        one, other = (tmp_path / k / f"{name}.parquet" for k in "ab")
        assert one.read_bytes() == other.read_bytes()


def test_a_file_written_anew_within_a_run_is_read_anew_though_its_time_is_the_old_one(
    site_set, tmp_path
):
    path = tmp_path / "catches.parquet"
    shutil.copy2(site_set / "catches.parquet", path)
    table, rows = parquet_table(path), pq.read_table(path)
    before = table.rows_of(["site-00001"]).table["gross_g"]
    kept = path.stat()
    number = rows.column_names.index("gross_g")
    heavier = pc.add(rows["gross_g"], 1.0)
    pq.write_table(rows.set_column(number, "gross_g", heavier), path)
    os.utime(path, ns=(kept.st_atime_ns, kept.st_mtime_ns))
    after = table.rows_of(["site-00001"]).table["gross_g"]
    assert np.allclose(np.subtract(after, before), 1.0)


@pytest.mark.parametrize("seed", range(4))
def test_rows_are_those_of_the_wanted_sites_in_their_order(seed):
    rng = np.random.default_rng(seed)
    names = np.array([f"s{k}" for k in range(9)])[rng.integers(0, 9, 60)]
    names = np.sort(names) if seed % 2 else names
    table = pa.table({"site": names.tolist(), "number": np.arange(60)})
    for keys in (["s3"], ["s4", "s2", "nowhere"], ["nowhere"], [f"s{k}" for k in range(9)]):
        rows = split_by_site(table, keys, "")
        for number, key in enumerate(keys):
            got = rows.of(number)
            assert got["number"].to_pylist() == np.flatnonzero(names == key).tolist()
            assert set(got["site"].to_pylist()) <= {key}
        assert len(rows.table) == rows.bounds[-1]
