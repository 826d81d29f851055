"""Inputs of a season's balances that can be off, with what each would do to every equation."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from geosand.areas.register import AreaRegister
from geosand.balance.reconciliation.candidate import Candidate, Found
from geosand.balance.reconciliation.equations import OVERTHROW, Point, balance_effect
from geosand.balance.reconciliation.evidence import Evidence
from geosand.balance.reconciliation.witness_candidates import from_yard, on_scale, witnesses
from geosand.balance.spread import water_as_weighed
from geosand.columns import Bools, Floats, Strings, ratio

PERSISTS, ONE_DRESSING = "constant", "one dressing"
LABEL, MOISTURE, DENSITY = "label: ", "moisture: ", "bulk density: "
UNIT_MASS = "unit mass: "
#: How far off an input can be at all (our own choice, no published source): an error that would
#: have to be larger is no explanation. Relative, but for the edge (m) and moisture (kg/kg).
LIMITS = {"unit mass": 0.3, "catches": 0.5, "tray": 0.2, "edge": 2.0, "moisture": 0.3}


NOTHING = 1e-6  #: of the spread: what rounding leaves of effects that cancel


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidates:
    """One row an input (c); ``direction`` has one column each."""

    name: Strings
    unit: Strings
    persists: Bools  #: the same error in every dressing
    stated: Floats
    direction: Floats  #: (m, c) what 1 unit more of it adds to each equation
    lowest: Floats  #: its error can not be below
    highest: Floats  #: nor above
    errors: tuple[Mapping[str, float], ...]  #: its standard uncertainty by name of error


def candidates(evidence: Evidence, areas: AreaRegister, point: Point) -> Candidates:
    """All inputs that enter an equation: constant ones first, then those of single dressings."""
    found = (
        *_unit_masses(evidence, point),
        *_catch_scales(evidence, areas, point),
        *_by_source(evidence, point),
        *_dressings(evidence, point),
        *witnesses(evidence, point),
    )
    rows = [one for one in found if one.direction.any()]  # others do nothing to any equation
    lowest, highest = np.array([one.within for one in rows], dtype=np.float64).T
    return Candidates(
        name=np.array([one.name for one in rows], dtype=np.str_),
        unit=np.array([one.unit for one in rows], dtype=np.str_),
        persists=np.array([one.persists for one in rows], dtype=np.bool_),
        stated=np.array([one.stated for one in rows], dtype=np.float64),
        direction=np.stack([one.direction for one in rows], axis=1),
        lowest=lowest,
        highest=highest,
        errors=tuple(one.errors for one in rows),
    )


def _unit_masses(one: Evidence, point: Point) -> Found:
    """The mass on the label of each kind of unit, kg."""
    loads, site = one.site.loads, one.site
    dry = 1 + site.moistures.ratio[loads.moisture]
    for label in np.unique(loads.label).tolist():
        mine = loads.label == label
        unit = float(loads.unit_mass_kg[mine][0])
        by_dressing = np.bincount(
            loads.dressing[mine], (loads.count / dry)[mine], len(site.dressings)
        ).astype(np.float64)
        taken = np.zeros(0)
        if one.stock is not None:
            taken = (one.stock.loads * loads.count * mine).sum(axis=1)
        yield Candidate(
            UNIT_MASS + label.removeprefix(LABEL),
            one.stack(
                balance=point.agreed(one) * by_dressing[one.dressing],
                weighed=np.where(mine, loads.count, 0.0)[one.weighed.load],
                stock=taken if one.stock is not None else 0.0,
            ),
            unit="kg",
            stated=unit,
            within=(-LIMITS["unit mass"] * unit, LIMITS["unit mass"] * unit),
            errors={label: unit * float(loads.u_label[mine][0])},
        )


def _catch_scales(one: Evidence, areas: AreaRegister, point: Point) -> Found:
    """What scales all catches alike, and the edge of all surfaces."""
    settings = one.site.settings
    landed = point.landed_kg(one.spreader)
    efficiency = settings.catch_efficiency
    yield Candidate(
        "catch efficiency",
        one.stack(balance=landed / efficiency),
        unit="caught/arrived",
        stated=efficiency,
        within=(-LIMITS["catches"] * efficiency, LIMITS["catches"] * efficiency),
        errors={"catch efficiency": settings.u_catch_efficiency},
    )
    yield Candidate(
        "tray size",
        one.stack(balance=landed),
        unit="of its area",
        stated=1.0,
        within=(-LIMITS["tray"], LIMITS["tray"]),
        errors={"tray size": settings.u_tray},
    )
    bias = float(areas.errors.edge_bias_m.max(initial=0.0))
    if bias > 0:
        yield Candidate(
            "edge of the surfaces",
            one.stack(balance=balance_effect(one, point, "edge bias") / bias),
            unit="m outward",
            stated=0.0,
            within=(-LIMITS["edge"], LIMITS["edge"]),
            errors={"edge bias": bias},
        )


def _by_source(one: Evidence, point: Point) -> Found:
    """Moistures and bulk densities, from the effects of their sources.

    Water that loads and catches have in common scales both alike and does nothing. Loads by volume
    weigh more with it.
    """
    site = one.site
    as_weighed = water_as_weighed(site.loads, site.moistures)
    for k, source in enumerate(site.moistures.label.tolist()):
        u, water = float(site.moistures.u_ratio[k]), float(site.moistures.ratio[k])
        effect = balance_effect(one, point, source)
        # water that loads and catches share does nothing: only rounding is left of it
        if u > 0 and np.abs(effect).max() > NOTHING * u * one.spread.value.max():
            load = as_weighed.get(source, np.zeros(len(site.loads))) / u
            yield Candidate(
                source,
                one.stack(
                    balance=effect / u,
                    weighed=load[one.weighed.load],
                    stock=0.0 if one.stock is None else (one.stock.loads * load).sum(axis=1),
                ),
                unit="kg/kg",
                stated=water,
                within=(-water, LIMITS["moisture"]),
                errors={source: u},
            )
    for k, name in enumerate(site.sands.name.tolist()):
        u, stated = float(site.sands.u_bulk_density_kg_m3[k]), one.density.stated[k]
        if u > 0 and np.isfinite(stated):
            yield Candidate(
                DENSITY + name,
                one.stack(
                    balance=balance_effect(one, point, DENSITY + name) / u,
                    density=np.where(one.density_sand == k, -1.0, 0.0),
                ),
                unit="kg/m³",
                stated=float(stated),
                within=(1000.0 - float(stated), 2200.0 - float(stated)),
                errors={DENSITY + name: u},
            )


def _dressings(one: Evidence, point: Point) -> Found:
    """Loads, catches and overthrow of each dressing by itself, kg.

    More in the loads was also taken from the yard, and lay on the scale where the only load of the
    dressing was weighed. What is said to have come back may have been spread.
    """
    loads = one.site.loads
    back = (loads.returned_kg + loads.spilled_kg) / (1 + one.site.moistures.ratio[loads.moisture])
    came_back = np.bincount(loads.dressing, back, len(one.site.dressings))
    at = point.strip_m[one.spreader]
    share = ratio(point.landed_kg(one.spreader), point.on_kg)
    agreed, seen = point.agreed(one), point.found(one)
    for row, d in enumerate(one.dressing.tolist()):
        name = str(one.site.dressings.id[d])
        here = (np.arange(len(one.dressing)) == row).astype(np.float64)
        on, spread = float(one.on_surfaces.value[row]), float(one.spread.value[row])
        yield Candidate(
            f"loads of {name}",
            one.stack(balance=here, weighed=on_scale(one, d), stock=from_yard(one, d)),
            unit="kg",
            stated=spread,
            within=(-spread, max(2 * spread, spread + float(came_back[d]))),
            persists=False,
            errors={k: float((agreed * v)[row]) for k, v in one.spread_errors.items()},
        )
        yield Candidate(
            f"catches of {name}",
            one.stack(balance=-here * float(share[row])),
            unit="kg on its surfaces",
            stated=on,
            within=(-LIMITS["catches"] * on, on),
            persists=False,
            errors={k: float((seen * v)[row]) for k, v in one.on_errors.items()},
        )
        supposed = float(at[row] * point.edge_kg[row])
        yield Candidate(
            f"{OVERTHROW} of {name}",
            one.stack(balance=-here, ring=-here[one.ring]),
            unit="kg",
            stated=supposed,
            within=(-supposed, np.inf),
            persists=False,
            errors={
                f"{OVERTHROW}: {name}": float((point.between_m[one.spreader] * point.edge_kg)[row])
            },
        )
