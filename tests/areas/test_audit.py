"""Planted faults in boundaries are found, named and placed; sound boundaries pass silently."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from geosand.areas.audit import audit
from geosand.areas.plane import Plane

PLANE = Plane(longitude_deg=-2.8001234567, latitude_deg=56.0001234567)


def disc(x: float = 0, y: float = 0, radius: float = 12, corners: int = 60) -> shapely.Polygon:
    angle = np.arange(corners) * 2 * np.pi / corners
    ring = np.column_stack([x + radius * np.cos(angle), y + radius * np.sin(angle)])
    return shapely.Polygon(ring)


def found(column, *drawn, kinds=None, on_plane=True):
    shapes = PLANE.to_lonlat(column(*drawn)) if on_plane else column(*drawn)
    ids = np.array([f"g{k + 1}" for k in range(len(drawn))])
    remarks = audit(shapes, np.array(kinds or ["green"] * len(drawn)), ids)
    for one in (remark for remark in remarks if np.isfinite(remark.place[0])):
        place = np.array(one.place)
        said = "lon {:.7f}, lat {:.7f}".format(*place)
        assert said in one.text or ("lon" not in one.text and one.sort == "duplicate")
        corners = shapely.get_coordinates(shapes[one.row])
        assert (corners.min(axis=0) - 1e-6 <= place).all()
        assert (place <= corners.max(axis=0) + 1e-6).all()
    return remarks


def only(remarks, row=0):
    """The one remark, checked to be about ``row``: its severity and text."""
    assert [remark.row for remark in remarks] == [row], remarks
    assert remarks[0].remedy
    return remarks[0].severity, remarks[0].text


def test_sound_boundaries_pass(column):
    island = disc().difference(disc(radius=3))
    drawn = (disc(100), island, disc(radius=3), shapely.MultiPolygon([disc(40), disc(70)]))
    assert found(column, *drawn, kinds=["green", "green", "bunker", "green"]) == []
    assert found(column) == []


def test_bow_tie_and_its_place(column):
    bow = shapely.Polygon([(0, 0), (20, 20), (20, 0), (0, 20)])
    severity, text = only(found(column, disc(90), bow), row=1)
    assert (severity, text[:27]) == ("fault", "the boundary crosses itself")
    lon, lat = PLANE.inverse(np.array([10.0]), np.array([10.0]))
    assert text[27:] == (
        f" at lon {lon[0]:.7f}, lat {lat[0]:.7f}: 200.0 m² by loops or even-odd, 100.0 m² by"
        " largest, 400.0 m² by uncrossed"
    )


def test_hole_outside_its_surface(column):
    polygon = shapely.Polygon(disc(radius=30).exterior, [disc(100).exterior])
    severity, text = only(found(column, polygon, kinds=["lawn"]))
    assert severity == "fault" and text.startswith("a hole lies outside its surface at lon")


def test_repeated_vertices(column):
    points = shapely.get_coordinates(disc())
    severity, text = only(found(column, shapely.Polygon(np.repeat(points, [3] + [1] * 60, axis=0))))
    assert severity == "finding" and text.startswith("2 vertices come twice in a row, the first at")
    severity, text = only(found(column, shapely.Polygon(np.repeat(points, [1] * 60 + [2], axis=0))))
    assert text.startswith("the vertex at lon") and text.endswith("comes twice in a row")


def test_spike_and_its_place(column):
    points = shapely.get_coordinates(disc())
    spiked = np.insert(points, 1, [(17.0, 0.05)], axis=0)
    spiked = np.insert(spiked, 2, [(12.0, 0.1)], axis=0)
    severity, text = only(found(column, shapely.Polygon(spiked)))
    assert severity == "finding" and text.startswith("1 spike, the first at lon")
    lon, _ = PLANE.inverse(np.array([17.0]), np.array([0.05]))
    assert f"lon {lon[0]:.7f}" in text
    corner = shapely.Polygon([(0, 0), (60, 0), (0, 8)])  # a sharp corner of 7.6 degrees is none
    assert found(column, corner) == []


def test_tiny_parts_and_surfaces(column):
    parts = shapely.MultiPolygon([disc(), disc(40, radius=0.3), disc(50, radius=0.3)])
    severity, text = only(found(column, parts))
    # two regular 60-gons of radius 0.3 m: 60/2 · r² · sin 6° each
    assert (severity, text[:50]) == (
        "finding",
        "2 parts smaller than 0.5 m², 0.56 m² together, at ",
    )
    severity, text = only(found(column, disc(radius=0.3)))
    assert severity == "fault" and text.startswith("its whole area is 0.282 m², at lon")
    assert found(column, disc(radius=0.41)) != []  # 0.53 m²: no fault, but no green either


def test_a_long_thin_surface_is_a_sliver_however_large(column):
    strip = shapely.box(0, 0, 40, 0.02)  # 0.8 m², 20 mm wide
    severity, text = only(found(column, strip))
    assert severity == "fault"
    assert text.startswith("its whole area is 0.800 m², 20 mm wide on average, at lon")
    beside = shapely.MultiPolygon([disc(), shapely.box(100, 0, 140, 0.02)])
    severity, text = only(found(column, beside))
    assert severity == "finding"
    assert text.startswith("1 part smaller than 0.5 m² or thinner than 50 mm, 0.80 m² together")
    ring = disc(radius=12.1).difference(disc(radius=12.0))  # 0.1 m: thin, but someone drew it
    assert "fault" not in [remark.severity for remark in found(column, ring, kinds=["path"])]


@pytest.mark.parametrize(
    ("kind", "radius", "odd"),
    # common practice, no published source
    [
        ("green", 3.0, True),
        ("green", 12.0, False),
        ("green", 40.0, True),
        ("bunker", 3.0, False),
        ("fairway", 8.0, True),
        ("pitch", 126.0, False),  # as a polo field of 300 by 200 yards, the laws' largest
        ("pitch", 135.0, True),
        ("nursery", 8.0, False),
    ],
)
def test_size_unusual_for_its_kind(column, kind, radius, odd):
    remarks = found(column, disc(radius=radius), kinds=[kind])
    assert bool(remarks) == odd
    if odd:
        severity, text = only(remarks)
        assert severity == "finding" and f"is unusual for a {kind} (usually" in text


def test_few_decimals_and_what_they_cost(column):
    drawn = PLANE.to_lonlat(column(disc()))
    for decimals, percent in ((6, 0.05), (5, 0.5)):
        rounded = shapely.transform(drawn, lambda points, d=decimals: points.round(d))
        remarks = [r for r in found(column, *rounded, on_plane=False) if "decimals" in r.text]
        severity, text = only(remarks)
        assert severity == "finding" and f"have {decimals} decimals" in text
        # 0.24 m² on 450 m² at 6 decimals: s = 0.29e-6 degree in A = s²/4 sum d²
        cost = float(text.split("uncertain by ")[1].split(" %")[0])
        assert cost == pytest.approx(percent, rel=0.2)
        assert remarks[0].size_m2 == pytest.approx(cost / 100 * 451.6, rel=0.02)
    fine = shapely.transform(drawn, lambda points: points.round(7))
    assert found(column, *fine, on_plane=False) == []


def test_same_polygon_twice(column):
    turned = shapely.Polygon(np.roll(shapely.get_coordinates(disc())[:-1], 7, axis=0)[::-1])
    severity, text = only(found(column, disc(), disc(50), turned), row=2)
    # a regular 60-gon of radius 12 m: 60/2 · r² · sin 6°
    assert (severity, text) == ("fault", "it is the same polygon as g1 (451.6 m²)")


def test_missing_and_strange_geometries(column):
    remarks = found(column, None, shapely.Polygon(), shapely.Point(1, 2), disc())
    assert [(r.row, r.severity, r.text) for r in remarks] == [
        (0, "fault", "it has no boundary"),
        (1, "fault", "it has no boundary"),
        (2, "fault", "it is a Point, not a polygon"),
    ]


@pytest.mark.parametrize(
    ("corners", "words", "remedy"),
    [
        ((500000.0, 6.2e6, 500020.0, 6.20002e6), "looks like metres or feet", "convert the file"),
        ((56.0, 120.0, 56.1, 120.1), "latitude and longitude were swapped", "longitude first"),
        ((120.0, 95.0, 120.1, 95.1), "is outside ±180 and ±90", "in degrees"),
        ((190.0, 50.0, 190.1, 50.1), "is outside ±180 and ±90", "within ±180"),
        ((180.99, 50.0, 181.01, 50.1), "is outside ±180 and ±90", "within ±180"),
        ((10.0, 89.95, 10.1, 89.96), "reaches beyond ±89.9 degrees", "check the coordinates"),
        ((-179.99, 50.0, 179.99, 50.1), "crosses the antimeridian", "cut the surface"),
    ],
)
def test_outside_the_world(column, corners, words, remedy):
    remarks = found(column, shapely.box(*corners), on_plane=False)
    severity, text = only(remarks)
    assert severity == "fault" and words in text and text.startswith("lon ")
    assert remedy in remarks[0].remedy


def test_coordinates_that_are_no_numbers(column):
    for value in (np.nan, np.inf, -np.inf):
        with np.errstate(invalid="ignore"):
            broken = shapely.Polygon([(3, 45), (value, 45), (3, value)])
        severity, text = only(found(column, broken, on_plane=False))
        assert severity == "fault" and "not a number" in text


def test_swapped_among_others(column):
    others = list(PLANE.to_lonlat(column(disc(), disc(50), disc(100))))
    swapped = shapely.transform(others[0], lambda points: points[:, ::-1])
    severity, text = only(found(column, *others, swapped, on_plane=False), row=3)
    assert severity == "fault" and "latitude and longitude look swapped" in text
    for step in ([3.0, 0.0], [0.0, -59.0]):  # there as far south as the others are west
        far = shapely.transform(others[0], lambda points, step=step: points + np.array(step))
        severity, text = only(found(column, *others, far, on_plane=False), row=3)
        assert severity == "finding" and "more than 1 degree away" in text


def test_all_faults_are_told_at_once(column):
    bow = shapely.Polygon([(0, 0), (20, 20), (20, 0), (0, 20)])
    remarks = found(column, bow, None, disc(radius=0.2), disc(radius=60))
    assert [remark.row for remark in remarks] == sorted(remark.row for remark in remarks)
    assert {remark.row for remark in remarks} == {0, 1, 2, 3}


@pytest.mark.parametrize("order", [(0, 1, 2), (1, 0, 2), (2, 1, 0)])
def test_of_surfaces_drawn_twice_the_one_on_top_is_kept(order):
    """A green and the inner edge of its collar are the same outline: the green must stay."""
    box = shapely.box(-2.8, 56.0, -2.7998, 56.0001)
    nearly = shapely.box(-2.8, 56.0, -2.7998, 56.000101)
    shapes = np.array([box, box, nearly], dtype=object)[list(order)]
    kinds = np.array(["collar", "green", "lawn"])[list(order)]
    found = audit(shapes, kinds, kinds)
    twice = {r.sort: (kinds[r.row], kinds[r.other]) for r in found if r.severity == "fault"}
    assert twice["duplicate"] == ("collar", "green")
    assert twice["nearly the same"] == ("lawn", "green")


def test_of_two_of_one_size_the_first_owns_the_strip():
    """Squares of 0.0002°, the second drawn a tenth over the first: as ownership has it."""
    first = shapely.box(-2.8, 56.0, -2.7998, 56.0002)
    second = shapely.box(-2.79982, 56.0, -2.79962, 56.0002)
    ids = np.array(["a", "b"])
    remarks = audit(np.array([first, second], dtype=object), np.array(["tee", "tee"]), ids)
    (found,) = [remark for remark in remarks if remark.sort == "overlap"]
    assert (ids[found.row], ids[found.other]) == ("b", "a")
    assert found.text.endswith("the first of the two owns that ground")
