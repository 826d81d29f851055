"""A small map of the surfaces by the depth of sand they have had, for paper: north is up."""

from __future__ import annotations

import math

import numpy as np
import shapely

from geosand.columns import Floats, Ints
from geosand.errors import printable
from geosand.reports.classes import class_of, rising_breaks, round_steps
from geosand.reports.printable.drawing import (
    ALARM,
    DEPTHS,
    HAIR,
    INK,
    PAPER,
    SOFT,
    Box,
    Drawing,
    Line,
    Mark,
    Outline,
    Words,
    flag,
)
from geosand.reports.printable.map_sheet import Label, Sheet, Ways, beside, hatch, placed_labels
from geosand.reports.words import Units, label_of
from geosand.results import Results
from geosand.season.ledger import UNDER
from geosand.site.tables import HAZARDS
from geosand.units import SHOWN

TALLEST = 470.0
LEGEND = 50.0
NARROW, SECOND_ROW = 400.0, 34.0  #: below this width the signs stand in a second row
HATCH = 2.6  #: points between the lines of a hatch
TURF, HAZARD_FILL = "#f4f5f0", "#dfe3e3"
#: Decimals of class limits, as on the map of the screen.
DECIMALS = {"metric": 2, "us": 3}


def map_picture(results: Results, units: Units, width: float) -> Drawing | None:
    """The map ``width`` points wide with legend, scale and ids; None where there is nothing."""
    site, areas, ledger = results.site, results.areas, results.ledger
    rows = site.in_force()
    rows = rows[~shapely.is_empty(areas.owned_plane[rows])]
    if not len(rows):
        return None
    rows = rows[beside(areas.owned_plane[rows], areas.owned_plane[ledger.row])]
    sheet = Sheet.around(areas.owned_plane[rows], width=width, tallest=TALLEST)
    factor, breaks = _classes(ledger.depth.value, units)
    marks = _quiet(results, rows[~np.isin(rows, ledger.row)], sheet)
    shapes = areas.owned_plane[ledger.row]
    for k, ways in enumerate(sheet.rings(shapes)):
        marks += _surface(results, k, ways, sheet, factor, breaks)
    marks += _labels(results, sheet.boxes(shapes), sheet)
    signs = bool(breaks) or bool((ledger.state == UNDER).any())
    marks += _legend(sheet, breaks, units, signs=signs)
    said = "Map of the surfaces by depth of sand; the table of the season holds the same figures"
    height = sheet.height + LEGEND + (SECOND_ROW if width < NARROW else 0.0)
    return Drawing(width=width, height=height, marks=marks, said=said)


def _quiet(results: Results, rows: Ints, sheet: Sheet) -> list[Mark]:
    """What is neither dressed nor has a target, the largest beneath."""
    shapes, kinds = results.areas.owned_plane[rows], results.site.surfaces.kind[rows]
    order = np.argsort(-shapely.area(shapes), kind="stable")
    ways = sheet.rings(shapes)
    return [
        Outline(
            ways=ways[k], fill=HAZARD_FILL if kinds[k] in HAZARDS else TURF, stroke=HAIR, width=0.4
        )
        for k in order
    ]


def _classes(depths: Floats, units: Units) -> tuple[float, list[float]]:
    """Factor from SI to the shown unit, and the limits between the classes in it.

    No limits where no surface has had any sand.
    """
    factor = SHOWN[units]["depth"][0]
    known = depths[np.isfinite(depths)]
    if not (known > 0).any():
        return factor, []
    return factor, rising_breaks((known * factor).tolist(), decimals=DECIMALS[units])


def _surface(
    results: Results, k: int, ways: Ways, sheet: Sheet, factor: float, breaks: list[float]
) -> list[Mark]:
    """One surface of the ledger in its class; hatched, dashed and flagged as its state asks."""
    ledger = results.ledger
    depth = float(ledger.depth.value[k])
    shape = results.areas.laid_plane[ledger.row[k]]  # for the hatching
    if not math.isfinite(depth):
        return [Outline(ways=ways, fill=PAPER, stroke=INK, width=0.6, dash=(1, 1.5))]
    fill = DEPTHS[class_of(depth * factor, breaks)] if breaks else PAPER
    marks: list[Mark] = [Outline(ways=ways, fill=fill, stroke=INK, width=0.5)]
    if not ledger.own[k] and ledger.dressings[k]:
        lines = sheet.lines(hatch(shape, HATCH / sheet.scale))
        marks.append(Outline(ways=lines, stroke=INK, width=0.35, closed=False))
    if ledger.state[k] == UNDER:
        across = sheet.scale * math.sqrt(shapely.area(shape))
        thin = min(1.0, max(0.45, across / 20))  # a small surface must still show its shade
        marks.append(Outline(ways=ways, stroke=PAPER, width=2.6 * thin))
        marks.append(
            Outline(ways=ways, stroke=ALARM, width=1.6 * thin, dash=(3.4 * thin, 2.0 * thin))
        )
        x, y = sheet.placed(shapely.get_coordinates(shapely.point_on_surface(shape)))[0]
        size = min(7.0, max(2.6, 0.35 * across))
        marks += [flag(x, y + 0.57 * size, 1.36 * size, PAPER), flag(x, y + 0.46 * size, size)]
    return marks


def _labels(results: Results, boxes: Floats, sheet: Sheet) -> list[Mark]:
    """Ids beside the surfaces of the ledger: what falls behind first, then greens, as room is."""
    site, ledger = results.site, results.ledger
    under, green = ledger.state == UNDER, site.surfaces.kind[ledger.row] == "green"
    wanted = [
        Label(
            text=printable(str(site.surfaces.id[row])),
            box=(box[0], box[1], box[2], box[3]),
            weight=0 if under[k] else 1 if green[k] else 2,
            bold=bool(under[k] or green[k]),
            inside=not under[k],  # there is its sign
        )
        for k, (row, box) in enumerate(zip(ledger.row, boxes.tolist(), strict=True))
    ]
    return placed_labels(wanted, sheet.width, sheet.height)


def _legend(sheet: Sheet, breaks: list[float], units: Units, *, signs: bool) -> list[Mark]:
    """Classes and signs, where there are any, the scale bar and north, below the map."""
    top = sheet.height + 14
    marks: list[Mark] = [
        Line(x1=0, y1=sheet.height + 4, x2=sheet.width, y2=sheet.height + 4, colour=HAIR, width=0.5)
    ]
    decimals = _decimals(breaks, units)
    step = min(46.0, (sheet.width - 8) * 0.5 / 5)
    unit = label_of("depth", units)
    if breaks:
        marks.append(Words(x=0, y=top + 2, text=f"depth so far, {unit}", size=7.5, bold=True))
    for k in range(5 if breaks else 0):
        x = k * step
        marks.append(
            Box(x=x, y=top + 7, width=step, height=9, fill=DEPTHS[k], stroke=INK, stroke_width=0.4)
        )
        if k < 4:
            text = f"{breaks[k]:.{decimals}f}"
            marks.append(Words(x=x + step, y=top + 25, text=text, size=7, anchor="middle"))
    narrow = sheet.width < NARROW
    if signs:
        marks += _signs(0, top + SECOND_ROW - 4) if narrow else _signs(5 * step + 18, top)
    return marks + _scale_bar(sheet, top, units)


def _decimals(breaks: list[float], units: Units) -> int:
    """As many as the limits need."""
    most = DECIMALS[units]
    return next(d for d in range(most + 1) if d == most or breaks == [round(b, d) for b in breaks])


def _signs(x: float, top: float) -> list[Mark]:
    """What hatch, dashes and triangle mean."""

    def patch(y: float) -> Floats:
        return np.array([[x, y], [x + 16, y], [x + 16, y + 9], [x, y + 9]])

    lines = [np.array([[x + a, top + 7], [x + a - 5, top + 16]]) for a in (5, 9, 13, 16)]
    return [
        Outline(ways=(patch(top + 7),), fill=PAPER, stroke=INK, width=0.5),
        Outline(ways=tuple(lines), stroke=INK, width=0.4, closed=False),
        Words(x=x + 21, y=top + 14.5, text="no catch of its own", size=7.5),
        Outline(ways=(patch(top + 20),), fill=PAPER, stroke=ALARM, width=1.4, dash=(3.4, 2.0)),
        flag(x + 8, top + 27.5, 5.5),
        Words(x=x + 21, y=top + 27.5, text="under-dressed", size=7.5),
    ]


def _scale_bar(sheet: Sheet, top: float, units: Units) -> list[Mark]:
    """A round length and the arrow to the north, at the right end."""
    foot = 0.3048
    per_unit, name = (1.0, "m") if units == "metric" else (foot, "ft")
    long = next(round_steps(sheet.width * 0.1 / sheet.scale / per_unit))
    points = long * per_unit * sheet.scale
    end = sheet.width - 22
    y = top + 14
    tip = np.array([sheet.width - 6, y + 2])
    arrow = np.array([[0.0, -12.0], [4.2, 4.0], [0.0, 1.2], [-4.2, 4.0]]) + tip
    return [
        Box(x=end - points, y=y, width=points / 2, height=3.2, fill=INK, stroke=INK),
        Box(x=end - points / 2, y=y, width=points / 2, height=3.2, fill=PAPER, stroke=INK),
        Words(x=end - points / 2, y=y + 12, text=f"{long:g} {name}", size=7.5, anchor="middle"),
        Outline(ways=(arrow,), fill=INK),
        Words(x=sheet.width - 6, y=y + 14, text="N", size=7.5, anchor="middle", colour=SOFT),
    ]
