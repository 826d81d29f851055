"""The table beside the map: the same as served, sorted, searched and filtered."""

import pytest

from tests.mapping.conftest import choose_view
from tests.mapping.sample_view import sample_view

pytestmark = pytest.mark.browser


def test_script_writes_the_same_table_as_python(open_page):
    read = (
        "[...document.querySelectorAll('tbody tr')].map(r => [...r.cells].map(c => c.textContent))"
    )
    still = open_page(java_script_enabled=False)
    served = [
        row.locator("th, td").all_text_contents() for row in still.locator("tbody tr").all()[:60]
    ]
    assert open_page().evaluate(read) == served


def test_headings_sort_both_ways_with_blanks_last(open_page):
    page = open_page()
    head = page.get_by_role("button", name="Depth mm", exact=True)
    shown = "[...document.querySelectorAll('tbody tr')].map(r => r.cells[5].textContent)"
    head.click()
    assert page.locator("th[aria-sort]").get_attribute("aria-sort") == "descending"
    down = [value for value in page.evaluate(shown) if value != "–"]
    assert [float(v) for v in down] == sorted(map(float, down), reverse=True)
    head.click()
    assert page.locator("th[aria-sort]").get_attribute("aria-sort") == "ascending"
    up = page.evaluate(shown)
    assert up[-4:] == ["–"] * 4
    assert [float(v) for v in up[:-4]] == sorted(map(float, down))


def test_search_and_filters_narrow_table_and_fade_map(open_page):
    page = open_page()
    rows = page.locator("tbody tr:visible")
    page.get_by_label("Search").fill("green 1")
    assert rows.count() == 10
    page.get_by_label("Search").fill("nowhere")
    assert rows.count() == 0
    assert page.locator("#gs-nothing").is_visible()
    page.get_by_label("Search").fill("")
    page.get_by_label("State").select_option("under-dressed")
    assert rows.count() == 2
    faded = page.locator('.leaflet-overlay-pane path[fill-opacity="0.15"]')
    assert faded.count() == 54


def test_past_the_edge_and_off_the_estimate_are_sorted_by_what_they_say(open_page):
    page, view = open_page(), sample_view()
    season, names = view.periods[0], {surface.id: surface.name for surface in view.surfaces}
    told = "(rows) => rows.filter(r => !r.hidden).map(r => r.cells[0].textContent.replace('▼', ''))"

    def top(theme, key):
        choose_view(page, theme)
        page.locator(f"thead th[data-c={key}] button").click()
        return page.locator(".ledger tbody tr").evaluate_all(told)[:8]

    thrown = {one: f.thrown_kg for one, f in season.surfaces.items() if f.thrown_kg}
    order = sorted(thrown, key=lambda one: -thrown[one])
    assert top("Overthrow", "share") == [names[one] for one in order[:8]]
    share = page.locator(".ledger tbody tr:visible td:visible").nth(3)
    wanted = f"{100 * thrown[order[0]] / season.thrown_kg:.1f}\u00a0%"
    assert share.text_content() == wanted
    page.get_by_label("Period").select_option(index=1)
    now = view.periods[1].surfaces
    most = max((one for one in now if now[one].thrown_kg), key=lambda one: now[one].thrown_kg)
    wanted = f"{100 * now[most].thrown_kg / view.periods[1].thrown_kg:.1f}\u00a0%"
    assert share.text_content() == wanted  # sorted anew
    page.get_by_label("Period").select_option(index=0)
    off = {}
    for caught in view.catches:
        if caught.used:
            off.setdefault(caught.surface, []).append(caught.residual)
    order = sorted(off, key=lambda one: -max(map(abs, off[one])))
    assert top("Catches", "residuals") == [names[one] for one in order[:8]]
    cell = page.locator(".ledger tbody tr:visible td:visible").nth(3)
    low, high = (round(100 * limit(off[order[0]])) for limit in (min, max))
    assert cell.text_content().replace("−", "-") == f"{low:+d} to {high:+d}"
