"""The area register as a document: checks by geodesic and grid, totals, and why figures differ."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import shapely

from geosand.areas.audit import audit
from geosand.areas.crosscheck import geodesic_areas_m2, grid_areas_m2, grid_scale
from geosand.areas.ground import ground_factor
from geosand.areas.register import AreaRegister, area_register
from geosand.columns import Floats, Geometries, Ints
from geosand.errors import Finding
from geosand.reports.documents import Document, areas_document, number
from geosand.site.tables import Site

GEODESIC_NOISE_M2, GEODESIC_PPM = 0.002, 1e-6
CAUTION = (
    "These figures are for sand and renovation quantities; boundary and title work needs a"
    " licensed surveyor."
)
TOTALS_NOTE = (
    "u of a total is not the sum of the surfaces' u: an edge that two of them share leaves their"
    " sum alone, errors of single edges partly cancel, and the survey's bias adds up in full."
)
_ACCURACIES = re.compile(r"(boundary accuracy|edge accuracy|edge bias) is not said")


def register_document(site: Site, register: AreaRegister | None = None) -> Document:
    """Areas of the boundaries in force; a finding where two ways of computing disagree.

    ``register`` is ``area_register(site.surfaces)`` where it is there already.
    """
    register = area_register(site.surfaces) if register is None else register
    rows = site.in_force()
    owned = register.owned[rows]
    findings = _findings(site, register, rows)
    geodesic = geodesic_areas_m2(owned)
    apart = np.abs(geodesic - register.owned_m2[rows])
    for k in np.flatnonzero(apart > np.maximum(GEODESIC_NOISE_M2, GEODESIC_PPM * geodesic)):
        text = f"geodesic and equal-area figures differ by {apart[k]:.3g} m²: long straight edges"
        findings.append(Finding(about=str(site.surfaces.id[rows[k]]), text=text, topic="area"))
    grid, scale, crs_name = _grid(owned, site.source_crs[-1], findings)
    document = areas_document(
        site, register, geodesic_m2=geodesic, grid_m2=grid, grid_scale=scale, findings=findings
    )
    document["source_crs"] = site.source_crs[-1] or None
    document["source_crs_name"] = crs_name or None
    _factors(document["surfaces"], site, rows, scale)
    totals = area_totals(site, register, grid)
    why = why_grid_differs(document, crs_name)
    return {
        **document,
        "totals": totals,
        "notes": [*why, TOTALS_NOTE],
        "caution": CAUTION,
        "units": site.units,
    }


def _findings(site: Site, register: AreaRegister, rows: Ints) -> list[Finding]:
    """What was assumed, what overlaps and what is odd in the drawing."""
    ids = site.surfaces.id[rows]
    findings = [f for f in site.findings if f.topic == "area" or _ACCURACIES.match(f.text)]
    findings += [f for f in register.findings if f.about in set(ids.tolist())]
    for remark in audit(site.surfaces.geometry[rows], site.surfaces.kind[rows], ids):
        text = f"{remark.text}. {remark.remedy[0].upper()}{remark.remedy[1:]}"
        findings.append(Finding(about=str(ids[remark.row]), text=text, topic="area"))
    return findings


def _grid(owned: Geometries, crs: str, findings: list[Finding]) -> tuple[Floats, Floats, str]:
    """Grid areas and scales in the CRS that the boundaries came in; nan where it has no grid."""
    nothing = np.full(len(owned), np.nan)
    if not crs:
        return nothing, nothing, ""
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    try:
        known = CRS.from_user_input(crs)
        if known.is_geographic:
            return nothing, nothing, ""  # longitude and latitude: there is no plan to differ from
        scale = nothing.copy()
        there = ~shapely.is_empty(owned)  # a surface without ground has no place on the grid
        scale[there] = grid_scale(owned[there], crs)
        return grid_areas_m2(owned, crs), scale, str(known.name)
    except (ValueError, CRSError) as problem:
        findings.append(Finding(about="surfaces.geojson", text=str(problem), topic="area"))
        return nothing, nothing, ""


def _factors(surfaces: list[Document], site: Site, rows: Ints, scale: Floats) -> None:
    """What turns a figure into another, and how the polygon as drawn is made up."""
    table = site.surfaces
    nothing = np.zeros(len(rows))
    height = ground_factor(table.elevation_m[rows], nothing)
    slope = ground_factor(nothing, table.slope[rows])
    drawn = table.geometry[rows]
    parts = shapely.get_num_geometries(drawn)
    pieces, owner = shapely.get_parts(drawn, return_index=True)
    holes = np.bincount(owner, shapely.get_num_interior_rings(pieces), len(rows)).astype(int)
    # each ring's last coordinate repeats its first
    vertices = shapely.get_num_coordinates(drawn) - parts - holes
    combined = scale / np.sqrt(height)
    for k, row in enumerate(surfaces):
        row["height_factor"] = number(height[k])
        row["slope_factor"] = number(slope[k])
        row["combined_scale_factor"] = number(combined[k])
        row["slope_percent"] = number(table.slope[rows[k]], 100)
        row["vertices"], row["holes"], row["parts"] = int(vertices[k]), int(holes[k]), int(parts[k])


def area_totals(site: Site, register: AreaRegister, grid_m2: Floats) -> list[Document]:
    """Sum of ground area by kind and of all, each with its own u from the joint errors."""
    rows = site.in_force()
    kinds = list(dict.fromkeys(site.surfaces.kind[rows].tolist()))
    members = [site.surfaces.kind[rows] == kind for kind in kinds]
    members.append(np.ones(len(rows), dtype=np.bool_))
    coefficients = np.zeros((len(members), len(site.surfaces)))
    coefficients[:, rows] = np.array(members)
    effects = register.errors.effects(coefficients)
    u = np.sqrt(sum(effect**2 for effect in effects.values()))
    return [
        {
            "kind": kind,
            "surfaces": int(member.sum()),
            "area_m2": number(register.area_m2[rows][member].sum()),
            "u_area_m2": number(u[k]),
            "grid_area_m2": number(grid_m2[member].sum()),
        }
        for k, (kind, member) in enumerate(zip([*kinds, "all"], members, strict=True))
    ]


def why_grid_differs(document: Document, crs_name: str) -> list[str]:
    """Plain words on grid against ground; none where there is no grid area."""
    rows: list[dict[str, Any]] = [r for r in document["surfaces"] if r["grid_area_m2"]]
    if not rows:
        return []
    grid, ground = (sum(r[name] for r in rows) for name in ("grid_area_m2", "area_m2"))
    change = (grid / ground - 1) * 100
    scales = [r["grid_scale"] for r in rows]
    heights = [r["elevation_m"] for r in rows if r["elevation_m"] is not None]
    steep = any(r["slope_factor"] > 1 for r in rows)
    word = "more" if change > 0 else "less"
    words = [
        f"Why grid and ground differ: a plan in {crs_name} shows {abs(change):.3f} % {word} than"
        f" the ground. Its grid lengths are {_span(scales)} of those on the ellipsoid"
    ]
    if heights and max(heights) > 0:
        words[0] += (
            f", and the ground is {_span(heights, '.0f')} m up, where everything is wider than on"
            " the ellipsoid below"
        )
    words[0] += ". The combined scale factor says both: ground length = grid length / factor," + (
        " ground area = grid area / factor²" + (" × slope factor." if steep else ".")
    )
    words.append("Sand lies on the ground: order by the ground area, set out by the grid.")
    return words


def _span(values: list[float], form: str = ".6f") -> str:
    low, high = format(min(values), form), format(max(values), form)
    return low if low == high else f"{low} to {high}"
