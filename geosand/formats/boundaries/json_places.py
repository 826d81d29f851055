"""JSON-FG (OGC 21-045r1): outlines in a CRS that the file names, in members ``place``, by GDAL.

The member ``geometry`` beside it is in lon/lat, and writers round it to 7 decimals, a centimetre.
"""

from __future__ import annotations

import json
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import shapely

from geosand.errors import Refused
from geosand.formats.boundaries.drawn import LON_LAT, Drawn, Layer, refused
from geosand.formats.boundaries.gdal_layers import read_with_gdal
from geosand.formats.boundaries.json_shapes import BadShape, geometry_of
from geosand.formats.boundaries.reference_systems import horizontal
from geosand.formats.boundaries.whereabouts import NEAR_KM, distance_km, place_words

Json = Any
_NOT_READ = "the members 'place' (JSON-FG) are not read, as a shape or a CRS of them is not known"


def has_place(feature: Json) -> bool:
    """Whether a feature has an outline of its own beside its geometry in lon/lat."""
    place = feature.get("place") if isinstance(feature, dict) else None
    return isinstance(place, dict) and isinstance(place.get("type"), str)


def in_places(
    shown: str,
    document: Mapping[str, Json],
    features: Sequence[Json],
    lon_lat: Layer,
    crs_given: bool,
) -> list[Layer]:
    """The layers of the features' places; where one is not read, all in ``lon_lat``, which is told.

    Raises Refused where that lacks a shape, and where both lie far apart and the user says no CRS.
    """
    placed = [has_place(feature) for feature in features]
    try:  # GDAL takes corners that are no finite numbers, and says nothing
        for feature, has in zip(features, placed, strict=True):
            if has:
                geometry_of(feature["place"])
        layers = _by_gdal(shown, document, features, placed)
    except BadShape:
        layers = []
    numbers = [_number(thing) for layer in layers for thing in layer.drawn]
    read = {_number(t) for layer in layers for t in layer.drawn if t.geometry is not None}
    pairs = list(enumerate(zip(placed, lon_lat.drawn, strict=True)))
    wanted = {k for k, (has, thing) in pairs if has or thing.geometry is not None}
    named = all(layer.crs for layer in layers)
    if sorted(numbers) != list(range(len(features))) or not wanted <= read or not named:
        if any(has and thing.geometry is None for _, (has, thing) in pairs):
            raise refused(shown, _NOT_READ, remedy="export it as GeoPackage")
        told = f"{_NOT_READ}: the outlines in lon/lat are taken"
        return [replace(lon_lat, findings=(*lon_lat.findings, told))]
    told = "its outlines are taken from its members 'place' (JSON-FG)"
    found = []
    for layer in layers:
        beside = [lon_lat.drawn[_number(thing)] for thing in layer.drawn]
        if not crs_given:
            _check_place(layer, lon_lat, placed, shown)
        drawn = tuple(
            replace(
                old,
                geometry=new.geometry,
                problem=old.problem if new.geometry is None else "",
                folder=new.folder,
            )
            for new, old in zip(layer.drawn, beside, strict=True)
        )
        found.append(replace(layer, drawn=drawn, findings=(*layer.findings, told)))
    return found


def _by_gdal(
    shown: str, document: Mapping[str, Json], features: Sequence[Json], placed: Sequence[bool]
) -> list[Layer]:
    """What GDAL makes of a file with the shapes only, the number of each as its id.

    Of a whole one it drops ids that are numbers and stops at lists, and where it does not know the
    shape of a place it takes that in lon/lat, and says nothing.
    """
    keys = ("coordRefSys", "featureType")
    bare = []
    for number, (feature, has) in enumerate(zip(features, placed, strict=True)):
        own = feature if isinstance(feature, dict) else {}
        shape = {"place": own["place"]} if has else {"geometry": own.get("geometry")}
        told = {key: own[key] for key in keys if key in own}
        head = {"type": "Feature", "id": f"n{number}", "properties": {}}
        bare.append({**head, "geometry": None, "place": None, **shape, **told})
    head = {key: document[key] for key in keys if key in document}
    with tempfile.TemporaryDirectory(prefix="geosand-") as folder:
        path = Path(folder) / "places.json"
        text = json.dumps({"type": "FeatureCollection", **head, "features": bare})
        path.write_text(text, encoding="utf-8")
        try:
            return read_with_gdal(Path(f"JSONFG:{path}"), shown, "JSON-FG")
        except Refused:
            return []


def _number(thing: Drawn) -> int:
    return int(str(thing.attributes["id"])[1:])


def _check_place(layer: Layer, lon_lat: Layer, placed: Sequence[bool], shown: str) -> None:
    """Refuse places that lie far from the same outlines in lon/lat, as in a wrong zone."""
    import pyproj

    to_lon_lat = pyproj.Transformer.from_crs(horizontal(layer.crs, shown), LON_LAT, always_xy=True)
    for thing in layer.drawn:  # all are of one CRS: the first one tells
        number = _number(thing)
        shapes = (thing.geometry, lon_lat.drawn[number].geometry)
        if placed[number] and not (shapely.is_missing(shapes) | shapely.is_empty(shapes)).any():
            (x, y), (lon, lat) = (shapely.get_coordinates(shape)[0].tolist() for shape in shapes)
            here = to_lon_lat.transform(x, y)
            if (apart := distance_km(here, (lon, lat))) > NEAR_KM:
                found = f"the site would lie at {place_words(*here)}, {apart:,.0f} km from"
                found += f" {place_words(lon, lat)}, as its outlines in lon/lat say"
                raise refused(shown, found, remedy="say the right CRS with --crs")
            return
