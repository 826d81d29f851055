"""What an import gives: outlines that can be surfaces, what was left out and why, and the tally."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

from geosand.columns import Floats, Geometries, Strings, freeze
from geosand.errors import Finding

if TYPE_CHECKING:
    from geopandas import GeoDataFrame


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlines:
    """Surfaces to be, one row a polygon or group of polygons, in the order of the file."""

    id: Strings
    id_from: Strings  #: "column", "name" or "number" (made up: says nothing about the surface)
    name: Strings
    kind: Strings  #: one of ``geosand.site.tables.KINDS``
    geometry: Geometries  #: Polygon or MultiPolygon, lon/lat, WGS 84, without heights
    elevation_m: Floats  #: mean of the vertices' heights; nan = none given
    attributes: Geometries  #: a dict a row: all columns of the file
    place: Strings  #: where in the file it stands

    def __post_init__(self) -> None:
        freeze(self)

    def __len__(self) -> int:
        return len(self.id)

    def to_frame(self) -> GeoDataFrame:
        """The same table as a GeoDataFrame in WGS 84, its attributes left out."""
        import geopandas

        names = ("id", "name", "kind", "elevation_m", "place")
        columns = {name: getattr(self, name) for name in names}
        return geopandas.GeoDataFrame(columns, geometry=self.geometry, crs="OGC:CRS84")


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """One thing of the file that became no surface."""

    place: str
    name: str
    reason: str
    partly: bool = False  #: the rest of it became a surface

    def __str__(self) -> str:
        named = f" {self.name!r}" if self.name and self.name not in self.place else ""
        return f"{self.place}{named}: {self.reason}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Tally:
    """The sum at the end: ``read`` = ``used`` + ``joined`` + ``labels`` + things left out whole."""

    read: int  #: things in the file
    used: int  #: things of the file that went into surfaces, whole or in part
    surfaces: int
    by_kind: tuple[tuple[str, int], ...]
    left_out: tuple[LeftOut, ...]
    joined: int = 0  #: further lines that went into an outline with others
    labels: int = 0  #: texts of a drawing that became names

    def __str__(self) -> str:
        kinds = ", ".join(f"{count} {kind}" for kind, count in self.by_kind)
        text = f"{self.read} read, {self.surfaces} became surfaces" + (
            f" ({kinds})" if kinds else ""
        )
        if self.joined:
            text += f", {self.joined} lines were joined to others"
        if self.labels:
            text += f", {self.labels} texts became names"
        if not self.left_out:
            return text + ", none left out"
        reasons = Counter(item.reason for item in self.left_out)
        shown = "; ".join(f"{n} × {reason}" for reason, n in reasons.most_common(8))
        more = f"; and {len(reasons) - 8} other reasons" if len(reasons) > 8 else ""
        whole = sum(not item.partly for item in self.left_out)
        return f"{text}, {whole} left out: {shown}{more}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Boundaries:
    """A boundary file as it was understood. Nothing is written and nothing was repaired."""

    file: str
    features: Outlines
    source_crs: str  #: code or WKT of the CRS the boundaries came in; "" = lon/lat in WGS 84
    datum_accuracy_m: float  #: of the shift to WGS 84; 0 = none was needed, nan = not known
    datum_note: str
    tally: Tally
    findings: tuple[Finding, ...]
