"""Drawings as inline SVG, attributes only: a page's policy needs no exception for styles."""

from __future__ import annotations

from html import escape

from geosand.columns import Floats
from geosand.reports.printable.drawing import Box, Drawing, Line, Mark, Outline, Words


def svg(drawing: Drawing, css: str = "") -> str:
    """The drawing as one ``<svg>``; ``css`` is a class that the page's style knows."""
    label = f' role="img" aria-label="{escape(drawing.said)}"' if drawing.said else ""
    label = label or ' aria-hidden="true"'
    name = f' class="{css}"' if css else ""
    body = "".join(_mark(mark) for mark in drawing.marks)
    return (
        f'<svg{name} viewBox="0 0 {_n(drawing.width)} {_n(drawing.height)}"'
        f' width="{_n(drawing.width)}pt" height="{_n(drawing.height)}pt"{label}>{body}</svg>'
    )


def _n(value: float) -> str:
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def _mark(mark: Mark) -> str:
    if isinstance(mark, Line):
        dash = _dash(mark.dash)
        return (
            f'<path d="M{_n(mark.x1)} {_n(mark.y1)}L{_n(mark.x2)} {_n(mark.y2)}"'
            f' stroke="{mark.colour}" stroke-width="{_n(mark.width)}"{dash}/>'
        )
    if isinstance(mark, Box):
        stroke = f' stroke="{mark.stroke}" stroke-width="{_n(mark.stroke_width)}"'
        return (
            f'<rect x="{_n(mark.x)}" y="{_n(mark.y)}" width="{_n(mark.width)}"'
            f' height="{_n(mark.height)}" fill="{mark.fill}"{stroke if mark.stroke else ""}/>'
        )
    return _outline(mark) if isinstance(mark, Outline) else _words(mark)


def _dash(dash: tuple[float, float] | None) -> str:
    return f' stroke-dasharray="{_n(dash[0])} {_n(dash[1])}"' if dash else ""


def _outline(mark: Outline) -> str:
    stroke = f' stroke="{mark.stroke}" stroke-width="{_n(mark.width)}"' if mark.stroke else ""
    fill = f'fill="{mark.fill}" fill-rule="evenodd"' if mark.fill else 'fill="none"'
    way = "".join(_way(points, closed=mark.closed) for points in mark.ways)
    return f'<path d="{way}" {fill}{stroke}{_dash(mark.dash)}/>'


def _way(points: Floats, *, closed: bool) -> str:
    """A ring or line in tenths of a point, as steps from its first corner."""
    corners = (points[:-1] if closed and (points[0] == points[-1]).all() else points) * 10
    whole = corners.round().astype(int)
    first, steps = whole[0].tolist(), (whole[1:] - whole[:-1]).ravel().tolist()
    text = f"M{first[0] / 10:g} {first[1] / 10:g}l" + " ".join(f"{s / 10:g}" for s in steps)
    return text.replace(" -", "-") + ("z" if closed else "")


def _words(mark: Words) -> str:
    anchor = "" if mark.anchor == "start" else f' text-anchor="{mark.anchor}"'
    bold = ' font-weight="700"' if mark.bold else ""
    halo = ' class="halo"' if mark.halo else ""
    return (
        f'<text x="{_n(mark.x)}" y="{_n(mark.y)}" font-size="{_n(mark.size)}"'
        f' fill="{mark.colour}"{anchor}{bold}{halo}>{escape(mark.text)}</text>'
    )
