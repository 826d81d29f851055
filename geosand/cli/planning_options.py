"""Quantities and surfaces as people type them, for the verbs that plan."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from geosand.columns import Ints
    from geosand.results import Results

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
        text = _decimal(str(value))
        try:
            number = parse_quantity(text, self.si)
        except UnitFault as problem:
            self.fail(str(problem), param, ctx)
        if not (self.least <= number <= self.most and (number > 0 or self.zero)):
            unit = re.sub(r"^[\s\d.+-]*(?:[eE][+-]?\d+)?\s*", "", text)  # as typed
            one = parse_quantity(f"1{unit}", self.si)
            most = "" if self.most == float("inf") else f" and at most {self.most / one:.6g} {unit}"
            least = "0 or more" if self.zero else "above 0"
            least = f"{self.least / one:.6g} {unit} or more" if self.least else least
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

    def __init__(self, *, part: bool = False) -> None:
        self.part = part  #: above 0 and at most 1; else whoever asked for it looks

    def convert(self, value: Any, param: Any, ctx: Any) -> float:
        """The share as a number; exit code 2 for anything else."""
        text = str(value).strip()
        try:
            share = float(text.rstrip("% ")) / 100 if text.endswith("%") else float(text)
        except ValueError:
            self.fail(f"{value!r} is no share; write it as 0.9 or 90%", param, ctx)
        if self.part and not 0 < share <= 1:
            self.fail(f"{value!r}: allowed is above 0 and at most 100%", param, ctx)
        return share


def asked_surfaces(results: Results, named: list[str]) -> Ints:
    """Rows of the surfaces that ``--surfaces`` names; exit code 2 where that is none."""
    from geosand.planning.choosing import chosen_surfaces

    try:
        row = chosen_surfaces(results.site, results.ledger, named)
    except ValueError as problem:
        raise click.BadParameter(str(problem), param_hint="--surfaces") from problem
    if not len(row):
        raise click.UsageError(
            "no surface is dressed or has a target: name some with --surfaces, or write their"
            " targets into site.toml"
        )
    return row


def asked_start(results: Results, place: str | None) -> tuple[float, float] | None:
    """Where the way starts, in metres of the plane; exit code 2 for no place of the site."""
    from geosand.planning.choosing import start_of

    try:
        return start_of(results.site, results.areas, place)
    except ValueError as problem:
        raise click.BadParameter(str(problem), param_hint="--start") from problem


def last_swath(results: Results, asked: float | None) -> float:
    """The swath asked for, else the last one of the last spreader; nan where none is known."""
    from geosand.planning.choosing import chosen_spreader, last_figure, last_figures

    site, ledger = results.site, results.ledger
    spreader, _ = chosen_spreader(site, ledger, None)
    return asked or last_figure(last_figures(site, site.dressed.swath_m, spreader, ledger.as_of))


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
    """Ids and kinds of one or several options; exit code 2 where they were given and are empty."""
    found = [word for text in texts for word in re.split(r"[\s,]+", text) if word]
    if texts and not found:
        problem = "it is empty: name ids or kinds, or leave it out for all"
        raise click.BadParameter(problem, param_hint="--surfaces")
    return found


def lengths_m(parts: list[str], most: float, option: str) -> list[float]:
    """Lengths as typed, each at most ``most`` (m); exit code 2 for anything else."""
    read = Quantity("m", most)
    try:
        return [read.convert(part, None, None) for part in parts]
    except click.BadParameter as problem:
        raise click.BadParameter(problem.message, param_hint=option) from problem


def parse_holes(text: str | None) -> float | None:
    """Depth of sand (m) that fills holes as typed: diameter, spacing, depth. Else exit code 2."""
    import numpy as np

    from geosand.season.holes import hole_capacity_m

    if text is None:
        return None
    parts = [part for part in text.split(",") if part.strip()]
    if len(parts) != 3:
        problem = f"{text!r}: write diameter,spacing,depth as in 12.7mm,50mm,75mm"
        raise click.BadParameter(problem, param_hint="--holes")
    diameter, spacing, depth = lengths_m(parts, 1.0, "--holes")
    if diameter > spacing:
        problem = f"{text!r}: the holes are wider than their spacing"
        raise click.BadParameter(problem, param_hint="--holes")
    return float(hole_capacity_m(*np.array([diameter, spacing, depth])))
