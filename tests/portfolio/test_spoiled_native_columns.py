"""Native columns of a set that are spoiled: each costs its site, or is refused in words."""

from __future__ import annotations

import shutil

import numpy as np
import pytest
import shapely

from geosand.errors import Refused
from geosand.portfolio.folders import find_sites
from tests.portfolio.conftest import run_many

pa = pytest.importorskip("pyarrow")
pq = pytest.importorskip("pyarrow.parquet")

from tests.portfolio.native_columns import (  # noqa: E402
    CORNER,
    POLYGON,
    native,
    of_rings,
    with_geometry,
    write,
)
from tests.portfolio.test_native_geometries import PLAIN, SQUARE  # noqa: E402


def spoiled(site_set, tmp_path, change):
    """A set whose surfaces, as rows of rings, are changed by hand."""
    root = shutil.copytree(site_set, tmp_path / "set")
    table = pq.read_table(root / "surfaces.parquet")
    rows = native(shapely.from_wkb(table["geometry"].to_numpy())).to_pylist()
    change(rows)
    write(root / "surfaces.parquet", with_geometry(table, pa.array(rows, POLYGON)), "polygon")
    return root


def nan_corner(rows):
    rows[72 * 2 + 5][0][1]["x"] = np.nan


def blank_corner(rows):
    rows[72 * 2 + 5][0][1] = None


def blank_number(rows):
    rows[72 * 2 + 5][0][1]["y"] = None


def endless(rows):
    rows[72 * 2 + 5][0][1]["x"] = np.inf


def open_ring(rows):
    del rows[72 * 2 + 5][0][-1]


def blank_ring(rows):
    rows[72 * 2 + 5].append(None)


def no_outline(rows):
    rows[72 * 2 + 5].insert(0, [])


def without(rows):
    rows[72 * 2 + 5] = []


def blank_row(rows):
    rows[72 * 2 + 5] = None


def swapped(rows):
    for ring in rows[72 * 2 + 5]:
        for corner in ring:
            corner["x"], corner["y"] = corner["y"], corner["x"]


def twisted(rows):
    ring = rows[72 * 2 + 5][0]
    ring[1], ring[2] = ring[2], ring[1]


def another_file(rows):
    rows[72 * 2 + 5] = of_rings([SQUARE])


TOLD = {
    nan_corner: "the outline of 'g6' crosses or touches itself: Invalid Coordinate",
    blank_corner: "the outline of 'g6' crosses or touches itself: Invalid Coordinate",
    blank_number: "the outline of 'g6' crosses or touches itself: Invalid Coordinate",
    endless: "surface 'g6' lies outside longitude ±180, latitude ±90",
    open_ring: "is no geometry; allowed: a Polygon or MultiPolygon",
    blank_ring: "is no geometry; allowed: a Polygon or MultiPolygon",
    no_outline: "is no geometry; allowed: a Polygon or MultiPolygon",
    without: "surface 'g6' has no polygon",
    blank_row: "surface 'g6' has no polygon",
    swapped: "",
    twisted: "the outline of 'g6' crosses or touches itself",
    another_file: "° apart",
}


@pytest.mark.parametrize("change", TOLD, ids=lambda change: change.__name__)
def test_a_spoiled_surface_costs_its_site_and_is_told(site_set, tmp_path, change):
    done = run_many(spoiled(site_set, tmp_path, change), tmp_path / "out")
    assert not done.unforeseen and not done.comparison.failed
    (refused,) = done.comparison.refused
    assert refused["site"] == "site-00003"
    assert TOLD[change] in refused["faults"]
    assert refused["faults"].startswith("surfaces.parquet")


@pytest.mark.parametrize(
    ("name", "column", "encoding", "told"),
    [
        (
            "surfaces",
            pa.array([[{"x": 1.0, "y": 2.0}]], pa.list_(CORNER)),
            "linestring",
            "its geometry is encoded as linestring; allowed: WKB, polygon, multipolygon.",
        ),
        (
            "surfaces",
            native([shapely.Point(1, 2)]),
            "point",
            "its geometry is encoded as point; allowed: WKB, polygon, multipolygon.",
        ),
        (
            "catches",
            native([PLAIN]),
            "polygon",
            "its geometry is encoded as polygon; allowed: WKB, point.",
        ),
        (
            "surfaces",
            native([PLAIN]),
            "multipolygon",
            "its geometry is said to be encoded as multipolygon, and is a column of list<",
        ),
        (
            "surfaces",
            native([PLAIN]),
            "WKB",
            "its geometry is said to be encoded as WKB, and is a column of list<",
        ),
        (
            "surfaces",
            pa.array([b"x"]),
            "polygon",
            "its geometry is said to be encoded as polygon, and is a column of binary; allowed:"
            " lists of rings, which are lists of coordinates x, y in 64-bit floats.",
        ),
        (
            "surfaces",
            pa.array([[[[1.0, 2.0]]]], pa.list_(pa.list_(pa.list_(pa.float32(), 2)))),
            "polygon",
            "its geometry is said to be encoded as polygon, and is a column of list<",
        ),
    ],
)
def test_encodings_that_can_not_be_are_refused_in_words(
    site_set, tmp_path, name, column, encoding, told
):
    root = shutil.copytree(site_set, tmp_path / "set")
    table = pq.read_table(root / f"{name}.parquet")[:1]
    write(root / f"{name}.parquet", with_geometry(table, column), encoding)
    with pytest.raises(Refused) as refusal:
        find_sites(root, root / "out")
    assert str(refusal.value).startswith(f"{name}.parquet, geometry: {told}")
    assert "Write it with geometry_encoding WKB." in str(refusal.value)


def test_a_native_column_that_no_metadata_name_is_refused(site_set, tmp_path):
    root = shutil.copytree(site_set, tmp_path / "set")
    table = pq.read_table(root / "surfaces.parquet").replace_schema_metadata(None)
    pq.write_table(with_geometry(table[:1], native([PLAIN])), root / "surfaces.parquet")
    with pytest.raises(Refused, match="said to be encoded as WKB"):
        find_sites(root, root / "out")
