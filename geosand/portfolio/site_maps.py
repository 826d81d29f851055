"""The map of each site: its file, and which files of a folder are such maps."""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from hashlib import sha256
from pathlib import Path

from geosand.formats.writing import write_whole
from geosand.portfolio.chunk import ChunkDone
from geosand.portfolio.parts import FOLDER

MAPS = "maps"
NOTED = f"{FOLDER}/maps.json"
OWN_MAP = re.compile(rf"{MAPS}/[\w~.-]+\.html", re.ASCII)
LONGEST_NAME = 180  #: letters of a map's file name before its ending


def about_to_make(names: Iterable[str], out: Path) -> set[str]:
    """Note these maps; all that this and earlier runs made, or were about to.

    Noted before any is made, so that none of a site that is gone outlives a killed run. Other
    files beside them are somebody else's.
    """
    earlier, new = _noted(out), set(names)
    if not new <= earlier:
        _note(out, earlier | new)
    return earlier | new


def clear_maps(made: set[str], names: Iterable[str], out: Path) -> None:
    """Take away the maps under names that no site has any more."""
    used = set(names)
    left = made - used
    if not left:
        return
    alike = {name.lower(): out / name for name in used}
    for name in left:
        path, other = out / name, alike.get(name.lower())
        # where capitals are small letters the two are one file
        if path.is_file() and not (other and other.is_file() and other.samefile(path)):
            path.unlink()
    _note(out, made & used)


def _noted(out: Path) -> set[str]:
    try:
        names = json.loads((out / NOTED).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return set()
    named = names if isinstance(names, list) else []
    return {name for name in named if isinstance(name, str) and OWN_MAP.fullmatch(name)}


def _note(out: Path, names: set[str]) -> None:
    write_whole(out / NOTED, json.dumps(sorted(names)).encode("utf-8"))


def write_maps(result: ChunkDone, maps: Mapping[str, str], out: Path) -> None:
    """The maps of the sites worked out now; of one that is refused no older map stays."""
    for key in [key for key in result.fingerprints if key in maps]:
        if key in result.maps:
            write_whole(out / maps[key], result.maps[key])
        else:
            (out / maps[key]).unlink(missing_ok=True)


#: What one system takes for devices, with whatever ending.
_TAKEN = {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(10))}


def map_names(keys: Sequence[str]) -> dict[str, str]:
    """The file of each site's map, no two the same where capitals are small letters.

    >>> map_names(["a", "A", "B"])
    {'a': 'maps/a~ca978112.html', 'A': 'maps/A~559aead0.html', 'B': 'maps/B.html'}
    """
    plain = {key: map_name(key) for key in keys}
    having = Counter(name.lower() for name in plain.values())
    return {key: name if having[name.lower()] == 1 else _marked(key) for key, name in plain.items()}


def _marked(key: str) -> str:
    mark = sha256(key.encode()).hexdigest()[:8]
    return f"{map_name(key).removesuffix('.html')}~{mark}.html"


def map_name(key: str) -> str:
    """The file of a site's map: its key with what no file name may hold written as ``~`` and hex.

    >>> map_name("north/Site 1")
    'maps/north~2fSite~201.html'
    >>> map_name("con"), map_name("..")  # a device of one system, hidden on others
    ('maps/~63on.html', 'maps/~2e..html')
    >>> map_name(".")  # the folder itself is a site
    'maps/~.html'
    """
    if key == ".":
        return f"{MAPS}/~.html"
    plain = "".join(
        c if c.isascii() and (c.isalnum() or c in "-_.") else f"~{ord(c):02x}" for c in key
    )
    if plain.startswith(".") or plain.partition(".")[0].lower() in _TAKEN:
        plain = f"~{ord(plain[0]):02x}{plain[1:]}"
    if len(plain) > LONGEST_NAME:
        plain = f"{plain[: LONGEST_NAME - 20]}~{sha256(key.encode()).hexdigest()[:16]}"
    return f"{MAPS}/{plain}.html"
