"""What an import gives: outlines that can be surfaces, what was left out and why, and the tally."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from geosand.columns import Floats, Geometries, Sized, Strings, columns
from geosand.errors import Finding


@columns
class Outlines(Sized):
    """Surfaces to be, one row a polygon or group of polygons, in the order of the file."""

    id: Strings
    id_from: Strings  #: "column", "name" or "number" (made up: says nothing about the surface)
    name: Strings
    kind: Strings  #: one of ``geosand.site.tables.KINDS``
    geometry: Geometries  #: Polygon or MultiPolygon, lon/lat, WGS 84, without heights
    elevation_m: Floats  #: mean of the vertices' heights; nan = none given
    attributes: Geometries  #: a dict a row: all columns of the file
    place: Strings  #: where in the file it stands


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """One thing of the file that became no surface."""

    place: str
    name: str
    reason: str
    partly: bool = False  #: the rest of it became a surface
    lost: bool = False  #: it was drawn as an area, and can not be one
    meant: bool = False  #: it is of a kind that has an area

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
        became = (
            _many(self.surfaces, "became a surface", "became surfaces")
            if self.used == self.surfaces
            else f"{self.used} of them became {self.surfaces} surfaces"
        )
        text = f"{self.read} read, {became}" + (f" ({kinds})" if kinds else "")
        if self.joined:
            text += f", {_many(self.joined, 'line was', 'lines were')} joined to others"
        if self.labels:
            text += f", {_many(self.labels, 'text became a name', 'texts became names')}"
        whole = [item.reason for item in self.left_out if not item.partly]
        partly = [item.reason for item in self.left_out if item.partly]
        text += f", {len(whole)} left out: {_reasons(whole)}" if whole else ", none left out"
        return f"{text}; in part: {_reasons(partly)}" if partly else text


_PLACE = re.compile(r",? at lon -?[\d.]+, lat -?[\d.]+")
_COPY = re.compile(r"(?<=repair), [\w.-]+ is kept$")


def counted_by_kind(kinds: Strings) -> tuple[tuple[str, int], ...]:
    """How many there are of each kind, the most first."""
    often = Counter(kinds.tolist())
    return tuple(sorted(often.items(), key=lambda item: (-item[1], item[0])))


def _many(count: int, one: str, several: str) -> str:
    return f"{count} {one if count == 1 else several}"


def _reasons(reasons: Sequence[str]) -> str:
    """Each reason once, without its place or what it is a copy of, with how often it occurs."""
    plain = (_COPY.sub(" as a copy", _PLACE.sub("", reason)) for reason in reasons)
    often = Counter(reason.split(": ")[0] for reason in plain)
    shown = "; ".join(f"{n} × {reason}" for reason, n in often.most_common(8))
    return shown + (f"; and {len(often) - 8} other reasons" if len(often) > 8 else "")


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
    broken: Outlines  #: drawn as areas, no surfaces as they are, but to be mended; left out as well
    broken_why: tuple[str, ...]  #: of each of those
