"""Reconciliation of a season's balances: adjusted inputs, and the likeliest gross error.

All dressings are adjusted together by weighted least squares
(:mod:`geosand.balance.reconciliation.least_squares`, with its sources) under the equations of
:mod:`geosand.balance.reconciliation.equations`, so that the same unit mass, catch efficiency, edge
or bulk density is adjusted by the same amount wherever it enters. The overthrow is a real loss and
not known: each spreader has a strip width s ≥ 0 that nobody measured. What follows s in all
dressings (a bag error of a single kind of bags) can not be told from it; the data are redundant
only where two kinds of bags, a weighed load, ring catches, a stock count or a negative overthrow
make them so. One input is named only where the measurement test finds it and no other explains the
same; otherwise nobody is named, what can not be told apart is listed, and which measurement would
tell it. As in nuclear material balance accounting (J. L. Jaech, Journal of the Institute of Nuclear
Materials Management 1(2), p. 14) the covariances of shared sources are kept; without them a
constant fault would look like many small ones.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from geosand.balance.account import Balance
from geosand.balance.reconciliation.candidates import (
    ONE_DRESSING,
    PERSISTS,
    Candidates,
    candidates,
)
from geosand.balance.reconciliation.equations import Point, equations
from geosand.balance.reconciliation.evidence import Evidence, evidence, usual_strips
from geosand.balance.reconciliation.found import Inputs, Reconciliation, Suspect
from geosand.balance.reconciliation.least_squares import (
    Directions,
    Fit,
    family_threshold,
    measurement_test,
    reconciled,
    student_deviate,
)
from geosand.balance.reconciliation.telling import not_told_apart, strip_name, would_tell
from geosand.balance.stock import StockWitness
from geosand.balance.throw_fit import ThrowFit
from geosand.columns import Bools, Floats

FAMILY_WISE = 0.05  #: probability of suspecting any input where none has a gross error
SHARE = 0.95  #: of the probability among all inputs that the named one must have
POWER_Z = 1.2816  #: normal quantile of 90 %: an error that would be noticed nine times in ten
MOST_SUSPECTS = 3  #: gross errors that are looked for one after the other
FREED = 1e3  #: u of a figure that is taken as unknown, over its estimated error
STEPS = 4  #: of Gauss-Newton; figures move by less than a tenth of their u after two
UNKNOWN = "not measured"


def reconcile(
    balance: Balance, *, fit: ThrowFit | None = None, stock: StockWitness | None = None
) -> Reconciliation | None:
    """Reconcile all measured dressings of a site; None where none is measured.

    ``fit`` saves the ring catches from being fitted again; ``stock`` is a further witness. An input
    is suspected where its |z| passes Šidák's threshold for ``FAMILY_WISE``, over as many tests as
    there are inputs that differ; z allows for how few catches its u was estimated from. Where
    catches scatter as usual 0 to 9 % of simulated seasons without a gross error had a suspect, up
    to 14 % where they scatter by 15 % and the spreader is not named.
    An input is named where its share of Σ exp(z²/2), the probability among all inputs that could
    physically be so far off, is at least 95 %.

    ``seen_from`` of an input is the error that passes the threshold 9 times in 10 where all
    uncertainties are right; about 7 in 10 by simulation where the scatter of the strip width has
    to be found from the same eight dressings.
    """
    known = evidence(balance, fit=fit, stock=stock)
    if not len(known.dressing):
        return None
    columns, solved, point = _solved(known)
    all_inputs = candidates(known, balance.areas, point)
    test = measurement_test(solved, all_inputs.direction)
    threshold = family_threshold(_distinct(test), FAMILY_WISE)
    suspects = _suspects(solved, all_inputs, test, threshold)
    alone = [s for s in suspects if len(s.inputs) == 1]
    groups = not_told_apart(known, all_inputs, test)
    told = [set(group) for group in groups]
    open_suspects = [s.inputs for s in suspects if len(s.inputs) > 1 and set(s.inputs) not in told]
    return Reconciliation(
        inputs=_inputs(known, columns, solved, all_inputs, test, threshold),
        suspects=suspects,
        culprit=alone[0].inputs[0] if alone else None,
        probability=alone[0].probability if alone else None,
        threshold=threshold,
        not_told_apart=groups,
        would_tell=would_tell(known, columns, solved, all_inputs, (*groups, *open_suspects), point),
        chi_square=solved.chi_square,
        degrees_of_freedom=solved.degrees_of_freedom,
        chi_square_probability=solved.probability,
    )


def _solved(known: Evidence) -> tuple[dict[str, Floats], Fit, Point]:
    """Error columns, fit and the adjusted figures about which they are linear (Gauss-Newton)."""
    strip, between = usual_strips(known)
    edge, on = known.edge_kg, known.on_surfaces.value
    for _ in range(STEPS):
        point = Point(strip_m=strip, between_m=between, edge_kg=edge, on_kg=on)
        residual, design, columns = equations(known, point)
        freedom = np.array([known.freedom.get(name, np.inf) for name in columns])
        solved = reconciled(residual, np.stack(list(columns.values()), axis=1), design, freedom)
        strip = solved.unknown
        epsilon = dict(zip(columns, solved.epsilon.tolist(), strict=True))
        edge = known.edge_kg + _moved(known.edge_errors, epsilon, known.edge_kg)
        on = known.on_surfaces.value + _moved(known.on_errors, epsilon, known.edge_kg)
    return columns, solved, point


def _moved(errors: Mapping[str, Floats], epsilon: Mapping[str, float], like: Floats) -> Floats:
    """What the adjustments add to figures with those errors."""
    total = np.zeros_like(like)
    for name, effect in errors.items():
        total += effect * epsilon.get(name, 0.0)
    return total


def _distinct(test: Directions) -> int:
    """How many of the directions differ: those nearly alike count once."""
    seen = np.isfinite(test.standardised)
    count = 0
    while seen.any():
        first = int(np.flatnonzero(seen)[0])
        seen &= ~(np.abs(np.nan_to_num(test.likeness[first])) > SHARE)
        seen[first] = False
        count += 1
    return max(count, 1)


def _possible(all_inputs: Candidates, test: Directions) -> Bools:
    """Inputs whose error can be as large as it would have to be (within 2 u)."""
    size, slack = test.size, 2 * test.u_size
    seen = np.isfinite(test.standardised)
    size, slack = np.where(seen, size, 0.0), np.where(seen, slack, 0.0)
    fits: Bools = (size >= all_inputs.lowest - slack) & (size <= all_inputs.highest + slack)
    return seen & fits


def _suspects(
    solved: Fit, all_inputs: Candidates, test: Directions, threshold: float
) -> tuple[Suspect, ...]:
    """Gross errors one after the other, each found with the ones before it taken as unknown."""
    found: list[Suspect] = []
    while len(found) < MOST_SUSPECTS:
        possible = _possible(all_inputs, test)
        # rounded: of inputs that explain it alike the first in the list comes first, on any machine
        score = np.where(possible, test.standardised**2, -np.inf).round(9)
        best = int(score.argmax())
        if not score[best] > threshold**2:
            break
        weight = np.exp((score - score[best]) / 2)
        weight /= weight.sum()
        order = np.argsort(-weight, kind="stable")
        kept = order[: int((np.cumsum(weight[order]) < SHARE).sum()) + 1]
        found.append(
            Suspect(
                inputs=tuple(all_inputs.name[kept].tolist()),
                change=tuple(test.size[kept].tolist()),
                unit=tuple(all_inputs.unit[kept].tolist()),
                standardised=float(test.standardised[best]),
                probability=float(weight[best]),
            )
        )
        freed = all_inputs.direction[:, best] * abs(test.size[best]) * FREED
        errors = np.column_stack([solved.errors, freed])
        freedom = np.append(solved.freedom, np.inf)
        solved = reconciled(solved.residual, errors, solved.design, freedom)
        test = measurement_test(solved, all_inputs.direction)
    return tuple(found)


def _seen_from(test: Directions, threshold: float) -> Floats:
    """Errors (c,) whose z passes the threshold with the power of ``POWER_Z``; nan: none.

    Of the non-central t, normal as Abramowitz & Stegun 26.7.10 say.
    """
    least = student_deviate(threshold, test.freedom)
    spread = np.sqrt(1 + least**2 / (2 * test.freedom))
    return test.u_size * (least * (1 - 1 / (4 * test.freedom)) + POWER_Z * spread)


def _inputs(
    known: Evidence,
    columns: dict[str, Floats],
    solved: Fit,
    all_inputs: Candidates,
    test: Directions,
    threshold: float,
) -> Inputs:
    """The table of inputs: those that can be off, then the strip widths that nobody measured."""
    names = {name: k for k, name in enumerate(columns)}
    own = np.zeros((len(all_inputs.name), len(columns)))
    for row, errors in enumerate(all_inputs.errors):
        for name, size in errors.items():
            if name in names:
                own[row, names[name]] += size
    told = own @ solved.errors.T  # covariance with the equations
    gain = np.einsum("im,mn,in->i", told, solved.projected, told)
    # all of its errors, also those that cancel in the equations: rounding is not to decide of them
    u = np.sqrt([sum(size * size for size in errors.values()) for errors in all_inputs.errors])
    strips = [strip_name(spreader) for spreader in known.spreaders.tolist()]
    nothing = np.full(len(strips), np.nan)
    return Inputs(
        name=np.array([*all_inputs.name.tolist(), *strips], dtype=np.str_),
        unit=np.array([*all_inputs.unit.tolist(), *["m"] * len(strips)], dtype=np.str_),
        persistence=np.array(
            [
                *np.where(all_inputs.persists, PERSISTS, ONE_DRESSING).tolist(),
                *[UNKNOWN] * len(strips),
            ],
            dtype=np.str_,
        ),
        stated=np.concatenate([all_inputs.stated, nothing]),
        u=np.concatenate([u, nothing]),
        adjusted=np.concatenate([all_inputs.stated + own @ solved.epsilon, solved.unknown]),
        u_adjusted=np.concatenate([np.sqrt(np.maximum(u**2 - gain, 0.0)), solved.u_unknown]),
        standardised=np.concatenate([test.standardised, nothing]),
        seen_from=np.concatenate([np.nan_to_num(_seen_from(test, threshold), nan=np.inf), nothing]),
    )
