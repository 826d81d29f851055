"""Where dressed surfaces touch: edges that two share, and corners where such edges end.

No sand is thrown over a shared edge. At a corner where others touch, what lies free between two
edges is halved: each has the ground out of it as far as the line midway, a strip's worth or a fan.
"""

from __future__ import annotations

import numpy as np
import shapely

from geosand.areas.near_pairs import near_pairs
from geosand.balance.rings.edges import Edges, before_of
from geosand.columns import (
    Bools,
    Floats,
    Geometries,
    Ints,
    begins,
    distinct,
    joined_labels,
    ragged,
    take,
)
from geosand.tuples import NamedTuple

TOUCH_M = 1e-3  #: nearer than this, two surfaces touch: edges bend a little between two planes
FAN_RAD = 0.12  #: widest opening of one strip at a corner
_SAME_M = 2 * TOUCH_M  #: places along an edge nearer than this are one


class Joints(NamedTuple):
    """How much is free beside edges at their ends where others touch; one row an edge."""

    start_rad: Floats  #: angle to the nearest edge of another surface; inf where none touches
    end_rad: Floats
    shared: Bools  #: another surface lies along it; both angles are 0


def no_joints(edges: Edges) -> Joints:
    """Of surfaces that touch no others."""
    free = np.full(len(edges.row), np.inf)
    return Joints(start_rad=free, end_rad=free, shared=np.zeros(len(free), np.bool_))


def jointed(edges: Edges, surfaces: Geometries, pairs: tuple[Ints, Ints]) -> tuple[Edges, Joints]:
    """Edges, divided where corners of others touch them, and their joints.

    ``pairs``: surfaces near each other, both ways round; ``edges`` are sorted by surface.
    """
    left, right = pairs
    touching = shapely.dwithin(surfaces[left], surfaces[right], TOUCH_M)
    if not touching.any():
        return edges, no_joints(edges)
    corner, edge, far = _contacts(edges, shapely.bounds(surfaces), left[touching], right[touching])
    edges, first, place = _divided(edges, edge, far)
    return edges, _joints(edges, place, first[corner])


def _contacts(edges: Edges, boxes: Floats, left: Ints, right: Ints) -> tuple[Ints, Ints, Floats]:
    """Corners of right surfaces on edges of left ones, and how far along; a corner is its edge."""
    x, y, length = edges.x, edges.y, edges.length_m
    end_x, end_y = x + edges.along_x * length, y + edges.along_y * length
    of = np.column_stack((np.minimum(x, end_x), np.minimum(y, end_y)))
    of = np.column_stack((of, np.maximum(x, end_x), np.maximum(y, end_y)))
    spots = np.column_stack((x, y, x, y))
    corner, of_corner = near_pairs(spots, edges.row, boxes[left], right, _SAME_M)
    edge, of_edge = near_pairs(of, edges.row, boxes[right], left, _SAME_M)
    one, other = near_pairs(spots[corner], of_corner, of[edge], of_edge, _SAME_M)
    corner, edge = corner[one], edge[other]
    out_x, out_y = x[corner] - x[edge], y[corner] - y[edge]
    along_x, along_y = edges.along_x[edge], edges.along_y[edge]
    far = np.clip(out_x * along_x + out_y * along_y, 0.0, length[edge])
    away = np.hypot(out_x - far * along_x, out_y - far * along_y)
    met = away <= TOUCH_M
    return corner[met], edge[met], far[met]


def _divided(edges: Edges, edge: Ints, far_m: Floats) -> tuple[Edges, Ints, Ints]:
    """Edges in pieces that begin ``far_m`` along some ``edge`` (k).

    With the first piece (n) of each edge, and the piece (k) that begins at each place.
    """
    length = edges.length_m[edge]
    inner = np.flatnonzero((far_m > _SAME_M) & (far_m < length - _SAME_M))
    inner = inner[np.lexsort((far_m[inner], edge[inner]))]
    cut, at = edge[inner], far_m[inner]
    new = begins(cut)
    new[1:] |= np.diff(at) > _SAME_M
    count = np.bincount(cut[new], minlength=len(edges.row))
    first = np.arange(len(count)) + np.cumsum(count) - count
    place = first[np.where(far_m > length / 2, edges.after[edge], edge)]
    place[inner] = cut + np.cumsum(new)
    owner, which = ragged(np.zeros_like(count), count + 1)
    start = np.zeros(len(owner))
    start[which > 0] = at[new]
    last = which == count[owner]
    end = np.where(last, edges.length_m[owner], np.append(start[1:], 0.0))
    pieces: Edges = take(edges, owner)
    return (
        pieces._replace(
            x=pieces.x + pieces.along_x * start,
            y=pieces.y + pieces.along_y * start,
            length_m=end - start,
            turn_rad=np.where(last, pieces.turn_rad, 0.0),
            after=np.where(last, first[pieces.after], np.arange(1, len(owner) + 1)),
        ),
        first,
        place,
    )


def _joints(edges: Edges, one: Ints, other: Ints) -> Joints:
    """Joints of edges that begin at corners, ``one`` of each pair on the corner ``other``."""
    count, before = len(edges.row), before_of(edges)
    one, other = _at_one_place(one, other)
    known = one * count + other
    start, end = np.full((2, count), np.inf)
    ahead, behind = (edges.along_x, edges.along_y), (-edges.along_x, -edges.along_y)
    inside = np.pi - edges.turn_rad[before[one]]
    for way, which in ((ahead, other), (behind, before[other])):
        np.minimum.at(start, one, _turn_to(way, which, ahead, one, inside))
        np.minimum.at(end, before[one], _turn_to(behind, before[one], way, which, inside))
    # an edge from corner to corner is shared where another surface has it the other way round
    back = before[one] * count + edges.after[other]
    found = np.minimum(np.searchsorted(known, back), len(known) - 1)
    shared = np.zeros(count, dtype=np.bool_)
    shared[before[one[known[found] == back]]] = True
    start[shared] = end[shared] = 0.0
    return Joints(start_rad=start, end_rad=end, shared=shared)


def _at_one_place(one: Ints, other: Ints) -> tuple[Ints, Ints]:
    """All pairs of corners, sorted, that chains of these pairs join: those between two as well."""
    corners = distinct(np.concatenate((one, other)))
    one, other = np.searchsorted(corners, np.stack((one, other)))
    label = joined_labels(len(corners), one, other)
    order, size = np.argsort(label, kind="stable"), np.bincount(label, minlength=len(corners))
    owner, place = ragged((np.cumsum(size) - size)[label], size[label])
    apart = owner != order[place]
    return corners[owner[apart]], corners[order[place[apart]]]


def _turn_to(
    way: tuple[Floats, Floats],
    row: Ints,
    other: tuple[Floats, Floats],
    other_row: Ints,
    inside_rad: Floats,
) -> Floats:
    """From directions counter-clockwise to others, 0 to 2π.

    What is within a surface, whose corner opens by ``inside_rad``, lies along its nearer edge.
    """
    x, y, to_x, to_y = way[0][row], way[1][row], other[0][other_row], other[1][other_row]
    turn = np.arctan2(x * to_y - y * to_x, x * to_x + y * to_y)
    return np.where(turn < -inside_rad / 2, turn + 2 * np.pi, np.maximum(turn, 0.0))


class Gaps(NamedTuple):
    """Corners where others touch: the fan there has two parts, and what lies between is not its."""

    edge: Ints  #: that ends there
    first: Ints  #: strips of the part beside it
    first_rad: Floats  #: what the part opens by
    last: Ints  #: the same of the part beside the next edge
    last_rad: Floats

    @property
    def fans(self) -> Ints:
        """Strips in all, one of them without ground for the gap."""
        return self.first + 1 + self.last


def gaps_of(edges: Edges, joints: Joints) -> Gaps:
    """The corners where others touch, with what is free there beside each of the two edges."""
    edge = np.flatnonzero(np.isfinite(joints.end_rad))
    most = np.maximum(edges.turn_rad[edge], 0.0)
    free = joints.end_rad[edge], joints.start_rad[edges.after[edge]]
    # fans of two surfaces at one place meet midway
    parts = [np.clip((each - np.pi) / 2 * (each - np.pi > 1e-9), 0.0, most) for each in free]
    first, last = (np.ceil(part / FAN_RAD).astype(np.int64) for part in parts)
    return Gaps(edge=edge, first=first, first_rad=parts[0], last=last, last_rad=parts[1])


def open_by_parts(
    gaps: Gaps, first_ray: Ints, turn_rad: Floats, out_rad: Floats, opens_rad: Floats
) -> None:
    """Set the direction and opening of the strips at corners that turn by ``turn_rad``."""
    which, ray = ragged(first_ray, gaps.fans)
    place = ray - first_ray[which]
    count, beyond = gaps.first[which], place - gaps.first[which] - 1
    opening = gaps.first_rad[which] / np.maximum(count, 1)
    last_opening = gaps.last_rad[which] / np.maximum(gaps.last[which], 1)
    back = turn_rad[which] - gaps.last_rad[which]
    out_rad[ray] = np.where(beyond < 0, place * opening, back + beyond * last_opening)
    opens_rad[ray] = np.where(beyond < -1, opening, np.where(beyond < 0, 0.0, last_opening))
