"""Where a drawing lies: its unit, its CRS and the place that it names."""

import math

import ezdxf
import pytest
import shapely

from geosand.errors import Refused
from tests.formats.boundaries.conftest import UTM
from tests.formats.boundaries.drawings.test_drawings import LAYER, X, Y, at, middle

UNITS = {1: 0.0254, 2: 0.3048, 4: 0.001, 5: 0.01, 6: 1.0, 14: 0.1, 21: 1200 / 3937}


@pytest.mark.parametrize("code", UNITS)
def test_the_unit_a_drawing_names_is_believed_where_it_fits(drawing, read, code):
    drawing.header["$INSUNITS"] = code
    size = UNITS[code]
    drawing.modelspace().add_circle((X / size, Y / size), 10 / size, dxfattribs=LAYER)
    found = read(drawing)
    from geosand.areas.crosscheck import grid_areas_m2

    (area,) = grid_areas_m2(found.features.geometry, UTM)
    assert area == pytest.approx(math.pi * 100, abs=2e-3)
    vertices = shapely.get_num_coordinates(found.features.geometry[0])
    assert 90 < vertices < 300  # as fine on the ground in every unit
    said = [f.text for f in found.findings if "it is converted" in f.text]
    assert len(said) == (code != 6)
    # the user's word comes first
    with pytest.raises(Refused, match="is no place in"):
        read(drawing, unit="km")


@pytest.mark.parametrize(
    ("code", "text"),
    [(0, "names no unit, and"), (1, "says that it is in inches, which puts it outside the area")],
)
def test_a_unit_that_does_not_fit_is_asked(drawing, read, code, text):
    drawing.header["$INSUNITS"] = code
    drawing.modelspace().add_circle((X, Y), 10, dxfattribs=LAYER)
    with pytest.raises(Refused) as refusal:
        read(drawing)
    assert text in str(refusal.value)
    assert len(read(drawing, unit="m").features) == 1


#: As Autodesk's dictionaries of coordinate systems write it, cut to what ezdxf looks at.
NAMED_CRS = """<?xml version="1.0" encoding="UTF-16" standalone="no" ?>
<Dictionary version="1.0" xmlns="http://www.osgeo.org/mapguide/coordinatesystem">
<ProjectedCoordinateSystem id="ETRS89.UTM-32N"><Axis uom="METER">
<CoordinateSystemAxis><AxisOrder>1</AxisOrder><AxisAbbreviation>FIRST</AxisAbbreviation>
</CoordinateSystemAxis></Axis></ProjectedCoordinateSystem>
<Alias id="CODE" type="CoordinateSystem"><Namespace>EPSG Code</Namespace></Alias></Dictionary>"""


def placed_drawing(points, design, reference, north=(0, 1), sort=1, code="25832", first="E"):
    document = ezdxf.new("R2010", units=6)
    document.modelspace().add_lwpolyline(points, close=True, dxfattribs={"layer": "GREENS"})
    geodata = document.modelspace().new_geodata()
    definition = NAMED_CRS.replace("CODE", code).replace("FIRST", first)
    geodata.setup_local_grid(
        design_point=design, reference_point=reference, north_direction=north, crs=definition
    )
    geodata.dxf.coordinate_type = sort
    return document


SQUARE = [(0, 0), (20, 0), (20, 24), (0, 24)]


@pytest.mark.parametrize(
    ("points", "design", "reference", "north", "sort"),
    [
        (at(SQUARE), (X, Y), (X, Y), (0, 1), 1),
        (at(SQUARE), (0, 0), (1, 1), (0, 1), 2),
        (SQUARE, (0, 0), (X, Y), (0, 1), 1),
        ([(x + 7, y + 5) for x, y in SQUARE], (7, 5), (X, Y), (0, 1), 1),
        ([(-y, x) for x, y in SQUARE], (0, 0), (X, Y), (-1, 0), 1),  # north is to the left
    ],
)
def test_a_drawing_that_names_its_crs_is_placed_by_it(read, points, design, reference, north, sort):
    """DXF reference, GEODATA: of a local grid, the design point is at the reference point."""
    found = read(placed_drawing(points, design, reference, north, sort), crs=None)
    assert middle(found) == pytest.approx([X + 10, Y + 12], abs=1e-3)
    assert any("GEODATA" in told.text for told in found.findings)


def test_the_users_crs_goes_before_a_drawings_own(read):
    document = placed_drawing(at(SQUARE), (X, Y), (500_000, Y))
    assert middle(read(document)) == pytest.approx([X + 10, Y + 12], abs=1e-3)


@pytest.mark.parametrize(
    "odd", [{"code": "none"}, {"first": "N"}, {"sort": 3}, {"code": "2264"}, {"code": "999999"}]
)
def test_a_place_that_is_not_understood_is_asked(read, odd):
    with pytest.raises(Refused, match="does not say in which coordinate reference system"):
        read(placed_drawing(SQUARE, (0, 0), (X, Y), **odd), crs=None)
