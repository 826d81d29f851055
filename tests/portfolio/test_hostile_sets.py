"""Sets whose tables are not what they seem, and refused runs that leave nothing."""

from __future__ import annotations

import os
import shutil
import struct

import numpy as np
import pyarrow as pa
import pyarrow.parquet
import pytest
import shapely
from click.testing import CliRunner

from geosand.cli import main
from geosand.errors import Refused
from geosand.portfolio.folders import find_sites
from tests.portfolio.conftest import run_many


@pytest.mark.parametrize("table", ["surfaces", "catches", "deliveries"])
@pytest.mark.parametrize("made", ["folder", "link", "pipe"])
def test_a_table_that_is_no_file_is_refused_and_not_taken_for_none(site_set, tmp_path, table, made):
    """Programs that work in parts write a folder of that name."""
    root = shutil.copytree(site_set, tmp_path / "set")
    path = root / f"{table}.parquet"
    path.unlink(missing_ok=True)
    if made == "folder":
        path.mkdir()
        shutil.copy(site_set / "loads.parquet", path / "part-0.parquet")
    elif made == "link":
        path.symlink_to(root / "nowhere")
    else:
        os.mkfifo(path)
    with pytest.raises(Refused) as told:
        find_sites(root, tmp_path / "out")
    what = "is a folder" if made == "folder" else "is no file that can be read"
    assert str(told.value) == (
        f"{table}.parquet: {what}. Write the table as one file of this name."
    )


@pytest.fixture
def with_points(site_set, tmp_path):
    """The set with a point for each catch, and its columns lon and lat moved by so many degrees."""

    def made(degrees, kind=None):
        root = shutil.copytree(site_set, tmp_path / "set")
        table = pa.parquet.read_table(root / "catches.parquet")
        if "lon" in table.column_names:
            lon, lat = (table[name].to_numpy().astype(float) for name in ("lon", "lat"))
        else:
            lon, lat = shapely.get_coordinates(shapely.from_wkb(table["geometry"].to_numpy())).T
            table = table.drop_columns(["geometry"])
        points = shapely.to_wkb(shapely.points(lon, lat))
        columns = {"lon": lon + degrees, "lat": lat}
        for name, values in columns.items():
            if name in table.column_names:
                table = table.drop_columns([name])
            cells = pa.array(values, pa.float64())
            table = table.append_column(name, cells if kind is None else cells.cast(kind))
        table = table.append_column("geometry", pa.array(points, pa.binary()))
        head = b'{"version": "1.1.0", "primary_column": "geometry", "columns": {"geometry": '
        table = table.replace_schema_metadata(
            {b"geo": head + b'{"encoding": "WKB", "geometry_types": ["Point"]}}}'}
        )
        pa.parquet.write_table(table, root / "catches.parquet")
        return root, table

    return made


@pytest.mark.parametrize("kind", [pa.float64(), pa.string()])
def test_a_point_elsewhere_than_lon_and_lat_costs_its_site(with_points, tmp_path, kind):
    root, table = with_points(0.0)
    lon = table["lon"].to_numpy().copy()
    lon[3] += 5e-5
    k = table.column_names.index("lon")
    table = table.set_column(k, "lon", pa.array(lon).cast(kind))
    pa.parquet.write_table(table, root / "catches.parquet")
    (refused,) = run_many(root, tmp_path / "out").comparison.refused
    assert refused["site"] == table["site"][3].as_py()
    assert refused["faults"].startswith("catches.parquet, row 4, lon: ")
    assert "Keep one of the two: leave out lon and lat, or the points." in refused["faults"]


@pytest.mark.parametrize(("degrees", "kind"), [(1e-5, None), (0.0, pa.float32())])
def test_lon_and_lat_may_be_rounded_more_than_the_points(with_points, tmp_path, degrees, kind):
    root, table = with_points(degrees, kind)
    assert np.abs(table["lon"].to_numpy()).max() > 0
    assert not run_many(root, tmp_path / "out").comparison.refused


@pytest.mark.parametrize("kind", [pa.float64(), pa.string()])
def test_lon_and_lat_of_four_decimals_are_those_of_their_points(with_points, tmp_path, kind):
    root, table = with_points(0.0)
    for name in ("lon", "lat"):
        rounded = pa.array(np.round(table[name].to_numpy(), 4)).cast(kind)
        table = table.set_column(table.column_names.index(name), name, rounded)
    pa.parquet.write_table(table, root / "catches.parquet")
    assert not run_many(root, tmp_path / "out").comparison.refused


def test_one_curve_costs_its_site_alone(site_set, tmp_path):
    """A CurvePolygon of one CircularString (OGC 06-103r4), of which shapely raises for all rows."""
    root = shutil.copytree(site_set, tmp_path / "set")
    table = pa.parquet.read_table(root / "surfaces.parquet")
    ring = struct.pack("<BII6d", 1, 8, 3, 0, 0, 1, 1, 0, 0)
    cells = table["geometry"].to_pylist()
    cells[3] = struct.pack("<BII", 1, 10, 1) + ring
    k = table.column_names.index("geometry")
    table = table.set_column(k, table.schema.field(k), pa.array(cells, pa.binary()))
    pa.parquet.write_table(table, root / "surfaces.parquet")
    done = run_many(root, tmp_path / "out").comparison
    assert [row["site"] for row in done.refused] == [table["site"][3].as_py()]
    found = "surfaces.parquet, row 4, geometry: is no geometry; allowed: a Polygon or MultiPolygon"
    assert done.refused[0]["faults"].startswith(f"{found} without curves")


@pytest.mark.parametrize("column", ["site", "note2"])
def test_bytes_that_are_no_utf_8_are_told_only_where_they_are_read(site_set, tmp_path, column):
    root = shutil.copytree(site_set, tmp_path / "set")
    table = pa.parquet.read_table(root / "loads.parquet")
    cells = [site.encode() for site in table["site"].to_pylist()]
    cells[3] = b"\xff"
    foreign = pa.array(cells, pa.binary()).view(pa.string())
    table = table.drop_columns(["site"] * (column == "site")).append_column(column, foreign)
    pa.parquet.write_table(table, root / "loads.parquet")
    if column == "site":
        with pytest.raises(
            Refused, match=r"loads\.parquet, site: '·' holds bytes that are no UTF-8"
        ):
            find_sites(root, tmp_path / "out")
    else:
        assert not run_many(root, tmp_path / "out").comparison.refused


@pytest.mark.parametrize(
    ("name", "column"),
    [("dressings", "date"), ("dressings", "surfaces"), ("loads", "count"), ("catches", "catch")],
)
def test_a_site_that_leaves_a_column_blank_is_told_the_rows(site_set, tmp_path, name, column):
    """Also where all its rows do: the set has that column."""
    root = shutil.copytree(site_set, tmp_path / "set")
    table = pa.parquet.read_table(root / f"{name}.parquet")
    sites = table["site"].to_pylist()
    cells = zip(sites, table[column].to_pylist(), strict=True)
    blank = pa.array([None if k == sites[0] else cell for k, cell in cells], table[column].type)
    table = table.set_column(table.column_names.index(column), column, blank)
    pa.parquet.write_table(table, root / f"{name}.parquet")
    (refused,) = run_many(root, tmp_path / "out").comparison.refused
    rows = ", ".join(str(k + 1) for k, site in enumerate(sites) if site == sites[0])[:13]
    assert refused["faults"].startswith(f"{name}.parquet, rows {rows}")
    assert f", {column}: no" in refused["faults"]  # "nothing" or "no date is written here"


@pytest.mark.parametrize(
    "words", [("nowhere",), ("set", "--scheduler", "tcp://127.0.0.1:1")], ids=["folder", "cluster"]
)
def test_a_refused_run_leaves_no_folders(site_set, tmp_path, monkeypatch, words):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "set").symlink_to(site_set)
    (tmp_path / "kept").mkdir()
    for out in ("kept/a/b", "c/d/e"):
        end = CliRunner().invoke(main, ["many", *words, "--out", out])
        assert end.exit_code == 1, end.output
    assert sorted(path.name for path in tmp_path.rglob("*")) == ["kept", "set"]
