"""The page of plots: true to the table, readable, and quiet."""

from __future__ import annotations

import base64
import hashlib
import re
from itertools import pairwise

import pytest

from geosand.reports.power_page import LINE, Plot, apart, drawn, overthrow_plot, power_page

HOSTILE = '</style><script>document.title="ran"</script>{{ 7*7 }}'


def document(asked=()):
    """Sixteen made-up designs: what is seen halves with four times the surfaces."""
    designs = [
        {
            "surfaces": m,
            "catches_on_each": n,
            "catches": m * n,
            "overthrow_percent": 80 / m**0.5 + 0.1 * (8 - n),
            "depth_percent": 40 / n**0.5 + 5 / m,
        }
        for m in (1, 4, 16)
        for n in range(1, 9)
    ]
    return {
        "site": HOSTILE,
        "dressed_surfaces": 16,
        "from_dressings": 0,
        "sd_between_surfaces_percent": 8.0,
        "sd_between_catches_percent": 8.0,
        "shared_by_depths_percent": 3.0,
        "shared_by_balance_percent": 3.0,
        "edge_share_percent": 40.0,
        "chance": 0.8,
        "inputs": {},
        "designs": designs,
        "asked": list(asked),
    }


def places(svg, label):
    number = list(overthrow_plot(document()).curves).index(label)
    text = re.search(rf'<polyline class="curve c{number}" points="([^"]*)"', svg)[1]
    return [tuple(map(float, point.split(","))) for point in text.split()]


def test_equal_ratios_are_equal_steps():
    """80, 40 and 20 % at 1, 4 and 16 surfaces: a straight line on two logarithmic scales."""
    (x0, y0), (x1, y1), (x2, y2) = places(drawn(overthrow_plot(document())), "8 on each")
    assert x1 - x0 == pytest.approx(x2 - x1, abs=0.11)
    assert y1 - y0 == pytest.approx(y2 - y1, abs=0.11)
    assert y0 < y1  # a larger percentage stands higher


def test_goals_are_marked_at_their_height():
    asked = [{"what": "overthrow_percent", "percent": 40.0, "design": None}]
    svg = drawn(overthrow_plot(document(asked)))
    level = float(re.search(r'class="goal" d="M46 ([\d.]+)h', svg)[1])
    assert level == pytest.approx(places(svg, "8 on each")[1][1], abs=0.11)
    assert "goal" not in drawn(overthrow_plot(document()))


def test_labels_never_cover_each_other_and_keep_their_order():
    heights = [200.0, 201.0, 203.0, 100.0, 109.0, 60.0]
    moved = apart(heights)
    order = sorted(range(6), key=lambda k: heights[k])
    steps = [moved[b] - moved[a] for a, b in pairwise(order)]
    assert min(steps) >= LINE - 1e-9
    assert moved[5] == 60.0
    assert apart([]) == []


def test_labels_of_curves_that_end_low_stay_off_the_numbers_of_the_axis():
    ends = {f"{n} on each": [(1.0, 40.0), (60.0, 11.0 - n / 10)] for n in (1, 2, 4, 8)}
    svg = drawn(Plot(title="t", across="a", curves=ends))
    heights = [float(y) for y in re.findall(r'y="([\d.]+)">\d on each', svg)]
    (number,) = re.findall(r'y="(\d+)">60<', svg)
    assert len(heights) == 4
    assert max(heights) <= float(number) - 12  # letters of 12 units
    assert all(b - a >= LINE - 0.1 for a, b in pairwise(heights))


def test_one_surface_and_one_design_can_be_drawn():
    only = Plot(title="t", across="a", curves={"1 on each": [(1.0, 20.0)]})
    assert "nan" not in drawn(only)
    assert "inf" not in drawn(only)


def test_the_policy_names_the_style_and_no_script_runs():
    text = power_page(document())
    style = re.search(r"<style>(.*?)</style>", text, re.DOTALL)[1]
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', text)[1]
    assert f"style-src 'sha256-{digest}'" in policy
    assert "script-src 'none'" in policy
    assert re.findall("<script[^>]*>", text) == ['<script type="application/json" id="data">']
    assert " style=" not in text
    assert text.count('<th scope="row">') == 3
    assert power_page(document()) == text


@pytest.mark.browser
@pytest.mark.parametrize("width", [390, 1280])
def test_labels_stay_inside_their_drawings(browser_page, width):
    page = browser_page(power_page(document()), width)
    out = page.evaluate(
        "[...document.querySelectorAll('svg')].flatMap(s => { const b = s.getBoundingClientRect();"
        " return [...s.querySelectorAll('text')].map(t => t.getBoundingClientRect())"
        ".filter(t => t.left < b.left - 1 || t.right > b.right + 1 || t.bottom > b.bottom + 1); })"
    )
    assert out == []
    assert page.evaluate("document.documentElement.scrollWidth") == width


@pytest.mark.browser
def test_no_figure_of_the_table_is_folded_on_a_phone(browser_page):
    page = browser_page(power_page(document()), 390)
    heights = page.evaluate(
        "[...document.querySelectorAll('tbody td')].map(t => t.getBoundingClientRect().height)"
    )
    assert max(heights) < 40


def test_answers_come_before_what_they_rest_on():
    designs = document()["designs"]
    answers = [
        {"what": "overthrow_percent", "percent": 10.0, "design": None},
        {"what": "depth_percent", "percent": 45.0, "design": designs[0]},
    ]
    text = power_page(document(answers))
    no_design = text.index("For an overthrow of 10 % no design of this table will do")
    one_tray = text.index("For a depth to ± 45 %: 1 on one surface, 1 tray.")
    assert no_design < one_tray < text.index("<svg") < text.index("Catches on one surface scatter")
