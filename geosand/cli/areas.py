"""``geosand areas``."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from geosand.cli.options import display, print_document, read, verb
from geosand.errors import Fault, Refused

if TYPE_CHECKING:
    from geosand.areas.register import AreaRegister
    from geosand.reports.documents import Document
    from geosand.reports.words import Units
    from geosand.site.tables import Site

_FILE = click.Path(path_type=Path)
_PERCENT = click.FloatRange(0, 100)


@verb
@click.option("--against", metavar="OLD", help="A site folder, a .geojson, or an edition's name.")
@click.option("--changes", type=_FILE, help="With --against: gained and lost ground, .geojson.")
@click.option("--claimed", type=_FILE, help="CSV of claimed areas: id or name, area_m2 (or ft2 …).")
@click.option(
    "--tolerance", type=_PERCENT, metavar="PERCENT", help="For claims that say none [the site's]."
)
@click.option(
    "--out", type=_FILE, multiple=True, help="Write .csv, .geojson, .gpkg or .xlsx; may repeat."
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
    """
    _check_usage(against, changes, claimed, tolerance, out)
    from geosand.areas.register import area_register
    from geosand.reports.register import register_document

    site = read(folder)
    inputs = [folder / name for name in site.inputs]
    inputs += [path for path in (claimed, Path(against) if against else None) if path]
    _keep_inputs(inputs, [*out, *([changes] if changes else [])])
    register = area_register(site.surfaces)
    document = register_document(site, register)
    features: list[dict[str, Any]] = []
    if against is not None:
        document["against"], features = _against(folder, site, against)
    if claimed is not None:
        document["claimed"] = _claimed(site, document, claimed, tolerance)
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
    from geosand.formats.area_export import ENDINGS, checked_ending

    if changes is not None and against is None:
        raise click.UsageError("--changes needs --against: with what shall it be compared?")
    if tolerance is not None and claimed is None:
        raise click.UsageError("--tolerance needs --claimed: a list of claimed areas")
    asked: list[tuple[str, Path, Sequence[str]]] = [("--out", path, ENDINGS) for path in out]
    asked += [("--changes", changes, (".geojson",))] if changes is not None else []
    for option, path, allowed in asked:
        try:
            checked_ending(path, allowed)
        except ValueError as problem:
            raise click.BadParameter(str(problem), param_hint=option) from None


def _keep_inputs(inputs: Sequence[Path], outputs: Sequence[Path]) -> None:
    """Results never replace what was measured."""
    measured = {path.resolve() for path in inputs}
    faults = [
        Fault(
            file=str(path),
            found="is one of the files that are read here",
            remedy="name another file for the result",
        )
        for path in outputs
        if path.resolve() in measured
    ]
    if faults:
        raise Refused(faults)


def _against(folder: Path, site: Site, named: str) -> tuple[Document, list[dict[str, Any]]]:
    from geosand.formats.other_survey import read_other_survey, surfaces_in_force
    from geosand.reports.area_comparison import against_document

    label, old = read_other_survey(folder, site, named)
    return against_document(label, old, surfaces_in_force(site))


def _claimed(site: Site, document: Document, path: Path, tolerance: float | None) -> Document:
    from geosand.formats.claimed_areas import read_claimed_areas
    from geosand.reports.area_comparison import claimed_document

    claims, findings = read_claimed_areas(path)
    share = None if tolerance is None else tolerance / 100
    checked = claimed_document(claims, site, document, path.name, share)
    said = [{"about": f.about, "topic": f.topic, "text": f.text} for f in findings]
    return {**checked, "findings": said}


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

    sheets = {"totals": document["totals"]}
    if "against" in document:
        sheets["against"] = [
            {k: v for k, v in row.items() if not isinstance(v, list)}
            for row in document["against"]["surfaces"]
        ]
    if "claimed" in document:
        sheets["claimed"] = document["claimed"]["surfaces"]
    notes = [document["caution"], *document["notes"]]
    owned = register.owned[site.in_force()]
    written: list[Path] = []
    for path in [*out, *([changes] if changes else [])]:
        try:
            if path is changes:
                write_changes(path, features)
            else:
                write_areas(
                    path, document["surfaces"], owned, units=units, notes=notes, sheets=sheets
                )
        except OSError as problem:
            found = f"can not be written: {problem.strerror or problem}"
            raise Refused(
                Fault(file=str(path), found=found, remedy="name another place")
            ) from problem
        written.append(path)
    return written


def _print(document: Document, units: Units, written: Sequence[Path]) -> None:
    from geosand.reports import areas_console as tables
    from geosand.reports.console import console

    out = console()

    def say(lines: Sequence[str]) -> None:
        for line in lines:
            out.print(line, soft_wrap=not out.is_terminal)

    out.print(tables.areas_table(document, units, out.width))
    out.print(tables.totals_table(document, units))
    say(tables.findings_lines(document, units, out.width))
    say(document["notes"])
    if "against" in document:
        against = document["against"]
        out.print()
        if any(row["verdict"] != "unchanged" for row in against["surfaces"]):
            out.print(tables.against_table(against, units))
        say(tables.against_lines(against, units))
    if "claimed" in document:
        out.print()
        out.print(tables.claimed_table(document["claimed"], units))
        say(tables.claimed_lines(document["claimed"]))
        say(tables.merged_findings(document["claimed"]["findings"]))
    say(["", document["caution"]])
    say([f"written: {path}" for path in written])
