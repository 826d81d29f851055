"""Orders for the greens of the test site at 0.5 mm, by the strip that its balances show."""

import numpy as np

from geosand.estimates import Estimates
from geosand.planning.choosing import Request, chosen_surfaces
from geosand.planning.crew import CrewPrecision
from geosand.planning.next_rate import next_rates
from geosand.planning.order import StripWidth, sand_order, strip_width

DAY = np.datetime64("2026-06-30")
EXACT = CrewPrecision(
    u=0.0,
    degrees_of_freedom=2.0,
    more=0.0,
    ratio=np.zeros(0),
    dressings=np.zeros(0, dtype=np.int64),
)


def ordered(results, *, assurance=0.9, stock_kg=None, strip=None, crew=EXACT):
    site = results.site
    row = chosen_surfaces(site, results.ledger, ["green"])
    asked = Request(
        row=row, sand=0, spreader="", depth_m=0.0005, assurance=assurance, stock_kg=stock_kg
    )
    plan = next_rates(site, results.areas, results.rates, results.ledger, asked)
    strip = strip or width_of(results)
    return plan, sand_order(site, results.areas, plan, strip, crew, asked, as_of=DAY)


def width_of(results, spreader=""):
    return strip_width(results.balance, spreader=spreader, as_of=DAY)


def known_strip(width, sd):
    one = Estimates(value=np.array([width]), effects={"strip width": np.array([sd])})
    none = np.zeros(0, dtype=np.int64)
    return StripWidth(width_m=width, relative=one, dressings=none, left_out=none)
