"""Catches as rows: what each says, and how far it lies from its surface's figure."""

from __future__ import annotations

import math

import numpy as np

from geosand.columns import ratio
from geosand.reports.documents import MILLIMETRE, Document, number
from geosand.results import Results


def catch_rows(results: Results) -> list[Document]:
    """One row a catch, in file order. ``residual_percent``: its rate over the estimate for its
    surface on that day, less 1; null where it lies on no dressed surface."""
    site, rates = results.site, results.rates
    catches, on = site.catches, rates.assignment.dressed
    estimate = np.where(
        on >= 0, rates.rate.value[np.maximum(on, 0)] if len(rates.rate) else np.nan, np.nan
    )
    residual = ratio(rates.each.rate_kg_m2, estimate) - 1
    rows: list[Document] = []
    for k in range(len(catches)):
        surface, dressing = int(rates.assignment.surface[k]), int(catches.dressing[k])
        rows.append(
            {
                "catch": str(catches.id[k]),
                "dressing": str(site.dressings.id[dressing]),
                "date": str(site.dressings.date[dressing]),
                "surface": str(site.surfaces.id[surface]) if surface >= 0 else None,
                "lon": float(catches.lon_degree[k]),
                "lat": float(catches.lat_degree[k]),
                "rate_kg_m2": number(rates.each.rate_kg_m2[k]),
                "depth_mm": number(rates.catch_depth_m[k], MILLIMETRE),
                "estimate_kg_m2": number(estimate[k]),
                "residual_percent": number(residual[k], 100)
                if math.isfinite(residual[k])
                else None,
                "used": bool(catches.used[k]),
                "reject_reason": str(catches.reject_reason[k]),
                "note": str(catches.note[k]),
            }
        )
    return rows
