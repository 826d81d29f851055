"""One boundary file to outlines in lon/lat: nothing vanishes, nothing is guessed silently."""

from __future__ import annotations

import difflib
import posixpath
import tempfile
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from geosand.errors import Fault, Finding, Refused, listed, refused
from geosand.formats.boundaries.drawings.layers import read_dxf
from geosand.formats.boundaries.drawn import Drawn, Layer, finite
from geosand.formats.boundaries.files.gdal_layers import read_with_gdal
from geosand.formats.boundaries.files.gml_layers import read_gml
from geosand.formats.boundaries.files.json_layers import read_geojson
from geosand.formats.boundaries.files.landxml_layers import read_landxml
from geosand.formats.boundaries.files.map_elements import read_osm
from geosand.formats.boundaries.files.parquet_layers import read_parquet
from geosand.formats.boundaries.files.survey_points import read_survey
from geosand.formats.boundaries.files.unpack import Source, unpack
from geosand.formats.boundaries.files.wkt_tables import read_wkt_table
from geosand.formats.boundaries.files.xml_layers import read_gpx, read_kml
from geosand.formats.boundaries.place.reference_systems import named_unit
from geosand.formats.boundaries.place.whereabouts import (
    NEAR_KM,
    distance_km,
    middle_of,
    place_words,
)
from geosand.formats.boundaries.shapes.holes_of_golf import called_after_holes
from geosand.formats.boundaries.shapes.outlines import outlines_of
from geosand.formats.boundaries.shapes.placing import Placed, place_layer
from geosand.formats.boundaries.sites.surfaces_file import unread_numbers
from geosand.formats.boundaries.tables import Boundaries
from geosand.formats.boundaries.words.kinds_table import kinds_table
from geosand.formats.boundaries.words.naming import shared_ids
from geosand.formats.boundaries.words.wishes import Wishes
from geosand.site.tables import KINDS


@np.errstate(over="ignore", invalid="ignore")  # of places such as 1e308, which are told in words
def read_boundaries(
    path: str | Path,
    *,
    kinds_file: str | Path | None = None,
    kind_pairs: Sequence[str] = (),
    **wished: Any,
) -> Boundaries:
    """Read the boundaries that a surveyor or a mapping program hands over.

    ``kinds_file`` (CSV: found, kind) and ``kind_pairs`` ("Abschlag=tee") say what the words of the
    file mean; all else (``crs``, ``unit``, ``near`` …) is told with the fields of :class:`Wishes`.

    Raises Refused where the file can not be read, its CRS is not known, or its place is doubtful.
    """
    words, said = kinds_table(None if kinds_file is None else Path(kinds_file), kind_pairs)
    wishes = Wishes(**wished, kind_words=words)
    _check_wishes(wishes)
    with tempfile.TemporaryDirectory(prefix="geosand-") as folder:
        sources, ignored = unpack(Path(path), Path(folder))
        layers = [(s.shown, finite(layer)) for s in sources for layer in _layers(s, wishes)]
    found = assemble(layers, ignored, Path(path).name, wishes)
    unused = wishes.unused({s.format for s in sources}, [layer for _, layer in layers])
    said = [*said, *(Finding(about=found.file, text=text, topic="file") for text in unused)]
    return replace(found, findings=(*found.findings, *said)) if said else found


def _check_wishes(wishes: Wishes) -> None:
    if wishes.kind is not None and wishes.kind not in KINDS:
        allowed = ", ".join(KINDS)
        raise refused("--one-kind", f"{wishes.kind[:40]!r} is no kind", allowed=allowed)
    if wishes.near is not None and not (abs(wishes.near[0]) <= 360 and abs(wishes.near[1]) <= 90):
        found = f"{wishes.near[0]:g} {wishes.near[1]:g} is no place"
        raise refused("--near", found, allowed="longitude, then latitude, in degrees")
    if not 0 <= wishes.close_tolerance_m <= 100:
        found = f"{wishes.close_tolerance_m:g} m can not be a closing tolerance"
        raise refused("--close-tolerance", found, allowed="0 to 100 m")


def _layers(source: Source, wishes: Wishes) -> list[Layer]:
    """The layers of one file by its format."""
    path, shown = source.path, source.shown
    if source.format == "survey":
        return read_survey(path, shown, wishes)
    readers: dict[str, Callable[[Path, str], list[Layer]]] = {
        "kml": read_kml,
        "gpx": read_gpx,
        "gml": read_gml,
        "osm": read_osm,
        "landxml": read_landxml,
        "parquet": read_parquet,
        "wkt": read_wkt_table,
    }
    if source.format == "geojson":
        return read_geojson(path, shown, wishes.crs is not None)
    if source.format == "dxf":
        metres = None if wishes.unit is None else named_unit(wishes.unit, "--unit")
        return read_dxf(path, shown, metres, wishes.crs is not None)
    if source.format in readers:
        return readers[source.format](path, shown)
    return read_with_gdal(path, shown, source.format)


def assemble(
    layers: list[tuple[str, Layer]], ignored: list[str], file: str, wishes: Wishes
) -> Boundaries:
    """Layers in their own CRS to one set of boundaries; refusals of all layers come together."""
    if len({shown for shown, _ in layers}) > 1:
        layers = [(shown, _placed_in(layer, shown, file)) for shown, layer in layers]
    layers = _told_apart(layers)
    unfollowed = _unfollowed(layers)
    lacking = _check_columns([layer for _, layer in layers], file, wishes)
    shared = shared_ids(thing for _, layer in layers for thing in layer.drawn)
    if wishes.id_column is None and wishes.name_column is None:
        layers = called_after_holes(layers, file, wishes, shared)
    faults: list[Fault] = []
    placed: list[Placed] = []
    for shown, layer in layers:
        try:
            placed.append(place_layer(layer, shown, wishes))
        except Refused as refusal:
            faults += refusal.faults
    if not faults and wishes.near is None and not wishes.believe_place:
        names = [layer.name or shown for shown, layer in layers]
        faults += _far_apart(list(zip(names, placed, strict=True)), file)
    if faults:
        raise Refused(faults)
    said = [*lacking, *unfollowed, *(text for layer in placed for text in layer.findings)]
    findings = [Finding(about=file, text=text, topic="file") for text in said]
    if ignored:
        text = f"not read from the archive: {listed(ignored, 10)}"
        findings.append(Finding(about=file, text=text, topic="file"))
    made = outlines_of(placed, findings, file, wishes, shared)
    unread = unread_numbers(made.features)
    return replace(made, findings=(*made.findings, *unread)) if unread else made


def _far_apart(placed: list[tuple[str, Placed]], file: str) -> list[Fault]:
    """Layers of other CRS than the largest that lie far from it: one of the two names a wrong one.

    As a zone of a series, which puts the same numbers on other land.
    """
    there = [(name, p) for name, p in placed if p.moved is not None and len(p.geometry)]
    if len({p.moved.source_crs for _, p in there if p.moved is not None}) < 2:
        return []
    middles = [(name, middle_of(list(p.geometry))) for name, p in there]
    most, home = middles[int(np.argmax([len(p.geometry) for _, p in there]))]
    return [
        Fault(
            file=file,
            found=f"layer {name!r} lies at {place_words(*middle)}, {apart:,.0f} km from layer"
            f" {most!r} at {place_words(*home)}, and they name different CRS",
            remedy="check the CRS of both; if both are right, say so with --believe-place",
        )
        for name, middle in middles
        if (apart := distance_km(home, middle)) > NEAR_KM
    ]


def _unfollowed(layers: list[tuple[str, Layer]]) -> list[str]:
    """Words on links to files that are not among those read; an archive may hold its own."""
    files = {shown for shown, _ in layers}
    links = sum(
        posixpath.normpath(posixpath.join(posixpath.dirname(shown), link)) not in files
        for shown, layer in layers
        for link in layer.links
    )
    if not links:
        return []
    one = "1 link to another file is" if links == 1 else f"{links} links to other files are"
    return [f"{one} not followed: bring what is linked itself"]


def _told_apart(layers: list[tuple[str, Layer]]) -> list[tuple[str, Layer]]:
    """The layers with a place of its own for each thing: of several alike the further numbered."""
    often = Counter(thing.place for _, layer in layers for thing in layer.drawn)
    if max(often.values(), default=0) < 2:
        return layers
    met = Counter[str]()

    def apart(thing: Drawn) -> Drawn:
        met[thing.place] += 1
        number = met[thing.place]
        return replace(thing, place=f"{thing.place}, no. {number}") if number > 1 else thing

    return [(s, replace(layer, drawn=tuple(map(apart, layer.drawn)))) for s, layer in layers]


def _placed_in(layer: Layer, shown: str, file: str) -> Layer:
    """The layer with the name of its file before each place, and as the folder if it has none."""
    within, stem = shown.removeprefix(f"{file}/"), Path(shown).stem
    drawn = (replace(d, place=f"{within}, {d.place}", folder=d.folder or stem) for d in layer.drawn)
    return replace(layer, drawn=tuple(drawn), name=layer.name or shown)


def _check_columns(layers: list[Layer], file: str, wishes: Wishes) -> list[str]:
    """Refuse columns that no layer has; words on layers that lack one which others have."""
    faults, said = [], []
    there = {layer.name: {k for d in layer.drawn for k in d.attributes} for layer in layers}
    every = set[str]().union(*there.values())
    for option, column in (
        ("--kind", wishes.kind_column),
        ("--id", wishes.id_column),
        ("--name", wishes.name_column),
    ):
        if column is None:
            continue
        if column not in every:
            remedy = f"name one of these for {option}"
            if option == "--kind" and column.lower() in KINDS:
                remedy = f"for one kind for all surfaces, say --one-kind {column.lower()}"
            elif near := difflib.get_close_matches(column, sorted(every), n=1, cutoff=0.6):
                remedy = f"did you mean {option} {near[0]}?"
            found = f"there is no column {column[:40]!r}"
            allowed = _columns_told(there)
            faults.append(
                Fault(file=file, column=column, found=found, allowed=allowed, remedy=remedy)
            )
        elif lacking := [n for n, columns in there.items() if column not in columns and n]:
            names = ", ".join(repr(name) for name in lacking[:5])
            said.append(f"there is no column {column[:40]!r} for {option} in layer {names}")
    if faults:
        raise Refused(faults)
    return said


def _columns_told(there: dict[str, set[str]]) -> str:
    """The columns that can be named, by layer where there are several."""
    if len(there) == 1:
        return ", ".join(sorted(*there.values())[:20]) or "no columns at all"
    return "; ".join(
        f"in layer {name!r} {', '.join(sorted(columns)[:20]) or 'none'}"
        for name, columns in list(there.items())[:8]
    )
