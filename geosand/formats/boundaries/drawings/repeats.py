"""Blocks of a drawing that are inserted so often that it draws more than is ever read."""

from __future__ import annotations

from typing import Any

from geosand.errors import refused
from geosand.formats.boundaries.drawn import MAXIMUM_FEATURES

DEEPEST = 8  #: blocks in blocks


def check_repeats(document: Any, shown: str) -> None:
    """Refuse a drawing whose blocks draw more than is ever read.

    A few lines of a file may draw a block that inserts others twenty times, and so on, or a field
    of it with billions of rows: so they are counted before they are drawn.
    """
    known: dict[tuple[str, int], int] = {}

    def drawn_by(insert: Any, depth: int) -> int:
        key = (insert.dxf.get("name", ""), depth)
        block = document.blocks.get(key[0])
        if block is None or depth > DEEPEST:
            return 1
        if key not in known:
            parts = (drawn_by(e, depth + 1) if e.dxftype() == "INSERT" else 1 for e in block)
            known[key] = max(sum(parts), 1)  # to draw nothing a thousand million times takes long
        return max(int(insert.mcount), 1) * known[key]

    inserts = document.modelspace().query("INSERT")
    count = [drawn_by(insert, 1) for insert in inserts]
    if sum(count) > MAXIMUM_FEATURES:
        most = inserts[count.index(max(count))]
        raise refused(
            shown,
            f"its blocks draw {sum(count):,} things, most by INSERT {most.dxf.handle} of block"
            f" {most.dxf.name[:40]!r}",
            allowed=f"{MAXIMUM_FEATURES:,}",
            remedy="delete inserts that draw no surface, or export the layers of surfaces only",
        )
