"""The two drawings of a card: depth adding up, and where the sand lies."""

from itertools import pairwise

import pytest

from geosand.mapping.page import map_page
from tests.mapping.conftest import card, press_row
from tests.mapping.sample_view import few, sample_view

pytestmark = pytest.mark.browser


def geometry(svg):
    """Of a chart of 250 by 132: bars, lines and words, each with where it lies."""
    return svg.evaluate(
        """(svg) => { const all = (css) => [...svg.querySelectorAll(css)].map((node) => {
          const { x, y, width, height } = node.getBBox();
          return { x, y, width, height, text: node.textContent, css: node.className.baseVal }; });
        return { bars: all("rect.new"), rules: all("path.rule"), words: all("text"),
          foot: all("path.foot")[0].y, target: all("path.target") }; }"""
    )


def test_the_chart_adds_up_depths_to_one_scale(open_page):
    """Bar upon bar, each as high as its depth is against the target and the figures beside it."""
    page, (season, *dressings) = open_page(), sample_view().periods
    press_row(page, "Green 3")
    chart = card(page).locator("figure")
    depths = [p.surfaces["3"].depth_m for p in dressings]
    measured = [depth for depth in depths if depth is not None]
    high = season.surfaces["3"].high_m
    for units, per_m in (("Metric", 1000), ("US", 1 / 0.0254)):
        page.get_by_role("radio", name=units, exact=True).check()
        found = geometry(chart.locator("svg"))
        per_metre = sum(bar["height"] for bar in found["bars"]) / sum(measured)
        assert [b["height"] for b in found["bars"]] == pytest.approx(
            [per_metre * depth for depth in measured], abs=0.02
        )
        below = found["foot"]
        for bar in found["bars"]:
            assert bar["y"] + bar["height"] == pytest.approx(below, abs=0.01)
            below = bar["y"]
        target = season.surfaces["3"].target_so_far_m
        assert found["foot"] - found["target"][0]["y"] == pytest.approx(
            per_metre * target, abs=0.02
        )
        assert found["foot"] - per_metre * high > 4  # the figure above a bar has room too
        figures = [word for word in found["words"] if word["css"] == "end"]
        assert 2 <= len(figures) == len(found["rules"]) <= 4
        for figure_, rule in zip(figures, found["rules"], strict=True):
            told = float(figure_["text"]) / per_m
            assert found["foot"] - rule["y"] == pytest.approx(per_metre * told, abs=0.02)
            assert abs(figure_["y"] + figure_["height"] / 2 - rule["y"]) < 3
        unit = {"Metric": "mm", "US": "in"}[units]
        caption = f"Depth adding up, {unit}; dashes: target so far"
        assert chart.locator("figcaption").text_content() == caption
    under = [w["text"] for w in found["words"] if w["css"] != "end" and w["text"] != "?"]
    assert under == ["d1", "d2", "d3", "d4", "d5", "d6"]
    assert [w["text"] for w in found["words"]].count("?") == 1  # d5 was not measured
    # the bar of the dressing that is shown is told from the others
    page.get_by_label("Period").select_option(index=3)
    now = [bar["css"].split() for bar in geometry(chart.locator("svg"))["bars"]]
    assert [("now" in css) for css in now] == [False, False, True, False, False]


def test_what_a_dressing_left_out_is_no_question_in_the_chart(open_page):
    page = open_page()
    press_row(page, "Green 7")  # far behind its target, which stays in sight
    assert geometry(card(page).locator("figure svg"))["target"][0]["y"] > 4
    press_row(page, "Tee 3 front")  # in d2, d4, d6; of d5 nobody knows
    words = geometry(card(page).locator("figure svg"))["words"]
    assert [w["text"] for w in words].count("?") == 1
    off = [w["text"] for w in words if w["css"] == "off"]
    assert off == ["d1", "d3", "d5"]


def test_a_long_season_has_words_under_its_chart_that_lie_apart(open_page):
    page = open_page(map_page(few(sample_view(dressings=30), ("1", "3"))))
    press_row(page, "Green 3")
    found = geometry(card(page).locator("figure svg"))
    words = [word for word in found["words"] if word["css"] != "end" and word["text"] != "?"]
    assert [int(word["text"]) for word in words] == list(range(1, 31, 30 // (len(words) - 1)))[
        : len(words)
    ]
    assert all(a["x"] + a["width"] < b["x"] for a, b in pairwise(words))
    assert words[-1]["x"] + words[-1]["width"] <= 250
    assert min(bar["width"] for bar in found["bars"]) > 2


def test_the_bar_of_a_card_parts_sand_that_landed_from_sand_thrown_over(open_page):
    page, season = open_page(), sample_view().periods[0]
    press_row(page, "Green 3")
    bar = card(page).locator("svg.where-bar")
    ends = "(one) => { const { x, width } = one.getBBox(); return [x, x + width]; }"
    landed, gap = (bar.locator(f".{part}").evaluate(ends) for part in ("landed", "gap"))
    now = season.surfaces["3"]
    whole = now.mass_kg + now.thrown_kg
    assert landed == pytest.approx([0, 250 * now.mass_kg / whole], abs=0.01)
    assert gap == pytest.approx([landed[1], 250], abs=0.01)
    press_row(page, "Tee 3 front")
    assert bar.count() == 0 and card(page).locator(".thrown").count() == 0
