"""Units at the door: a column's unit is read from its name, converted once, SI inside.

The names that the site files themselves use (``tray_length_mm``, ``gross_g``) have their exact
factors listed here, so that reading a plain site does not load pint; any other unit is parsed by
pint against a closed registry. A test holds the listed factors against that registry.

Exact definitions: NIST SP 811 (2008) Appendix B; the international foot (0.3048 m) and the acre
of 43 560 square international feet; the US survey foot (1200/3937 m), retired on 31 December 2022
(85 FR 62698), only where ``survey_foot`` or ``survey_acre`` is written.
"""

from __future__ import annotations

import math
import re
from functools import cache, lru_cache
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pint import UnitRegistry


DEFINITIONS = """
meter = [length] = m = metre
kilogram = [mass] = kg
second = [time] = s
radian = [] = rad
millimeter = 0.001 meter = mm
centimeter = 0.01 meter = cm
kilometer = 1000 meter = km
gram = 0.001 kilogram = g
milligram = 0.000001 kilogram = mg
tonne = 1000 kilogram = t = metric_ton
liter = 0.001 meter ** 3 = L = l = litre
milliliter = 0.000001 meter ** 3 = ml = mL
square_meter = meter ** 2 = sqm
hectare = 10000 meter ** 2 = ha
foot = 0.3048 meter = ft = feet
inch = foot / 12 = in = inches
yard = 3 foot = yd
mile = 5280 foot = mi
survey_foot = 1200 / 3937 meter = sft
acre = 43560 foot ** 2 = ac
survey_acre = 43560 survey_foot ** 2
square_foot = foot ** 2 = sqft = sf
ksqft = 1000 foot ** 2
pound = 0.45359237 kilogram = lb = lbs
ounce = pound / 16 = oz
short_ton = 2000 pound
long_ton = 2240 pound
us_gallon = 231 inch ** 3 = gal
imperial_gallon = 0.00454609 meter ** 3
minute = 60 second = min
hour = 3600 second = h
degree = 0.017453292519943295 radian = deg
percent = 0.01
permille = 0.001
"""

_DOORS = {
    "length": {"m": 1.0, "mm": 0.001, "cm": 0.01, "km": 1000.0},
    "area": {"m2": 1.0, "cm2": 1e-4, "mm2": 1e-6},
    "volume": {"m3": 1.0, "cm3": 1e-6},
    "mass": {"kg": 1.0, "g": 0.001, "t": 1000.0},
    "density": {"kg_m3": 1.0, "g_cm3": 1000.0},
    "rate": {"kg_m2": 1.0},
    "speed": {"kmh": 1 / 3.6},
    "share": {"percent": 0.01},
    "angle": {"deg": math.pi / 180},
}
#: Factors to SI of the units that the site files' own column names carry.
DOOR = {unit: factor for units in _DOORS.values() for unit, factor in units.items()}

#: Of each SI unit what it measures, what pint calls it, and units that a person may write.
_SI = {
    "m": ("length", "meter", "mm, cm, m, in, ft, yd"),
    "m2": ("area", "meter**2", "cm2, m2, ha, in2, ft2, acre"),
    "m3": ("volume", "meter**3", "cm3, ml, L, m3, in3, ft3, yd3, us_gallon"),
    "kg": ("mass", "kilogram", "g, kg, t, oz, lb, short_ton, long_ton"),
    "kg_m3": (
        "density",
        "kilogram/meter**3",
        "kg_m3, g_cm3, lb_ft3, lb_per_yd3, short_ton_per_yd3",
    ),
    "kg_m2": (
        "rate",
        "kilogram/meter**2",
        "kg_m2, g_m2, t_per_ha, lb_per_1000ft2, short_ton_per_acre",
    ),
    "m_s": ("speed", "meter/second", "kmh, m_s, mph"),
    "rad": ("angle", "radian", "deg, rad"),
    "ratio": ("share", "", "percent, ratio"),
}
#: What each measures, for messages and for the check of dimensions.
MEASURES = {si: measure for si, (measure, _, _) in _SI.items()}
_SPELLED = {"kmh": "km/h", "mph": "mi/h", "ratio": "1", "1000ft2": "ksqft", "fraction": "1"}
_WORDS = "survey_foot|survey_acre|short_ton|long_ton|metric_ton|us_gallon|imperial_gallon"
# patterns are compiled where they are used: a usual site needs none of them
_PIECES = rf"((?:{_WORDS})[23]?)(?=_|$)|([A-Za-z]+[23]?)(?=_|$)"
_PIECE = rf"(?:(?:{_WORDS}|[A-Za-z]+)[23]?(?:_|$))+(?<!_)"


_ANGLES = ("rad", "radian", "radians", "deg", "degree", "degrees")


class UnitFault(ValueError):
    """A unit that can not be read, or measures the wrong thing; the text holds the remedy."""


@cache
def registry() -> UnitRegistry[Any]:
    """The closed pint registry of the trade's units, about thirty lines; built at first use."""
    import pint

    units: UnitRegistry[Any] = pint.UnitRegistry(None)
    units.load_definitions(DEFINITIONS.strip().splitlines())
    return units


def _expression(text: str) -> str:
    """``short_ton_per_acre`` -> ``(short_ton)/(acre)``; ``g_cm3`` -> ``(g/cm**3)``."""
    return "/".join(f"({_product(part)})" for part in text.split("_per_"))


def _product(part: str) -> str:
    if part in _SPELLED:
        return _SPELLED[part]
    pieces = re.fullmatch(_PIECE, part) and [m[1] or m[2] for m in re.finditer(_PIECES, part)]
    if not pieces:
        raise UnitFault(part)
    return "/".join(re.sub(r"(?<=[a-z])([23])$", r"**\1", piece) for piece in pieces)


def factor_to_si(unit: str, si: str) -> float:
    """The number that turns a value in ``unit`` into one in ``si`` (a key of MEASURES).

    ``unit`` is written as in a column name. Raises UnitFault for ``ton`` alone, for a unit that is
    not known and for one that measures something else.

    >>> factor_to_si("lb_per_1000ft2", "kg_m2")
    0.004882427636383051
    >>> factor_to_si("ton", "kg")
    Traceback (most recent call last):
    geosand.units.UnitFault: 'ton' is not one mass: write tonne, short_ton or long_ton
    """
    if si not in MEASURES:
        raise ValueError(f"{si!r} is not an SI unit of geosand: {', '.join(MEASURES)}")
    measure, _, examples = _SI[si]
    if unit in _DOORS[measure]:
        return DOOR[unit]
    if not re.fullmatch(r"[A-Za-z][A-Za-z0-9_]{0,40}", unit):  # never let free text reach a parser
        raise UnitFault(f"{unit!r} is not a unit: use one of {examples}")
    if re.search(r"(?<![a-z_])tons?(?![a-z])", unit, re.IGNORECASE):
        raise UnitFault(f"{unit!r} is not one mass: write tonne, short_ton or long_ton")
    # pint counts angles as plain numbers, so that degrees would pass as a share
    if (unit in _ANGLES) != (si == "rad"):
        raise UnitFault(f"{unit!r} is no {measure}: use one of {examples}")
    return _pint_factor(unit, si)


@lru_cache(maxsize=1000)
def factor_or_fault(unit: str, si: str) -> float | str:
    """The factor of ``factor_to_si``, or why the unit has none."""
    try:
        return factor_to_si(unit, si)
    except UnitFault as problem:
        return str(problem)


@cache
def _pint_factor(unit: str, si: str) -> float:
    """The same by pint, of a unit that holds letters, digits and underscores only."""
    import pint

    measure, expression, examples = _SI[si]
    try:
        found = registry().Quantity(1.0, registry().parse_units(_expression(unit)))
        return float(found.to(expression).magnitude)
    except pint.DimensionalityError:
        raise UnitFault(f"{unit!r} is no {measure}: use one of {examples}") from None
    except Exception:  # a parser of free text fails in ways that no list of classes holds
        raise UnitFault(f"{unit!r} is not a unit known here: use one of {examples}") from None


_QUANTITY = r"(?a)([+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?)\s*([A-Za-z%][\w/%^ ]*)"
_LONGEST_QUANTITY = 60


def parse_quantity(text: str, si: str) -> float:
    """A number with its unit as a person types it, in SI: ``"0.5mm"``, ``"3 ft3/1000ft2"``.

    Raises UnitFault for anything else, and for a unit that does not measure what ``si`` does.

    >>> parse_quantity("0.5 mm", "m")
    0.0005
    """
    if "," in text:
        raise UnitFault(
            f"{text[:40]!r}: write a point as the decimal mark and no thousands separators"
        )
    plain = text.strip().replace("²", "2").replace("³", "3")
    match = re.fullmatch(_QUANTITY, plain) if len(plain) <= _LONGEST_QUANTITY else None
    if not match:
        like = {"kg": "500kg", "kg_m2": "60t/ha", "m_s": "8kmh"}.get(si, "0.5mm")
        raise UnitFault(
            f"{text[:40]!r} is not a number with a unit, like {like}; units: {_SI[si][2]}"
        )
    unit = match[2].strip().replace("%", "percent").replace("^", "")
    unit = re.sub(r"1000\s+(?=ft2)", "1000", unit)
    unit = re.sub(r"\s*/\s*", "_per_", unit).replace(" ", "_")
    value = float(match[1]) * factor_to_si(unit, si)
    if not math.isfinite(value):
        raise UnitFault(f"{text!r} is not a finite number")
    return value


#: How results are shown: (factor from SI, label, decimals) by measure and unit system.
SHOWN = {
    "metric": {
        "depth": (1000.0, "mm", 2),
        "u depth": (1000.0, "mm", 2),
        "rate": (1.0, "kg/m²", 3),
        "mass": (1.0, "kg", 0),
        "area": (1.0, "m²", 1),
        "length": (1.0, "m", 2),
        "density": (0.001, "g/cm³", 3),
        "volume": (1.0, "m³", 1),
        "tonnage": (0.001, "t", 2),
        "way": (1.0, "m", 0),
        "distance": (0.001, "km", 1),
        "span": (100.0, "cm", 0),
        "weighed": (1000.0, "g", 1),
        "mouth": (10_000.0, "cm²", 0),
        "speed": (3.6, "km/h", 1),
    },
    "us": {
        "depth": (1 / 0.0254, "in", 3),
        "u depth": (1 / 0.0254, "in", 4),  # 0.001 in is all that many a source adds
        "rate": (0.09290304 * 1000 / 0.45359237, "lb/1000 ft²", 1),
        "mass": (1 / 0.45359237, "lb", 0),
        "area": (1 / 0.09290304, "ft²", 0),
        "length": (1 / 0.3048, "ft", 1),
        "density": (0.028316846592 / 0.45359237, "lb/ft³", 1),
        "volume": (1 / 0.764554857984, "yd³", 1),
        "tonnage": (1 / 907.18474, "short ton", 2),
        "way": (1 / 0.9144, "yd", 0),
        "distance": (1 / 1609.344, "mi", 1),
        "span": (1 / 0.0254, "in", 1),
        "weighed": (1 / 0.028349523125, "oz", 1),
        "mouth": (1 / 0.0254**2, "in²", 0),
        "speed": (3600 / 1609.344, "mph", 1),
    },
}


def past_half(value: float, decimals: int) -> float:
    """A float to be written with ``decimals``; halves are moved on, away from zero.

    Half is also what nine digits do not tell from it: documents hold no more, and a bag of 50 lb
    with 3 % of water makes halves that floats only nearly are. At most 0.0005 of the last digit
    away, as the map's steps follow no farther.

    >>> f"{1162.5:.0f}", f"{past_half(1162.5, 0):.0f}", f"{past_half(-0.125, 2):.2f}"
    ('1162', '1163', '-0.13')
    >>> f"{past_half(13337.4999999, 0):.0f}", f"{past_half(13337.499, 0):.0f}"
    ('13338', '13337')
    """
    twice = abs(value) * 2.0 * 10.0**decimals
    if not twice < 2.0**53:  # no figure, or too large for halves
        return value
    odd = math.floor(twice / 2.0) * 2.0 + 1.0
    if abs(twice - odd) > min(6e-9 * twice, 1e-3):
        return value
    return math.copysign(math.nextafter(odd / (2.0 * 10.0**decimals), math.inf), value)


def figure(value: float, measure: str, units: str, *, u: float | None = None) -> str:
    """A figure (SI) for a sentence; at a site that shows US units with those behind it.

    >>> figure(600.2, "mass", "metric", u=105.7), figure(600.2, "mass", "us")
    ('600 ± 106 kg', '600 kg (1323 lb)')
    """
    texts = []
    for system in dict.fromkeys(("metric", units)):
        factor, label, decimals = SHOWN[system][measure]
        spread = "" if u is None else f" ± {u * factor:.{decimals}f}"
        rounded = past_half(value * factor, decimals)
        texts.append(f"{rounded:.{decimals}f}{spread} {label}".replace("-", "−"))
    return texts[0] if len(texts) == 1 else f"{texts[0]} ({texts[1]})"
