"""Areas, perimeters and vertex errors on the WGS 84 ellipsoid, without projecting.

A polygon is what RFC 7946 says it is: its edges are straight in longitude and latitude. Its area
on the ellipsoid is the integral over its boundary of the authalic ordinate y along longitude::

    A = | sum over edges of dlon * mean of y over the edge |,   y = a²/2 · q(lat)
    q = (1 - e²) · ( sin lat / (1 - e² sin² lat) + atanh(e sin lat) / e )

(J. P. Snyder, Map Projections: A Working Manual, USGS Professional Paper 1395, 1987, eq. 3-12 and
the cylindrical equal-area projection, eq. 10-15 ff.). On a ring of a few kilometres y is expanded
about the ring's first vertex, so that no digits are lost and no sine is taken per vertex.
"""

from __future__ import annotations

import numpy as np

from geosand.areas.rings import Rings, as_rings, rings_of
from geosand.columns import Bools, Floats, Geometries, Ints

#: WGS 84 (EPSG ellipsoid 7030).
AXIS_M = 6378137.0
FLATTENING = 1 / 298.257223563
ECCENTRICITY_SQUARED = FLATTENING * (2 - FLATTENING)

_ORDER, _CUBIC = 5, 3  # of the expansion of y: of any ring, and of short ones
_SERIES_SPAN_DEG = 0.2  # up to here the first term left out is below 4e-15 of the area
_CUBIC_SPAN_DEG = 0.0017  # 190 m: three terms do, the fourth is below 5e-15 of the area
_NODES = 16  # Gauss-Legendre, per edge of a larger ring: exact to rounding up to 180 degrees


def authalic_q(sine: Floats, eccentricity_squared: float = ECCENTRICITY_SQUARED) -> Floats:
    """q of ``sine`` = sin(latitude), any shape: Snyder 1987, eq. 3-12; 2 on a sphere's pole.

    >>> float(authalic_q(np.array(1.0)).round(12))
    1.995531087503
    """
    e2 = eccentricity_squared
    if e2 == 0.0:
        return 2.0 * sine
    e = np.sqrt(e2)
    q: Floats = (sine / (1 - e2 * sine * sine) + np.arctanh(e * sine) / e) * (1 - e2)
    return q


def radii_m(latitude_deg: Floats) -> tuple[Floats, Floats]:
    """Metres per radian along the meridian and along the parallel at ``latitude_deg``.

    M = a(1 - e²)/(1 - e² sin²)^1.5 and N cos(latitude), N = a/(1 - e² sin²)^0.5 (Snyder 1987,
    eq. 4-18 and 4-20).
    """
    cosine = np.cos(np.radians(latitude_deg))
    root = np.sqrt(1 - ECCENTRICITY_SQUARED * (1 - cosine * cosine))
    meridian = AXIS_M * (1 - ECCENTRICITY_SQUARED) / (root * root * root)
    return meridian, AXIS_M / root * cosine


def ellipsoid_areas_m2(ground: Geometries | Rings) -> Floats:
    """Area in m² on the WGS 84 ellipsoid of each polygon (S,) in lon/lat degrees.

    Holes subtract and parts add, whatever their winding; None and empty polygons have 0.
    Rings that meet themselves, or cross the antimeridian, have no meaning here (see ``audit``).
    Raises ValueError naming the rows that are not polygons.

    >>> import shapely
    >>> column = np.array([shapely.box(3.0, 45.0, 3.001, 45.001)], dtype=object)
    >>> float(ellipsoid_areas_m2(column)[0].round(4))
    8762.3135
    """
    rings = as_rings(ground)
    area = np.abs(_ring_areas_m2(rings))
    return rings.sum_rings(np.where(rings.is_hole, -area, area))


def _ring_areas_m2(rings: Rings) -> Floats:
    """Signed area of each ring, positive where it runs clockwise."""
    sums = np.zeros((_ORDER, len(rings.first)))
    large: list[tuple[slice, Rings, Bools]] = []
    for rows, block, room in rings.blocks_with_room(5):
        longitude, latitude = block.position.T
        width, north, other = room[:3]
        np.subtract(longitude[1:], longitude[:-1], out=width[:-1])
        width[block.last] = 0.0  # no edge leads from a ring to the next
        np.subtract(latitude, block.per_vertex(latitude[block.first]), out=north)  # exact
        if max(north.max(), -north.min()) < _CUBIC_SPAN_DEG:  # as of most rings
            sums[:, rows] = _edge_sums(room, block.first)
            continue
        span = np.maximum.reduceat(np.abs(north, out=other), block.first)
        sums[:, rows] = _edge_sums(room, block.first, span < _CUBIC_SPAN_DEG)
        tall = span > _SERIES_SPAN_DEG
        if tall.any():
            large.append((rows, block, tall))
    order = _ORDER if sums[_CUBIC:].any() else _CUBIC
    series = _ordinate_series(np.radians(rings.position[rings.first, 1]), order)
    to_radians = np.radians(1.0) ** np.arange(2, _ORDER + 2)
    area = np.zeros(len(rings.first))
    for power in range(order):  # in this order, however many rings there are
        area += to_radians[power] * (series[power] * sums[power])
    for rows, block, tall in large:
        area[rows] = np.where(tall, _exact_ring_areas_m2(block), area[rows])
    return area


def _edge_sums(room: Floats, first: Ints, short: Bools | None = None) -> Floats:
    """Per ring (5, R) the sums over its edges of width times the mean of t, t², … t⁵ there.

    ``room`` (5, N) holds width and north; the rest is to work in. t runs from north[i] to
    north[i + 1]: with their sum s and difference d the means are s/2,
    (3s² + d²)/12, s(s² + d²)/8, (5s⁴ + 10s²d² + d⁴)/80 and s(3s⁴ + 10s²d² + 3d⁴)/96. Rings
    that are ``short`` (R,; None = all) leave the last two at 0. Worked in place: memory is what
    takes the time here.
    """
    sums = np.zeros((_ORDER, len(first)))
    width, north, other, square, leaning = room
    np.subtract(north[1:], north[:-1], out=other[:-1])
    np.add(north[1:], north[:-1], out=square[:-1])
    other[-1] = square[-1] = 0.0  # the edge of no width that is behind each ring
    np.multiply(width, square, out=leaning)
    sums[0] = np.add.reduceat(leaning, first) / 2
    square *= square
    other *= other
    if short is not None and not short.all():
        fourth, mixed, last = 5 * square * square, 10 * square * other, other * other
        sums[3] = np.add.reduceat(width * (fourth + mixed + last), first) / 80
        sums[4] = np.add.reduceat(leaning * (0.6 * fourth + mixed + 3 * last), first) / 96
        sums[_CUBIC:, short] = 0.0
    other += square
    leaning *= other
    sums[2] = np.add.reduceat(leaning, first) / 8
    square += square
    other += square
    other *= width
    sums[1] = np.add.reduceat(other, first) / 12
    return sums


def _ordinate_series(latitude: Floats, order: int) -> Floats:
    """Coefficients (order, R) of t, t², … in y(latitude + t) - y(latitude), in m² per radian^k.

    From dy/dt = a²(1 - e²) cos/(1 - e² sin²)², multiplied out as Taylor series.
    """
    sine, cosine = np.sin(latitude), np.cos(latitude)
    sines = np.array([sine, cosine, -sine / 2, -cosine / 6, sine / 24][:order])
    cosines = np.array([cosine, -sine, -cosine / 2, sine / 6, cosine / 24][:order])
    divisor = -ECCENTRICITY_SQUARED * _product(sines, sines)
    divisor[0] += 1
    inverse = np.zeros_like(divisor)
    inverse[0] = 1 / divisor[0]
    for k in range(1, order):
        inverse[k] = -(divisor[1 : k + 1] * inverse[k - 1 :: -1][:k]).sum(axis=0) / divisor[0]
    slope = _product(cosines, _product(inverse, inverse))
    powers = np.arange(1, order + 1)[:, None]
    return AXIS_M**2 * (1 - ECCENTRICITY_SQUARED) * slope / powers


def _product(left: Floats, right: Floats) -> Floats:
    """Product of two power series (order, R), cut off at the same order."""
    return np.array([np.add.reduce(left[: k + 1] * right[k::-1]) for k in range(len(left))])


def _exact_ring_areas_m2(rings: Rings) -> Floats:
    """The same from the exact ordinate, its mean over each edge by Gauss-Legendre quadrature."""
    begin, end = rings.edges()
    width = np.radians(end[:, 0] - begin[:, 0])
    middle, half = (begin[:, 1] + end[:, 1]) / 2, (end[:, 1] - begin[:, 1]) / 2
    reference = rings.per_vertex(authalic_q(np.sin(np.radians(begin[rings.first, 1]))))
    mean = np.zeros(len(width))
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    for node, weight in zip(nodes, weights, strict=True):
        mean += weight / 2 * (authalic_q(np.sin(np.radians(middle + node * half))) - reference)
    return AXIS_M**2 / 2 * rings.sum_edges(width * mean)


def perimeters_m(ground: Geometries | Rings) -> Floats:
    """Length in m of all rings, those of holes included, of each polygon (S,) in lon/lat degrees.

    Edges are measured with the ellipsoid's radii at their middle latitude; for edges up to 1 km
    this agrees with the geodesic to 1e-7.
    """
    rings = as_rings(ground)
    length = np.zeros(len(rings.first))
    for rows, block, room in rings.blocks_with_room(4):
        at = block.position.T
        np.subtract(at[:, 1:], at[:, :-1], out=room[:2, :-1])
        np.add(at[1, 1:], at[1, :-1], out=room[2, :-1])
        room[:3, block.last] = 0.0  # no edge leads from a ring to the next
        east, north = _squares_m2(room)
        east += north
        length[rows] = block.sum_edges(np.sqrt(east, out=east))
    return rings.sum_rings(length)


def _squares_m2(room: Floats) -> tuple[Floats, Floats]:
    """Squares of the metres (N,) of short steps east and north, worked out in place.

    ``room`` (4, N) holds the steps in degrees and the sum of the two latitudes that each is
    between. With T = tan² at their middle N² cos² is a²/v and M is a(1 - e²)·(w/v)^1.5 of
    ``radii_m``, v = 1 + (1 - e²)T and w = 1 + T: a tangent takes a fifth of the time of a cosine.
    """
    east, north, both, other = room
    both *= np.radians(0.5)
    np.tan(both, out=both)
    both *= both
    np.multiply(both, 1 - ECCENTRICITY_SQUARED, out=other)
    other += 1
    both += 1
    both /= other
    east *= AXIS_M * np.radians(1.0)
    east *= east
    east /= other
    north *= AXIS_M * (1 - ECCENTRICITY_SQUARED) * np.radians(1.0)
    north *= north
    np.multiply(both, both, out=other)
    other *= both
    north *= other
    return east, north


def vertex_spread_m2(
    ground: Geometries | Rings,
    vertex_accuracy_m: Floats | float,
    north_accuracy_m: Floats | float | None = None,
) -> Floats:
    """Standard uncertainty in m² of each area (S,) from independent errors of its vertices.

    var A = 1/4 · sum of (dy² s_x² + dx² s_y²) over the vertices of all rings, dx and dy from the
    vertex before to the one after: the derivative of the shoelace formula (Chrisman & Yandell 1988,
    Surveying and Mapping 48:241, from memory). ``vertex_accuracy_m``, one or S values, is s_x, and
    s_y too where ``north_accuracy_m`` is not given: var A = s²/4 · sum of |P(i+1) - P(i-1)|². A
    closing vertex counts once.
    """
    rings = as_rings(ground)
    east = np.asarray(vertex_accuracy_m)
    north = east if north_accuracy_m is None else np.asarray(north_accuracy_m)
    squares = np.zeros((2, len(rings.first)))
    for rows, block, room in rings.blocks_with_room(4):
        at = block.position.T
        ends = (block.last - 1, block.first + 1)
        before, after = (block.position.take(end, axis=0).T for end in ends)
        np.subtract(at[:, 2:], at[:, :-2], out=room[:2, 1:-1])
        np.add(at[1, 2:], at[1, :-2], out=room[2, 1:-1])
        room[:2, block.first], room[2, block.first] = after - before, after[1] + before[1]
        room[:3, block.last] = 0.0  # closing vertices do not count
        for square, step in zip(squares, _squares_m2(room), strict=True):
            square[rows] = block.sum_edges(step)
    dx, dy = (rings.sum_rings(square) for square in squares)
    u: Floats = np.sqrt(dy * east**2 + dx * north**2) / 2
    return u


def rounding_spread_m2(geometries: Geometries, step_deg: Floats) -> Floats:
    """Standard uncertainty in m² of each area (S,) where coordinates are multiples of ``step_deg``.

    Rounding is uniform: s = step/sqrt(12) = 0.29 step in each of longitude and latitude, with
    var A = 1/4 · sum of (dy² s_x² + dx² s_y²), dx and dy between the neighbours of a vertex.
    """
    rings = rings_of(geometries)
    before, after = rings.neighbours()
    meridian, parallel = radii_m((before[:, 1] + after[:, 1]) / 2)
    step = np.radians(after - before)
    # dy · s_x = M dlat · N cos · s_lon and dx · s_y = N cos dlon · M · s_lat: one common factor
    square = (meridian * parallel) ** 2 * (step**2).sum(axis=1)
    total = rings.sum_rings(rings.sum_vertices(square))
    u: Floats = np.radians(step_deg) / np.sqrt(12) / 2 * np.sqrt(total)
    return u
