"""Where metadata beside a Shapefile say that it lies: a box in degrees that may belie its .prj."""

from __future__ import annotations

from pathlib import Path

MAXIMUM_BYTES = 5_000_000
#: The box in degrees of ISO 19115 as desktop programs write it, and of FGDC-STD-001-1998, 1.5.1;
#: other boxes beside them are in the units of the grid.
_BOXES = (
    (rb"GeoBndBox", (rb"westBL", rb"southBL", rb"eastBL", rb"northBL")),
    (rb"bounding", (rb"westbc", rb"southbc", rb"eastbc", rb"northbc")),
)
_ENDS = (b">", b" ", b"\t", b"\r", b"\n")  #: of the name in a tag


def metadata_box(path: Path) -> tuple[float, ...]:
    """West, south, east and north in degrees from ``name.shp.xml`` beside a file; () = not said."""
    beside = path.with_suffix(".shp.xml")
    if not beside.is_file() or beside.stat().st_size > MAXIMUM_BYTES:
        return ()
    content = beside.read_bytes().replace(b"\0", b"")
    for name, sides in _BOXES:
        box = _inside(content, name)
        if box:
            try:
                return tuple(float(_inside(box, side)) for side in sides)
            except ValueError:
                return ()
    return ()


def _inside(content: bytes, name: bytes) -> bytes:
    """What stands in the first element of this name; b"" without one.

    By steps forward only: a pattern takes hours over a megabyte of tags that do not end.
    """
    opened = content.find(b"<" + name)
    while opened >= 0 and content[opened + len(name) + 1 : opened + len(name) + 2] not in _ENDS:
        opened = content.find(b"<" + name, opened + 1)
    begun = content.find(b">", opened) + 1 if opened >= 0 else 0
    end = content.find(b"</" + name, begun) if begun else -1
    return content[begun:end] if end >= 0 else b""
