"""DXF drawings: layers, blocks with attributes, texts as labels; GDAL first, ezdxf where it helps.

A drawing names no coordinate reference system and often not the right unit: both are asked.
"""

from __future__ import annotations

import logging
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import shapely

from geosand.errors import Refused
from geosand.formats.boundaries.drawn import MAXIMUM_FEATURES, Drawn, Layer, refused
from geosand.site.cells import Cell

#: $INSUNITS code -> our unit; 0 says nothing (DXF reference, header variables).
UNIT_CODES = {1: "in", 2: "ft", 4: "mm", 5: "cm", 6: "m", 7: "km", 10: "yd", 14: "dm"}
UNIT_CODES |= {21: "us_survey_ft"}
SAG = 0.002  #: how far chords may run inside curves, in the unit of the drawing
NEEDS_EZDXF = "install the extra that reads such drawings: pip install 'geosand[cad]'"
NAME_TAGS = ("NAME", "LABEL", "ID", "NUMBER", "NO")


def read_dxf(path: Path, shown: str) -> list[Layer]:
    """All entities of the model space, lines to be closed later, labels given to polygons later."""
    head = path.read_bytes()
    binary = head.startswith(b"AutoCAD Binary DXF")
    whole = binary or re.search(rb"\n\s*EOF\s*$", head[-200:]) is not None
    cut = () if whole else ("it has no end mark (EOF): it may be cut off, with things missing",)
    (layer,) = _layers(path, shown, head, binary)
    return [replace(layer, findings=(*layer.findings, *cut))]


def _layers(path: Path, shown: str, head: bytes, binary: bool) -> list[Layer]:
    blocks = re.search(rb"\n\s*0\r?\n\s*ATTRIB\r?\n", head) is not None
    problem = ""
    if not blocks and not binary:
        try:
            return [_with_gdal(path, shown, head)]
        except Refused as refusal:
            problem = refusal.faults[0].found
    try:
        import ezdxf  # noqa: F401
    except ImportError:
        if problem or binary:
            raise refused(shown, problem or "is a binary drawing", remedy=NEEDS_EZDXF) from None
        layer = _with_gdal(path, shown, head)
        text = f"attributes of its blocks are not read as columns: {NEEDS_EZDXF}"
        return [replace(layer, findings=(*layer.findings, text))]
    return [_with_ezdxf(path, shown)]


def _layer(drawn: list[Drawn], unit: str, findings: tuple[str, ...] = ()) -> Layer:
    if len(drawn) > MAXIMUM_FEATURES:
        raise refused("drawing", f"has more than {MAXIMUM_FEATURES:,} entities")
    return Layer(
        name="", drawn=tuple(drawn), closes_lines=True, asks_unit=True, unit=unit, findings=findings
    )


def _with_gdal(path: Path, shown: str, head: bytes) -> Layer:
    import pyogrio

    from geosand.formats.boundaries.gdal_layers import read_with_gdal

    version = re.search(rb"\$ACADVER\r?\n\s*1\r?\nAC(\d{4})", head)
    unicode = version is not None and int(version[1]) >= 1021  # from release 2007 it is UTF-8
    before = pyogrio.get_gdal_config_option("DXF_ENCODING")
    pyogrio.set_gdal_config_options({"DXF_ENCODING": "UTF-8" if unicode else before})
    try:
        (layer,) = read_with_gdal(path, shown, "dxf")
    finally:
        pyogrio.set_gdal_config_options({"DXF_ENCODING": before})
    drawn = [_entity(thing) for thing in layer.drawn if not thing.attributes.get("PaperSpace")]
    code = re.search(rb"\$INSUNITS\r?\n\s*70\r?\n\s*(\d+)", head)
    unit = UNIT_CODES.get(int(code[1]), "") if code else ""
    return _layer(drawn, unit, layer.findings)


def _entity(thing: Drawn) -> Drawn:
    """Only the layer, and the text of a label, are worth keeping of GDAL's columns."""
    folder = str(thing.attributes.get("Layer") or "0")
    text = thing.attributes.get("Text") if thing.geometry is not None else None
    cells: dict[str, Cell] = {}
    if isinstance(text, str) and thing.geometry.geom_type == "Point":
        cells["Text"] = re.sub(r"\\[A-Za-z][^;\\]*;|[{}]", "", text)  # codes of multi-line text
    handle = thing.attributes.get("EntityHandle")
    place = f"{thing.place} (layer {folder[:40]!r}, entity {handle})"
    shape = thing.geometry
    return replace(thing, place=place, folder=folder, attributes=cells, geometry=shape)


def _with_ezdxf(path: Path, shown: str) -> Layer:
    from ezdxf import recover

    said = _Said()
    try:
        with said:
            document, auditor = recover.readfile(path)
        drawn = list(_entities(document.modelspace(), "", {}, 0))
    except Exception as problem:  # the library raises many sorts on damaged drawings
        found = f"can not be read ({str(problem).splitlines()[0][:100]})"
        raise refused(shown, found, remedy="save it as DXF R2010 again") from problem
    mended = [*said.texts, *(entry.message for entry in (*auditor.errors, *auditor.fixes))]
    text = f"the drawing is damaged in {len(mended)} places, such as: {mended[0]}" if mended else ""
    unit = UNIT_CODES.get(int(document.header.get("$INSUNITS", 0)), "")
    return _layer(drawn, unit, (text[:200],) if mended else ())


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


def _entities(space: Any, folder: str, attributes: dict[str, Cell], depth: int) -> Iterator[Drawn]:
    for entity in space:
        kind = entity.dxftype()
        layer = entity.dxf.get("layer", "0")
        # things on layer 0 of a block lie on the layer of its insert
        where = folder if folder and layer == "0" else layer
        place = f"{kind} {entity.dxf.get('handle') or ''} (layer {where[:40]!r})".replace("  ", " ")
        if kind == "INSERT" and depth < 8:
            tags: dict[str, Cell] = {a.dxf.tag: a.dxf.text for a in entity.attribs}
            inner = {**attributes, **tags, "block": entity.dxf.name}
            yield from _entities(entity.virtual_entities(), where, inner, depth + 1)
            continue
        if kind in ("TEXT", "MTEXT"):
            text = entity.plain_text() if kind == "MTEXT" else entity.dxf.text
            point = shapely.points(entity.dxf.insert.x, entity.dxf.insert.y)
            yield Drawn(place=place, geometry=point, folder=where, attributes={"Text": text})
            continue
        name = next((str(v) for k, v in attributes.items() if k.upper() in NAME_TAGS), "")
        shape, problem = _shape(entity, kind)
        yield Drawn(
            place=place,
            geometry=shape,
            folder=where,
            attributes=attributes,
            name=name,
            problem=problem,
        )


def _shape(entity: Any, kind: str) -> tuple[Any, str]:
    if kind == "POINT":
        return shapely.points(entity.dxf.location.x, entity.dxf.location.y), ""
    if kind == "HATCH":
        rings = [list(path.flattening(SAG)) for path in _hatch_paths(entity)]
        shapes = [shapely.Polygon([(p.x, p.y) for p in r]) for r in rings if len(r) > 3]
        return (shapely.MultiPolygon(shapes), "") if shapes else (None, "a hatch without outline")
    if kind not in ("LWPOLYLINE", "POLYLINE", "LINE", "ARC", "CIRCLE", "ELLIPSE", "SPLINE"):
        return None, f"{kind} is no outline"
    from ezdxf import path as paths

    made = paths.make_path(entity)
    points = [(p.x, p.y, p.z) for p in made.flattening(SAG)]
    if len(points) < 2:
        return None, "a line without length"
    if made.is_closed and len(points) > 3:
        return shapely.Polygon(points), ""
    return shapely.LineString(points), ""


def _hatch_paths(entity: Any) -> Any:
    from ezdxf import path as paths

    return paths.from_hatch(entity)


def give_labels(drawn: list[Drawn]) -> tuple[list[Drawn], int]:
    """Texts that lie in a polygon become its name where it has none; how many were used.

    A text belongs to the smallest polygon around it.
    """
    rows = [k for k, d in enumerate(drawn) if d.geometry is not None and _is_area(d)]
    texts = [k for k, d in enumerate(drawn) if d.attributes.get("Text") and not _is_area(d)]
    if not rows or not texts:
        return drawn, 0
    areas = [drawn[k].geometry for k in rows]
    tree = shapely.STRtree(areas)
    size = shapely.area(areas)
    names: dict[int, list[str]] = {}
    used: set[int] = set()
    for k in texts:
        around = tree.query(drawn[k].geometry, "intersects")
        if len(around):
            owner = rows[int(around[size[around].argmin()])]
            names.setdefault(owner, []).append(str(drawn[k].attributes["Text"]).strip())
            used.add(k)
    labelled = [
        replace(d, name=d.name or " ".join(dict.fromkeys(names.get(k, ()))))
        for k, d in enumerate(drawn)
        if k not in used
    ]
    return labelled, len(used)


def _is_area(thing: Drawn) -> bool:
    return thing.geometry is not None and thing.geometry.geom_type in ("Polygon", "MultiPolygon")
