"""Sites in a few files: GeoPackage as Parquet, editions, and what is refused."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
from decimal import Decimal

import geopandas
import numpy as np
import pytest
from click.testing import CliRunner

from geosand.cli import main
from geosand.errors import Refused
from geosand.portfolio import set_tables
from geosand.portfolio.folders import find_sites
from geosand.portfolio.parquet_tables import parquet_table
from geosand.portfolio.rows_by_site import split_by_site
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


def test_sites_may_be_called_by_numbers(site_set, tmp_path):
    """A register of yards often numbers them; 1 in one table is "1" in another."""
    for kind, tables in (("text", ()), ("numbers", ("sites", "surfaces", "loads", "catches"))):
        root = shutil.copytree(site_set, tmp_path / kind)
        for path in root.glob("*.parquet"):
            table = pq.read_table(path)
            table = table.filter(pc.is_in(table["site"], pa.array(["site-00001", "site-00002"])))
            called = pc.replace_substring(table["site"], "site-0000", "")
            called = called.cast(pa.int32() if path.stem in tables else pa.string())
            at = table.column_names.index("site")
            metadata = table.schema.metadata
            table = table.set_column(at, "site", called).replace_schema_metadata(metadata)
            pq.write_table(table, path)
        assert run_many(root, tmp_path / f"of {kind}").computed == 2
    for name in ("balances", "ledger", "areas"):
        one, other = (
            (tmp_path / f"of {k}" / f"{name}.csv").read_text() for k in ("text", "numbers")
        )
        assert one == other
        assert '\n"2",' in one


@pytest.mark.parametrize(
    "kind",
    [pa.binary(), pa.dictionary(pa.uint8(), pa.string()), pa.dictionary(pa.int8(), pa.binary())],
)
def test_names_of_sites_may_be_stored_in_any_way(site_set, tmp_path, kind):
    """As other programs write texts: plain bytes, or numbers of words without a sign."""

    def stored(table):
        at = table.column_names.index("site")
        words = pa.array(table["site"].to_pylist(), getattr(kind, "value_type", kind))
        names = words.cast(kind) if kind == pa.binary() else words.dictionary_encode().cast(kind)
        return table.set_column(at, "site", names).replace_schema_metadata(table.schema.metadata)

    run_many(site_set, tmp_path / "plain")
    root = changed(site_set, tmp_path, "surfaces", stored)
    run_many(root, tmp_path / "stored")
    for name in ("balances", "areas"):
        ways = [(tmp_path / way / f"{name}.csv").read_text() for way in ("plain", "stored")]
        assert ways[0] == ways[1]
        assert ways[0].count("\n") > 2


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


def test_sites_that_are_named_by_lists_are_refused(site_set, tmp_path):
    def listed(table):
        names = pa.array([[name] for name in table["site"].to_pylist()], pa.list_(pa.string()))
        return table.set_column(table.column_names.index("site"), "site", names)

    told = refusal(changed(site_set, tmp_path, "loads", listed))
    assert told.startswith("loads.parquet, site: is a column of list<")
    assert "allowed: a text or a whole number in each row" in told


@pytest.mark.parametrize("ending", ["parquet", "gpkg"])
def test_a_column_of_row_numbers_is_no_column_of_the_sites(site_set, tmp_path, ending):
    import pandas as pd
    import pyogrio

    root = shutil.copytree(site_set, tmp_path / "set")
    rows = pd.read_parquet(root / "loads.parquet")
    rows["row"] = np.arange(len(rows)) + 7
    if ending == "parquet":
        rows.to_parquet(root / "loads.parquet")
    else:
        (root / "loads.parquet").unlink()
        pyogrio.write_dataframe(rows, root / "loads.gpkg", layer="loads")
    run_many(site_set, tmp_path / "a")
    run_many(root, tmp_path / "b")
    assert (tmp_path / "a/ledger.csv").read_bytes() == (tmp_path / "b/ledger.csv").read_bytes()


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


@pytest.mark.parametrize("number", ["row", "ogc_fid", "id"])
def test_a_geopackage_may_call_the_numbers_of_its_rows_as_it_likes(site_set, tmp_path, number):
    import pandas as pd
    import pyogrio

    root = shutil.copytree(site_set, tmp_path / "set")
    rows = pd.read_parquet(root / "loads.parquet")
    (root / "loads.parquet").unlink()
    options = {"layer": "loads", "layer_options": {"FID": number}}
    pyogrio.write_dataframe(rows, root / "loads.gpkg", **options)
    run_many(site_set, tmp_path / "a")
    run_many(root, tmp_path / "b")
    assert (tmp_path / "a/ledger.csv").read_bytes() == (tmp_path / "b/ledger.csv").read_bytes()


def test_bytes_that_are_no_text_cost_their_site_alone(site_set, tmp_path):
    def spoiled(table):
        names = [name.encode() for name in table["catch"].to_pylist()]
        names[4] = b"\xff\x41"
        column = pa.array(names, pa.binary()).view(pa.string())
        return table.set_column(table.column_names.index("catch"), "catch", column)

    done = run_many(changed(site_set, tmp_path, "catches", spoiled), tmp_path / "out")
    (told,) = done.comparison.refused
    assert "catches.parquet, row 5, catch: '·A' holds bytes that are no UTF-8" in str(told)


@pytest.mark.parametrize("kind", [pa.timestamp("s"), pa.timestamp("us"), pa.date32()])
def test_a_day_that_no_calendar_of_python_has_costs_its_site_alone(site_set, tmp_path, kind):
    def far_off(table):
        days = table["date"].cast(pa.date32()).cast(pa.timestamp("s")).cast(pa.int64()).to_pylist()
        days[0] = 253_402_300_800  # seconds to the year 10000
        dates = pa.array(days, pa.timestamp("s")).cast(kind)
        return table.set_column(table.column_names.index("date"), "date", dates)

    done = run_many(changed(site_set, tmp_path, "dressings", far_off), tmp_path / "out")
    (told,) = done.comparison.refused
    assert "dressings.parquet, row 1, date: '10000-01-01" in str(told)
    assert "is not a date" in str(told)


@pytest.mark.parametrize("texts", [False, True])
def test_catches_without_a_point_lie_where_their_columns_say(site_set, tmp_path, texts):
    """A spreadsheet's rows are added below those of a GIS."""
    import shapely

    def with_points(table):
        points = shapely.to_wkb(shapely.points(*(table[n].to_numpy() for n in ("lon", "lat"))))
        points[[0, 7]] = None
        if texts:
            at = table.column_names.index("lon")
            table = table.set_column(at, "lon", table["lon"].cast(pa.string()))
        return table.append_column("geometry", pa.array(points, pa.binary()))

    root = changed(site_set, tmp_path, "catches", with_points)
    run_many(site_set, tmp_path / "a")
    assert not run_many(root, tmp_path / "b").comparison.refused
    for name in ("balances", "ledger"):
        one, other = ((tmp_path / k / f"{name}.csv").read_bytes() for k in "ab")
        assert one == other


def test_a_geometry_column_of_another_name_is_told_as_that_alone(site_set, tmp_path):
    def renamed(table):
        names = ["geom" if name == "geometry" else name for name in table.column_names]
        return table.rename_columns(names).replace_schema_metadata(None)

    done = run_many(changed(site_set, tmp_path, "surfaces", renamed), tmp_path / "out")
    assert all("has no geometry" in str(told) for told in done.comparison.refused)
    assert not done.unforeseen


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


def test_decimals_are_the_numbers_that_their_digits_say():
    """Python reads each text as the nearest number there is."""
    texts = [f"{k / 10_000:.4f}" for k in range(1, 500_000, 251)]
    exact = pa.array([Decimal(text) for text in texts], pa.decimal128(30, 12))
    table = pa.table({"site": ["a"] * len(texts), "gross_g": exact, "row": range(len(texts))})
    rows = split_by_site(table, ["a"], "").table
    assert rows["gross_g"].to_pylist() == [float(text) for text in texts]


def test_bounds_of_each_shape_are_no_column_of_the_sites(site_set, tmp_path):
    """GeoParquet 1.1 calls them a covering; geopandas and others write them for quick queries.

    Nor is the index that pandas writes of a frame that was sorted.
    """
    root = shutil.copytree(site_set, tmp_path / "set")
    frame = geopandas.read_parquet(root / "surfaces.parquet")
    frame.index = frame.index.tolist()[::-1]
    frame.to_parquet(root / "surfaces.parquet", schema_version="1.1.0", write_covering_bbox=True)
    assert pq.read_schema(root / "surfaces.parquet").names[-2:] == ["__index_level_0__", "bbox"]
    outs = [tmp_path / "plain", tmp_path / "with_bounds"]
    for folder, out in zip((site_set, root), outs, strict=True):
        run_many(folder, out)
    assert outs[0].joinpath("sites.csv").read_bytes() == outs[1].joinpath("sites.csv").read_bytes()
    source = find_sites(root, tmp_path / "out")
    sites = [read.site for read in source.read(source.keys(), {})]
    assert not [f for site in sites for f in site.findings if "is not read" in f.text]


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


def called(names):
    """Sites by number under other names, as a change of a table."""

    def change(table):
        sites = [names.get(site, site) for site in table["site"].to_pylist()]
        return table.set_column(table.column_names.index("site"), "site", pa.array(sites))

    return change


@pytest.mark.parametrize("other", ["Site-00002", "site-00002 ", "\uff53ite-00002"])
def test_a_site_that_one_table_writes_in_another_way_is_named_with_the_one_that_is_meant(
    site_set, tmp_path, other
):
    root = changed(site_set, tmp_path, "loads", called({"site-00002": other}))
    (refused,) = run_many(root, tmp_path / "out").comparison.refused
    assert refused["site"] == other
    assert refused["faults"].splitlines()[0] == (
        f"loads.parquet, site: '{other}' and 'site-00002' differ only in capitals, spaces or the"
        " form of letters. Write both alike, or tell them apart by more than that."
    )


def test_a_name_that_looks_like_another_is_told_while_that_one_is_there(site_set, tmp_path):
    """No row of the refused site changes with the other one."""
    out = tmp_path / "out"
    sets = {name: tmp_path / name for name in ("with", "without")}
    for kept in sets.values():
        kept.mkdir()
    for path in site_set.glob("*.parquet"):
        table = pq.read_table(path)
        twin = table.filter(pc.equal(table["site"], "site-00005"))
        rest = table.filter(pc.not_equal(table["site"], "site-00005"))
        if path.stem == "loads":
            rest = called({"site-00002": "Site-00005"})(rest)
        pq.write_table(rest, sets["without"] / path.name)
        pq.write_table(pa.concat_tables([rest, twin]), sets["with"] / path.name)  # no row moves
    for name in ("without", "with", "without"):
        done = run_many(sets[name], out)
        (refused,) = done.comparison.refused
        assert refused["site"] == "Site-00005"
        assert ("'site-00005' differ only in capitals" in refused["faults"]) == (name == "with")
        assert run_many(sets[name], out).computed == 0


def test_names_with_a_sign_that_ends_texts_are_refused(site_set, tmp_path):
    root = changed(site_set, tmp_path, "loads", called({"site-00002": "site-00001\0"}))
    assert refusal(root) == (
        "loads.parquet, site: 'site-00001·' holds the sign NUL, at which many programs end a text."
        " Write the site's name without it."
    )


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
