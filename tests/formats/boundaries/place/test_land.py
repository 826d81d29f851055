"""Which places are land, and what is asked of a site in the sea."""

import pytest
import shapely

from geosand.formats.boundaries import read_boundaries
from geosand.formats.boundaries.place.land import on_land
from tests.formats.boundaries.conftest import feature
from tests.formats.boundaries.refusals import text_of

#: Islands and coasts, (north, east), where a grid of one kilometre has land at a quarter degree.
ISLANDS = [
    (32.3, -64.8),
    (36.05, 14.25),
    (49.45, -2.6),
    (-12.19, 96.83),
    (4.2, 73.5),
    (24.6, -81.8),
]


#: Inhabited ones that the grid does not have.
SMALL_ISLANDS = [(54.18, 7.89), (-9.2, -171.85), (-1.45, 5.63), (10.22, 169.98)]


@pytest.mark.parametrize(("lat", "lon"), [*ISLANDS, *SMALL_ISLANDS, (-18.1, 178.4)])
def test_islands_are_land(lat, lon):
    assert on_land(lon, lat)


@pytest.mark.parametrize(("lat", "lon"), [(0, 0), (53.3, 3.9), (40, -40), (-40, 180), (27, -90)])
def test_seas_are_none(lat, lon):
    assert not on_land(lon, lat)


#: Degrees north and east of turf around the world, rounded: no place here is a site's.
ON_LAND = [
    *((53.3, 9.9), (56, -3), (40, -75), (36, -80), (47, 8), (48, 2), (60, 18), (61, 25)),
    *((52, 5), (40, -8), (38, 24), (41, 29), (25, 55), (30, 31), (-34, 18.5), (-26, 28)),
    *((-33, 151), (-37, 175), (36, 140), (37, 127), (1, 103), (13, 100), (21, -157), (28, -81)),
    *((19, -99), (-34, -58), (-33, -70), (-23, -46), (64, -22), (47, 107), (15, 18), (-17, -65)),
]


@pytest.mark.parametrize(("lat", "lon"), ON_LAND)
def test_sites_on_land_are_believed(write_geojson, lat, lon):
    green = shapely.box(lon, lat, lon + 2e-4, lat + 2e-4)
    assert len(read_boundaries(write_geojson([feature(green, kind="green")])).features) == 1


@pytest.mark.parametrize(
    ("lat", "lon"), [(53.3, 9.9), (56, -3), (51.5, -0.1), (53, -7), (59, 10), (-34, 18.5)]
)
def test_swapped_into_the_sea_is_asked_about(write_geojson, lat, lon):
    """Legal numbers in a temperate latitude, read as a place where no land is known."""
    green = shapely.box(lat, lon, lat + 2e-4, lon + 2e-4)  # exchanged
    path = write_geojson([feature(green, kind="green")])
    text = text_of(path)
    assert "no land is known within a quarter of a degree; with the two axes swapped" in text
    assert "use --swap; if the first is right, --believe-place" in text
    middle = read_boundaries(path, swap_axes=True).features.geometry[0].centroid
    assert (middle.x, middle.y) == pytest.approx((lon, lat), abs=1e-3)
    assert len(read_boundaries(path, believe_place=True).features) == 1
    # who says where the site is, is not asked
    assert len(read_boundaries(path, near=(lat, lon)).features) == 1
