"""What the map shows, as plain frozen records: filled from results, drawn by :mod:`.page`.

All numbers are SI; None means that there is no figure, never zero. Geometry is lon/lat, WGS 84.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from typing import TYPE_CHECKING, Any, Literal

from geosand.columns import frozen

if TYPE_CHECKING:
    from shapely import MultiLineString, MultiPolygon, Polygon

    from geosand.columns import Floats

System = Literal["metric", "us"]
SYSTEMS: tuple[System, ...] = ("metric", "us")
Zone = Literal["collar", "surrounds"]
Basis = Literal["own catches", "other surfaces"]
#: A sentence that is the same in every system of units, or one for each of them.
Said = str | Mapping[System, str]
#: The key of the period that holds the whole season; every other key is a dressing's id.
SEASON = "season"


def said(text: Said, system: System) -> str:
    """The sentence in one system of units."""
    return text if isinstance(text, str) else text[system]


@frozen
class MapSurface:
    """One polygon of turf (or not turf) with its ground area and its season target."""

    id: str
    name: str
    kind: str
    geometry: Polygon | MultiPolygon
    area_m2: float | None = None
    u_area_m2: float | None = None
    target_m: float | None = None


@frozen
class MapRing:
    """A collar, or the surrounds beyond it, of one surface."""

    id: str  #: such as ``4/collar``
    surface: str  #: id of the surface it lies around
    zone: Zone
    geometry: Polygon | MultiPolygon


@frozen
class MapBalance:
    """Spread against what landed on the surfaces; all None where it was not measured."""

    spread_kg: float | None = None
    u_spread_kg: float | None = None
    on_surfaces_kg: float | None = None
    on_surfaces_low_kg: float | None = None
    on_surfaces_high_kg: float | None = None
    overthrow_kg: float | None = None
    overthrow_low_kg: float | None = None
    overthrow_high_kg: float | None = None
    fraction: float | None = None  #: overthrow over spread
    verdict: str | None = None
    strip_width_m: float | None = None
    reach_m: float | None = None
    collar_kg: float | None = None
    surrounds_kg: float | None = None
    farther_kg: float | None = None
    not_told_from_zero: bool = False  #: rings are drawn, but the overthrow's interval holds zero


@frozen
class PeriodSurface:
    """The figures of one surface in one period."""

    depth_m: float | None = None
    low_m: float | None = None
    high_m: float | None = None
    in_holes_m: float | None = None  #: of the depth: it filled holes made before
    target_so_far_m: float | None = None
    shortfall_m: float | None = None  #: positive: too little so far
    state: str | None = None
    probability: float | None = None
    basis: Basis | None = None
    catches: int = 0
    mass_kg: float | None = None
    mass_low_kg: float | None = None
    mass_high_kg: float | None = None
    thrown_kg: float | None = None  #: past its edge: collar, surrounds and farther


@frozen
class MapPeriod:
    """The whole season, or one dressing."""

    key: str
    label: str  #: such as "Whole season" or "3 April 2026 · d2"
    headline: Said = ""
    balance: MapBalance | None = None
    thrown_kg: float | None = None  #: all that the surfaces' ``thrown_kg`` share
    surfaces: Mapping[str, PeriodSurface] = field(default_factory=dict)
    #: ring id -> (depth_m, mass_kg)
    rings: Mapping[str, tuple[float | None, float | None]] = field(default_factory=dict)


@frozen
class MapCatch:
    """One catch where it lay."""

    id: str
    dressing: str
    lon: float
    lat: float
    surface: str | None = None
    depth_m: float | None = None
    rate_kg_m2: float | None = None
    residual: float | None = None  #: its rate over the estimate for its surface that day, less 1
    used: bool = True
    note: str = ""


@frozen
class MapField:
    """Depth within one surface in one dressing: equal cells, row by row from the south-west."""

    surface: str  #: its id
    dressing: str
    cell_m: float  #: side of a cell
    west: float  #: degrees, of the whole grid
    south: float
    east: float
    north: float
    width: int  #: cells from west to east
    depth_m: Floats  #: mean over each cell; nan where its middle lies beside the surface
    u_depth_m: Floats


@frozen
class MapPass:
    """The passes over one surface in the next dressing."""

    surface: str  #: its id
    heading_degree: float  #: clockwise from north; every second pass runs the other way
    lines: MultiLineString  #: centre lines in the order driven, the first one first


@frozen
class MapView:
    """Everything one map page shows.

    A line of ``first`` or ``findings`` that begins with the id or name of a surface and a colon
    leads to that surface on the map. ``background`` is the address of online map tiles
    (``https://host/{z}/{x}/{y}.png``) and their attribution; nothing is fetched until ticked.
    """

    title: str
    subtitle: str = ""
    as_of: str = ""  #: day of the account, in words
    units: System = "metric"
    surfaces: tuple[MapSurface, ...] = ()
    rings: tuple[MapRing, ...] = ()
    periods: tuple[MapPeriod, ...] = ()
    catches: tuple[MapCatch, ...] = ()
    fields: tuple[MapField, ...] = ()
    passes: tuple[MapPass, ...] = ()
    next_step: Said = ""
    first: tuple[Said, ...] = ()
    findings: tuple[Said, ...] = ()
    background: tuple[str, str] | None = None
    inputs: Mapping[str, str] = field(default_factory=dict)  #: file -> SHA-256
    made_with: Mapping[str, Any] = field(default_factory=dict)  #: version, verb and options
