"""Native encodings of GeoParquet 1.1 (GeoArrow's layouts) against the same in well-known binary."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from geosand.portfolio.arrow_geometries import geometries, is_encoded
from geosand.site.outlines import mean_height_m

geopandas = pytest.importorskip("geopandas")
pa = pytest.importorskip("pyarrow")
pq = pytest.importorskip("pyarrow.parquet")

from tests.portfolio.native_columns import (  # noqa: E402
    CORNER,
    POLYGON,
    coordinates,
    native,
    of_rings,
)

CRS = "OGC:CRS84"
SQUARE = [(0.0, 0.0), (4.0, 0.0), (4.0, 4.0), (0.0, 4.0), (0.0, 0.0)]
HOLE = [(1.0, 1.0), (1.0, 2.0), (2.0, 2.0), (1.0, 1.0)]
RINGED = shapely.Polygon(SQUARE, [HOLE, [(3, 3), (3, 3.5), (3.5, 3.5), (3, 3)]])
PLAIN = shapely.Polygon([(0.123456789, 1), (2, 1.987654321), (1, 3)])
PAIR = shapely.MultiPolygon([RINGED, shapely.box(5, 5, 6, 6)])
EMPTY = shapely.Polygon()
ENDS_GEOPANDAS = "both, empty and blank"  #: version 1.2 with shapely 2.2: a segmentation fault
#: geopandas gives each ring whose heights are nan a corner more
SOME_HIGH = ("heights of some", "heights in parts")
MIXES = {
    "polygons of different rings": [RINGED, PLAIN, shapely.box(7, 7, 8, 8)],
    "empty and blank": [None, PLAIN, EMPTY, None, RINGED, EMPTY],
    "multipolygons": [PAIR, shapely.MultiPolygon([PAIR.geoms[1], PLAIN])],
    ENDS_GEOPANDAS: [PLAIN, None, PAIR, EMPTY, shapely.MultiPolygon(), RINGED],
    "heights in parts": [
        shapely.MultiPolygon([shapely.force_3d(PLAIN, 7.0), shapely.box(5, 5, 6, 6)]),
        shapely.force_3d(RINGED, 3.0),
    ],
    "heights": [shapely.force_3d(RINGED, 12.5), shapely.force_3d(PLAIN, -3.25)],
    "heights of some": [shapely.force_3d(PAIR, 7.0), PLAIN, None, RINGED],
    "points": [shapely.Point(1.123456789, 2), None, shapely.Point(), shapely.Point(3, 4)],
    "points with heights": [shapely.Point(1, 2, 3), None, shapely.Point(4, 5, 6)],
}


def same(one, other):
    """The same in every bit; where other bits say the same (nan), the same text."""
    assert shapely.to_wkt(one, rounding_precision=-1).tolist() == (
        shapely.to_wkt(other, rounding_precision=-1).tolist()
    )
    assert [shape is None for shape in one] == [shape is None for shape in other]


def alone(shapes):
    """A multipolygon of one polygon as that polygon, as ``geometries`` has it."""
    out = np.array(shapes, dtype=object)
    for k, shape in enumerate(out):
        if shape is not None and shape.geom_type == "MultiPolygon" and len(shape.geoms) < 2:
            out[k] = shape.geoms[0] if len(shape.geoms) else EMPTY
    return out


@pytest.mark.parametrize("mix", MIXES)
@pytest.mark.parametrize("row_group_size", [2, None])
def test_what_geopandas_wrote_is_what_geopandas_reads(tmp_path, mix, row_group_size):
    shapes = np.array(MIXES[mix], dtype=object)
    frame = geopandas.GeoDataFrame({"number": range(len(shapes))}, geometry=shapes, crs=CRS)
    path, binary = tmp_path / "native.parquet", tmp_path / "binary.parquet"
    frame.to_parquet(path, geometry_encoding="geoarrow", row_group_size=row_group_size)
    frame.to_parquet(binary)
    read = geometries(pq.read_table(path)["geometry"])
    if mix not in (ENDS_GEOPANDAS, *SOME_HIGH):
        same(read, alone(geopandas.read_parquet(path).geometry.to_numpy()))
    plain = alone(geometries(pq.read_table(binary)["geometry"]))
    if mix in SOME_HIGH:  # a native column has heights in all of its rows, or in none
        assert np.array_equal(mean_height_m(read), mean_height_m(plain), equal_nan=True)
        read, plain = shapely.force_2d(read), shapely.force_2d(plain)
    same(read, plain)


@pytest.mark.parametrize("mix", MIXES)
@pytest.mark.parametrize("interleaved", [False, True])
@pytest.mark.parametrize("large", [False, True])
def test_layouts_that_geopandas_does_not_write(mix, interleaved, large):
    column = native(MIXES[mix], interleaved=interleaved, large=large)
    whole = geometries(pa.chunked_array([column]))
    same(geometries(pa.chunked_array([native(MIXES[mix])])), whole)
    for begin in range(len(column)):
        pieces = [column[:begin], column[begin : begin + 1], column[:0], column[begin + 1 :]]
        same(geometries(pa.chunked_array(pieces)), whole)
        same(geometries(pa.chunked_array([column[begin:]])), whole[begin:])
    assert len(geometries(pa.chunked_array([column[:0]]))) == 0


def test_random_polygons_come_back():
    rng = np.random.default_rng(3)
    for _ in range(20):
        parts = []
        for _ in range(int(rng.integers(1, 30))):
            shape = shapely.Point(rng.uniform(-170, 170), rng.uniform(-60, 60)).buffer(
                rng.uniform(0.1, 1), quad_segs=int(rng.integers(1, 9))
            )
            if rng.random() < 0.4:
                shape = shape.difference(shape.centroid.buffer(0.05))
            parts.append(shape)
        rows = np.sort(rng.integers(0, 12, len(parts)))
        shapes = [shapely.MultiPolygon(np.array(parts)[rows == k].tolist()) for k in range(12)]
        same(geometries(pa.chunked_array([native(shapes)])), alone(shapes))


BROKEN = {
    "no ring of three": [SQUARE[:3]],
    "not closed": [SQUARE[:4]],
    "hole not closed": [SQUARE, [*HOLE[:-1], (1.0, 1.5)]],
    "hole of two": [SQUARE, HOLE[:2]],
    "hole without outline": [[], HOLE],
    "nan where it is closed": [[(np.nan, 0.0), *SQUARE[1:4], (np.nan, 0.0)]],
    "blank ring": [SQUARE, None],
    "blank corner at its end": [[None, *SQUARE[1:4], None]],
    "blank number at its end": [[(None, 0.0), *SQUARE[1:4], (0.0, 0.0)]],
}


@pytest.mark.parametrize("broken", BROKEN)
@pytest.mark.parametrize("place", [0, 1, 2])
def test_rows_that_are_no_polygon_cost_no_other(broken, place):
    """None, as of well-known binary; GEOS, which it would end, is not asked."""
    rows = [of_rings([SQUARE]), None, of_rings([SQUARE, HOLE])]
    rows.insert(place, of_rings(BROKEN[broken]))
    shapes = geometries(pa.chunked_array([pa.array(rows, POLYGON)]))
    good = [shapely.Polygon(SQUARE), None, shapely.Polygon(SQUARE, [HOLE])]
    good.insert(place, None)
    same(shapes, np.array(good, dtype=object))
    several = [None if row is None else [of_rings([SQUARE]), row] for row in rows]
    shapes = geometries(pa.chunked_array([pa.array(several, pa.list_(POLYGON))]))
    pairs = [
        None if g is None else shapely.MultiPolygon([shapely.Polygon(SQUARE), g]) for g in good
    ]
    same(shapes, np.array(pairs, dtype=object))


@pytest.mark.parametrize("seed", range(60))
def test_lists_by_chance_are_what_each_row_says(seed):
    """Held against each row looked at by itself: what is no polygon, and no other, is None."""
    rng = np.random.default_rng(seed)

    def some(make, most, blank):
        count = int(rng.integers(0, most))
        return [None if rng.random() < blank else make() for _ in range(count)]

    def ring():
        corners = rng.integers(0, 9, (int(rng.choice([0, 1, 3, 4, 5, 9])), 2)).astype(float)
        if len(corners) and rng.random() < 0.95:
            corners[-1] = corners[0]
        return _corners(corners, rng)

    several = seed % 2 == 1
    polygon = lambda: some(ring, 3, 0.02)  # noqa: E731
    rows = some((lambda: some(polygon, 3, 0.02)) if several else polygon, 40, 0.1)
    column = pa.array(rows, pa.list_(POLYGON) if several else POLYGON)
    read = geometries(pa.chunked_array([column]))
    each = [_by_itself(row if several or row is None else [row]) for row in rows]
    same(read, np.array([*each, None], dtype=object)[:-1])


def _corners(corners, rng):
    if len(corners) and rng.random() < 0.02:
        corners[rng.integers(len(corners)), 0] = np.nan
    return of_rings([corners.tolist()])[0]


def _by_itself(parts):
    """The surface of such parts, None where it is none."""
    if parts is None or any(rings is None or None in rings for rings in parts):
        return None
    shapes = []
    for rings in parts:
        corners = [[(c["x"], c["y"]) for c in ring] for ring in rings]
        sound = all(not c or (len(c) > 3 and c[0] == c[-1]) for c in corners)
        if not sound or (len(corners) > 1 and not corners[0]):
            return None
        shapes.append(_polygon(corners))
    if len(shapes) < 2:
        return shapes[0] if shapes else EMPTY
    return shapely.multipolygons(shapes)


def _polygon(corners):
    if not corners or not corners[0]:
        return EMPTY
    with np.errstate(invalid="ignore"):  # shapely warns of nan
        outline, *holes = (shapely.linearrings(c) if c else shapely.LinearRing() for c in corners)
        return shapely.polygons(outline, holes or None)


def test_a_blank_or_empty_part_of_several():
    rows = [[None, of_rings([SQUARE])], [[], of_rings([SQUARE])], [of_rings([SQUARE])], []]
    shapes = geometries(pa.chunked_array([pa.array(rows, pa.list_(POLYGON))]))
    square = shapely.Polygon(SQUARE)
    kept = shapely.multipolygons([EMPTY, square])  # as from_wkb keeps it
    same(shapes, np.array([None, kept, square, EMPTY], dtype=object))


def test_a_blank_row_may_hide_what_is_no_polygon():
    """Arrow does not say what the lists of a blank row hold."""
    corners = coordinates(np.array([*SQUARE, *SQUARE[:2]]))
    rings = pa.ListArray.from_arrays(pa.array([0, 5, 7], pa.int32()), corners)
    hidden = pa.array([False, True])
    column = pa.ListArray.from_arrays(pa.array([0, 1, 2], pa.int32()), rings, mask=hidden)
    same(geometries(pa.chunked_array([column])), np.array([shapely.Polygon(SQUARE), None]))


def test_a_blank_corner_may_hide_numbers():
    """Nor what the numbers of a blank corner are, here those with which its ring would close."""
    numbers = pa.array(np.array(SQUARE).ravel())
    for hidden in ([0, 4], []):
        blank = pa.array([k in hidden for k in range(5)])
        corners = pa.FixedSizeListArray.from_arrays(numbers, 2, mask=blank)
        rings = pa.ListArray.from_arrays(pa.array([0, 5], pa.int32()), corners)
        column = pa.ListArray.from_arrays(pa.array([0, 1], pa.int32()), rings)
        shape = None if hidden else shapely.Polygon(SQUARE)
        same(geometries(pa.chunked_array([column])), np.array([shape]))


def test_a_ring_that_is_closed_at_another_height_has_no_corner_more():
    raised = [(*corner, float(k)) for k, corner in enumerate(SQUARE)]
    kind = pa.list_(pa.list_(pa.struct([(axis, pa.float64()) for axis in "xyz"])))
    (shape,) = geometries(pa.chunked_array([pa.array([of_rings([raised])], kind)]))
    assert shapely.get_coordinates(shape).tolist() == [list(corner) for corner in SQUARE]
    assert shapely.get_coordinates(shape, include_z=True)[:4, 2].tolist() == [0, 1, 2, 3]


@pytest.mark.parametrize(
    ("encoding", "kind", "can_be"),
    [
        ("polygon", POLYGON, True),
        ("polygon", pa.large_list(pa.large_list(pa.list_(pa.float64(), 2))), True),
        ("polygon", pa.list_(pa.list_(pa.list_(pa.float64(), 4))), False),
        ("polygon", pa.list_(POLYGON), False),
        ("polygon", pa.list_(CORNER), False),
        ("polygon", pa.binary(), False),
        ("multipolygon", pa.list_(POLYGON), True),
        ("multipolygon", POLYGON, False),
        ("point", CORNER, True),
        ("point", pa.struct([("y", pa.float64()), ("x", pa.float64())]), True),
        ("point", pa.struct([("x", pa.float64()), ("y", pa.float32())]), False),
        ("point", pa.struct([("lon", pa.float64()), ("lat", pa.float64())]), False),
        ("point", pa.list_(pa.float64()), False),
        ("WKB", pa.binary(), True),
        ("WKB", pa.large_binary(), True),
        ("WKB", POLYGON, False),
        ("WKB", CORNER, False),
    ],
)
def test_types_that_an_encoding_can_have(encoding, kind, can_be):
    assert is_encoded(kind, encoding) is can_be
