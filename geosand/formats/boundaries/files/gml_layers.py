"""GML through GDAL, without what its driver stumbles over: old names of CRS, points by outlines."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

from geosand.errors import refused
from geosand.formats.boundaries.drawn import Layer
from geosand.formats.boundaries.files.gdal_layers import read_with_gdal
from geosand.formats.boundaries.files.xml_layers import check_whole_xml

#: How GML 2 names a CRS; like ``EPSG:``, and unlike ``urn:``, it goes with east before north.
_OLD_NAME = re.compile(rb"https?://www\.opengis\.net/gml/srs/epsg\.xml#(\d+)")
#: Names of the German land registers (GeoInfoDok 7): UTM and three-degree zones of Gauss-Krüger.
_ADV = re.compile(rb"urn:adv:crs:(?:ETRS89_UTM(3[123])|DE_DHDN_3GK([2-5]))\w*\b(?!\*)")
_CODE = re.compile(rb"""srsName\s*=\s*["'][^"']*?EPSG[:/][^"']*?(\d+)["']""", re.IGNORECASE)
_AREA = re.compile(rb"<(?:\w+:)?(?:Polygon|MultiPolygon|Surface|MultiSurface|CompositeSurface)\b")
#: A property whose only value is a point, such as the reference point of a parcel; its parts are
#: bounded, or points without an end would be looked for to the end of the file, one by one.
_POINT = re.compile(
    rb"<([\w.-]{1,200}(?::[\w.-]{1,200})?)(?:\s[^>]{0,1000})?>\s{0,1000}"
    rb"<((?:\w{1,200}:)?Point)\b[^>]{0,1000}>.{0,2000}?</\2>\s{0,1000}</\1>",
    re.DOTALL,
)
_AREAS = ("Polygon", "MultiPolygon", "GeometryCollection")


def read_gml(path: Path, shown: str) -> list[Layer]:
    """All layers of a copy of our own, which may be changed. Raises Refused as ``read_with_gdal``.

    The driver takes one geometry a feature. Where that is a point though the file draws areas, it
    is read again without the points.
    """
    check_whole_xml(path, shown)
    content = path.read_bytes()
    named = _ADV.sub(_adv_code, _OLD_NAME.sub(rb"EPSG:\1", content))
    if named != content:
        path.write_bytes(named)
    layers = read_with_gdal(path, shown, "gml")
    _refuse_several_systems(layers, named, shown)
    hidden = any(not thing.draws(*_AREAS) for layer in layers for thing in layer.drawn)
    if not hidden or not _AREA.search(named):
        return layers
    without_points = _POINT.sub(b"", named)
    if without_points == named:
        return layers
    path.write_bytes(without_points)
    for schema in (".gfs", ".xsd"):
        path.with_suffix(schema).unlink(missing_ok=True)
    outlines = {layer.name: layer for layer in read_with_gdal(path, shown, "gml")}
    return [_with_outlines(layer, outlines.get(layer.name, layer)) for layer in layers]


def _adv_code(name: re.Match[bytes]) -> bytes:
    """The code of a name of ``_ADV``; written with ``EPSG:``, east goes before north."""
    return b"EPSG:258%s" % name[1] if name[1] else b"EPSG:%d" % (31464 + int(name[2]))


def _refuse_several_systems(layers: list[Layer], content: bytes, shown: str) -> None:
    """Refuse a layer whose outlines name several CRS, of which the driver takes none."""
    codes = sorted({code.decode() for code in _CODE.findall(content)})
    if len(codes) > 1 and any(layer.drawn and not layer.crs for layer in layers):
        raise refused(
            shown,
            f"outlines of one layer are in several reference systems: EPSG {', '.join(codes[:5])}",
            remedy="export those of each system by themselves",
        )


def _with_outlines(layer: Layer, outlined: Layer) -> Layer:
    """The layer with the outlines that only came out when its points were gone."""
    if len(layer.drawn) != len(outlined.drawn):
        return layer
    pairs = list(zip(layer.drawn, outlined.drawn, strict=True))
    found = sum(new.draws(*_AREAS) and not old.draws(*_AREAS) for old, new in pairs)
    if not found:
        return layer
    have = "1 feature has" if found == 1 else f"{found} features have"
    text = f"{have} a point beside an outline: the outline is taken"
    drawn = tuple(new if new.draws(*_AREAS) else old for old, new in pairs)
    return replace(outlined, drawn=drawn, findings=(*outlined.findings, text))
