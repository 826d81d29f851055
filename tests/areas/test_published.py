"""Published areas and perimeters through both routes: geodesic edges, and geosand's own."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import pytest
import shapely
from pyproj import Geod, Transformer

from geosand.areas.crosscheck import geodesic_areas_m2, grid_areas_m2
from geosand.areas.ellipsoid import authalic_q, ellipsoid_areas_m2
from geosand.areas.plane import Plane
from geosand.areas.register import AreaRegister, area_register
from geosand.site.tables import Surfaces
from tests.references import areas as published
from tests.references.areas import Geodesic

GEOD = Geod(ellps="WGS84")
WITH_INSIDE = [
    published.ANTARCTICA,
    published.ROUND_THE_POLE,
    published.ON_THE_EQUATOR,
    published.OCTANT,
    published.TRIANGLE,
]


def registered(shapes: Sequence[shapely.Geometry]) -> AreaRegister:
    """The area register of polygons in lon/lat at sea level, each a site's surface."""
    n = len(shapes)
    column = np.empty(n, dtype=object)
    column[:] = shapes
    names, unknown = np.array([f"s{k}" for k in range(n)]), np.full(n, np.nan)
    return area_register(
        Surfaces(
            id=names,
            name=names.copy(),
            kind=np.full(n, "lawn"),
            edition=np.arange(n),
            ground=np.arange(n),
            around=np.full(n, -1),
            geometry=column,
            target_m=unknown,
            elevation_m=unknown.copy(),
            slope=unknown.copy(),
            boundary_accuracy_m=np.zeros(n),
            edge_accuracy_m=np.zeros(n),
            edge_bias_m=np.zeros(n),
        )
    )


def by_the_register(shapes: Sequence[shapely.Geometry]) -> tuple[float, float]:
    """Area and perimeter of a polygon whose edges were cut in n pieces, then in 2n (two shapes).

    A piece is straight in lon/lat and not a geodesic: the error falls with n², and goes away in
    (4 · finer - coarser)/3.
    """
    register = registered(shapes)
    coarse, fine = np.column_stack([register.area_m2, register.perimeter_m])
    area, perimeter = (4 * fine - coarse) / 3
    return float(area), float(perimeter)


def cut(corners: Sequence[tuple[float, float]], pieces: int) -> np.ndarray:
    """A ring (N, 2) of geodesics as short edges, not closed, longitudes going on beyond 180."""
    closed = [*corners, corners[0]]
    lines = [[begin, *GEOD.npts(*begin, *end, pieces - 1)] for begin, end in pairwise(closed)]
    ring = np.array([*(point for line in lines for point in line), closed[-1]])
    ring[:, 0] = np.unwrap(ring[:, 0], period=360)
    return ring


def own_route(polygon: Geodesic, pieces: int = 4096) -> tuple[float, float]:
    """Area and perimeter by the register; a pole inside is reached by a meridian and back."""
    rings = [cut(polygon.corners, n) for n in (pieces, 2 * pieces)]
    if not polygon.pole:
        return by_the_register([shapely.Polygon(ring) for ring in rings])
    latitude = 90.0 * polygon.pole
    reaching = [
        np.vstack([ring, [ring[-1, 0], latitude], [ring[0, 0], latitude]]) for ring in rings
    ]
    area, perimeter = by_the_register([shapely.Polygon(ring) for ring in reaching])
    lon, lat = polygon.corners[0]
    meridian = registered([shapely.Polygon([(lon, lat), (lon, latitude), (lon, lat), (lon, lat)])])
    return area, perimeter - meridian.perimeter_m[0]


@pytest.mark.parametrize("polygon", WITH_INSIDE, ids=lambda p: p.name)
def test_geodesic_areas(column, polygon):
    ring = polygon.polygon()
    areas = geodesic_areas_m2(column(ring, shapely.reverse(ring)))
    assert areas == pytest.approx([polygon.area_m2] * 2, abs=polygon.area_tolerance_m2)


@pytest.mark.parametrize("polygon", WITH_INSIDE, ids=lambda p: p.name)
def test_own_areas_and_perimeters(polygon):
    if polygon is published.OCTANT:  # its edges are straight in lon/lat; the pole is a line there
        corners = np.array([(0, 0), (90, 0), (90, 90), (0, 90)])
        steps = np.linspace(0, 1, 4097)[:-1, None]
        ends = np.roll(corners, -1, axis=0)
        ring = [a + steps * (b - a) for a, b in zip(corners, ends, strict=True)]
        coarse = shapely.Polygon(np.vstack([line[::2] for line in ring]))
        area, perimeter = by_the_register([coarse, shapely.Polygon(np.vstack(ring))])
    else:
        area, perimeter = own_route(polygon)
    # a double holds 16 digits: some of the last one are lost on areas of 1e13 m²
    rounding = 2e-14 * polygon.area_m2
    assert area == pytest.approx(polygon.area_m2, abs=polygon.area_tolerance_m2 + rounding)
    if polygon.perimeter_m is not None:
        assert perimeter == pytest.approx(polygon.perimeter_m, abs=polygon.perimeter_tolerance_m)


def test_the_southern_twin_is_as_large():
    """geographiclib (Python package), test_Planimeter0: the south pole gives the negative."""
    north = published.ROUND_THE_POLE
    south = shapely.Polygon([(lon, -lat) for lon, lat in north.corners])
    signed, perimeter = GEOD.geometry_area_perimeter(south)
    assert signed == pytest.approx(-north.area_m2, abs=1)
    assert perimeter == pytest.approx(north.perimeter_m, abs=1e-4)
    twin = np.empty(1, dtype=object)
    twin[:] = [south]
    assert geodesic_areas_m2(twin)[0] == pytest.approx(north.area_m2, abs=1)  # areas have no sign


def test_a_slit_has_no_area_but_a_length(column):
    slit = published.SLIT
    lat = slit.corners[0][1]
    flat = [(0, lat), (0, 90), (180, 90), (180, lat), (180, 90), (0, 90)]
    register = registered([shapely.Polygon(shapely.segmentize(shapely.LinearRing(flat), 0.01))])
    assert register.drawn_m2[0] == pytest.approx(slit.area_m2, abs=slit.area_tolerance_m2)
    assert register.perimeter_m[0] == pytest.approx(
        slit.perimeter_m, abs=slit.perimeter_tolerance_m
    )
    # pyproj gives 0 or half the ellipsoid, as the slit is walked
    ring = slit.polygon()
    areas = sorted(geodesic_areas_m2(column(ring, shapely.reverse(ring))))
    assert areas == pytest.approx([0, published.WHOLE_ELLIPSOID_M2 / 2], abs=1)


@pytest.mark.parametrize("turn", [1, -1])
def test_a_hole_subtracts_whatever_its_winding(column, turn):
    shell, hole = published.HOLED_SHELL, published.HOLED_HOLE[::turn]
    drawn = shapely.Polygon(shell, [hole])
    assert geodesic_areas_m2(column(drawn))[0] == pytest.approx(published.HOLED_AREA_M2, abs=1)
    area, perimeter = by_the_register(
        [shapely.Polygon(cut(shell, n), [cut(hole, n)]) for n in (2048, 4096)]
    )
    assert area == pytest.approx(published.HOLED_AREA_M2, abs=1)
    # the published perimeter is that of the shell alone; sand is thrown off a hole's edge too
    around = published.HOLED_PERIMETER_M + GEOD.line_length(*zip(*hole, hole[0], strict=True))
    assert perimeter == pytest.approx(around, abs=1)


def test_the_whole_ellipsoid(column):
    # one part in 1e15 of a double is 0.06 m² here
    area = ellipsoid_areas_m2(column(shapely.box(-180, -90, 180, 90)))[0]
    assert area == pytest.approx(published.WHOLE_ELLIPSOID_M2, abs=0.3)
    radius = 6378137 * np.sqrt(authalic_q(np.array(1.0)) / 2)
    assert radius == pytest.approx(published.AUTHALIC_RADIUS_M, abs=5e-5)


def test_a_square_of_the_grid_is_not_one_on_the_ground(column):
    to_lonlat = Transformer.from_crs(32618, 4326, always_xy=True)
    east, north = np.array(published.GRID_SQUARE_M).T
    corners = list(zip(*to_lonlat.transform(east, north), strict=True))
    square = column(shapely.Polygon(corners))
    ground_m2 = published.GRID_SQUARE_AREA_M2
    assert geodesic_areas_m2(square)[0] == pytest.approx(ground_m2, abs=1e-3)
    assert grid_areas_m2(square, "EPSG:32618")[0] == pytest.approx(1e10, abs=1)
    assert ground_m2 / 1e10 == pytest.approx(1.000739, abs=5e-7)
    area, perimeter = by_the_register([shapely.Polygon(cut(corners, n)) for n in (4096, 8192)])
    assert area == pytest.approx(ground_m2, abs=1e-3)
    assert perimeter == pytest.approx(published.GRID_SQUARE_PERIMETER_M, abs=1e-5)


def test_small_polygons_agree_within_the_noise_of_the_geodesic_way():
    """300 random 72-gons of radius 0.2 to 200 m: an absolute tolerance, whatever their size."""
    random = np.random.default_rng(300)
    radius = np.exp(random.uniform(np.log(0.2), np.log(200), 300))
    lon, lat = random.uniform(-180, 180, 300), random.uniform(-75, 75, 300)
    angle = np.arange(72) * 2 * np.pi / 72
    wobble = 1 + 0.1 * random.standard_normal((300, 1)) * np.cos(3 * angle)
    x, y = (radius[:, None] * wobble * part for part in (np.cos(angle), np.sin(angle)))
    rings = [
        np.column_stack(Plane(longitude_deg=a, latitude_deg=b).inverse(*xy))
        for a, b, *xy in zip(lon, lat, x, y, strict=True)
    ]
    drawn = shapely.polygons(np.array(rings))
    plane_m2 = np.abs((x * np.roll(y, -1, 1) - np.roll(x, -1, 1) * y).sum(axis=1)) / 2
    own, geodesic = ellipsoid_areas_m2(drawn), geodesic_areas_m2(drawn)
    assert np.abs(geodesic - own).max() < published.GEODESIC_NOISE_M2
    # its own error has no such floor: that of 0.2 m is right to 1e-6, where the noise is 1e-3 of it
    assert own == pytest.approx(plane_m2, rel=1e-6)
    smallest = radius < 1
    assert np.abs(geodesic / plane_m2 - 1)[smallest].max() > 1e-5


def test_officially_recorded_areas_of_counties():
    """The map's scale, 1:500 000, sets the tolerance.

    A line of such a map lies within about 0.1 mm of the full one, 50 m on the ground; over reaches
    of 5 km that is independent, so that an edge of P metres leaves 50 m · sqrt(5 km · P) in doubt:
    200 ppm of a county here, three times that at most. Common edges leave the sum alone. Of all
    2,068 counties of the package with less than 2 % of water the median was 4 ppm below the record.
    """
    shapes, recorded = published.nevada_counties()
    own = ellipsoid_areas_m2(shapes)
    edge = registered(shapes).perimeter_m
    doubt = 50 * np.sqrt(5000 * edge) / recorded
    assert np.median(doubt) == pytest.approx(200e-6, rel=0.2)
    assert (np.abs(own / recorded - 1) < 3 * doubt).all()
    assert own.sum() / recorded.sum() == pytest.approx(1, abs=30e-6)
    # a sphere of the same surface is out by thirty times as much
    sphere = published.AUTHALIC_RADIUS_M**2 * np.array([_sphere_area(shape) for shape in shapes])
    assert abs(sphere.sum() / recorded.sum() - 1) > 5e-4


def _sphere_area(shape: shapely.Geometry) -> float:
    ring = np.radians(shapely.get_coordinates(shapely.segmentize(shape, 0.05)))
    height = (np.sin(ring[1:, 1]) + np.sin(ring[:-1, 1])) / 2
    return abs(float((np.diff(ring[:, 0]) * height).sum()))


YARD, FOOT = 0.9144, 0.3048


def laid_out(x: Sequence[float], y: Sequence[float]) -> shapely.Polygon:
    """Corners by their distance and bearing from the middle of a ground, as a tape lays them."""
    bearing, far = np.degrees(np.arctan2(x, y)), np.hypot(x, y)
    middle = np.full(len(far), -1.9), np.full(len(far), 52.6)
    lon, lat, _ = GEOD.fwd(*middle, bearing, far)
    return shapely.Polygon(np.column_stack([lon, lat]))


@pytest.mark.parametrize(
    ("length_m", "width_m", "area_m2"),
    [
        (105.0, 68.0, 7140.0),  # UEFA Stadium Infrastructure Regulations: the field of play
        (360 * FOOT, 160 * FOOT, 57_600 * FOOT**2),  # NFHS and NCAA football, with end zones
        (300 * YARD, 200 * YARD, 60_000 * YARD**2),  # polo without boards: 12.4 acres
        (40.0, 40.0, 1600.0),  # World Bowls, laws of the sport: greens are 31 to 40 m long
    ],
)
def test_fields_laid_out_by_the_laws_of_their_games(length_m, width_m, area_m2):
    half = np.array([-0.5, 0.5, 0.5, -0.5]) * length_m, np.array([-0.5, -0.5, 0.5, 0.5]) * width_m
    register = registered([laid_out(*half)])
    assert register.area_m2[0] == pytest.approx(area_m2, rel=1e-7)


def test_the_standard_running_track():
    """World Athletics, Track and Field Facilities Manual: bends of 36.50 m, straights of 84.39 m.

    The kerb is 398.12 m long; of arcs drawn by chords nothing but their sagitta is lost.
    """
    turn = np.linspace(-np.pi / 2, np.pi / 2, 2001)
    x, y = 84.39 / 2 + 36.5 * np.cos(turn), 36.5 * np.sin(turn)
    register = registered([laid_out(np.concatenate([x, -x]), np.concatenate([y, -y]))])
    assert register.perimeter_m[0] == pytest.approx(398.12, abs=0.005)
