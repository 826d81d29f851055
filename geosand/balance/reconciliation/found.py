"""What a reconciliation finds: adjusted inputs and suspects, and how they are told."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from geosand.balance.reconciliation.telling import Telling
from geosand.columns import Floats, Strings, columns

BY_CHANCE = 0.05  #: least probability of a chi-square that is told as agreement (global test)


@columns
class Inputs:
    """One row an input; in its own unit."""

    name: Strings
    unit: Strings
    persistence: Strings  #: "constant", "one dressing" or "not measured" (strip widths)
    stated: Floats  #: nan where it was not measured
    u: Floats
    adjusted: Floats
    u_adjusted: Floats
    standardised: Floats  #: z of the measurement test; nan: nothing else tells of it
    seen_from: Floats  #: smallest error that would be noticed; inf: none, however large


@dataclass(frozen=True, slots=True, kw_only=True)
class Suspect:
    """One gross error that the data show: an input, or several that explain it alike."""

    inputs: tuple[str, ...]  #: the likeliest first; together at least 95 % of the probability
    change: tuple[float, ...]  #: what each alone would have to be changed by, in its unit
    unit: tuple[str, ...]
    standardised: float  #: z of the likeliest
    probability: float  #: of the likeliest, if exactly one input is off and all are alike before

    def in_words(self, threshold: float, factors: Mapping[str, tuple[float, str]]) -> str:
        """The inputs with their changes, or that they can not be told apart."""
        changes = [
            f"{name} ({_in_unit(change, unit, factors)})"
            for name, change, unit in zip(self.inputs, self.change, self.unit, strict=True)
        ]
        z = f"{abs(self.standardised):.1f} standard deviations, {threshold:.1f} allowed"
        if len(self.inputs) == 1:
            return (
                f"{changes[0]} would make the dressings agree: {z};"
                f" {_chance(self.probability)} likely against all other inputs"
            )
        return (
            f"something is off that the data can not tell apart ({z}): one of {', '.join(changes)}"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Reconciliation:
    """What a season's balances say together."""

    inputs: Inputs
    suspects: tuple[Suspect, ...]
    culprit: str | None  #: the one input that is named
    probability: float | None  #: of the culprit against all other inputs
    threshold: float  #: |z| from which an input is suspected
    not_told_apart: tuple[tuple[str, ...], ...]
    would_tell: tuple[Telling, ...]
    chi_square: float
    degrees_of_freedom: int
    chi_square_probability: float  #: of one as large without gross errors (global test)

    @property
    def measurement_that_would_tell(self) -> tuple[str, ...]:
        """Single measurements that would tell apart what is not told, in words; masses in kg."""
        return tuple(one.sentence() for one in self.would_tell)

    @property
    def sentences(self) -> tuple[str, ...]:
        """What was found, in words; SI units."""
        return self.in_words()

    def in_words(self, factors: Mapping[str, tuple[float, str]] | None = None) -> tuple[str, ...]:
        """What was found; ``factors`` gives for a unit ("kg", "m") factor and name of another."""
        if not self.suspects:
            told = f"chi-square {self.chi_square:.1f} on {self.degrees_of_freedom}"
            if self.chi_square_probability < BY_CHANCE:
                chance = _chance(self.chi_square_probability)
                return (
                    "no input stands out, but together the figures differ by more than their"
                    f" uncertainties explain ({told}, {chance} likely by chance): several are off a"
                    " little, or scatter more than is said",
                )
            return (
                "no input stands out: the dressings agree with each other within their"
                f" uncertainties ({told})",
            )
        return tuple(one.in_words(self.threshold, factors or {}) for one in self.suspects)


#: Shares of one are told as percentages.
_SHARES = {"caught/arrived": "% of what arrives", "of its area": "% of its area"}
_SHARES |= {"kg/kg": "points of water"}


def _chance(probability: float) -> str:
    """As a whole percentage; never the certainty that no measurement gives."""
    if probability < 0.01:
        return "< 1 %"
    return "> 99 %" if probability > 0.99 else f"{100 * probability:.0f} %"


def _in_unit(value: float, unit: str, factors: Mapping[str, tuple[float, str]]) -> str:
    """A change with its unit; of "kg on its surfaces" the first word is the unit."""
    if unit in _SHARES:
        return f"{_figure(100 * value)} {_SHARES[unit]}"
    first, _, rest = unit.partition(" ")
    factor, name = factors.get(first, (1.0, first))
    return f"{_figure(factor * value)} {name} {rest}".rstrip()


def _figure(value: float) -> str:
    """Three digits with a sign, never as a power of ten."""
    return np.format_float_positional(
        value, precision=3, fractional=False, sign=True, trim="-"
    ).replace("-", "−")
