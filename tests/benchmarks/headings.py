"""Forced overthrow of all headings and offsets beside a shapely loop that clips every strip."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from shapely import affinity

from geosand.planning.passes import forced_overthrow
from tests.benchmarks.case import Case

SWATH_M = 6.0
SAMPLE = 1  #: of 18 greens that the loop does in a round; its time is scaled up


def headings() -> Case:
    """18 greens × 60 headings × 8 offsets."""
    greens = _greens(np.random.default_rng(20260301))
    forced = forced_overthrow(greens, swath_m=SWATH_M)
    apart = np.abs(forced.excess_m2[:SAMPLE] - _by_clipping(greens[:SAMPLE], forced))
    # a last sliver below 5 cm is not driven: there the two differ by a strip
    same = apart < 1e-6 * shapely.area(greens[:SAMPLE])[:, None, None]
    corners = shapely.get_coordinates(greens)
    turn = np.radians(forced.heading_degree)
    across = np.stack([np.cos(turn), np.sin(turn)])
    return Case(
        what="forced overthrow by heading",
        size=f"{len(greens)} greens × 60 headings × 8 offsets",
        mine=lambda _: forced_overthrow(greens, swath_m=SWATH_M),
        others=(
            (
                "a shapely loop that clips every strip",
                lambda _: _by_clipping(greens[:SAMPLE], forced),
                len(greens) / SAMPLE,
                20,
            ),
        ),
        limit=("turning the corners to each heading", lambda _: corners @ across, 1.0),
        difference=f"{apart[same].max():.0e} m² where the same strips are driven"
        f" ({same.mean() * 100:.0f} %)",
        agree=bool(same.mean() > 0.95),
    )


def _greens(rng: np.random.Generator) -> np.ndarray:
    column = np.empty(18, dtype=object)
    for k in range(18):
        turn = np.linspace(0, 2 * np.pi, rng.integers(40, 120), endpoint=False)
        waves = [rng.normal(0, 0.9 / n) * np.cos(n * turn + rng.uniform(0, 6)) for n in (2, 3, 4)]
        radius = rng.uniform(11, 14) + sum(waves)
        column[k] = shapely.Polygon(np.stack([radius * np.cos(turn), radius * np.sin(turn)], 1))
    return column


def _by_clipping(shapes: np.ndarray, forced: Any) -> np.ndarray:
    """Excess (S, H, J) by cutting each turned outline with each strip."""
    out = np.zeros((len(shapes), len(forced.heading_degree), len(forced.offset_m)))
    for s, shape in enumerate(shapes):
        for h, heading in enumerate(forced.heading_degree):
            upright = affinity.rotate(shape, heading, origin=(0, 0))  # the heading points north
            west, south, east, north = upright.bounds
            for j, shift in enumerate(forced.offset_m):
                at, length = west - shift, 0.0
                while at < east - 1e-9:
                    part = upright.intersection(shapely.box(at, south, at + SWATH_M, north))
                    if part.area > 1e-9:
                        length += part.bounds[3] - part.bounds[1]
                    at += SWATH_M
                out[s, h, j] = SWATH_M * length - shape.area
    return out
