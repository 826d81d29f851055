"""Grids of a site's own, by one point whose place is known: PROJ, transverse Mercator (tmerc)."""

import pytest

from geosand.areas.ellipsoid import ellipsoid_areas_m2
from geosand.errors import Refused
from geosand.formats.boundaries.place.likely_systems import SITE_SYSTEM
from tests.formats.boundaries.conftest import LAT, LON

FOOT_M = 0.3048


def own_grid(feet_east):
    """The CRS that the refusal names, with the point (5000, 5000) of the file at LON, LAT."""
    told = {"LAT": LAT, "LON": LON, "EAST": 5000 * feet_east, "NORTH": 5000 * feet_east}
    text = SITE_SYSTEM
    for word, number in told.items():
        text = text.replace(f"={word} ", f"={number} ")
    return text


@pytest.mark.parametrize("unit_m", [1.0, FOOT_M])
def test_a_point_with_both_places_puts_a_site_grid_on_the_earth(unit_m, drawing, read):
    """A square of 20 units whose corner is the known point; what its area is by its sides."""
    drawing.header["$INSUNITS"] = 6 if unit_m == 1 else 2
    corners = [(5000, 5000), (5020, 5000), (5020, 5020), (5000, 5020)]
    drawing.modelspace().add_lwpolyline(corners, close=True, dxfattribs={"layer": "GREENS"})
    said = {} if unit_m == 1 else {"unit": "ft"}
    found = read(drawing, crs=own_grid(unit_m), **said).features
    assert found.geometry[0].bounds[:2] == pytest.approx((LON, LAT), abs=1e-8)
    area = ellipsoid_areas_m2(found.geometry)
    assert area == pytest.approx([(20 * unit_m) ** 2], rel=1e-6)


def test_a_crs_without_an_area_is_not_said_to_be_left(drawing, read):
    drawing.header["$INSUNITS"] = 2
    corners = [(5000, 5000), (5020, 5000), (5020, 5020)]
    drawing.modelspace().add_lwpolyline(corners, close=True, dxfattribs={"layer": "GREENS"})
    with pytest.raises(Refused, match="and its CRS is in m") as refusal:
        read(drawing, crs=own_grid(FOOT_M))
    assert "outside the area" not in str(refusal.value)
