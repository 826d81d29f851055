"""In which unit the numbers of a drawing or of survey text are, against the unit of its CRS."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geosand.columns import Floats
from geosand.errors import refused
from geosand.formats.boundaries.drawn import Layer
from geosand.formats.boundaries.place.packed_degrees import PLAIN
from geosand.formats.boundaries.place.reference_systems import (
    UNITS_M,
    name_of,
    named_unit,
    unit_m,
    unit_name,
)

if TYPE_CHECKING:
    from pyproj import CRS

_REMEDY = "say with --unit in which unit its numbers are; many drawings name a wrong one"
#: The two feet differ by less, by 2e-6: a head that says "ft" may mean either.
_TWO_FEET = 1e-5


def unit_factor(
    layer: Layer, crs: CRS, bounds: Floats, shown: str, said: str | None
) -> tuple[float, str]:
    """What the file's numbers are multiplied by to be in the unit of the CRS, and words on it.

    The user's word (``said``) comes first, then the head of a survey's columns, whose plain "ft" is
    the foot of the CRS if that has one. The unit that a drawing names is believed where its numbers
    lie in the area of the CRS with it and not without.
    Raises Refused where that does not decide: both feet do, or the drawing names none.
    """
    if crs.is_geographic:
        used = said is None or layer.unit == PLAIN
        return 1.0, "" if used else f"--unit is not used: {crs.name} is in degrees"
    of_crs = unit_m(crs)
    if said is not None:
        return _plain(named_unit(said, "--unit") / of_crs), ""
    stated = UNITS_M.get(layer.unit)
    if stated is None and not layer.asks_unit:
        return 1.0, ""
    factor = 0.0 if stated is None else _plain(stated / of_crs)
    if factor == 1.0:
        return 1.0, ""
    if layer.unit == "ft" and not layer.asks_unit and abs(factor - 1) < _TWO_FEET:
        return 1.0, ""
    if factor and not layer.asks_unit:
        return factor, f"its heads say {unit_name(UNITS_M[layer.unit])}; they are converted"
    if factor and _inside(bounds * factor, crs) and not _inside(bounds, crs):
        text = f"the drawing is in {unit_name(UNITS_M[layer.unit])}, as it says; it is converted"
        return factor, text
    says = "names no unit"
    if factor:
        known = crs.area_of_use is not None and not _inside(bounds * factor, crs)
        fits = ", which puts it outside the area of its CRS" if known else ""
        says = f"says that it is in {unit_name(UNITS_M[layer.unit])}{fits}"
    far = float(np.hypot(*np.abs(bounds).reshape(2, 2).max(axis=0)))
    shift = f"; the two feet put it {far * of_crs * 2e-6:.2f} m apart" if "ft" in layer.unit else ""
    raise refused(
        shown,
        f"{says}, and {name_of(crs)} is in {unit_name(of_crs)}{shift}",
        allowed=", ".join(UNITS_M),
        remedy=_REMEDY,
    )


def _plain(factor: float) -> float:
    return 1.0 if abs(factor - 1) < 1e-12 else factor


def _inside(bounds: Floats, crs: CRS) -> bool:
    """Whether numbers of the plane lie in the area that the CRS is made for."""
    from pyproj import Transformer
    from pyproj.exceptions import ProjError

    area = crs.area_of_use
    x, y = float(bounds[[0, 2]].mean()), float(bounds[[1, 3]].mean())
    try:
        lon, lat = Transformer.from_crs(crs, "OGC:CRS84", always_xy=True).transform(x, y)
    except ProjError:
        return False
    if area is None or not np.isfinite([lon, lat]).all():
        return False
    return bool(area.west <= lon <= area.east and area.south <= lat <= area.north)
