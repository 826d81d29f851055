"""Ids that stay: from a column, else from the name, else folder and name, else kind and number."""

from __future__ import annotations

import re
import unicodedata
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence

from geosand.formats.boundaries.drawn import Drawn
from geosand.formats.boundaries.words.kinds import folded, tags_of, words_of
from geosand.site.cells import Cell, as_text, is_blank
from geosand.site.tables import KINDS

#: The open map community has a tag surface=grass: its own numbers come first.
ID_COLUMNS = ("id", "surface_id", "@id", "full_id", "osm_way_id", "osm_id", "surface", "ident")
NAME_COLUMNS = (
    *("name", "surface_name", "label", "title", "bezeichnung", "nom", "nombre", "nome"),
    *("naam", "namn", "navn", "text"),
)
LONGEST_ID, LONGEST_NAME = 60, 200
SHARED = 3  #: things that state the same id, from which on it is none
_DIRECTIONS = re.compile("[\u200e\u200f\u061c\u202a-\u202e\u2066-\u2069]")


def clean(text: str) -> str:
    """Text without control, direction-changing and broken characters, on one line."""
    spaced = re.sub(r"\s+", " ", text)
    kept = "".join(c for c in spaced if unicodedata.category(c) not in ("Cc", "Cs", "Co", "Cn"))
    return _DIRECTIONS.sub("", kept).strip()[:LONGEST_NAME]


def slug(text: str) -> str:
    """Letters, digits and - of a text: 'Grün 7 (alt)' -> 'grun-7-alt'; "" where none are left."""
    return re.sub(r"[^a-z0-9_.]+", "-", folded(text)).strip("-.")[:LONGEST_ID].strip("-.")


def cell_of(attributes: Mapping[str, Cell], column: str | None, columns: Sequence[str]) -> str:
    """Text of the named column, else of the first usual one that is filled."""
    if column is not None:
        cell = attributes.get(column)
        return "" if is_blank(cell) else as_text(cell)
    by_lower = {key.lower(): key for key in attributes}
    for key in columns:
        cell = attributes.get(by_lower.get(key, ""))
        if not is_blank(cell):
            return as_text(cell)
    return ""


def name_of(attributes: Mapping[str, Cell], name: str, column: str | None) -> str:
    """Name of one drawn thing, cleaned: of the column, else its own, else that of its tags."""
    text = cell_of(attributes, column, NAME_COLUMNS)
    if not text and column is None:
        text = name or tags_of(attributes).get("name", "")
    return clean(text)


def shared_ids(things: Iterable[Drawn]) -> set[tuple[str, str]]:
    """Columns of ids with texts that tell nothing apart: without a number, and in several things.

    A GIS writes Id 0 in every row, and a column "surface" may hold what grows there. A number may
    be a hole's, with a tee and a fairway beside its green.
    """
    often = Counter(
        (key.lower(), as_text(cell))
        for thing in things
        for key, cell in thing.attributes.items()
        if key.lower() in ID_COLUMNS and not is_blank(cell)
    )
    return {it for it, n in often.items() if n >= SHARED and not re.search("[1-9]", it[1])}


def stated_id(attributes: Mapping[str, Cell], shared: set[tuple[str, str]]) -> str:
    """Text of the first usual column of ids that is filled with one that is not shared."""
    by_lower = {key.lower(): cell for key, cell in attributes.items()}
    cells = ((key, by_lower.get(key)) for key in ID_COLUMNS)
    texts = ((key, as_text(cell)) for key, cell in cells if not is_blank(cell))
    return next((text for key, text in texts if (key, text) not in shared), "")


def usable_id(text: str) -> str:
    """A stated id as the site folder takes it: unchanged where it can be, else its slug."""
    if re.fullmatch(r"[A-Za-z0-9_.-]{1,60}", text) and text.lower() not in KINDS:
        return text
    made = slug(text)
    return "" if made in KINDS else made


def folder_levels(names: Sequence[str], folders: Sequence[str]) -> list[list[str]]:
    """Of each thing (n,) the folders that belong to its name, outermost first.

    A name that says only its kind, or that several bear, is told apart by its folder, and by those
    above where these differ. Folders that say only a kind tell apart bare numbers alone, and all
    of these where some need it: the 18 of greens 1 to 18 beside tees 1 to 17 too.
    """
    often = Counter(slug(name) for name in names)
    several = any(count > 1 and name.isdecimal() for name, count in often.items())
    parts = [
        [
            t
            for t in reversed(folder.split(" / "))
            if slug(t) and (slug(name).isdecimal() or tells(t)) and slug(t) != slug(name)
        ]
        for name, folder in zip(names, folders, strict=True)
    ]
    depth = [
        int(
            bool(p and name)
            and (often[slug(name)] > 1 or not tells(name) or (several and slug(name).isdecimal()))
        )
        for name, p in zip(names, parts, strict=True)
    ]
    raised = True
    while raised:
        raised = False
        alike: dict[tuple[str, ...], list[int]] = defaultdict(list)
        for k, name in enumerate(names):
            if depth[k]:
                alike[(slug(name), *(slug(t) for t in parts[k][: depth[k]]))].append(k)
        for rows in alike.values():
            above = {slug(t) for k in rows for t in parts[k][depth[k] : depth[k] + 1]}
            if len(above) > 1:
                raised = True
                for k in rows:
                    depth[k] = min(depth[k] + 1, len(parts[k]))
    return [p[:d][::-1] for p, d in zip(parts, depth, strict=True)]


def tells(text: str) -> bool:
    """False for a text that says only a kind: "Greens" tells nothing, "Green 7" does."""
    if any(c.isdigit() for c in text):
        return bool(slug(text))
    return bool(slug(text)) and not set(words_of(slug(text).replace("-", " "))) <= set(KINDS)


def make_ids(
    stated: Sequence[str], names: Sequence[str], folders: Sequence[str], kinds: Sequence[str]
) -> tuple[list[str], list[str]]:
    """Distinct ids (n,) and where each came from: "column", "name" or "number".

    A name that says only its kind, or that several bear, is told apart by its folders.
    """
    bases, sources = [], []
    levels = folder_levels(names, folders)
    for given, name, above, kind in zip(stated, names, levels, kinds, strict=True):
        base, source = usable_id(given), "column"
        if not base:
            telling = bool(above) or tells(name)
            base, source = slug(" ".join([*above, name])) if telling else "", "name"
        if not base or base in KINDS:
            base, source = kind, "number"
        bases.append(base)
        sources.append(source)
    ids = [""] * len(bases)
    taken: set[str] = set()
    last: Counter[str] = Counter()
    # what is only numbered comes last: else it could take the id of "Green 1"
    for k in sorted(range(len(bases)), key=lambda k: sources[k] == "number"):
        base = bases[k]
        made = f"{base}-1" if sources[k] == "number" else base
        while made.lower() in taken:
            last[base] = max(last[base], 1) + 1
            made = f"{base}-{last[base]}"
        taken.add(made.lower())
        ids[k] = made
    return ids, sources
