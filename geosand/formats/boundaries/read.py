"""One boundary file to outlines in lon/lat: nothing vanishes, nothing is guessed silently."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from geosand.errors import Fault, Finding, Refused
from geosand.formats.boundaries.drawing_layers import read_dxf
from geosand.formats.boundaries.drawn import Layer, refused
from geosand.formats.boundaries.gdal_layers import read_with_gdal
from geosand.formats.boundaries.json_layers import read_geojson
from geosand.formats.boundaries.outlines import outlines_of
from geosand.formats.boundaries.placing import Placed, Wishes, place_layer
from geosand.formats.boundaries.survey_points import read_survey
from geosand.formats.boundaries.tables import Boundaries
from geosand.formats.boundaries.unpack import Source, check_xml, unpack
from geosand.formats.boundaries.xml_layers import read_gpx, read_kml
from geosand.site.tables import KINDS


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
    if wishes.kind is not None and wishes.kind not in KINDS:
        allowed = ", ".join(KINDS)
        raise refused("--one-kind", f"{wishes.kind[:40]!r} is no kind", allowed=allowed)
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
    if len({shown for shown, _ in layers}) > 1:
        layers = [(shown, _placed_in(layer, shown)) for shown, layer in layers]
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


def _placed_in(layer: Layer, shown: str) -> Layer:
    """The layer with the name of its file before each place, and as the folder if it has none."""
    inner = Path(shown).stem
    drawn = (replace(d, place=f"{shown}, {d.place}", folder=d.folder or inner) for d in layer.drawn)
    return replace(layer, drawn=tuple(drawn))


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
