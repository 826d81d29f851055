"""Outlines that are no surfaces as they are, but could be; and what is written otherwise."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from geosand.areas.crossings import meet_often, without_collapsed
from geosand.areas.ownership import PRECEDENCE
from geosand.columns import Floats, Geometries
from geosand.formats.boundaries.drawn import MAXIMUM_RING, Drawn
from geosand.formats.boundaries.shapes.faces import (
    EXACT_M,
    THICKET,
    clusters,
    is_thicket,
    shared_faces,
)

if TYPE_CHECKING:
    from geosand.formats.boundaries.words.wishes import Wishes

#: Gap between a line's ends over its length, up to which it may be an outline left open.
NEARLY_CLOSED = 0.1
#: The same in its usual steps: surveyors do not take the first point again. Of so many steps.
USUAL_STEPS, FEWEST_STEPS = 2.0, 4
FOURTH_SIDE = 1.25  #: of four corners the same, over the longest of three sides
THINNEST = 0.02  #: area of such a one over that side squared; else it encloses nothing
NO_AREA = ("", "path", "other")  #: kinds of lines that need not enclose anything
CLOSED = "a closed line of no known kind"  #: with one it would be an outline
NOT_CLOSED = "a line that does not close: its ends are "
ALONG = ", on the edge of "  #: in such a reason, where the line ends on outlines of other layers
#: Of one outline with itself; one that is walked twice has about one a vertex. Own choice.
MOST_CROSSINGS = 2000
#: Formats with a rule for the direction of rings (RFC 7946, 3.1.6; OGC KML 2.3, 10.8).
WOUND = (".geojson", ".json", ".kml", ".kmz")


def can_be_mended(shape: Any) -> bool:
    """Whether an outline that is not sound is one that only crosses or touches itself."""
    points = shapely.get_coordinates(shape)
    if len(points) > MAXIMUM_RING or not np.isfinite(points).all() or shapely.is_valid(shape):
        return False
    whole = without_collapsed(shape)
    if whole is None or is_tangled(whole):
        return False
    return bool(shapely.area(shapely.make_valid(whole)) > 0)


def is_tangled(shape: Any) -> bool:
    """Whether an outline crosses itself more often than anybody draws one.

    To mend it would take minutes and gigabytes: they grow with the cube of its crossings.
    """
    rings = shapely.get_rings(shapely.get_parts(shape))
    beside = shapely.get_num_coordinates(shape)  # each side meets the next one
    return meet_often(rings, MOST_CROSSINGS + int(beside))


def to_be_closed(
    things: list[Drawn], metres: Floats, wishes: Wishes, *, along: bool
) -> tuple[list[Drawn], Geometries, list[str]]:
    """Open lines of a kind that has an area, closed, with why each is no outline as it is.

    With ``along`` those that end on outlines or lines of other layers are closed along them; those
    whose ends nearly meet are closed straight, where that is a few steps only after it was seen
    what lines enclose together. They are listed as left out as well, until somebody says that they
    are to be closed.
    """
    lines = [d for d in things if d.draws("LineString") and d.problem != THICKET]
    own = [d for d in lines if wishes.kind_and_word(d)[0] not in NO_AREA]
    beside = _Outlines(things, metres, wishes.close_tolerance_m) if along and own else None
    kept, shapes, reasons = [], list[Any](), []

    def keep(thing: Drawn, shape: Any, where: str = "") -> None:
        if shape is not None:
            kept.append(thing)
            shapes.append(shape)
            reasons.append(_reason(thing, metres, where))

    def rest_of(things: list[Drawn]) -> list[Drawn]:
        return [d for d in things if not any(d is other for other in kept)]

    for thing in own:
        shape, where = beside.along(thing) if beside is not None else (None, "")
        keep(thing, _nearly_closed(thing, metres, steps=0.0) if shape is None else shape, where)
    if beside is not None:
        rest = rest_of(lines)
        for found in list(beside.together(rest, [wishes.kind_and_word(d)[0] for d in rest])):
            keep(*found)
    for thing in rest_of(own):
        keep(thing, _nearly_closed(thing, metres, steps=USUAL_STEPS, sides=not along))
    geometry = np.array(shapes, dtype=object)
    return kept, geometry, reasons


def _reason(thing: Drawn, metres: Floats, where: str) -> str:
    points = shapely.get_coordinates(thing.geometry)
    gap = float(np.hypot(*((points[-1] - points[0]) * metres)))
    return f"{NOT_CLOSED}{gap:.2f} m apart{where}"


def _nearly_closed(thing: Drawn, metres: Floats, *, steps: float, sides: bool = False) -> Any:
    """The polygon of a line whose ends nearly meet, or by so many usual steps; None for another.

    With ``sides`` also of one that is three sides of a tee.
    """
    points = shapely.get_coordinates(thing.geometry)
    step = np.hypot(*(np.diff(points, axis=0) * metres).T)
    gap = float(np.hypot(*((points[-1] - points[0]) * metres)))
    usual = steps * float(np.median(step)) if len(step) >= FEWEST_STEPS else 0.0
    near = 0 < gap <= max(NEARLY_CLOSED * float(step.sum()), usual)
    closed = shapely.polygons(np.vstack([points, points[:1]]))
    if not near and sides and len(step) == FEWEST_STEPS - 1 and shapely.is_valid(closed):
        longest, area = float(step.max()), float(shapely.area(closed) * np.prod(metres))
        near = 0 < gap <= FOURTH_SIDE * longest and area > THINNEST * longest**2
    return closed if near and len(np.unique(points, axis=0)) >= 3 else None


class _Outlines:
    """Outlines of a drawing, along which lines of other layers may close."""

    def __init__(self, things: list[Drawn], metres: Floats, reach_m: float) -> None:
        self.metres, self.reach_m = metres, reach_m
        self.drawn = [d for d in things if d.draws("Polygon")]
        edges = shapely.boundary(np.array([d.geometry for d in self.drawn], dtype=object))
        self.tree = shapely.STRtree(shapely.transform(edges, lambda points: points * self.metres))

    def along(self, thing: Drawn) -> tuple[Any, str]:
        """What a line encloses with the outlines that both its ends lie on, and which these are.

        As a fairway that is drawn up to the edge of its green; None where there is no such.
        """
        points = shapely.get_coordinates(thing.geometry)
        ends = shapely.points(points[[0, -1]] * self.metres)
        end, row = self.tree.query(ends, "dwithin", distance=max(self.reach_m, EXACT_M))
        other = np.array([self.drawn[k].folder != thing.folder for k in row], dtype=bool)
        if len(set(end[other].tolist())) < 2:
            return None, ""
        met = [self.drawn[k] for k in dict.fromkeys(row[other].tolist())]
        outlines = [shapely.force_2d(d.geometry) for d in met]
        if is_thicket([thing.geometry, *shapely.boundary(outlines)]):
            return None, ""
        faces = shared_faces([(thing, points)], outlines, self.reach_m, self.metres)
        if len(faces) != 1:
            return None, ""
        return faces[0][0], ALONG + " and ".join(d.place for d in met)

    def together(self, lines: list[Drawn], kinds: list[str]) -> Iterator[tuple[Drawn, Any, str]]:
        """Outlines that lines enclose with those of other layers: whose each is, and with which.

        As a green whose front is drawn as the end of the fairway only, or an approach in three
        lines up to its green. It is of the longest of the lines of a kind that has an area and lie
        on it whole, of about as long ones of the kind that lies on top; of nobody where that line
        lies on two such outlines.
        """
        runs = [shapely.get_coordinates(d.geometry) for d in lines]
        shapes = np.array([shapely.linestrings(run * self.metres) for run in runs], dtype=object)
        own = [kind not in NO_AREA for kind in kinds]
        group = clusters(shapes, self.reach_m)
        telling = (np.bincount(group) > 1) & (np.bincount(group, own) > 0)
        some = np.flatnonzero(telling[group]).tolist()
        if not some:
            return
        ends = shapely.points(np.vstack([runs[k][[0, -1]] for k in some]) * self.metres)
        end, met = self.tree.query(ends, "dwithin", distance=max(self.reach_m, EXACT_M))
        met_by: dict[int, set[int]] = {k: set() for k in some}
        for line, outline in zip((end // 2).tolist(), met.tolist(), strict=True):
            met_by[some[line]].add(outline)
        if len({lines[k].folder for k in some} | {self.drawn[k].folder for k in met}) < 2:
            return
        outlines = [shapely.force_2d(self.drawn[k].geometry) for k in sorted(set(met.tolist()))]
        if is_thicket([*(lines[k].geometry for k in some), *shapely.boundary(outlines)]):
            return
        pairs = [(lines[k], runs[k]) for k in some]
        found = []
        for face, sides in shared_faces(pairs, outlines, self.reach_m, self.metres):
            edge = shapely.transform(shapely.boundary(face), lambda points: points * self.metres)
            rows = [some[k] for k in sides]
            whole = [k for k in rows if own[k] and self._lies_on(shapes[k], edge)]
            along = sorted(set[int]().union(*(met_by[k] for k in rows)))
            beside = [self.drawn[k] for k in along]
            if whole and len({d.folder for d in (*(lines[k] for k in rows), *beside)}) > 1:
                size = shapely.length(shapes[whole])
                longest = [k for k, m in zip(whole, size, strict=True) if m > 0.9 * size.max()]
                owner = min(longest, key=lambda k: PRECEDENCE.index(kinds[k]))
                others = [*(lines[k] for k in rows if k != owner), *beside]
                found.append((owner, face, [d.place for d in others[:3]]))
        for owner, face, places in found:
            if sum(owner == other for other, _, _ in found) == 1:
                yield lines[owner], face, ALONG + " and ".join(places)

    def _lies_on(self, line: Any, edge: Any) -> bool:
        """Whether a line runs along an edge all the way, but for the closing tolerance."""
        places = shapely.line_interpolate_point(line, np.linspace(0, 1, 9), normalized=True)
        return bool(shapely.dwithin(edge, places, max(self.reach_m, EXACT_M)).all())


def said_of_rings(geometry: Geometries, across: int, shown: str) -> list[str]:
    """What is written otherwise than it was drawn, though no area changes by it."""
    said = []
    if across:
        one = "1 outline crosses" if across == 1 else f"{across} outlines cross"
        said.append(f"{one} the antimeridian: cut at 180° (RFC 7946, 3.1.9)")
    if shown.lower().endswith(WOUND):
        parts = shapely.get_parts(geometry)
        turned = int((~shapely.is_ccw(shapely.get_exterior_ring(parts))).sum())
        if turned:
            one = "1 outline runs" if turned == 1 else f"{turned} outlines run"
            written = "it is" if turned == 1 else "they are"
            said.append(
                f"{one} clockwise: {written} written counter-clockwise (RFC 7946, 3.1.6),"
                " the area stays"
            )
    return said
