"""What was read is what became surfaces, was joined, named something, or is listed as left out."""

from __future__ import annotations

import json
import math
import tempfile
from pathlib import Path

import ezdxf
import geopandas
import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from geosand.errors import Refused
from geosand.formats.boundaries import read_boundaries
from geosand.formats.boundaries.sites.questions import Choice
from geosand.formats.boundaries.sites.settling import settle
from geosand.formats.boundaries.tables import LeftOut, Tally

from .conftest import LAT, LON, feature

PLACES = st.lists(
    st.tuples(st.integers(0, 30), st.integers(0, 30)), min_size=1, max_size=7
)  #: coarse, so that outlines cross, touch, repeat and lie in each other
THINGS = st.lists(
    st.tuples(
        st.sampled_from(["area", "areas", "line", "ring", "point", "none"]),
        PLACES,
        st.sampled_from(["green", "fairway", "path", "", "7"]),
    ),
    min_size=1,
    max_size=8,
)
EVERY = settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True
)


def shape_of(sort, corners):
    points = np.array(corners, dtype=float) * 1e-5 + (LON, LAT)
    if sort == "none":
        return None
    if sort == "point" or len(points) < 2:
        return shapely.Point(points[0])
    ring = np.vstack([points, points[:1]])
    if sort == "line" or len(points) < 3:
        return shapely.LineString(ring if sort == "ring" else points)
    if sort == "ring":
        return shapely.LineString(ring)
    one = shapely.Polygon(points)
    return (
        shapely.MultiPolygon([one, shapely.affinity.translate(one, 2e-4, 0)])
        if (sort == "areas")
        else one
    )


def as_geojson(things, folder):
    path = folder / "x.geojson"
    rows = [feature(shape_of(sort, at), kind=kind) for sort, at, kind in things]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": rows}))
    return path, {}


def as_gpkg(things, folder):
    path = folder / "x.gpkg"
    shapes = [shape_of(sort, at) for sort, at, _ in things]
    frame = geopandas.GeoDataFrame({"kind": [k for *_, k in things]}, geometry=shapes, crs=4326)
    frame.to_file(path, driver="GPKG")
    return path, {}


def as_kml(things, folder):
    marks = []
    for sort, at, kind in things:
        shape = shape_of(sort, at)
        texts = [
            " ".join(f"{x:.9f},{y:.9f}" for x, y in shapely.get_coordinates(part).tolist())
            for part in ([] if shape is None else shapely.get_parts(shape))
        ]
        name = "" if shape is None else shapely.get_parts(shape)[0].geom_type
        ring = "<outerBoundaryIs><LinearRing><coordinates>%s</coordinates></LinearRing>"
        inner = (
            ring + "</outerBoundaryIs>" if name == "Polygon" else "<coordinates>%s</coordinates>"
        )
        parts = "".join(f"<{name}>{inner % text}</{name}>" for text in texts)
        marks.append(
            f"<Placemark><name>{kind}</name><MultiGeometry>{parts}</MultiGeometry></Placemark>"
        )
    path = folder / "x.kml"
    path.write_text(f"<kml><Document>{''.join(marks)}</Document></kml>")
    return path, {}


def as_gpx(things, folder):
    tracks = []
    for sort, at, kind in things:
        shape = shape_of("ring" if "area" in sort else sort, at)
        points = np.zeros((0, 2)) if shape is None else shapely.get_coordinates(shape)
        cells = "".join(f'<trkpt lon="{x:.9f}" lat="{y:.9f}"/>' for x, y in points.tolist())
        tracks.append(f"<trk><name>{kind}</name><trkseg>{cells}</trkseg></trk>")
    path = folder / "x.gpx"
    path.write_text(f"<gpx>{''.join(tracks)}</gpx>")
    return path, {}


def as_dxf(things, folder):
    document = ezdxf.new("R2010")
    document.header["$INSUNITS"] = 6
    block = document.blocks.new("B")
    block.add_circle((0, 0), 3)
    block.add_line((0, 0), (4, 4))
    space = document.modelspace()
    for k, (sort, at, kind) in enumerate(things):
        layer = {"layer": kind.upper() or "0"}
        points = [(560_000 + x, 5_906_000 + y) for x, y in at]
        if sort == "point":
            space.add_text(f"Nr {k}", dxfattribs={"insert": points[0], **layer})
        elif sort == "areas":
            space.add_blockref("B", points[0], dxfattribs={"rotation": 30 * k, **layer})
        elif sort == "none":
            space.add_arc(points[0], 5, 0, 90 + 30 * k, dxfattribs=layer)
        else:
            space.add_lwpolyline(points, close=sort != "line", dxfattribs=layer)
    path = folder / "x.dxf"
    document.saveas(path)
    return path, {"crs": "EPSG:25832"}


def as_survey(things, folder):
    rows = []
    for sort, at, kind in things:
        for k, (x, y) in enumerate(at):
            command = " CL" if sort != "line" and k == len(at) - 1 else ""
            rows.append(f"{k},{5_906_000 + y},{560_000 + x},{kind.upper()}{command}")
    path = folder / "x.csv"
    path.write_text("\n".join(["P,N,E,D", *rows]))
    return path, {"crs": "EPSG:25832"}


@pytest.mark.parametrize("write", [as_geojson, as_gpkg, as_kml, as_gpx, as_dxf, as_survey])
@EVERY
@given(things=THINGS, holes=st.booleans(), split=st.booleans())
def test_the_tally_adds_up_whatever_is_drawn(write, things, holes, split):
    with tempfile.TemporaryDirectory() as folder:
        path, wishes = write(things, Path(folder))
        try:
            found = read_boundaries(path, holes=holes, split_parts=split, **wishes)
        except Refused:
            return
    places = [item.place for item in found.tally.left_out]
    assert len(places) <= found.tally.read * 2
    for choice in (Choice(accept=True), Choice(repair=True, accept=True)):
        done = settle(found, choice).boundaries
        tally = done.tally
        whole = {item.place for item in tally.left_out if not item.partly}
        assert tally.read == tally.used + tally.joined + tally.labels + len(whole), tally
        assert tally.surfaces == len(done.features) == sum(n for _, n in tally.by_kind)
        assert all(math.isfinite(a) and a > 0 for a in shapely.area(done.features.geometry))


def test_a_track_that_runs_on_past_its_start_is_one_thing(tmp_path):
    turn = np.linspace(0, 2 * math.pi, 40) * 1.06
    points = "".join(
        f'<trkpt lat="{LAT + 2e-4 * math.sin(t)}" lon="{LON + 3e-4 * math.cos(t) * (1 + t / 50)}"/>'
        for t in turn.tolist()
    )
    path = tmp_path / "t.gpx"
    path.write_text(f"<gpx><trk><name>Green 1</name><trkseg>{points}</trkseg></trk></gpx>")
    found = read_boundaries(path)
    assert len(found.tally.left_out) == found.tally.read == 1
    assert len(settle(found, Choice()).faults) == 1
    mended = settle(found, Choice(repair=True))
    assert len(mended.rows) == 1 and not mended.boundaries.tally.left_out


def test_copies_that_were_deleted_are_counted_together():
    """Of each it is said which one is kept; files exported twice had a reason an outline."""
    left = [
        LeftOut(place=f"feature {k}", name="", reason=f"deleted by the repair, g-{k}.1 is kept")
        for k in range(20)
    ]
    tally = Tally(read=40, used=20, surfaces=20, by_kind=(), left_out=tuple(left))
    assert str(tally).endswith("20 left out: 20 × deleted by the repair as a copy")
