"""The tables of one site: what was measured, one row a thing, in SI units.

Settings of ``site.toml`` that belong to a row (accuracies, targets, moisture) are already columns
here, so that computing needs no file and many sites can be laid end to end (``site.stack``). What
a whole site has one of is then a column of ``Members``: areas, rates, balance and season read it
there by the member that each row is of, and so work out one site or a thousand in the same call.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import field, fields
from typing import TYPE_CHECKING, Any

import numpy as np

from geosand.columns import Bools, Dates, Floats, Geometries, Ints, Sized, Strings, columns, frozen
from geosand.errors import Finding
from geosand.site.sand_tables import (
    Deliveries,
    Loads,
    Moistures,
    Sands,
    StockCounts,
    WeighedLoads,
)

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

#: Kinds of surface that the tables know by name; others are kept as they are.
KINDS = (
    *("green", "collar", "tee", "bunker", "water", "path", "approach", "surround"),
    *("fairway", "pitch", "lawn", "other"),
)
#: Kinds that are not turf: sand thrown on them is told apart.
HAZARDS = ("bunker", "water", "path")
NO_DAY = np.datetime64("0001-01-01", "D")  #: from which a boundary edition holds that says no day
#: Columns that count rows of another table (or editions, ids, load groups, pools), by table.
COUNTED: Mapping[str, Mapping[str, str]] = {
    "surfaces": {"edition": "editions", "ground": "ids", "around": "ids"},
    "sands": {"moisture": "moistures"},
    "dressings": {"sand": "sands", "edition": "editions"},
    "dressed": {"dressing": "dressings", "surface": "surfaces"},
    "catches": {"dressing": "dressings", "declared": "ids", "moisture": "moistures"}
    | dict.fromkeys(("mass_pool", "volume_pool"), "pools"),
    "loads": {"dressing": "dressings", "moisture": "moistures", "group": "groups"},
    "weighed": {"load": "loads"},
    "deliveries": {"sand": "sands"},
    "stock_counts": {"sand": "sands"},
}


@columns
class Surfaces(Sized):
    """Polygons of every boundary edition, one row a surface and edition, oldest edition first."""

    id: Strings
    name: Strings
    kind: Strings
    edition: Ints  #: 0 = oldest; the highest is in force
    ground: Ints  #: index of the id in ``Site.ids``, the same in all editions
    around: Ints  #: ``ground`` of the surface that a collar or surround encloses; -1 = none
    geometry: Geometries  #: shapely Polygon or MultiPolygon, lon/lat, WGS 84
    target_m: Floats  #: depth over the season; nan = no target
    elevation_m: Floats  #: nan = not given
    slope: Floats  #: rise over run; nan = not given
    boundary_accuracy_m: Floats
    edge_accuracy_m: Floats
    edge_bias_m: Floats

    def to_frame(self) -> GeoDataFrame:
        """The same table as a GeoDataFrame in WGS 84."""
        return _frame(self, self.geometry)


@columns
class Dressings(Sized):
    """One row a dressing, in order of date."""

    id: Strings
    date: Dates
    sand: Ints
    spreader: Strings  #: "" = not said
    edition: Ints  #: boundary edition of its date
    note: Strings


@columns
class Dressed(Sized):
    """One row a surface of a dressing: which polygon was to get sand, how much, and set how.

    In order of dressing.
    """

    dressing: Ints  #: row of Dressings
    surface: Ints  #: row of Surfaces, in the edition of the dressing's date
    planned_m: Floats  #: depth; nan = not said
    setting: Strings  #: of the spreader; "" = not said
    speed_m_s: Floats  #: of driving; nan = not said
    heading_degree: Floats
    swath_m: Floats
    hole_diameter_m: Floats
    hole_spacing_m: Floats
    hole_depth_m: Floats


@columns
class Catches(Sized):
    """Catches, one row a tray or cloth (parts of one already added), in file order."""

    id: Strings
    dressing: Ints  #: row of Dressings
    place: Ints  #: row in its file, below zero the number of a feature; for messages
    lon_degree: Floats
    lat_degree: Floats
    position_accuracy_m: Floats
    declared: Ints  #: ``ground`` index of the declared surface; -1 = none
    edge_distance_m: Floats  #: taped; positive outside; nan = not taped
    tray_area_m2: Floats
    half_diagonal_m: Floats
    caught_kg: Floats  #: gross less tare, as weighed; nan = not weighed
    moisture: Ints  #: row of Moistures
    volume_m3: Floats  #: dry sand; nan = not measured dry
    mass_pool: Ints  #: catches with the same number share one weighing; -1 = its own
    volume_pool: Ints  #: catches with the same number share one volume reading; -1 = its own
    used: Bools  #: False where a reject_reason is given
    reject_reason: Strings
    note: Strings

    def to_frame(self) -> GeoDataFrame:
        """The same table as a GeoDataFrame of points in WGS 84, places in words."""
        import shapely

        points: Geometries = np.array(
            shapely.points(self.lon_degree, self.lat_degree), dtype=object
        )
        frame = _frame(self, points)
        frame["place"] = [f"row {k}" if k >= 0 else f"feature {-k}" for k in self.place.tolist()]
        return frame


@frozen
class Settings:
    """What ``site.toml`` says for the whole site, SI; defaults are told in ``Site.findings``."""

    u_tray: float
    catch_efficiency: float
    u_catch_efficiency: float
    collar_width_m: float
    surrounds_width_m: float
    tolerance: float
    agreement: float


@columns
class Members(Sized):
    """The sites whose tables lie end to end, one row a site; a site by itself has one."""

    season_start: Dates
    season_end: Dates  #: NaT = none
    u_tray: Floats
    catch_efficiency: Floats
    u_catch_efficiency: Floats
    collar_width_m: Floats
    surrounds_width_m: Floats
    tolerance: Floats
    agreement: Floats
    newest: Ints  #: number of the boundary edition in force


@frozen
class Laid:
    """Sites laid end to end: what each has by itself, and whose each edition, id and sand is."""

    members: Members
    of_edition: Ints  #: row of ``members`` of each boundary edition
    of_id: Ints  #: the same of each of ``Site.ids``
    of_sand: Ints  #: the same of each row of ``Site.sands``


@frozen
class Site:
    """One property: its surfaces, its dressings and everything measured on them.

    Or several laid end to end, each a row of ``members``; then ``laid`` is there, the scalars here
    tell nothing (nan, NaT, ""), and no edition, id, sand or moisture is of two of them.
    """

    name: str
    season_start: np.datetime64
    season_end: np.datetime64 | None
    units: str  #: "metric" or "us"
    settings: Settings
    ids: Strings  #: every surface id once; ``ground`` columns point here
    valid_from: Dates  #: start of each boundary edition
    source_crs: tuple[str, ...]  #: CRS each edition's boundaries came in, "" = lon/lat
    surfaces: Surfaces
    sands: Sands
    moistures: Moistures
    dressings: Dressings
    dressed: Dressed
    catches: Catches
    loads: Loads
    weighed: WeighedLoads
    deliveries: Deliveries
    stock_counts: StockCounts
    group_surfaces: tuple[frozenset[int], ...]  #: ``ground`` indices of each load group
    findings: tuple[Finding, ...]
    catches_file: str = "catches.csv"  #: for messages
    source: tuple[str, ...] = ()  #: file each edition's boundaries came in, "" = not said
    datum_accuracy_m: tuple[float, ...] = ()  #: of each edition's shift to WGS 84; nan = not said
    inputs: Mapping[str, str] = field(default_factory=dict)  #: file -> SHA-256
    laid: Laid | None = None  #: where this is several sites laid end to end

    @property
    def members(self) -> Members:
        """What each site has by itself, one row a site."""
        return self.laid.members if self.laid is not None else members_of([self])

    @property
    def of_edition(self) -> Ints:
        """Row of ``members`` of each boundary edition."""
        if self.laid is not None:
            return self.laid.of_edition
        newest = max(self.surfaces.edition.max(initial=0), self.dressings.edition.max(initial=0))
        return np.zeros(int(newest) + 1, dtype=np.int64)

    @property
    def of_id(self) -> Ints:
        """Row of ``members`` of each of ``ids``."""
        return self.laid.of_id if self.laid is not None else np.zeros(len(self.ids), dtype=np.int64)

    @property
    def of_sand(self) -> Ints:
        """Row of ``members`` of each row of ``sands``."""
        sands = len(self.sands.name)
        return self.laid.of_sand if self.laid is not None else np.zeros(sands, dtype=np.int64)

    @property
    def of_surface(self) -> Ints:
        """Row of ``members`` of each row of ``surfaces``."""
        return self.of_edition[self.surfaces.edition]

    @property
    def of_dressing(self) -> Ints:
        """Row of ``members`` of each row of ``dressings``."""
        return self.of_edition[self.dressings.edition]

    def in_force(self) -> Ints:
        """Rows of ``surfaces`` that belong to the newest boundary edition of their site."""
        return np.flatnonzero(self.surfaces.edition == self.members.newest[self.of_surface])


def members_of(sites: Sequence[Site]) -> Members:
    """What sites that are by themselves have, one row each."""
    settings = [site.settings for site in sites]
    ends = ["NaT" if site.season_end is None else site.season_end for site in sites]

    each = {
        one.name: np.array([getattr(said, one.name) for said in settings], dtype=np.float64)
        for one in fields(Settings)
    }
    return Members(
        season_start=np.array([site.season_start for site in sites], dtype="datetime64[D]"),
        season_end=np.array(ends, dtype="datetime64[D]"),
        newest=np.array([site.surfaces.edition.max(initial=0) for site in sites], dtype=np.int64),
        **each,
    )


def _frame(table: Any, geometry: Geometries) -> GeoDataFrame:
    import geopandas

    columns = {f.name: getattr(table, f.name) for f in fields(table) if f.name != "geometry"}
    return geopandas.GeoDataFrame(columns, geometry=geometry, crs="OGC:CRS84")
