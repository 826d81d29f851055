"""``geosand check``."""

from __future__ import annotations

from pathlib import Path

import click

from geosand.cli.options import display, print_document, results_of, verb
from geosand.errors import refused


@verb
@click.option(
    "--since",
    "earlier",
    metavar="RESULT",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="Only say which files changed since this result (a --json document or a page).",
)
def command(folder: Path, as_json: bool, units: str | None, earlier: Path | None) -> None:
    """Read every file, refuse what can not be right, and list what is worth knowing.

    Example: geosand check my_site
    """
    if earlier is not None:
        _say_changes(folder, earlier, as_json)
        return
    results = results_of(folder)
    from geosand.reports.register import register_document

    areas = register_document(results.site)
    listed = [*results.findings]
    texts = {(f.about, f.text) for f in listed}
    extra = [f for f in areas["findings"] if (f["about"], f["text"]) not in texts]
    found = [{"about": f.about, "topic": f.topic, "text": f.text} for f in listed]
    if as_json:
        document = {
            "site": results.site.name,
            "findings": found + extra,
            "inputs": dict(results.site.inputs),
        }
        print_document(document)
        return
    from geosand.reports.plain_table import show
    from geosand.reports.words import merged_findings, only_dressings

    site = results.site
    show(
        f"{site.name}: read and not refused: surfaces {len(site.ids)}, dressings"
        f" {len(site.dressings)}, loads {len(site.loads)}, catches {len(site.catches)}."
    )
    told = found + extra
    for title, default in (("Worth knowing", False), ("What was assumed", True)):
        mine = [one for one in told if (one["topic"] == "default") == default]
        lines = merged_findings(mine, display(units, site), dressings=only_dressings(site))
        if lines:
            show(f"{title} ({len(lines)}):", *(f"  - {line}" for line in lines))


def _option_words(name: str, value: object) -> list[str]:
    """An option as it was typed: a flag alone, one that was repeated once for each value."""
    values = value if isinstance(value, list) else [value]
    return [f"--{name}" if one is True else f"--{name} {one}" for one in values]


def _say_changes(folder: Path, earlier: Path, as_json: bool) -> None:
    """Which of the site's files are no longer those of an earlier result."""
    from geosand.formats.past_result import since
    from geosand.formats.site_folder import inputs_of

    if not folder.is_dir():
        remedy = "name a site folder"
        raise refused(str(folder), "there is no such folder", remedy=remedy)
    found = since(earlier, inputs_of(folder))
    parts = {"changed": found.changed, "new": found.added, "gone": found.removed}
    if as_json:
        listed = {**{k: list(v) for k, v in parts.items()}, "same": list(found.same)}
        made = {"also_read": dict(found.also_read), "made_with": dict(found.made_with)}
        print_document({"since": earlier.name, **listed, **made})
        return
    from geosand.reports.plain_table import show

    if not any(parts.values()):
        show(f"Nothing has changed since {earlier.name}: all {len(found.same)} files are the same.")
    for word, names in parts.items():
        if names:
            show(f"{word}: {', '.join(names)}")
    if any(parts.values()) and found.same:
        show(f"the same: {', '.join(found.same)}")
    for name, digest in found.also_read.items():
        show(f"not looked at here: {name}, which had the SHA-256 {digest}")
    if version := found.made_with.get("geosand"):
        options = found.made_with.get("options")
        options = options if isinstance(options, dict) else {}
        said = " ".join(word for k, v in options.items() for word in _option_words(k, v))
        show(
            f"It was made by geosand {version}, {found.made_with.get('verb')} {said}".rstrip() + "."
        )
