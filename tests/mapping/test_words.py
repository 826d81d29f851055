"""Figures in words: published conversions, and the shapes of numbers."""

import math

import numpy as np
import pytest

from geosand.mapping.words import figure, interval, number, percent, signed
from geosand.reports.words import percent as share
from geosand.reports.words import shown
from geosand.units import SHOWN, past_half


@pytest.mark.parametrize(
    ("si", "quantity", "shown"),
    [
        # NIST SP 811 (2008), B.8: inch 2.54 E-02 m (exact)
        (0.0254, "depth", "1.000"),
        # NIST SP 811 (2008), B.8: pound (avoirdupois) 4.535 924 E-01 kg
        (453.5924, "mass", "1\u202f000"),
        # NIST SP 811 (2008), B.8: square foot 9.290 304 E-02 m2 (exact)
        (929.0304, "area", "10\u202f000"),
        # NIST SP 811 (2008), B.8: pound per square foot 4.882 428 E+00 kg/m2
        (4.882428, "rate", "1\u202f000"),
        # NIST SP 811 (2008), B.8: foot 3.048 E-01 m (exact)
        (3.048, "length", "10.0"),
    ],
)
def test_us_figures_agree_with_published_factors(si, quantity, shown):
    assert figure(si, quantity, "us") == shown


def test_metric_figures_keep_their_decimals():
    assert figure(0.00084, "depth", "metric", unit=True) == "0.84\u00a0mm"
    assert figure(17000.4, "mass", "metric", unit=True) == "17\u202f000\u00a0kg"


def test_no_figure_is_never_a_zero():
    for nothing in (None, float("nan"), float("inf")):
        assert number(nothing, 2) == "–"
    assert interval(None, 1.0, "mass", "metric") == "–"
    assert percent(None) == "–"


def test_minus_signs_are_told_from_dashes():
    assert interval(-0.0012, 0.0034, "depth", "metric") == "−1.20 to 3.40"
    assert interval(0.0012, 0.0034, "depth", "metric") == "1.20–3.40"
    assert number(-0.004, 2) == "0.00"


def test_halves_are_rounded_up_as_the_script_does():
    assert (number(2.5, 0), number(-0.125, 2), number(0.5, 0)) == ("3", "−0.13", "1")


def test_small_shares_keep_a_decimal():
    assert percent(0.0361) == "3.6\u00a0%"
    assert percent(0.9667) == "97\u00a0%"
    assert percent(0.09951) == "10\u00a0%"


@pytest.mark.parametrize("system", ["metric", "us"])
@pytest.mark.parametrize("quantity", ["depth", "mass", "length"])
def test_page_and_tables_round_halves_alike(system, quantity):
    """46.5 bags of 25 kg are 1 162.5 kg: one figure everywhere, away from zero as in a workbook."""
    factor, _, decimals = SHOWN[system][quantity]
    random = np.random.default_rng(5)
    halves = (random.integers(-4000, 4000, 300) + 0.5) / 10.0**decimals / factor
    for si in [0.0, *halves.tolist(), *random.normal(0, 3, 300).tolist()]:
        assert shown(si, quantity, system, unit=False) == figure(si, quantity, system)
    assert shown(1162.5, "mass", "metric", unit=False) == "1\u202f163"
    assert (share(0.125), share(-0.125), share(-0.001)) == ("13 %", "−13 %", "0 %")


def test_halves_that_documents_hold_in_nine_digits_are_halves_everywhere():
    """275 bags of 50 lb with 3 % of water are 13 337.5 lb, in kg 6 049.788234875."""
    spread_kg = 275 * 50 * 0.45359237 * 0.97
    nine_digits = float(f"{spread_kg:.9g}")
    told = {"13\u202f338": [spread_kg, nine_digits, math.nextafter(spread_kg, 0)]}
    told |= {"−13\u202f338": [-spread_kg, -nine_digits], "13\u202f337": [13337.49 * 0.45359237]}
    for text, masses in told.items():
        for kg in masses:
            assert shown(kg, "mass", "us", unit=False) == figure(kg, "mass", "us") == text
    assert shown(1.5e8 - 1, "mass", "metric", unit=False) == "149\u202f999\u202f999"
    for value in (2.0**53, 2.0**60, -1e308, math.inf):
        assert past_half(value, 0) == past_half(value, 3) == value


@pytest.mark.browser
def test_the_script_writes_figures_as_the_served_page_has_them(open_page):
    """Of no figure, on either side of one decimal less and of zero, and beyond a million."""
    values = [None, math.nan, math.inf, 0.0, -0.004, 0.4, -0.4, 0.6, -0.6, 3.1, 999.4, 1234567.891]
    shares = [None, 0.0, 0.0994, -0.0994, 0.0996, -0.0996, 0.4, -0.4, 1.7]
    page = open_page()
    told = page.evaluate(
        """([values, shares]) => [values.map((v) => geosand.number(v, 2)),
          values.map((v) => geosand.number(v, 0)), shares.map(geosand.percent),
          values.slice(3).map(geosand.signed)]""",
        [values, shares],
    )
    assert told == [
        [number(value, 2) for value in values],
        [number(value, 0) for value in values],
        [percent(share) for share in shares],
        [signed(value) for value in values[3:]],
    ]
    limits = [(None, 1.0), (1.0, None), (-1.0, 2.0), (0.0, 12345.0)]
    ranges = page.evaluate(
        """(limits) => { const page = geosand.site(
          JSON.parse(document.getElementById("gs-data").textContent));
        return limits.map((both) => page.between(...both, "mass")); }""",
        limits,
    )
    assert ranges == [interval(*both, "mass", "metric") for both in limits]
