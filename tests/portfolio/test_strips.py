"""The drawing of spreaders side by side, read back as a person reads it: by its own axis."""

from __future__ import annotations

import re

import numpy as np
import pytest

from geosand.portfolio.compare import Comparison
from geosand.portfolio.strips import strips

FOOT = 0.3048  # m, exact by definition (NIST SP 811, appendix B.6)
WIDE = 520


def comparison(sites, spreaders):
    """Of sites (spreader, width, upper end of the sum) and spreaders (name, width, u, left out)."""
    names = ("spreader", "strip_width_m", "overthrow_high_kg")
    rows = [dict(zip(names, site, strict=True)) for site in sites]
    names = ("spreader", "strip_width_m", "u_strip_width_m", "left_out")
    means = [dict(zip(names, one, strict=True)) for one in spreaders]
    return Comparison(
        sites=[],
        refused=[],
        failed=[],
        not_closing=[],
        under_dressed=[],
        under_dressed_count=0,
        spreaders=means,
        spreader_sites=rows,
        labels={},
    )


def numbers(drawing, pattern):
    return np.array(re.findall(pattern, drawing), dtype=float)


def axis_of(drawing):
    """Ticks and their places, and the way back from a place to a value."""
    found = re.findall(r'<text class="middle" x="([\d.]+)" y="[\d.]+">([−\d.]+)</text>', drawing)
    places = np.array([float(x) for x, _ in found])
    ticks = np.array([float(text.replace("−", "-")) for _, text in found])
    slope, start = np.polyfit(places, ticks, 1)
    return ticks, places, lambda x: start + slope * np.asarray(x)


@pytest.mark.parametrize(("units", "unit_m"), [("metric", 1.0), ("us", FOOT)])
@pytest.mark.parametrize(
    "widths",
    [[0.31, 0.52, 0.9], [-0.4, 0.25, 1.7], [-6.2, 3.3, 61.0], [0.02, 0.03], [-3.0, -1.0], [250.0]],
)
def test_every_mark_stands_at_its_value(widths, units, unit_m):
    sites = [("belt", w, -1.0 if w == widths[-1] else 1.0) for w in widths]
    mean, u = float(np.mean(widths)), 0.02 * max(map(abs, widths))
    found = comparison(
        [*sites, ("twin", None, 1.0)], [("belt", mean, u, 0), ("twin", None, None, 1)]
    )
    drawing = strips(found, units)
    ticks, places, value = axis_of(drawing)
    step = ticks[1] - ticks[0]
    pixel = value(1) - value(0)

    np.testing.assert_allclose(np.diff(ticks), step)
    assert 2 <= len(ticks) <= 10
    assert step / 10 ** np.floor(np.log10(step * 1.001)) == pytest.approx(int(f"{step:.0e}"[0]))
    assert f"{step:.0e}"[0] in "125"
    assert ticks[0] <= min(0, *widths) / unit_m < ticks[0] + step + 1e-9
    assert ticks[-1] - step - 1e-9 < max(0, *widths) / unit_m <= ticks[-1]
    assert places[0] > 0 and places[-1] < WIDE
    assert places[0] == pytest.approx(WIDE - places[-1], abs=0.1)  # as far from both sides

    zero = numbers(drawing, r'class="zero" d="M([\d.]+) 4V')
    grid = numbers(drawing, r'class="grid" d="M([\d.]+) 4V')
    assert len(zero) == 1 and value(zero) == pytest.approx(0, abs=0.2 * pixel)
    np.testing.assert_array_equal(np.sort([*zero, *grid]), places)

    dots = numbers(drawing, r'<circle class="(?:site|ring)" cx="(\d+)"')
    np.testing.assert_allclose(value(dots), np.sort(widths) / unit_m, atol=0.6 * pixel)
    ring = numbers(drawing, r'<circle class="ring" cx="(\d+)"')
    np.testing.assert_allclose(value(ring), [widths[-1] / unit_m], atol=0.6 * pixel)
    assert value(numbers(drawing, r'class="mean" d="M([\d.]+) ')) == pytest.approx(
        mean / unit_m, abs=0.2 * pixel
    )
    (ends,) = re.findall(r'class="u" d="M([\d.]+) [\d.]+H([\d.]+)"', drawing)
    np.testing.assert_allclose(
        value([float(x) for x in ends]),
        [(mean - u) / unit_m, (mean + u) / unit_m],
        atol=0.2 * pixel,
    )


def test_marks_stand_in_the_line_of_their_spreader_and_inside_the_drawing():
    sites = [("a", 0.3, 1.0), ("b", 0.7, 1.0), ("c", 0.5, 1.0)]
    means = [("b", 0.7, 9.0, 0), ("c", 0.5, 0.1, 0), ("", None, None, 2), ("none", None, None, 0)]
    drawing = strips(comparison(sites, [("a", 0.3, 0.1, 0), *means]), "metric")
    (height,) = numbers(drawing, rf'viewBox="0 0 {WIDE} (\d+)"')
    name_y = numbers(drawing, r'<text y="([\d.]+)"')
    dot_y = numbers(drawing, r'cy="([\d.]+)"')

    assert re.findall(r'<text y="[\d.]+">([^<]+)<', drawing) == ["a", "b", "c", "spreader not said"]
    assert len(set(np.diff(name_y))) == 1  # one line each
    assert ((dot_y > name_y[:3]) & (dot_y < name_y[1:])).all()  # a mark below its name
    assert (numbers(drawing, r'class="u" d="M[\d.]+ ([\d.]+)H') == dot_y).all()
    middle = numbers(drawing, r'class="mean" d="M[\d.]+ ([\d.]+)v18')
    np.testing.assert_allclose(middle + 9, dot_y)
    ends = re.findall(r'class="u" d="M([\d.]+) [\d.]+H([\d.]+)"', drawing)
    assert all(0 < float(x) < WIDE for pair in ends for x in pair)  # b's are cut off
    assert max(*numbers(drawing, r'[ v]y="([\d.]+)"'), *dot_y) < height
    line_end = numbers(drawing, r'class="grid" d="M[\d.]+ 4V([\d.]+)"')
    assert (line_end > dot_y.max()).all() and (line_end < height).all()


def test_what_the_drawing_has_no_room_for_is_marked():
    """An arrow where a bar is cut, an ellipsis where a name is."""
    name = "twin disc of the lower ground, bought second-hand, no. 2"
    sites = [("a", -1.9, 1.0), (name, 0.2, 1.0), ("c", 1.9, 1.0)]
    means = [("a", -1.0, 0.1, 0), (name, 0.2, 9.0, 0), ("c", 1.0, 0.2, 0)]
    drawing = strips(comparison(sites, means), "metric")
    arrows = re.findall(r'class="u" d="M[\d.]+ [\d.]+L([\d.]+) ([\d.]+)l', drawing)
    bars = re.findall(r'class="u" d="M([\d.]+) ([\d.]+)H([\d.]+)"', drawing)
    assert len(bars) == 3 and len(arrows) == 2  # of the second bar alone, at both ends
    start, y, end = map(float, bars[1])
    assert [tuple(map(float, one)) for one in arrows] == [(start, y), (end, y)]
    told = re.findall(r'<text y="[\d.]+">([^<]+)<', drawing)[1]
    assert told.endswith("…") and name.startswith(told[:-1]) and len(told) > 40
