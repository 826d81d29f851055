"""Sites in a few files: GeoPackage as Parquet, editions, files beside the tables."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3

import pytest
from click.testing import CliRunner

from geosand.cli import main
from geosand.portfolio import set_tables
from geosand.portfolio.folders import find_sites
from tests.portfolio.conftest import SITES, run_many
from tests.portfolio.set_changes import changed, refusal

pa = pytest.importorskip("pyarrow")
pc = pytest.importorskip("pyarrow.compute")
pq = pytest.importorskip("pyarrow.parquet")


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


def test_of_surfaces_as_far_behind_the_first_by_name_is_named(site_set, tmp_path):
    """All greens have the estimate of the one that was caught, in whatever order rows stand."""
    root = shutil.copytree(site_set, tmp_path / "set")
    catches = pq.read_table(root / "catches.parquet")
    pq.write_table(catches.filter(pc.equal(catches["surface"], "g1")), root / "catches.parquet")
    sites = pq.read_table(root / "sites.parquet")
    at = sites.column_names.index("targets_mm.green")
    far = sites.set_column(at, "targets_mm.green", pa.array([15.0] * SITES))
    pq.write_table(far, root / "sites.parquet")
    turned = shutil.copytree(root, tmp_path / "turned")
    surfaces = pq.read_table(root / "surfaces.parquet")
    pq.write_table(surfaces.take(list(range(len(surfaces)))[::-1]), turned / "surfaces.parquet")
    one, other = (run_many(r, tmp_path / r.name, as_of="2026-11-20") for r in (root, turned))
    for done in (one, other):
        assert [row["furthest_behind"] for row in done.comparison.sites] == ["g1"] * SITES
    listed = [
        [(row["site"], row["surface"]) for row in done.comparison.under_dressed]
        for done in (one, other)
    ]
    assert listed[0] == listed[1]
    assert len(listed[0]) == 50 < one.comparison.under_dressed_count


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


def test_a_table_without_site_or_a_set_without_settings_is_refused(site_set, tmp_path):
    root = changed(site_set, tmp_path, "loads", lambda table: table.drop_columns(["site"]))
    assert "loads.parquet: there is no column site" in refusal(root)
    shutil.rmtree(root)
    root = shutil.copytree(site_set, tmp_path / "set")
    (root / "sites.parquet").unlink()
    assert "there is no table sites. Add sites.parquet." in refusal(root)


@pytest.mark.parametrize(
    ("table", "names", "told"),
    [
        ("loads", ["Loads.parquet"], "Loads.parquet is"),
        ("loads", ["load.parquet", "loads.csv"], "load.parquet, loads.csv are"),
        ("catches", ["catches.PARQUET"], "catches.PARQUET is"),
        (
            "loads",
            [f"loads_{k}.parquet" for k in range(5)],
            "loads_0.parquet, loads_1.parquet, loads_2.parquet and 2 more are",
        ),
    ],
)
def test_files_that_are_nearly_called_as_a_table_are_told(site_set, tmp_path, table, names, told):
    root = shutil.copytree(site_set, tmp_path / "set")
    content = root.joinpath(f"{table}.parquet").read_bytes()
    root.joinpath(f"{table}.parquet").unlink()
    for name in names:
        root.joinpath(name).write_bytes(content)
    asked = ["many", str(root), "--out", str(tmp_path / "out")]
    text = f"{told} not read; what belongs there is read from {table}.parquet"
    said = " ".join(CliRunner().invoke(main, asked).output.split())
    assert said.startswith(f"{SITES} sites worked out. {text}. ")
    assert f"<li>{text}.</li>" in (tmp_path / "out/index.html").read_text()
    document = json.loads(CliRunner().invoke(main, [*asked, "--json"]).output)
    assert document["not_read"] == [text]


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("loads (2).parquet", ["loads (2).parquet is not read; what belongs there is read from"]),
        ("catches.gpkg", ["catches.gpkg is not read; what belongs there is read from"]),
        ("loads_old.parquet", []),
        ("loading.parquet", []),
        ("loads.md", []),
    ],
)
def test_files_beside_a_table_are_told_where_they_may_be_taken_for_it(
    site_set, tmp_path, name, told
):
    root = shutil.copytree(site_set, tmp_path / "set")
    (root / name).write_bytes(b"x")
    found = find_sites(root, root / "out").not_read()
    assert [text.rpartition(" ")[0] for text in found] == told


def test_a_file_that_is_no_parquet_is_refused(site_set, tmp_path):
    root = shutil.copytree(site_set, tmp_path / "set")
    (root / "loads.parquet").write_bytes(b"load,dressing\n")
    assert refusal(root).startswith("loads.parquet: is no Parquet file")


def test_a_fault_of_the_settings_names_their_row_and_column(site_set, tmp_path):
    """No site of a set has a site.toml."""
    root = shutil.copytree(site_set, tmp_path / "set")
    table = pq.read_table(root / "sites.parquet")
    for name, cells in (
        ("targets_mm.green", ["7,5", "", "", "", "some"]),
        ("season_start", ["2026-03-01"] * 4 + ["March"]),
    ):
        at = table.column_names.index(name)
        table = table.set_column(at, name, pa.array([c or None for c in cells]))
    pq.write_table(table, root / "sites.parquet")
    done = run_many(root, tmp_path / "out")
    told = {row["site"]: row["faults"].splitlines() for row in done.comparison.refused}
    assert list(told) == ["site-00001", "site-00005"]
    assert told["site-00001"][0].startswith("sites.parquet, row 1, targets_mm.green: '7,5' is not")
    places = sorted(line.partition(": ")[0] for line in told["site-00005"])
    assert places == [
        "sites.parquet, row 5, season_start",
        "sites.parquet, row 5, targets_mm.green",
    ]


def test_surfaces_without_a_day_beside_later_ones_are_told_what_to_write(site_set, tmp_path):
    def twice(table):
        days = [None] * len(table), ["2026-07-01"] * len(table)
        return pa.concat_tables(
            [table.append_column("valid_from", pa.array(d, pa.string())) for d in days]
        )

    done = run_many(changed(site_set, tmp_path, "surfaces", twice), tmp_path / "out")
    assert len(done.comparison.refused) == SITES
    told = done.comparison.refused[0]["faults"]
    assert "Say in each row, as those without a day are in force, from which day they hold" in told


def test_rows_that_a_refusal_names_are_those_of_the_file_as_it_is_now(site_set, tmp_path):
    def negative(table):
        gross = table["gross_g"].to_pylist()
        gross[864 * 2 + 5] = 3.0
        return table.set_column(table.column_names.index("gross_g"), "gross_g", pa.array(gross))

    root, out = changed(site_set, tmp_path, "catches", negative), tmp_path / "out"
    run_many(root, out)
    assert run_many(root, out).kept == SITES
    for path in root.glob("*.parquet"):
        table = pq.read_table(path)
        pq.write_table(table.filter(pc.not_equal(table["site"], "site-00001")), path)
    done = run_many(root, out)
    assert (done.computed, done.kept) == (1, SITES - 2)
    assert done.comparison.refused[0]["faults"].startswith("catches.parquet, row 870, gross_g: ")
    assert run_many(root, out).kept == SITES - 1


@pytest.mark.parametrize("names", [["catches"], ["surfaces", "catches"]])
def test_files_written_anew_while_a_run_reads_them_are_told(site_set, tmp_path, monkeypatch, names):
    """Else nobody would know that some sites are of before; the same command puts it right."""
    from click.testing import CliRunner

    from geosand.cli import main
    from geosand.portfolio import account

    root, out = shutil.copytree(site_set, tmp_path / "set"), tmp_path / "out"

    def anew(*arguments, **options):
        for name in names:
            pq.write_table(pq.read_table(root / f"{name}.parquet"), tmp_path / "new")
            os.replace(tmp_path / "new", root / f"{name}.parquet")
        return work_chunk(*arguments, **options)

    work_chunk = account.work_chunk
    command = ["many", str(root), "--out", str(out)]
    monkeypatch.setitem(account.account_portfolio.__kwdefaults__, "work", anew)
    told = CliRunner().invoke(main, command)
    files = " and ".join(f"{name}.parquet" for name in names)
    verb = "were" if len(names) > 1 else "was"
    assert f"{files} {verb} written anew while sites were read: " in told.stdout.replace("\n", " ")
    monkeypatch.undo()
    again = CliRunner().invoke(main, command)
    assert again.exit_code == told.exit_code == 0
    assert "written anew" not in again.stdout
    assert f"{SITES} sites were kept" in again.stdout
