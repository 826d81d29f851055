"""The field sheet: one HTML page for phone and paper that takes the readings of placed catches.

It needs no network: what is typed stays in the page's own storage until it is saved as a CSV that
a site folder takes as ``catches.csv``. Texts of the site enter escaped or as one JSON block.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from html import escape
from typing import Any
from zlib import crc32

import numpy as np
import shapely

from geosand.areas.register import AreaRegister
from geosand.columns import Ints
from geosand.errors import printable
from geosand.formats.boundaries.sites.site_text import record_columns
from geosand.formats.gpx import DECIMALS
from geosand.planning.drawn_points import EDGE, OUTSIDE
from geosand.planning.placing import Places
from geosand.reports.plain_table import Table, table
from geosand.reports.printed_page import asset, page
from geosand.reports.words import Units, shown
from geosand.site.tables import Site

Point = dict[str, Any]
_UNITS = ("mm", "m", "in", "ft", "g", "oz", "cm3", "ml")
COMPASS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")
READ_DECIMALS = 6  #: of a degree, on the page: a tenth of a metre


#: A preview in a mail or file program may show the page without running it.
NOSCRIPT = (
    '<noscript><p class="alarm">This view does not run the page: what is typed here is neither'
    " checked nor kept. Open the file in a browser, or print it.</p></noscript>\n"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tray:
    """Size of the trays; nan where it does not apply."""

    length_m: float = math.nan
    width_m: float = math.nan
    diameter_m: float = math.nan

    @property
    def half_diagonal_m(self) -> float:
        """From the middle to the farthest point of the rim."""
        if self.diameter_m > 0:
            return self.diameter_m / 2
        return math.hypot(self.length_m, self.width_m) / 2

    def words(self, units: Units) -> str:
        """A tray and its size in the reader's units."""
        factor, unit = (1 / 0.0254, "in") if units == "us" else (1000.0, "mm")
        if self.diameter_m > 0:
            return f"a tray {round(self.diameter_m * factor, 2):g} {unit} across"
        if self.length_m > 0:
            sides = (round(side * factor, 2) for side in (self.length_m, self.width_m))
            return f"a tray of {' × '.join(f'{side:g}' for side in sides)} {unit}"
        return "a tray that is not known"

    @classmethod
    def from_area(cls, area_m2: float, half_diagonal_m: float) -> Tray:
        """The rectangle or circle that has an area and a half diagonal, as catches keep them.

        (l + w)² = 4h² + 2A and (l − w)² = 4h² − 2A; a circle has more area than any rectangle.
        """
        plus, minus = 4 * half_diagonal_m**2 + 2 * area_m2, 4 * half_diagonal_m**2 - 2 * area_m2
        if minus < -1e-9 * plus:
            return cls(diameter_m=2 * half_diagonal_m)
        total, apart = math.sqrt(plus), math.sqrt(max(minus, 0.0))
        return cls(length_m=(total + apart) / 2, width_m=(total - apart) / 2)


def catch_points(site: Site, places: Places) -> list[Point]:
    """The places as plain records, in the order of walking: catch, surface, position, zone."""
    ids, kinds = site.surfaces.id[places.row], site.surfaces.kind[places.row]
    return [
        {
            "catch": str(places.catch[k]),
            "label": str(places.label[k]),
            "surface": str(ids[k]),
            "kind": str(kinds[k]),
            "lon": f"{places.lon_degree[k]:.{DECIMALS}f}",
            "lat": f"{places.lat_degree[k]:.{DECIMALS}f}",
            "outside": "" if places.zone[k] != OUTSIDE else f"{places.edge_distance_m[k]:.3g}",
            "zone": str(places.zone[k]),
        }
        for k in range(len(places))
    ]


def _columns(units: Units) -> list[tuple[str, str]]:
    """Names and units of the columns of catches, in the order in which a new site has them."""
    pairs = (name.rpartition("_") for name in record_columns(units)["catches"])
    return [(a, b) if b in _UNITS else (f"{a}_{b}".strip("_"), "") for a, _, b in pairs]


def places_table(site: Site, places: Places, units: Units) -> Table:
    """The points as a console table, in the order of walking."""
    points, walk = catch_points(site, places), _walk(places, units)
    rows = [
        [p["surface"], p["label"], _where(places, k, units), *_position(p), walk[k]]
        for k, p in enumerate(points)
    ]
    heads = [("surface", False), ("point", False), ("where", False), ("lat", True), ("lon", True)]
    return table(f"{printable(site.name)}: trays", [*heads, ("way", False)], rows)


def field_sheet(
    site: Site,
    register: AreaRegister,
    places: Places,
    *,
    tray: Tray,
    dressing: str,
    seed: int,
    units: Units = "metric",
    origin: Mapping[str, Any] | None = None,
) -> str:
    """The whole page, the same bytes each time. ``dressing`` and the tray may be left open.

    ``origin`` (what it was made from and with) goes into its data.
    In US units distances are in feet, trays in inches, and masses in ounces unless the crew says on
    the page that its scale reads grams.
    """
    points = catch_points(site, places)
    key = json.dumps([site.name, dressing, seed, points], ensure_ascii=False)
    tray_unit, mass_unit = ("in", "oz") if units == "us" else ("mm", "g")
    data: dict[str, Any] = {"key": f"{crc32(key.encode()):08x}", "points": points}
    data |= {"tray_unit": tray_unit, "mass_unit": mass_unit}
    data |= {"columns": _columns(units), "edge_unit_m": 0.3048 if units == "us" else 1.0}
    walk = _walk(places, units)
    sections = [
        _surface(site, register, places, points, np.flatnonzero(places.row == row), walk, units)
        for row in dict.fromkeys(places.row.tolist())
    ]
    title = f"{printable(site.name)}: catches"
    points_word = "point" if len(points) == 1 else "points"
    surfaces_word = "surface" if len(sections) == 1 else "surfaces"
    body = (
        f"<main><h1>{escape(title)}</h1>\n"
        f"<p>{len(points)} {points_word} on {len(sections)} {surfaces_word}, drawn with seed"
        f" {seed}, in the order of walking. Lay each tray level before the spreader passes; weigh"
        " it empty and full. What you type stays on this device until you save it.</p>\n"
        f"{NOSCRIPT}{_for_all(tray, dressing, tray_unit, mass_unit)}\n{''.join(sections)}"
        '<div class="acts"><button type="button" class="main" id="save">Save CSV</button>'
        '<button type="button" id="clear">Clear</button>'
        '<span id="status" role="status" aria-live="polite"></span></div>\n'
        '<div class="out" hidden><label for="out">The saved text, to copy where nothing is'
        ' downloaded</label><textarea id="out" readonly></textarea></div>\n'
        '<p class="caution">Add the rows of the file to catches.csv in the site folder, or to the'
        " sheet catches where the records are a workbook, each column below its own head. Those of"
        " a new site stand in the same order.</p></main>\n"
    )
    return page(
        title=title,
        body=body,
        style=asset("field_sheet.css"),
        script=asset("field_sheet.js"),
        data={**data, **(origin or {})},
    )


def _walk(places: Places, units: Units) -> list[str]:
    """How far and which way each point lies from the one before; "" for the first of all."""
    east, north = np.diff(places.x_m), np.diff(places.y_m)
    turn = np.degrees(np.arctan2(east, north))
    texts = [""] if len(places) else []
    for k, (far, angle) in enumerate(zip(np.hypot(east, north), turn, strict=True), start=1):
        before = places.label[k - 1] if places.row[k] == places.row[k - 1] else "the last"
        way = COMPASS[round(float(angle) / 45) % 8]
        texts.append(f"{shown(float(far), 'way', units)} {way} of {before}")
    return texts


def _for_all(tray: Tray, dressing: str, unit: str, mass_unit: str) -> str:
    def size(name: str, value_m: float) -> str:
        shown_value = value_m / 0.0254 if unit == "in" else value_m * 1000
        text = f"{shown_value:.4g}" if value_m > 0 else ""
        return (
            f'<div><label for="{name}">Tray {name}, {unit}</label><input id="{name}"'
            f' data-all="{name}" inputmode="decimal" autocomplete="off" value="{text}"></div>'
        )

    states = "".join(f"<option>{word}</option>" for word in ("", "dry", "moist", "tapped"))
    scales = "".join(
        f"<option{' selected' if word == mass_unit else ''}>{word}</option>" for word in ("g", "oz")
    )
    return (
        '<div class="all"><div><label for="dressing">Dressing</label><input id="dressing"'
        f' data-all="dressing" autocomplete="off" value="{escape(printable(dressing))}"></div>'
        f"{size('length', tray.length_m)}{size('width', tray.width_m)}"
        f"{size('diameter', tray.diameter_m)}"
        '<div class="screen"><label for="scale">Scale reads</label>'
        f'<select id="scale" data-all="scale">{scales}</select></div>'
        '<div><label for="state">Sand of the volumes</label>'
        f'<select id="state" data-all="state">{states}</select></div></div>'
    )


def _surface(
    site: Site,
    register: AreaRegister,
    places: Places,
    points: list[Point],
    mine: Ints,
    walk: list[str],
    units: Units,
) -> str:
    row = int(places.row[mine[0]])
    name, own = printable(str(site.surfaces.name[row])), str(site.surfaces.id[row])
    small = f" <small>{escape(own)}</small>" if own != name else ""
    boxes = "".join(_boxes(points[k], places, int(k), walk[k], units) for k in mine)
    plot = _plot(register, places, row, mine, units)
    return f"<section><h2>{escape(name or own)}{small}</h2>{plot}<div>{boxes}</div></section>\n"


def _boxes(point: Point, places: Places, k: int, walk: str, units: Units) -> str:
    """One point: its label, where it lies, and a box for each reading."""
    where = _where(places, k, units)
    at = ", ".join(_position(point))
    mass = f'<span class="unit">{"oz" if units == "us" else "g"}</span>'
    inputs = "".join(
        f'<div><label for="{name}{k}">{name}, {unit}</label><input id="{name}{k}"'
        f' data-field="{name}" inputmode="decimal" autocomplete="off"></div>'
        for name, unit in (("tare", mass), ("gross", mass), ("volume", "cm³"))
    )
    return (
        f'<div class="point" role="group" aria-label="{escape(point["surface"])} {point["label"]}">'
        f'<div class="where"><span>{where}</span><span>{walk}</span>'
        f'<span>{at}</span><span class="net"></span></div><b>{point["label"]}</b>{inputs}'
        f'<div class="note"><label for="note{k}">note</label><input id="note{k}"'
        ' data-field="note" autocomplete="off"></div>'
        '<p class="said" role="status"></p></div>'
    )


def _position(point: Point) -> tuple[str, str]:
    """Latitude and longitude as read on the page."""
    lat, lon = (f"{float(point[axis]):.{READ_DECIMALS}f}" for axis in ("lat", "lon"))
    return lat, lon


def _where(places: Places, k: int, units: Units) -> str:
    """How a point lies to the edge of its surface."""
    inside, outside = float(places.inside_m[k]), float(places.edge_distance_m[k])
    if places.zone[k] == EDGE:
        return f"near the edge, {shown(inside, 'length', units)} inside"
    if places.zone[k] == OUTSIDE:
        return f"{shown(outside, 'length', units)} outside the edge, by tape"
    return "inside"


def _plot(register: AreaRegister, places: Places, row: int, mine: Ints, units: Units) -> str:
    """The surface's outline with its labelled points, north up, and a scale bar."""
    shape = shapely.simplify(register.owned_plane[row], 0.05)
    x, y = places.x_m[mine], places.y_m[mine]
    west, south, east, north = shapely.bounds(shape)
    west, east = min(west, x.min()), max(east, x.max())
    south, north = min(south, y.min()), max(north, y.max())
    size = max(east - west, north - south, 1.0)
    edge = 0.09 * size
    rings = shapely.get_rings(shapely.get_parts(shape))
    path = "".join(
        "M" + "L".join(f"{px - west:.2f} {north - py:.2f}" for px, py in shapely.get_coordinates(r))
        for r in rings
    )
    radius, letters = 0.042 * size, 0.06 * size
    dots = "".join(
        f'<circle class="dot" cx="{px - west:.2f}" cy="{north - py:.2f}" r="{radius:.2f}"/>'
        f'<text x="{px - west:.2f}" y="{north - py + letters * 0.35:.2f}"'
        f' font-size="{letters:.2f}">{places.label[k]}</text>'
        for k, px, py in zip(mine, x, y, strict=True)
    )
    unit, foot = ("ft", 0.3048) if units == "us" else ("m", 1.0)
    told = _round_length(size / 3 / foot)
    bar, low = told * foot, north - south + 0.8 * edge
    return (
        f'<svg class="plot" role="img" aria-label="Map of the points, north up"'
        f' viewBox="{-edge:.2f} {-edge:.2f} {east - west + 2 * edge:.2f}'
        f' {north - south + 3 * edge:.2f}"><path class="ground" fill-rule="evenodd" d="{path}Z"/>'
        f'{dots}<path class="bar" d="M0 {low:.2f}h{bar:.4g}"/>'
        f'<text class="scale" x="0" y="{low + 1.3 * letters:.2f}" font-size="{letters:.2f}">'
        f"{told:g} {unit}, north is up</text></svg>"
    )


def _round_length(length_m: float) -> float:
    """The largest of 1, 2, 5 times a power of ten that is not above a length."""
    power = 10.0 ** math.floor(math.log10(length_m))
    return float(next(f for f in (5, 2, 1) if f * power <= length_m * (1 + 1e-9)) * power)
