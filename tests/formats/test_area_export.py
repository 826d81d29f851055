"""Every exported file keeps the areas, says its units, and writes nothing that acts."""

from __future__ import annotations

import contextlib
import csv
import datetime
import io
import json
import sqlite3
import time
import zipfile

import numpy as np
import openpyxl
import pytest
import shapely

from geosand.areas.ellipsoid import ellipsoid_areas_m2, rounding_spread_m2
from geosand.errors import Unwritten
from geosand.formats.area_export import write_areas, write_changes

HOSTILE = ["=1+1", "+SUM(A1)", "-2+3", "@x", "\tx", "plain \x07 bell"]
ROWS = 40


@pytest.fixture
def blobs():
    """Wobbly polygons of 60 vertices with all their digits, every third with a hole."""
    generator = np.random.default_rng(3)
    angle = np.arange(60) * np.pi / 30
    shapes = np.empty(ROWS, dtype=object)
    for k in range(ROWS):
        radius = 2e-4 * (1 + 0.2 * generator.random(60)) * (1 + k / 30)
        centre = np.array([12.0 + 0.002 * (k % 8), 51.0 + 0.002 * (k // 8)])
        ring = centre + np.column_stack([1.6 * radius * np.cos(angle), radius * np.sin(angle)])
        hole = centre + (ring[::4] - centre) * 0.3
        shapes[k] = shapely.Polygon(ring[::-1], [hole] if k % 3 == 0 else None)
    return shapes


@pytest.fixture
def rows(blobs):
    areas = ellipsoid_areas_m2(blobs)
    return [
        {
            "id": f"s{k}",
            "name": HOSTILE[k] if k < len(HOSTILE) else f"Größe {k}",
            "kind": "=kind" if k == 0 else "green",
            "area_m2": float(areas[k]) * 1.0001,
            "u_area_m2": 4.0,
            "perimeter_m": 100.0,
            "equal_area_m2": float(areas[k]),
            "grid_area_m2": None,
            "vertices": 60,
        }
        for k in range(ROWS)
    ]


def test_geojson_keeps_areas_to_what_nine_decimals_can(blobs, rows, tmp_path):
    """1e-9 degree is 0.1 mm: by 1/sqrt(12) of it at each vertex the areas may differ."""
    path = tmp_path / "areas.geojson"
    write_areas(path, rows, blobs, units="metric")
    document = json.loads(path.read_text(encoding="utf-8"))
    shapes = np.array([shapely.from_geojson(json.dumps(f)) for f in document["features"]])
    away = np.abs(ellipsoid_areas_m2(shapes) - ellipsoid_areas_m2(blobs))
    spread = rounding_spread_m2(blobs, np.full(ROWS, 1e-9))
    assert (away < 4 * spread).all()
    assert away.max() < 60 * 100e-6  # 1 cm² a vertex, 60 of them
    position = shapely.get_coordinates(shapes)
    assert np.abs(position * 1e9 - np.rint(position * 1e9)).max() < 1e-4
    assert all(shapely.is_ccw(s.exterior) for s in shapes)  # RFC 7946, 3.1.6
    assert not any(shapely.is_ccw(hole) for s in shapes for hole in s.interiors)
    assert document["features"][7]["properties"]["equal_area_m2"] == pytest.approx(
        rows[7]["equal_area_m2"], rel=1e-8
    )


def test_coordinates_of_nine_decimals_come_back_as_they_were(blobs, rows, tmp_path):
    plain = shapely.transform(blobs, lambda p: np.round(p, 9))
    write_areas(tmp_path / "a.geojson", rows, plain, units="metric")
    document = json.loads((tmp_path / "a.geojson").read_text(encoding="utf-8"))
    shapes = np.array([shapely.from_geojson(json.dumps(f)) for f in document["features"]])
    assert shapely.equals_exact(shapely.normalize(shapes), shapely.normalize(plain), 0.0).all()


def test_geopackage_keeps_every_digit(blobs, rows, tmp_path):
    import geopandas

    path = tmp_path / "areas.gpkg"
    write_areas(path, rows, blobs, units="metric")
    frame = geopandas.read_file(path, layer="areas")
    assert frame.crs.to_epsg() == 4326
    found = ellipsoid_areas_m2(np.asarray(frame.geometry.array, dtype=object))
    assert found == pytest.approx(ellipsoid_areas_m2(blobs), rel=1e-12)
    assert frame["equal_area_m2"].to_numpy() == pytest.approx(found, rel=1e-8)
    assert frame["grid_area_m2"].isna().all()
    # measured again by somebody else: the areas of an equal-area projection of Europe
    projected = frame.to_crs("EPSG:3035").area.to_numpy()
    assert projected == pytest.approx(frame["equal_area_m2"].to_numpy(), rel=2e-7)


@pytest.mark.parametrize(("units", "factor"), [("metric", 1.0), ("us", 10.763910416709722)])
def test_csv_has_its_units_in_the_heads(blobs, rows, tmp_path, units, factor):
    path = tmp_path / "areas.csv"
    write_areas(path, rows, blobs, units=units)
    table = list(csv.DictReader(io.StringIO(path.read_bytes().decode("utf-8-sig"))))
    unit = "m2" if units == "metric" else "ft2"
    found = [float(line[f"equal_area_{unit}"]) for line in table]
    assert found == pytest.approx(ellipsoid_areas_m2(blobs) * factor, rel=1e-8)
    assert table[0][f"grid_area_{unit}"] == ""
    assert ("area_m2" in table[0]) == (units == "metric")
    assert [line["name"] for line in table[:5]] == [f"'{name}" for name in HOSTILE[:5]]
    assert table[0]["kind"] == "'=kind"


def test_workbook_has_real_numbers_frozen_heads_and_no_formula(blobs, rows, tmp_path):
    path = tmp_path / "areas.xlsx"
    totals = [{"kind": "=green", "surfaces": 3, "area_m2": 12.5, "u_area_m2": None}]
    notes = ["=HYPERLINK(1)", "A note."]
    write_areas(path, rows, blobs, units="metric", notes=notes, sheets={"totals": totals})
    book = openpyxl.load_workbook(path)
    assert book.sheetnames == ["areas", "totals", "notes"]
    sheet = book["areas"]
    assert sheet.freeze_panes == "B2" and book["totals"].freeze_panes == "B2"
    heads = [cell.value for cell in sheet[1]]
    assert heads[:5] == ["id", "name", "kind", "ground area, m²", "u of ground area, m²"]
    column = heads.index("equal-area, m²")
    found = [line[column] for line in sheet.iter_rows(min_row=2, values_only=True)]
    assert found == pytest.approx(ellipsoid_areas_m2(blobs), rel=1e-8)
    cells = [cell for sheet in book for line in sheet.iter_rows() for cell in line]
    assert not any(cell.data_type == "f" for cell in cells)
    assert sheet["B2"].value == "=1+1" and sheet["B2"].quotePrefix
    assert book["notes"]["A2"].value == "=HYPERLINK(1)"
    assert book["notes"].freeze_panes == "A2", "a column as wide as a window would never scroll"
    assert sheet["B7"].value == "plain · bell"


@pytest.mark.parametrize("ending", ["csv", "geojson", "gpkg", "xlsx"])
def test_the_same_areas_are_the_same_bytes_an_hour_later(blobs, rows, tmp_path, ending):
    """Both archives and databases note when they were made; here that is never the clock."""
    path = tmp_path / f"areas.{ending}"
    write_areas(path, rows, blobs, units="metric")
    content = path.read_bytes()
    if ending == "gpkg":
        with contextlib.closing(sqlite3.connect(path)) as base:
            assert base.execute("select last_change from gpkg_contents").fetchone()[0][:4] == "1980"
    if ending == "xlsx":
        with zipfile.ZipFile(path) as archive:
            assert {entry.date_time[0] for entry in archive.infolist()} == {1980}
            assert str(datetime.date.today().year).encode() not in archive.read("docProps/core.xml")
    time.sleep(0.01)
    write_areas(path, rows, blobs, units="metric")
    assert path.read_bytes() == content


def test_a_surface_without_ground_has_no_geometry(blobs, rows, tmp_path):
    import geopandas

    blobs[1], blobs[2] = shapely.Polygon(), shapely.MultiPolygon([blobs[2], blobs[3]])
    for ending in ("geojson", "gpkg"):
        path = tmp_path / f"areas.{ending}"
        write_areas(path, rows, blobs, units="metric")
        frame = geopandas.read_file(path)
        assert len(frame) == ROWS
        assert frame.geometry[1] is None
        assert frame.geometry[2].geom_type == "MultiPolygon"


def test_a_polygon_that_rounding_would_break_keeps_its_digits(rows, tmp_path):
    """A crack of 0.4e-9 degree closes on rounding; the ring would then run over itself."""
    x = np.array([0, 1, 1, 0.5, 0.5 + 2e-10, 0.5 + 2e-10, 0.5 - 2e-10, 0.5 - 2e-10, 0.5, 0, 0])
    y = np.array([0, 0, 1, 1, 1, 0.5, 0.5, 1, 1, 1, 0])
    cracked = shapely.Polygon(np.column_stack([x, y])[[0, 1, 2, 4, 5, 6, 7, 9, 10]])
    shapes = np.empty(1, dtype=object)
    shapes[0] = cracked
    assert cracked.is_valid
    write_areas(tmp_path / "a.geojson", rows[:1], shapes, units="metric")
    back = json.loads((tmp_path / "a.geojson").read_text(encoding="utf-8"))["features"][0]
    assert shapely.from_geojson(json.dumps(back)).is_valid


@pytest.mark.parametrize("ending", ["geojson", "gpkg"])
def test_changes_are_a_layer_with_the_sort_of_change(blobs, tmp_path, ending):
    import geopandas

    properties = {"surface": "g1", "kind": "green", "change": "gained", "area_m2": 2.5}
    properties |= {"old_survey": "edition a (2020-01-01)", "new_survey": "in force (not dated)"}
    features = [{"properties": properties, "geometry": blobs[0]}]
    path = tmp_path / f"changes.{ending}"
    write_changes(path, features)
    frame = geopandas.read_file(path)
    assert frame.drop(columns="geometry").iloc[0].to_dict() == properties
    found = ellipsoid_areas_m2(np.asarray(frame.geometry.array, dtype=object))
    assert found == pytest.approx(ellipsoid_areas_m2(blobs[:1]), rel=1e-6)  # nine decimals
    write_changes(path, features, units="us")
    assert geopandas.read_file(path)["area_ft2"][0] == pytest.approx(2.5 / 0.3048**2)
    write_changes(path, [])
    assert len(geopandas.read_file(path)) == 0


def test_a_failed_write_leaves_the_old_file(blobs, rows, tmp_path, monkeypatch):
    path = tmp_path / "areas.csv"
    path.write_text("the old one")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(Unwritten, match="No space left"):
        write_areas(path, rows, blobs, units="metric")
    assert path.read_text() == "the old one"
    assert [p.name for p in tmp_path.iterdir()] == ["areas.csv"]
