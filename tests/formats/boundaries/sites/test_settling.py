"""Doubtful boundaries: asked about before anything is written, mended or taken when said so."""

from __future__ import annotations

import json

import numpy as np
import pytest
import shapely

from geosand.areas.crossings import METHODS
from geosand.areas.ellipsoid import ellipsoid_areas_m2
from geosand.areas.plane import Plane
from geosand.errors import Refused, Undecided
from geosand.formats.boundaries import new_site, read_boundaries
from geosand.formats.boundaries.sites.ground import ground_by_kind
from geosand.formats.boundaries.sites.questions import Choice
from geosand.formats.boundaries.sites.settling import settle
from geosand.formats.site_folder import read_site
from tests.formats.boundaries.conftest import LAT, LON, feature
from tests.formats.boundaries.sites.test_site_folders import digest

PLANE = Plane(longitude_deg=LON + 1e-4 / 3, latitude_deg=LAT + 1e-4 / 3)
ACCEPT, REPAIR = Choice(accept=True), Choice(repair=True)


def drawn(shape):
    """A shape in metres as lon/lat."""
    return PLANE.to_lonlat(np.array([shape], dtype=object))[0]


def square(x, y, side):
    return shapely.box(x - side / 2, y - side / 2, x + side / 2, y + side / 2)


BOW = shapely.Polygon([(100, 0), (120, 20), (120, 0), (100, 20)])


def rows_of_mess():
    shapes = [
        ("g1", "green", square(0, 0, 20), {}),
        ("g1b", "green", square(0, 0, 20), {}),
        ("g1c", "green", square(0.1, 0, 20), {}),
        ("bow", "tee", BOW, {}),
        ("dot", "bunker", square(60, 0, 0.3), {}),
        ("under", "lawn", square(0, 40, 8), {}),
        ("t1", "tee", square(0, 40, 9), {}),
        ("c1", "collar", square(0, 0, 22), {"around": "g1"}),
        ("c2", "collar", square(0, 80, 5), {"around": "g9"}),
    ]
    return [feature(drawn(s), id=i, kind=k, **more) for i, k, s, more in shapes]


@pytest.fixture
def mess(write_geojson):
    return read_boundaries(write_geojson(rows_of_mess()))


def test_everything_that_asks_is_asked_at_once_and_nothing_is_written(tmp_path, mess):
    before = digest(tmp_path)
    with pytest.raises(Undecided) as asked:
        new_site(tmp_path / "s", mess, name="x")
    texts = {fault.row: str(fault) for fault in asked.value.faults}
    assert list(texts) == ["feature 2", "feature 3", "feature 4", "feature 5", "feature 6"]
    assert texts["feature 2"] == (
        "in.geojson, feature 2: g1b: it is the same polygon as g1 (400.0 m²). --repair keeps g1"
        " alone, --accept keeps both."
    )
    assert (
        "g1c: it is nearly the same polygon as g1: 99.5 % of the ground is common"
        in (texts["feature 3"])
    )
    assert texts["feature 4"].endswith(
        "200.0 m² by loops or even-odd, 100.0 m² by largest, 400.0 m² by uncrossed."
        " --repair keeps all its loops (another way with --crossings), --accept leaves the surface"
        " out."
    )
    assert "dot: its whole area is 0.090 m²" in texts["feature 5"]
    assert texts["feature 5"].endswith("--repair deletes the surface, --accept keeps it as drawn.")
    assert (
        "under: it owns no ground: other surfaces lie on all of it (64.0 m² drawn"
        in (texts["feature 6"])
    )
    assert texts["feature 6"].endswith(
        "Delete it, or what lies on it, or --accept keeps it without ground."
    )
    assert digest(tmp_path) == before and not (tmp_path / "s").exists()


def test_what_is_only_told(mess):
    settled = settle(mess, Choice())
    (text,) = [f.text for f in settled.findings if f.about == "c1"]
    assert text.startswith(
        "it is drawn as a filled disc over g1: 484.0 m² drawn, 84.0 m² are the ring that it owns;"
    )
    assert text.endswith(". --repair cuts g1 out of it")
    found = {(name, remark.sort): remark for name, remark in settled.remarks}
    remark = found["bow", "crossing"]
    x, y = PLANE.forward(*map(np.array, remark.place))
    assert (float(x), float(y)) == pytest.approx((110, 10), abs=1e-3)
    assert remark.size_m2 == pytest.approx(300, abs=1e-2)  # 100 to 400 m², by the way it is read


def test_accepted_as_it_stands(tmp_path, mess):
    done = new_site(tmp_path / "s", mess, name="x", season_start="2026-03-01", choice=ACCEPT)
    read = read_site(tmp_path / "s")
    assert read.surfaces.id.tolist() == ["g1", "g1b", "g1c", "dot", "under", "t1", "c1", "c2"]
    assert len(done.faults) == 5 and done.mended == ()
    assert done.boundaries.tally.surfaces == 8
    assert [item.place for item in done.boundaries.tally.left_out] == ["feature 4"]
    texts = [f.text for f in done.findings if f.about == "c2"]
    assert "its column around names 'g9', which is no surface here: it is written without" in texts


def test_repaired(tmp_path, mess):
    with pytest.raises(Undecided) as asked:
        new_site(tmp_path / "s", mess, name="x", choice=REPAIR)
    assert [fault.row for fault in asked.value.faults] == ["feature 6"]  # no mend for that
    both = Choice(repair=True, accept=True)
    done = new_site(tmp_path / "s", mess, name="x", season_start="2026-03-01", choice=both)
    read = read_site(tmp_path / "s")
    assert read.surfaces.id.tolist() == ["g1", "under", "t1", "c1", "c2", "bow"]
    areas = dict(zip(read.surfaces.id, ellipsoid_areas_m2(read.surfaces.geometry), strict=True))
    assert areas["bow"] == pytest.approx(200, abs=1e-3)
    assert areas["c1"] == pytest.approx(84, abs=1e-2)
    said = {m.id: str(m) for m in done.mended}
    assert said["bow"] == "bow: crossings mended: all its loops, in 2 parts (0.00 m² → 200.0 m²)"
    assert said["c1"] == "c1: g1 cut out (484.0 m² → 84.0 m²)"
    assert said["g1b"] == "g1b: deleted by the repair, g1 is kept (400.0 m² → 0.00 m²)"
    tally = done.boundaries.tally
    assert (tally.read, tally.used, tally.surfaces) == (9, 6, 6)
    assert tally.read == tally.used + len(tally.left_out)
    assert str(tally) == (
        "9 read, 6 became surfaces (2 collar, 2 tee, 1 green, 1 lawn), 3 left out: 2 × deleted by"
        " the repair as a copy; 1 × deleted by the repair"
    )


@pytest.mark.parametrize(("method", "area"), [("largest", 100), ("uncrossed", 400)])
def test_the_way_a_crossing_is_mended_is_chosen(tmp_path, write_geojson, method, area):
    only = read_boundaries(write_geojson([feature(drawn(BOW), id="bow", kind="tee")]))
    choice = Choice(repair=True, crossings=method)
    new_site(tmp_path / "s", only, name="x", season_start="2026-03-01", choice=choice)
    areas = ellipsoid_areas_m2(read_site(tmp_path / "s").surfaces.geometry)
    assert areas == pytest.approx([area], abs=1e-3)


def test_the_only_polygon_is_a_bow_tie(tmp_path, write_geojson):
    only = read_boundaries(write_geojson([feature(drawn(BOW), id="bow", kind="tee")]))
    with pytest.raises(Undecided, match=r"bow: the boundary crosses itself .* 400.0 m² by uncross"):
        new_site(tmp_path / "s", only, name="x")
    with pytest.raises(Refused) as none:
        new_site(tmp_path / "s", only, name="x", choice=ACCEPT)
    assert str(none.value) == (
        "in.geojson: no surface in it: 1 read, 0 became surfaces, 1 left out: 1 × its outline"
        " crosses or touches itself (self-intersection). Mend what crosses itself, in the drawing"
        " or with --repair."
    )
    assert not (tmp_path / "s").exists()


def test_areas_that_could_not_be_read_are_asked_about_points_and_lines_are_not(
    tmp_path, write_geojson
):
    two = {"type": "Polygon", "coordinates": [[[LON, LAT], [LON, LAT + 0.1], [LON, LAT]]]}
    rows = [
        feature(drawn(square(0, 0, 20)), id="g", kind="green"),
        feature(shapely.Point(LON, LAT), id="pin"),
        feature(shapely.LineString([(LON, LAT), (LON, LAT + 0.01)]), id="way", kind="fairway"),
        feature(None, id="empty"),
    ]
    fine = read_boundaries(write_geojson(rows))
    new_site(tmp_path / "fine", fine, name="x")
    rows.append({"type": "Feature", "properties": {"id": "two"}, "geometry": two})
    bad = read_boundaries(write_geojson(rows))
    with pytest.raises(Undecided) as asked:
        new_site(tmp_path / "bad", bad, name="x")
    assert str(asked.value) == (
        "in.geojson, feature 5: a ring has 2 corners; 3 are needed. Draw it again, or --accept goes"
        " on without it."
    )
    new_site(tmp_path / "bad", bad, name="x", choice=ACCEPT)
    assert bad.tally.read == 5 == bad.tally.used + len(bad.tally.left_out)


def test_a_line_that_nearly_closes(tmp_path, write_geojson):
    """20 m square with 1 m missing at the end: closed straight it is 400 m²."""
    ring = [(0, 0), (20, 0), (20, 20), (0, 20), (0, 1)]
    line = drawn(shapely.LineString(ring))
    rows = [
        feature(drawn(square(80, 0, 20)), id="g", kind="green"),
        feature(line, id="open", kind="tee"),
        feature(line, id="loop", kind="path"),  # a path may be a loop
    ]
    found = read_boundaries(write_geojson(rows))
    with pytest.raises(Undecided) as asked:
        new_site(tmp_path / "s", found, name="x")
    assert str(asked.value) == (
        "in.geojson, feature 2: open: a line that does not close: its ends are 1.00 m apart; closed"
        " straight it is 400.0 m². --repair closes it straight, --accept leaves the line out."
    )
    done = new_site(tmp_path / "s", found, name="x", choice=REPAIR)
    assert [row.properties["id"] for row in done.rows] == ["g", "open"]
    assert str(done.mended[0]).endswith("1.00 m apart) (0.00 m² → 400.0 m²)")
    tally = done.boundaries.tally
    assert (tally.read, tally.used, len(tally.left_out)) == (3, 2, 1)
    left = new_site(tmp_path / "t", found, name="x", choice=ACCEPT)
    assert [row.properties["id"] for row in left.rows] == ["g"]


def test_an_outline_whose_first_point_was_not_taken_again(tmp_path, write_geojson):
    """A bunker of eight points: its gap is as long as its steps, an eighth of the way round."""
    angle = np.arange(8) * np.pi / 4
    points = np.column_stack([4 * np.cos(angle), 4 * np.sin(angle)])
    line = drawn(shapely.LineString(points))
    found = read_boundaries(write_geojson([feature(line, id="b", kind="bunker")]))
    area = r"3\.0\d m apart; closed straight it is 45\.3 m²"  # 2√2·16
    with pytest.raises(Undecided, match=area):
        new_site(tmp_path / "s", found, name="x")
    assert len(new_site(tmp_path / "s", found, name="x", choice=REPAIR).rows) == 1
    half = feature(drawn(shapely.LineString(points[:5])), id="b", kind="bunker")
    assert not len(read_boundaries(write_geojson([half])).broken)
    with pytest.raises(Refused, match="Close these lines in the drawing or with --repair"):
        new_site(tmp_path / "t", found, name="x", choice=ACCEPT)


def test_drawn_and_owned_ground_by_kind(write_geojson):
    rows = [
        feature(drawn(square(0, 0, 20)), id="g", kind="green", elevation_m=1000),
        feature(drawn(square(0, 0, 60)), id="f", kind="fairway", elevation_m=1000),
        feature(drawn(square(99, 0, 30)), id="t", kind="tee"),
    ]
    done = settle(read_boundaries(write_geojson(rows)), Choice())
    assert done.faults == ()
    ((kind, count, whole, owned),) = ground_by_kind(list(done.rows))
    assert (kind, count) == ("fairway", 1)
    height = (1 + 1000 / 6_371_000) ** 2  # at ground level, as in the table of areas
    assert whole == pytest.approx(3600 * height, abs=0.01)
    assert owned == pytest.approx((3600 - 400) * height, abs=0.01)


def test_real_overlaps_do_not_hold_an_import_up(tmp_path, write_geojson):
    """Fairways under greens, bunkers in approaches, collars as rings and discs: the rule."""
    rows = []
    for k in range(18):
        x = 150.0 * k
        ring = square(x, 0, 22).difference(square(x, 0, 20)) if k % 2 else square(x, 0, 22)
        rows += [
            feature(drawn(square(x, 0, 20)), id=f"g{k}", kind="green"),
            feature(drawn(ring), id=f"c{k}", kind="collar", around=f"g{k}"),
            feature(drawn(shapely.box(x - 20, -9, x + 20, 130)), id=f"f{k}", kind="fairway"),
            feature(drawn(square(x, 24, 14)), id=f"a{k}", kind="approach"),
            feature(drawn(square(x + 8, 26, 6)), id=f"b{k}", kind="bunker"),
        ]
    found = read_boundaries(write_geojson(rows))
    done = new_site(tmp_path / "s", found, name="x")
    assert done.faults == () and len(done.rows) == 90
    assert {kind for kind, *_ in ground_by_kind(list(done.rows))} == {
        *("collar", "fairway", "approach")
    }


def test_ring_order_is_said_once(tmp_path, write_geojson):
    clockwise = shapely.reverse(shapely.orient_polygons(drawn(square(0, 0, 20))))
    rows = [feature(clockwise, id="g", kind="green")]
    done = new_site(tmp_path / "s", read_boundaries(write_geojson(rows)), name="x")
    assert [f.text for f in done.boundaries.findings] == [
        "1 outline runs clockwise: it is written counter-clockwise (RFC 7946, 3.1.6), the area"
        " stays"
    ]
    written = json.loads((tmp_path / "s/surfaces.geojson").read_text())
    assert shapely.is_ccw(shapely.LinearRing(written["features"][0]["geometry"]["coordinates"][0]))


def test_a_site_on_both_sides_of_the_antimeridian(tmp_path, write_geojson):
    ring = [[179.9999, -16.8], [-179.9999, -16.8], [-179.9999, -16.7998], [179.9999, -16.7998]]
    across = {"type": "Polygon", "coordinates": [[*ring, ring[0]]]}
    east = shapely.box(-179.9995, -16.8, -179.9993, -16.7998)
    west = shapely.box(179.9991, -16.8, 179.9993, -16.7998)
    rows = [
        {"type": "Feature", "properties": {"id": "a", "kind": "green"}, "geometry": across},
        feature(east, id="e", kind="green"),
        feature(west, id="w", kind="green"),
    ]
    found = read_boundaries(write_geojson(rows))
    said = [f.text for f in found.findings]
    assert "1 outline crosses the antimeridian: cut at 180° (RFC 7946, 3.1.9)" in said
    new_site(tmp_path / "s", found, name="x", season_start="2026-03-01")
    surfaces = read_site(tmp_path / "s").surfaces
    areas = ellipsoid_areas_m2(surfaces.geometry)
    assert areas == pytest.approx([areas[1]] * 3, rel=1e-6)  # all are 0.0002° wide and high


FAILURES = {
    "a web page": b"<!doctype html><html></html>",
    "cut off": b'{"type": "FeatureCollection", "features": [',
    "no features": b'{"type": "FeatureCollection", "features": []}',
    "metres": b'{"type":"FeatureCollection","features":[{"type":"Feature","properties":{},'
    b'"geometry":{"type":"Polygon","coordinates":[[[560000,5906000],[560020,5906000],'
    b"[560020,5906020],[560000,5906000]]]}}]}",
    "empty": b"",
}


@pytest.mark.parametrize("case", [case for case in FAILURES if case != "metres"])
def test_a_failed_new_leaves_nothing(tmp_path, case):
    (tmp_path / "in.geojson").write_bytes(FAILURES[case])
    before = digest(tmp_path)
    with pytest.raises(Refused):
        new_site(tmp_path / "s", read_boundaries(tmp_path / "in.geojson"), name="x")
    assert digest(tmp_path) == before and not (tmp_path / "s").exists()


def test_heights_of_several_parts_are_read(tmp_path, write_geojson):
    parts = shapely.MultiPolygon([drawn(square(0, 0, 9)), drawn(square(40, 0, 9))])
    high = shapely.force_3d(parts, 41.5)
    found = read_boundaries(write_geojson([feature(high, id="t", kind="tee")]))
    assert found.features.elevation_m.tolist() == [41.5]
    document = {"type": "FeatureCollection", "features": [feature(high, id="t", kind="tee")]}
    new_site(tmp_path / "s", found, name="x", season_start="2026-03-01")
    (tmp_path / "s/surfaces.geojson").write_text(json.dumps(document))
    assert read_site(tmp_path / "s").surfaces.elevation_m.tolist() == [41.5]


def test_a_green_may_be_named_by_its_name(tmp_path, write_geojson):
    ring = square(0, 0, 22).difference(square(0, 0, 20))
    rows = [
        feature(drawn(square(0, 0, 20)), name="Green Seven", kind="green"),
        feature(drawn(ring), id="c", kind="collar", around="Green Seven"),
    ]
    done = new_site(tmp_path / "s", read_boundaries(write_geojson(rows)), name="x")
    assert [row.properties.get("around") for row in done.rows] == [None, "green-seven"]


@pytest.mark.parametrize("seed", range(12))
def test_tangles_are_asked_about_and_every_answer_gives_a_site(tmp_path, write_geojson, seed):
    """Random outlines, each answer in turn: a site that can be read, or a refusal in words."""
    rng = np.random.default_rng(seed)
    kinds = ("green", "collar", "fairway", "bunker")
    rows = []
    for k in range(8):
        corners = rng.uniform(0, 30, (int(rng.integers(3, 9)), 2)) + np.array([20 * k, 0])
        rows.append(feature(drawn(shapely.Polygon(corners)), id=f"s{k}", kind=kinds[k % 4]))
    found = read_boundaries(write_geojson(rows))
    for number, choice in enumerate(
        [ACCEPT, *(Choice(repair=True, crossings=way, accept=True) for way in METHODS)]
    ):
        folder = tmp_path / f"s{number}"
        done = new_site(folder, found, name="x", season_start="2026-03-01", choice=choice)
        tally = done.boundaries.tally
        assert tally.read == 8 == tally.used + sum(not i.partly for i in tally.left_out)
        read = read_site(folder)
        assert len(read.surfaces) == tally.surfaces
        assert shapely.is_valid(read.surfaces.geometry).all()
