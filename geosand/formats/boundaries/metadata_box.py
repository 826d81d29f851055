"""Where metadata beside a Shapefile say that it lies: a box in degrees that may belie its .prj."""

from __future__ import annotations

import re
from pathlib import Path

MAXIMUM_BYTES = 5_000_000
#: The box in degrees of ISO 19115 as desktop programs write it, and of FGDC-STD-001-1998, 1.5.1;
#: other boxes beside them are in the units of the grid.
_BOXES = (
    (rb"GeoBndBox", (rb"westBL", rb"southBL", rb"eastBL", rb"northBL")),
    (rb"bounding", (rb"westbc", rb"southbc", rb"eastbc", rb"northbc")),
)


def metadata_box(path: Path) -> tuple[float, ...]:
    """West, south, east and north in degrees from ``name.shp.xml`` beside a file; () = not said."""
    beside = path.with_suffix(".shp.xml")
    if not beside.is_file() or beside.stat().st_size > MAXIMUM_BYTES:
        return ()
    content = beside.read_bytes().replace(b"\0", b"")
    for name, sides in _BOXES:
        box = re.search(rb"<%s\b[^>]*>(.*?)</%s>" % (name, name), content, re.DOTALL)
        if box is None:
            continue
        found = [re.search(rb"<%s\b[^>]*>\s*([-+.\d]+)\s*<" % side, box[1]) for side in sides]
        try:
            return tuple(float(side[1]) for side in found if side is not None)
        except ValueError:
            return ()
    return ()
