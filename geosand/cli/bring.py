"""``geosand bring``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from geosand.cli.importing import (
    accuracies_of,
    boundary_options,
    choice_of,
    choice_options,
    document_of,
    read_with,
    said_of,
)
from geosand.cli.options import (
    FILE,
    Once,
    in_units_of,
    print_document,
    refusals_end_with_1,
    with_shared_options,
)
from geosand.cli.progress import steps
from geosand.errors import Refused, listed, refused

if TYPE_CHECKING:
    from geosand.formats.boundaries.sites.bring import Brought
    from geosand.reports.documents import Document
    from geosand.reports.words import Units

NAMED = 4  #: surfaces of changed area


@with_shared_options
@click.command(cls=Once)
@click.argument("file", type=FILE)
@click.option("--into", "folder", required=True, type=FILE, help="The site.")
@click.option(
    "--valid-from", required=True, metavar="DAY", help="Day from which the new survey holds."
)
@click.option(
    "--partial", is_flag=True, help="Surfaces that the file does not name go on as they are."
)
@boundary_options
@choice_options
@refusals_end_with_1
def command(
    file: Path,
    folder: Path,
    valid_from: str,
    partial: bool,
    as_json: bool,
    units: str | None,
    **options: Any,
) -> None:
    """Bring a new survey into a site. Dressings before its day keep the areas of the old one.

    Surfaces are matched by id, else by the ground they share. The old survey goes to editions/.
    Nothing is written while something asks for a decision.

    Example: geosand bring new.geojson --into my_site --valid-from 2026-07-01
    """
    accuracies, choice = accuracies_of(options), choice_of(options)
    from geosand.formats.boundaries.sites.bring import bring_into, place_of
    from geosand.reports.words import in_words_of

    if not (folder / "site.toml").is_file():
        raise refused(
            str(folder),
            "is no site folder: there is no site.toml in it",
            remedy=f"set one up with geosand new {folder} --boundaries {file.name}",
        )
    with steps(silent=as_json) as step:
        step(f"Reading {file.name}")
        boundaries = read_with(file, options, near=place_of(folder))
        step("Matching the surveys")
        brought = bring_into(
            folder,
            boundaries,
            valid_from=valid_from,
            accuracies=accuracies,
            choice=choice,
            partial=partial,
        )
        step("Comparing the areas")
        changed = _areas_changed(folder, brought.edition)
    told = (brought.settled.boundaries, brought.rows, brought.settled, brought.accepted)
    if as_json:
        kept = {name.replace(" ", "_"): list(ids) for name, ids in _changes(brought).items()}
        document = document_of(*told, brought.findings)
        accuracy = {"accuracies": dict(brought.accuracies)}
        kept_in = {"edition": brought.edition, "areas_changed": changed}
        print_document({**document, **kept_in, **kept, **accuracy})
        return
    from geosand.reports.plain_table import show

    shown = in_units_of(folder, units)
    show(*said_of(*told, brought.findings, shown))
    for name, ids in _changes(brought).items():
        if ids:
            show(f"  {name}: {len(ids)} ({', '.join(ids[:8])}{' …' if len(ids) > 8 else ''})")
    if changed is not None:
        show(f"  {_changed_words(changed, folder, brought.edition, shown)}")
    words = in_words_of(_accuracy_words(brought, accuracies), shown)
    show(f"It holds from {valid_from}; {words}")
    if brought.edition:
        show(f"The survey until now is kept in {brought.edition}")


def _changes(brought: Brought) -> dict[str, tuple[str, ...]]:
    return {
        "same id": brought.by_id,
        "same ground": brought.by_overlap,
        "new": brought.new,
        "gone": brought.gone,
        "carried on": brought.carried_on,
    }


def _areas_changed(folder: Path, edition: str) -> list[Document] | None:
    """Surfaces whose area the new survey changed by more than 2 u, the largest change first.

    None where that can not be told: it is the first survey, or the site has faults of its own.
    """
    from geosand.formats.other_survey import read_other_survey, survey_in_force
    from geosand.formats.site_folder import read_site
    from geosand.reports.area_comparison import pair_rows
    from geosand.reports.compared import compared

    if not edition:
        return None
    try:
        site = read_site(folder)
        found = compared(read_other_survey(folder, site, Path(edition).stem), survey_in_force(site))
    except Refused:
        return None
    changed = [row for row in pair_rows(found) if row["verdict"] in ("larger", "smaller")]
    return sorted(changed, key=lambda row: -abs(row["difference_m2"]))


def _changed_words(changed: list[Document], folder: Path, edition: str, units: Units) -> str:
    from geosand.reports.areas_console import change
    from geosand.reports.words import label_of

    more = f"geosand areas {folder} --against {Path(edition).stem}"
    if not changed:
        return f"no area changed by more than 2 u; {more} shows all"
    named = [
        f"{row['id']} {change(row['difference_m2'], row['u_difference_m2'], units)}"
        for row in changed[:NAMED]
    ]
    told = f"{listed(named)} {label_of('area', units)}"
    told += f" and {len(changed) - NAMED} more" if len(changed) > NAMED else ""
    return f"area changed by more than 2 u: {len(changed)} ({told}); {more} shows all"


def _accuracy_words(brought: Brought, said: dict[str, float]) -> str:
    """Each accuracy of the new survey, and where it comes from."""
    from geosand.formats.boundaries.sites.surfaces_file import ACCURACIES

    words = [
        f"{words} {brought.accuracies[key]:g} m{'' if key in said else ' (as for the site)'}"
        for key, words in ACCURACIES.items()
    ]
    return f"standard uncertainty: {', '.join(words)}"
