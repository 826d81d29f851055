"""The ground beneath the surfaces: its lines, and what lies upon what."""

import re

import pytest

from geosand.mapping.page import map_page
from tests.mapping.sample_view import sample_view

pytestmark = pytest.mark.browser


@pytest.mark.parametrize("units", ["Metric", "US"])
def test_lines_of_the_ground_are_100_m_apart_as_the_one_scale_bar_tells(open_page, units):
    page = open_page()
    page.get_by_role("radio", name=units, exact=True).check()
    lines = page.locator(".leaflet-gs-ground-pane path[stroke='#b9b49f']").get_attribute("d")
    upright = sorted({float(x) for x, to in re.findall(r"M(\S+) \S+L(\S+) ", lines) if x == to})
    bar = page.locator(".leaflet-control-scale-line")
    assert bar.count() == 1
    length, unit = bar.inner_text().split()
    metres = float(length) * {"m": 1, "km": 1000, "ft": 0.3048, "mi": 1609.344}[unit]
    assert (unit in ("m", "km")) is (units == "Metric") and len(upright) > 5
    gap = (upright[-1] - upright[0]) / (len(upright) - 1)
    assert gap / bar.bounding_box()["width"] * metres == pytest.approx(100, rel=0.05)


def test_what_lies_on_a_fairway_is_drawn_upon_it(open_page):
    """Whichever comes first in the site's own order."""
    view = sample_view()
    kinds = [surface.kind for surface in view.surfaces]
    assert "fairway" in kinds and kinds.index("fairway") > kinds.index("bunker")
    page = open_page(map_page(view))
    fills = page.locator(".leaflet-gs-ground-pane path").evaluate_all(
        "(paths) => paths.map((path) => path.getAttribute('fill'))"
    )
    drawn = [fill for fill in fills if fill != "none"]
    assert drawn[:2] == ["#e9eddc", "#dde6c8"] and len(drawn) > 2
