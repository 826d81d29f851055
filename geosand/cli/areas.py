"""``geosand areas``."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from geosand.cli.options import (
    FILE,
    check_ending,
    check_results,
    display,
    origin_of,
    print_document,
    read,
    verb,
)
from geosand.errors import Fault, Refused

if TYPE_CHECKING:
    from geosand.areas.register import AreaRegister
    from geosand.reports.documents import Document
    from geosand.reports.words import Units
    from geosand.site.tables import Site

_PERCENT = click.FloatRange(0, 100)


@verb
@click.option(
    "--against", metavar="OLD", help="A site folder, a boundary file, or an edition's name."
)
@click.option(
    "--changes", type=FILE, help="With --against: ground gained and lost, .geojson or .gpkg."
)
@click.option(
    "--claimed", type=FILE, help="Claimed areas, CSV or .xlsx: id or name, area_m2 (or ft2 …)."
)
@click.option(
    "--tolerance", type=_PERCENT, metavar="PERCENT", help="For claims that say none [the site's]."
)
@click.option(
    "--out", type=FILE, multiple=True, help="Write .csv, .geojson, .gpkg or .xlsx; may repeat."
)
def command(
    folder: Path,
    as_json: bool,
    units: str | None,
    against: str | None,
    changes: Path | None,
    claimed: Path | None,
    tolerance: float | None,
    out: Sequence[Path],
) -> None:
    """Ground area of every surface, held against geodesic, equal-area and grid area.

    Ground area is the ellipsoid's, raised to the site's elevation and slope; grid area is what a
    drawing in a projected system shows. Figures are for sand and renovation quantities: boundary
    and title work needs a licensed surveyor.

    Example: geosand areas my_site --out maps/areas.csv
    """
    _check_usage(against, changes, claimed, tolerance, out)
    from geosand.areas.register import area_register
    from geosand.reports.register import register_document

    site = read(folder)
    inputs = [folder / name for name in site.inputs]
    beside = [path for path in (Path(against) if against else None, claimed) if path]
    _keep_inputs([*inputs, *beside], [*out, *([changes] if changes else [])])
    check_results(*out, changes)
    register = area_register(site.surfaces)
    document = {**register_document(site, register), "inputs": dict(site.inputs)}
    features: list[dict[str, Any]] = []
    if against is not None:
        document["against"], features = _against(folder, site, against)
    if claimed is not None:
        document["claimed"] = _claimed(site, document, claimed, tolerance)
    document["also_read"] = _digests(beside)
    shown = display(units, site)
    written = _write(document, site, register, shown, out, changes, features)
    if as_json:
        print_document(document)
    else:
        _print(document, shown, written)


def _check_usage(
    against: str | None,
    changes: Path | None,
    claimed: Path | None,
    tolerance: float | None,
    out: Sequence[Path],
) -> None:
    from geosand.formats.area_export import CHANGE_ENDINGS, ENDINGS

    if changes is not None and against is None:
        raise click.UsageError("--changes needs --against: with what shall it be compared?")
    if tolerance is not None and claimed is None:
        raise click.UsageError("--tolerance needs --claimed: a list of claimed areas")
    for path in out:
        check_ending(path, ENDINGS, "--out")
    check_ending(changes, CHANGE_ENDINGS, "--changes")


def _keep_inputs(inputs: Sequence[Path], outputs: Sequence[Path]) -> None:
    """Results never replace what was measured."""
    measured = {os.path.realpath(path) for path in inputs}
    faults = [
        Fault(
            file=str(path),
            found="is one of the files that are read here",
            remedy="name another file for the result",
        )
        for path in outputs
        if os.path.realpath(path) in measured
    ]
    if faults:
        raise Refused(faults)


def _digests(paths: Sequence[Path]) -> dict[str, str]:
    """SHA-256 of what was read beside the site: a file, or all files of another site.

    Results name no folders, but for a site's own and where two files would be called alike. An
    edition's name is no file of its own: it is among the site's.
    """
    from hashlib import sha256

    from geosand.formats.site_folder import inputs_of

    found: dict[str, str] = {}
    wholes = dict.fromkeys(Path(os.path.abspath(path)) for path in paths if path.exists())
    last = 1
    while len({whole.parts[-last:] for whole in wholes}) < len(wholes):
        last += 1
    for whole in wholes:
        name = "/".join(whole.parts[-last:])
        if whole.is_dir():
            found |= {f"{name}/{file}": digest for file, digest in inputs_of(whole).items()}
        elif whole.is_file():
            found[name] = sha256(whole.read_bytes()).hexdigest()
    return found


def _against(folder: Path, site: Site, named: str) -> tuple[Document, list[dict[str, Any]]]:
    from geosand.formats.other_survey import read_other_survey, survey_in_force
    from geosand.reports.area_comparison import against_document, change_features
    from geosand.reports.compared import compared

    old, new = read_other_survey(folder, site, named), survey_in_force(site)
    found = compared(old, new)
    return against_document(old, new, found), change_features(old, new, found)


def _claimed(site: Site, document: Document, path: Path, tolerance: float | None) -> Document:
    from geosand.formats.claimed_areas import read_claimed_areas
    from geosand.reports.claimed_areas import claimed_document
    from geosand.reports.documents import findings_rows

    claims, findings = read_claimed_areas(path)
    share = None if tolerance is None else tolerance / 100
    checked = claimed_document(claims, site, document, path.name, share)
    return {**checked, "findings": findings_rows(findings)}


def _write(
    document: Document,
    site: Site,
    register: AreaRegister,
    units: Units,
    out: Sequence[Path],
    changes: Path | None,
    features: list[dict[str, Any]],
) -> list[Path]:
    from geosand.formats.area_export import write_areas, write_changes

    notes = [document["caution"], *document["notes"]]
    owned = register.owned[site.in_force()]
    written = [*out, *([changes] if changes else [])]
    origin = origin_of(site)
    if document["also_read"]:
        origin["also_read"] = document["also_read"]
    for path in written:
        if path is changes:
            write_changes(path, features, units=units, origin=origin)
        else:
            rows, sheets = document["surfaces"], _sheets(document)
            write_areas(path, rows, owned, units=units, notes=notes, sheets=sheets, origin=origin)
    return written


def _sheets(document: Document) -> dict[str, list[Document]]:
    """Further tables of a workbook; a list in a cell becomes words."""

    def flat(rows: list[Document]) -> list[Document]:
        return [
            {k: ", ".join(map(str, v)) if isinstance(v, list) else v for k, v in row.items()}
            for row in rows
        ]

    sheets = {"totals": document["totals"]}
    if "against" in document:
        against = document["against"]
        sheets["against"] = flat(against["surfaces"])
        sheets["split and merged"] = flat(against["regrouped"])
        sheets["only in one"] = [
            {"survey": which, **row}
            for which in ("old", "new")
            for row in against[f"only_in_{which}"]
        ]
        sheets["surveys"] = [
            {"survey": which, **against[f"{which}_survey"]} for which in ("old", "new")
        ]
    if "claimed" in document:
        sheets["claimed"] = document["claimed"]["surfaces"]
    sheets["inputs"] = [
        {"file": name, "sha256": digest}
        for files in (document["inputs"], document["also_read"])
        for name, digest in files.items()
    ]
    return sheets


def _print(document: Document, units: Units, written: Sequence[Path]) -> None:
    from geosand.reports import areas_console as tables
    from geosand.reports import comparison_console as beside
    from geosand.reports.plain_table import PIPE_WIDTH, show, window
    from geosand.reports.words import merged_findings

    width = window() or PIPE_WIDTH
    if not {"against", "claimed"} & document.keys():  # asked is how they compare
        show(tables.areas_table(document, units, width))
    show(tables.totals_table(document, units))
    show(*tables.findings_lines(document, units, width), *document["notes"])
    if "against" in document:
        against = document["against"]
        show("", *beside.against_head(against), "")
        if any(row["verdict"] != "unchanged" for row in against["surfaces"]):
            show(beside.against_table(against, units))
        show(*beside.against_lines(against, units))
    if "claimed" in document:
        show("", beside.claimed_table(document["claimed"], units))
        show(*beside.claimed_lines(document["claimed"]))
        show(*merged_findings(document["claimed"]["findings"], units))
    show("", document["caution"])
    show(*(f"Written: {path}" for path in written))
