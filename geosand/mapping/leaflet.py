"""Leaflet's own files, read from an installed package, so that the page needs no network.

Leaflet (BSD-2-Clause, https://leafletjs.com) is not copied into this package. The bytes that are
put into a page are held against the SHA-256 of the releases they claim to be.
"""

from __future__ import annotations

import re
from hashlib import sha256
from importlib import resources
from importlib.resources.abc import Traversable

from geosand.columns import frozen

#: Where the files may lie: module, folder inside it.
PACKAGES = (("xstatic.pkg.leaflet", ("data",)), ("js_lib_leaflet", ("static", "js_lib_leaflet")))
#: SHA-256 of leaflet.js and leaflet.css as published on the npm registry.
RELEASES = {
    "1.9.3": (
        "5819285cec137b229c94e1ee5ad73e8b6b84345a4367d60f75fe477fe0fb7b03",
        "90b693d86392a4779c861b28cf307e7e59c3fb35328c4d8b95f58f814d38c722",
    ),
    "1.9.4": (
        "db49d009c841f5ca34a888c96511ae936fd9f5533e90d8b2c4d57596f4e5641a",
        "a7837102824184820dfa198d1ebcd109ff6d0ff9a2672a074b9a1b4d147d04c6",
    ),
}


class LeafletMissing(RuntimeError):
    """No usable copy of Leaflet is installed; the text says what was looked for and what to do."""


@frozen
class Leaflet:
    """Script and style sheet, made ready to stand inside a page."""

    version: str
    script: str
    style: str


def read_leaflet() -> Leaflet:
    """Read, check and prepare Leaflet from the first installed package that carries it.

    Raises :class:`LeafletMissing` where none is installed, or where the files differ from every
    known release.
    """
    tried = []
    for module, folders in PACKAGES:
        try:
            folder = resources.files(module).joinpath(*folders)
            script = folder.joinpath("leaflet.js").read_bytes()
            style = folder.joinpath("leaflet.css").read_bytes()
        except (ModuleNotFoundError, FileNotFoundError, NotADirectoryError):
            tried.append(f"{module} is not installed")
            continue
        found = (sha256(script).hexdigest(), sha256(style).hexdigest())
        for version, known in RELEASES.items():
            if found == known:
                return Leaflet(
                    version=version, script=_inline_script(script), style=_inline_style(style)
                )
        tried.append(f"{module} holds files that are not Leaflet {' or '.join(RELEASES)}")
    raise LeafletMissing(
        f"The map needs Leaflet's files, but {'; '.join(tried)}. "
        'Install them with: pip install "XStatic-Leaflet>=1.9.3,<2"'
    )


def _inline_script(script: bytes) -> str:
    # A source-map line would make developer tools ask for a file that is not there.
    text = script.decode("utf-8").replace("\r\n", "\n")
    return re.sub(r"\n//# sourceMappingURL=\S*\s*$", "\n", text)


def _inline_style(style: bytes) -> str:
    # No default marker and no collapsed layer control is used, so their images are not needed.
    text = style.decode("utf-8").replace("\r\n", "\n")
    text = re.sub(r"/\*.*?\*/\s*", "", text, flags=re.DOTALL)
    text = re.sub(r"url\(images/[^)]*\)", "none", text)
    return re.sub(r"\s*behavior:\s*url\([^)]*\);", "", text)


def own_asset(name: str) -> str:
    """The text of one of the package's own page files, such as ``map.js``."""
    return package_file("assets", name).read_text(encoding="utf-8").replace("\r\n", "\n")


def package_file(*parts: str) -> Traversable:
    """A file that lies inside this package."""
    return resources.files("geosand.mapping").joinpath(*parts)
