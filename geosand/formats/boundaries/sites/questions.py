"""What is asked about doubtful boundaries, in words, and the answers that there are."""

from __future__ import annotations

from dataclasses import dataclass

from geosand.areas.crossings import METHODS
from geosand.areas.remarks import Remark
from geosand.errors import Fault, Finding
from geosand.formats.boundaries.tables import LeftOut, Outlines

#: What accepting does, by the sort of a remark; for all others it keeps the surface as drawn.
_ACCEPTED = {
    "crossing": "leaves the surface out",
    "collapsed ring": "leaves the surface out",
    "not closed": "leaves the line out",
    "duplicate": "keeps both",
    "nearly the same": "keeps both",
    "no ground": "keeps it without ground",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """What the user said about doubtful boundaries."""

    repair: bool = False
    crossings: str = next(iter(METHODS))  #: how an outline that crosses itself is mended
    accept: bool = False


def fault_of(remark: Remark, whole: Outlines, file: str, choice: Choice) -> Fault:
    """A remark that asks for a decision, with what each answer does."""
    accept = _ACCEPTED.get(remark.sort, "keeps it as drawn")
    mend = remark.mend
    if remark.sort == "crossing" and mend:
        mend = f"keeps {METHODS[choice.crossings]} (another way with --crossings)"
    remedy = f"--repair {mend}, --accept {accept}" if mend else f"--accept {accept}"
    if not mend or choice.repair:
        remedy = f"{remark.remedy}, or --accept {accept}"
    return Fault(
        file=file,
        row=str(whole.place[remark.row]),
        found=f"{whole.id[remark.row]}: {remark.text}",
        remedy=remedy,
    )


def lost_fault(item: LeftOut, file: str) -> Fault:
    name = f"{item.name}: " if item.name and item.name not in item.place else ""
    remedy = "draw it again, or --accept goes on without it"
    return Fault(file=file, row=item.place, found=f"{name}{item.reason}", remedy=remedy)


def finding_of(remark: Remark, whole: Outlines, choice: Choice) -> Finding:
    """A remark that is only told; what a repair would do where none was asked for."""
    remedy = f"{remark.remedy[0].upper()}{remark.remedy[1:]}"
    if remark.mend and not choice.repair:
        remedy = f"--repair {remark.mend}"
    text = f"{remark.text}. {remedy}"
    return Finding(about=str(whole.id[remark.row]), text=text, topic="area")
