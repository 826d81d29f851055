"""Words that people and mapping programs use for kinds of surface, and what they mean here."""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Mapping

from geosand.site.cells import Cell, as_text, is_blank
from geosand.site.tables import KINDS

#: Kind -> words for it, in the singular and lower case; common practice, no published source.
SYNONYMS: Mapping[str, str] = {
    "green": "green, putting green, putting surface, practice green, nursery green,"
    " chipping green, grn",
    "tee": "tee, tee box, tee ground, teeing ground, teeing area, teebox",
    "collar": "collar, fringe, green collar, green fringe, frog hair",
    "surround": "surround, green surround, greenside, green side",
    "approach": "approach, green approach, foregreen",
    "fairway": "fairway, fwy",
    "bunker": "bunker, sand trap, trap, greenside bunker, fairway bunker, green bunker,"
    " sand bunker, waste bunker, waste area, bkr",
    "water": "water, pond, lake, stream, river, ditch, water hazard, lateral water hazard, wetland,"
    " reservoir, basin",
    "path": "path, cart path, cartpath, buggy path, footway, track, footpath",
    "pitch": "pitch, sport pitch, football pitch, soccer pitch, rugby pitch, cricket pitch,"
    " playing field, sport field, football field, soccer field, baseball field, athletic field",
    "lawn": "lawn, grass, turf, meadow, bowling green, croquet lawn, tennis lawn",
    "other": "other, rough, semi rough, tree, wood, forest, scrub, building, golf course, course,"
    " boundary, driving range, clubhouse, parking, hole",
}
#: Tags of the open map community, most telling key first.
TAG_KEYS = ("golf", "leisure", "sport", "natural", "landuse", "highway", "waterway", "building")
TAGS: Mapping[tuple[str, str], str] = {
    **{("golf", k): k for k in ("green", "tee", "fairway", "bunker")},
    ("golf", "water_hazard"): "water",
    ("golf", "lateral_water_hazard"): "water",
    ("golf", "cartpath"): "path",
    ("golf", "path"): "path",
    ("golf", "rough"): "other",
    ("golf", "driving_range"): "other",
    ("golf", "hole"): "other",
    ("leisure", "pitch"): "pitch",
    ("leisure", "garden"): "lawn",
    ("leisure", "golf_course"): "other",
    ("natural", "water"): "water",
    ("natural", "sand"): "bunker",
    ("natural", "wood"): "other",
    ("natural", "scrub"): "other",
    ("landuse", "grass"): "lawn",
    ("landuse", "forest"): "other",
    ("highway", "path"): "path",
    ("highway", "footway"): "path",
    ("highway", "track"): "path",
    ("highway", "service"): "path",
}
KIND_COLUMNS = (
    *("kind", "surface_kind", "type", "class", "category", "feature", "feature_type"),
    *("code", "surface_type", "landcover", "layer", "usage"),
)
_PHRASES = {phrase: kind for kind, words in SYNONYMS.items() for phrase in words.split(", ")}
_LONGEST = max(len(phrase.split()) for phrase in _PHRASES)


def words_of(text: str) -> list[str]:
    """Words in lower case, accents folded, plural and numbers taken off: C-GREENS_07 -> c green."""
    folded = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode().lower()
    return [_singular(word) for word in re.findall(r"[a-z]+", folded)]


def _singular(word: str) -> str:
    if word in _PHRASES:
        return word
    for ending, instead in (("ches", "ch"), ("sses", "ss"), ("s", "")):
        if word.endswith(ending) and not word.endswith("ss" if ending == "s" else "\0"):
            return word[: -len(ending)] + instead
    return word


def recognise(text: str) -> str:
    """The kind that a text names, or "" where it names none or several.

    >>> recognise("GREENS"), recognise("7_green"), recognise("Green surround left")
    ('green', 'green', 'surround')
    >>> recognise("greeen"), recognise("bunker by the green")
    ('', '')
    """
    words = words_of(text)
    if " ".join(words) in _PHRASES:
        return _PHRASES[" ".join(words)]
    found: set[str] = set()
    start = 0
    while start < len(words):  # longest phrases first: a green surround is no green
        for length in range(min(_LONGEST, len(words) - start), 0, -1):
            phrase = " ".join(words[start : start + length])
            if phrase in _PHRASES:
                found.add(_PHRASES[phrase])
                start += length
                break
        else:
            start += 1
    return found.pop() if len(found) == 1 else ""


def likeliest(text: str) -> str:
    """The known word that a misspelt one is nearest to, or ""."""
    near = difflib.get_close_matches(" ".join(words_of(text)), list(_PHRASES), n=1, cutoff=0.7)
    return _PHRASES[near[0]] if near else ""


def tags_of(attributes: Mapping[str, Cell]) -> dict[str, str]:
    """Tags of the open map community: plain columns, or the text column of further tags."""
    further = attributes.get("other_tags")
    tags = dict(re.findall(r'"([^"]+)"=>"([^"]*)"', further)) if isinstance(further, str) else {}
    nested = attributes.get("tags")
    if isinstance(nested, str):
        tags |= dict(re.findall(r'"([^"]+)":\s*"([^"]*)"', nested))
    plain = {key: as_text(attributes[key]) for key in TAG_KEYS if not is_blank(attributes.get(key))}
    return tags | plain


def tagged_kind(attributes: Mapping[str, Cell]) -> str:
    """The kind that map tags say, or ""."""
    tags = tags_of(attributes)
    for key in TAG_KEYS:
        if (key, tags.get(key, "").lower()) in TAGS:
            return TAGS[key, tags[key].lower()]
    return ""


def kind_of(
    attributes: Mapping[str, Cell], folder: str, name: str, column: str | None
) -> tuple[str, str]:
    """Kind of one drawn thing, and the word it was taken from; ("", word) where none is known.

    A named ``column`` alone decides. Else the first that is understood of: columns whose name says
    kind, map tags, folder or layer from the inside out, name.
    """
    if column is not None:
        word = "" if is_blank(attributes.get(column)) else as_text(attributes[column])
        return (word.lower() if word.lower() in KINDS else recognise(word)), word
    by_lower = {key.lower(): key for key in attributes}
    unknown = ""
    for key in KIND_COLUMNS:
        cell = attributes.get(by_lower.get(key, ""))
        if not is_blank(cell):
            if kind := recognise(as_text(cell)):
                return kind, as_text(cell)
            unknown = unknown or as_text(cell)
    if kind := tagged_kind(attributes):
        return kind, kind
    other = ""
    for text in (*reversed(folder.split(" / ")), name):
        kind = recognise(text)
        if kind not in ("", "other"):
            return kind, text
        other = other or (text if kind else "")  # a folder "Hole 1" says nothing of a green in it
    return ("other", other) if other and not unknown else ("", unknown or name or folder)
