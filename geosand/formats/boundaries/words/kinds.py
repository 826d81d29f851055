"""Words that people and mapping programs use for kinds of surface, and what they mean here."""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Mapping
from types import MappingProxyType

from geosand.site.cells import Cell, as_text, is_blank, word_key

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
    " playing field, sport field, football field, soccer field, baseball field, athletic field,"
    " rugby field, hockey field, polo field, polo ground, cricket square, cricket table, outfield,"
    " goal mouth, goalmouth, goal area, penalty area",
    "lawn": "lawn, grass, turf, meadow, bowling green, bowl green, bowling rink, croquet lawn,"
    " croquet court, tennis lawn, race track, racetrack, sod",
    "other": "other, rough, semi rough, tree, wood, forest, scrub, building, golf course, course,"
    " boundary, driving range, driving range outfield, clubhouse, parking, hole",
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
    ("leisure", "bowling_green"): "lawn",
    ("leisure", "garden"): "lawn",
    ("leisure", "golf_course"): "other",
    ("natural", "water"): "water",
    ("natural", "wetland"): "water",
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
#: Tags by which a pitch is no turf: what it is laid with, else a game that is played on hard ground
#: or sand (the open map community's own list of values).
BARE: Mapping[str, str] = {
    "surface": "artificial_turf artificial_grass synthetic carpet asphalt concrete paved"
    " paving_stones tartan rubber acrylic decoturf hard plastic metal wood clay sand gravel"
    " fine_gravel compacted",
    "sport": "basketball volleyball beachvolleyball netball handball futsal table_tennis"
    " cricket_nets skateboard boules climbing padel pickleball roller_skating bmx",
}
KIND_COLUMNS = (
    *("kind", "surface_kind", "type", "class", "category", "feature", "feature_type", "feat_type"),
    *("fclass", "code", "surface_type", "landcover", "layer", "usage", "typ", "tipo", "soort"),
)
DBASE_NAME = 10  #: letters that a Shapefile keeps of a column's name
#: What a column "type" says of the form of a shape: of GIS files and of the open map community.
_FORMS = frozenset(("way", "relation", "node", "multipolygon", "polygon", "area", "feature"))
#: Words of other languages (German, French, Spanish, Italian, Dutch, Swedish) that can mean nothing
#: else on a sports ground, accents folded; from memory, no published source. Further ones are what
#: a table of kinds is for.
FOREIGN: Mapping[str, str] = {
    "green": "grun, gruen, puttinggrun, ubungsgrun",
    "tee": "abschlag, abschlage, aire de depart, depart, salida, area di partenza, partenza,"
    " afslag, afslagplaat, utslag, utslagsplat",
    "collar": "vorgrun, avant green, antegreen, voorgreen, forgreen",
    "fairway": "calle",
    "bunker": "sandbunker, fosse de sable, trampa de arena, bunquer, zandbunker",
    "water": "teich, weiher, bach, graben, wasser, gewasser, wasserhinderni, etang, plan d eau,"
    " obstacle d eau, ruisseau, estanque, lago, agua, obstaculo de agua, laghetto, stagno,"
    " ostacolo d acqua, vijver, sloot, waterhinderni, vatten, vattenhinder, damm",
    "path": "weg, wege, cartweg, fussweg, chemin, sentier, camino, sendero, sentiero, vialetto,"
    " voetpad, fietspad, stig",
    "pitch": "spielfeld, sportplatz, fussballplatz, terrain de football, terrain de sport,"
    " terrain de rugby, campo de futbol, cancha, campo da calcio, sportveld, voetbalveld,"
    " fotbollsplan",
    "lawn": "rasen, wiese, gazon, pelouse, cesped, prato, gra, grasveld, grasmatta",
    "other": "wald, gebaude, gebusch, baum, baume, foret, arbre, batiment, bosque, bosco, edificio",
}
#: A folder or layer of such a name holds surfaces of every kind: it tells nothing of what is in it.
HOLDERS = frozenset(("hole", "course", "golf course"))
#: Words for where a surface is: beside a kind they leave it that, as in "Hole 7 green". A course
#: is none of them: Lake Course is no water.
_WHERE = frozenset(("hole", "driving range", "clubhouse", "boundary"))
#: Kinds of which the name of a course may speak, as in forest_pond_hole_3_green.
_OF_NAMES = frozenset(("water", "lawn", "other"))
#: Words for what grows on a surface of one of these kinds: a grass pitch is a pitch, unless the
#: grass is none. "Green grass" is only green.
_GROWING = frozenset(("grass", "turf", "sod"))
_GROWN = frozenset(("green", "tee", "fairway", "approach", "collar", "surround", "pitch"))
_NO_GRASS = frozenset(
    ("artificial", "synthetic", "astro", "plastic", "fake", "rubber", "sand", "mat", "weather", "g")
)
_PHRASES = {
    phrase: kind
    for language in (FOREIGN, SYNONYMS)
    for kind, words in language.items()
    for phrase in words.split(", ")
}
_LONGEST = max(len(phrase.split()) for phrase in _PHRASES)


def folded(text: str) -> str:
    """Text in lower case without accents: "Höhe" -> "hohe"."""
    plain = text.replace("ß", "ss").replace("ø", "o").replace("Ø", "o").replace("æ", "ae")
    return unicodedata.normalize("NFKD", plain).encode("ascii", "ignore").decode().lower()


def words_of(text: str) -> list[str]:
    """Words in lower case, accents folded, plural and numbers taken off: C-GREENS_07 -> c green."""
    return [_singular(word) for word in re.findall(r"[a-z]+", folded(text))]


def _singular(word: str) -> str:
    if word in _PHRASES:
        return word
    for ending, instead in (("ches", "ch"), ("sses", "ss"), ("s", "")):
        if word.endswith(ending) and not word.endswith("ss" if ending == "s" else "\0"):
            return word[: -len(ending)] + instead
    return word


def recognise(text: str) -> str:
    """The kind that a text names, or "" where it names none or several.

    >>> recognise("GREENS"), recognise("Hole 7 green"), recognise("Green surround left")
    ('green', 'green', 'surround')
    >>> recognise("greeen"), recognise("bunker by the green")
    ('', '')
    >>> recognise("Grass football pitch"), recognise("3G turf pitch"), recognise("green grass")
    ('pitch', '', '')
    """
    words = words_of(text)
    if " ".join(words) in _PHRASES:
        return _PHRASES[" ".join(words)]
    found: set[str] = set()
    before: set[str] = set()
    where = False
    start = 0
    while start < len(words):  # longest phrases first: a green surround is no green
        for length in range(min(_LONGEST, len(words) - start), 0, -1):
            phrase = " ".join(words[start : start + length])
            if phrase in _PHRASES:
                if phrase not in _WHERE:
                    found.add(_PHRASES[phrase])
                elif phrase == "hole" and found <= _OF_NAMES:
                    before, found = found, set()
                where |= phrase in _WHERE
                start += length
                break
        else:
            start += 1
    found = found or before
    if found - {"lawn"} and _grows(found - {"lawn"}, words):
        found -= {"lawn"}
    if where and not found:
        return "other"
    return found.pop() if len(found) == 1 else ""


def _grows(found: set[str], words: list[str]) -> bool:
    """Whether words beside kinds say only that grass grows on them."""
    if not found <= _GROWN or _NO_GRASS.intersection(words):
        return False
    said = found != {"green"} or _PHRASES.get(words[-1]) == "green"
    return said and bool(_GROWING.intersection(words))


def _says_where(text: str) -> bool:
    words = f" {' '.join(words_of(text))} "
    return any(f" {phrase} " in words for phrase in _WHERE)


def likeliest(text: str) -> str:
    """The kind of the known word that a misspelt one is nearest to, or "".

    Known words that say several kinds are not misspelt.
    """
    words = words_of(text)
    if not _PHRASES.keys().isdisjoint(words):
        return ""
    near = difflib.get_close_matches(" ".join(words), list(_PHRASES), n=1, cutoff=0.7)
    return _PHRASES[near[0]] if near else ""


def _head(name: str) -> str:
    """A column's name without what parts its words: FeatureType, feature_type -> featuretype."""
    return re.sub(r"[\W_]", "", name.lower())


#: How each column of kinds can be headed, its own spelling first.
_KIND_HEADS = tuple(
    (name, cut, _head(name), _head(cut), _head(name)[:DBASE_NAME])
    for name, cut in ((name, name[:DBASE_NAME]) for name in KIND_COLUMNS)
)


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
        value = tags.get(key, "").lower()
        if (key, value) in TAGS:
            return TAGS[key, value]
        # of golf every word counts, as putting_green; a building may be of any sort
        if key == "golf" and (kind := recognise(value)):
            return kind
        if key == "building" and value not in ("", "no"):
            return "other"
    return ""


def bare_tag(attributes: Mapping[str, Cell]) -> str:
    """The tag by which a pitch is no turf, or "".

    >>> bare_tag({"sport": "tennis", "surface": "asphalt"})
    'surface=asphalt'
    >>> bare_tag({"sport": "basketball"}), bare_tag({"sport": "basketball", "surface": "grass"})
    ('sport=basketball', '')
    """
    tags = tags_of(attributes)
    if not is_blank(attributes.get("surface")):
        tags["surface"] = as_text(attributes["surface"])
    key = "surface" if tags.get("surface") else "sport"
    value = tags.get(key, "").lower()
    return f"{key}={value}" if value in BARE[key].split() else ""


def says_kind(attributes: Mapping[str, Cell]) -> str:
    """What a column whose name says kind holds, or ""."""
    return next(iter(_kind_cells(attributes)), "")


def _kind_cells(attributes: Mapping[str, Cell]) -> list[str]:
    """What the columns whose name says kind hold; the form of a shape is no kind."""
    keys = {_head(key): key for key in attributes} | {key.lower(): key for key in attributes}
    named = (next((keys[head] for head in heads if head in keys), "") for heads in _KIND_HEADS)
    cells = [as_text(attributes[key]) for key in named if key and not is_blank(attributes[key])]
    return [cell for cell in cells if word_key(cell) not in _FORMS]


def own_kind(text: str, table: Mapping[str, str]) -> tuple[str, str]:
    """The key of the user's table that a text has, also with a number behind it, and its kind.

    >>> own_kind("2101 7", {"2101": "green"}), own_kind("Abschlag", {})
    (('2101', 'green'), ('', ''))
    """
    key = word_key(text)
    keys = (key, re.sub(r"\W*\d+[a-z]?$", "", key))
    return next(((k, table[k]) for k in keys if k in table), ("", ""))


def kind_of(
    attributes: Mapping[str, Cell],
    folder: str,
    name: str,
    column: str | None,
    table: Mapping[str, str] = MappingProxyType({}),
) -> tuple[str, str]:
    """Kind of one drawn thing, and the word it was taken from; ("", word) where none is known.

    ``table`` is the user's own: word, or tag as in "golf=green", to kind; see :func:`word_key`. A
    named ``column`` alone decides. Else the first that is understood of: columns whose name says
    kind, map tags, block, folder or layer from the inside out, name.
    """

    def known(text: str) -> str:
        return own_kind(text, table)[1] or recognise(text)

    if column is not None:
        word = "" if is_blank(attributes.get(column)) else as_text(attributes[column])
        return known(word), word
    unknown = ""
    for cell in _kind_cells(attributes):
        if kind := known(cell):
            return kind, cell
        unknown = unknown or cell
    for key, value in tags_of(attributes).items() if table else ():
        if kind := table.get(word_key(f"{key}={value}"), ""):
            return kind, f"{key}={value}"
    kind = tagged_kind(attributes)
    if kind == "pitch" and (bare := bare_tag(attributes)):
        return table.get(word_key(bare), "other"), bare
    if kind:
        return kind, kind
    unknown = unknown or next((f"{k}={v}" for k, v in tags_of(attributes).items()), "")
    block = as_text(attributes["block"]) if attributes.get("block") else ""
    around = [t for text in (block, folder) for t in reversed(text.split(" / ")) if t]
    telling = [t for t in around if " ".join(words_of(t)) not in HOLDERS or word_key(t) in table]
    # "Hole 7 The Pond" is a folder of a hole: what a thing is called itself says more
    wide = [t for t in telling if _says_where(t) and not own_kind(t, table)[0]]
    other = ""
    for text in (*(t for t in telling if t not in wide), name, *wide):
        kind = known(text)
        if kind not in ("", "other") or own_kind(text, table)[0]:
            return kind, text
        other = other or (text if kind else "")  # what lies farther in may still say better
    return (
        ("other", other)
        if other and not unknown
        else ("", unknown or name or next(iter(telling), ""))
    )
