"""One boundary file to outlines in lon/lat: nothing vanishes, nothing is guessed silently."""

from __future__ import annotations

import tempfile
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from geosand.columns import Floats, Geometries
from geosand.errors import Fault, Finding, Refused
from geosand.formats.boundaries import reference_systems as systems
from geosand.formats.boundaries.closing import LINES, close_lines
from geosand.formats.boundaries.drawing_layers import give_labels, read_dxf
from geosand.formats.boundaries.drawn import Drawn, Layer, refused
from geosand.formats.boundaries.gdal_layers import read_with_gdal
from geosand.formats.boundaries.json_layers import read_geojson
from geosand.formats.boundaries.kinds import kind_of, likeliest
from geosand.formats.boundaries.polygons import (
    counted,
    far_from_others,
    mean_heights_m,
    polygon_parts,
    ring_problem,
)
from geosand.formats.boundaries.survey_points import read_survey
from geosand.formats.boundaries.tables import Boundaries, LeftOut
from geosand.formats.boundaries.unpack import Source, check_xml, unpack
from geosand.formats.boundaries.whereabouts import (
    doubtful_place,
    middle,
    not_degrees,
    proposals,
)
from geosand.formats.boundaries.xml_layers import read_gpx, read_kml


@dataclass(frozen=True, slots=True, kw_only=True)
class Wishes:
    """What the user says about a file, beyond its path."""

    crs: str | None = None
    unit: str | None = None
    near: tuple[float, float] | None = None
    swap_axes: bool = False
    believe_place: bool = False
    kind_column: str | None = None
    id_column: str | None = None
    name_column: str | None = None
    kind: str | None = None
    close_tolerance_m: float = 0.05
    point_order: str | None = None
    split_parts: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """Polygons of one layer in lon/lat, with the thing each was drawn as."""

    drawn: list[Drawn]
    geometry: Geometries
    elevation_m: Floats
    left_out: list[LeftOut]
    moved: systems.Moved | None
    findings: list[str]
    read: int
    labels: int


def read_boundaries(
    path: str | Path,
    *,
    crs: str | None = None,
    kind_column: str | None = None,
    id_column: str | None = None,
    name_column: str | None = None,
    kind: str | None = None,
    close_tolerance_m: float = 0.05,
    point_order: str | None = None,
    unit: str | None = None,
    near: tuple[float, float] | None = None,
    swap_axes: bool = False,
    believe_place: bool = False,
    split_parts: bool = False,
) -> Boundaries:
    """Read the boundaries that a surveyor or a mapping program hands over.

    ``crs`` says the CRS where the file does not (or overrules it, which is said); ``unit`` the unit
    of a drawing or of survey text; ``near`` a (lon, lat) where the site must be, such as its
    catches; ``swap_axes`` exchanges x and y; ``believe_place`` takes a place that is asked about.
    ``kind`` is one kind for all; the columns name the attributes to use. Lines are closed over at
    most ``close_tolerance_m`` metres. ``point_order`` is such as "PNEZD". ``split_parts`` makes a
    surface of each part of a multipolygon.

    Raises Refused where the file can not be read, its CRS is not known, or its place is doubtful.
    """
    wishes = Wishes(
        crs=crs,
        unit=unit,
        near=near,
        swap_axes=swap_axes,
        believe_place=believe_place,
        kind_column=kind_column,
        id_column=id_column,
        name_column=name_column,
        kind=kind,
        close_tolerance_m=close_tolerance_m,
        point_order=point_order,
        split_parts=split_parts,
    )
    _check_wishes(wishes)
    with tempfile.TemporaryDirectory(prefix="geosand-") as folder:
        sources, ignored = unpack(Path(path), Path(folder))
        layers = [(source.shown, layer) for source in sources for layer in _layers(source, wishes)]
    return assemble(layers, ignored, Path(path).name, wishes)


def _check_wishes(wishes: Wishes) -> None:
    from geosand.site.tables import KINDS

    if wishes.kind is not None and wishes.kind not in KINDS:
        allowed = ", ".join(KINDS)
        raise refused("--kind", f"{wishes.kind[:40]!r} is no kind", allowed=allowed)
    if not 0 <= wishes.close_tolerance_m <= 100:
        found = f"{wishes.close_tolerance_m:g} m can not be a closing tolerance"
        raise refused("--close-tolerance", found, allowed="0 to 100 m")


def _layers(source: Source, wishes: Wishes) -> list[Layer]:
    """The layers of one file by its format."""
    path, shown = source.path, source.shown
    if source.format == "survey":
        return read_survey(path, shown, wishes.point_order)
    readers: dict[str, Callable[[Path, str], list[Layer]]] = {
        "geojson": read_geojson,
        "kml": read_kml,
        "gpx": read_gpx,
        "dxf": read_dxf,
    }
    if source.format in readers:
        return readers[source.format](path, shown)
    if source.format == "gml":
        check_xml(path, shown)
    return read_with_gdal(path, shown, source.format)


def assemble(
    layers: list[tuple[str, Layer]], ignored: list[str], file: str, wishes: Wishes
) -> Boundaries:
    """Layers in their own CRS to one set of boundaries; refusals of all layers come together."""
    from geosand.formats.boundaries.outlines import outlines_of

    _check_columns([layer for _, layer in layers], file, wishes)
    faults: list[Fault] = []
    placed: list[Placed] = []
    for shown, layer in layers:
        try:
            placed.append(place_layer(layer, shown, wishes))
        except Refused as refusal:
            faults += refusal.faults
    if faults:
        raise Refused(faults)
    findings = [Finding(about=file, text=t, topic="file") for p in placed for t in p.findings]
    if ignored:
        text = f"not read from the archive: {', '.join(ignored[:10])}"
        more = f" and {len(ignored) - 10} more" if len(ignored) > 10 else ""
        findings.append(Finding(about=file, text=text + more, topic="file"))
    return outlines_of(placed, findings, file, wishes)


def _check_columns(layers: list[Layer], file: str, wishes: Wishes) -> None:
    there = {k for layer in layers for d in layer.drawn for k in d.attributes}
    faults = [
        Fault(
            file=file,
            column=column,
            found=f"there is no column {column[:40]!r}",
            allowed=", ".join(sorted(there)[:20]) or "no columns at all",
            remedy=f"name one of these for {option}",
        )
        for option, column in (
            ("--kind", wishes.kind_column),
            ("--id", wishes.id_column),
            ("--name", wishes.name_column),
        )
        if column is not None and column not in there
    ]
    if faults:
        raise Refused(faults)


def place_layer(layer: Layer, shown: str, wishes: Wishes) -> Placed:
    """One layer: lines closed, polygons taken out, moved to lon/lat, the place checked."""
    drawn, findings = [_swapped(d) if wishes.swap_axes else d for d in layer.drawn], []
    shapes = np.array([d.geometry for d in drawn if d.geometry is not None], dtype=object)
    bounds = shapely.total_bounds(shapes)
    if not np.isfinite(bounds).all():
        return _placed(*_areas(drawn), None, None, [*layer.findings], len(drawn), 0)
    crs, said = _crs_of(layer, bounds, shown, wishes)
    findings += said
    factor = _unit_factor(layer, crs, bounds, shown, wishes)
    if factor != 1.0:
        drawn = [_scaled(d, factor) for d in drawn]
        bounds = bounds * factor
    metres = systems.metres_per_unit(crs, float(bounds[[1, 3]].mean()))
    if crs.is_geographic and (fault := not_degrees(bounds, shown, wishes.near)):
        raise Refused(fault)
    if feet := systems.feet_finding(crs, systems.unit_m(crs), bounds):
        findings.append(feet)
    drawn, closed = _closed(layer, drawn, metres, wishes)
    findings += closed
    drawn, labels = give_labels(drawn) if layer.asks_unit else (drawn, 0)
    kept, geometry, left_out = _areas(drawn)
    if not len(geometry):
        return _placed(kept, geometry, left_out, None, None, findings, len(layer.drawn), labels)
    _check_place(geometry, crs, shown, wishes)
    moved = systems.to_lon_lat(geometry, crs)
    height_unit = systems.vertical_unit_m(wishes.crs or layer.crs, crs)
    return _placed(
        kept,
        moved.geometry,
        left_out,
        moved,
        mean_heights_m(geometry, height_unit),
        [*layer.findings, *findings, *moved.findings],
        len(layer.drawn),
        labels,
    )


def _placed(
    drawn: list[Drawn],
    geometry: Geometries,
    left_out: list[LeftOut],
    moved: systems.Moved | None,
    elevation_m: Floats | None,
    findings: list[str],
    read: int,
    labels: int,
) -> Placed:
    """Broken rings and things far from all others cost themselves only."""
    flat: Geometries = shapely.force_2d(geometry)
    heights = np.full(len(drawn), np.nan) if elevation_m is None else elevation_m
    problems = [ring_problem(shape) for shape in flat]
    sound = [k for k, problem in enumerate(problems) if not problem]
    for k in far_from_others(flat[sound]):
        lon, lat = shapely.bounds(flat[sound[k]])[:2]
        problems[sound[k]] = f"it lies at lon {lon:.4f}, lat {lat:.4f}, far from the others"
    bad = [
        LeftOut(place=d.place, name=d.name, reason=problem)
        for d, problem in zip(drawn, problems, strict=True)
        if problem
    ]
    good = [k for k, problem in enumerate(problems) if not problem]
    return Placed(
        drawn=[drawn[k] for k in good],
        geometry=flat[good],
        elevation_m=heights[good],
        left_out=left_out + bad,
        moved=moved,
        findings=findings,
        read=read,
        labels=labels,
    )


def _swapped(thing: Drawn) -> Drawn:
    def exchange(points: Floats) -> Floats:
        return points[:, [1, 0, *range(2, points.shape[1])]]

    shape = thing.geometry
    if shape is None:
        return thing
    return replace(
        thing, geometry=shapely.transform(shape, exchange, include_z=bool(shapely.has_z(shape)))
    )


def _scaled(thing: Drawn, factor: float) -> Drawn:
    shape = thing.geometry
    if shape is None:
        return thing
    return replace(
        thing,
        geometry=shapely.transform(
            shape, lambda points: points * factor, include_z=bool(shapely.has_z(shape))
        ),
    )


def _crs_of(layer: Layer, bounds: Floats, shown: str, wishes: Wishes) -> tuple[Any, list[str]]:
    """The layer's CRS, the user's before the file's; never a guess."""
    if wishes.crs is None and not layer.crs:
        raise refused(
            f"{shown}, layer {layer.name!r}" if layer.name else shown,
            "does not say in which coordinate reference system it is",
            allowed="any CRS, said with --crs",
            remedy=f"for x {bounds[0]:.7g} to {bounds[2]:.7g}, y {bounds[1]:.7g} to {bounds[3]:.7g} "
            f"{proposals(bounds, wishes.near)}",
        )
    if wishes.crs is None:
        return systems.horizontal(layer.crs, shown), []
    crs = systems.horizontal(wishes.crs, "--crs")
    if not layer.crs or layer.assumed:
        return crs, []
    stated = systems.horizontal(layer.crs, shown)
    if stated == crs or systems.describe(stated) == systems.describe(crs):
        return crs, []
    return crs, [f"it says {stated.name}; {crs.name} is used, as said with --crs"]


def _unit_factor(layer: Layer, crs: Any, bounds: Floats, shown: str, wishes: Wishes) -> float:
    """What the file's numbers are multiplied by to be in the unit of the CRS."""
    if crs.is_geographic:
        return 1.0
    of_crs = systems.unit_m(crs)
    if wishes.unit is not None:
        factor = systems.named_unit(wishes.unit, "--unit") / of_crs
        return 1.0 if abs(factor - 1) < 1e-12 else factor
    if not layer.asks_unit:
        return 1.0
    stated = systems.UNITS_M.get(layer.unit)
    if stated is not None and abs(stated / of_crs - 1) < 1e-9:
        return 1.0
    says = f"says that it is in {systems.unit_name(stated)}" if stated else "names no unit"
    far = float(np.hypot(*np.abs(bounds).reshape(2, 2).max(axis=0)))
    shift = f"; the two feet put it {far * of_crs * 2e-6:.2f} m apart" if layer.unit == "ft" else ""
    raise refused(
        shown,
        f"{says}, and {crs.name} is in {systems.unit_name(of_crs)}{shift}",
        allowed=", ".join(systems.UNITS_M),
        remedy="say with --unit in which unit its numbers are; many drawings name a wrong one",
    )


def _closed(
    layer: Layer, drawn: list[Drawn], metres: tuple[float, float], wishes: Wishes
) -> tuple[list[Drawn], list[str]]:
    """Lines to polygons: in drawings and tracks within the tolerance, else only exact outlines."""
    if layer.closes_lines:
        return close_lines(drawn, wishes.close_tolerance_m, metres)
    outlines = [d for d in drawn if _is_outline(d, wishes)]
    if not outlines:
        return drawn, []
    rest = [d for d in drawn if d not in outlines]
    closed, said = close_lines(outlines, 0.0, metres)
    return rest + closed, [*said, f"{len(outlines)} closed lines are taken as outlines"]


def _is_outline(thing: Drawn, wishes: Wishes) -> bool:
    """A line that ends where it began and is of a kind that has an area; a path may be a loop."""
    if thing.geometry is None or thing.geometry.geom_type not in LINES:
        return False
    kind = wishes.kind or kind_of(thing.attributes, thing.folder, thing.name, wishes.kind_column)[0]
    parts = shapely.get_parts(thing.geometry)
    return kind not in ("", "path", "other") and bool(shapely.is_ring(parts).all())


def _areas(drawn: list[Drawn]) -> tuple[list[Drawn], Geometries, list[LeftOut]]:
    """Things with polygons, their polygons, and everything else with the reason."""
    kept: list[Drawn] = []
    shapes: list[Any] = []
    left_out: list[LeftOut] = []
    for thing in drawn:
        polygons, rest = (
            (None, Counter[str]()) if thing.geometry is None else polygon_parts(thing.geometry)
        )
        if polygons is not None:
            kept.append(thing)
            shapes.append(polygons)
            if rest:
                reason = f"{counted(rest)} beside its polygons"
                left_out.append(LeftOut(place=thing.place, name=thing.name, reason=reason))
            continue
        if thing.problem:
            reason = thing.problem
        elif thing.geometry is None or thing.geometry.is_empty:
            reason = "it is empty"
        else:
            reason = "a point" if "Point" in thing.geometry.geom_type else "a line"
            reason = reason if rest.total() == 1 else counted(rest)
        left_out.append(LeftOut(place=thing.place, name=thing.name, reason=reason))
    geometry = np.empty(len(shapes), dtype=object)
    geometry[:] = shapes
    return kept, geometry, left_out


def _check_place(geometry: Geometries, crs: Any, shown: str, wishes: Wishes) -> None:
    if wishes.believe_place:
        return
    from pyproj import Transformer
    from pyproj.exceptions import ProjError

    transformer = Transformer.from_crs(crs, "OGC:CRS84", always_xy=True)
    x, y = middle(geometry).tolist()
    places: list[Floats | None] = []
    for pair in ((x, y), (y, x)):
        try:
            place = np.array(transformer.transform(*pair, errcheck=True))
            good = bool(np.isfinite(place).all()) and abs(place[0]) <= 180 and abs(place[1]) <= 90
        except ProjError:
            good = False
        places.append(place if good else None)
    if places[0] is None:
        if crs.is_geographic:
            return
        raise refused(
            shown,
            f"x {x:.7g}, y {y:.7g} is no place in {crs.name}",
            remedy="check the CRS and its unit; if the axes are swapped, use --swap",
        )
    fault = doubtful_place(places[0], places[1], crs, shown, wishes.near)
    if fault is not None:
        raise Refused(fault)


__all__ = ["Wishes", "likeliest", "read_boundaries"]
