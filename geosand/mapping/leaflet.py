"""Leaflet's own files, read from an installed package, so that the page needs no network.

Leaflet (BSD-2-Clause, https://leafletjs.com) is not copied into this package. The bytes that are
put into a page are held against the SHA-256 of the releases they claim to be.
"""

from __future__ import annotations

import re
from hashlib import sha256
from importlib import resources

PACKAGE, FOLDER = "xstatic.pkg.leaflet", "data"  #: where the files lie
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


def read_leaflet() -> tuple[str, str]:
    """Script and style sheet of Leaflet as installed, made ready to stand inside a page.

    Raises :class:`LeafletMissing` where it is not installed, or where the files differ from every
    known release.
    """
    problem = f"{PACKAGE} is not installed"
    try:
        folder = resources.files(PACKAGE).joinpath(FOLDER)
        script, style = (folder.joinpath(f"leaflet.{end}").read_bytes() for end in ("js", "css"))
        if (sha256(script).hexdigest(), sha256(style).hexdigest()) in RELEASES.values():
            return _inline_script(script), _inline_style(style)
        problem = f"{PACKAGE} holds files that are not Leaflet {' or '.join(RELEASES)}"
    except (ModuleNotFoundError, FileNotFoundError, NotADirectoryError):
        pass
    raise LeafletMissing(
        f"The map needs Leaflet's files, but {problem}. "
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
