"""How figures are written on the page: one table of units, read by Python and by the script."""

from __future__ import annotations

import math
from decimal import ROUND_HALF_UP, Decimal

from geosand.units import SHOWN, past_half

#: Quantity -> decimals that differ from those of tables, where there is more room.
_DECIMALS = {"metric": {"area": 0, "rate": 2}, "us": {"rate": 0}}
#: quantity -> (factor from SI, unit, decimals), for each system of units.
UNITS: dict[str, dict[str, tuple[float, str, int]]] = {
    system: {
        quantity: (*SHOWN[system][quantity][:2], own.get(quantity, SHOWN[system][quantity][2]))
        for quantity in ("depth", "mass", "area", "rate", "length")
    }
    for system, own in _DECIMALS.items()
}
SYSTEM_NAMES = {"metric": "Metric", "us": "US"}
NO_FIGURE = "–"

#: What the colours of surfaces and rings can stand for: key -> name of the view.
THEMES = {
    "depth": "Depth",
    "shortfall": "Shortfall",
    "overthrow": "Overthrow",
    "catches": "Catches",
    "areas": "Areas",
}
#: Sequential and diverging schemes by C. Brewer (colorbrewer2.org, Apache-2.0).
SCALES = {
    "depth": ["#ffffd4", "#fed98e", "#fe9929", "#d95f0e", "#993404"],
    "shortfall": ["#5e3c99", "#b2abd2", "#f7f7f7", "#fdb863", "#e66101"],
    "overthrow": ["#f2f0f7", "#cbc9e2", "#9e9ac8", "#756bb1", "#54278f"],
    # as for the shortfall: orange is too little sand, violet is more than the rest
    "catches": ["#e66101", "#fdb863", "#f7f7f7", "#b2abd2", "#5e3c99"],
}
#: The views' own title in the legend.
LEGENDS = {
    "depth": "Depth of sand",
    "shortfall": "Shortfall against the target so far",
    "overthrow": "Thrown past the edge, as depth",
    "catches": "Catches against the estimate for their surface, %",
    "areas": "Kinds of ground",
}
KIND_COLOURS = {
    "green": "#5f9460",
    "tee": "#b98f3e",
    "approach": "#a9c284",
    "collar": "#8a9a6b",
    "fairway": "#c3d6a8",
    "pitch": "#4f8a8b",
    "lawn": "#8fb8a3",
    "surround": "#9a8f7c",
    "bunker": "#efe2b5",
    "water": "#a9c6d8",
    "path": "#c9c2b6",
}
OTHER_KIND = "#b3b3ab"


def number(value: float | None, decimals: int) -> str:
    """A figure with a narrow space at the thousands, a true minus sign; an en dash for None.

    >>> number(-12345.678, 1), number(None, 2), number(-0.001, 2)
    ('−12\u202f345.7', '–', '0.00')
    """
    if value is None or not math.isfinite(value):
        return NO_FIGURE
    return as_script(past_half(value, decimals), decimals)


def as_script(value: float, decimals: int) -> str:
    """A finite figure as the page's script writes it, which rounds half up."""
    rounded = Decimal(abs(value)).quantize(Decimal(1).scaleb(-decimals), ROUND_HALF_UP)
    return ("−" if value < 0 and rounded else "") + f"{rounded:,}".replace(",", "\u202f")


def short(value: float | None) -> float | int | None:
    """A figure to seven significant digits, as the page holds it; None where it is not finite."""
    if value is None or not math.isfinite(value):
        return None
    rounded = float(f"{value:.7g}")
    return int(rounded) if rounded == int(rounded) else rounded


def figure(value: float | None, quantity: str, system: str, *, unit: bool = False) -> str:
    """An SI value as shown in one system of units, with or without the unit.

    >>> figure(0.00084, "depth", "metric"), figure(0.00084, "depth", "us", unit=True)
    ('0.84', '0.033\\xa0in')
    """
    factor, name, decimals = UNITS[system][quantity]
    text = number(None if value is None else value * factor, decimals)
    return text + "\u00a0" + name if unit and text != NO_FIGURE else text


def interval(low: float | None, high: float | None, quantity: str, system: str) -> str:
    """Two limits joined by an en dash, or by "to" where one is negative.

    >>> interval(410.2, 1000.0, "mass", "metric"), interval(-3, 5, "mass", "metric")
    ('410–1\u202f000', '−3 to 5')
    """
    if low is None or high is None:
        return NO_FIGURE
    joint = " to " if low < 0 else "–"
    return figure(low, quantity, system) + joint + figure(high, quantity, system)


def percent(share: float | None) -> str:
    """A share as a percentage: one decimal below ten percent, none above."""
    if share is None or not math.isfinite(share):
        return NO_FIGURE
    return number(100 * share, 1 if abs(share) < 0.0995 else 0) + "\u00a0%"


def percentages(low: float | None, high: float | None) -> str:
    """Two signed shares as whole percentages, such as ``−12 to +9``; one where they are equal.

    >>> percentages(-0.12, 0.0905), percentages(0.001, 0.001), percentages(None, None)
    ('−12 to +9', '0', '–')
    """
    if low is None or high is None:
        return NO_FIGURE
    texts = [signed(100 * share) for share in (low, high)]
    return texts[0] if low == high else " to ".join(texts)


def signed(value: float) -> str:
    """A whole number with its sign; none at zero."""
    text = number(value, 0)
    return text if text[0] in "−0" else "+" + text


def plain(text: str) -> str:
    """The text with lone surrogates replaced, which no encoder would write."""
    return text.encode("utf-8", "surrogatepass").decode("utf-8", "replace")
