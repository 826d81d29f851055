"""Where trays are laid: inside by their margin, balanced, repeatable, outside at the distance."""

import numpy as np
import pytest
import shapely
from scipy.stats import qmc

from geosand.planning.placing import EDGE, INSIDE, OUTSIDE, halton, place_catches
from tests.sites import G1, LAT, LON, SURFACES, TOML, square, surface


def placed(results, *, catches=4, seed=1, ring=(), ids=None, **options):
    site = results.site
    row = site.in_force()
    if ids:
        row = row[np.isin(site.surfaces.id[row], ids)]
    settings = {"half_diagonal_m": 0.25, "swath_m": 4.0} | options
    return place_catches(
        site,
        results.areas,
        row=row,
        catches=catches,
        ring_m=np.array(ring, dtype=float),
        seed=seed,
        **settings,
    )


def test_halton_is_that_of_scipy():
    wanted = qmc.Halton(d=2, scramble=False).random(300)
    index = np.arange(300)
    np.testing.assert_allclose(halton(index, 2), wanted[:, 0])
    np.testing.assert_allclose(halton(index, 3), wanted[:, 1])


def test_every_tray_lies_wholly_inside_with_the_boundary_accuracy_to_spare(worked):
    results = worked()
    places = placed(results, catches=40)
    assert np.bincount(places.row).tolist() == [40, 40, 40]
    shapes = results.areas.owned_plane[places.row]
    points = shapely.points(places.x_m, places.y_m)
    assert shapely.within(points, shapes).all()
    # 0.25 m to the tray's corner and 0.05 m of boundary accuracy; buffers are polygons themselves
    assert places.inside_m.min() >= 0.30 - 1e-6
    back = results.areas.plane.forward(places.lon_degree, places.lat_degree)
    np.testing.assert_allclose(back, [places.x_m, places.y_m], atol=1e-6)


def test_one_of_them_sees_the_edge(worked):
    places = placed(worked(), catches=3)
    assert places.zone.tolist() == [INSIDE, INSIDE, EDGE] * 3
    assert (places.inside_m[places.zone == EDGE] <= 2.0).all()
    unknown = placed(worked("unknown"), catches=1, swath_m=np.nan)
    assert unknown.zone.tolist() == [EDGE] * 3
    assert (unknown.inside_m <= 1.0).all()


def test_a_catch_there_leaves_no_edge_taper(worked, site_folder):
    """The rates' own rule agrees that the edge was seen."""
    results = worked()
    places = placed(results, catches=2)
    ids = results.site.surfaces.id[places.row]
    catches = [
        {"catch": f"c{k}", "dressing": "D1", "lon": lon, "lat": lat, "surface": name}
        | {"tray_length_mm": 400, "tray_width_mm": 300, "tare_g": 50, "gross_g": 150}
        for k, (lon, lat, name) in enumerate(
            zip(places.lon_degree, places.lat_degree, ids.tolist(), strict=True)
        )
        if name != "t1"
    ]
    again = worked("again", catches=catches)
    assert not [f for f in again.rates.findings if "half a swath of the edge" in f.text]


def test_the_seed_repeats_and_another_differs(worked):
    results = worked()
    one, same, other = placed(results), placed(results), placed(results, seed=2)
    assert one.lon_degree.tolist() == same.lon_degree.tolist()
    assert not np.isclose(one.x_m, other.x_m).any()
    alone = placed(results, ids=["g2"])
    assert alone.lon_degree.tolist() == one.lon_degree[one.row == 1].tolist()


def test_points_are_balanced_better_than_chance(worked):
    """Counts in the four quarters of a square vary less than those of random points would.

    15 points at random: variance of a quarter's count 15·¼·¾ = 2.81 (binomial).
    """
    results = worked(surfaces=[surface("g1", "green", square(*G1, 60.0))])
    shape = results.areas.owned_plane[0]
    middle = shapely.get_coordinates(shapely.centroid(shape))[0]
    counts, means = [], []
    for seed in range(60):
        places = placed(results, catches=16, seed=seed)
        inside = places.zone == INSIDE
        east, north = places.x_m[inside] > middle[0], places.y_m[inside] > middle[1]
        counts += np.bincount(2 * east + north, minlength=4).tolist()
        means.append([places.x_m[inside].mean(), places.y_m[inside].mean()])
    assert np.var(counts) < 0.5 * 2.81
    # without bias: the mean of all points is the middle of the square
    assert np.abs(np.mean(means, axis=0) - middle).max() < 1.0


def test_points_outside_lie_at_the_distance_and_off_other_ground(worked):
    pond = surface("w1", "water", square(LON + 0.00014, LAT, 4.0))
    results = worked(surfaces=[*SURFACES, pond])
    places = placed(results, ids=["g1", "g2", "t1"], ring=[0.3, 1.0])
    out = places.zone == OUTSIDE
    assert out.sum() == 6
    np.testing.assert_allclose(places.edge_distance_m[out], [0.3, 1.0] * 3)
    points = shapely.points(places.x_m[out], places.y_m[out])
    away = shapely.distance(points, results.areas.owned_plane[places.row[out]])
    np.testing.assert_allclose(away, places.edge_distance_m[out], atol=0.01)
    water = results.areas.owned_plane[results.site.surfaces.kind == "water"][0]
    assert not shapely.within(points, water).any()
    assert np.isnan(places.edge_distance_m[~out]).all()


def test_a_surface_too_small_for_the_tray_is_told(worked):
    small = [*SURFACES, surface("t2", "tee", square(LON, LAT + 0.004, 0.5))]
    places = placed(worked(surfaces=small), catches=2)
    assert [f.about for f in places.findings] == ["t2"]
    assert "0 of 2 points: too small" in places.findings[0].text


def test_boundary_accuracy_widens_the_margin(worked):
    toml = TOML.replace("boundary_accuracy_m = 0.05", "boundary_accuracy_m = 1.5")
    places = placed(worked(toml=toml), catches=30)
    assert places.inside_m.min() >= 1.75 - 1e-6


def test_what_can_not_be_is_refused(worked):
    results = worked()
    for wrong in ({"catches": 0}, {"ring": [0.0]}, {"seed": -1}):
        with pytest.raises(ValueError, match="must be 1 or more"):
            placed(results, **wrong)
