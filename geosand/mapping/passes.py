"""From a plan of the next dressing to the passes that the map can show."""

from __future__ import annotations

import numpy as np
import shapely

from geosand.mapping.view import MapPass
from geosand.planning.dressing import NextDressing, dressing_passes
from geosand.results import Results


def map_passes(results: Results, plan: NextDressing) -> tuple[MapPass, ...]:
    """Best-heading passes of each surface that gets sand; none where no swath is known."""
    headings = plan.headings
    if headings is None:
        return ()
    lines, owner = dressing_passes(results.areas, plan)
    ids = results.site.surfaces.id[plan.rates.row]
    return tuple(
        MapPass(
            surface=str(ids[k]),
            heading_degree=float(headings.heading_degree[k]),
            lines=shapely.multilinestrings(lines[owner == k]),
        )
        for k in np.unique(owner).tolist()
    )
