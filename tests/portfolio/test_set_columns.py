"""Columns of a set: row numbers, views, bounds, days, decimals, geometry by any name."""

from __future__ import annotations

import shutil
from decimal import Decimal

import geopandas
import numpy as np
import pytest

from geosand.portfolio.folders import find_sites
from geosand.portfolio.parquet_tables import parquet_table
from geosand.portfolio.rows_by_site import split_by_site
from tests.portfolio.conftest import SITES, run_many
from tests.portfolio.set_changes import changed, refusal

pa = pytest.importorskip("pyarrow")
pq = pytest.importorskip("pyarrow.parquet")


def test_a_column_that_stands_twice_is_refused(site_set, tmp_path):
    def doubled(table):
        return table.append_column("gross_g", table["gross_g"])

    root = changed(site_set, tmp_path, "catches", doubled)
    assert refusal(root) == ("catches.parquet: column 'gross_g' stands twice. Keep one of them.")


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
