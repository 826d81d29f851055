"""Sites in a few files: GeoPackage as Parquet, editions, and what is refused."""

from __future__ import annotations

import os
import shutil
import sqlite3

import numpy as np
import pytest

from geosand.errors import Refused
from geosand.portfolio import set_tables
from geosand.portfolio.parquet_tables import parquet_table, row_groups
from geosand.portfolio.rows_by_site import split_by_site
from geosand.portfolio.sources import find_sites
from tests.portfolio.conftest import SITES, run_many

pa = pytest.importorskip("pyarrow")
pc = pytest.importorskip("pyarrow.compute")
pq = pytest.importorskip("pyarrow.parquet")


def changed(site_set, tmp_path, name, change):
    """A copy of the set with one table changed."""
    root = shutil.copytree(site_set, tmp_path / "set")
    path = root / f"{name}.parquet"
    pq.write_table(change(pq.read_table(path)), path)
    return root


def refusal(root):
    with pytest.raises(Refused) as told:
        find_sites(root, root / "out")
    return str(told.value)


def test_a_geopackage_gives_the_same_tables(site_set, tmp_path):
    import geopandas
    import pandas as pd
    import pyogrio

    path = tmp_path / "sites.gpkg"
    for name in ("sites", "dressings", "loads"):
        layer = name.upper() if name == "loads" else name  # capitals are no other name in SQL
        pyogrio.write_dataframe(pd.read_parquet(site_set / f"{name}.parquet"), path, layer=layer)
    geopandas.read_parquet(site_set / "surfaces.parquet").to_file(path, layer="surfaces")
    catches = pd.read_parquet(site_set / "catches.parquet")
    points = geopandas.points_from_xy(catches.pop("lon"), catches.pop("lat"), crs="OGC:CRS84")
    geopandas.GeoDataFrame(catches, geometry=points).to_file(path, layer="catches")
    first = run_many(site_set, tmp_path / "a")
    second = run_many(path, tmp_path / "b", chunk=2)
    assert second.computed == SITES
    for name in ("balances", "ledger", "areas"):
        one, other = ((tmp_path / k / f"{name}.csv").read_text() for k in "ab")
        assert one == other
    assert not first.comparison.refused


@pytest.mark.parametrize("numbered", [True, False])
def test_rows_of_a_layer_are_found_by_their_numbers(site_set, tmp_path, monkeypatch, numbered):
    """In any order, of some at a time, and also where a view has no numbers; no site twice."""
    import pandas as pd
    import pyogrio

    path, monkey = tmp_path / "rows.gpkg", monkeypatch.setattr
    monkey(set_tables, "ROWS_ASKED", 7)
    loads = pd.read_parquet(site_set / "loads.parquet").sample(frac=1.0, random_state=3)
    pyogrio.write_dataframe(loads, path, layer="loads")
    if not numbered:
        with sqlite3.connect(path) as database:
            database.execute("ALTER TABLE loads RENAME TO kept")
            database.execute(f"CREATE VIEW loads AS SELECT {', '.join(loads.columns)} FROM kept")
    table = set_tables.geopackage_layers(path, ("loads",))["loads"]
    assert bool(table.number) is numbered
    asked = []
    read = type(table)._read
    monkey(type(table), "_read", lambda self, **o: asked.append(o) or read(self, **o))
    keys = [f"site-{k:05d}" for k in (4, 99, 1)]
    for _ in range(2):
        rows = table.rows_of(keys)
        for number, key in enumerate(keys):
            mine = loads[loads["site"] == key].drop(columns="site").reset_index(drop=True)
            found = rows.of(number).drop_columns(["site", "row"]).to_pandas()
            assert found.equals(mine[found.columns])
            assert found.shape == mine.shape
    # the column site of all rows is read once and not for each chunk
    assert sum(o.get("columns") == ["site"] for o in asked) == int(numbered)


def test_rows_out_of_order_are_found_all_the_same(site_set, tmp_path):
    order = lambda table: table.take(list(range(len(table)))[::-1])  # noqa: E731
    root = changed(site_set, tmp_path, "loads", order)
    run_many(site_set, tmp_path / "a")
    run_many(root, tmp_path / "b", chunk=1)
    assert (tmp_path / "a/ledger.csv").read_bytes() == (tmp_path / "b/ledger.csv").read_bytes()


def test_a_fault_names_file_row_and_column(site_set, tmp_path):
    def negative(table):
        import pyarrow as pa

        gross = table["gross_g"].to_pylist()
        gross[864 * 2 + 5] = 3.0  # of the third site: less than its tare of 50 g
        place = table.column_names.index("gross_g")
        return table.set_column(place, "gross_g", pa.array(gross))

    done = run_many(changed(site_set, tmp_path, "catches", negative), tmp_path / "out")
    (refused,) = done.comparison.refused
    assert refused["site"] == "site-00003"
    assert refused["faults"].startswith("catches.parquet, row 1734, gross_g: ")


def test_boundary_editions_stand_in_one_file(site_set, tmp_path):
    def twice(table):
        import pyarrow as pa

        days = pa.array(["2026-01-01"] * len(table)), pa.array(["2026-07-01"] * len(table))
        both = [table.append_column("valid_from", column) for column in days]
        return pa.concat_tables(both)

    root = changed(site_set, tmp_path, "surfaces", twice)
    source = find_sites(root, tmp_path / "out")
    site = next(iter(source.read(source.keys()[:1], {}))).site
    assert len(site.surfaces) == 144
    assert site.dressings.edition.tolist() == [0] * 6 + [1] * 6


def test_rows_without_a_site_are_refused(site_set, tmp_path):
    def emptied(table):
        import pyarrow as pa

        sites = [None, " ", *table["site"].to_pylist()[2:]]
        return table.set_column(0, "site", pa.array(sites))

    assert refusal(changed(site_set, tmp_path, "catches", emptied)) == (
        "catches.parquet, site: 2 rows name no site. Write in each row which site it is of."
    )


def test_a_table_without_site_or_a_set_without_settings_is_refused(site_set, tmp_path):
    root = changed(site_set, tmp_path, "loads", lambda table: table.drop_columns(["site"]))
    assert "loads.parquet: there is no column site" in refusal(root)
    shutil.rmtree(root)
    root = shutil.copytree(site_set, tmp_path / "set")
    (root / "sites.parquet").unlink()
    assert "there is no table sites. Add sites.parquet." in refusal(root)


def test_a_column_that_stands_twice_is_refused(site_set, tmp_path):
    def doubled(table):
        return table.append_column("gross_g", table["gross_g"])

    root = changed(site_set, tmp_path, "catches", doubled)
    assert refusal(root) == ("catches.parquet: column 'gross_g' stands twice. Keep one of them.")


def test_columns_of_views_are_read_as_any_text(site_set, tmp_path):
    def as_views(table):
        for k, field in enumerate(table.schema):
            if field.type == pa.string():
                view = table.column(k).cast(pa.string_view())
                table = table.set_column(k, field.with_type(pa.string_view()), view)
        return table

    root = changed(site_set, tmp_path, "dressings", as_views)
    assert pq.read_schema(root / "dressings.parquet").field("surfaces").type == pa.string_view()
    run_many(site_set, tmp_path / "a")
    run_many(root, tmp_path / "b")
    assert (tmp_path / "a/ledger.csv").read_bytes() == (tmp_path / "b/ledger.csv").read_bytes()


def test_projected_coordinates_are_refused(site_set, tmp_path):
    import geopandas

    root = shutil.copytree(site_set, tmp_path / "set")
    path = root / "surfaces.parquet"
    geopandas.read_parquet(path).to_crs(3857).to_parquet(path)
    assert refusal(root) == (
        "surfaces.parquet: its coordinates are in EPSG:3857; allowed: longitude, latitude in WGS 84"
        " (OGC:CRS84, EPSG:4326). Write it in WGS 84."
    )


def test_a_file_that_is_no_parquet_is_refused(site_set, tmp_path):
    root = shutil.copytree(site_set, tmp_path / "set")
    (root / "loads.parquet").write_bytes(b"load,dressing\n")
    assert refusal(root).startswith("loads.parquet: is no Parquet file")


def test_row_groups_are_those_whose_statistics_may_hold_a_site(tmp_path):
    """Held against asking each group, sites in any order and one group without statistics."""
    rng = np.random.default_rng(11)
    path, known = tmp_path / "rows.parquet", [f"s{k:03d}" for k in range(200)]
    schema = pa.schema([("wide", pa.struct([("a", pa.int64())])), ("site", pa.string())])
    spans = []
    with pq.ParquetWriter(path, schema) as writer:
        for _ in range(30):
            begin, size = int(rng.integers(0, 190)), int(rng.integers(1, 9))
            sites = rng.permutation(known[begin : begin + size]).tolist()
            spans.append((min(sites), max(sites)))
            columns = {"wide": [{"a": 1}] * len(sites), "site": sites}
            writer.write_table(pa.table(columns, schema=schema))
        writer.write_table(pa.table({"wide": [{"a": 1}], "site": [None]}, schema=schema))
    with pq.ParquetFile(path) as file:
        groups = row_groups(file)
        assert groups.begun[-1] == file.metadata.num_rows
    for _ in range(50):
        keys = rng.choice(known, int(rng.integers(1, 6)), replace=False).tolist()
        may = [k for k, (low, high) in enumerate(spans) if any(low <= key <= high for key in keys)]
        assert groups.that_may_hold(keys) == [*may, len(spans)]


def test_days_with_nanoseconds_are_days(site_set, tmp_path):
    """Python knows no nanoseconds, and only pandas could tell such a cell."""
    root = shutil.copytree(site_set, tmp_path / "set")
    table = pq.read_table(root / "dressings.parquet")
    days = np.array(table["date"].to_pylist(), dtype="datetime64[ns]") + np.timedelta64(1, "ns")
    place = table.column_names.index("date")
    pq.write_table(table.set_column(place, "date", pa.array(days)), root / "dressings.parquet")
    rows = parquet_table(root / "dressings.parquet").rows_of(["site-00001"])
    assert rows.table.schema.field("date").type == pa.timestamp("us")
    done = run_many(root, tmp_path / "out")
    assert not done.comparison.refused
    assert [r["dressings"] for r in done.comparison.sites] == [12] * SITES


def test_decimals_and_days_with_a_time_zone_are_what_they_say(site_set, tmp_path):
    """As databases write them: numbers of a fixed scale, days as moments."""
    root, plain = shutil.copytree(site_set, tmp_path / "set"), tmp_path / "plain"
    surfaces = pq.read_table(root / "surfaces.parquet")
    day = np.full(len(surfaces), "2026-03-01", dtype="datetime64[D]")
    moments = pa.array(day).cast(pa.timestamp("us")).cast(pa.timestamp("us", "UTC"))
    pq.write_table(surfaces.append_column("valid_from", moments), root / "surfaces.parquet")
    shutil.copytree(root, plain)
    changed = 0
    for name in ("sites", "loads"):
        table = pq.read_table(root / f"{name}.parquet")
        for k, field in enumerate(table.schema):
            if pa.types.is_floating(field.type):
                exact = table.column(k).cast(pa.decimal128(24, 12))
                exact = exact.combine_chunks().dictionary_encode() if k % 2 else exact
                table, changed = table.set_column(k, field.name, exact), changed + 1
        pq.write_table(table, root / f"{name}.parquet")
    assert changed > 10
    done = run_many(root, tmp_path / "out")
    assert not done.comparison.refused and not done.unforeseen
    run_many(plain, tmp_path / "out_plain")
    for name in ("sites.csv", "balances.csv", "ledger.csv"):
        assert (tmp_path / "out" / name).read_bytes() == (
            tmp_path / "out_plain" / name
        ).read_bytes()


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
