"""Entities of a DXF drawing through ezdxf: curves, blocks with their attributes, hatches, texts."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from geosand.columns import Floats
from geosand.errors import Refused, refused
from geosand.formats.boundaries.drawings.clips import clipped, shown_ground
from geosand.formats.boundaries.drawings.curves import chords, spline_cubics
from geosand.formats.boundaries.drawings.georeference import Georeference, georeference
from geosand.formats.boundaries.drawings.hatches import hatched_ground
from geosand.formats.boundaries.drawings.labels import (
    BY_LEADER,
    FILL,
    NOTHING,
    TEXT,
    TEXT_OUTSIDE,
)
from geosand.formats.boundaries.drawings.leaders import (
    multileader,
    names_surface,
    tips_of_leaders,
)
from geosand.formats.boundaries.drawings.repeats import DEEPEST, check_repeats
from geosand.formats.boundaries.drawn import Drawn
from geosand.formats.boundaries.place.reference_systems import UNITS_M
from geosand.site.cells import Cell

#: $INSUNITS code -> our unit; 0 says nothing (DXF reference, header variables).
UNIT_CODES = {1: "in", 2: "ft", 4: "mm", 5: "cm", 6: "m", 7: "km", 10: "yd", 14: "dm"}
UNIT_CODES |= {21: "us_survey_ft"}
SEGMENTS = 48  #: cubics of an arc at least (a third of it for a bulge): 0.07 ppm of a circle's area
SAG_M = 0.002  #: how far chords may run beside curves
MOST_FIT = 2000  #: points of a spline without others: room and time grow with their square
NAME_TAGS = ("NAME", "LABEL", "ID", "NUMBER", "NO")
LONGEST_TEXT = 10_000  #: letters and codes of a text that are read: no name is that long
_LINES = ("LWPOLYLINE", "POLYLINE", "LINE", "ARC", "CIRCLE", "ELLIPSE", "SPLINE", "HELIX")
_FRAME = 16  #: flag of a vertex that only steers a fitted curve (DXF reference, VERTEX, 70)
#: Parts of a polyline's mesh and what only shows or measures things is no outline.
_FOUR_CORNERS = ("SOLID", "TRACE", "3DFACE")


def entities_of(
    path: Path, shown: str, metres: float | None
) -> tuple[list[Drawn], int, list[str], Georeference]:
    """Everything in the model space, the code of its unit, what is to be said, and its own place.

    ``metres`` is what the user says of a unit; without it the drawing's own word sets how fine
    curves become (never how large).
    """
    said = _Said()
    try:
        with said:
            document, mended = _document(path)
            code = int(document.header.get("$INSUNITS", 0))
            unit = metres or UNITS_M.get(UNIT_CODES.get(code, "m"), 1.0)
            check_repeats(document, shown)
            reader = _Reader(SAG_M / unit)
            reader.tips = tips_of_leaders(document.modelspace(), reader.sag)
            drawn = list(reader.things(document.modelspace(), "", {}))
            hidden = _hidden(document, drawn, reader.invisible)
            placed = georeference(document)
    except (MemoryError, Refused):  # no fault of the drawing, or told already
        raise
    except Exception as problem:  # the library raises many sorts on damaged drawings
        text = (str(problem) or type(problem).__name__).splitlines()[0]
        found = f"can not be read ({text.replace(str(path), shown)[:100]})"
        raise refused(shown, found, remedy="save it as DXF R2010 again") from problem
    texts = []
    if mended := [*said.texts, *mended]:
        places = f"{len(mended)} place{'s' * (len(mended) > 1)}"
        texts = [f"the drawing is damaged in {places}, such as: {mended[0]}"[:200]]
    return drawn, code, texts + hidden, placed


def _document(path: Path) -> tuple[Any, list[str]]:
    """The drawing, and what had to be mended in it: the strict way first, it is twice as quick.

    Only the other decodes letters that the drawing's code page has not, as ``\\U+00FC``.
    """
    from ezdxf import recover
    from ezdxf.filemanagement import readfile
    from ezdxf.lldxf.const import DXFError

    try:
        if b"\\U+" in path.read_bytes():
            raise DXFError("coded letters")
        document = readfile(str(path))
        auditor = document.audit()
    except (DXFError, ValueError, UnicodeDecodeError):
        document, auditor = recover.readfile(path)
    return document, [entry.message for entry in (*auditor.errors, *auditor.fixes)]


def _hidden(document: Any, drawn: list[Drawn], invisible: int) -> list[str]:
    """Words on things that the drawing does not show: themselves, or the layers they lie on."""
    said = []
    if invisible:
        one = "1 of its things is" if invisible == 1 else f"{invisible} of its things are"
        said.append(f"{one} invisible in the drawing, and read all the same")
    off = {layer.dxf.name for layer in document.layers if layer.is_off() or layer.is_frozen()}
    on_them = [thing.folder for thing in drawn if thing.folder in off]
    if not on_them:
        return said
    names = ", ".join(repr(name[:40]) for name in list(dict.fromkeys(on_them))[:5])
    return [
        *said,
        f"{len(on_them)} of its things lie on layers that are switched off, and are read: {names}",
    ]


class _Said(logging.Handler):
    """What the library says while it reads a damaged drawing: kept, not printed."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.texts: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.texts.append(record.getMessage())

    def __enter__(self) -> None:
        logger = logging.getLogger("ezdxf")
        self.before, logger.propagate = logger.propagate, False
        logger.addHandler(self)

    def __exit__(self, *_: object) -> None:
        logger = logging.getLogger("ezdxf")
        logger.propagate = self.before
        logger.removeHandler(self)


class _Reader:
    """Entities of spaces and blocks to drawn things, curves no coarser than ``sag``."""

    def __init__(self, sag: float) -> None:
        self.sag = sag
        self.invisible = 0
        self.tips: dict[str, Any] = {}  #: where texts of leaders point, by their handles

    def things(
        self,
        space: Any,
        folder: str,
        attributes: dict[str, Cell],
        depth: int = 0,
        within: str = "",
    ) -> Iterator[Drawn]:
        for entity in space:
            self.invisible += bool(entity.dxf.get("invisible", 0))
            kind, layer = entity.dxftype(), entity.dxf.get("layer", "0")
            # things on layer 0 of a block lie on the layer of its insert
            where = folder if folder and layer == "0" else layer
            handle = entity.dxf.get("handle") or (within and f"in {within}")
            place = f"{kind} {handle} (layer {where[:40]!r})".replace("  ", " ")
            thing = Drawn(place=place, folder=where)
            if kind == "INSERT":
                outer = within or f"INSERT {handle}"
                yield from self._block(entity, thing, attributes, depth, outer)
            elif kind in ("TEXT", "MTEXT"):
                yield _text(entity, kind, thing, self.tips.get(entity.dxf.get("handle")))
            elif kind == "MULTILEADER":
                yield from multileader(entity, thing, self.sag)
            else:
                yield self._outline(entity, kind, thing, attributes)

    def _block(
        self, entity: Any, thing: Drawn, attributes: dict[str, Cell], depth: int, within: str
    ) -> Iterator[Drawn]:
        """What an insert draws, with its attributes; one without a line labels what it lies in."""
        if depth >= DEEPEST:
            yield replace(thing, problem=f"blocks are nested more than {DEEPEST} deep")
            return
        tags: dict[str, Cell] = {a.dxf.tag: a.dxf.text.strip() for a in entity.attribs}
        if elsewhere := _outside(entity):
            yield replace(thing, geometry=NOTHING, problem=elsewhere)
            return
        block = " / ".join(str(b) for b in (attributes.get("block"), entity.dxf.name) if b)
        inner = {**attributes, **tags, "block": block}
        inserts = entity.multi_insert() if entity.mcount > 1 else (entity,)
        drawn = [
            part
            for insert in inserts
            for part in self.things(
                insert.virtual_entities(), thing.folder, inner, depth + 1, within
            )
        ]
        if (shown := shown_ground(entity)) is not None:
            drawn = [clipped(part, shown, self.sag) for part in drawn]
        if tags and not any(p.draws("Polygon", "MultiPolygon", "LineString") for p in drawn):
            point = shapely.points(entity.dxf.insert.x, entity.dxf.insert.y)
            label = {**tags, TEXT: _name_in(tags)}
            yield replace(thing, geometry=point, attributes=label, problem=TEXT_OUTSIDE)
            drawn = [part for part in drawn if part.attributes.get(TEXT)]
        yield from drawn

    def _outline(self, entity: Any, kind: str, thing: Drawn, attributes: dict[str, Cell]) -> Drawn:
        try:
            shape, problem = self._shape(entity, kind)
        except (ValueError, TypeError, ZeroDivisionError, shapely.errors.GEOSException) as fault:
            shape, problem = None, f"it can not be drawn ({str(fault)[:60]})"
        cells = {**attributes, FILL: True} if kind in ("HATCH", "MPOLYGON") else attributes
        name = _name_in(attributes)
        return replace(thing, geometry=shape, attributes=cells, name=name, problem=problem)

    def _shape(self, entity: Any, kind: str) -> tuple[Any, str]:
        from ezdxf import path as paths

        if kind == "POINT":
            return shapely.points(entity.dxf.location.x, entity.dxf.location.y), ""
        if kind in ("HATCH", "MPOLYGON"):
            return hatched_ground(entity, self._run, SEGMENTS)
        if kind == "REGION":
            return None, "a REGION, whose form is not read: explode it to lines"
        if kind not in (*_LINES, *_FOUR_CORNERS):
            return NOTHING, f"{kind} is no outline"
        if kind in ("SPLINE", "HELIX"):
            points = self._spline(entity)
            closed = kind == "SPLINE" and entity.closed
        elif (plain := _straight(entity, kind)) is not None:
            points, closed = plain, kind != "LINE" and entity.closed
        else:
            if kind == "POLYLINE":  # a curve through or beside corners that are kept beside it
                entity.vertices[:] = [v for v in entity.vertices if not v.dxf.flags & _FRAME]
            # a bulge is cut in a third of what a circle is cut in
            cuts = SEGMENTS if "LINE" in kind else SEGMENTS // 3
            made = paths.make_path(entity, segments=cuts)
            points, closed = self._run(made), made.is_closed
        if len(points) < 2:
            return None, "a line without length"
        if closed and (points[0, :2] != points[-1, :2]).any():
            near = np.hypot(*(points[0] - points[-1])[:2]) < self.sag
            points = np.vstack([points[:-1] if near else points, points[:1]])
        if closed and len(np.unique(points[:, :2], axis=0)) > 2:
            return shapely.Polygon(points), ""
        return shapely.LineString(points), ""

    def _run(self, made: Any) -> Floats:
        """Points (n, 3) along a path of lines and curves."""
        from ezdxf.path import Command

        here = np.array(tuple(made.start))
        points, cubics = [here[None]], list[Floats]()
        for command in made.commands():
            end = np.array(tuple(command.end))
            if command.type == Command.CURVE4_TO:
                cubics.append(np.array([here, tuple(command.ctrl1), tuple(command.ctrl2), end]))
            elif command.type == Command.CURVE3_TO:
                middle = np.array(tuple(command.ctrl))
                corners = [here, (here + 2 * middle) / 3, (end + 2 * middle) / 3, end]
                cubics.append(np.array(corners))
            else:
                points += self._flat(cubics)
                points.append(end[None])
            here = end
        return np.vstack([*points, *self._flat(cubics)])

    def _flat(self, cubics: list[Floats]) -> list[Floats]:
        """Points after the first along the cubics gathered so far, which are then taken."""
        if not cubics:
            return []
        run = chords(np.array(cubics), self.sag)[1:]
        cubics.clear()
        return [run]

    def _spline(self, entity: Any) -> Floats:
        through = len(entity.fit_points)
        if not len(entity.control_points) and through > MOST_FIT:
            raise ValueError(f"{through:,} fit points: at most {MOST_FIT:,} are laid through")
        cubics = spline_cubics(entity.construction_tool())
        if cubics is None:
            raise ValueError("its knots do not fit its points")
        return chords(cubics, self.sag)


def _straight(entity: Any, kind: str) -> Floats | None:
    """Corners (n, 3) of what has no curve and lies in the plane of the drawing; else None."""
    if kind == "LINE":
        return np.array([tuple(entity.dxf.start), tuple(entity.dxf.end)])
    if kind != "LWPOLYLINE" or entity.has_arc or entity.ocs().transform or not len(entity):
        return None
    corners = np.array(entity.lwpoints.values, dtype=float).reshape(-1, 5)[:, :2]
    return np.column_stack([corners, np.full(len(corners), float(entity.dxf.elevation))])


def _outside(entity: Any) -> str:
    """Where an insert's drawing is another file, the words for it; "" where it is not."""
    block = entity.block()
    if block is None or not block.block.is_xref:
        return ""
    return f"another drawing, {block.block.dxf.get('xref_path', '')[-60:]!r}: bind it to this one"


def _name_in(tags: dict[str, Cell]) -> str:
    return next((str(v) for k, v in tags.items() if k.upper() in NAME_TAGS and v), "")


def _text(entity: Any, kind: str, thing: Drawn, tip: Any) -> Drawn:
    """A text at the place it is set at; text that is centred or on its right has a second place.

    A name with a leader is where its arrow points, at ``tip``.
    """
    if kind == "MTEXT":
        entity.text = entity.text[:LONGEST_TEXT]
    else:
        entity.dxf.text = entity.dxf.text[:LONGEST_TEXT]
    # the library's quick way leaves codes such as a blank that does not break in the text
    text = entity.plain_text(fast=False) if kind == "MTEXT" else entity.plain_text()
    at = entity.dxf.insert
    if kind == "TEXT":
        if (entity.dxf.halign or entity.dxf.valign) and entity.dxf.hasattr("align_point"):
            at = entity.dxf.align_point
        at = entity.ocs().to_wcs(at)
    cells: dict[str, Cell] = {TEXT: " ".join(text.split())}
    if tip is not None and names_surface(str(cells[TEXT])):
        return replace(thing, geometry=tip, attributes=cells, problem=BY_LEADER)
    point = shapely.points(at.x, at.y)
    return replace(thing, geometry=point, attributes=cells, problem=TEXT_OUTSIDE)
