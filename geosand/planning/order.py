"""The sand to order: on surfaces, overthrow, what lies in stock, bags, and who gets which load."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from geosand.areas.register import AreaRegister
from geosand.balance.account import NOT_CLOSED, Balance
from geosand.balance.stock import Stock, stock_on_hand
from geosand.balance.strip_widths import STRIP, strip_widths
from geosand.columns import Bools, Floats, Ints, columns
from geosand.estimates import Estimates, Interval
from geosand.planning.choosing import Request
from geosand.planning.crew import CrewPrecision
from geosand.planning.next_rate import NextRates
from geosand.site.tables import Site

CREW = "crew"  #: source: how well the crew hits a planned rate
STOCK = "stock"  #: source: how well it is known what lies there


@dataclass(frozen=True, slots=True, kw_only=True)
class StripWidth:
    """Width of a strip at full rate that would hold the overthrow, of one spreader."""

    width_m: float  #: mean over its dressings; nan where no dressing tells it
    relative: Estimates  #: one row: width, with what another dressing adds
    dressings: Ints  #: rows of Dressings it stands on
    left_out: Ints  #: rows whose balance does not close: their overthrow is a fault of measurement

    def interval(self) -> Interval:
        """95 % prediction interval of the next dressing's strip width, m."""
        return self.relative.interval(floor=0.0)


def strip_width(balance: Balance, *, spreader: str, as_of: np.datetime64) -> StripWidth:
    """Strip width of ``spreader`` ("" = not named) over its measured dressings up to ``as_of``.

    The width is that of ``strip_widths``, the one that a balance with witnesses shows; a further
    dressing is predicted with its scatter from dressing to dressing added: s²·(1 + Σw²), w the
    weights of the mean, with the degrees of freedom of s.
    """
    dressings = balance.site.dressings
    mine = (dressings.spreader == spreader) & (dressings.date <= as_of)
    mine &= np.isfinite(balance.overthrow.value)
    faulty = balance.verdict == NOT_CLOSED
    all_of_them = strip_widths(balance, as_of=as_of)
    row = np.flatnonzero(all_of_them.spreader == spreader)
    if not len(row):
        return StripWidth(
            width_m=float("nan"),
            relative=Estimates(value=np.array([np.nan])),
            dressings=row,
            left_out=np.flatnonzero(mine & faulty),
        )
    mean = all_of_them.width.rows(row)
    another = np.hypot(mean.effects[STRIP], all_of_them.between_m[row])
    return StripWidth(
        width_m=float(mean.value[0]),
        relative=replace(mean, effects={**mean.effects, STRIP: another}),
        dressings=np.flatnonzero(mine & ~faulty),
        left_out=np.flatnonzero(mine & faulty),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """One bag or hopper of a sand, as the last load of it says; masses as weighed."""

    mass_kg: float  #: nan where no load tells it
    u_mass_kg: float
    u_label: float  #: relative


@dataclass(frozen=True, slots=True, kw_only=True)
class SandOrder:
    """Masses of one dressing; ``dry`` = dry product, else as delivered, with its water."""

    on_surfaces_dry_kg: float
    overthrow_dry: Estimates  #: one row
    need: Estimates  #: one row, as delivered
    moisture: float  #: kg of water per kg of dry product in what is delivered
    assurance: float
    need_assured_kg: float  #: enough with the probability ``assurance``, as delivered; what is not
    #: known of the stock is in it, so that this less the stock is enough as well
    stock: Stock
    order_kg: float  #: need assured less stock, never below zero
    unit: Unit
    units: int | None  #: whole units that hold the order; None where no unit is known


@columns
class LoadSplit:
    """One row a load and surface: which surfaces a load serves."""

    load: Ints  #: 0 = the first
    surface: Ints  #: row of NextRates
    mass_kg: Floats  #: dry product, its overthrow included


def sand_order(
    site: Site,
    register: AreaRegister,
    plan: NextRates,
    strip: StripWidth,
    crew: CrewPrecision,
    request: Request,
    *,
    as_of: np.datetime64,
) -> SandOrder:
    """What to order so that the plan can be carried out with probability ``assurance``.

    need = (Σ rate·area + strip width·Σ rate·perimeter)·(1 + w). Its uncertainty: how well the crew
    hits a planned rate, areas, the next dressing's strip width, water content, and what the units
    really hold; for the assured mass also what lies in stock, and what this crew usually spreads
    above the plan. ``assurance`` is 0.5 to 1 (both left out); a one-sided bound, Student's t.
    ``stock_kg`` None: deliveries less loads of this sand up to ``as_of``, not below zero. Raises
    ValueError for an assurance out of range.
    """
    sand, assurance = request.sand, request.assurance
    if not 0.5 < assurance < 1:
        raise ValueError(
            f"assurance {assurance:g}: allowed is above 0.5 and below 1, like 0.9 or 90%"
        )
    over = _overthrow(plan, strip)
    water = _moisture(site, sand, as_of)
    unit = last_unit(site, sand, as_of)
    on = Estimates(value=np.array([float(plan.mass_kg.sum())]))
    dry = on.with_effects(_areas(site, register, plan)).plus(over)
    need = _as_delivered(dry, water, unit, crew)
    given = request.stock_kg
    stock = stock_on_hand(site, sand, as_of) if given is None else Stock(mass_kg=given)
    doubt = need.with_effects({STOCK: np.array([stock.u_kg if need.value[0] > 0 else 0.0])})
    assured = float(doubt.scaled(1 + crew.more).interval(coverage=2 * assurance - 1).high[0])
    order = max(assured - max(np.nan_to_num(stock.mass_kg), 0.0), 0.0) if need.value[0] > 0 else 0.0
    return SandOrder(
        on_surfaces_dry_kg=float(on.value[0]),
        overthrow_dry=over,
        need=need,
        moisture=water[0],
        assurance=assurance,
        need_assured_kg=assured,
        stock=stock,
        order_kg=float(order),
        unit=unit,
        units=math.ceil(order / unit.mass_kg - 1e-9) if unit.mass_kg > 0 else None,
    )


def _overthrow(plan: NextRates, strip: StripWidth) -> Estimates:
    """Expected overthrow, kg dry, one row; below zero is scatter of balances and counts as 0.

    Its uncertainty stays: a spreader that showed none may throw some the next time.
    """
    if not math.isfinite(strip.width_m):
        return Estimates(value=np.zeros(1))
    around = float((plan.rate_kg_m2 * plan.perimeter_m).sum())
    over = strip.relative.scaled(around)
    return replace(over, value=np.maximum(over.value, 0.0))


def _as_delivered(
    dry: Estimates, water: tuple[float, float], unit: Unit, crew: CrewPrecision
) -> Estimates:
    """Dry product (one row) with its water, and with what units and crew add to its uncertainty."""
    w, u_w = water
    need = dry.scaled(1 + w)
    mass = float(need.value[0])
    count = mass / unit.mass_kg if unit.mass_kg > 0 else 0.0
    effects = {
        "moisture": mass * u_w / (1 + w),
        "label": mass * unit.u_label,
        "bags": math.sqrt(count) * unit.u_mass_kg,
        CREW: mass * crew.u,
    }
    return need.with_effects(
        {name: np.array([effect]) for name, effect in effects.items()},
        degrees_of_freedom={CREW: np.array([crew.degrees_of_freedom])},
    )


def last_unit(site: Site, sand: int, as_of: np.datetime64) -> Unit:
    """The unit of the newest load of a sand that counts several, or of a mass that comes again.

    The mass on a ticket is that day's. Where all loads are such, that of the newest.
    """
    _, which, often = np.unique(site.loads.unit_mass_kg, return_inverse=True, return_counts=True)
    last = _newest_load(site, sand, as_of, (site.loads.count > 1) | (often[which] > 1))
    last = last if last >= 0 else _newest_load(site, sand, as_of)
    if last < 0:
        return Unit(mass_kg=float("nan"), u_mass_kg=0.0, u_label=0.0)
    return Unit(
        mass_kg=float(site.loads.unit_mass_kg[last]),
        u_mass_kg=float(site.loads.u_unit_mass_kg[last]),
        u_label=float(site.loads.u_label[last]),
    )


def split_by_load(mass_kg: Floats, load_kg: float) -> LoadSplit:
    """Surfaces served in their order from loads of ``load_kg`` each, all dry masses.

    >>> split = split_by_load(np.array([700.0, 800.0]), 1000.0)
    >>> list(zip(split.load.tolist(), split.surface.tolist(), split.mass_kg.tolist()))
    [(0, 0, 700.0), (0, 1, 300.0), (1, 1, 500.0)]
    """
    ends = np.cumsum(mass_kg)
    total = float(ends[-1]) if len(ends) else 0.0
    cuts = np.arange(1, math.ceil(total / load_kg - 1e-9) + 1) * load_kg
    edges = np.unique(np.concatenate([[0.0], ends, np.minimum(cuts, total)]))
    middle, piece = (edges[1:] + edges[:-1]) / 2, np.diff(edges)
    kept = piece > 1e-9 * max(total, 1.0)
    return LoadSplit(
        load=np.floor(middle[kept] / load_kg).astype(np.int64),
        surface=np.searchsorted(ends, middle[kept], side="right").astype(np.int64),
        mass_kg=piece[kept],
    )


def _newest_load(
    site: Site, sand: int, as_of: np.datetime64, of: Bools | Literal[True] = True
) -> int:
    """Row of the last load of a sand up to a day, of those ``of``; -1 where there is none."""
    dressing = site.loads.dressing
    day = site.dressings.date[dressing]
    rows = np.flatnonzero((site.dressings.sand[dressing] == sand) & (day <= as_of) & of)
    return int(rows[day[rows].argsort(kind="stable")[-1]]) if len(rows) else -1


def _moisture(site: Site, sand: int, as_of: np.datetime64) -> tuple[float, float]:
    """Water content of a sand as delivered and its u: as stated, else that of its last load."""
    row = int(site.sands.moisture[sand])
    if row < 0:
        last = _newest_load(site, sand, as_of)
        if last < 0:
            return 0.0, 0.0
        row = int(site.loads.moisture[last])
    return float(site.moistures.ratio[row]), float(site.moistures.u_ratio[row])


def _areas(site: Site, register: AreaRegister, plan: NextRates) -> dict[str, Floats]:
    """Effects of the areas' errors on Σ rate · area."""
    sensitivity = np.zeros((1, len(site.surfaces)))
    sensitivity[0, plan.row] = plan.rate_kg_m2 * register.ground_factor[plan.row]
    return register.errors.effects(sensitivity)
