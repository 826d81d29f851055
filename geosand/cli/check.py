"""``geosand check``."""

from __future__ import annotations

from pathlib import Path

from geosand.cli.options import print_document, results_of, verb


@verb
def command(folder: Path, as_json: bool, units: str | None) -> None:
    """Read every file, refuse what can not be right, and list what is worth knowing."""
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
    from geosand.reports.areas_console import merged_findings
    from geosand.reports.console import console

    site = results.site
    out = console()
    out.print(
        f"{site.name}: read and not refused: surfaces {len(site.ids)}, dressings"
        f" {len(site.dressings)}, loads {len(site.loads)}, catches {len(site.catches)}.",
        soft_wrap=True,
    )
    lines = merged_findings(found + extra)
    if lines:
        out.print(f"Worth knowing ({len(lines)}):")
    for line in lines:
        out.print(f"  - {line}", soft_wrap=True)
