"""The area register as a document: totals, factors, grid and what is said beside them."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
import shapely

from geosand.formats.site_folder import read_site
from geosand.reports.documents import to_json
from geosand.reports.register import register_document
from tests.sites import LAT, LON, SURFACES, TOML, collection, square, surface

KEYS = (
    *("id", "name", "kind", "area_m2", "u_area_m2", "perimeter_m", "drawn_area_m2"),
    *("geodesic_area_m2", "equal_area_m2", "grid_area_m2", "findings"),
)


@pytest.fixture
def document_of(site_folder):
    def make(surfaces=SURFACES, **members):
        content = collection(surfaces, **members) if members else surfaces
        plain = {"dressings": None, "loads": None, "catches": None}
        return register_document(read_site(site_folder(surfaces=content, **plain)))

    return make


def ring(side: float, hole: float):
    outer, inner = square(LON, LAT, side), square(LON, LAT, hole)
    return {
        "type": "Polygon",
        "coordinates": [outer["coordinates"][0], inner["coordinates"][0][::-1]],
    }


def total(document, kind):
    return next(row for row in document["totals"] if row["kind"] == kind)


def test_the_fixed_keys_stand_first_and_the_document_is_json(document_of):
    document = document_of()
    assert list(document)[:1] == ["site"]
    for row in document["surfaces"]:
        assert [key for key in row if key in KEYS] == list(KEYS)
    assert json.loads(to_json(document))["surfaces"][0]["grid_area_m2"] is None


def test_areas_of_squares(document_of):
    rows = document_of()["surfaces"]
    assert [row["area_m2"] for row in rows] == pytest.approx([400.0, 900.0, 100.0], rel=2e-6)
    assert [row["vertices"] for row in rows] == [4, 4, 4]
    assert [row["holes"] for row in rows] == [0, 0, 0]


def test_an_edge_that_green_and_collar_share_leaves_their_sum(document_of):
    """Closed form: of the sum only the outer edge (96 m) is uncertain; e = 0.10, b = 0.05 m."""
    collar = surface("c1", "collar", ring(24.0, 20.0), around="g1")
    document = document_of([SURFACES[0], collar])
    # vertices, sd 0.05 m: s·a·sqrt(2) for each square, the inner one in both surfaces
    vertices = 0.05 * math.sqrt(2) * math.sqrt(20**2 + 20**2 + 24**2)
    expected = math.hypot(vertices, 96 * 0.10, 96 * 0.05)
    assert total(document, "all")["u_area_m2"] == pytest.approx(expected, rel=1e-3)
    assert total(document, "all")["area_m2"] == pytest.approx(576.0, rel=1e-5)
    green = total(document, "green")["u_area_m2"]
    assert green == pytest.approx(document["surfaces"][0]["u_area_m2"], rel=1e-9)
    parts = [total(document, kind)["u_area_m2"] for kind in ("green", "collar")]
    assert total(document, "all")["u_area_m2"] < math.hypot(*parts)
    assert any("shared" in note or "share" in note for note in document["notes"])


def test_a_bias_adds_up_over_surfaces_apart_from_each_other(document_of):
    """Two greens of 80 and 120 m edge: b enters with 200 m, e and the vertices in quadrature."""
    document = document_of()
    vertices = 0.05 * math.sqrt(2) * math.hypot(20, 30)
    expected = math.hypot(vertices, 0.10 * math.hypot(80, 120), 0.05 * 200)
    assert total(document, "green")["u_area_m2"] == pytest.approx(expected, rel=1e-4)
    assert total(document, "green")["surfaces"] == 2


def test_grid_area_and_combined_scale_factor(document_of):
    """On the central meridian of UTM zone 26 (27 W) areas are 0.9996² of the true ones."""
    square_there = square(-27.0, LAT, 30.0)
    toml_height = [surface("g1", "green", square_there, elevation_m=1000)]
    document = document_of(toml_height, source_crs="EPSG:32626")
    row = document["surfaces"][0]
    assert row["grid_area_m2"] / row["equal_area_m2"] == pytest.approx(0.9996**2, rel=1e-7)
    assert row["grid_scale"] == pytest.approx(0.9996, rel=1e-7)
    # elevation factor R/(R + h) at 1000 m is 0.999843 (tabulated in surveying web pages)
    assert row["combined_scale_factor"] == pytest.approx(0.9996 * 0.999843, abs=5e-7)
    back = row["grid_area_m2"] / row["combined_scale_factor"] ** 2
    assert back == pytest.approx(row["area_m2"], rel=1e-7)
    came, text, *_ = document["notes"]
    assert came == "Boundaries in force: they came in WGS 84 / UTM zone 26N."
    assert text.startswith("Why grid and ground differ: a plan in WGS 84 / UTM zone 26N shows")
    assert "0.111 % less than the ground" in text  # 0.9996² · 0.999843² = 0.998886
    assert "1000 m up" in text


def test_slope_is_a_factor_of_its_own(document_of):
    flat, steep = (
        document_of([surface("g1", "green", square(LON, LAT, 30), slope_percent=p)])
        for p in (0, 10)
    )
    ratio = steep["surfaces"][0]["area_m2"] / flat["surfaces"][0]["area_m2"]
    assert ratio == pytest.approx(math.sqrt(1.01), rel=1e-8)
    assert steep["surfaces"][0]["slope_factor"] == pytest.approx(math.sqrt(1.01), rel=1e-8)
    assert steep["surfaces"][0]["equal_area_m2"] == flat["surfaces"][0]["equal_area_m2"]


def test_u_is_of_the_ground_as_the_area_is(document_of):
    """By hand: 30 m square, e = 0.10, b = 0.05, vertices 0.05 m; two of them at 12 % and at 0."""
    pair = [
        surface("g1", "green", square(LON, LAT, 30), slope_percent=12),
        surface("g2", "green", square(LON + 0.002, LAT, 30)),
    ]
    document = document_of(pair)
    vertices, edge, bias = 0.05 * math.sqrt(2) * 30, 0.10 * 120, 0.05 * 120
    steeper = math.sqrt(1 + 0.12**2)
    level = math.hypot(vertices, edge, bias)
    got = [row["u_area_m2"] for row in document["surfaces"]]
    assert got == pytest.approx([level * steeper, level], rel=1e-4)
    apart = math.hypot(vertices, edge) * math.hypot(steeper, 1)
    together = math.hypot(apart, bias * (steeper + 1))
    assert total(document, "green")["u_area_m2"] == pytest.approx(together, rel=1e-4)


@pytest.mark.parametrize("crs", ["EPSG:4326", "OGC:CRS84", "EPSG:4258"])
def test_longitude_and_latitude_have_no_grid(document_of, crs):
    document = document_of(source_crs=crs)
    assert document["surfaces"][0]["grid_area_m2"] is None
    assert "they came in longitude and latitude (" in document["notes"][0]
    assert "there is no plan to hold them against" in document["notes"][0]
    assert not any("grid" in note for note in document["notes"])
    assert not any("grid" in finding["text"] for finding in document["findings"])


def test_web_mercator_is_never_measured(document_of):
    document = document_of(source_crs="EPSG:3857")
    assert document["surfaces"][0]["grid_area_m2"] is None
    # 2.00002 at 45 N (constructed): 2.15 at this latitude
    assert "they came in Web Mercator, where areas are 2.15 times as large" in document["notes"][0]


def test_where_boundaries_came_from_and_how_well_they_lie(document_of):
    head = {"source": "a.shp", "source_crs": "EPSG:32626", "valid_from": "2026-01-15"}
    document = document_of(**head, datum_accuracy_m=1.5)
    assert document["notes"][0] == (
        "Boundaries in force from 15 January 2026, from a.shp: they came in WGS 84 / UTM zone 26N."
        " Their shift to WGS 84 is good to 1.50 m: all surfaces together may lie so far off, and no"
        " area changes."
    )
    assert (document["source"], document["datum_accuracy_m"]) == ("a.shp", 1.5)
    assert "good to" not in document_of(**head, datum_accuracy_m=0)["notes"][0]
    assert document_of(**head)["datum_accuracy_m"] is None


def test_holes_parts_and_vertices_are_of_the_polygon_as_drawn(document_of):
    second = square(LON + 0.001, LAT, 10.0)["coordinates"]
    shape = {"type": "MultiPolygon", "coordinates": [ring(24, 20)["coordinates"], second]}
    row = document_of([surface("c", "collar", shape)])["surfaces"][0]
    assert (row["vertices"], row["holes"], row["parts"]) == (12, 1, 2)


def test_drawn_and_owned_ground_of_a_fairway_under_a_green(document_of):
    fairway = surface("f", "fairway", square(LON, LAT, 60.0))
    document = document_of([fairway, SURFACES[0]])
    row = document["surfaces"][0]
    assert row["drawn_area_m2"] - row["area_m2"] == pytest.approx(400.0, rel=1e-5)
    assert "surfaces lie on top of it" in row["findings"][0]


def test_overlaps_of_earlier_surveys_are_not_told(site_folder):
    """Only the drawing in force is talked of: each surface once."""
    fairway = surface("f", "fairway", square(LON, LAT, 60.0))
    old = collection([fairway, SURFACES[0]], valid_from="2020-01-01")
    new = collection([fairway, *SURFACES], valid_from="2026-01-01")
    folder = site_folder(surfaces=new, files={"editions/2020.geojson": old})
    document = register_document(read_site(folder))
    told = [f["text"] for f in document["findings"] if "lie on top of it" in f["text"]]
    assert len(told) == 1
    assert document["surfaces"][0]["findings"] == told


def test_accuracies_that_were_not_said_are_said(site_folder):
    toml = "\n".join(line for line in TOML.splitlines() if not line.startswith("edge_accuracy"))
    document = register_document(read_site(site_folder(toml=toml)))
    texts = [finding["text"] for finding in document["findings"]]
    assert "edge accuracy is not said: 0.3 m is used" in texts


def test_only_the_edition_in_force_is_counted(site_folder):
    old = collection([surface("g1", "green", square(LON, LAT, 22.0))], valid_from="2020-01-01")
    new = collection(SURFACES, valid_from="2026-01-01")
    folder = site_folder(surfaces=new, files={"editions/2020.geojson": old})
    document = register_document(read_site(folder))
    assert [row["id"] for row in document["surfaces"]] == ["g1", "g2", "t1"]
    assert total(document, "green")["area_m2"] == pytest.approx(1300.0, rel=1e-5)
    # the old edition's edge does not enter the u of the new one
    alone = register_document(read_site(site_folder("alone", surfaces=new)))
    assert total(document, "all")["u_area_m2"] == pytest.approx(
        total(alone, "all")["u_area_m2"], rel=1e-9
    )


def test_a_surface_without_ground_stays_in_the_register(document_of):
    hidden = surface("l", "lawn", square(LON, LAT, 12.0))
    document = document_of([hidden, SURFACES[0]], source_crs="EPSG:32626")
    row = document["surfaces"][0]
    assert row["area_m2"] == 0 and row["grid_scale"] is None
    assert np.isfinite(total(document, "all")["area_m2"])
    assert shapely.from_geojson(json.dumps(hidden["geometry"])).is_valid


def gon(corners: int, radius_m: float = 13.0):
    """A GeoJSON polygon with its corners on a circle, good to a percent."""
    east = radius_m / (111_320.0 * math.cos(math.radians(LAT)))
    t = [2 * math.pi * (k % corners) / corners for k in range(corners + 1)]
    places = [[LON + east * math.cos(x), LAT + radius_m / 111_180.0 * math.sin(x)] for x in t]
    return {"type": "Polygon", "coordinates": [places]}


def test_chords_that_leave_out_more_than_u_holds_are_told(document_of):
    """A green of 13 m with 16 corners lacks 2.6 % of its circle, one with 36 half a percent."""
    accuracies = {"edge_accuracy_m": 0.05, "edge_bias_m": 0.02}
    for corners, lacking in ((16, 0.026), (36, 0.0)):
        (row,) = document_of([surface("g1", "green", gon(corners))], **accuracies)["surfaces"]
        told = [text for text in row["findings"] if "its corners lie far apart" in text]
        assert len(told) == (lacking > 0)
        if told:
            more = float(told[0].split(" about ")[1].split(" m² more")[0])
            assert more == pytest.approx(lacking * math.pi * 13.0**2, rel=0.08)
            assert more > row["u_area_m2"]
    traced = document_of([surface("g1", "green", gon(16))], edge_accuracy_m=0.3)["surfaces"]
    assert not any("lie far apart on its bends" in text for text in traced[0]["findings"])
