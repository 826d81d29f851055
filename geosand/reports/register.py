"""The area register as a document, with its independent checks by geodesic and grid."""

from __future__ import annotations

import numpy as np

from geosand.areas.audit import audit
from geosand.areas.crosscheck import geodesic_areas_m2, grid_areas_m2, grid_scale
from geosand.areas.register import area_register
from geosand.errors import Finding
from geosand.reports.documents import Document, areas_document
from geosand.site.tables import Site

GEODESIC_NOISE_M2, GEODESIC_PPM = 0.002, 1e-6


def register_document(site: Site) -> Document:
    """Areas of the boundaries in force; a finding where two ways of computing disagree."""
    register = area_register(site.surfaces)
    rows = site.in_force()
    owned = register.owned[rows]
    findings = [f for f in register.findings if f.about in set(site.surfaces.id[rows].tolist())]
    remarks = audit(site.surfaces.geometry[rows], site.surfaces.kind[rows], site.surfaces.id[rows])
    for remark in remarks:
        about = str(site.surfaces.id[rows[remark.row]])
        findings.append(Finding(about=about, text=f"{remark.text}. {remark.remedy}", topic="area"))
    geodesic = geodesic_areas_m2(owned)
    apart = np.abs(geodesic - register.owned_m2[rows])
    for k in np.flatnonzero(apart > np.maximum(GEODESIC_NOISE_M2, GEODESIC_PPM * geodesic)):
        text = f"geodesic and equal-area figures differ by {apart[k]:.3g} m²: long straight edges"
        findings.append(Finding(about=str(site.surfaces.id[rows[k]]), text=text, topic="area"))
    grid = np.full(len(rows), np.nan)
    scale = np.full(len(rows), np.nan)
    crs = site.source_crs[-1]
    if crs:
        try:
            grid, scale = grid_areas_m2(owned, crs), grid_scale(owned, crs)
        except ValueError as problem:
            findings.append(Finding(about="surfaces.geojson", text=str(problem), topic="area"))
    document = areas_document(
        site,
        register,
        geodesic_m2=geodesic,
        grid_m2=grid,
        grid_scale=scale,
        findings=findings,
    )
    return {**document, "units": site.units}
