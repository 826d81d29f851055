"""Every figure on the page against the JSON documents, rounded half up by exact decimals."""

from __future__ import annotations

import re
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest

from geosand.formats.site_folder import read_site
from geosand.mapping.encoding import (
    STEPS,
    encode_column,
    encode_differences,
    whole_steps,
)
from geosand.mapping.fill import map_view
from geosand.mapping.page import map_page
from geosand.mapping.words import UNITS, as_script, figure, percent, signed
from geosand.reports.area_rows import area_rows
from geosand.reports.balance_document import balance_document
from geosand.reports.catch_rows import catch_rows
from geosand.reports.season_document import season_balance, season_document
from geosand.results import work_out
from tests.mapping.conftest import next_picture
from tests.sites import catch

#: NIST SP 811 (2008), B.8: inch, pound (avoirdupois), foot, all exact
INCH_MM, POUND_KG, FOOT_M = Fraction("25.4"), Fraction("0.45359237"), Fraction("0.3048")
#: quantity -> from the documents' unit (mm, kg, m², m, kg/m²) to what is shown, and its decimals
SHOWN = {
    "metric": {"mm": (1, 2), "kg": (1, 0), "m2": (1, 0), "m": (1, 2), "kg_m2": (1, 2)},
    "us": {
        "mm": (1 / INCH_MM, 3),
        "kg": (1 / POUND_KG, 0),
        "m2": (1 / FOOT_M**2, 0),
        "m": (1 / FOOT_M, 1),
        "kg_m2": (1000 * FOOT_M**2 / POUND_KG, 0),
    },
}
RADIO = {"metric": "Metric", "us": "US"}


def rounded(value, factor, decimals):
    """The text of an exact product; None for what lies on a tie to the documents' nine digits."""
    exact = abs(Fraction(repr(value)) * factor) * 10**decimals
    if abs(exact % 1 - Fraction(1, 2)) < exact * Fraction(1, 10**8):
        return None
    whole = int(exact + Fraction(1, 2))
    text = f"{Decimal(whole).scaleb(-decimals):,.{decimals}f}".replace(",", "\u202f")
    return ("−" if value < 0 and whole else "") + text


class Held:
    """Texts of the page beside figures of the documents; counts those that were compared."""

    def __init__(self, system):
        self.system, self.count, self.differ = system, 0, []

    def see(self, text, value, quantity, about):
        wanted = "–" if value is None else rounded(value, *SHOWN[self.system][quantity])
        self.count += wanted is not None
        if wanted not in (None, text):
            self.differ.append((about, text, wanted))

    def see_range(self, text, low, high, quantity, about):
        if low is None:
            return self.see(text, None, quantity, about)
        for part, value in zip(re.split(" to |–", text), (low, high), strict=True):
            self.see(part, value, quantity, about)
        return None


@pytest.fixture(scope="module")
def results(demo):
    return demo


@pytest.fixture(scope="module")
def text(results):
    return map_page(map_view(results, "metric"))


TABLE = """() => Object.fromEntries([...document.querySelectorAll("tbody tr")].map((row) =>
  [row.cells[0].textContent.replace("▼", ""), Object.fromEntries([...document.querySelectorAll(
    "thead th")].map((head, i) => [head.dataset.c || "name", row.cells[i].textContent]))]))"""


def table_of(page, results):
    """The table's cells by id of surface and key of column."""
    names = dict(zip(results.site.surfaces.name, results.site.surfaces.id, strict=True))
    return {names[name]: row for name, row in page.evaluate(TABLE).items()}


@pytest.mark.browser
@pytest.mark.parametrize("system", ["metric", "us"])
def test_every_figure_is_that_of_the_documents(open_page, results, text, system):
    page, held = open_page(text), Held(system)
    page.get_by_role("radio", name=RADIO[system], exact=True).check()
    page.get_by_role("radio", name="Areas").check()  # fills every row
    areas = {row["id"]: row for row in area_rows(results.site, results.areas)}
    season = season_document(results)["surfaces"]
    for name, row in table_of(page, results).items():
        held.see(row["area"], areas[name]["area_m2"], "m2", name)
        held.see(row["u_area"], areas[name]["u_area_m2"], "m2", name)
    _season(held, table_of(page, results), [r for r in season if "around" not in r])
    _account(held, page.locator(".account > div"), season_balance(results), "season")
    for k, dressing in enumerate(balance_document(results)["dressings"]):
        page.get_by_label("Period").select_option(index=k + 1)
        _dressing(held, table_of(page, results), dressing)
        _account(held, page.locator(".account > div"), dressing, dressing["dressing"])
    assert held.differ == []
    assert held.count > 900


def _season(held, table, rows):
    for row in rows:
        cells = table[row["id"]]
        for key in ("depth", "shortfall", "target"):
            value = row[{"target": "target_so_far_mm"}.get(key, f"{key}_mm")]
            if row["dressings"]:
                held.see(cells[key], value, "mm", row["id"])
        if row["dressings"]:
            held.see_range(cells["range"], row["low_mm"], row["high_mm"], "mm", row["id"])


def _dressing(held, table, dressing):
    for row in dressing["surfaces"]:
        cells, about = table[row["id"]], (dressing["dressing"], row["id"])
        held.see(cells["depth"], row["depth_mm"], "mm", about)
        held.see(cells["mass"], row["mass_kg"], "kg", about)
        held.see_range(cells["range"], row["low_mm"], row["high_mm"], "mm", about)
        for zone in ("collar", "surrounds"):
            if row[f"{zone}_mm"]:
                held.see(cells[f"{zone}_depth"], row[f"{zone}_mm"], "mm", about)
                held.see(cells[f"{zone}_mass"], row[f"{zone}_kg"], "kg", about)


def _account(held, block, dressing, about):
    on, over, spread = dressing["on_surfaces"], dressing["overthrow"], dressing["spread"]
    if on["mass_kg"] is None or spread["mass_kg"] is None:
        assert "ot measured" in block.inner_text()
        return
    figures = block.locator("dd b").all_text_contents()
    for found, part in zip(figures, (spread, on, over), strict=True):
        held.see(found, part["mass_kg"], "kg", about)
    doubt, *ranges = block.locator("dd span").all_text_contents()
    held.see(doubt.removeprefix("± "), spread["u_kg"], "kg", about)
    for found, part in zip(ranges, (on, over), strict=True):
        limits = found.removeprefix("95\u00a0% ").split(" · ")[0]
        held.see_range(limits, part["low_kg"], part["high_kg"], "kg", about)
    _bar(block.locator("svg.bar"), spread["mass_kg"], on)
    told = " ".join(block.locator(".where").all_text_contents())
    for zone in ("collar", "surrounds", "farther"):
        if over.get(f"{zone}_kg") is not None:
            held.see(re.search(zone + " ([^\u00a0]*)", told)[1], over[f"{zone}_kg"], "kg", zone)
    for words, key in (("strip ", "strip_width_m"), ("Reach ", "reach_m")):
        if over.get(key) is not None:
            held.see(re.search(words + "([^\u00a0]*)", told)[1], over[key], "m", words)


def _bar(bar, spread_kg, on):
    """400 wide: what landed, the gap or the excess up to the mark of the spread, the interval."""
    unit = 400 / max(spread_kg, on["high_kg"])
    landed, gap = (
        float(bar.locator(f".{name}").get_attribute("width")) for name in ("landed", "gap")
    )
    assert landed == pytest.approx(unit * on["mass_kg"], abs=0.06)
    assert gap == pytest.approx(max(unit * (spread_kg - on["mass_kg"]), 0), abs=0.12)
    mark = re.fullmatch(r"M([\d.]+) 1v24", bar.locator(".mark").get_attribute("d"))
    assert float(mark[1]) == pytest.approx(unit * spread_kg, abs=0.06)
    ends = re.fullmatch(r"M([\d.]+) 13H([\d.]+)M.*", bar.locator(".whisker").get_attribute("d"))
    limits = [unit * max(on[end], 0) for end in ("low_kg", "high_kg")]
    assert [float(end) for end in ends.groups()] == pytest.approx(limits, abs=0.06)


@pytest.mark.browser
@pytest.mark.parametrize("system", ["metric", "us"])
def test_every_catch_is_that_of_the_rows(open_page, results, text, system):
    page, held = open_page(text), Held(system)
    found = page.evaluate(
        """(system) => {
          const page = geosand.site(JSON.parse(document.getElementById("gs-data").textContent));
          page.units = system;
          return page.catches.map((c) => ({ id: c.id, period: page.periodAt(c.period).key,
            surface: c.surface < 0 ? null : page.surfaces[c.surface].id, used: Boolean(c.used),
            depth: page.show(c.depth, "depth"), rate: page.show(c.rate, "rate"),
            at: [c.at.lng, c.at.lat],
            residual: c.residual === null ? null : geosand.signed(100 * c.residual) }));
        }""",
        system,
    )
    rows = catch_rows(results)
    for told, row in zip(found, rows, strict=True):
        assert [told[k] for k in ("id", "period", "surface", "used")] == [
            row[k] for k in ("catch", "dressing", "surface", "used")
        ]
        assert told["at"] == pytest.approx([row["lon"], row["lat"]], abs=6e-8)
        held.see(told["depth"], row["depth_mm"], "mm", row["catch"])
        held.see(told["rate"], row["rate_kg_m2"], "kg_m2", row["catch"])
        assert (told["residual"] is None) == (row["residual_percent"] is None)
        if row["residual_percent"] is not None:
            wanted = rounded(row["residual_percent"], 1, 0)
            assert told["residual"].lstrip("+") == wanted
    assert held.differ == []
    assert held.count > 400


@pytest.fixture
def with_parts(site_folder):
    """Its loads name their surfaces: one part threw sand over, all of them did not."""
    catches = [catch(k, gross_g=150) for k in range(1, 7)]
    head = "load,dressing,count,unit_mass_kg,u_unit_mass_kg,u_label_percent,surfaces"
    loads = f"{head}\nL1,D1,18,25,0.25,1,g1\nL2,D1,20,25,0.25,1,g2\n"
    return work_out(read_site(site_folder(catches=catches, loads=loads)))


@pytest.mark.browser
def test_a_dressing_whose_parts_threw_sand_over_says_so(open_page, with_parts):
    page = open_page(map_page(map_view(with_parts, "metric")))
    page.get_by_label("Period").select_option(index=1)
    block = page.locator(".account > div")
    assert block.locator(".where").inner_text().startswith("Where its parts threw sand over: ")
    assert block.locator(".verdict").inner_text() == "does not close"
    assert block.locator("rect.gap").get_attribute("width") in ("0", "0.0")


@pytest.mark.browser
def test_a_card_tells_sand_in_holes_of_surfaces_that_had_some(open_page, text, results):
    page, surfaces = open_page(text), results.site.surfaces
    names = dict(zip(surfaces.id, surfaces.name, strict=True))
    holes = {row["id"]: row.get("in_holes_mm") for row in season_document(results)["surfaces"]}
    with_holes = next(one for one, depth in holes.items() if depth)
    for one, wanted in ((with_holes, "In holes{}\u00a0mmof the depth"), ("bowls", None)):
        button = page.get_by_role("button", name=names[one], exact=True)
        page.get_by_role("rowheader").locator(button).click()
        lines = page.locator(".leaflet-popup .card .figures tr").all_text_contents()
        told = [line for line in lines if line.startswith("In holes")]
        assert told == ([wanted.format(rounded(holes[one], 1, 2))] if wanted else [])


def test_without_scripts_the_season_is_told_in_words(text, results):
    season = season_balance(results)
    told = text.split("<noscript><h2>Whole season</h2>")[1].split("</noscript>")[0]
    for part, name in (("spread", "Spread"), ("on_surfaces", "on surfaces"), ("overthrow",) * 2):
        assert f"{name} {rounded(season[part]['mass_kg'], 1, 0)}\u00a0kg" in told
    limits = [rounded(season["overthrow"][f"{end}_kg"], 1, 0) for end in ("low", "high")]
    assert f"(95\u00a0% {'–'.join(limits)})." in told


#: All words in sight, those of pictures too; hidden ones are left out.
WORDS = """() => { const found = [], all = document.createTreeWalker(document.body, 4);
  while (all.nextNode()) { const { data, parentElement: node } = all.currentNode;
    if (data.trim() && !node.closest("script, noscript") && node.checkVisibility())
      found.push((node.closest("li, p, td, th, dd") || node).innerText || data); }
  document.querySelectorAll("[aria-label]").forEach((node) => {
    if (node.checkVisibility()) found.push(node.getAttribute("aria-label")); });
  return found; }"""
METRIC = re.compile(r"\b(mm|kg|m²|kg/m²|g/cm³|m)(?![\w²³/])")
US = re.compile(r"\b(in|lb|ft|ft²|lb/1000 ft²)(?![\w²])")


@pytest.mark.browser
def test_every_text_changes_its_units_and_back(open_page, text):
    page, seen = open_page(text), 0
    page.locator(".findings summary").click()

    def switched():
        texts = []
        for radio in ("US", "Metric", "US", "Metric"):
            page.get_by_role("radio", name=radio, exact=True).check()
            next_picture(page)
            texts.append(page.evaluate(WORDS))
        assert texts[0] == texts[2] and texts[1] == texts[3]
        for told in texts[0]:
            # a finding has what somebody measured in metric units, and the same in the reader's
            assert US.search(told) or not METRIC.search(told), told
        return sum(a != b for a, b in zip(texts[0], texts[1], strict=False))

    for period in (0, 5):
        page.get_by_label("Period").select_option(index=period)
        for view in ("Depth", "Shortfall", "Overthrow", "Catches", "Areas"):
            page.get_by_role("radio", name=view, exact=True).check()
            seen += switched()
        page.get_by_role("radio", name="Depth", exact=True).check()
        page.get_by_role("rowheader").get_by_role("button", name="Green 3", exact=True).click()
        lists = page.locator(".card details")
        if lists.count():
            lists.locator("summary").click()
        seen += switched()
        assert page.locator(".card details[open]").count() == lists.count()
        page.keyboard.press("Escape")
        if page.locator("path.gs-catch").count():
            page.locator("path.gs-catch").first.click(force=True)
            seen += switched()
            page.keyboard.press("Escape")
    assert seen > 500


def decoded(text):
    """A column read back, character by character; None for a blank."""
    values, value, shift, last = [], 0, 0, 0
    for letter in text:
        if letter == " ":
            values.append(None)
            continue
        part = ord(letter) - 63
        value |= (part & 31) << shift
        shift += 5
        if part < 32:
            last += ~(value >> 1) if value & 1 else value >> 1
            values.append(last)
            value = shift = 0
    return values


def test_columns_come_back():
    random = np.random.default_rng(5)
    whole = random.integers(-(10**9), 10**9, 200).tolist()
    for k in (3, 4, 90):
        whole[k] = None
    assert decoded(encode_column(whole)) == whole
    assert encode_column([]) == encode_column([None, None]) == ""
    assert decoded(encode_column([None, 7, None])) == [None, 7]
    assert encode_differences(np.array([], dtype=np.int64)) == []


@pytest.mark.parametrize("quantity", ["depth", "mass", "area", "length", "rate"])
def test_steps_read_as_the_figures_themselves(quantity):
    """Also within a step of a tie in either system, but where a tie of the other is as near."""
    random = np.random.default_rng(11)
    size = {"depth": 0.009, "mass": 9000.0, "area": 900.0, "length": 5.0, "rate": 12.0}[quantity]
    values = random.uniform(-size, size, 3000).tolist()
    for units in UNITS.values():
        factor, _, decimals = units[quantity]
        ties = (random.integers(1, 500, 1000) + 0.5) / 10**decimals / factor
        values += (ties + random.uniform(-1.5, 1.5, 1000) * STEPS[quantity]).tolist()
    differ = 0
    for k, (value, whole) in enumerate(zip(values, whole_steps(values, quantity), strict=True)):
        held = whole * STEPS[quantity]
        assert abs(held - value) <= 2 * STEPS[quantity]
        pairs = [[figure(x, quantity, s) for s in UNITS] for x in (held, value)]
        assert pairs[0] == pairs[1] or k >= 3000
        differ += pairs[0] != pairs[1]
    assert differ <= 10


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(
    ("quantity", "system", "most"),
    [
        ("depth", "metric", 12),
        ("depth", "us", 0.5),
        ("area", "metric", 80_000),
        ("mass", "us", 9e4),
    ],
)
def test_halves_are_rounded_by_the_script_as_in_tables(quantity, system, most, sign):
    """Also those that nine digits do not tell from them: 7.595 mm are 7.60, as floats 7.59."""
    random = np.random.default_rng(13)
    factor, _, decimals = UNITS[system][quantity]
    halves = (random.integers(1, most * 10**decimals, 2000) + 0.5) / 10**decimals / factor
    values = sign * halves * (1 + 5e-9 * random.uniform(-1, 1, 2000) * random.integers(0, 2, 2000))
    steps = np.array(whole_steps(values, quantity)) * STEPS[quantity]
    read = [as_script(step * factor, decimals) for step in steps.tolist()]
    wanted = [figure(value, quantity, system) for value in values.tolist()]
    # of few the other system's figure is as near to a half
    assert sum(a != b for a, b in zip(read, wanted, strict=True)) <= 4


def test_shares_at_halves_are_rounded_by_the_script_as_in_words():
    """0.145 is 14.5 %, as a float 14.499999999999998."""
    shares = [k * 0.0005 for k in range(-2500, 2501)]
    for share, step in zip(shares, whole_steps(shares, "share"), strict=True):
        held = 100 * (step * STEPS["share"])
        assert as_script(held, 1 if abs(share) < 0.0995 else 0) + "\u00a0%" == percent(share)
        assert as_script(held, 0) == signed(100 * share).lstrip("+")


def test_steps_may_be_wider_than_those_of_the_quantity():
    """Depths of cells are held in micrometres, which the page multiplies again."""
    values = np.random.default_rng(12).uniform(0, 0.009, 500)
    held = np.array(whole_steps(values, "depth", 1e-6)) * 1e-6
    assert np.abs(held - values).max() <= 2e-6
    assert np.abs(held - values).max() > 2 * STEPS["depth"]


def test_no_figure_has_no_steps():
    assert whole_steps([None, float("nan"), float("inf"), 0.0], "depth") == [None, None, None, 0]
