"""GeoPackage, Shapefile, FlatGeobuf, GML, TAB and MIF through pyogrio, every layer of them."""

from __future__ import annotations

import contextlib
import re
import warnings
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from geosand.columns import Geometries
from geosand.errors import refused
from geosand.formats.boundaries.drawn import (
    MAXIMUM_FEATURES,
    Drawn,
    Layer,
    attribute,
    crs_beside,
    left_open_said,
)
from geosand.formats.boundaries.files.geopackage_texts import put_texts
from geosand.formats.boundaries.files.shapefile_parts import check_parts, table_encoding
from geosand.formats.boundaries.words.kinds import recognise
from geosand.formats.gdal_options import gdal_options

#: A GML file names its schema by address: it is never fetched, and links are not followed.
OPTIONS = {"gml": {"DOWNLOAD_SCHEMA": "NO", "SKIP_RESOLVE_ELEMS": "ALL"}}
_AGAIN = "export it again, and hand over all its files"
_NO_NETWORK = {"GDAL_HTTP_TIMEOUT": "1", "CPL_CURL_ENABLE_VSIMEM": "NO"}
#: Degrees of an arc for a chord (4 by default, 0.08 % of a circle's area): such take 0.73 ppm off
#: it; of a drawing coarser ones 13 ppm, which is said, as there is a better way to read it.
ARC_STEP_DEG, _ARC_STEP_OF_DRAWINGS_DEG = 0.12, 0.5

#: Codes at which pyogrio 0.13 stops: layers of any shape with heights, measures or both, and of
#: meshes of triangles or faces, plain and with those.
_UNKNOWN = [0x80000000, 2000, 3000]
_UNKNOWN += [more + mesh for more in (0, 1000, 2000, 3000) for mesh in (15, 16, 17)]


def read_with_gdal(path: Path, shown: str, format: str) -> list[Layer]:
    """All layers of a file in their own CRS. Raises Refused where the driver can not read it."""
    import pyogrio

    _know_codes()
    options, said = OPTIONS.get(format, {}), list[str]()
    if format == "shapefile":
        encoding, doubt = table_encoding(path)
        options = {"encoding": encoding} if encoding else {}
        said = [*filter(None, [doubt]), *check_parts(path, shown)]
    step = _ARC_STEP_OF_DRAWINGS_DEG if format == "dxf" else ARC_STEP_DEG
    with gdal_options(**_NO_NETWORK, OGR_ARC_STEPSIZE=str(step)):
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # what matters of them is said again on reading
                names = [str(row[0]) for row in pyogrio.list_layers(path)]
            several = len(names) > 1
            layers = [read_layer(path, shown, n, several, options, format == "gpkg") for n in names]
        except (RuntimeError, ValueError) as problem:  # all errors of the library are such
            raise refused(shown, _said(problem, path), remedy=_AGAIN) from problem
    if not names:
        raise refused(shown, "holds no layer that can be read", remedy=_AGAIN)
    things = [thing for layer in layers for thing in layer.drawn]
    nameless = bool(things) and not any(thing.attributes for thing in things)
    if format == "shapefile" and nameless and not any(".dbf" in words for words in said):
        said.append("no column of its table (.dbf) can be read: names and kinds are lost")
    if said:
        layers = [replace(layer, findings=(*layer.findings, *said)) for layer in layers]
    if format == "shapefile" and not any(layer.crs for layer in layers):
        layers = [replace(layer, crs=crs_beside(path)) for layer in layers]
    return [layer for layer in layers if layer.drawn or len(layers) == 1]


def _know_codes() -> None:
    """Where pyogrio no longer keeps its codes there, such layers are refused, and no others."""
    with contextlib.suppress(ImportError, AttributeError):
        from pyogrio._geometry import GEOMETRY_TYPES

        for code in _UNKNOWN:
            GEOMETRY_TYPES.setdefault(code, "Unknown")


def _said(problem: Exception, path: Path) -> str:
    """What is wrong, in words that need no knowledge of the library that reads."""
    text = str(problem)
    if isinstance(problem, UnicodeDecodeError):
        return "can not be read: a text in it is in other letters than it says, or is damaged"
    if f"{path.stem}.shx" in text:
        return "its index (.shx) is missing: a Shapefile is at least .shp, .shx and .dbf"
    if "not recognized as being in a supported file format" in text:
        return "can not be read: it is damaged or of another format than its name says"
    if "sqlite" in text.lower():
        return "can not be read: its database is damaged"
    if type(problem).__name__ == "CRSError" and path.with_suffix(".prj").is_file():
        return "can not be read: what says its reference system (.prj) is damaged"
    return f"can not be read ({_plain(text, path)[:120]})"


def _plain(text: str, path: Path) -> str:
    """A sentence of the library without its names for files, calls and settings."""
    words = text.replace(str(path), "the file").replace(path.name, "the file")
    words = re.sub(
        r"(/[^\s'\"]*)+/|\b[A-Z]+_[A-Z_]+\b|\w+\(\)|Set .*$", "", words.partition("\n")[0]
    )
    return " ".join(words.split())


def read_layer(
    path: Path, shown: str, name: str, several: bool, options: dict[str, str], any_texts: bool
) -> Layer:
    """One layer; geometries that are broken keep their place with the problem.

    ``any_texts``: it is of a format whose columns of numbers may hold texts.
    """
    meta, shapes, columns, said = _parts(path, name, options, any_texts)
    if shapes is None:
        return Layer(name=name if several else "", drawn=(), findings=said)
    if len(shapes) > MAXIMUM_FEATURES:
        found = f"has more than {MAXIMUM_FEATURES:,} features"
        raise refused(shown, found, remedy="export only the surfaces of this site")
    geometry = shapely.from_wkb(shapes, on_invalid="ignore")
    left_open = _closed(geometry, shapes)
    broken = {k for k, g in enumerate(geometry) if g is None and shapes[k] is not None}
    # the name of an only layer is often the file's; one that says a kind is worth having
    folder = name if several or recognise(name) not in ("", "other") else ""
    drawn = tuple(
        Drawn(
            place=f"layer {name!r}, feature {row + 1}" if several else f"feature {row + 1}",
            geometry=geometry[row],
            attributes=cells,
            folder=folder,
            problem=_problem(shapes[row], geometry[row], row in broken),
        )
        for row, cells in enumerate(_rows(meta["fields"], columns, len(shapes)))
    )
    crs = meta.get("crs") or ""
    label = name if several else ""
    findings = left_open_said([drawn[row].place for row in left_open], "OGC 06-103r4, 6.1.7")
    return Layer(name=label, drawn=drawn, crs=str(crs), findings=findings + said)


def _parts(
    path: Path, name: str, options: dict[str, str], any_texts: bool
) -> tuple[dict[str, Any], Any, list[Any], tuple[str, ...]]:
    """What is known of a layer, its shapes and columns, and what the driver warns of."""
    from pyogrio.raw import read

    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        meta, numbers, shapes, columns = read(
            path,
            layer=name,
            max_features=MAXIMUM_FEATURES + 1,
            datetime_as_string=True,
            return_fids=any_texts,
            **options,
        )
    if any_texts and shapes is not None and len(shapes) <= MAXIMUM_FEATURES:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # they are recorded already
            put_texts(path, name, meta, columns, numbers)
    return meta, shapes, columns, _warnings(said, path)


def _closed(geometry: Geometries, shapes: Geometries) -> list[int]:
    """Rows of ``geometry`` that could not be made of the bytes but can with their rings closed.

    They are put there.
    """
    rows = [k for k, shape in enumerate(geometry) if shape is None and shapes[k] is not None]
    for row in rows:
        made = shapely.from_wkb(shapes[row], on_invalid="fix")
        geometry[row] = made if made is not None and shapely.area(made) > 0 else None
    return [row for row in rows if geometry[row] is not None]


def _warnings(said: list[warnings.WarningMessage], path: Path) -> tuple[str, ...]:
    harmless = ("Measured (M)", "3D", "Non closed ring", "Z ")
    texts = [f"on reading it was found: {_plain(str(w.message), path)[:160]}" for w in said]
    return tuple(dict.fromkeys(t for t in texts if not any(h in t for h in harmless)))


def _problem(shape: Any, geometry: Any, broken: bool) -> str:
    if broken:
        try:
            shapely.from_wkb(shape)
        except shapely.errors.GEOSException as problem:
            if "Unknown WKB type" in str(problem):
                return "it is a mesh of triangles or faces, no outline"
            if "point array must contain" in str(problem):
                return "a line in it has one position"
            return f"a ring is broken ({str(problem)[:80]})"
        return "a ring is broken"
    if geometry is None:
        return "it has no geometry"
    return "it is empty" if geometry.is_empty else ""


def _rows(names: Any, columns: Any, size: int) -> list[dict[str, Any]]:
    plain = [np.asarray(column, dtype=object) for column in columns]
    return [
        {str(n): attribute(c[row]) for n, c in zip(names, plain, strict=True)}
        for row in range(size)
    ]
