"""GeoPackage, Shapefile, FlatGeobuf and GML through pyogrio, every layer of them."""

from __future__ import annotations

import warnings
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from geosand.formats.boundaries.drawn import MAXIMUM_FEATURES, Drawn, Layer, attribute, refused

#: A GML file names its schema by address: it is never fetched, and links are not followed.
OPTIONS: dict[str, dict[str, str]] = {
    "gml": {"DOWNLOAD_SCHEMA": "NO", "SKIP_RESOLVE_ELEMS": "ALL", "XSD": ""}
}
_NO_NETWORK = {"GDAL_HTTP_TIMEOUT": "1", "CPL_CURL_ENABLE_VSIMEM": "NO", "OGR_ARC_STEPSIZE": "0.5"}


def read_with_gdal(path: Path, shown: str, format: str) -> list[Layer]:
    """All layers of a file in their own CRS. Raises Refused where the driver can not read it."""
    import pyogrio

    options = {k: v for k, v in OPTIONS.get(format, {}).items() if v}
    with arc_steps():
        try:
            names = [str(row[0]) for row in pyogrio.list_layers(path)]
            layers = [read_layer(path, shown, name, len(names) > 1, options) for name in names]
        except (RuntimeError, ValueError) as problem:  # all errors of the library are such
            raise refused(shown, _said(problem, path), remedy="export it again") from problem
    if format == "shapefile" and names and not path.with_suffix(".dbf").is_file():
        text = "its table (.dbf) is missing: names and kinds are lost"
        layers = [_with_finding(layer, text) for layer in layers]
    return [layer for layer in layers if layer.drawn or len(layers) == 1]


def _with_finding(layer: Layer, text: str) -> Layer:
    from dataclasses import replace

    return replace(layer, findings=(*layer.findings, text))


def _said(problem: Exception, path: Path) -> str:
    text = str(problem).replace(str(path), "the file").splitlines()[0]
    return f"can not be read ({text[:120]})"


class arc_steps:
    """Arcs drawn in steps of half a degree (4 by default: 0.08 % of a circle's area)."""

    def __enter__(self) -> None:
        import pyogrio

        self.before = {k: pyogrio.get_gdal_config_option(k) for k in _NO_NETWORK}
        pyogrio.set_gdal_config_options(_NO_NETWORK)

    def __exit__(self, *_: object) -> None:
        import pyogrio

        pyogrio.set_gdal_config_options(self.before)


def read_layer(
    path: Path, shown: str, name: str, named: bool, options: dict[str, str], encoding: str = ""
) -> Layer:
    """One layer; geometries that are broken keep their place with the problem."""
    from pyogrio.raw import read

    info = {"encoding": encoding} if encoding else {}
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        meta, _, shapes, columns = read(
            path,
            layer=name,
            max_features=MAXIMUM_FEATURES + 1,
            datetime_as_string=True,
            **info,
            **options,
        )
    if shapes is None:
        return Layer(name=name, drawn=(), findings=_warnings(said))
    if len(shapes) > MAXIMUM_FEATURES:
        found = f"has more than {MAXIMUM_FEATURES:,} features"
        raise refused(shown, found, remedy="export only the surfaces of this site")
    geometry = shapely.from_wkb(shapes, on_invalid="ignore")
    broken = [k for k, g in enumerate(geometry) if g is None and shapes[k] is not None]
    drawn = tuple(
        Drawn(
            place=f"layer {name!r}, feature {row + 1}" if named else f"feature {row + 1}",
            geometry=geometry[row],
            attributes=cells,
            folder=name if named else "",
            problem=_problem(shapes[row], geometry[row], row in set(broken)),
        )
        for row, cells in enumerate(_rows(meta["fields"], columns, len(shapes)))
    )
    crs = meta.get("crs") or ""
    return Layer(name=name, drawn=drawn, crs=str(crs), findings=_warnings(said))


def _warnings(said: list[warnings.WarningMessage]) -> tuple[str, ...]:
    harmless = ("Measured (M)", "3D", "Non closed ring", "Z ")
    texts = [str(w.message)[:160] for w in said]
    return tuple(dict.fromkeys(t for t in texts if not any(h in t for h in harmless)))


def _problem(shape: Any, geometry: Any, broken: bool) -> str:
    if broken:
        try:
            shapely.from_wkb(shape)
        except shapely.errors.GEOSException as problem:
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
