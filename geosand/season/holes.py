"""Sand that fills the holes made before a dressing."""

from __future__ import annotations

import numpy as np

from geosand.columns import Floats


def hole_capacity_m(diameter_m: Floats, spacing_m: Floats, depth_m: Floats) -> Floats:
    """Depth of sand over the whole surface that fills its holes, element by element, m.

    π/4·d²·depth/spacing² for round holes on a square grid (geometry); nan where a figure is not
    known. Holes wider than their spacing are the reader's to refuse.

    >>> print(round(float(hole_capacity_m(np.float64(0.0127), np.float64(0.05), 0.075)), 4))
    0.0038
    """
    return np.pi / 4 * np.square(diameter_m) * depth_m / np.square(spacing_m)
