"""From the ellipsoid to the ground: height and slope make a surface larger."""

from __future__ import annotations

import numpy as np

from geosand.columns import Floats

EARTH_RADIUS_M = 6371000.0


def ground_factor(elevation_m: Floats, slope: Floats) -> Floats:
    """Ground area over ellipsoid area (S,): (1 + h/R)² · sqrt(1 + slope²), R = 6 371 000 m.

    ``elevation_m`` above the ellipsoid (a height above sea level will do: 50 m are 16 ppm),
    ``slope`` as rise over run (0.02 for 2 %), both (S,) or numbers; nan: not known, no correction.
    The first is the square of the surveyors' elevation factor, the second turns the area of a
    uniformly sloping plane's horizontal projection into its own.

    >>> ground_factor(np.array([1000.0, np.nan]), np.array([0.0, 0.05])).round(6).tolist()
    [1.000314, 1.001249]
    """
    height = np.nan_to_num(np.asarray(elevation_m, dtype=np.float64))
    steepness = np.nan_to_num(np.asarray(slope, dtype=np.float64))
    return (1 + height / EARTH_RADIUS_M) ** 2 * np.sqrt(1 + steepness * steepness)
