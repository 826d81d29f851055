"""Thousands of polygons in one call: against geodesics, forty digits, and one at a time."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from geosand.areas.crosscheck import geodesic_areas_m2
from geosand.areas.ellipsoid import (
    _edge_sums,
    ellipsoid_areas_m2,
    perimeters_m,
    radii_m,
    vertex_spread_m2,
)
from geosand.areas.plane import Planes
from geosand.areas.rings import Rings, rings_from_ragged, rings_of
from tests.references.areas import GEODESIC_NOISE_M2

POLYGONS = 5000


def drawn_at_random(number: int, seed: int) -> np.ndarray:
    """Concave polygons of 0.3 m² to 100 ha at latitudes -75 to 75; some with holes or in parts."""
    random = np.random.default_rng(seed)
    made = np.empty(number, dtype=object)
    radius = np.exp(random.uniform(np.log(0.4), np.log(600), number))
    places = np.column_stack([random.uniform(-179.9, 179.9, number), _latitudes(random, number)])
    for k in range(number):
        corners = random.integers(40, 121)
        angle = (np.arange(corners) + random.uniform(0, 0.8, corners)) * 2 * np.pi / corners
        wobble = 1 + 0.3 * np.cos(random.integers(2, 6) * angle + random.uniform(0, 6))
        ring = radius[k] * wobble[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
        ring = ring[:: random.choice([1, -1])]
        holes = [ring[::3] * 0.4] if k % 3 == 0 and corners > 60 else []
        turned = shapely.Polygon(ring, holes)
        if k % 7 == 0:
            turned = shapely.MultiPolygon([turned, shapely.Polygon(ring + 4 * radius[k])])
        made[k] = _laid(turned, *places[k])
    return made


def _latitudes(random: np.random.Generator, number: int) -> np.ndarray:
    """All latitudes alike, a tenth of them within 2 m of the equator."""
    near = random.uniform(0, 1, number) < 0.1
    return np.where(near, random.uniform(-2e-5, 2e-5, number), random.uniform(-75, 75, number))


def _laid(shape: shapely.Geometry, lon: float, lat: float) -> shapely.Geometry:
    scale = 111_195.0 * np.array([np.cos(np.radians(lat)), 1.0])
    return shapely.transform(shape, lambda metres: np.array([lon, lat]) + metres / scale)


@pytest.fixture(scope="module")
def polygons() -> np.ndarray:
    return drawn_at_random(POLYGONS, 20260303)


@pytest.fixture(scope="module")
def areas(polygons) -> np.ndarray:
    return ellipsoid_areas_m2(polygons)


def test_they_are_what_is_claimed(polygons, areas):
    assert areas.min() < 0.5 and areas.max() > 1e6
    assert (shapely.get_num_interior_rings(polygons) > 0).sum() > 500
    assert (shapely.get_type_id(polygons) == 6).sum() > 500


def test_they_agree_with_geodesics(polygons, areas):
    """To 1 ppm or 0.002 m², the noise of the geodesic way, whichever is larger."""
    geodesic = geodesic_areas_m2(polygons)
    allowed = np.maximum(GEODESIC_NOISE_M2, 1e-6 * geodesic)
    assert (np.abs(areas - geodesic) / allowed).max() < 1


def test_they_agree_with_forty_digits(polygons, areas, exact_area_m2):
    largest = np.argsort(areas)[-3:]
    for row in [*range(0, POLYGONS, 600), *largest.tolist()]:
        assert areas[row] == pytest.approx(exact_area_m2(polygons[row]), rel=1e-12)  # 1e-6 ppm


@pytest.mark.parametrize("short", [False, True])
def test_powers_along_edges_by_quadrature(short):
    """What the series is multiplied with, beside Gauss-Legendre of t, t², … along edges."""
    random = np.random.default_rng(2)
    north, width = random.uniform(-1, 1, 40), random.uniform(-1, 1, 39)
    first = np.array([0, 11, 30])
    width[first[1:] - 1] = 0.0  # from a ring to the next
    room = np.full((5, 40), np.nan)
    room[:2] = np.append(width, 0.0), north
    sums = _edge_sums(room, first, np.array([short, False, short]))
    nodes, weights = np.polynomial.legendre.leggauss(8)
    along = north[:-1, None] * (1 - nodes) / 2 + north[1:, None] * (1 + nodes) / 2
    for order in range(1, 6):
        edge = width * (along**order @ weights) / 2
        expected = np.add.reduceat(edge, first)
        if short and order > 3:
            expected[[0, 2]] = 0.0
        assert sums[order - 1] == pytest.approx(expected, abs=1e-14)


def test_one_by_one_they_are_the_same(polygons, areas):
    alone = np.concatenate([ellipsoid_areas_m2(polygons[k : k + 1]) for k in range(300)])
    assert areas[:300] == pytest.approx(alone, rel=1e-13)
    order = np.random.default_rng(1).permutation(POLYGONS)
    assert ellipsoid_areas_m2(polygons[order]) == pytest.approx(areas[order], rel=1e-13)


def test_a_continent_among_greens_changes_none_of_them(polygons, areas, exact_area_m2):
    large = shapely.Polygon([(10, 40), (40, 42), (38, 60), (8, 58)])
    town = _laid(shapely.Polygon([(0, 0), (9000, 0), (9000, 9000), (0, 8000)]), 5.0, 52.0)
    mixed = np.concatenate([polygons[:50], [large], polygons[50:90], [town], polygons[90:100]])
    found = ellipsoid_areas_m2(mixed)
    assert np.delete(found, [50, 91]) == pytest.approx(areas[:100], rel=1e-12)
    for row in (50, 91):
        assert found[row] == pytest.approx(exact_area_m2(mixed[row]), rel=1e-12)


def _same(left: Rings, right: Rings) -> None:
    assert left.surfaces == right.surfaces
    for name in ("position", "first", "last", "surface", "is_hole"):
        assert np.array_equal(getattr(left, name), getattr(right, name)), name


def test_ragged_columns_are_the_same_rings(polygons, areas):
    kept = polygons[:200]
    _, position, offsets = shapely.to_ragged_array(kept)  # MultiPolygons: three columns
    _same(rings_from_ragged(position, *offsets), rings_of(kept))
    single = kept[shapely.get_type_id(kept) == 3]
    _, position, offsets = shapely.to_ragged_array(single)
    rings = rings_from_ragged(np.column_stack([position, position[:, 0]]), *offsets)  # with heights
    _same(rings, rings_of(single))
    assert ellipsoid_areas_m2(rings).tolist() == ellipsoid_areas_m2(single).tolist()
    assert perimeters_m(rings).tolist() == perimeters_m(single).tolist()
    assert vertex_spread_m2(rings, 0.1).tolist() == vertex_spread_m2(single, 0.1).tolist()


def test_rings_of_holes_parts_and_nothing(column):
    """One column of all sorts beside shapely's own list of rings."""
    box, hole = shapely.box(0, 0, 9, 9), shapely.box(2, 2, 3, 3)
    holed = shapely.Polygon(box.exterior, [hole.exterior, shapely.box(5, 5, 6, 6).exterior])
    high = shapely.force_3d(box, 7.0)
    drawn = column(
        None, holed, shapely.Polygon(), high, shapely.MultiPolygon([box, holed]),
        shapely.MultiPolygon(), hole,
    )  # fmt: skip
    rings = rings_of(drawn)
    assert rings.surface.tolist() == [1, 1, 1, 3, 4, 4, 4, 4, 6]
    assert rings.is_hole.tolist() == [0, 1, 1, 0, 0, 0, 1, 1, 0]
    listed = shapely.get_rings(shapely.get_parts(drawn))
    assert np.array_equal(rings.position, shapely.get_coordinates(listed))
    assert (rings.last - rings.first + 1).tolist() == shapely.get_num_coordinates(listed).tolist()


def test_blocks_hold_every_ring_once(polygons):
    rings = rings_of(polygons)
    seen = [(rows, block) for rows, block in rings.blocks()]
    assert len(seen) > 10
    rows = np.concatenate([np.arange(rows.start, rows.stop) for rows, _ in seen])
    assert rows.tolist() == list(range(len(rings.first)))
    assert sum(len(block.position) for _, block in seen) == len(rings.position)
    for part, block in seen:
        assert block.first[0] == 0 and block.last[-1] == len(block.position) - 1
        assert np.array_equal(block.surface, rings.surface[part])


def test_lengths_and_spread_by_the_radii_themselves(polygons):
    """Beside cosines and roots, edge by edge; up to the poles."""
    caps = [shapely.box(10, lat, 11, lat + 1e-3) for lat in (-90.0, -89.9, 89.99, 0.0)]
    shapes = np.concatenate([polygons, np.array(caps, dtype=object)])
    rings = rings_of(shapes)

    def steps(begin: np.ndarray, end: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        meridian, parallel = radii_m((begin[:, 1] + end[:, 1]) / 2)
        east, north = np.radians(end - begin).T
        return east * parallel, north * meridian

    expected = rings.sum_rings(rings.sum_edges(np.hypot(*steps(*rings.edges()))))
    assert perimeters_m(rings) == pytest.approx(expected, rel=2e-14)
    east, north = (rings.sum_vertices(step**2) for step in steps(*rings.neighbours()))
    east, north = rings.sum_rings(east), rings.sum_rings(north)
    expected = np.sqrt(east * 0.3**2 + north * 0.2**2) / 2
    assert vertex_spread_m2(rings, 0.2, 0.3) == pytest.approx(expected, rel=2e-14)


def test_rings_on_the_planes_of_their_sites(polygons):
    """Many blocks, each with several sites; with room of their own or in place: to the last bit."""
    of = np.arange(POLYGONS) % 40
    near = shapely.transform(polygons, lambda points: points % 0.01)
    planes = Planes.around(near, of)
    expected = shapely.get_coordinates(planes.to_plane(near, of))
    rings = rings_of(near)
    drawn = rings.position.copy()
    assert np.array_equal(planes.rings_to_plane(rings, of).position, expected)
    assert np.array_equal(rings.position, drawn)
    one = np.zeros(POLYGONS, dtype=np.int64)
    alone = Planes.around(near, one)
    by_itself = shapely.get_coordinates(alone.to_plane(near, one))
    assert np.array_equal(alone.rings_to_plane(rings, one).position, by_itself)
    moved = planes.rings_to_plane(rings, of, in_place=True)
    assert np.array_equal(moved.position, expected)
    assert moved.position is rings.position
    assert moved.sum_rings(moved.lengths) == pytest.approx(
        shapely.length(planes.to_plane(near, of)), rel=1e-13
    )
