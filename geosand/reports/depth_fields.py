"""The depth fields of a site's surfaces as GeoJSON, one square a cell."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any

import numpy as np
import shapely

from geosand.columns import Floats, Ints
from geosand.rates.depth_field import CELL_M, MOST_CELLS, DepthField, depth_field
from geosand.rates.spatial import Spatial, site_spatial
from geosand.reports.classes import round_steps
from geosand.reports.documents import Document, number
from geosand.results import Results

DECIMALS = 8  #: of degrees, about a millimetre


def fields_text(
    results: Results, *, only: str | None = None, origin: Mapping[str, Any] | None = None
) -> tuple[str | None, str]:
    """A FeatureCollection (RFC 7946), and one sentence on the variogram; None where none is known.

    One cell a feature: dressing, surface, depth_mm and u_depth_mm of its mean, from the surface's
    own catches, three or more. ``only`` leaves other dressings out. ``origin`` (what it was made
    from and with) are members of the collection.
    """
    site, spatial = results.site, site_spatial(results.site, results.areas, results.rates)
    sentence = spatial.findings[0].text if spatial.findings else "no variogram: no catches"
    asked = np.array([only in (None, name) for name in site.dressings.id.tolist()], dtype=np.bool_)
    known = np.isfinite(spatial.kriged_rate_kg_m2)
    rows = np.flatnonzero(known & asked[site.dressed.dressing])
    if not len(rows):
        return None, sentence
    cell_m = cell_side_m(results, rows)
    collection = {
        "type": "FeatureCollection",
        "about": f"Depth fields of {site.name}; {sentence}",
        "cell_m": cell_m,
        **(origin or {}),
        "features": [
            one for row in rows.tolist() for one in _features(results, spatial, row, cell_m)
        ],
    }
    return json.dumps(collection, ensure_ascii=False, allow_nan=False), sentence


def cell_side_m(results: Results, rows: Ints, most: float = math.inf) -> float:
    """Side of the cells of fields of dressed ``rows``: round, 1 m or more.

    So wide that no field has many more than ``MOST_CELLS`` cells, nor all together than ``most``.
    """
    shapes = results.areas.owned_plane[results.site.dressed.surface[rows]]
    west, south, east, north = shapely.bounds(shapes).T
    ground = (east - west) * (north - south)
    least_m2 = max(ground.sum() / most, ground.max() / MOST_CELLS, CELL_M**2)
    return next(round_steps(math.sqrt(least_m2)))


def _features(results: Results, spatial: Spatial, row: int, cell_m: float) -> list[Document]:
    site = results.site
    field = depth_field(site, results.areas, results.rates, spatial, row, cell_m=cell_m)
    common = {
        "dressing": str(site.dressings.id[site.dressed.dressing[row]]),
        "surface": str(site.surfaces.id[site.dressed.surface[row]]),
    }
    return [
        {
            "type": "Feature",
            "properties": {
                **common,
                "depth_mm": number(round(depth * 1000, 4)),
                "u_depth_mm": number(round(u * 1000, 4)),
            },
            "geometry": {"type": "Polygon", "coordinates": [ring]},
        }
        for ring, depth, u in zip(
            _rings(results, field).tolist(),
            field.depth_m.tolist(),
            field.u_depth_m.tolist(),
            strict=True,
        )
    ]


def _rings(results: Results, field: DepthField) -> Floats:
    """Corners (T, 5, 2) of the cells in degrees, counter-clockwise, the first again at the end."""
    half = field.cell_m / 2
    x = field.x_m[:, None] + half * np.array([-1.0, 1.0, 1.0, -1.0, -1.0])
    y = field.y_m[:, None] + half * np.array([-1.0, -1.0, 1.0, 1.0, -1.0])
    lon, lat = results.areas.plane.inverse(x.ravel(), y.ravel())
    lon = (lon + 180.0) % 360.0 - 180.0
    return np.stack([lon, lat], axis=1).round(DECIMALS).reshape(*x.shape, 2)
