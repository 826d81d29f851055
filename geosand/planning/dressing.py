"""The next dressing as a whole: rates, sand, spreader setting and headings, from one request."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from geosand.areas.register import AreaRegister
from geosand.balance.account import Balance
from geosand.columns import Floats, Geometries, Ints, take
from geosand.errors import Finding
from geosand.planning.choosing import (
    AS_NAMED,
    NEED,
    Request,
    in_order_of_need,
    in_working_order,
    last_figure,
    last_figures,
)
from geosand.planning.crew import CrewPrecision, crew_precision
from geosand.planning.next_rate import NextRates, next_rates
from geosand.planning.order import (
    LoadSplit,
    SandOrder,
    StripWidth,
    sand_order,
    split_by_load,
    strip_width,
)
from geosand.planning.passes import Headings, best_headings, forced_overthrow, pass_lines
from geosand.planning.plan_findings import plan_findings
from geosand.planning.route import legs, middles
from geosand.planning.setting import SettingFit, Settings, settings_for
from geosand.planning.tried_settings import site_setting
from geosand.rates.surface_rates import Rates
from geosand.season.ledger import Ledger
from geosand.site.tables import Site
from geosand.tuples import NamedTuple

AVOID_DEGREE = 30.0  #: how far from the last heading a new one lies where that is asked for


@dataclass(frozen=True, slots=True, kw_only=True)
class NextDressing:
    """A plan; tables have one row a chosen surface, in order of work."""

    request: Request
    as_of: np.datetime64
    rates: NextRates
    leg_m: Floats  #: straight way from the surface before (the first: from the start); nan = none
    back_m: Floats  #: straight way back to the start; nan = no start, or gets nothing
    crew: CrewPrecision
    strip: StripWidth
    overthrow_kg: Floats  #: expected beside each surface, dry
    order: SandOrder
    split: LoadSplit | None  #: None where the mass of a load is not known
    load_dry_kg: float
    bulk_density_kg_m3: float  #: of the sand, dry, poured
    fit: SettingFit
    settings: Settings | None  #: None where no speed is known
    speed_m_s: float
    headings: Headings | None  #: None where no swath is known
    last_degree: Floats  #: heading last driven on each surface; nan = not known
    swath_m: float
    findings: tuple[Finding, ...]


def next_dressing(balance: Balance, ledger: Ledger, request: Request) -> NextDressing:
    """Everything the crew and the office need for one dressing. Raises ValueError as its parts."""
    site, register, rates = balance.site, balance.areas, balance.rates
    day, sand, spreader = ledger.as_of, request.sand, request.spreader
    plan = _rates(site, register, rates, ledger, request)
    leg, back = _ways(register, plan, request.start_m)
    strip = strip_width(balance, spreader=spreader, as_of=day)
    crew = crew_precision(balance, spreader=spreader, as_of=day)
    order = sand_order(site, register, plan, strip, crew, request, as_of=day)
    width = max(strip.width_m, 0.0) if math.isfinite(strip.width_m) else 0.0
    over = width * plan.rate_kg_m2 * plan.perimeter_m
    load = (request.load_kg or order.unit.mass_kg) / (1 + order.moisture)
    figures = _figures(site, request, day)
    drive = _driving(site, register, rates, plan, request, figures, day)
    tables = (ledger, plan, strip, order, drive.fit)
    findings = plan_findings(site, register, *tables, request, drive.swath_m, figures)
    return NextDressing(
        request=request,
        as_of=day,
        rates=plan,
        leg_m=leg,
        back_m=back,
        crew=crew,
        strip=strip,
        overthrow_kg=over,
        order=order,
        split=split_by_load(plan.mass_kg + over, load) if load > 0 else None,
        load_dry_kg=float(load),
        bulk_density_kg_m3=float(rates.density.value[sand]),
        **drive._asdict(),
        findings=tuple(findings),
    )


class _Driving(NamedTuple):
    """How the spreader is set and driven; the names are those of NextDressing."""

    fit: SettingFit
    settings: Settings | None
    speed_m_s: float
    headings: Headings | None
    last_degree: Floats
    swath_m: float


def _figures(site: Site, request: Request, day: np.datetime64) -> dict[str, Floats]:
    """Speed and swath as asked for, else those on the surfaces of the last dressing."""
    asked = {
        "speed": (request.speed_m_s, site.dressed.speed_m_s),
        "swath": (request.swath_m, site.dressed.swath_m),
    }
    return {
        name: np.array([one]) if one else last_figures(site, column, request.spreader, day)
        for name, (one, column) in asked.items()
    }


def _driving(
    site: Site,
    register: AreaRegister,
    rates: Rates,
    plan: NextRates,
    request: Request,
    figures: Mapping[str, Floats],
    day: np.datetime64,
) -> _Driving:
    speed, swath = last_figure(figures["speed"]), last_figure(figures["swath"])
    fit = site_setting(
        site,
        register,
        rates,
        spreader=request.spreader,
        sand=request.sand,
        as_of=day,
        swath_m=swath,
    )
    last = last_headings(site, day)[site.surfaces.ground[plan.row]]
    return _Driving(
        fit=fit,
        settings=_settings(fit, plan, speed),
        speed_m_s=speed,
        headings=_headings(register, plan, swath, last, request) if swath > 0 else None,
        last_degree=last,
        swath_m=swath,
    )


def _rates(
    site: Site, register: AreaRegister, rates: Rates, ledger: Ledger, request: Request
) -> NextRates:
    """The rates that are asked for, in the order of work."""
    plan = next_rates(site, register, rates, ledger, request)
    ordered: NextRates = take(plan, _order_of_work(site, register, ledger, plan, request))
    return ordered


def _order_of_work(
    site: Site, register: AreaRegister, ledger: Ledger, plan: NextRates, request: Request
) -> Ints:
    """Rows of the plan in the order of work; what gets nothing comes last, but keeps a given one.

    The way is made over the surfaces that get sand only.
    """
    if request.order == AS_NAMED:
        return np.arange(len(plan.row))
    given = plan.depth_m > 0
    if request.order == NEED:
        first = in_order_of_need(site, ledger, plan.row[given])
    else:
        first = in_working_order(site, register, plan.row[given], request.start_m)
    rest = in_working_order(site, register, plan.row[~given], None)
    place = {row: k for k, row in enumerate(plan.row.tolist())}
    return np.array([place[row] for row in [*first.tolist(), *rest.tolist()]], dtype=np.int64)


def _ways(
    register: AreaRegister, plan: NextRates, start_m: tuple[float, float] | None
) -> tuple[Floats, Floats]:
    """Straight ways to each surface that gets sand, from the one before and back to the start."""
    leg, back = np.full(len(plan.row), np.nan), np.full(len(plan.row), np.nan)
    given = np.flatnonzero(plan.depth_m > 0)
    x, y = middles(register.owned_plane[plan.row[given]])
    leg[given] = legs(x, y, start_m)
    if start_m is not None:
        back[given] = np.hypot(x - start_m[0], y - start_m[1])
    return leg, back


def _settings(fit: SettingFit, plan: NextRates, speed_m_s: float) -> Settings | None:
    """Settings for the plan's rates; None where a speed is needed and not known."""
    if not fit.speeds_said:
        return settings_for(fit, plan.rate_kg_m2, speed_m_s=1.0)
    return settings_for(fit, plan.rate_kg_m2, speed_m_s=speed_m_s) if speed_m_s > 0 else None


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
    heading = site.dressed.heading_degree
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
