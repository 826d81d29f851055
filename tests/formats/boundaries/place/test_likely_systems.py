"""Proposals for a file that names no CRS: the right one is among them, with where it would land."""

import re

import numpy as np
import pytest
from pyproj import Transformer

from geosand.formats.boundaries.place.likely_systems import proposals
from tests.formats.boundaries.conftest import LAT, LON


def numbers(code, lon, lat, unit=1.0):
    """Bounds of a green at a place, in the numbers of a CRS."""
    x, y = Transformer.from_crs("OGC:CRS84", code, always_xy=True).transform(lon, lat)
    return np.array([x, y, x + 20, y + 20]) / unit


#: Invented places in the areas of grids of every sort.
PLACES = [
    ("EPSG:25832", LON, LAT),
    ("EPSG:27700", -2.8, 56.3),
    ("EPSG:2154", 2.0, 48.0),
    ("EPSG:28992", 5.5, 52.0),
    ("EPSG:2193", 175.0, -39.0),
    ("EPSG:3006", 15.0, 59.0),
    ("EPSG:31467", 9.9, 50.3),
    ("EPSG:7856", 151.0, -33.5),
    ("EPSG:6677", 139.8, 35.7),
    ("EPSG:2229", -118.3, 34.0),
    ("EPSG:2263", -73.5, 40.8),
    ("EPSG:2222", -111.0, 33.3),
    ("EPSG:6455", -87.9, 41.9),
    ("EPSG:31983", -46.6, -23.5),
    ("EPSG:2048", 19.0, -33.9),
]


@pytest.mark.parametrize(("code", "lon", "lat"), PLACES)
def test_a_place_at_the_site_finds_its_grid(code, lon, lat):
    text = proposals(numbers(code, lon, lat), (lon + 0.02, lat))
    assert f"{code}," in text or f"{code} on" in text
    assert "km from the place given" in text
    assert "--near" not in text


@pytest.mark.parametrize(
    ("code", "lon", "lat"), [p for p in PLACES if p[0] in
     ("EPSG:27700", "EPSG:2154", "EPSG:2193", "EPSG:31467", "EPSG:3006")],
)  # fmt: skip
def test_grids_of_countries_are_proposed_by_where_they_land(code, lon, lat):
    text = proposals(numbers(code, lon, lat), None)
    assert f"{code}," in text
    x, y = numbers(code, lon, lat)[:2] + 10
    back = Transformer.from_crs(code, "OGC:CRS84", always_xy=True).transform(x, y)
    shown = float(re.search(f"{code}, [^;]*\\((\\d+\\.\\d+)°", text)[1])
    assert shown == pytest.approx(abs(back[1]), abs=3e-3)  # without its datum shift: 300 m
    assert text.endswith("--near LON LAT, a place at the site, narrows them down")


def test_state_grids_in_feet_are_proposed_with_their_other_zones():
    text = proposals(numbers("EPSG:2229", -118.3, 34.0), None)
    assert "California zone 1 (ftUS), in US survey feet (1200/3937 m)" in text
    assert "and 5 more of its zones" in text


def test_the_two_feet_are_told_apart_by_how_far_they_lie():
    bounds = numbers("EPSG:2229", -118.3, 34.0)
    text = proposals(bounds, (-118.28, 34.0))
    assert "EPSG:2229, NAD83 / California zone 5 (ftUS), in US survey feet" in text
    assert "EPSG:26945 with --unit ft" in text
    # 2 parts in a million of the way to the origin of the grid
    away = float(np.hypot(*(bounds[:2] + 10))) * 1200 / 3937 * 2e-6
    assert f"read in the other one the site lies {away:.2f} m away" in text


def test_a_grid_in_metres_whose_file_is_in_feet():
    bounds = numbers("EPSG:25832", LON, LAT, unit=0.3048)
    assert "EPSG:25832 with --unit ft" in proposals(bounds, (LON, LAT))


def test_degrees_and_swapped_degrees():
    bounds = np.array([9.9, 53.3, 9.9, 53.3])
    assert "EPSG:4326, lon/lat (53.3000° N, 9.9000° E)" in proposals(bounds, None)
    swapped = bounds[[1, 0, 3, 2]]
    assert "swapped (--swap) (53.3000° N, 9.9000° E)" in proposals(swapped, None)
    assert proposals(swapped, (9.9, 53.3)).startswith("likely are EPSG:4326 with latitude and")


def test_numbers_of_nowhere():
    text = proposals(np.array([9e7, 9e7, 9e7, 9e7]), None)
    assert text.startswith("no usual one puts these numbers on a likely place")


@pytest.mark.parametrize(
    ("x", "y", "told"),
    [
        # origins of EPSG:2056 (Bern, old observatory) and EPSG:28992 (Amersfoort), EPSG register
        (2_600_000.0, 1_200_000.0, "EPSG:2056, CH1903+ / LV95, in m (46.95"),
        (155_000.0, 463_000.0, "EPSG:28992, Amersfoort / RD New, in m (52.15"),
        # the National Grid's square SP (Ordnance Survey)
        (450_000.0, 250_000.0, "EPSG:27700, OSGB36 / British National Grid, in m (52.1"),
    ],
)
def test_grids_of_countries_are_told_before_those_of_states(x: float, y: float, told: str) -> None:
    """Of dozens that take such numbers six are told, and how many more there are."""
    text = proposals(np.array([x, y, x + 300, y + 300]), None)
    first, _, rest = text.partition("NAD83 / ")
    assert told in first and rest
    assert re.search(r"; and \d+ grids more[.]", text)
