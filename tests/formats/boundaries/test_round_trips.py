"""The same four surfaces through every format: same ids, kinds and area."""

import json
import zipfile

import geopandas
import numpy as np
import pytest
import shapely

from geosand.areas.crosscheck import geodesic_areas_m2
from geosand.formats.boundaries import new_site, read_boundaries

from .conftest import UTM, feature, to_lon_lat


def frame(course, crs):
    columns = {"id": [c[0] for c in course], "name": [c[1] for c in course]}
    columns["kind"] = [c[2] for c in course]
    out = geopandas.GeoDataFrame(columns, geometry=[c[3] for c in course], crs=UTM)
    return out if crs == UTM else out.to_crs(crs)


def areas(course):
    return dict(
        zip(
            [c[0] for c in course],
            geodesic_areas_m2(np.array([to_lon_lat(c[3]) for c in course], dtype=object)),
            strict=True,
        )
    )


def check(found, course, tolerance_m2):
    """Every surface is there under its own id, with its kind, name and area."""
    table = found.features
    assert sorted(table.id) == sorted(c[0] for c in course)
    kinds = {c[0]: c[2] for c in course}
    names = {c[0]: c[1] for c in course}
    assert {i: k for i, k in zip(table.id, table.kind, strict=True)} == kinds
    assert {i: n for i, n in zip(table.id, table.name, strict=True)} == names
    true = areas(course)
    for made, area in zip(table.id, geodesic_areas_m2(table.geometry), strict=True):
        assert area == pytest.approx(true[made], abs=tolerance_m2), made
    assert found.tally.read == len(course)
    assert not found.tally.left_out


# geodesic areas carry noise of up to 2e-3 m² themselves (Karney 2013, see geodesic_areas_m2)
@pytest.mark.parametrize("crs", [UTM, "EPSG:4326", "EPSG:4258", "EPSG:3035"])
@pytest.mark.parametrize(
    ("name", "driver"),
    [
        ("c.gpkg", "GPKG"),
        ("c.fgb", "FlatGeobuf"),
        ("c.shp", "ESRI Shapefile"),
        ("c.gml", "GML"),
        ("c.geojson", "GeoJSON"),
    ],
)
def test_vector_formats_keep_areas(course, tmp_path, name, driver, crs):
    frame(course, crs).to_file(tmp_path / name, driver=driver)
    found = read_boundaries(tmp_path / name)
    check(found, course, 3e-3)
    assert found.source_crs == ("" if crs == "EPSG:4326" else crs)


def test_heights_are_elevations_and_do_not_change_areas(course, tmp_path):
    table = frame(course, UTM)
    table["geometry"] = shapely.force_3d(table.geometry.values, 41.25)
    table.to_file(tmp_path / "c.gpkg")
    found = read_boundaries(tmp_path / "c.gpkg")
    check(found, course, 3e-3)
    assert found.features.elevation_m == pytest.approx([41.25] * 4)
    assert not shapely.has_z(found.features.geometry).any()


def test_heights_of_zero_are_no_elevations(course, tmp_path):
    table = frame(course, UTM)
    table["geometry"] = shapely.force_3d(table.geometry.values, 0.0)
    table.to_file(tmp_path / "c.gpkg")
    assert np.isnan(read_boundaries(tmp_path / "c.gpkg").features.elevation_m).all()


def test_kml_and_kmz_keep_areas(course, tmp_path):
    frame(course, "EPSG:4326").drop(columns="id").to_file(tmp_path / "c.kml", driver="LIBKML")
    with zipfile.ZipFile(tmp_path / "c.kmz", "w") as archive:
        archive.write(tmp_path / "c.kml", "files/doc.kml")
    for name in ("c.kml", "c.kmz"):
        found = read_boundaries(tmp_path / name)
        assert sorted(found.features.name) == sorted(c[1] for c in course)
        total = geodesic_areas_m2(found.features.geometry).sum()
        assert total == pytest.approx(sum(areas(course).values()), abs=6e-3)


def test_zip_with_inner_folders_and_two_shapefiles(course, tmp_path):
    for number, part in enumerate((course[:2], course[2:])):
        inner = tmp_path / f"part{number}"
        inner.mkdir()
        frame(part, UTM).to_file(inner / "outlines.shp")
    with zipfile.ZipFile(tmp_path / "c.zip", "w") as archive:
        for path in sorted(tmp_path.glob("part*/*")):
            archive.write(path, f"survey/{path.parent.name}/{path.name}")
        archive.writestr("__MACOSX/survey/._outlines.shp", b"junk")
        archive.writestr("survey/readme.pdf", b"%PDF")
    found = read_boundaries(tmp_path / "c.zip")
    check(found, course, 3e-3)
    assert any("readme.pdf" in f.text for f in found.findings)


def test_old_crs_member_of_geojson_is_obeyed(course, write_geojson):
    rows = [feature(g, id=i, name=n, kind=k) for i, n, k, g in course]
    crs = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::25832"}}
    check(read_boundaries(write_geojson(rows, crs=crs)), course, 3e-3)


def test_web_mercator_is_moved_and_said(course, tmp_path):
    frame(course, "EPSG:3857").to_file(tmp_path / "c.gpkg")
    found = read_boundaries(tmp_path / "c.gpkg")
    check(found, course, 3e-3)
    assert any("Web Mercator" in f.text for f in found.findings)


def test_dxf_keeps_areas(course, tmp_path):
    rows = frame(course, UTM).explode(ignore_index=True)
    geopandas.GeoDataFrame({"Layer": rows.kind.str.upper()}, geometry=rows.geometry.values).to_file(
        tmp_path / "c.dxf", driver="DXF"
    )
    found = read_boundaries(tmp_path / "c.dxf", crs=UTM, unit="m")
    assert sorted(found.features.kind) == sorted(["green", "green", "tee", "tee", "fairway"])
    # drawings keep holes as a second outline: the driver writes the hole of g2 as part of a hatch
    total = geodesic_areas_m2(found.features.geometry).sum()
    assert total == pytest.approx(sum(areas(course).values()), abs=6e-3)


def test_survey_text_keeps_areas(course, tmp_path):
    lines, number = ["Point,Northing,Easting,Elevation,Code"], 0
    for made, _, _, shape in (course[0], course[3]):
        ring = shapely.get_coordinates(shape)[:-1]
        for k, (x, y) in enumerate(ring):
            number += 1
            code = {"g1": "GRN1", "f1": "FWY1"}[made]
            mark = " CL" if k == len(ring) - 1 else ""
            lines.append(f"{number},{y!r},{x!r},41.5,{code}{mark}".replace("np.float64", ""))
    text = "\n".join(lines).replace("(", "").replace(")", "")
    (tmp_path / "walk.txt").write_text(text)
    found = read_boundaries(tmp_path / "walk.txt", crs=UTM)
    assert list(found.features.kind) == ["green", "fairway"]
    assert list(found.features.id) == ["grn1", "fwy1"]
    true = [areas(course)["g1"], areas(course)["f1"]]
    assert geodesic_areas_m2(found.features.geometry) == pytest.approx(true, abs=3e-3)
    assert found.features.elevation_m == pytest.approx([41.5, 41.5])


def test_gpx_tracks_become_outlines(course, tmp_path):
    parts = []
    for _, name, _, shape in (course[0], course[3]):
        ring = shapely.get_coordinates(to_lon_lat(shape))
        points = "".join(f'<trkpt lat="{lat!r}" lon="{lon!r}"/>' for lon, lat in ring.tolist())
        parts.append(f"<trk><name>{name}</name><trkseg>{points}</trkseg></trk>")
    (tmp_path / "c.gpx").write_text(
        '<?xml version="1.0"?><gpx xmlns="http://www.topografix.com/GPX/1/1">'
        + '<wpt lat="53.3" lon="9.9"><name>shed</name></wpt>'
        + "".join(parts)
        + "</gpx>",
        encoding="utf-8",
    )
    found = read_boundaries(tmp_path / "c.gpx", kind="green")
    true = [areas(course)["g1"], areas(course)["f1"]]
    assert geodesic_areas_m2(found.features.geometry) == pytest.approx(true, abs=3e-3)
    assert [(item.name, item.reason) for item in found.tally.left_out] == [("shed", "a point")]


def test_the_written_site_keeps_areas_to_the_ninth_decimal(course, course_file, tmp_path):
    new_site(tmp_path / "site", read_boundaries(course_file), name="Invented")
    document = json.loads((tmp_path / "site/surfaces.geojson").read_text())
    again = read_boundaries(tmp_path / "site/surfaces.geojson")
    # half a unit of the ninth decimal is 0.06 mm: with 24 vertices, far below 1 mm² a vertex edge
    check(again, course, 3e-3 + 24 * 1e-4)
    for row in document["features"]:
        shape = shapely.from_geojson(json.dumps(row["geometry"]))
        for part in shapely.get_parts(shape):
            assert part.exterior.is_ccw
            assert not any(ring.is_ccw for ring in part.interiors)
        decimals = [
            len(t.split(".")[1])
            for t in json.dumps(row["geometry"]).split()
            if "." in t
            for t in [t.strip("[],}")]
        ]
        assert max(decimals) <= 9
