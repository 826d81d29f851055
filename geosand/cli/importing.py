"""Options of the verbs that read a boundary file, and what they say of it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from geosand.formats.boundaries.tables import Boundaries
    from geosand.reports.documents import Document

_OPTIONS = (
    click.option("--crs", help="CRS of the file where it does not say it, as in EPSG:32631."),
    click.option("--unit", help="Unit of a drawing or of survey text: m, ft, survey_foot."),
    click.option("--one-kind", "kind", help="One kind for all surfaces, as in green."),
    click.option("--kind", "kind_column", help="Attribute that holds the kind."),
    click.option("--id", "id_column", help="Attribute that holds the id."),
    click.option("--name", "name_column", help="Attribute that holds the name."),
    click.option("--point-order", help="Order of survey text without a head, as in PNEZD."),
    click.option(
        "--close-tolerance",
        "close_tolerance_m",
        default=0.05,
        show_default=True,
        metavar="METRES",
        help="Lines whose ends are at most this far apart are closed.",
    ),
    click.option("--near", nargs=2, type=float, metavar="LON LAT", help="Where the site must be."),
    click.option("--swap", "swap_axes", is_flag=True, help="The file has x and y exchanged."),
    click.option("--believe-place", is_flag=True, help="Take a place that was asked about."),
    click.option(
        "--split-parts", is_flag=True, help="One surface for each part of a multipolygon."
    ),
)


def boundary_options(function: Callable[..., None]) -> Callable[..., None]:
    """All options of reading a boundary file."""
    for option in reversed(_OPTIONS):
        function = option(function)
    return function


def read_with(
    path: Path, options: dict[str, Any], near: tuple[float, float] | None = None
) -> Boundaries:
    """The boundaries in ``path``, read with the options a person gave; raises Refused."""
    from geosand.formats.boundaries.read import read_boundaries

    wishes = dict(options)
    wishes["near"] = wishes["near"] or near
    return read_boundaries(path, **wishes)


def said_of(boundaries: Boundaries) -> list[str]:
    """The tally, what was left out and what is worth knowing, a line each."""
    lines = [f"{boundaries.file}: {boundaries.tally}."]
    lines += [f"  left out: {item}" for item in boundaries.tally.left_out]
    if boundaries.source_crs:
        lines.append(f"  coordinates: {boundaries.source_crs.splitlines()[0][:60]}")
    if boundaries.datum_note:
        lines.append(f"  {boundaries.datum_note}")
    return lines + [f"  - {finding}" for finding in boundaries.findings]


def document_of(boundaries: Boundaries | None) -> Document:
    """What was read, as a document."""
    if boundaries is None:
        return {"read": 0, "surfaces": [], "left_out": [], "findings": []}
    features = boundaries.features
    return {
        "file": boundaries.file,
        "source_crs": boundaries.source_crs,
        "read": boundaries.tally.read,
        "surfaces": [
            {"id": str(i), "name": str(n), "kind": str(k)}
            for i, n, k in zip(features.id, features.name, features.kind, strict=True)
        ],
        "left_out": [str(item) for item in boundaries.tally.left_out],
        "findings": [str(finding) for finding in boundaries.findings],
    }
