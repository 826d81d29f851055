"""Surfaces as they may be drawn: shapes, targets, heights, editions."""

from __future__ import annotations

import numpy as np
import pytest

from geosand.areas.ellipsoid import ellipsoid_areas_m2
from geosand.formats.site_folder import read_site
from tests.site.test_accepted import HEAD, findings
from tests.sites import (
    CATCHES,
    G1,
    G2,
    SURFACES,
    T1,
    TOML,
    collection,
    refusal,
    square,
    surface,
)


def test_targets_in_inches(site_folder):
    toml = TOML.replace("[targets_mm]\ngreen = 9.0\ntee = 4.0", "[targets_in]\ngreen = 0.5")
    site = read_site(site_folder(toml=toml))
    assert site.surfaces.target_m == pytest.approx([0.0127, 0.0127, np.nan], nan_ok=True)


@pytest.mark.parametrize(
    ("table", "green"),
    [
        ("targets_kg_m2", 9.3),
        ("targets_t_per_ha", 93.0),
        ("targets_lb_per_1000ft2", 1904.792),  # 1 kg/m² is 204.8161 lb/1000 ft² (NIST SP 811)
    ],
)
def test_targets_in_mass_are_depths_by_the_sands_bulk_density(site_folder, table, green):
    """9.3 kg/m² of 1550 kg/m³ are 6 mm; other kinds may be said in another unit."""
    mass = f"[{table}]\ngreen = {green}\n[targets_mm]\ntee = 4.0"
    toml = TOML.replace("[targets_mm]\ngreen = 9.0\ntee = 4.0", mass)
    site = read_site(site_folder(toml=toml))
    assert site.surfaces.target_m == pytest.approx([0.006, 0.006, 0.004], rel=3e-6)
    fine = "[sands.fine]\nbulk_density_g_cm3 = 1.55\nkiln_dried = true\n"
    rows = "dressing,date,surfaces,sand\nD1,2026-04-10,green,dried\n"
    both = site_folder("two alike", toml=toml + fine, dressings=rows)
    np.testing.assert_array_equal(read_site(both).surfaces.target_m, site.surfaces.target_m)


def test_a_target_in_mass_needs_one_stated_bulk_density(site_folder):
    stated = "bulk_density_g_cm3 = 1.55\nu_bulk_density_g_cm3 = 0.03\n"
    mass = TOML.replace("[targets_mm]", "[targets_kg_m2]")
    lighter = "[sands.fine]\nbulk_density_g_cm3 = 1.40\nkiln_dried = true\n"
    rows = "dressing,date,surfaces,sand\nD1,2026-04-10,green,dried\n"
    for name, toml in (("unsaid", mass.replace(stated, "")), ("two", mass + lighter)):
        (fault,) = refusal(site_folder(name, toml=toml, dressings=rows))
        assert fault == (
            "site.toml, [targets_kg_m2]: a target in mass needs the bulk density of the sand, one"
            " for all sands. Give bulk_density_g_cm3, or write [targets_mm]."
        )


def test_a_surfaces_own_target_and_height_win(site_folder):
    own = surface("g2", "green", square(*G2, 30), target_mm=5, elevation_ft=100, slope_percent=2)
    toml = "elevation_m = 10\n" + TOML
    site = read_site(site_folder(toml=toml, surfaces=[SURFACES[0], own, SURFACES[2]]))
    assert site.surfaces.target_m == pytest.approx([0.009, 0.005, 0.004])
    assert site.surfaces.elevation_m == pytest.approx([10, 30.48, 10])
    assert site.surfaces.slope == pytest.approx([np.nan, 0.02, np.nan], nan_ok=True)


def test_a_surface_without_a_name_has_that_of_its_id(site_folder):
    named = surface("g1", "green", square(*G1, 20), name="First green")
    site = read_site(site_folder(surfaces=[named, surface("g2", "green", square(*G2, 30))]))
    assert site.surfaces.name.tolist() == ["First green", "g2"]


def test_heights_of_the_vertices_are_the_elevation(site_folder):
    high = square(*G2, 30)
    high["coordinates"] = [
        [[x, y, 50.0 + k % 4] for k, (x, y) in enumerate(high["coordinates"][0])]
    ]
    folder = site_folder(surfaces=[SURFACES[0], surface("g2", "green", high), SURFACES[2]])
    site = read_site(folder)
    assert site.surfaces.elevation_m == pytest.approx([np.nan, 51.5, np.nan], nan_ok=True)
    assert not any(g.has_z for g in site.surfaces.geometry)
    file = folder / "surfaces.geojson"
    text = file.read_text()
    assert text.count("51.0") == 1
    file.write_text(text.replace("51.0", "1e999"))  # more than any float holds
    flat = read_site(folder)
    assert np.isnan(flat.surfaces.elevation_m).all()
    assert flat.surfaces.geometry.tolist() == site.surfaces.geometry.tolist()


def ring(lon, lat, side):
    return square(lon, lat, side)["coordinates"][0]


SHAPES = {
    "hole wound as the shell": {"type": "Polygon", "coordinates": [ring(*G2, 30), ring(*G2, 10)]},
    "shell wound the other way": {
        "type": "Polygon",
        "coordinates": [ring(*G2, 30)[::-1], ring(*G2, 10)],
    },
    "multipolygon": {
        "type": "MultiPolygon",
        "coordinates": [[ring(*G2, 20)], [ring(G2[0] + 0.001, G2[1], 20)]],
    },
    "collection": {
        "type": "GeometryCollection",
        "geometries": [
            {"type": "Point", "coordinates": list(G2)},
            {"type": "Polygon", "coordinates": [ring(*G2, 30), ring(*G2, 10)]},
        ],
    },
    "four numbers a position": {
        "type": "Polygon",
        "coordinates": [[[x, y, 3.0, 99] for x, y in ring(*G2, 30)], ring(*G2, 10)],
    },
}


@pytest.mark.parametrize("name", SHAPES)
def test_shapes_of_surfaces(site_folder, name):
    surfaces = [SURFACES[0], surface("g2", "green", SHAPES[name]), SURFACES[2]]
    site = read_site(site_folder(surfaces=surfaces, catches=None))
    assert ellipsoid_areas_m2(site.surfaces.geometry)[1] == pytest.approx(800, rel=1e-5)
    said = [str(f) for f in site.findings]
    text = "surfaces.geojson, feature 2: only the polygons of a GeometryCollection are used"
    assert said == ([text] if name == "collection" else [])


def test_the_id_of_the_feature_serves(site_folder):
    feature = surface(None, "green", square(*G1, 20)) | {"id": 7}
    site = read_site(site_folder(surfaces=[feature], catches=None))
    assert site.ids.tolist() == ["7"]


@pytest.mark.parametrize(
    "crs", ["urn:ogc:def:crs:OGC:1.3:CRS84", "EPSG:4326", "urn:ogc:def:crs:EPSG::4326"]
)
def test_a_crs_member_that_says_lon_lat(site_folder, crs):
    named = {"type": "name", "properties": {"name": crs}}
    assert read_site(site_folder(surfaces=collection(SURFACES, crs=named))).findings == ()


def test_an_unknown_kind_is_ranked_as_other(site_folder):
    surfaces = [*SURFACES, surface("x", "Fairwy", square(*T1, 40))]
    assert findings(site_folder(surfaces=surfaces)) == [
        "x: kind 'fairwy' is ranked as 'other'; did you mean fairway?"
    ]


def test_a_dressing_uses_the_edition_of_its_date(site_folder):
    old = collection(
        [surface("g1", "green", square(*G1, 18)), surface("old", "green", square(*G2, 30))]
    )
    new = collection(SURFACES, valid_from="2026-05-01")
    dressings = f"{HEAD}\nD0,2019-04-10,green\nD1,2026-04-10,green\nD2,2026-05-01,green\n"
    site = read_site(
        site_folder(surfaces=new, files={"editions/2020-03-01.geojson": old}, dressings=dressings)
    )
    names = [
        site.surfaces.id[site.dressed.surface[site.dressed.dressing == k]].tolist()
        for k in range(3)
    ]
    assert names == [["g1", "old"], ["g1", "old"], ["g1", "g2"]]
    assert site.surfaces.ground.tolist() == [0, 1, 0, 2, 3]
    assert site.valid_from.astype(str).tolist() == ["2020-03-01", "2026-05-01"]
    assert site.in_force().tolist() == [2, 3, 4]
    assert next(str(f) for f in site.findings) == (
        "D0: its date 2019-04-10 is outside the season; the season's ledger leaves it out"
    )
    assert "D0: its date 2019-04-10 is before the oldest boundaries (2020-03-01), used here" in [
        str(f) for f in site.findings
    ]


def test_without_valid_from_the_season_starts_the_boundaries(site_folder):
    files = {"editions/2020-03-01.geojson": collection(SURFACES)}
    site = read_site(site_folder(files=files))
    assert site.valid_from.astype(str).tolist() == ["2020-03-01", "2026-03-01"]
    assert [str(f) for f in site.findings] == [
        "surfaces.geojson: valid_from is not said beside earlier editions: the season's start is"
        " used"
    ]


def test_a_survey_may_say_its_own_accuracy_and_crs(site_folder):
    surfaces = collection(SURFACES, edge_accuracy_m=0.02, source_crs="EPSG:32626")
    site = read_site(site_folder(surfaces=surfaces))
    assert site.surfaces.edge_accuracy_m.tolist() == [0.02] * 3
    assert site.source_crs == ("EPSG:32626",)


def test_a_site_on_both_sides_of_180_degrees(site_folder):
    """Cut outlines are joined: the same areas as the same site elsewhere (turned by 150°)."""
    turned = [G1[0] + 210.0, G2[0] + 210.0]  # g1 at 180, cut in two; g2 at -179.996

    def at(lon):
        return lon - 360 if lon > 180 else lon

    square_1 = ring(turned[0], G1[1], 20)
    west, east = min(x for x, _ in square_1), max(x for x, _ in square_1) - 360
    south, north = min(y for _, y in square_1), max(y for _, y in square_1)
    cut = {
        "type": "MultiPolygon",
        "coordinates": [
            [[[west, south], [180, south], [180, north], [west, north], [west, south]]],
            [[[-180, south], [east, south], [east, north], [-180, north], [-180, south]]],
        ],
    }
    surfaces = [
        surface("g1", "green", cut),
        surface("g2", "green", square(at(turned[1]), G2[1], 30)),
    ]
    rows = [row | {"lon": at(row["lon"] + 210)} for row in CATCHES]
    site = read_site(
        site_folder(surfaces=surfaces, catches=rows, toml=TOML.replace("tee = 4.0\n", ""))
    )
    assert ellipsoid_areas_m2(site.surfaces.geometry) == pytest.approx([400, 900], rel=1e-5)
    assert [g.geom_type for g in site.surfaces.geometry] == ["Polygon", "Polygon"]
    assert (
        np.ptp([*site.surfaces.geometry[0].bounds[::2], *site.surfaces.geometry[1].bounds[::2]])
        < 0.01
    )
    assert np.abs(site.catches.lon_degree - 180.002).max() < 0.01
    assert site.findings == ()
