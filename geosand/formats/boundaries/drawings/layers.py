"""DXF drawings: layers, blocks with attributes, texts as labels; without the extra, through GDAL.

A drawing names no coordinate reference system and often not the right unit: both are asked.
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

from geosand.columns import Floats
from geosand.errors import Refused, refused
from geosand.formats.boundaries.drawings.entities import UNIT_CODES, entities_of
from geosand.formats.boundaries.drawings.georeference import Georeference
from geosand.formats.boundaries.drawings.labels import TEXT, TEXT_OUTSIDE
from geosand.formats.boundaries.drawn import MAXIMUM_FEATURES, Drawn, Layer
from geosand.formats.boundaries.place.layer_system import moved
from geosand.formats.gdal_options import gdal_options
from geosand.site.cells import Cell

NEEDS_EZDXF = "install the extra that reads such drawings: pip install 'geosand[cad]'"
_BLOCKS = re.compile(rb"\n\s*0\r?\n\s*ATTRIB\r?\n")
_CURVES = re.compile(
    rb"\n\s*0\r?\n\s*(CIRCLE|ARC|ELLIPSE|SPLINE|HATCH)\r?\n|\n\s*42\r?\n\s*-?[\d.]*[1-9]"
)


def read_dxf(
    path: Path, shown: str, metres: float | None = None, crs_given: bool = False
) -> list[Layer]:
    """All entities of the model space, lines to be closed later, labels given to polygons later.

    ``metres`` is what one unit of the drawing is worth, where the user says it; ``crs_given`` that
    the user says the CRS: then the drawing's own word on its place is only compared.
    """
    head = path.read_bytes()
    binary = head.startswith(b"AutoCAD Binary DXF")
    whole = binary or re.search(rb"\n\s*EOF\s*$", head[-200:]) is not None
    cut = () if whole else ("it has no end mark (EOF): it may be cut off, with things missing",)
    layer = _read(path, shown, head, binary, metres, crs_given)
    if len(layer.drawn) > MAXIMUM_FEATURES:
        raise refused(shown, f"has more than {MAXIMUM_FEATURES:,} entities")
    return [replace(layer, findings=(*layer.findings, *cut))]


def _read(
    path: Path, shown: str, head: bytes, binary: bool, metres: float | None, crs_given: bool
) -> Layer:
    try:
        import ezdxf  # noqa: F401
    except ImportError:
        return _without_the_extra(path, shown, head, binary)
    try:
        drawn, code, findings, placed = entities_of(path, shown, metres)
    except Refused as refusal:
        if binary or refusal.__cause__ is None:  # it was read, and is refused for what it holds
            raise
        try:
            return _with_gdal(path, shown, head)
        except Refused:
            pass
        raise
    layer = _layer(drawn, UNIT_CODES.get(code, ""), tuple(findings))
    if crs_given:
        return layer if placed.onto is not None else replace(layer, crs=placed.crs)
    return _placed(layer, placed)


def _placed(layer: Layer, placed: Georeference) -> Layer:
    """The layer in the CRS that the drawing names."""
    onto, findings = placed.onto, (*layer.findings, *placed.said)
    if onto is None:
        return replace(layer, crs=placed.crs, findings=findings)

    def move(points: Floats) -> Floats:
        points[:, :2] = points[:, :2] @ onto[:2] + onto[2]
        return points

    drawn = tuple(moved(thing, move) for thing in layer.drawn)
    return replace(layer, drawn=drawn, crs=placed.crs, unit="m", findings=findings)


def _without_the_extra(path: Path, shown: str, head: bytes, binary: bool) -> Layer:
    """Through GDAL; what it can not do is said, with the way out."""
    if binary:
        raise refused(shown, "is a binary drawing", remedy=NEEDS_EZDXF)
    try:
        layer = _with_gdal(path, shown, head)
    except Refused as refusal:
        raise refused(shown, refusal.faults[0].found, remedy=NEEDS_EZDXF) from None
    said = []
    if _BLOCKS.search(head):
        said.append(f"attributes of its blocks are not read as columns: {NEEDS_EZDXF}")
    if _CURVES.search(head):
        said.append(f"its curves are chords of half a degree, 0.0013 % less area: {NEEDS_EZDXF}")
    return replace(layer, findings=(*layer.findings, *said))


def _layer(drawn: list[Drawn], unit: str, findings: tuple[str, ...] = ()) -> Layer:
    return Layer(
        name="", drawn=tuple(drawn), closes_lines=True, asks_unit=True, unit=unit, findings=findings
    )


def _with_gdal(path: Path, shown: str, head: bytes) -> Layer:
    from geosand.formats.boundaries.files.gdal_layers import read_with_gdal

    version = re.search(rb"\$ACADVER\r?\n\s*1\r?\nAC(\d{4})", head)
    unicode = version is not None and int(version[1]) >= 1021  # from release 2007 it is UTF-8
    with gdal_options(**{"DXF_ENCODING": "UTF-8"} if unicode else {}):
        (layer,) = read_with_gdal(path, shown, "dxf")
    drawn = [_entity(thing) for thing in layer.drawn if not thing.attributes.get("PaperSpace")]
    code = re.search(rb"\$INSUNITS\r?\n\s*70\r?\n\s*(\d+)", head)
    return _layer(drawn, UNIT_CODES.get(int(code[1]), "") if code else "", layer.findings)


def _entity(thing: Drawn) -> Drawn:
    """Only the layer, and the text of a label, are worth keeping of GDAL's columns."""
    folder = str(thing.attributes.get("Layer") or "0")
    text = thing.attributes.get("Text") if thing.geometry is not None else None
    cells: dict[str, Cell] = {}
    problem = thing.problem
    if isinstance(text, str) and thing.geometry.geom_type == "Point":
        cells[TEXT] = re.sub(r"\\[A-Za-z][^;\\]*;|[{}]", "", text)  # codes of multi-line text
        problem = TEXT_OUTSIDE
    place = f"entity {thing.attributes.get('EntityHandle')} (layer {folder[:40]!r})"
    return replace(thing, place=place, folder=folder, attributes=cells, problem=problem)
