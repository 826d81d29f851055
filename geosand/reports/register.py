"""The area register as a document: checks by geodesic and grid, totals, and why figures differ."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
import shapely

from geosand.areas.audit import audit
from geosand.areas.bends import round_edges_m2
from geosand.areas.crosscheck import (
    geodesic_areas_m2,
    grid_areas_m2,
    grid_scale,
    is_web_mercator,
    web_mercator_scale,
)
from geosand.areas.ground import ground_factor
from geosand.areas.register import AreaRegister, area_register
from geosand.areas.remarks import square_metres
from geosand.columns import Floats, Geometries, Ints
from geosand.errors import Finding
from geosand.reports.area_rows import TOTALS_NOTE, area_rows, area_totals
from geosand.reports.documents import Document, day_said, findings_rows, number, rows_of
from geosand.reports.words import written_day
from geosand.site.tables import Site
from geosand.units import figure

GEODESIC_NOISE_M2, GEODESIC_PPM = 0.002, 1e-6
CAUTION = (
    "These figures are for sand and renovation quantities; boundary and title work needs a"
    " licensed surveyor."
)
LEAST_BENDS = 0.005  #: of an area; less that bends may add or take is not worth a word
U_NOTE = "u is a standard uncertainty: 95 of 100 such areas lie within 2 u of the truth."
_ACCURACIES = re.compile(r"(boundary accuracy|edge accuracy|edge bias) is not said")


def register_document(site: Site, register: AreaRegister | None = None) -> Document:
    """Areas of the boundaries in force; a finding where two ways of computing disagree.

    ``geodesic_area_m2``, ``equal_area_m2`` and ``grid_area_m2`` are those of the owned ground, so
    that they can be held against ``area_m2``; ``drawn_area_m2`` is the polygon's as drawn.

    ``register`` is ``area_register(site.surfaces)`` where it is there already.
    """
    register = area_register(site.surfaces) if register is None else register
    rows = site.in_force()
    owned = register.owned[rows]
    geodesic = geodesic_areas_m2(owned)
    findings = _findings(site, register, rows) + _apart(site, register, rows, geodesic)
    grid, scale, crs_name = _grid(owned, site.source_crs[-1], findings)
    about = dict[str, list[str]]()
    for finding in findings:
        about.setdefault(finding.about, []).append(finding.text)
    further = rows_of(
        {
            "geodesic_area_m2": geodesic,
            "equal_area_m2": register.owned_m2[rows],
            "grid_area_m2": grid,
            "grid_scale": scale,
            "ground_factor": register.ground_factor[rows],
            "elevation_m": site.surfaces.elevation_m[rows],
            "findings": [about.get(name, []) for name in site.surfaces.id[rows].tolist()],
            **_factors(site, rows, scale),
        }
    )
    known = zip(area_rows(site, register), further, strict=True)
    document = {
        "site": site.name,
        "valid_from": day_said(site.valid_from[-1]),
        "source_crs": site.source_crs[-1] or None,
        "surfaces": [{**row, **more} for row, more in known],
        "findings": findings_rows(findings),
        "source_crs_name": crs_name or None,
        "source": site.source[-1] or None,
        "datum_accuracy_m": number(site.datum_accuracy_m[-1]),
    }
    notes = [*boundary_notes(document, site), *why_grid_differs(document, crs_name)]
    return {
        **document,
        "totals": area_totals(site, register, grid),
        "notes": [*notes, U_NOTE, TOTALS_NOTE],
        "caution": CAUTION,
        "units": site.units,
    }


def _findings(site: Site, register: AreaRegister, rows: Ints) -> list[Finding]:
    """What was assumed, what overlaps and what is odd in the drawing."""
    ids = site.surfaces.id[rows]
    findings = [f for f in site.findings if f.topic == "area" or _ACCURACIES.match(f.text)]
    findings += [f for f in register.findings if f.about in set(ids.tolist())]
    table = site.surfaces
    around = _enclosed(table.ground[rows], table.around[rows], len(site.ids))
    factor = register.ground_factor[rows]
    for remark in audit(table.geometry[rows], table.kind[rows], ids, around=around, factor=factor):
        text = f"{remark.text}. {remark.remedy[0].upper()}{remark.remedy[1:]}"
        findings.append(Finding(about=str(ids[remark.row]), text=text, topic="area"))
    return findings + _coarse_bends(site, register, rows)


def _apart(site: Site, register: AreaRegister, rows: Ints, geodesic_m2: Floats) -> list[Finding]:
    """Surfaces whose geodesic area is another than the equal-area one."""
    apart = np.abs(geodesic_m2 - register.owned_m2[rows])
    told = np.flatnonzero(apart > np.maximum(GEODESIC_NOISE_M2, GEODESIC_PPM * geodesic_m2))
    text = "geodesic and equal-area figures differ by {:.3g} m²: long straight edges"
    ids = site.surfaces.id[rows]
    return [Finding(str(ids[k]), text.format(apart[k]), topic="area") for k in told]


def _coarse_bends(site: Site, register: AreaRegister, rows: Ints) -> list[Finding]:
    """Outlines whose chords may leave out more than u of their area."""
    more = round_edges_m2(site.surfaces.geometry[rows]) * register.ground_factor[rows]
    u = register.u_area_m2[rows]
    findings = []
    least = np.fmax(u, LEAST_BENDS * register.area_m2[rows])
    for k in np.flatnonzero((np.abs(more) > least) & (register.area_m2[rows] > 0)).tolist():
        text = (
            "its corners lie far apart on its bends: if its edge is round between them it has about"
            f" {square_metres(abs(more[k]))} {'more' if more[k] > 0 else 'less'}, which u of its"
            f" area, {square_metres(u[k])}, does not hold. Measure it with corners closer there"
        )
        about = str(site.surfaces.id[rows[k]])
        findings.append(Finding(about=about, text=text, topic="area"))
    return findings


def _enclosed(ground: Ints, around: Ints, size: int) -> Ints:
    """Row of the surface that each one encloses, -1 for none, from indices of ``ground``."""
    row_of = np.full(size + 1, -1, dtype=np.int64)  # the last is for "none", -1
    row_of[ground] = np.arange(len(ground))
    return row_of[around]


def boundary_notes(document: Document, site: Site) -> list[str]:
    """Where the boundaries in force came from, in plain words, and how well they lie."""
    day, crs = document["valid_from"], site.source_crs[-1]
    known, name = _known_crs(crs)
    words = "Boundaries"
    words += f" in force from {written_day(day)}" if day else " in force"
    words += f", from {document['source']}" if document["source"] else ""
    if not crs or (known is not None and known.is_geographic):
        where = f"longitude and latitude ({name})" if crs else "longitude and latitude"
        came = "came in" if crs or document["source"] else "are kept in"
        notes = [
            f"{words}: they {came} {where}. Areas are taken on the ellipsoid, and there is no plan"
            " to hold them against."
        ]
    elif is_web_mercator(crs):
        latitude = float(shapely.total_bounds(site.surfaces.geometry)[1::2].mean())
        notes = [
            f"{words}: they came in Web Mercator, where areas are"
            f" {web_mercator_scale(latitude):.2f} times as large as on the ground here. They are"
            " never measured in it, but on the ellipsoid. How well the outlines were traced, and on"
            " which picture, is not known."
        ]
    else:
        notes = [f"{words}: they came in {name or crs.splitlines()[0][:60]}."]
    accuracy = document["datum_accuracy_m"]
    if accuracy:
        size = figure(accuracy, "length", site.units)
        notes[0] += (
            f" Their shift to WGS 84 is good to {size}: all surfaces together may lie so far off,"
            " and no area changes."
        )
    return notes


def _known_crs(crs: str) -> tuple[Any, str]:
    """The CRS as pyproj has it and its name; None and "" where it is none."""
    if not crs:
        return None, ""
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    try:
        known = CRS.from_user_input(crs)
    except CRSError:
        return None, ""
    return known, str(known.name)


def _grid(owned: Geometries, crs: str, findings: list[Finding]) -> tuple[Floats, Floats, str]:
    """Grid areas and scales in the CRS that the boundaries came in; nan where it has no grid."""
    nothing = np.full(len(owned), np.nan)
    known, name = _known_crs(crs)
    if not crs or is_web_mercator(crs) or (known is not None and known.is_geographic):
        return nothing, nothing, name  # there is no plan to differ from
    try:
        scale = nothing.copy()
        there = ~shapely.is_empty(owned)  # a surface without ground has no place on the grid
        scale[there] = grid_scale(owned[there], crs)
        return grid_areas_m2(owned, crs), scale, name
    except ValueError as problem:
        findings.append(Finding(about="surfaces.geojson", text=str(problem), topic="area"))
        return nothing, nothing, ""


def _factors(site: Site, rows: Ints, scale: Floats) -> dict[str, Floats | Ints]:
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
    return {
        "height_factor": height,
        "slope_factor": slope,
        "combined_scale_factor": scale / np.sqrt(height),
        "slope_percent": table.slope[rows],
        "vertices": vertices,
        "holes": holes,
        "parts": parts,
    }


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
    shown = f"{abs(change):.3f} % {'more' if change > 0 else 'less'} than the ground"
    if abs(change) < 0.0005:
        shown = "the same as the ground within 0.001 % here"
    words = [
        f"Why grid and ground differ: a plan in {crs_name} shows {shown}. Its grid lengths are"
        f" {_span(scales)} of those on the ellipsoid"
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
