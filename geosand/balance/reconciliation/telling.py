"""What a season's data can not tell apart, and which single measurement would tell it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from geosand.balance.reconciliation.candidates import (
    LABEL,
    MOISTURE,
    UNIT_MASS,
    Candidates,
)
from geosand.balance.reconciliation.equations import Point
from geosand.balance.reconciliation.evidence import Evidence
from geosand.balance.reconciliation.least_squares import Directions, Fit
from geosand.columns import Bools, Floats

ALIKE = 0.8  #: cosine from which an error that is just noticed leaves odds below 19 : 1
ABSORBED = 0.25  #: share of the information left by unknown strip widths below which they hide it
MOST_MEASUREMENTS = 3  #: told of each group
WORTH = 0.1  #: of the largest contribution to a group, and of what a measurement must take away
SHOWN_SIGMAS = 1.96 + 1.28  #: an error that a 5 % test sees nine times in ten
STRIP_U_M = 5.0  #: standard uncertainty of a strip width that nobody measured
#: What a careful measurement comes to (common practice, no published source).
U_SCALE, U_EFFICIENCY, U_TRAY, U_EDGE_M, U_WATER, U_STRIP = 0.002, 0.01, 0.002, 0.02, 0.002, 0.15


@dataclass(frozen=True, slots=True, kw_only=True)
class Telling:
    """One measurement that would tell inputs apart, and what it would leave of what is open."""

    measurement: str
    among: tuple[str, ...]
    left_kg: float  #: ± of the season's overthrow that stays open between them
    open_kg: float  #: ± that is open now
    shown_percent: float | None = None  #: error of the unit mass that it would show

    def sentence(self) -> str:
        """In words with figures, masses in kg."""
        left, now = f"{self.left_kg:.0f}", f"{self.open_kg:.0f}"
        shown = ""
        if self.shown_percent is not None:
            shown = f"; an error of {self.shown_percent:.1f} % would show"
        among = ", ".join(self.among)
        return f"{self.measurement}: leaves ± {left} of ± {now} kg open between {among}{shown}"


def strip_name(spreader: str) -> str:
    """How the unknown strip width of a spreader is called."""
    return f"strip width of {spreader or 'the spreader'}"


def contribution_kg(evidence: Evidence, all_inputs: Candidates) -> Floats:
    """What one u of each input moves the season's overthrow by, kg (c,)."""
    u = np.array([np.sqrt(sum(v**2 for v in e.values())) for e in all_inputs.errors])
    total: Floats = u * np.abs(all_inputs.direction[: len(evidence.dressing)].sum(axis=0))
    return total


def not_told_apart(
    evidence: Evidence, all_inputs: Candidates, test: Directions
) -> tuple[tuple[str, ...], ...]:
    """Groups of constant inputs that explain the same, the strip widths that hide them included.

    An input is hidden by the strip widths where these, being unknown, leave less than a quarter of
    the information on it; two inputs explain the same where the cosine of their directions is over
    0.8 in absolute value. Inputs that could move little (below a tenth of the group's largest) are
    left out.
    """
    moves = contribution_kg(evidence, all_inputs)
    on_balance = np.abs(all_inputs.direction[: len(evidence.dressing)])
    constant = all_inputs.persists & (moves > 0)
    hidden = constant & (test.information < ABSORBED * test.known_unknowns)
    groups: list[tuple[str, ...]] = []
    for k, spreader in enumerate(evidence.spreaders.tolist()):
        touches = (on_balance[evidence.spreader == k] > 0).any(axis=0)
        members = _worth(hidden & touches, moves)
        if members.any():
            groups.append((*all_inputs.name[members].tolist(), strip_name(spreader)))
    left = constant & ~hidden & np.isfinite(test.standardised)
    while left.any():
        first = int(np.flatnonzero(left)[np.argmax(moves[left])])
        alike = left & (np.abs(np.nan_to_num(test.likeness[first])) > ALIKE)
        alike[first] = True
        left = left & ~alike
        members = _worth(alike, moves)
        if members.sum() > 1:
            groups.append(tuple(all_inputs.name[members].tolist()))
    return tuple(dict.fromkeys(groups))


def _worth(members: Bools, moves: Floats) -> Bools:
    most = moves[members].max(initial=0.0)
    kept: Bools = members & (moves >= WORTH * most)
    return kept


def would_tell(
    evidence: Evidence,
    columns: Mapping[str, Floats],
    solved: Fit,
    all_inputs: Candidates,
    groups: Sequence[tuple[str, ...]],
    point: Point,
) -> tuple[Telling, ...]:
    """For each group the single measurements that would tell its members apart, the best first.

    With P the covariance of all errors after reconciliation and cⱼ what member j puts into the
    season's overthrow, a measurement h ± n leaves Σⱼ (cⱼPcⱼ − (cⱼPh)²/(hPh + n²)) of the variance
    Σⱼ cⱼPcⱼ that is open (conditional variance of a normal distribution). Told with the kg that
    stay open. Weighing bags is told of too where it takes away little, with the error of the unit
    mass that it would show nine times in ten (3.2 standard deviations, 5 % two-sided and 90 %).
    """
    names = [*columns, *(strip_name(s) for s in evidence.spreaders.tolist())]
    errors = np.column_stack([*columns.values(), -solved.design * STRIP_U_M])
    inverse = np.linalg.pinv(errors @ errors.T, hermitian=True)
    left = np.eye(len(names)) - errors.T @ inverse @ errors
    place = {name: k for k, name in enumerate(names)}
    source = _sources(all_inputs)
    to_balance = errors[: len(evidence.dressing)].sum(axis=0)
    told: list[Telling] = []
    for group in groups:
        members = [place[s] for s in (source.get(n, n) for n in group) if s in place]
        covariance = left[members] * to_balance[members][:, None]
        before = float((covariance[range(len(members)), members] * to_balance[members]).sum())
        found: list[Telling] = []
        for name in group:
            text, noise = _measurement(evidence, name, point)
            k = place.get(source.get(name, name), -1)
            if noise is None or k < 0:
                continue
            cut = float((covariance[:, k] ** 2).sum()) / (left[k, k] + noise**2)
            shown = _shown(all_inputs, name, noise)
            if before > 0 and (cut > WORTH * before or shown is not None):
                one = Telling(
                    measurement=text,
                    among=tuple(group),
                    left_kg=float(np.sqrt(max(before - cut, 0.0))),
                    open_kg=float(np.sqrt(before)),
                    shown_percent=shown,
                )
                found.append(one)
        told += sorted(found, key=lambda one: one.left_kg)[:MOST_MEASUREMENTS]
    return tuple(dict.fromkeys(told))


def _shown(all_inputs: Candidates, name: str, noise: float) -> float | None:
    """The error of a unit mass, percent, that weighing would show; None of other inputs."""
    if not name.startswith(UNIT_MASS):
        return None
    row = all_inputs.name.tolist().index(name)
    u = float(np.sqrt(sum(v**2 for v in all_inputs.errors[row].values())))
    share = SHOWN_SIGMAS * u * float(np.hypot(1.0, noise)) / float(all_inputs.stated[row])
    return 100 * share


def _sources(all_inputs: Candidates) -> dict[str, str]:
    """The single error behind each constant input."""
    pairs = zip(all_inputs.name.tolist(), all_inputs.errors, strict=True)
    return {name: next(iter(errors)) for name, errors in pairs if len(errors) == 1}


def _measurement(evidence: Evidence, name: str, point: Point) -> tuple[str, float | None]:
    """A measurement of one input, and its noise in units of the input's u (None: there is none)."""
    site, loads = evidence.site, evidence.site.loads
    settings = site.settings
    if name.startswith(UNIT_MASS):
        mine = loads.label == LABEL + name.removeprefix(UNIT_MASS)
        u = float(loads.u_label[mine][0])
        each = float((loads.u_unit_mass_kg / loads.unit_mass_kg)[mine].max())
        what = f"weigh three bags or units of {name.removeprefix(UNIT_MASS)}"
        return what, float(np.hypot(U_SCALE, each / np.sqrt(3))) / u if u > 0 else None
    if name == "catch efficiency":
        u = settings.u_catch_efficiency
        return "test what share of sand thrown at it a tray keeps, to ± 1 %", _over(U_EFFICIENCY, u)
    if name == "tray size":
        return "measure the trays, to ± 0.2 % of their area", _over(U_TRAY, settings.u_tray)
    if name == "edge of the surfaces":
        bias = float(site.surfaces.edge_bias_m.max(initial=0.0))
        return "survey the mown edges, to ± 2 cm", _over(U_EDGE_M, bias)
    if name.startswith(MOISTURE):
        u = float(site.moistures.u_ratio[site.moistures.label == name][0])
        return f"weigh, dry and weigh sand ({name})", _over(U_WATER, u)
    for k, spreader in enumerate(evidence.spreaders.tolist()):
        if name == strip_name(spreader):
            by = f" of a dressing with {spreader}" if spreader else ""
            noise = np.hypot(U_STRIP * max(float(point.strip_m[k]), 0.1), point.between_m[k])
            return f"lay three trays outside the edge{by}", float(noise) / STRIP_U_M
    return "", None


def _over(noise: float, u: float) -> float | None:
    return noise / u if u > 0 else None
