"""An estimate of one row from its value and the effects of its sources."""

from __future__ import annotations

import numpy as np

from geosand.estimates import Estimates


def one(value, **effects):
    return Estimates(
        value=np.array([value], float),
        effects={k: np.array([v], float) for k, v in effects.items()},
    )
