"""Placed polygons to the table of outlines: kinds, names, ids, and what is to be said of them."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from geosand.errors import Finding
from geosand.formats.boundaries.kinds import kind_of, likeliest
from geosand.formats.boundaries.naming import ID_COLUMNS, cell_of, clean, make_ids, name_of
from geosand.formats.boundaries.tables import Boundaries, Outlines, Tally
from geosand.site.cells import quoted

if TYPE_CHECKING:
    from geosand.formats.boundaries.placing import Placed, Wishes


def outlines_of(
    placed: list[Placed], findings: list[Finding], file: str, wishes: Wishes
) -> Boundaries:
    """All layers' polygons as one table, with the tally."""
    things = [thing for layer in placed for thing in layer.drawn]
    geometry = np.concatenate([np.empty(0, dtype=object), *(layer.geometry for layer in placed)])
    elevation = np.concatenate([np.empty(0), *(layer.elevation_m for layer in placed)])
    if wishes.split_parts:
        geometry, rows = shapely.get_parts(geometry, return_index=True)
        things, elevation = [things[k] for k in rows], elevation[rows]
    words = [
        (wishes.kind, "")
        if wishes.kind
        else kind_of(t.attributes, t.folder, t.name, wishes.kind_column)
        for t in things
    ]
    kinds = [kind or "other" for kind, _ in words]
    names = [name_of(t.attributes, t.name, wishes.name_column) for t in things]
    stated = [cell_of(t.attributes, wishes.id_column, ID_COLUMNS) for t in things]
    ids, sources = make_ids(stated, names, [t.folder for t in things], kinds)
    findings += _kind_findings(ids, words, [t.place for t in things], wishes)
    findings += _id_findings(ids, sources, stated, names, file)
    attributes = np.empty(len(things), dtype=object)
    attributes[:] = [dict(t.attributes) for t in things]
    outlines = Outlines(
        id=np.array(ids, dtype=np.str_),
        id_from=np.array(sources, dtype=np.str_),
        name=np.array(
            [n or clean(f"{t.folder} {i}") for n, t, i in zip(names, things, ids, strict=True)],
            dtype=np.str_,
        ),
        kind=np.array(kinds, dtype=np.str_),
        geometry=geometry,
        elevation_m=elevation,
        attributes=attributes,
        place=np.array([t.place for t in things], dtype=np.str_),
    )
    return _boundaries(outlines, placed, findings, file)


def _boundaries(
    outlines: Outlines, placed: list[Placed], findings: list[Finding], file: str
) -> Boundaries:
    moves = [(len(p.geometry), p.moved) for p in placed if p.moved is not None]
    systems = Counter[str]()
    for size, moved in moves:
        systems[moved.source_crs] += size
    source = systems.most_common(1)[0][0] if systems else ""
    if len(systems) > 1:
        text = f"its layers are in {len(systems)} reference systems; most surfaces in "
        text += repr(source[:40]) if source else "lon/lat"
        findings.append(Finding(about=file, text=text, topic="file"))
    accuracies = [moved.accuracy_m for _, moved in moves]
    worst = float(np.max(accuracies)) if accuracies else 0.0  # nan where one is not known
    notes = list(dict.fromkeys(moved.note for _, moved in moves))
    kinds = Counter(outlines.kind.tolist())
    used = set(outlines.place.tolist())
    left_out = (replace(i, partly=i.place in used) for p in placed for i in p.left_out)
    tally = Tally(
        read=sum(p.read for p in placed),
        used=len(used),
        surfaces=len(outlines),
        by_kind=tuple(sorted(kinds.items(), key=lambda item: (-item[1], item[0]))),
        left_out=tuple(left_out),
        joined=sum(p.joined for p in placed),
        labels=sum(p.labels for p in placed),
    )
    return Boundaries(
        file=file,
        features=outlines,
        source_crs=source,
        datum_accuracy_m=worst,
        datum_note="; ".join(notes),
        tally=tally,
        findings=tuple(dict.fromkeys(findings)),
    )


def _kind_findings(
    ids: list[str], words: list[tuple[str, str]], places: list[str], wishes: Wishes
) -> list[Finding]:
    """Kinds that were understood from another word, once a word; kinds that were not, each."""
    findings: list[Finding] = []
    taken: dict[tuple[str, str], int] = defaultdict(int)
    for made, (kind, word), place in zip(ids, words, places, strict=True):
        if kind:
            if word and word.lower() != kind and not wishes.kind:
                taken[word, kind] += 1
            continue
        near = likeliest(word) if word else ""
        hint = f"; did you mean {near}?" if near else ""
        said = f"its kind {quoted(word)} is not known" if word else "it has no kind"
        text = f"{said}{hint}; it is kept as other ({place})"
        findings.append(Finding(about=made, text=text, topic="area"))
    for (word, kind), count in list(taken.items())[:30]:
        text = f"{quoted(word)} is taken as {kind} ({count} surface{'s' * (count > 1)})"
        findings.append(Finding(about="kinds", text=text, topic="area"))
    return findings


def _id_findings(
    ids: list[str], sources: list[str], stated: list[str], names: list[str], file: str
) -> list[Finding]:
    findings = [
        Finding(about=made, text=f"its id in the file is {quoted(given)}", topic="area")
        for made, given, source in zip(ids, stated, sources, strict=True)
        if source == "column" and made != given
    ]
    repeated: dict[str, list[str]] = defaultdict(list)
    for made, name, source in zip(ids, names, sources, strict=True):
        if name and source != "column":
            repeated[name].append(made)
    for name, found in repeated.items():
        if len(found) > 1:
            shown = ", ".join(found[:6]) + (" …" if len(found) > 6 else "")
            text = f"{len(found)} surfaces are called {quoted(name)}: they are {shown}"
            findings.append(Finding(about=file, text=text, topic="area"))
    numbered = sources.count("number")
    if numbered:
        text = f"{numbered} surfaces have no id and no telling name: numbered by kind"
        findings.append(Finding(about=file, text=text, topic="area"))
    return findings
