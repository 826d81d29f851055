"""LandXML 1.2 (landxml.org schema): parcels and plan features, northing before easting."""

import math

import pytest

from geosand.areas.crosscheck import grid_areas_m2
from geosand.errors import Refused
from geosand.formats.boundaries import read_boundaries
from tests.formats.boundaries.conftest import UTM

X, Y = 560_000.0, 5_906_000.0


def at(x, y):
    return f"{Y + y:.6f} {X + x:.6f}"


def line(start, end):
    return f"<Line><Start>{at(*start)}</Start><End>{at(*end)}</End></Line>"


def lines(points):
    return "".join(line(a, b) for a, b in zip(points, [*points[1:], points[0]], strict=True))


def curve(start, centre, end, rot='rot="ccw"'):
    places = "".join(
        f"<{tag}>{at(*p)}</{tag}>"
        for tag, p in (("Start", start), ("Center", centre), ("End", end))
    )
    return f"<Curve {rot}>{places}</Curve>"


def parcel(*geometries, name="Green 7", tag="Parcel"):
    inner = "".join(f"<CoordGeom>{g}</CoordGeom>" for g in geometries)
    return f'<{tag} name="{name}" area="1">{inner}</{tag}>'


@pytest.fixture
def read(tmp_path):
    def reading(inside, unit='<Metric linearUnit="meter"/>', code="25832", **wishes):
        (tmp_path / "a.xml").write_text(
            '<?xml version="1.0"?><LandXML xmlns="http://www.landxml.org/schema/LandXML-1.2"'
            f' version="1.2"><Units>{unit}</Units><CoordinateSystem epsgCode="{code}"/>{inside}'
            "</LandXML>"
        )
        return read_boundaries(tmp_path / "a.xml", **wishes)

    return reading


def areas(found):
    return grid_areas_m2(found.features.geometry, UTM)


SQUARE = [(0, 0), (20, 0), (20, 24), (0, 24)]
ISLAND = [(5, 5), (5, 9), (9, 9), (9, 5)]
STADIUM = (
    line((0, 0), (30, 0))
    + curve((30, 0), (30, 10), (30, 20))
    + line((30, 20), (0, 20))
    + curve((0, 20), (0, 10), (0, 0))
)
NOTCHED = (
    line((0, 0), (30, 0))
    + curve((30, 0), (30, 10), (30, 20), 'rot="cw"')
    + line((30, 20), (0, 20))
    + line((0, 20), (0, 0))
)


@pytest.mark.parametrize(
    ("sides", "area"),
    [
        ([lines(SQUARE)], 480.0),
        ([lines(SQUARE), lines(ISLAND)], 480.0 - 16.0),
        ([STADIUM], 600.0 + math.pi * 100),
        ([NOTCHED], 600.0 - math.pi * 50),
        ([curve((20, 0), (0, 0), (20, 0))], math.pi * 400),
        (
            [
                f"<IrregularLine><Start>{at(0, 0)}</Start><End>{at(0, 24)}</End><PntList2D>"
                f"{at(20, 0)} {at(20, 24)}</PntList2D></IrregularLine>" + line((0, 24), (0, 0))
            ],
            480.0,
        ),
    ],
)
def test_parcels_have_the_area_of_their_sides(read, sides, area):
    found = read(f"<Parcels>{parcel(*sides)}</Parcels>")
    assert areas(found) == pytest.approx([area], rel=2e-6)
    assert found.features.name.tolist() == ["Green 7"]
    assert found.features.kind.tolist() == ["green"]


def test_corners_may_be_named_points(read):
    points = "".join(
        f'<CgPoint name="{k}">{at(*p)} 51.2</CgPoint>' for k, p in enumerate(SQUARE, start=1)
    )
    sides = "".join(
        f'<Line><Start pntRef="{a}"/><End pntRef="{b}"/></Line>'
        for a, b in ((1, 2), (2, 3), (3, 4), (4, 1))
    )
    found = read(f"<CgPoints>{points}</CgPoints><Parcels>{parcel(sides)}</Parcels>")
    assert areas(found) == pytest.approx([480.0], rel=1e-9)
    chain = read(
        f"<CgPoints>{points}</CgPoints><PlanFeatures>"
        f"{parcel('<Chain>1 2 3 4 1</Chain>', tag='PlanFeature')}</PlanFeatures>"
    )
    assert areas(chain) == pytest.approx([480.0], rel=1e-9)


def test_feet_are_converted_and_said(read):
    """A file in international feet whose CRS is in metres: 20 by 24 ft of 0.3048 m."""
    sides = lines([(x - X + X / 0.3048, y - Y + Y / 0.3048) for x, y in SQUARE])
    found = read(parcel(sides), '<Imperial linearUnit="foot"/>')
    assert areas(found) == pytest.approx([480.0 * 0.3048**2], rel=1e-6)
    assert any("feet" in told.text for told in found.findings)


@pytest.mark.parametrize(
    ("sides", "why"),
    [
        (line((0, 0), (20, 0)) + "<Spiral/>", "it has a side that is not read (Spiral)"),
        (line((0, 0), (20, 0)) + line((20, 5), (0, 24)), "its sides do not follow each other"),
        ('<Line><Start pntRef="9"/><End pntRef="8"/></Line>', "a corner of it is not in the file"),
        (curve((0, 0), (0, 5), (0, 10), ""), "an arc of it does not say which way it turns"),
        ("<Line><Start>1 x</Start><End>2 3</End></Line>", "a corner of it is no pair of numbers"),
        (
            curve((0, 0), (0, 5), (0, 12)),
            "the ends of an arc of it are not equally far from its centre",
        ),
        (
            "<IrregularLine><Start>1 2</Start><End>3 4</End><PntList2D>1 2 3</PntList2D>"
            "</IrregularLine>",
            "a corner of it is no pair of numbers",
        ),
        ("<Chain/>", "a corner of it is not in the file"),
        ("<Chain>1</Chain>", "it has no sides"),
        ("", "it has no sides"),
    ],
)
def test_what_can_not_be_drawn_is_lost_and_told(read, sides, why):
    point = f'<CgPoint name="1">{at(0, 0)}</CgPoint>'
    found = read(point + parcel(lines(SQUARE)) + parcel(sides, name="Tee 7"))
    (left,) = found.tally.left_out
    assert left.lost
    assert left.reason == why
    assert found.features.name.tolist() == ["Green 7"]


def test_lines_of_plan_features_are_closed_together(read):
    halves = parcel(line((0, 0), (20, 0)) + line((20, 0), (20, 24)), tag="PlanFeature")
    halves += parcel(line((20, 24), (0, 24)) + line((0, 24), (0, 0)), tag="PlanFeature")
    assert areas(read(halves)) == pytest.approx([480.0], rel=1e-9)


def test_without_a_code_the_crs_is_asked_and_without_outlines_it_is_refused(read):
    with pytest.raises(Refused, match="does not say in which coordinate reference system"):
        read(parcel(lines(SQUARE)), code="")
    with pytest.raises(Refused, match="is LandXML without parcels and plan features"):
        read("<Surfaces/>")
