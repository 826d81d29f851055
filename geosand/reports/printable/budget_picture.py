"""Where the uncertainty of a figure comes from: one bar a source, the largest first."""

from __future__ import annotations

from collections.abc import Sequence

from geosand.reports.documents import Document
from geosand.reports.printable.drawing import (
    FAINT,
    HAIR,
    SOFT,
    Box,
    Drawing,
    Line,
    Mark,
    Words,
)
from geosand.reports.words import MISSING, Units, shown

ROW, BAR, TOP, BOTTOM = 16.0, 8.5, 4.0, 15.0
LABELS, FIGURES = 100.0, 92.0
FILL = "#7f877a"


def budget_picture(sources: Sequence[Document], units: Units, width: float) -> Drawing:
    """Shares of the variance by source (``source``, ``u_kg``, ``share``), which sum to 1."""
    start, end = LABELS, width - FIGURES
    bottom = TOP + ROW * len(sources)
    marks: list[Mark] = []
    most = max((s["share"] for s in sources), default=1.0)
    steps = [0.25 * k for k in range(5) if 0.25 * (k - 1) < most]
    top = max(steps[-1], 0.25)
    for share in steps:
        x = start + (end - start) * share / top
        marks.append(Line(x1=x, y1=TOP, x2=x, y2=bottom, colour=FAINT if share else HAIR))
        text = f"{share * 100:.0f} %"
        marks.append(Words(x=x, y=bottom + 10, text=text, size=7, anchor="middle", colour=SOFT))
    for k, source in enumerate(sources):
        middle = TOP + ROW * (k + 0.5)
        long = (end - start) * source["share"] / top
        marks.append(Words(x=0, y=middle + 3, text=source["source"], size=8.5))
        marks.append(Box(x=start, y=middle - BAR / 2, width=max(long, 0.7), height=BAR, fill=FILL))
        for x, text in (
            (width - 54, f"{whole_percent(source['share'])} %"),
            (width, f"± {shown(source['u_kg'], 'mass', units)}"),
        ):
            marks.append(Words(x=x, y=middle + 3, text=text, size=8, anchor="end"))
    told = ", ".join(f"{s['source']} {whole_percent(s['share'])} %" for s in sources)
    return Drawing(width=width, height=bottom + BOTTOM, marks=marks, said=told or MISSING)


def whole_percent(share: float) -> str:
    """A share in whole percents; a small one is not called nothing."""
    return "< 1" if 0 < share < 0.005 else f"{share * 100:.0f}"
