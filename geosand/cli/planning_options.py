"""Quantities and surfaces as people type them, for the verbs that plan."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from geosand.planning.next_rate import Holes

    FloatParameter = click.ParamType[float]
else:  # generic only in newer versions of click
    FloatParameter = click.ParamType


class Quantity(FloatParameter):
    """A number with its unit, above zero and not below ``least``, turned to SI."""

    name = "quantity"

    def __init__(
        self, si: str, most: float = float("inf"), *, zero: bool = False, least: float = 0.0
    ) -> None:
        self.si, self.most, self.zero, self.least = si, most, zero, least

    def convert(self, value: Any, param: Any, ctx: Any) -> float:
        """SI value of the text; exit code 2 for anything else."""
        from geosand.units import UnitFault, parse_quantity

        if isinstance(value, float):
            return value
        try:
            number = parse_quantity(_decimal(str(value)), self.si)
        except UnitFault as problem:
            self.fail(str(problem), param, ctx)
        if not (self.least <= number <= self.most and (number > 0 or self.zero)):
            most = "" if self.most == float("inf") else f" and at most {self.most:g} {self.si}"
            least = "0 or more" if self.zero else "above 0"
            least = f"{self.least:g} {self.si} or more" if self.least else least
            self.fail(f"{value!r}: allowed is {least}{most}", param, ctx)
        return number


def _decimal(text: str) -> str:
    """A fraction before a unit as a decimal number, as inches are written: 1/32in, 1 1/4 in."""
    match = re.fullmatch(r"\s*(?:(\d{1,4})\s+)?(\d{1,4})/([1-9]\d{0,3})(\s*[A-Za-z].*)", text)
    if not match:
        return text
    return f"{int(match[1] or 0) + int(match[2]) / int(match[3])!r}{match[4]}"


class Share(FloatParameter):
    """``0.9`` or ``90%``."""

    name = "share"

    def convert(self, value: Any, param: Any, ctx: Any) -> float:
        """The share as a number; exit code 2 for anything else."""
        text = str(value).strip()
        try:
            return float(text.rstrip("% ")) / 100 if text.endswith("%") else float(text)
        except ValueError:
            self.fail(f"{value!r} is no share; write it as 0.9 or 90%", param, ctx)


surfaces_option = click.option(
    "--surfaces",
    "surfaces",
    multiple=True,
    metavar="IDS",
    help="Ids or kinds, separated by spaces [all that are dressed or have a target].",
)
start_option = click.option(
    "--start", metavar="PLACE", help="Where the way starts: a surface's id or lon,lat [first id]."
)


def words(texts: tuple[str, ...]) -> list[str]:
    """Ids and kinds of one or several options."""
    return [word for text in texts for word in re.split(r"[\s,]+", text) if word]


def parse_holes(text: str | None) -> Holes | None:
    """Diameter, spacing and depth of holes as typed; exit code 2 for anything else."""
    from geosand.planning.next_rate import Holes

    if text is None:
        return None
    parts = [part for part in text.split(",") if part.strip()]
    if len(parts) != 3:
        problem = f"{text!r}: write diameter,spacing,depth as in 12.7mm,50mm,75mm"
        raise click.BadParameter(problem, param_hint="--holes")
    read = Quantity("m", 1.0)
    try:
        diameter, spacing, depth = (read.convert(part, None, None) for part in parts)
    except click.BadParameter as fault:
        raise click.BadParameter(fault.message, param_hint="--holes") from fault
    if diameter > spacing:
        problem = f"{text!r}: the holes are wider than their spacing"
        raise click.BadParameter(problem, param_hint="--holes")
    return Holes(diameter_m=diameter, spacing_m=spacing, depth_m=depth)
