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
    if as_json:
        found = [{"about": f.about, "topic": f.topic, "text": f.text} for f in listed]
        document = {
            "site": results.site.name,
            "findings": found + extra,
            "inputs": dict(results.site.inputs),
        }
        print_document(document)
        return
    from geosand.reports.console import console

    site = results.site
    out = console()
    out.print(
        f"{site.name}: {len(site.ids)} surfaces, {len(site.dressings)} dressings, {len(site.loads)}"
        f" loads, {len(site.catches)} catches were read; nothing was refused."
    )
    if listed or extra:
        out.print(f"{len(listed) + len(extra)} things worth knowing:")
    for finding in listed:
        out.print(f"  - {finding}", soft_wrap=True)
    for row in extra:
        out.print(f"  - {row['about']}: {row['text']}", soft_wrap=True)
