"""Outlines across 180° of longitude: cut without losing ground, joined without gaining any."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from geosand.areas.ellipsoid import ellipsoid_areas_m2
from geosand.formats.boundaries.place.antimeridian import cut, on_one_side
from geosand.formats.boundaries.place.whereabouts import middle_of


def column(*shapes):
    out = np.empty(len(shapes), dtype=object)
    out[:] = shapes
    return out


def wrapped(shape):
    """Longitudes beyond 180° as other programs write them."""
    return shapely.transform(
        shape, lambda p: np.column_stack([(p[:, 0] + 180) % 360 - 180, p[:, 1]])
    )


ACROSS = shapely.box(179.9, -17, 180.2, -16.9)


def test_cut_and_joined_again_is_the_same_ground():
    pieces, rows = cut(column(wrapped(ACROSS)))
    assert rows == [0]
    assert pieces[0].geom_type == "MultiPolygon"
    bounds = sorted(part.bounds[::2] for part in pieces[0].geoms)
    assert bounds == [pytest.approx((-180, -179.8)), pytest.approx((179.9, 180))]
    joined = on_one_side(pieces)
    assert joined[0].geom_type == "Polygon"
    # the same box a degree west, which nothing has to cut
    expected = ellipsoid_areas_m2(column(shapely.box(178.9, -17, 179.2, -16.9)))
    assert ellipsoid_areas_m2(joined) == pytest.approx(expected, rel=1e-9)
    assert ellipsoid_areas_m2(pieces) == pytest.approx(expected, rel=1e-9)


def test_a_hole_across_goes_with_it():
    holed = ACROSS.difference(shapely.box(179.95, -16.98, 180.05, -16.92))
    pieces, _ = cut(column(wrapped(holed)))
    assert ellipsoid_areas_m2(on_one_side(pieces)) == pytest.approx(
        ellipsoid_areas_m2(column(shapely.affinity.translate(holed, -1))), rel=1e-9
    )


def test_what_lies_across_0_is_not_joined_on_the_other_side():
    """Turned on to 360° its outline runs around the Earth, and crosses itself."""
    wave = shapely.Polygon([(-1, 49), (-1, 50), (2, 52), (-2, 51), (-1, 51), (-3, 49)])
    both = shapely.MultiPolygon([wave, shapely.box(5, 50, 6, 51)])
    east, west = shapely.box(179, 50, 180, 51), shapely.box(-180, 50, -179, 51)
    joined = on_one_side(column(both, shapely.MultiPolygon([east, west])))
    assert joined[0].geom_type == "MultiPolygon"
    assert joined[1].equals(shapely.box(179, 50, 181, 51))


def test_what_does_not_cross_comes_back_as_it_was():
    here = column(shapely.box(9, 53, 9.1, 53.1), shapely.box(-75, 40, -74.9, 40.1))
    same, rows = cut(here)
    assert rows == [] and all(a is b for a, b in zip(same, here, strict=True))
    assert on_one_side(here) is here
    nothing = np.empty(0, dtype=object)
    assert cut(nothing)[1] == [] and len(on_one_side(nothing)) == 0


def test_the_middle_of_a_site_on_both_sides():
    west, east = (
        shapely.box(179.98, -17, 179.99, -16.99),
        shapely.box(-179.97, -17, -179.96, -16.99),
    )
    assert middle_of([west, east]) == pytest.approx((-179.99, -16.995))
    assert middle_of([west]) == pytest.approx((179.985, -16.995))


@pytest.mark.parametrize("decimals", [9, 17])
def test_a_surface_that_was_cut_has_its_own_corners_only(decimals):
    """Else its u counts two corners that nobody surveyed."""
    from geosand.areas.ellipsoid import perimeters_m, vertex_spread_m2

    angle = np.arange(40) * np.pi / 20 + 0.01
    round_one = np.column_stack([1.2e-4 * np.cos(angle), 1.1e-4 * np.sin(angle) - 17])
    across = shapely.Polygon(np.round(round_one + np.array([180.00001, 0]), decimals))
    beside = shapely.Polygon(np.round(round_one + np.array([150, 0]), decimals))  # never cut
    pieces, _ = cut(column(across))
    rounded = shapely.transform(pieces, lambda p: np.round(p, decimals))
    joined = on_one_side(rounded)
    assert shapely.get_num_coordinates(joined).tolist() == [41]
    for measure in (ellipsoid_areas_m2, perimeters_m, lambda s: vertex_spread_m2(s, 0.05)):
        assert measure(joined) == pytest.approx(measure(column(beside)), rel=1e-5)


def test_a_corner_that_lies_on_180_degrees_stays():
    kite = shapely.Polygon([(179.9, -17), (180, -17.1), (180.2, -17), (180, -16.9)])
    pieces, _ = cut(column(kite))
    assert shapely.get_num_coordinates(on_one_side(pieces)).tolist() == [5]
