"""Angles of survey-controller text: degrees, minutes and seconds, sides in letters."""

import numpy as np
import pytest
import shapely

from geosand.formats.boundaries.place.written_degrees import degrees_of

DEGREES = [(53.3, 9.9), (53.3, 9.9003), (53.3003, 9.9003), (53.3003, 9.9)]


def test_latitude_and_longitude_by_heads(read_rows):
    rows = [f"{lon},{lat},31.0,{'GRN CL' if k == 3 else 'GRN'}" for k, (lat, lon) in
            enumerate(DEGREES)]  # fmt: skip
    found = read_rows(["Longitude,Latitude,Alt,Code", *rows], crs=None)
    assert shapely.total_bounds(found.features.geometry) == pytest.approx(
        [9.9, 53.3, 9.9003, 53.3003]
    )
    assert any("read as degrees of WGS 84" in f.text for f in found.findings)
    assert found.features.elevation_m[0] == 31.0
    # by order and --crs, without heads
    plain = [f"{k},{lat},{lon},GRN{' CL' if k == 3 else ''}" for k, (lat, lon) in
             enumerate(DEGREES)]  # fmt: skip
    again = read_rows(plain, crs="EPSG:4326", point_order="PNED")
    assert again.features.geometry[0].equals(found.features.geometry[0])


def test_degrees_minutes_seconds(read_rows):
    rows = [
        "lat;lon;code",
        "53°18'00.000\"N;9°54'00.000\"E;GRN",
        "53°18'00.000\"N;9°54'01.080\"E;GRN",
        "53 18 1.08 N;9 54 1.08 E;GRN",
        "53:18:01.08;9:54:00;GRN CL",
    ]
    found = read_rows(rows, crs=None)
    assert shapely.total_bounds(found.features.geometry) == pytest.approx(
        [9.9, 53.3, 9.9003, 53.3003]
    )


@pytest.mark.parametrize(
    "text",
    [
        *("53 60 0", "53°18'61\"", "53 18", "9 O", "N53", "53.3"),
        *("9 54.5", "9°60.0'E", "N 53°17'S", "2026-11-26", "9-61-00E"),
    ],
)
def test_what_is_no_angle(text):
    assert degrees_of(text) is None


@pytest.mark.parametrize(
    ("text", "degrees"),
    [
        ("9°54.5'E", 9 + 54.5 / 60),
        ("E 9°54.5'", 9 + 54.5 / 60),
        ("9 54.5 W", -9 - 54.5 / 60),
        ("53-17-59.1", 53 + 17 / 60 + 59.1 / 3600),
        ("S53d17'59.1\"", -53 - 17 / 60 - 59.1 / 3600),
        ("53°11'60.000\"N", 53.2),  # seconds that were rounded up
        ("1 deg 30 min 36 sec W", -1.51),
        ("1d30m36sW", -1.51),
        ("1d30m36S", -1.51),
        ("1º30'36''W", -1.51),
        ("1˚30′36′′E", 1.51),
    ],
)
def test_more_ways_to_write_angles(text, degrees):
    assert degrees_of(text) == pytest.approx(degrees, abs=1e-12)


def test_degrees_with_decimal_minutes(read_rows):
    corners = [(53.30, 9.90), (53.30, 9.9003), (53.3002, 9.9003), (53.3002, 9.90)]
    rows = [
        f"{k},53°{(lat - 53) * 60:.8f}'N,9°{(lon - 9) * 60:.8f}'E,GRN{' CL' if k == 3 else ''}"
        for k, (lat, lon) in enumerate(corners)
    ]
    found = read_rows(["P,Latitude,Longitude,Code", *rows], crs=None)
    points = shapely.get_coordinates(found.features.geometry)[:4]
    assert points == pytest.approx(np.array([(lon, lat) for lat, lon in corners]), abs=1e-9)


@pytest.mark.parametrize("state", ["S", "W"])
def test_one_column_of_letters_says_no_side(read_rows, state):
    places = [(35.5, 79.5), (35.5, 79.5003), (35.5003, 79.5003), (35.5003, 79.5)]
    rows = [f"{y},{x},{state},GRN{' CL' if k == 3 else ''}" for k, (y, x) in enumerate(places)]
    found = read_rows(["Lat,Lon,Status,Code", *rows], crs=None)
    assert shapely.bounds(found.features.geometry)[0].tolist() == [79.5, 35.5, 79.5003, 35.5003]
    assert any(f.text == "its column is not read: 'Status'" for f in found.findings)


def test_sides_in_columns_of_their_own(read_rows):
    # as controllers and NMEA 0183 write them: 35.5, N, 79.5, W
    places = [(35.5, 79.5), (35.5, 79.4998), (35.5002, 79.4998), (35.5002, 79.5)]
    rows = [f"{y},N,{x},W,GRN{' CL' if k == 3 else ''}" for k, (y, x) in enumerate(places)]
    found = read_rows(["Lat,NS,Lon,EW,Code", *rows], crs=None)
    (shape,) = found.features.geometry
    assert shapely.bounds(shape).tolist() == pytest.approx([-79.5, 35.5, -79.4998, 35.5002])
    assert not any("not read" in f.text for f in found.findings)
    assert degrees_of("-79.5 W") == degrees_of("79.5 W") == -79.5
