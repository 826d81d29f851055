"""A list of claimed areas beside the register, as a document."""

from __future__ import annotations

import re
from collections.abc import Container

import numpy as np

from geosand.areas.claimed import ClaimChecks, check_claims
from geosand.columns import Floats
from geosand.errors import Fault, Refused
from geosand.formats.boundaries.words.kinds import words_of
from geosand.formats.boundaries.words.naming import slug
from geosand.formats.claimed_areas import ClaimedAreas
from geosand.reports.documents import Document, number
from geosand.site.cells import quoted, word_key
from geosand.site.tables import Site

#: Other figures of a surface that a claim may have been: words of the hint, key of the document.
OTHERS = {
    "area as drawn, before what lies on top is cut out": "drawn_area_m2",
    "grid area of a plan": "grid_area_m2",
}


def claimed_document(
    claims: ClaimedAreas, site: Site, document: Document, file: str, tolerance: float | None
) -> Document:
    """Claims held against the register ``document``; a kind's name stands for all surfaces of it.

    The tolerance is that of the row, else ``tolerance`` (a share), else the site's. Raises Refused
    for claims that could mean several surfaces, or that name one surface twice.
    """
    places = _places(claims, document, file)
    targets = [*document["surfaces"], *(_kind(row, document) for row in document["totals"])]
    matched = np.array([place is not None for place in places], dtype=np.bool_)
    rows = [targets[place] for place in places if place is not None]
    default = site.settings.tolerance if tolerance is None else tolerance
    allowed = np.where(np.isfinite(claims.tolerance), claims.tolerance, default)[matched]
    checks = check_claims(
        claims.area_m2[matched],
        allowed,
        _column(rows, "area_m2"),
        _column(rows, "u_area_m2"),
        {words: _column(rows, key) for words, key in OTHERS.items()},
        claims.unit_m2,
    )
    labels, areas = claims.label[matched].tolist(), claims.area_m2[matched].tolist()
    return {
        "file": file,
        "surfaces": [
            _row(k, *one, checks) for k, one in enumerate(zip(labels, areas, rows, strict=True))
        ],
        "unmatched_claims": claims.label[~matched].tolist(),
        "unmatched_surfaces": _left_out(document, rows),
    }


def _kind(total: Document, document: Document) -> Document:
    """All surfaces of a kind (or ``all``), with the sum of what was drawn."""
    drawn = [
        row["drawn_area_m2"]
        for row in document["surfaces"]
        if total["kind"] in ("all", row["kind"])
    ]
    return {**total, "drawn_area_m2": sum(drawn)}


def _row(k: int, label: str, claimed_m2: float, row: Document, checks: ClaimChecks) -> Document:
    return {
        "claim": label,
        "id": row.get("id"),
        "kind": row["kind"],
        "claimed_m2": number(claimed_m2),
        "area_m2": row["area_m2"],
        "u_area_m2": row["u_area_m2"],
        "difference_m2": number(checks.difference_m2[k]),
        "difference_percent": number(checks.difference[k], 100),
        "sigmas": number(checks.sigmas[k]),
        "tolerance_percent": number(checks.tolerance[k], 100),
        "verdict": str(checks.verdict[k]),
        "hint": str(checks.hint[k]) or None,
    }


def _left_out(document: Document, rows: list[Document]) -> list[str]:
    """Ids of the surfaces that no claim is about: not by itself, not by its kind, not by all."""
    kinds = {row["kind"] for row in rows if row.get("id") is None}
    named = {row.get("id") for row in rows}
    if "all" in kinds:
        return []
    return [
        row["id"]
        for row in document["surfaces"]
        if row["id"] not in named and row["kind"] not in kinds
    ]


def _column(rows: list[Document], name: str) -> Floats:
    values = [row.get(name) for row in rows]
    return np.array([np.nan if v is None else v for v in values], dtype=np.float64)


def _kind_named(label: str, kinds: Container[str]) -> str:
    """The kind of which a label means all surfaces, or "".

    >>> [_kind_named(text, {"green", "tee"}) for text in ("Greens", "Total greens", "TEES (18)")]
    ['green', 'green', 'tee']
    >>> [_kind_named(text, {"green", "tee"}) for text in ("Tee (18)", "Practice green", "Total")]
    ['', '', '']
    """
    if word_key(label) in kinds:
        return word_key(label)
    text = re.sub(r"(?<=[sS])\s*\([0-9]+\)\s*$", "", label)  # how many they are
    words = [word for word in words_of(text) if word not in ("all", "total")]
    one = len(words) == 1 and words[0] in kinds and not re.search("[0-9]", text)
    return words[0] if one else ""


def _places(claims: ClaimedAreas, document: Document, file: str) -> list[int | None]:
    """For each claim its row among surfaces and totals: by id, by kind, by name; None = unknown.

    A name need not be that of the site's file where it makes the same id: "Green 6" is green-6.
    """
    surfaces = document["surfaces"]
    exact = {row["id"]: k for k, row in enumerate(surfaces)}
    kinds = {row["kind"]: len(surfaces) + k for k, row in enumerate(document["totals"])}
    names: dict[str, list[int]] = {}
    slugs: dict[str, list[int]] = {}
    for k, row in enumerate(surfaces):
        for key in {word_key(row["name"]), word_key(row["id"])}:
            names.setdefault(key, []).append(k)
        slugs.setdefault(slug(row["id"]), []).append(k)
    places: list[int | None] = []
    faults: list[Fault] = []
    taken: dict[int, str] = {}
    for row, label in zip(claims.row.tolist(), claims.label.tolist(), strict=True):
        found = [exact[label]] if label in exact else names.get(word_key(label), [])
        if not found and (kind := _kind_named(label, kinds)):
            found = [kinds[kind]]
        found = found or slugs.get(slug(label), [])
        if len(found) > 1:
            several = ", ".join(surfaces[k]["id"] for k in found)
            text = f"{quoted(label)} is the name of {several}"
            faults.append(Fault(file=file, row=row, found=text, remedy="give the id instead"))
        place = found[0] if len(found) == 1 else None
        if place is not None and place in taken:
            text = f"{quoted(label)} and {quoted(taken[place])} are the same surface"
            faults.append(Fault(file=file, row=row, found=text, remedy="keep one of the two"))
        if place is not None:
            taken.setdefault(place, label)
        places.append(place)
    if faults:
        raise Refused(faults)
    return places
