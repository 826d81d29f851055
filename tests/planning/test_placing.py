"""Where trays are laid: inside by their margin, balanced, repeatable, outside at the distance."""

from itertools import pairwise

import numpy as np
import pytest
import shapely
from scipy.stats import qmc

from geosand.planning.drawn_points import EDGE, INSIDE, OUTSIDE, halton
from geosand.planning.placing import place_catches
from tests.sites import G1, LAT, LON, SURFACES, T1, TOML, square, surface


def placed(results, *, catches=4, seed=1, ring=(), ids=None, taken=(), **options):
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
        taken=taken,
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
    results = worked()
    for seed in range(12):  # where the first that is drawn there lies on another, the next is taken
        places = placed(results, catches=3, seed=seed)
        for row in range(3):
            mine = places.row == row
            assert sorted(places.zone[mine].tolist()) == [INSIDE, INSIDE, EDGE]
            assert places.label[mine & (places.zone == EDGE)].tolist() in (["1"], ["2"])
            first = places.inside_m[mine & np.isin(places.label, ["1", "2"])]
            assert first.min() <= 2.0 < first.max()  # and one of the first two does not
    # half a swath of 4 m, and 1 m where no swath is known; it can lie anywhere in there
    for swath, widest in ((4.0, 2.0), (np.nan, 1.0)):
        some = [placed(results, catches=2, swath_m=swath, seed=seed) for seed in range(8)]
        inside = np.concatenate([one.inside_m[one.zone == EDGE] for one in some])
        assert 0.9 * widest < inside.max() <= widest


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
    assert sorted(places.edge_distance_m[out].tolist()) == [0.3] * 3 + [1.0] * 3
    assert places.label[places.edge_distance_m == 0.3].tolist() == ["a"] * 3
    points = shapely.points(places.x_m[out], places.y_m[out])
    away = shapely.distance(points, results.areas.owned_plane[places.row[out]])
    np.testing.assert_allclose(away, places.edge_distance_m[out], atol=0.01)
    water = results.areas.owned_plane[results.site.surfaces.kind == "water"][0]
    assert shapely.distance(points, water).min() >= 0.25  # a tray's half diagonal
    assert np.isnan(places.edge_distance_m[~out]).all()


def test_a_surface_too_small_for_the_tray_is_told(worked):
    small = [*SURFACES, surface("t2", "tee", square(LON, LAT + 0.004, 0.5))]
    places = placed(worked(surfaces=small), catches=2)
    assert [f.about for f in places.findings] == ["t2"]
    assert "0 of 2 points: too small" in places.findings[0].text
    alone = placed(worked(surfaces=small), catches=2, ids=["t2"])
    assert (len(alone.row), [f.about for f in alone.findings]) == (0, ["t2"])


def test_a_surface_hemmed_in_by_water_is_told(worked):
    """A tee of 10 m in a pond of 14 m: half a metre from its edge no tray stands dry."""
    pond = surface("w1", "water", square(*T1, 14.0))
    places = placed(worked(surfaces=[*SURFACES, pond]), ids=["g1", "t1"], catches=3, ring=[0.5])
    told = {found.about: found.text for found in places.findings}
    assert told == {"t1": "0 of 1 points outside: other ground lies there"}


def test_boundary_accuracy_widens_the_margin(worked):
    toml = TOML.replace("boundary_accuracy_m = 0.05", "boundary_accuracy_m = 1.5")
    places = placed(worked(toml=toml), catches=30)
    assert places.inside_m.min() >= 1.75 - 1e-6


def test_what_can_not_be_is_refused(worked):
    results = worked()
    for wrong in ({"catches": 0}, {"ring": [0.0]}, {"seed": -1}):
        with pytest.raises(ValueError, match="must be 1 or more"):
            placed(results, **wrong)


def where(places):
    """Position of each catch id."""
    at = zip(places.lon_degree.tolist(), places.lat_degree.tolist(), strict=True)
    return dict(zip(places.catch.tolist(), at, strict=True))


def test_the_first_of_many_are_the_few_and_an_id_names_one_place(worked):
    results = worked()
    found = [where(placed(results, catches=n, ring=[0.3])) for n in (1, 2, 3, 4, 9)]
    for few, many in pairwise(found):
        assert few.items() <= many.items()
    assert set(found[0]) == {f"{s}-1-{x}" for s in ("g1", "g2", "t1") for x in ("1", "0.3m")}
    # another distance beside it moves nothing
    both = where(placed(results, catches=1, ring=[1.0, 0.3]))
    assert found[0].items() <= both.items()
    assert len(both) == 9


def test_ids_that_a_dressing_has_are_passed_over(worked):
    results = worked()
    first = where(placed(results, catches=3, ring=[0.3]))
    more = where(placed(results, catches=3, ring=[0.3], taken=set(first)))
    assert len(more) == len(first) == 12
    assert not set(more) & set(first)
    assert not set(more.values()) & set(first.values())
    assert {"g1-1-4", "g1-1-5", "g1-1-6", "g1-1-0.3m-2"} <= set(more)
    # half of them taken: the gaps are filled first
    some = where(placed(results, catches=3, taken={"g1-1-2"}))
    assert {i for i in some if i.startswith("g1-")} == {"g1-1-1", "g1-1-3", "g1-1-4"}


def test_a_single_tray_may_lie_anywhere(worked):
    """One tray near the edge alone would stand for the whole surface and read low."""
    results = worked()
    depth = [placed(results, catches=1, seed=k, ids=["g2"]).inside_m[0] for k in range(60)]
    assert max(depth) > 8.0  # a square of 30 m
    assert np.mean(np.array(depth) < 2.0) < 0.5


def test_voronoi_cells_vary_less_than_those_of_random_points(worked):
    """Stevens & Olsen (2004): a balanced sample has Voronoi cells of more equal area."""
    results = worked(surfaces=[surface("g1", "green", square(*G1, 60.0))])
    shape = results.areas.owned_plane[0]
    west, south, east, north = shapely.bounds(shape)
    random = np.random.default_rng(6)

    def spread(x, y):
        cells = shapely.get_parts(
            shapely.voronoi_polygons(shapely.multipoints(np.stack([x, y], 1)), extend_to=shape)
        )
        areas = shapely.area(shapely.intersection(cells, shape))
        return areas.std() / areas.mean()

    balanced, by_chance = [], []
    for seed in range(60):
        places = placed(results, catches=12, seed=seed)
        mine = places.zone == INSIDE
        balanced.append(spread(places.x_m[mine], places.y_m[mine]))
        n = int(mine.sum())
        by_chance.append(spread(random.uniform(west, east, n), random.uniform(south, north, n)))
    assert np.mean(balanced) < 0.75 * np.mean(by_chance)


def test_a_bunker_inside_is_kept_clear_of(worked):
    around = surface("a1", "approach", square(LON - 0.002, LAT, 24.0))
    bunker = surface("b1", "bunker", square(LON - 0.002, LAT, 8.0))
    results = worked(surfaces=[*SURFACES, around, bunker])
    places = placed(results, ids=["a1"], catches=60, ring=[0.4])
    sand = results.areas.owned_plane[results.site.surfaces.kind == "bunker"][0]
    points = shapely.points(places.x_m, places.y_m)
    # a tray's half diagonal and the boundary's accuracy
    assert shapely.distance(points, sand).min() >= 0.30 - 1e-6


def test_trays_on_one_surface_are_walked_to_in_a_short_way(worked):
    results = worked()
    places = placed(results, catches=7, ring=[0.3, 1.0])
    for row in set(places.row.tolist()):
        mine = places.row == row
        x, y = places.x_m[mine], places.y_m[mine]
        walked = np.hypot(np.diff(x), np.diff(y)).sum()
        order = np.argsort(places.catch[mine])
        assert walked < np.hypot(np.diff(x[order]), np.diff(y[order])).sum()
    assert places.row.tolist() == sorted(places.row.tolist())  # surface by surface as given


def test_narrow_parts_and_surfaces_without_ground_do_no_harm(worked):
    """A green wholly under another owns no ground; one of two parts takes points in both."""
    far = square(LON + 0.0006, LAT, 20.0)["coordinates"]
    two = {"type": "MultiPolygon", "coordinates": [square(*G1, 20.0)["coordinates"], far]}
    under = surface("f1", "fairway", square(*G1, 6.0))
    results = worked(surfaces=[surface("g1", "green", two), under, *SURFACES[1:]])
    places = placed(results, ids=["g1", "f1"], catches=12, ring=[0.5])
    assert [f.about for f in places.findings] == ["f1", "f1"]
    east = places.x_m[places.zone != OUTSIDE] > places.x_m.mean()
    assert 2 <= east.sum() <= 10


def test_a_tray_outside_keeps_its_half_diagonal_from_water(worked):
    """A pond along one side of the green, 0.2 m beyond the edge: of 60 trays some come near."""
    pond = surface("w1", "water", square(LON + 0.00018, LAT, 7.0))
    results = worked(surfaces=[*SURFACES, pond])
    water = results.areas.owned_plane[results.site.surfaces.kind == "water"][0]
    near = []
    for seed in range(60):
        places = placed(results, ids=["g1"], catches=1, ring=[1.0], seed=seed)
        out = places.zone == OUTSIDE
        near.append(shapely.distance(shapely.Point(places.x_m[out][0], places.y_m[out][0]), water))
    assert min(near) >= 0.25
    assert min(near) < 2.0


def test_points_keep_apart_the_one_near_the_edge_too(worked):
    """The nearest pair of four, over √(area/4): clearly farther than of four points at random."""
    results = worked()
    site, random = results.site, np.random.default_rng(11)

    def nearest(points):
        apart = np.hypot(*(points[:, None] - points[None]).transpose(2, 0, 1))
        return apart[np.triu_indices(4, 1)].min() / 15.0  # a square of 30 m: √(900/4)

    row = np.flatnonzero(site.surfaces.id == "g2")
    drawn = []
    for seed in range(150):
        placed = place_catches(
            *(site, results.areas),
            row=row,
            catches=4,
            half_diagonal_m=0.25,
            swath_m=6.0,
            ring_m=np.zeros(0),
            seed=seed,
        )
        drawn.append(nearest(np.stack([placed.x_m, placed.y_m], axis=1)))
    chance = [nearest(random.uniform(0.0, 30.0, (4, 2))) for _ in range(2000)]
    assert np.quantile(drawn, 0.05) > 1.7 * np.quantile(chance, 0.05)
    assert np.median(drawn) > 1.2 * np.median(chance)


def test_no_tray_lies_on_another(worked):
    """A square of 10 m and twenty trays of half a metre: some would lie on others."""
    results = worked()
    for seed in range(60):
        few, many = (placed(results, catches=n, seed=seed, ids=["t1"]) for n in (9, 20))
        x, y = many.x_m, many.y_m
        apart = np.hypot(x[:, None] - x, y[:, None] - y)[np.triu_indices(len(x), 1)]
        assert len(many) == 20
        assert apart.min() >= 2 * 0.25
        assert where(few).items() <= where(many).items()


def test_a_surface_full_of_trays_is_told(worked):
    results = worked()
    full = placed(results, catches=1000, ids=["t1"], half_diagonal_m=0.5)
    assert 40 < len(full) < 100  # squares of 1 m at most
    (told,) = full.findings
    assert told.text.startswith(f"{len(full)} of 1000 points: too small or too narrow")
