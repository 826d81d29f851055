"""An earlier result against the files as they are now: what changed since it was made."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from contextlib import closing
from dataclasses import dataclass
from html import unescape
from pathlib import Path
from typing import Any

from geosand.errors import Faults, refused
from geosand.formats.plain_files import plain_bytes

LARGEST_MB = 100
#: The JSON block that pages carry; a page holds its inputs in one of them. Here and below "<" is
#: escaped within, so that no beginning without an end is followed to the end of the file.
BLOCK = re.compile(r'<script[^<>]{0,200}type="application/json"[^<>]{0,200}>([^<]*)</script>')
GPX = re.compile(r"<metadata><desc>([^<]*)</desc>")
MEMBER = re.compile(r'<MDI key="(inputs|made_with|also_read)">([^<]*)</MDI>')
SQLITE = b"SQLite format 3\0"
MOST_STEPS = 10_000_000  #: of SQLite's machine
DIGEST = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Since:
    """Files of a site by what happened to them since a result was made, and how it was made."""

    changed: tuple[str, ...]
    added: tuple[str, ...]
    removed: tuple[str, ...]
    same: tuple[str, ...]
    made_with: Mapping[str, Any]  #: version, verb and options of the result; may be empty
    also_read: Mapping[str, str]  #: files beside the site (-> SHA-256): where they lie is not known


def since(path: Path, now: Mapping[str, str]) -> Since:
    """Compare the inputs (file -> SHA-256) that a result names with those of ``now``.

    ``path`` is what a verb printed with ``--json``, or a page, GeoJSON, GPX or GeoPackage that it
    wrote. Raises Refused for a file that names no inputs.
    """
    document = _document(path)
    then, beside = document["inputs"], document.get("also_read")
    made_with = document.get("made_with")
    return Since(
        changed=tuple(sorted(n for n in then if n in now and then[n] != now[n])),
        added=tuple(sorted(set(now) - set(then))),
        removed=tuple(sorted(set(then) - set(now))),
        same=tuple(sorted(n for n in then if now.get(n) == then[n])),
        made_with=made_with if isinstance(made_with, dict) else {},
        also_read=beside if isinstance(beside, dict) and _inputs(beside) else {},
    )


def _document(path: Path) -> Mapping[str, Any]:
    """The part of a result that names its inputs."""
    for text in _candidates(path):
        try:
            found = json.loads(text)
        except (ValueError, RecursionError):
            continue
        if isinstance(found, dict) and _inputs(found.get("inputs")):
            return found
    remedy = "give what a verb printed with --json, or a page, GeoJSON, GPX or GeoPackage that"
    found = "names no inputs with their SHA-256"
    raise refused(path.name, found, remedy=f"{remedy} geosand wrote")


def _candidates(path: Path) -> list[str]:
    """Texts in a file of which one may be the document that names its inputs. Raises Refused."""
    faults = Faults()
    content = plain_bytes(path, path.name, LARGEST_MB, faults, "give the result itself")
    faults.refuse()
    if content.startswith(SQLITE):
        return _of_layers(path)
    text = content.decode("utf-8-sig", errors="replace")
    return [text, *BLOCK.findall(text), *(unescape(one) for one in GPX.findall(text))]


def _of_layers(path: Path) -> list[str]:
    """Each layer's metadata in a GeoPackage, as GDAL keeps it: one JSON text a member, as one."""
    import sqlite3

    try:
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as package:
            package.set_progress_handler(lambda: 1, MOST_STEPS)  # a view may never end
            rows = package.execute("SELECT metadata FROM gpkg_metadata").fetchall()
    except sqlite3.Error:
        return []
    members = [dict(MEMBER.findall(str(row[0]))) for row in rows]
    return [
        "{" + ",".join(f'"{name}":{unescape(text)}' for name, text in one.items()) + "}"
        for one in members
    ]


def _inputs(value: object) -> bool:
    return (
        isinstance(value, dict)
        and bool(value)
        and all(isinstance(v, str) and DIGEST.fullmatch(v) for v in value.values())
    )
