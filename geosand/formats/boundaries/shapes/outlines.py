"""Placed polygons to the table of outlines: kinds, names, ids, and what is to be said of them."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from geosand.columns import Geometries, take
from geosand.errors import Finding, listed
from geosand.formats.boundaries.drawn import Drawn
from geosand.formats.boundaries.place.antimeridian import uncut
from geosand.formats.boundaries.shapes.holes_of_golf import called_after_layers
from geosand.formats.boundaries.tables import Boundaries, Outlines, Tally, counted_by_kind
from geosand.formats.boundaries.words.kinds import likeliest, own_kind, recognise, words_of
from geosand.formats.boundaries.words.naming import (
    ID_COLUMNS,
    cell_of,
    clean,
    folder_levels,
    make_ids,
    name_of,
    stated_id,
)
from geosand.site.cells import quoted

_SOME = "green, tee, bunker, other or the like"
FRAMED = 2  #: of fewer surfaces one may well lie around all others
FRAMES = 3  #: largest outlines without a kind that are looked at: frames have two lines
NEARLY_ALL = 0.9  #: surfaces of a known kind that lie within a frame, more than this share
NAMES = 5  #: of several surfaces each, that are told one by one
LOOKED_AT = 200  #: things without a kind, of which columns one may say it

if TYPE_CHECKING:
    from geosand.formats.boundaries.shapes.placing import Placed
    from geosand.formats.boundaries.words.wishes import Wishes


def outlines_of(
    placed: list[Placed],
    findings: list[Finding],
    file: str,
    wishes: Wishes,
    shared: set[tuple[str, str]],
) -> Boundaries:
    """All layers' polygons as one table, with the tally. ``shared``: see :func:`shared_ids`."""
    things = [thing for layer in placed for thing in layer.drawn]
    geometry = np.concatenate([np.empty(0, dtype=object), *(layer.geometry for layer in placed)])
    elevation = np.concatenate([np.empty(0), *(layer.elevation_m for layer in placed)])
    broken = [why for layer in placed for why in layer.broken]
    words = [wishes.kind_in(file, thing) for thing in things]
    kinds = [kind or "other" for kind, _ in words]
    plain = [name_of(t.attributes, t.name, wishes.name_column) for t in things]
    above = folder_levels(plain, [t.folder for t in things])
    names = [clean(" ".join([*a, n])) for a, n in zip(above, plain, strict=True)]
    usual = [cell_of(t.attributes, wishes.id_column, ID_COLUMNS) for t in things]
    stated = usual
    if wishes.id_column is None:
        stated = [stated_id(t.attributes, shared) for t in things]
    called, said = called_after_layers(plain, stated, things, kinds, wishes)
    names = [n or c for n, c in zip(names, called, strict=True)]
    findings += [Finding(about=file, text=text, topic="area") for text in said]
    # a layer that named a thing has said all that it tells
    folders = [t.folder if p == c else "" for t, p, c in zip(things, plain, called, strict=True)]
    ids, sources = make_ids(stated, called, folders, kinds)
    findings += _kind_findings(ids, called, words, things, wishes)
    findings += _frame_findings(ids, words, geometry)
    findings += _part_findings(ids, things, geometry, wishes)
    findings += _unused_findings(usual, stated, file)
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
    return _boundaries(outlines, broken, placed, findings, file)


def _part_findings(
    ids: list[str], things: list[Drawn], geometry: Geometries, wishes: Wishes
) -> list[Finding]:
    """What became of things that have several parts: one surface, or one each."""
    findings = []
    if wishes.split_parts:
        made: dict[str, list[str]] = defaultdict(list)
        for thing, one in zip(things, ids, strict=True):
            made[thing.place].append(one)
        for place, several in made.items():
            if len(several) > 1:
                shown = ", ".join(several[:8]) + (" …" if len(several) > 8 else "")
                text = f"its {len(several)} parts are surfaces of their own: {shown} ({place})"
                findings.append(Finding(about=several[0], text=text, topic="area"))
        return findings
    counts = shapely.get_num_geometries(uncut(geometry))
    several = [f"{ids[k]} ({counts[k]})" for k in np.flatnonzero(counts > 1).tolist()]
    if several:
        shown = ", ".join(several[:8]) + (" …" if len(several) > 8 else "")
        have = "surface has" if len(several) == 1 else "surfaces have"
        text = f"{len(several)} {have} parts that lie apart: {shown}; --split-parts makes a surface"
        findings.append(Finding(about="parts", text=f"{text} of each", topic="area"))
    return findings


def _boundaries(
    everything: Outlines,
    broken: list[str],
    placed: list[Placed],
    findings: list[Finding],
    file: str,
) -> Boundaries:
    is_broken = np.array([bool(why) for why in broken], dtype=bool)
    outlines: Outlines = take(everything, np.flatnonzero(~is_broken))
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
    used = set(outlines.place.tolist())
    left_out = (replace(i, partly=i.place in used) for p in placed for i in p.left_out)
    tally = Tally(
        read=sum(p.read for p in placed),
        used=len(used),
        surfaces=len(outlines),
        by_kind=counted_by_kind(outlines.kind),
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
        broken=take(everything, np.flatnonzero(is_broken)),
        broken_why=tuple(why for why in broken if why),
    )


def _kind_findings(
    ids: list[str],
    names: list[str],
    words: list[tuple[str, str]],
    things: list[Drawn],
    wishes: Wishes,
) -> list[Finding]:
    """Kinds that were understood from another word, once a word; kinds that were not, each."""
    findings: list[Finding] = []
    taken: dict[tuple[str, ...], list[str]] = defaultdict(list)
    for made, (kind, word), thing in zip(ids, words, things, strict=True):
        if kind:
            if word and word.lower() != kind and not wishes.kind:
                taken[(kind, *(words_of(word) or [word]))].append(word)
            continue
        near = likeliest(word) if word else ""
        hint = f"; did you mean {near}?" if near else ""
        said = f"its kind {quoted(word)} is not known" if word else "it has no kind"
        text = f"{said}{hint}; it is kept as other ({thing.place})"
        findings.append(Finding(about=made, text=text, topic="area"))
    unknown = [k for k, (kind, _) in enumerate(words) if not kind]
    unsaid = [words[k][1] for k in unknown] + [names[k] for k in unknown]  # a name serves as well
    findings += _want_of_kind(unsaid, [things[k] for k in unknown])
    findings += _unlike_names(ids, words, things)
    keys = {own_kind(word, wishes.kind_words)[0] for _, word in words}
    for word in sorted(set(wishes.kind_words) - keys):
        text = f"{quoted(word)} of the table of kinds decides nothing in this file"
        findings.append(Finding(about="kinds", text=text, topic="area"))
    for (kind, *_), taken_from in list(taken.items())[:30]:
        count, different = len(taken_from), len(set(taken_from))
        more = f" and {different - 1} more like it are" if different > 1 else " is"
        text = f"{quoted(taken_from[0])}{more} taken as {kind}"
        text += f" ({count} surface{'s' * (count > 1)})"
        findings.append(Finding(about="kinds", text=text, topic="area"))
    return findings


def _frame_findings(
    ids: list[str], words: list[tuple[str, str]], geometry: Geometries
) -> list[Finding]:
    """A finding for an outline of no known kind around nearly all others: a sheet's frame."""
    known = np.array([bool(kind) for kind, _ in words], dtype=np.bool_)
    if known.sum() < FRAMED or known.all():
        return []
    west, south, east, north = shapely.bounds(geometry).T
    size = np.where(known, np.nan, (east - west) * (north - south))
    x, y = (west + east)[known] / 2, (south + north)[known] / 2
    text = (
        "it lies around nearly all others, as the frame of a sheet or the boundary of a property"
        " does: take it out of the file if it is no surface"
    )
    findings = []
    for k in np.argsort(-size)[:FRAMES].tolist():
        rings = shapely.get_exterior_ring(shapely.get_parts(geometry[k]))
        filled = shapely.multipolygons([shapely.polygons(ring) for ring in rings])
        held = shapely.contains_xy(filled, x, y)
        if not known[k] and held.mean() > NEARLY_ALL:
            findings.append(Finding(about=ids[k], text=text, topic="area"))
    return findings


def _unlike_names(
    ids: list[str], words: list[tuple[str, str]], things: list[Drawn]
) -> list[Finding]:
    """Greens by their folder or layer that are called something else.

    The other way round is usual: a bunker or a collar is called after its green.
    """
    findings = []
    for made, (kind, word), thing in zip(ids, words, things, strict=True):
        by_folder = kind == "green" and word and word in thing.folder.split(" / ")
        said = recognise(thing.name) if by_folder else kind
        if said not in ("", "other", kind):
            text = f"its name {quoted(thing.name)} says {said}, but {quoted(word)}, in which it"
            text += f" stands, {kind}: it is taken as {kind}; change its kind if the name is right"
            findings.append(Finding(about=made, text=text, topic="area"))
    return findings


def _want_of_kind(unsaid: list[str], things: list[Drawn]) -> list[Finding]:
    """How many surfaces are other only because nobody said better, and how to say it.

    ``unsaid``: their words and names, of which the first serves as the example.
    """
    if not things:
        return []
    word = next((word for word in unsaid if word), "")
    how = f"say what they are with --kind-map {quoted(word + '=KIND')}, KIND being {_SOME}, or "
    one = "1 surface is" if len(things) == 1 else f"{len(things)} surfaces are"
    text = f"{one} kept as other for want of a kind: {how if word else ''}"
    column = _telling_column(things[:LOOKED_AT])
    text += f"name the column that holds it with --kind{column and f', as in --kind {column}'}"
    return [Finding(about="kinds", text=text, topic="area")]


def _telling_column(things: list[Drawn]) -> str:
    """The column that names a kind for most of the things, quoted; "" where none does.

    Of several that with the fewest words, as names are many.
    """
    telling: dict[str, list[str]] = defaultdict(list)
    for thing in things:
        for column, cell in thing.attributes.items():
            if isinstance(cell, str) and recognise(cell):
                telling[column].append(cell)
    enough = [column for column, cells in telling.items() if 2 * len(cells) > len(things)]
    best = min(enough, key=lambda column: len(set(telling[column])), default="")
    return best and quoted(best)


def _unused_findings(usual: list[str], stated: list[str], file: str) -> list[Finding]:
    unused = [text for text, used in zip(usual, stated, strict=True) if text != used]
    share = "surface shares its id" if len(unused) == 1 else "surfaces share their id"
    ids = listed([quoted(text) for text in sorted(set(unused))], 5)
    text = f"{len(unused)} {share} with others in the file ({ids}): it is not used"
    return [Finding(about=file, text=text, topic="area")] if unused else []


def _id_findings(
    ids: list[str], sources: list[str], stated: list[str], names: list[str], file: str
) -> list[Finding]:
    findings = [
        Finding(about=made, text=f"its id in the file is {quoted(given)}", topic="area")
        for made, given in zip(ids, stated, strict=True)
        if given.strip() and made != given
    ]
    repeated: dict[str, list[str]] = defaultdict(list)
    for made, name, source in zip(ids, names, sources, strict=True):
        if name and source != "column":
            repeated[name].append(made)
    several = {name: found for name, found in repeated.items() if len(found) > 1}
    for name, found in list(several.items())[:NAMES]:
        shown = ", ".join(found[:6]) + (" …" if len(found) > 6 else "")
        text = f"{len(found)} surfaces are called {quoted(name)}: they are {shown}"
        findings.append(Finding(about=file, text=text, topic="area"))
    if len(several) > NAMES:
        text = f"{len(several) - NAMES} more names are those of several surfaces"
        findings.append(Finding(about=file, text=text, topic="area"))
    numbered = sum(
        source == "number" and not given.strip()
        for given, source in zip(stated, sources, strict=True)
    )
    if numbered:
        have = "surface has" if numbered == 1 else "surfaces have"
        text = f"{numbered} {have} no id and no telling name: numbered by kind"
        findings.append(Finding(about=file, text=text, topic="area"))
    return findings
