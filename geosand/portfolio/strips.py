"""The drawing of an index that sets spreaders side by side, as SVG marks."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape

from geosand.portfolio.compare import Comparison, Row, does_not_close
from geosand.portfolio.summary import spreader_name
from geosand.reports.words import Units
from geosand.tuples import NamedTuple
from geosand.units import SHOWN

WIDE, LINE, EDGE = 520, 42, 16  #: of the drawing; names stand above their line
LONGEST = 48  #: letters of a name that the drawing holds, on a phone too, but for wide scripts
STEPS = tuple(lead * 10.0**power for power in range(-1, 12) for lead in (1, 2, 5))


def drawn_spreaders(found: Comparison) -> list[Row]:
    """Those with a strip width, or with sites that have one and are left out."""
    return [r for r in found.spreaders if r["strip_width_m"] is not None or r["left_out"]]


def strips(found: Comparison, units: Units) -> str:
    """One line a spreader: a dot for each site's strip width, a bar for all with its ± u."""
    factor, label, _ = SHOWN[units]["length"]
    rows = drawn_spreaders(found)
    known = [row for row in found.spreader_sites if row["strip_width_m"] is not None]
    scale = _Scale.of([row["strip_width_m"] * factor for row in known])
    height = LINE * len(rows) + 44
    marks = _axis(scale, height)
    for k, row in enumerate(rows):
        mine = [r for r in known if r["spreader"] == row["spreader"]]
        dots = [(r["strip_width_m"] * factor, does_not_close(r)) for r in mine]
        y = LINE * (k + 0.75)
        marks += _dots(spreader_name(row), dots, scale, y)
        if row["strip_width_m"] is not None:
            marks += _bar(row["strip_width_m"] * factor, row["u_strip_width_m"] * factor, scale, y)
    marks.append(
        f'<text class="middle" x="{WIDE / 2:.0f}" y="{height - 6}">strip width, {label}</text>'
    )
    return (
        f'<svg class="strips" viewBox="0 0 {WIDE} {height}" role="img" aria-label="Strip width of'
        f' each spreader; the table below holds the same figures">{"".join(marks)}</svg>\n'
    )


class _Scale(NamedTuple):
    """From values to places across the drawing; its ends are whole steps and hold zero."""

    low: float
    high: float
    step: float

    @classmethod
    def of(cls, values: Sequence[float]) -> _Scale:
        low, high = float(min([0.0, *values])), float(max([0.1, *values]))
        step = next(s for s in STEPS if (high - low) / s <= 8)
        return cls(step * (low // step), step * (-(-high // step)), step)

    def at(self, value: float) -> float:
        return EDGE + (value - self.low) / (self.high - self.low) * (WIDE - 2 * EDGE)


def _axis(scale: _Scale, height: int) -> list[str]:
    marks = []
    for k in range(round((scale.high - scale.low) / scale.step) + 1):
        value = scale.low + k * scale.step
        x, kind = scale.at(value), "zero" if abs(value) < scale.step / 2 else "grid"
        marks.append(f'<path class="{kind}" d="M{x:.1f} 4V{height - 40}"/>')
        marks.append(f'<text class="middle" x="{x:.1f}" y="{height - 24}">{_tick(value)}</text>')
    return marks


def _dots(name: str, dots: Sequence[tuple[float, bool]], scale: _Scale, y: float) -> Iterator[str]:
    """A spreader and its sites, a ring where they do not close."""
    told = name if len(name) <= LONGEST else name[: LONGEST - 1] + "…"
    yield f'<text y="{y - 14:.1f}">{escape(told)}</text>'
    for x, ring in sorted({(round(scale.at(value)), ring) for value, ring in dots}):
        yield f'<circle class="{"ring" if ring else "site"}" cx="{x}" cy="{y:.1f}" r="3"/>'


def _bar(middle: float, u: float, scale: _Scale, y: float) -> Iterator[str]:
    """All sites of a spreader together; an arrow where the drawing ends before the ± does."""
    ends = [min(max(scale.at(v), 2), WIDE - 2) for v in (middle - u, middle + u)]
    yield f'<path class="u" d="M{ends[0]:.1f} {y:.1f}H{ends[1]:.1f}"/>'
    for end, back in ((2, 6), (WIDE - 2, -6)):
        if end in ends:
            yield f'<path class="u" d="M{end + back} {y - 4:.1f}L{end} {y:.1f}l{back} 4"/>'
    yield f'<path class="mean" d="M{scale.at(middle):.1f} {y - 9:.1f}v18"/>'


def _tick(value: float) -> str:
    return f"{value:.10g}".replace("-", "−")
