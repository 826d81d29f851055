"""GPX 1.1 out: points to walk to, lines to drive (topografix.com/GPX/1/1)."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any
from xml.sax.saxutils import escape

from geosand.columns import Floats

_HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<gpx version="1.1" creator="geosand" xmlns="http://www.topografix.com/GPX/1/1">\n'
)
DECIMALS = 9  #: of a degree: a tenth of a millimetre


def _plain(text: str) -> str:
    """Text that XML may hold: control characters become a space, markup is escaped."""
    return escape("".join(c if c.isprintable() else " " for c in text))


def _place(lon: float, lat: float) -> str:
    return f'lat="{lat:.{DECIMALS}f}" lon="{lon:.{DECIMALS}f}"'


def _metadata(origin: Mapping[str, Any] | None) -> str:
    """What the file was made from and with, as JSON in its description."""
    if not origin:
        return ""
    return f"<metadata><desc>{_plain(json.dumps(origin, ensure_ascii=False))}</desc></metadata>\n"


def gpx_points(
    lon_degree: Floats,
    lat_degree: Floats,
    names: Sequence[str],
    notes: Sequence[str],
    origin: Mapping[str, Any] | None = None,
) -> str:
    """Waypoints (n,) with a name and a description each; ``origin`` describes the file."""
    points = zip(lon_degree.tolist(), lat_degree.tolist(), names, notes, strict=True)
    body = [
        f"<wpt {_place(lon, lat)}><name>{_plain(name)}</name><desc>{_plain(note)}</desc></wpt>\n"
        for lon, lat, name, note in points
    ]
    return f"{_HEAD}{_metadata(origin)}{''.join(body)}</gpx>\n"


def gpx_lines(
    lines: Sequence[Any], names: Sequence[str], origin: Mapping[str, Any] | None = None
) -> str:
    """Routes: shapely LineStrings in lon/lat with a name each; ``origin`` describes the file."""
    body = []
    for line, name in zip(lines, names, strict=True):
        points = "".join(f"<rtept {_place(*point[:2])}/>" for point in line.coords)
        body.append(f"<rte><name>{_plain(name)}</name>{points}</rte>\n")
    return f"{_HEAD}{_metadata(origin)}{''.join(body)}</gpx>\n"
