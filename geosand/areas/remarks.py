"""One thing that a look at drawn boundaries found: which surface, where, how large, what to do."""

from __future__ import annotations

from geosand.tuples import NamedTuple

NOT_KNOWN = float("nan")


class Remark(NamedTuple):
    """One fault (must be decided before the boundary is used) or finding (worth knowing).

    The rule: a **fault** is where the area depends on a choice that nobody has made (an outline
    that crosses itself, a surface drawn twice) or where a surface would be lost (no outline, no
    ground of its own, a place that can not be). All else is a finding: the figure is the same
    whatever is done, or the rule of precedence says who owns the ground. An import writes nothing
    while there is a fault, unless the user said to repair it or to accept it as it is.
    """

    row: int  #: of the surface
    severity: str  #: "fault" or "finding"
    text: str
    remedy: str
    sort: str = ""  #: one word or two for what it is: ``crossing``, ``spike``, ``gap`` …
    place: tuple[float, float] = (NOT_KNOWN, NOT_KNOWN)  #: longitude and latitude in degrees
    size_m2: float = NOT_KNOWN  #: of the ground in question
    mend: str = ""  #: what a repair does to it, as in ``deletes the repeats``; "" = nothing
    other: int = -1  #: row of the other surface in question


def at(longitude_deg: float, latitude_deg: float) -> str:
    """A place in words, to a centimetre: seven decimals of a degree."""
    return f"lon {longitude_deg:.7f}, lat {latitude_deg:.7f}"


def square_metres(size_m2: float) -> str:
    """An area in words: to 0.1 m² from 10 m² on, to 0.01 m² below."""
    return f"{size_m2:.1f} m²" if abs(size_m2) >= 10 else f"{abs(size_m2):.2f} m²"
