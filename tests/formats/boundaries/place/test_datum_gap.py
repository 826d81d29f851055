"""Two surveys in datums that are known to each other better than each is to WGS 84.

Oracle: the direct operations of the EPSG register, as pyproj has them.
"""

import geopandas
import pyproj
import pytest

from geosand.formats.boundaries import Choice, bring_into, new_site, read_boundaries
from geosand.formats.boundaries.place.datum_gap import datum_gap, gap_words
from tests.formats.boundaries.conftest import blob

OLD, NEW = "EPSG:28355", "EPSG:7855"  # one zone of Australia's grid, on GDA94 and on GDA2020
EAST, NORTH = 320_000.0, 5_812_000.0
LON_LAT = pyproj.Transformer.from_crs(OLD, "OGC:CRS84", always_xy=True).transform(EAST, NORTH)


def green(east, north):
    """A green of the invented course, about a place in the old grid."""
    return blob(east + EAST - 560_000.0, north + NORTH - 5_906_000.0, 13)


def test_the_gap_is_what_the_direct_shift_says():
    """GDA94 to GDA2020 is 1.5 to 1.8 m towards the north-east (GDA2020 technical manual)."""
    gap = datum_gap(OLD, NEW, *LON_LAT)
    geod, there = pyproj.Geod(ellps="GRS80"), pyproj.Transformer.from_crs("EPSG:4283", "EPSG:7844")
    lat, lon = there.transform(LON_LAT[1], LON_LAT[0])
    azimuth, _, metres = geod.inv(*LON_LAT, lon, lat)
    assert 1.5 < metres < 1.8 and 0 < azimuth < 90
    assert (gap.east_m**2 + gap.north_m**2) ** 0.5 == pytest.approx(metres, rel=0.005)
    assert gap.accuracy_m == 0.01
    back = datum_gap(NEW, OLD, *LON_LAT)
    assert (back.east_m, back.north_m) == pytest.approx((-gap.east_m, -gap.north_m), abs=1e-3)
    assert gap_words(gap).startswith(
        "the survey in force came in GDA94, this one in GDA2020: ground that did not move lies"
        " 0.52 m east and 1.46 m north in this one."
    )


@pytest.mark.parametrize(
    ("old", "new", "lon", "lat"),
    [
        (OLD, OLD, *LON_LAT),
        (OLD, "", *LON_LAT),  # what lon/lat of WGS 84 means to a metre nobody says
        ("EPSG:31467", "EPSG:25832", 9.9, 53.3),  # known to 1 m only
        ("EPSG:26915", "EPSG:6344", -93.25, 44.97),  # NAD83 and its later realisation: none known
        ("EPSG:25832", "EPSG:32632", 9.9, 53.3),  # the same way
        ("EPSG:0", NEW, *LON_LAT),
        ("EPSG:9000", "EPSG:25832", 9.0, 52.0),  # ITRF2014: the gap grows by 2.5 cm a year
        ("EPSG:9000", "EPSG:8252", -90.0, 50.0),
        (
            "EPSG:3460",
            "EPSG:3141",
            180.0,
            -17.0,
        ),  # two grids of Fiji: 9 m, and no turn of the earth
    ],
)
def test_no_gap_is_made_up(old, new, lon, lat):
    assert datum_gap(old, new, lon, lat) is None


def brought(tmp_path, count, surveyed, stated, moved=0.0):
    """Findings of a second survey of unmoved greens: what is true, and what its file states."""
    places = [(0, 0), (80, 10), (170, -40), (60, 90)][:count]
    table = {"id": [f"g{k}" for k in range(count)], "kind": ["green"] * count}
    first = geopandas.GeoDataFrame(table, geometry=[green(*p) for p in places], crs=OLD)
    first.to_file(tmp_path / "old.gpkg")
    folder = tmp_path / "site"
    read = read_boundaries(tmp_path / "old.gpkg")
    new_site(folder, read, name="Testing ground", season_start="2025-01-01")
    move = pyproj.Transformer.from_crs(OLD, surveyed, always_xy=True)
    second = first.geometry.translate(moved, 0).transform(
        lambda points: list(zip(*move.transform(*points.T), strict=True))
    )
    second.set_crs(stated, allow_override=True).to_frame("geometry").assign(**table).to_file(
        tmp_path / "new.gpkg"
    )
    done = bring_into(
        folder,
        read_boundaries(tmp_path / "new.gpkg"),
        valid_from="2026-01-01",
        choice=Choice(accept=True),
    )
    return [f.text for f in done.findings if f.topic == "area"]


@pytest.mark.parametrize("count", [1, 2, 4])
def test_unmoved_ground_in_another_datum_is_explained(tmp_path, count):
    (said,) = brought(tmp_path, count, NEW, NEW)
    assert "lies 0.52 m east and 1.46 m north in this one. So far the datums differ" in said


def test_a_shift_beside_that_of_the_datums_is_told_too(tmp_path):
    gap, offset = brought(tmp_path, 4, NEW, NEW, moved=2.0)  # east in the grid, turned by 1.25°
    assert "So far the datums differ (known to 0.01 m)" in gap
    assert offset.startswith("its surfaces lie 2.52 m east and 1.42 m north of the same ones")


@pytest.mark.parametrize(
    ("count", "said"),
    [
        (
            1,
            "its surface lies 0.52 m east and 1.46 m north of the same one in the survey in force,",
        ),
        (2, "its surfaces lie 0.52 m east and 1.46 m north of the same ones in the survey in"),
        (4, "its surfaces lie 0.52 m east and 1.46 m north of the same ones in the survey in"),
    ],
)
def test_numbers_of_another_datum_than_the_file_states_are_asked_about(tmp_path, count, said):
    (text,) = brought(tmp_path, count, NEW, OLD)
    assert text.startswith(said)
    how = (
        "more likely another zone, datum or epoch" if count > 2 else "moved as a whole, or another"
    )
    assert how in text
