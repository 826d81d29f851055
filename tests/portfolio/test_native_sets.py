"""Sets with native encodings of GeoParquet 1.1, whole and damaged, against well-known binary."""

from __future__ import annotations

import shutil

import numpy as np
import pytest
import shapely

from geosand.errors import Refused
from geosand.portfolio import parquet_tables
from geosand.portfolio.fingerprints import fingerprints
from geosand.portfolio.parquet_tables import parquet_table
from geosand.portfolio.rows_by_site import split_by_site
from tests.portfolio import dying
from tests.portfolio.conftest import SITES, run_many
from tests.portfolio.test_run import same_files

geopandas = pytest.importorskip("geopandas")
pa = pytest.importorskip("pyarrow")
pq = pytest.importorskip("pyarrow.parquet")

from tests.portfolio.native_columns import (  # noqa: E402
    coordinates,
    native,
    with_geometry,
    write,
)
from tests.portfolio.test_native_geometries import (  # noqa: E402
    CRS,
    EMPTY,
    HOLE,
    PLAIN,
    RINGED,
    SQUARE,
)

#: as README says that a set is read fastest
TEXTS = ["site", "id", "name", "kind", "around"]
ADVISED = {"compression": "lz4", "use_dictionary": TEXTS, "use_byte_stream_split": True}


@pytest.fixture(scope="module")
def native_set(site_set, tmp_path_factory):
    """The set with its polygons natively and its catches as native points, as geopandas writes."""
    root = shutil.copytree(site_set, tmp_path_factory.mktemp("native") / "set")
    written(geopandas.read_parquet(root / "surfaces.parquet"), root)
    places(root, "geoarrow")
    return root


def written(frame, root):
    path, native = root / "surfaces.parquet", {"geometry_encoding": "geoarrow"}
    frame.to_parquet(path, row_group_size=100, **native, **ADVISED)


def places(root, encoding):
    """Catches with points in place of the columns lon and lat."""
    import pandas as pd

    catches = pd.read_parquet(root / "catches.parquet")
    points = geopandas.points_from_xy(catches.pop("lon"), catches.pop("lat"), crs=CRS)
    frame = geopandas.GeoDataFrame(catches, geometry=points)
    frame.to_parquet(root / "catches.parquet", geometry_encoding=encoding, row_group_size=1000)


@pytest.fixture(scope="module")
def results(site_set, tmp_path_factory):
    """Results of the set in well-known binary."""
    out = tmp_path_factory.mktemp("results")
    run_many(site_set, out)
    return out


@pytest.mark.parametrize("chunk", [1, 2, 100])
def test_the_tables_are_the_same_bytes_as_from_well_known_binary(
    native_set, results, tmp_path, chunk
):
    done = run_many(native_set, tmp_path, chunk=chunk)
    assert done.computed == SITES and not done.unforeseen
    same_files(results, tmp_path)


@pytest.mark.parametrize("encodings", [("WKB", "geoarrow"), ("geoarrow", "WKB")])
def test_polygons_and_points_may_be_encoded_differently(site_set, results, tmp_path, encodings):
    root = shutil.copytree(site_set, tmp_path / "set")
    frame = geopandas.read_parquet(root / "surfaces.parquet")
    frame.to_parquet(root / "surfaces.parquet", geometry_encoding=encodings[0])
    places(root, encodings[1])
    run_many(root, tmp_path / "out")
    same_files(results, tmp_path / "out")


@pytest.mark.parametrize("encoding", ["WKB", "geoarrow"])
def test_a_point_of_nan_is_no_position_and_costs_its_site_alone(site_set, tmp_path, encoding):
    """Well-known binary has it as an empty point, of which GEOS tells no coordinates."""
    import pandas as pd

    root = shutil.copytree(site_set, tmp_path / "set")
    catches = pd.read_parquet(root / "catches.parquet")
    catches.loc[5, ["lon", "lat"]] = np.nan
    catches.to_parquet(root / "catches.parquet")
    places(root, encoding)
    done = run_many(root, tmp_path / "out")
    assert not done.unforeseen
    [refused] = done.comparison.refused
    assert refused["site"] == catches["site"][5]
    assert "catches.parquet, row 6, lon, lat: the catch has no position" in refused["faults"]


def test_rows_in_any_order_large_lists_and_coordinates_side_by_side(site_set, results, tmp_path):
    root = shutil.copytree(site_set, tmp_path / "set")
    table = pq.read_table(root / "surfaces.parquet")
    shapes = shapely.from_wkb(table["geometry"].to_numpy())
    table = with_geometry(table, native(shapes, interleaved=True, large=True))
    site = np.array([int(s[-5:]) for s in table["site"].to_pylist()])
    mixed = np.lexsort((site, np.arange(len(table)) % 72))  # a surface of each site in turn
    write(root / "surfaces.parquet", table.take(mixed), "polygon", row_group_size=50)
    run_many(root, tmp_path / "out", chunk=2)
    same_files(results, tmp_path / "out")


def test_heights_and_surfaces_of_several_parts_count_as_in_well_known_binary(site_set, tmp_path):
    frame = geopandas.read_parquet(site_set / "surfaces.parquet")
    shapes = frame.geometry.to_numpy().copy()
    tees = np.flatnonzero((frame.kind == "tee").to_numpy())
    for k in tees[::3]:
        there = shapely.bounds(shapes[k])
        half = (there[0] + there[2]) / 2
        west = shapely.box(there[0], there[1], half - 1e-6, there[3])
        east = shapely.box(half + 1e-6, there[1], there[2], there[3])
        shapes[k] = shapely.MultiPolygon([west, east])
    heights = np.random.default_rng(2).uniform(5, 90, len(shapes))
    for k in range(0, len(shapes), 2):
        shapes[k] = shapely.force_3d(shapes[k], heights[k])
    frame = frame.set_geometry(geopandas.GeoSeries(shapes, crs=CRS))
    outs = []
    for encoding in ("WKB", "geoarrow"):
        root = shutil.copytree(site_set, tmp_path / encoding / "set")
        frame.to_parquet(root / "surfaces.parquet", geometry_encoding=encoding)
        outs.append(tmp_path / encoding / "out")
        assert not run_many(root, outs[-1]).comparison.refused
    same_files(*outs)
    areas = pq.read_table(outs[1] / "areas.parquet").to_pylist()
    assert not shapely.has_z(shapely.from_wkb([row["geometry"] for row in areas])).any()


def test_nothing_is_worked_out_twice_and_a_moved_corner_is_one_changed_site(native_set, tmp_path):
    root, out = shutil.copytree(native_set, tmp_path / "set"), tmp_path / "out"
    run_many(root, out)
    assert run_many(root, out, chunk=2, work=dying.never_called).kept == SITES
    frame = geopandas.read_parquet(root / "surfaces.parquet")
    shapes = frame.geometry.to_numpy().copy()
    row = int(np.flatnonzero((frame.site == "site-00003") & (frame.kind == "tee"))[0])
    corners = shapely.get_coordinates(shapes[row])
    corners[1] += 1e-9
    shapes[row] = shapely.Polygon(corners)
    frame.geometry = shapes
    written(frame, root)
    done = run_many(root, out)
    assert (done.computed, done.kept) == (1, SITES - 1)


def test_fingerprints_tell_every_corner_ring_and_blank_and_know_no_other_site():
    def marks(shapes, sites, keys="abcd"):
        table = pa.table({"site": list(sites), "geometry": native(shapes)})
        return fingerprints({"surfaces": split_by_site(table, list(keys), "geometry")}, len(keys))

    shapes = [RINGED, PLAIN, None, shapely.box(7, 7, 8, 8), EMPTY, PLAIN]
    before = marks(shapes, "aabbcd")
    assert len(set(before)) == 4
    changed = [shapely.Polygon(SQUARE, [HOLE]), EMPTY, PLAIN, shapely.box(7, 7, 8, 9), None, RINGED]
    for row, shape in enumerate(changed):
        after = marks([*shapes[:row], shape, *shapes[row + 1 :]], "aabbcd")
        assert [k for k in range(4) if before[k] != after[k]] == [[0, 0, 1, 1, 2, 3][row]]
    assert marks(shapes[2:4], "bb", "b") == [before[1]]
    assert marks(shapes[::-1], "dcbbaa")[2:] == before[2:]


def test_fingerprints_tell_where_texts_rings_and_polygons_end_and_what_is_blank():
    """Of which the bytes, one after the other, are the same."""

    def mark(**columns):
        table = pa.table({"site": ["a"] * len(next(iter(columns.values()))), **columns})
        return fingerprints({"surfaces": split_by_site(table, ["a"], "geometry")}, 1)[0]

    corners = coordinates(np.arange(20.0).reshape(10, 2))
    rings = [
        pa.ListArray.from_arrays(pa.array(e, pa.int32()), corners) for e in ([0, 4, 10], [0, 5, 10])
    ]
    polygons = [
        pa.ListArray.from_arrays(pa.array(b, pa.int32()), rings[0]) for b in ([0, 1, 2], [0, 2, 2])
    ]
    whole = pa.ListArray.from_arrays(pa.array([0, 1, 2], pa.int32()), rings[1])
    marks = [mark(geometry=column) for column in (*polygons, whole)]
    marks += [mark(id=words) for words in (["ab", "c"], ["a", "bc"], ["abc", ""], ["abc", None])]
    zero, blank = [0.0, 1.0], [None, 1.0]  # a blank's bits are those of zero
    marks += [mark(u=u, v=v) for u, v in ((zero, zero), (blank, zero), (zero, blank))]
    assert len(set(marks)) == len(marks)


def lists(kind, offsets, within):
    """A column of lists that still end where ``offsets`` say when these are changed."""
    buffers = [None, pa.py_buffer(offsets)]
    return pa.Array.from_buffers(kind, len(offsets) - 1, buffers, children=[within])


@pytest.mark.parametrize("level", [0, 1])
@pytest.mark.parametrize("place", [1, -1])
def test_lists_that_end_beyond_what_there_is_are_refused(
    native_set, tmp_path, monkeypatch, level, place
):
    """No Parquet file can say so; whatever else may hand such over must not end the process."""
    read = pq.ParquetFile.read_row_group

    def spoilt(self, *arguments, **options):
        table = read(self, *arguments, **options)
        if "kind" not in table.column_names:
            return table
        column = table["geometry"].combine_chunks()
        offsets = [column.offsets.to_numpy().copy(), column.values.offsets.to_numpy().copy()]
        rings = lists(column.type.value_type, offsets[1], column.values.values)
        table = with_geometry(table, lists(column.type, offsets[0], rings))
        offsets[level][place] += 1_000_000
        return table

    parquet_tables._reading.cache_clear()
    monkeypatch.setattr(pq.ParquetFile, "read_row_group", spoilt)
    done = run_many(native_set, tmp_path / "out")
    assert len(done.comparison.refused) == SITES
    told = {row["faults"] for row in done.comparison.refused}
    assert told == {"surfaces.parquet: can not be read (ArrowInvalid). Write it again."}


def test_damaged_native_files_are_refused_in_words_or_tell_each_site(native_set, tmp_path):
    """Seeded: the same damage in every run."""
    ended = set()
    for round_ in range(15):
        rng = np.random.default_rng(round_)
        root = shutil.copytree(native_set, tmp_path / str(round_))
        path = root / "surfaces.parquet"
        data = bytearray(path.read_bytes())
        start = int(rng.integers(len(data)))
        data[start : start + 20] = rng.bytes(int(rng.integers(1, 30)))
        path.write_bytes(bytes(data))
        try:
            done = run_many(root, tmp_path / "out" / str(round_))
        except Refused as problem:
            assert str(problem).replace("\n", "").isprintable()
            ended.add("refused")
        else:
            assert not done.comparison.failed
            ended.add("done")
    assert "done" in ended


def test_only_the_wanted_row_groups_are_looked_at(native_set):
    table = parquet_table(native_set / "surfaces.parquet")
    rows = table.rows_of(["site-00002", "site-00005"])
    assert np.diff(rows.bounds).tolist() == [72, 72]
    assert rows.table["row"].to_pylist()[::72] == [73, 289]
