"""The CRS that a drawing may name itself, in its GEODATA object, through ezdxf."""

from __future__ import annotations

from typing import Any

import numpy as np

from geosand.columns import Floats
from geosand.errors import Refused
from geosand.formats.boundaries.place.reference_systems import horizontal, unit_m
from geosand.tuples import NamedTuple

#: coordinate_type of drawings in the numbers of their CRS; 1 = of a local grid, which alone has a
#: reference point (DXF reference, GEODATA, 70 and 11).
GRID = 2
NEAR_UNITS = 1e-3  #: a design point this near to its place in the CRS is that place
SAME = 1e-9  #: of a turn, in radians


class Georeference(NamedTuple):
    """Code of a drawing's CRS, "" = none; how its points get there; what is to be said of it."""

    crs: str = ""
    onto: Floats | None = None  #: (3, 2), rows x, y and 1; None = its numbers are in that CRS
    said: tuple[str, ...] = ()


def georeference(document: Any) -> Georeference:
    """What the drawing says of its place: its numbers are in a CRS, or moved and turned to one."""
    from ezdxf.lldxf.const import InvalidGeoDataException

    geodata = document.modelspace().get_geodata()
    if geodata is None:
        return Georeference()
    try:
        code, east_first = geodata.get_crs()
        if not east_first:
            raise InvalidGeoDataException("its first axis runs north")
        of_crs = unit_m(horizontal(f"EPSG:{code}", "GEODATA"))
        if geodata.dxf.coordinate_type == GRID:
            return _in_crs(code)
        matrix, code = geodata.get_crs_transformation()
        whole = np.array(list(matrix.rows()))
        onto, scale = whole[[0, 1, 3]][:, :2], geodata.dxf.horizontal_unit_scale
        point = np.array([*geodata.dxf.design_point][:2])
        there = np.array([*geodata.dxf.reference_point][:2])
        place = point * scale if of_crs == 1.0 else point  # the scale makes metres
        turned = np.abs(onto[:2] / scale - np.eye(2)).max() > SAME
        if not turned and np.abs(there - place).max() < NEAR_UNITS:
            return _in_crs(code)
        if of_crs != 1.0:
            raise InvalidGeoDataException("moved to a CRS in feet")
    except (InvalidGeoDataException, Refused) as problem:
        why = str(problem).partition(":")[0].partition("\n")[0].strip()[:60]
        said = f"it says a place of its own (GEODATA) that is not read ({why}): --crs says its CRS"
        return Georeference(said=(said,))
    x, y, east, north = (f"{v:,.3f}" for v in (*point, *there))
    said = (
        f"it says its place itself (GEODATA): x {x}, y {y} is {east} E, {north} N of EPSG:{code},"
        " as if all was moved there; --crs takes its numbers as they are"
    )
    return Georeference(f"EPSG:{code}", onto, (said,))


def _in_crs(code: int) -> Georeference:
    said = f"it says itself that it is in EPSG:{code} (GEODATA); --crs overrules that"
    return Georeference(f"EPSG:{code}", None, (said,))
