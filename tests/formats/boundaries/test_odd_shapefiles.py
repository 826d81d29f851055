"""Shapefiles as they are handed over: parts missing, accents, rings open or the wrong way round."""

import shutil
import struct
import zipfile

import geopandas
import numpy as np
import pyogrio
import pyproj
import pytest
import shapely

from geosand.areas.ellipsoid import ellipsoid_areas_m2
from geosand.errors import Refused
from geosand.formats.boundaries import Choice, read_boundaries
from geosand.formats.boundaries.sites.settling import settle

from .conftest import UTM, blob, texts_of, to_lon_lat


@pytest.fixture
def shapefile(tmp_path):
    """A Shapefile with accents in its table, and what is beside it."""

    def write(encoding="UTF-8", keep=("shp", "shx", "dbf", "prj"), stem="Plan de golf"):
        frame = geopandas.GeoDataFrame(
            {"Nom": ["Départ no 1", "Étang"], "kind": ["tee", "water"]},
            geometry=[blob(0, 0, 13), blob(80, 0, 14)],
            crs=UTM,
        )
        (tmp_path / "made").mkdir(exist_ok=True)
        frame.to_file(tmp_path / "made/a.shp", encoding=encoding)
        for ending in keep:
            shutil.copy(tmp_path / f"made/a.{ending.lower()}", tmp_path / f"{stem}.{ending}")
        return tmp_path / f"{stem}.{keep[0]}"

    return write


@pytest.mark.parametrize(
    ("encoding", "said"),
    [("UTF-8", "read as UTF-8"), ("ISO-8859-1", "read as CP1252")],
)
def test_accents_without_a_word_on_the_encoding(shapefile, encoding, said):
    path = shapefile(encoding)
    table = path.with_suffix(".dbf")
    content = bytearray(table.read_bytes())
    content[29] = 0  # no code page either
    table.write_bytes(bytes(content))
    found = read_boundaries(path)
    assert found.features.name.tolist() == ["Départ no 1", "Étang"]
    assert any(said in text for text in texts_of(found))


def test_accents_with_a_cpg_need_no_word(shapefile):
    found = read_boundaries(shapefile("ISO-8859-1", ("shp", "shx", "dbf", "prj", "cpg")))
    assert found.features.name.tolist() == ["Départ no 1", "Étang"]
    assert not any("encoding" in text for text in texts_of(found))


def test_the_number_of_utf_8_in_a_cpg(shapefile):
    path = shapefile("UTF-8", ("shp", "shx", "dbf", "prj", "cpg"))
    path.with_suffix(".cpg").write_text("65001")
    assert read_boundaries(path).features.name.tolist() == ["Départ no 1", "Étang"]


def test_endings_in_capitals(shapefile):
    assert len(read_boundaries(shapefile(keep=("SHP", "SHX", "Dbf", "PRJ"))).features) == 2


def test_parts_of_a_shapefile_that_are_missing(shapefile):
    found = read_boundaries(shapefile(keep=("shp", "shx", "prj")))
    assert "its table (.dbf) is missing: names and kinds are lost" in texts_of(found)
    with pytest.raises(Refused, match="does not say in which coordinate reference system"):
        read_boundaries(shapefile(keep=("shp", "shx", "dbf"), stem="bare"))
    with pytest.raises(Refused) as refusal:
        read_boundaries(shapefile(keep=("shp",), stem="lone"))
    text = str(refusal.value)
    assert text.startswith("lone.shp: its index (.shx) is missing")
    assert "Set " not in text and "SHAPE_" not in text


def test_shapefiles_in_a_zip_of_which_one_names_no_crs(shapefile, tmp_path):
    path = shapefile()
    with zipfile.ZipFile(tmp_path / "all.zip", "w") as archive:
        for ending in ("shp", "shx", "dbf", "prj"):
            archive.write(path.with_suffix(f".{ending}"), f"a/b/one.{ending}")
            if ending != "prj":
                archive.write(path.with_suffix(f".{ending}"), f"a/c/two.{ending}")
    with pytest.raises(Refused) as refusal:
        read_boundaries(tmp_path / "all.zip")
    assert str(refusal.value).startswith("all.zip/a/c/two.shp: does not say in which")
    found = read_boundaries(tmp_path / "all.zip", crs=UTM)
    assert len(found.features) == 4
    assert found.features.place[3] == "a/c/two.shp, feature 2"


def shapefile_of(path, records):
    """A Shapefile of rings (n, 2) exactly as they are given, a record for each list of them."""
    body, index = b"", b""
    for number, rings in enumerate(records, start=1):
        points = np.concatenate(rings).astype("<f8")
        starts = np.cumsum([0, *(len(ring) for ring in rings[:-1])]).astype("<i4")
        content = struct.pack("<i4d", 5, *points.min(axis=0), *points.max(axis=0))
        content += struct.pack("<2i", len(rings), len(points)) + starts.tobytes() + points.tobytes()
        index += struct.pack(">2i", 50 + len(body) // 2, len(content) // 2)
        body += struct.pack(">2i", number, len(content) // 2) + content
    everything = np.concatenate([ring for rings in records for ring in rings])

    def head(size):
        box = (*everything.min(axis=0), *everything.max(axis=0), 0, 0, 0, 0)
        words = struct.pack(">7i", 9994, 0, 0, 0, 0, 0, 50 + size // 2)
        return words + struct.pack("<2i8d", 1000, 5, *box)

    path.write_bytes(head(len(body)) + body)
    path.with_suffix(".shx").write_bytes(head(len(index)) + index)
    path.with_suffix(".prj").write_text(pyproj.CRS(UTM).to_wkt("WKT1_ESRI"))
    pyogrio.write_dataframe(  # a table of as many rows
        geopandas.GeoDataFrame({"kind": ["green"] * len(records)}, geometry=[None] * len(records)),
        path.with_name("table.shp"),
        geometry_type="Polygon",
    )
    shutil.copy(path.with_name("table.dbf"), path.with_suffix(".dbf"))
    return path


def corners(shape, clockwise):
    points = shapely.get_coordinates(shape.exterior)
    return points[::-1] if shapely.is_ccw(shape.exterior) == clockwise else points


def test_a_ring_left_open_is_closed_and_told(tmp_path):
    path = shapefile_of(tmp_path / "s.shp", [[corners(blob(0, 0, 13), True)[:-1]]])
    found = read_boundaries(path)
    assert float(ellipsoid_areas_m2(found.features.geometry)[0]) == pytest.approx(
        float(ellipsoid_areas_m2(np.array([to_lon_lat(blob(0, 0, 13))]))[0]), rel=1e-7
    )
    assert any(
        "1 outline does not return to the first corner (feature 1;" in t for t in texts_of(found)
    )


def test_rings_that_run_the_wrong_way_round_are_asked_about_and_mended(tmp_path):
    shell, hole = blob(0, 0, 20), blob(0, 0, 4)
    path = shapefile_of(tmp_path / "s.shp", [[corners(shell, False), corners(hole, True)]])
    (area,) = ellipsoid_areas_m2(np.array([to_lon_lat(shell.difference(hole))]))
    found = read_boundaries(path)
    assert f"{area:.1f} m² however it is mended" in settle(found, Choice()).faults[0].found
    (row,) = settle(found, Choice(repair=True)).rows
    assert float(ellipsoid_areas_m2(np.array([row.geometry]))[0]) == pytest.approx(area, rel=1e-7)


@pytest.mark.parametrize("text", [pyproj.CRS(UTM).to_wkt("WKT2_2019"), UTM])
def test_a_prj_in_another_form_than_the_driver_reads(shapefile, text):
    path = shapefile(keep=("shp", "shx", "dbf"))
    path.with_suffix(".prj").write_text(text, encoding="utf-8")
    assert read_boundaries(path).source_crs == UTM
