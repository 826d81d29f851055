"""Outlines with long edges keep the ground that they have in their grid.

Oracle: pyproj.Geod on corners set every half metre along the edges in the grid.
"""

import numpy as np
import pyproj
import pytest
import shapely

from geosand.areas.ellipsoid import ellipsoid_areas_m2
from geosand.areas.ownership import owned_geometries
from geosand.areas.plane import Plane
from geosand.formats.boundaries import read_boundaries
from geosand.formats.boundaries.place.straight_edges import written_unit
from geosand.formats.geojson_writing import rounded
from tests.formats.boundaries.conftest import UTM, blob, feature, to_lon_lat

GEOD = pyproj.Geod(ellps="WGS84")
PLACES = {
    UTM: (560_000, 6_650_000),
    "EPSG:2193": (1_750_000, 5_430_000),  # New Zealand
    "EPSG:2263": (987_000, 212_000),  # New York, in US survey feet
    "EPSG:3857": (1_100_000, 8_000_000),
    "EPSG:32760": (817_000, 8_008_000),  # across 180°
}
SHAPES = {
    "triangle": [(0, 0), (800, 0), (400, 400)],
    "half a square": [(0, 0), (300, 0), (300, 300)],
    "lawn": [(0, 0), (150, 0), (75, 100)],
    "fairway": [(0, 0), (800, 0), (800, 50), (0, 50)],
}


def outline(crs, corners, hole=()):
    x, y = PLACES[crs]
    size = 3937 / 1200 if crs == "EPSG:2263" else 1.0
    shell, *holes = ([(x + a * size, y + b * size) for a, b in c] for c in (corners, hole) if c)
    return shapely.Polygon(shell, holes)


def ground_m2(shape, crs):
    move = pyproj.Transformer.from_crs(crs, "OGC:CRS84", always_xy=True)

    def ring(part):
        along = shapely.get_coordinates(shapely.segmentize(part, 0.5))
        return abs(GEOD.polygon_area_perimeter(*move.transform(*along.T))[0])

    return ring(shape.exterior) - sum(ring(hole) for hole in shape.interiors)


@pytest.fixture
def read(write_geojson):
    def reading(shapes, crs):
        rows = [feature(shape, id=f"s{k}", kind="lawn") for k, shape in enumerate(shapes)]
        head = {"crs": {"type": "name", "properties": {"name": crs}}}
        return read_boundaries(write_geojson(rows, **head), believe_place=True)

    return reading


@pytest.mark.parametrize("crs", PLACES)
@pytest.mark.parametrize("name", SHAPES)
def test_areas_are_those_of_the_grid(read, crs, name):
    shape = outline(crs, SHAPES[name])
    truth = ground_m2(shape, crs)
    (area,) = ellipsoid_areas_m2(read([shape], crs).features.geometry)
    assert area == pytest.approx(truth, abs=max(1e-6 * truth, 0.002))


def test_corners_are_told_and_only_added_where_the_area_needs_them(read):
    triangle, fairway = outline(UTM, SHAPES["triangle"]), outline(UTM, SHAPES["fairway"])
    far = shapely.affinity.translate(fairway, 0, 2000)  # its two long edges make up for each other
    found = read([triangle, far, blob(-200, 744_000, 60)], UTM)
    corners = shapely.get_num_coordinates(found.features.geometry)
    assert corners.tolist()[1:] == [5, 25] and corners[0] > 20
    (said,) = [f.text for f in found.findings if "added" in f.text]
    assert said == (
        f"{corners[0] - 4} corners were added on long edges of 1 outline: straight in ETRS89 / UTM"
        " zone 32N, they would not be so between their ends in longitude and latitude"
    )
    told = str(read([triangle], "+proj=utm +zone=32 +datum=WGS84").findings)
    assert "straight in its CRS, they" in told
    # lon/lat is straight by itself (RFC 7946, 3.1.1)
    plain = read([to_lon_lat(triangle)], "OGC:CRS84")
    assert shapely.get_num_coordinates(plain.features.geometry).tolist() == [4]


def test_holes_and_several_parts(read):
    hole = [(300, 100), (500, 100), (400, 150)]
    part = outline(UTM, SHAPES["triangle"], hole)
    shape = shapely.MultiPolygon([part, outline(UTM, [(0, 2000), (400, 2000), (400, 2300)])])
    truth = sum(ground_m2(one, UTM) for one in shape.geoms)
    (found,) = read([shape], UTM).features.geometry
    assert [len(one.interiors) for one in found.geoms] == [1, 0]
    assert ellipsoid_areas_m2(np.array([found])) == pytest.approx([truth], rel=1e-6)


def test_neighbours_still_share_their_edge(read):
    """One runs along it from west to east, the other from east to west, with another area."""
    one = outline(UTM, [(0, 0), (800, 0), (400, 400)])
    other = outline(UTM, [(0, 0), (400, -30), (800, 0)])
    first, second = read([one, other], UTM).features.geometry
    common = shapely.intersection(first, second)
    assert common.geom_type in ("MultiLineString", "LineString")
    assert shapely.get_num_coordinates(shapely.line_merge(common)) > 20
    assert not shapely.overlaps(first, second)


def test_corners_of_a_neighbour_do_not_bend_an_outline(read):
    """The long sides of a path bend alike and need none; its lawn adds some to one of them."""
    path = outline(UTM, [(0, 0), (273, 30), (273, 34), (0, 4)])
    lawn = outline(UTM, [(0, 4), (273, 34), (140, 300)])
    (alone,) = read([path], UTM).features.geometry
    assert shapely.get_num_coordinates(alone) == 5
    both = read([path, lawn], UTM).features.geometry
    truth = [ground_m2(path, UTM), ground_m2(lawn, UTM)]
    assert ellipsoid_areas_m2(both) == pytest.approx(truth, rel=3e-7, abs=5e-4)
    assert shapely.get_num_coordinates(both[0]) > 10


@pytest.mark.parametrize("seed", range(6))
def test_rings_that_touch_in_the_grid_do_not_cross_in_lon_lat(read, seed):
    """Corners on a grid of 1/8 m, so that one lies on the edge of another ring exactly."""
    draw = np.random.default_rng(seed)
    start = np.array([560_000.0, 5_906_000.0]) + draw.integers(0, 800, 2) / 8
    step = draw.integers(1, 40, 2) / 8 * [1, 1]
    across = np.array([-step[1], step[0]])
    shell = [start, start + 8 * step, start + 8 * step + 8 * across, start + 8 * across]
    hole = [start + 3 * step, start + 4 * step + 2 * across, start + 2 * step + 2 * across]
    beside = [start + 5 * step, start + 4 * step - 3 * across, start + 6 * step - 3 * across]
    one = shapely.Polygon(shell, [hole])
    both = shapely.MultiPolygon([one, shapely.Polygon(beside)])
    assert both.is_valid
    found = read([both], UTM)
    assert not len(found.broken)
    (shape,) = found.features.geometry
    assert shape.is_valid
    (area,) = ellipsoid_areas_m2(found.features.geometry)
    # cut into pieces that do not touch, with corners so close that edges are straight in both
    pieces = [shapely.Polygon(shell), shapely.Polygon(hole), shapely.Polygon(beside)]
    fine = np.array([to_lon_lat(shapely.segmentize(piece, 0.5)) for piece in pieces])
    whole, less, more = ellipsoid_areas_m2(fine)
    assert area == pytest.approx(whole - less + more, rel=3e-7, abs=6e-4)


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize(
    ("degrees", "decimals"),
    [(False, 15), (True, 15), (True, 9), (True, 8), (True, 7), (False, 4), (False, 3), (False, 2)],
)
def test_surfaces_that_meet_in_the_middle_of_an_edge_still_do(read, seed, degrees, decimals):
    """A tee, an approach along part of its side and the fairway around: no crack, no sliver.

    In a file of few decimals the corners of the one lie beside the edge of the other, at both ends.
    """
    draw = np.random.default_rng(seed)
    turn = float(draw.uniform(0, 360))
    begin = draw.uniform(2, 18)
    tee, approach = shapely.box(0, 0, 30, 9), shapely.box(begin, 9, begin + 7, 14)
    shapes = [
        shapely.affinity.translate(shapely.affinity.rotate(s, turn, (0, 0)), 560_000, 5_906_000)
        for s in (tee, approach, shapely.box(-5, -5, 35, 20))
    ]
    shapes = [to_lon_lat(shape) for shape in shapes] if degrees else shapes
    shapes = [shapely.transform(s, lambda points: np.round(points, decimals)) for s in shapes]
    found = read(shapes, "OGC:CRS84" if degrees else UTM)
    written = rounded(found.features.geometry)
    kinds = np.array(["tee", "approach", "fairway"])
    ground = Plane.around(written).to_plane(owned_geometries(written, kinds, np.zeros(3, int)))
    left = shapely.box(-5, -5, 35, 20).difference(shapely.union(tee, approach))
    coarse = decimals in (2, 7)  # corners are up to a centimetre off; a crack would add 14 m
    # the grid's scale is 0.99964 here
    length = pytest.approx(left.length / 0.99964, abs=0.06 if coarse else 0.01)
    assert shapely.length(ground[2]) == length
    told = [f.text for f in found.findings if "as near as the last decimal" in f.text]
    assert len(told) == (decimals in (2, 3, 7, 8))
    assert not told or told[0].startswith("2 corners were added on 1 outline where")


def test_the_last_decimal_of_numbers():
    """What is drawn as an arc beside them is not on their grid; whole metres say nothing."""
    draw = np.random.default_rng(2)
    for decimals in range(2, 8):
        points = np.round(draw.uniform(5e5, 6e6, (300, 2)), decimals)
        points[:20] += draw.uniform(0, 1, (20, 2))
        assert written_unit(points, 0.01) == 10.0**-decimals
    assert written_unit(np.round(draw.uniform(5e5, 6e6, (300, 2)), 1), 0.01) == 0.0
    assert written_unit(draw.uniform(9.9, 9.91, (300, 2)), 1e-7) == 0.0
