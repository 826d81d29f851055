"""Catches as rows: what each says, and how far it lies from its surface's figure."""

from __future__ import annotations

import numpy as np

from geosand.columns import ratio
from geosand.reports.documents import Document, columns_of, rows_of
from geosand.results import Results


def catch_rows(results: Results) -> list[Document]:
    """One row a catch, in file order. ``residual_percent``: its rate over the estimate for its
    surface on that day, less 1; null where it lies on no dressed surface."""
    site, rates = results.site, results.rates
    catches, on = site.catches, rates.assignment.dressed
    estimate = np.append(rates.rate.value, np.nan)[on]  # the last is for "none", -1
    names = np.append(site.surfaces.id, "")[rates.assignment.surface].tolist()
    return rows_of(
        {
            "catch": catches.id,
            "dressing": site.dressings.id[catches.dressing],
            "date": site.dressings.date[catches.dressing],
            "surface": [name or None for name in names],
            "lon": catches.lon_degree.tolist(),
            "lat": catches.lat_degree.tolist(),
            "rate_kg_m2": rates.each.rate_kg_m2,
            "depth_mm": rates.catch_depth_m,
            "estimate_kg_m2": estimate,
            "residual_percent": ratio(rates.each.rate_kg_m2, estimate) - 1,
            "used": catches.used,
            **columns_of(catches, "reject_reason", "note"),
        }
    )
