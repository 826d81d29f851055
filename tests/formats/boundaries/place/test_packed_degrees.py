"""Degrees of survey controllers whose minutes and seconds are run together: 51.3045 = 51°30'45"."""

import numpy as np
import pytest

from geosand.areas.ellipsoid import ellipsoid_areas_m2
from geosand.errors import Refused
from geosand.formats.boundaries import read_boundaries
from geosand.formats.boundaries.place.packed_degrees import degrees_meant, unpacked


def packed(degrees):
    """Written as d.mmss with five decimals of a second, by whole hundred-thousandths of one."""
    parts = round(abs(degrees) * 3600 * 10**5)
    seconds, fraction = divmod(parts, 10**5)
    minutes, second = divmod(seconds, 60)
    degree, minute = divmod(minutes, 60)
    return f"{'-' if degrees < 0 else ''}{degree}.{minute:02d}{second:02d}{fraction:05d}"


def green(lon, lat, size=2e-4, corners=24):
    t = np.linspace(0, 2 * np.pi, corners, endpoint=False)
    return lon + size * np.cos(t) / np.cos(np.radians(lat)), lat + size * np.sin(t)


@pytest.fixture
def written(tmp_path):
    def write(lon, lat, form, head="Point,Latitude,Longitude,Code"):
        last = len(lon) - 1
        rows = [
            f"{k},{form(y)},{form(x)},GREEN{' CL' if k == last else ''}"
            for k, (x, y) in enumerate(zip(lon.tolist(), lat.tolist(), strict=True))
        ]
        path = tmp_path / "walk.csv"
        path.write_text("\n".join([head, *rows]), encoding="utf-8")
        return path

    return write


@pytest.mark.parametrize(("lon", "lat"), [(-0.1262, 51.5122), (9.9, 53.3), (151.2, -33.86)])
def test_they_are_asked_about_and_read_as_said(written, lon, lat):
    x, y = green(lon, lat)
    (expected,) = ellipsoid_areas_m2(read_boundaries(written(x, y, "{:.9f}".format),
                                                     unit="degrees").features.geometry)  # fmt: skip
    path = written(x, y, packed)
    with pytest.raises(Refused) as asked:
        read_boundaries(path)
    (fault,) = asked.value.faults
    assert (
        "minutes and seconds run together behind the point (51.3045 for 51°30'45\")" in fault.found
    )
    assert fault.allowed == "degrees, dms"
    assert fault.remedy == "say with --unit which they are: --unit degrees or --unit dms"
    found = read_boundaries(path, unit="dms")
    assert ellipsoid_areas_m2(found.features.geometry) == pytest.approx([expected], abs=2e-2)
    assert any("read as d.mmss" in f.text for f in found.findings)
    assert not any("--unit is not used" in f.text for f in found.findings)
    centre = found.features.geometry[0].centroid
    assert (centre.x, centre.y) == pytest.approx((lon, lat), abs=1e-6)


def test_with_a_crs_in_degrees_and_heads_of_a_grid(written):
    x, y = green(9.9, 53.3)
    path = written(x, y, packed, head="Point,Northing,Easting,Code")
    with pytest.raises(Refused, match="--unit degrees or --unit dms"):
        read_boundaries(path, crs="EPSG:4258")
    assert len(read_boundaries(path, crs="EPSG:4258", unit="d.mmss").features) == 1


def test_numbers_that_can_not_be_such_are_not_asked_about(written):
    x, y = green(9.9, 53.3075)  # 75 is no second
    path = written(x, y, "{:.8f}".format)
    assert len(read_boundaries(path).features) == 1
    with pytest.raises(Refused, match=r"'53\.\d+' is no number of degrees, minutes and seconds"):
        read_boundaries(path, unit="dms")


def test_a_known_place_decides(written):
    x, y = green(9.9, 53.3)
    plain = written(x, y, "{:.8f}".format)
    assert len(read_boundaries(plain, near=(9.9, 53.3)).features) == 1
    with pytest.raises(Refused, match="--unit dms"):
        read_boundaries(written(x, y, packed), near=(9.9, 53.3))


def test_how_often_plain_degrees_are_asked_about():
    """Four pairs of digits below 60 by chance: 0.6 to the fourth, 13 %, less where a site is wide.

    Minutes and seconds are always asked about.
    """
    rng = np.random.default_rng(7)
    asked = {"plain": 0, "packed": 0}
    for _ in range(400):
        x, y = green(rng.uniform(-120, 120), rng.uniform(-50, 60), size=rng.uniform(1e-4, 4e-3))
        for name, form in (("plain", "{:.8f}".format), ("packed", packed)):
            lon, lat = ([form(v) for v in column.tolist()] for column in (x, y))
            try:
                degrees_meant(lon, lat, None, None, "x.csv")
            except Refused:
                asked[name] += 1
    assert asked["packed"] == 400
    assert asked["plain"] < 0.15 * 400


def test_short_numbers_and_others():
    assert unpacked(["12", "-12.5", "12,3030"]).tolist() == pytest.approx(
        [12.0, -(12 + 50 / 60), 12 + 30 / 60 + 30 / 3600]
    )
    for text in ("12°30'", "1e2", "12.61", "12.0060", "", "1234.0"):
        assert unpacked([text]) is None
    # whole seconds are 30 m: no survey, and nobody is asked
    assert degrees_meant(["9.5400"] * 4, ["53.1800"] * 4, None, None, "x.csv") is None
