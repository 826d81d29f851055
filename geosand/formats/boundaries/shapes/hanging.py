"""Lines that hang on others by one end, as leaders of labels do: they divide nothing."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

from geosand.columns import Bools, Floats, Geometries, Ints, joined_labels
from geosand.formats.boundaries.shapes.faces import points_of

FAR_M = 0.3  #: a loose end nearer to another line than this may only have been drawn too long
#: So may one that crosses another within its last metres, up to this share of its length.
TAIL_M, TAIL_SHARE = 3.0, 0.1


def hanging(runs: list[Any], rings: list[Any], ends: Floats, node: Ints, reach: float) -> Bools:
    """Which lines (n,) hang: one end lies on another, the other far from all, and none ends on it.

    ``runs`` are the lines and ``rings`` the outlines beside them, ``ends`` (2n, 2) the first and
    last point of each line, all in metres; ``node`` (2n,) says which ends meet. Lines of which two
    ends meet where nothing else is are one: a leader may be drawn in pieces.
    """
    tree = shapely.STRtree(runs + rings)
    touching = tree.query(points_of(ends), "dwithin", distance=reach)
    often, met = (np.bincount(n, minlength=len(node))[node] for n in (node, node[touching[0]]))
    joint = np.flatnonzero((often == 2) & (met == 4))  # each lies on its own and the other's line
    joint = joint[np.argsort(node[joint], kind="stable")]
    string = joined_labels(len(runs), joint[::2] // 2, joint[1::2] // 2)
    near = tree.query(_tails(runs, ends, string), "dwithin", distance=FAR_M)
    of = np.concatenate([string, len(runs) + np.arange(len(rings))])
    own = string[np.arange(len(ends)) // 2]
    touching, near = (pairs[:, own[pairs[0]] != of[pairs[1]]] for pairs in (touching, near))
    foot, tip = np.zeros(len(ends), dtype=bool), np.ones(len(ends), dtype=bool)
    foot[touching[0]], tip[near[0]] = True, False
    foot[joint] = tip[joint] = False  # a string begins and ends elsewhere
    feet, tips = (np.bincount(own[some], minlength=len(runs)) for some in (foot, tip))
    held = of[touching[1, often[touching[0]] == 1]]
    hung = (feet == 1) & (tips == 1) & ~np.isin(np.arange(len(runs)), held)
    return np.asarray(hung[string])


def _tails(runs: list[Any], ends: Floats, string: Ints) -> Geometries:
    """The last of each line before each of its ends (2n,); ``string`` (n,) says which are one."""
    length = np.bincount(string, shapely.length(runs))[string]
    back = np.minimum(TAIL_M, TAIL_SHARE * length)[:, None] * (1, -1)  # -1: from the end
    lines = np.array(runs, dtype=object)[:, None]
    before = shapely.get_coordinates(shapely.line_interpolate_point(lines, back).ravel())
    return np.asarray(shapely.linestrings(np.stack([before, ends], axis=1)), dtype=object)
