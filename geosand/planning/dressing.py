"""The next dressing as a whole: rates, sand, spreader setting and headings, from one request."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from geosand.areas.register import AreaRegister
from geosand.balance.account import Balance
from geosand.columns import Floats, Geometries, Ints
from geosand.errors import Finding
from geosand.planning.next_rate import Holes, NextRates, next_rates
from geosand.planning.order import LoadSplit, SandOrder, sand_order, split_by_load
from geosand.planning.overthrow import StripWidth, strip_width
from geosand.planning.passes import Headings, best_headings, forced_overthrow, pass_lines
from geosand.planning.setting import SettingFit, Settings, settings_for, site_setting
from geosand.rates.surface_rates import Rates
from geosand.season.ledger import Ledger
from geosand.site.tables import Site

AVOID_DEGREE = 30.0  #: how far from the last heading a new one lies where that is asked for


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """What a person asks for; None where the records are to say it."""

    row: Ints  #: rows of Surfaces, in the order in which they are dressed
    sand: int
    spreader: str
    depth_m: float | None  #: None = each surface to its target so far
    assurance: float
    maximum_m: float | None = None
    minimum_m: float | None = None
    holes: Holes | None = None
    stock_kg: float | None = None
    load_kg: float | None = None  #: as weighed, of one hopper or bag
    speed_m_s: float | None = None
    swath_m: float | None = None
    avoid_last: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class NextDressing:
    """A plan; tables have one row a chosen surface, those that get nothing too."""

    request: Request
    as_of: np.datetime64
    rates: NextRates
    strip: StripWidth
    overthrow_kg: Floats  #: expected beside each surface, dry
    order: SandOrder
    split: LoadSplit | None  #: None where the mass of a load is not known
    load_dry_kg: float
    fit: SettingFit
    settings: Settings | None  #: None where no speed is known
    speed_m_s: float
    headings: Headings | None  #: None where no swath is known
    last_degree: Floats  #: heading last driven on each surface; nan = not known
    swath_m: float
    findings: tuple[Finding, ...]


def next_dressing(
    site: Site,
    register: AreaRegister,
    rates: Rates,
    balance: Balance,
    ledger: Ledger,
    request: Request,
) -> NextDressing:
    """Everything the crew and the office need for one dressing. Raises ValueError as its parts."""
    day, sand, spreader = ledger.as_of, request.sand, request.spreader
    plan = next_rates(
        site,
        register,
        rates,
        ledger,
        row=request.row,
        sand=sand,
        depth_m=request.depth_m,
        maximum_m=request.maximum_m,
        minimum_m=request.minimum_m,
        holes=request.holes,
    )
    strip = strip_width(site, register, rates, balance, spreader=spreader, as_of=day)
    order = sand_order(
        site,
        register,
        plan,
        strip,
        sand=sand,
        assurance=request.assurance,
        as_of=day,
        stock_kg=request.stock_kg,
    )
    width = max(strip.width_m, 0.0) if math.isfinite(strip.width_m) else 0.0
    over = width * plan.rate_kg_m2 * plan.perimeter_m
    load = (request.load_kg or order.unit.mass_kg) / (1 + order.moisture)
    speed = request.speed_m_s or last_figure(site, site.dressings.speed_m_s, spreader, day)
    swath = request.swath_m or last_figure(site, site.dressings.swath_m, spreader, day)
    fit = site_setting(site, balance, spreader=spreader, sand=sand, as_of=day)
    last = last_headings(site, day)[site.surfaces.ground[plan.row]]
    return NextDressing(
        request=request,
        as_of=day,
        rates=plan,
        strip=strip,
        overthrow_kg=over,
        order=order,
        split=split_by_load(plan.mass_kg + over, load) if load > 0 else None,
        load_dry_kg=float(load),
        fit=fit,
        settings=settings_for(fit, plan.rate_kg_m2, speed_m_s=speed) if speed > 0 else None,
        speed_m_s=speed,
        headings=_headings(register, plan, swath, last, request) if swath > 0 else None,
        last_degree=last,
        swath_m=swath,
        findings=tuple(_findings(site, request, plan, strip, order, fit, swath)),
    )


def dressing_passes(register: AreaRegister, plan: NextDressing) -> tuple[Geometries, Ints]:
    """Centre lines (lon/lat) of the best passes over what gets sand, and the plan's row of each.

    Raises ValueError where no swath is known.
    """
    if plan.headings is None:
        raise ValueError("no swath is known: give --swath")
    given = np.flatnonzero(plan.rates.depth_m > 0)
    lines, owner = pass_lines(
        register.owned_plane[plan.rates.row[given]],
        swath_m=plan.swath_m,
        heading_degree=plan.headings.heading_degree[given],
        offset_m=plan.headings.offset_m[given],
    )
    return register.plane.to_lonlat(lines), given[owner]


def last_headings(site: Site, as_of: np.datetime64) -> Floats:
    """Heading (degrees) at which each surface id was last driven up to a day; nan = not known."""
    heading = site.dressings.heading_degree[site.dressed.dressing]
    day = site.dressings.date[site.dressed.dressing]
    known = np.flatnonzero(np.isfinite(heading) & (day <= as_of))
    known = known[np.argsort(day[known], kind="stable")]
    ground = site.surfaces.ground[site.dressed.surface[known]]
    out = np.full(len(site.ids), np.nan)
    _, newest = np.unique(ground[::-1], return_index=True)
    newest = len(ground) - 1 - newest
    out[ground[newest]] = heading[known][newest]
    return out


def _headings(
    register: AreaRegister, plan: NextRates, swath_m: float, last: Floats, request: Request
) -> Headings:
    forced = forced_overthrow(register.owned_plane[plan.row], swath_m=swath_m)
    avoid = AVOID_DEGREE if request.avoid_last else 0.0
    return best_headings(forced, last_degree=last, avoid_within_degree=avoid)


def last_figure(site: Site, column: Floats, spreader: str, day: np.datetime64) -> float:
    """The newest figure of a spreader; nan where it has none."""
    d = site.dressings
    rows = np.flatnonzero((d.spreader == spreader) & (d.date <= day) & np.isfinite(column))
    return float(column[rows[-1]]) if len(rows) else math.nan


def _findings(
    site: Site,
    request: Request,
    plan: NextRates,
    strip: StripWidth,
    order: SandOrder,
    fit: SettingFit,
    swath: float,
) -> list[Finding]:
    names = site.dressings.id
    spreader = request.spreader or "a spreader without a name"
    told: list[tuple[str, str]] = []
    if not math.isfinite(strip.width_m):
        text = f"no measured dressing with {spreader}: overthrow is not known and counts as 0"
        told.append(("overthrow", text))
    elif strip.width_m <= 0:
        text = f"past balances with {spreader} show no overthrow: it counts as 0"
        told.append(("overthrow", text))
    told += [
        ("overthrow", f"{names[k]} does not close and tells nothing about the strip width")
        for k in strip.left_out.tolist()
    ]
    told += [("stock", text) for text in _stock(request, order)]
    if math.isnan(order.unit.mass_kg):
        told.append(("units", "no load of this sand tells the mass of a bag: no count is given"))
    told += [("setting", text) for text in fit.left_out]
    if not swath > 0:
        told.append(("heading", f"no swath of {spreader} is known: give --swath"))
    hollow = plan.depth_m > 0
    if request.holes and (plan.in_holes_m[hollow] >= plan.depth_m[hollow]).any():
        capacity = request.holes.capacity_m() * 1000
        text = f"the holes take {capacity:.2f} mm: on some surfaces the sand does not fill them"
        told.append(("holes", text))
    return [Finding(about=about, text=text, topic="plan") for about, text in told]


def _stock(request: Request, order: SandOrder) -> list[str]:
    stock = order.stock_kg
    if request.stock_kg is not None:
        return [f"{stock:.0f} kg in stock, as given, is subtracted"]
    if math.isnan(stock):
        return ["no delivery of this sand is recorded: stock is not known and counts as 0"]
    if stock < 0:
        text = (
            f"loads exceed deliveries by {-stock:.0f} kg: a delivery is missing; stock counts as 0"
        )
        return [text]
    return [f"{stock:.0f} kg in stock (deliveries less loads) is subtracted"]
