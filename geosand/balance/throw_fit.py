"""Throw-off from data: how far sand is thrown, from catches beside the edge and the balance.

Beside the edge of a dressed surface the rate is taken as f·rate·(1 − x/L), falling from the edge
to the reach L, or as f·rate up to L/2, where it ends at once (common practice, no published source;
what both are off by is in the strip's u); f, the edge rate over the surface's own, is 1 ± 0.15
before any catch says better. The catches of one group of surfaces (a dressing, or what its loads
name) give the probability of every L from 0 to 20 m, f and how the throw differs along the edge
being integrated out; so does the overthrow of the balance; their product is both together, in which
the strip of each L is the mean of both by their variances. Bayes' rule on a grid (JCGM 101:2008,
6.2) needs no starting value and stays honest where all catches lie beyond the reach.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geosand.balance.account import Balance
from geosand.balance.rings.strips import parts_less_holes
from geosand.balance.strip_widths import strips_of
from geosand.balance.throw_shape import U_SHARE
from geosand.columns import Floats, Ints, Runs, columns, ratio
from geosand.distributions import normal_quantile
from geosand.estimates import Estimates
from geosand.rates.surface_rates import Rates
from geosand.site.tables import Site
from geosand.tuples import NamedTuple

U_EDGE_RATE = 0.15  #: relative, of the edge rate over the surface's, before a catch says better
LEAST_U_X_M = 0.1  #: of a distance from the edge: taped, or better known than a tray is long
LEAST_SCATTER = 0.03  #: of a catch's rate over the surface's: bounce and splash, also where none is
LONGEST_M = 20.0  #: reach that is thought of at most
TINY = 1e-30  #: likelihood of a reading that fits nothing at all
GRID_M = np.geomspace(0.02, LONGEST_M, 400)
USUAL_M = 4.0  #: reaches are half normal with this sd before a catch says better (common practice)
#: Relative, of a strip by catches: sand does not fall along a straight line. Own choice: what sand
#: laid pass by pass shows, where 12 to 48 trays miss the strip by 13 to 31 %.
U_SHAPE = 0.2
#: How reach and rate may differ along an edge, relative, and whether the throw ends at once: one
#: that tapers, ones that end where a pass or a swath happens to, here sooner and there later. Own
#: choice, on sand laid pass by pass.
KINDS = (
    (0.0, 0.1, False),
    (0.5, 0.2, False),
    (1.0, 0.2, False),
    (0.3, 0.1, True),
    (0.6, 0.2, True),
)
EDGE_RATES = 1 + U_EDGE_RATE * np.linspace(-3, 3, 25)  #: that are thought of
PLACES = 6  #: along an edge, of as many equally likely reaches
ROOM = 1 << 15  #: figures a column, some reaches at a time: what a processor's cache holds


@columns
class Throw:
    """Reach and strip width of each group from one kind of evidence; nan where there is none."""

    reach_m: Floats
    u_reach_m: Floats
    edge_rate: Floats  #: f, edge rate over the surface's rate
    u_edge_rate: Floats
    strip_width_m: Floats  #: width of a strip at the surface's rate that holds what was thrown
    u_strip_width_m: Floats
    strip_low_m: Floats  #: 95 %
    strip_high_m: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class ThrowFit:
    """One row a group of surfaces that share an overthrow."""

    dressing: Ints  #: row of Dressings
    surfaces: tuple[frozenset[int], ...]  #: rows of Dressed in it
    catches: Ints  #: ring catches near its surfaces
    edge_kg: Floats  #: Σ rate · perimeter, kg per metre of strip
    overthrow: Estimates  #: kg, of the balance
    from_catches: Throw
    together: Throw  #: catches and balance; the balance alone where there are no ring catches
    sigmas: Floats  #: strip of the balance less strip of the catches, over its u


def throw_fit(balance: Balance) -> ThrowFit:
    """Fit reach and edge rate of every group to its ring catches, and to its balance as well."""
    site, register, rates = balance.site, balance.areas, balance.rates
    group, of_group = balance.group_of_row, balance.dressing_of_group
    size = len(of_group)
    surface, known = site.dressed.surface, np.nan_to_num(rates.rate.value)
    each_edge = known * register.perimeter_m[surface]
    edge = np.bincount(group, each_edge, size).astype(np.float64)
    by_balance = strips_of(site, register, rates, balance.group_overthrow, group).width
    turn = np.pi * parts_less_holes(register.owned_plane[surface])
    turn = ratio(np.bincount(group, known * turn, size), edge, empty=0.0)
    row, ring_group = ring_catches(balance)
    likely, mean_f, u_f = _from_catches(site, rates, row, ring_group, size)
    catches = np.bincount(ring_group, minlength=size)
    strip = mean_f * (GRID_M / 2 + turn[:, None] * GRID_M**2 / 3)
    beside = np.bincount(rates.assignment.nearest[row], minlength=len(group))
    other = np.where(catches > 0, np.hypot(U_SHAPE, of_some(beside, each_edge, group, size)), 0.0)
    u_strip = np.hypot(u_f / mean_f, other[:, None]) * strip
    measured, u_measured = by_balance.value, by_balance.u()
    has = (catches > 0) & (edge > 0)
    alone = _summary(np.where(has[:, None], likely, np.nan), mean_f, u_f, strip, u_strip)
    gap = measured[:, None] - strip
    with np.errstate(invalid="ignore", divide="ignore"):
        spread_out = u_measured[:, None] ** 2 + u_strip**2
        balance_says = -(gap**2) / spread_out / 2 - np.log(spread_out) / 2
    trust = u_strip**2 / spread_out  # in the balance, for the strip of some L
    u_both = u_strip * np.sqrt(1 - trust)
    both = _summary(likely + balance_says, mean_f, u_f, strip + trust * gap, u_both)
    apart = np.hypot(u_measured, alone.u_strip_width_m)
    return ThrowFit(
        dressing=of_group,
        surfaces=tuple(frozenset(np.flatnonzero(group == g).tolist()) for g in range(size)),
        catches=catches,
        edge_kg=edge,
        overthrow=balance.group_overthrow,
        from_catches=alone,
        together=both,
        sigmas=ratio(measured - alone.strip_width_m, apart),
    )


def of_some(catches: Ints, edge_kg: Floats, group: Ints, size: int) -> Floats:
    """Relative u (groups,) of a strip that some surfaces tell for all of their group.

    With p the share of the ``catches`` (n,) and w that of the edge beside a surface whose throw is
    off by its own δ, one u of which is ``U_SHARE``, the trays see Σ p·δ and the group throws
    Σ w·δ: U_SHARE·√Σ (p − w)². Nothing where trays lie beside all surfaces alike.
    """
    tray_share, edge_share = (
        ratio(column, np.bincount(group, column, size)[group], empty=0.0)
        for column in (catches, edge_kg)
    )
    return U_SHARE * np.sqrt(np.bincount(group, (tray_share - edge_share) ** 2, size))


def ring_catches(balance: Balance) -> tuple[Ints, Ints]:
    """Catches beside a dressed surface whose rate is known (rows), and the group of each."""
    rates, where = balance.rates, balance.rates.assignment
    counts = rates.each.counts & (where.nearest >= 0)
    counts &= np.isin(where.zone, ("collar", "surrounds", "farther")) & (where.outside_m > 0)
    row = np.flatnonzero(counts & (where.outside_m <= LONGEST_M))
    nearest = where.nearest[row]
    kept = np.nan_to_num(rates.rate.value[nearest]) > 0
    return row[kept], balance.group_of_row[nearest[kept]]


class Readings(NamedTuple):
    """Ring catches (n,)."""

    x: Floats  #: distance from the edge, m
    y: Floats  #: rate over that of the nearest surface
    known: Floats  #: variance of y from catches on surfaces, where it is 1
    u_x: Floats  #: m, above 0


class Fall(NamedTuple):
    """Of catches (some, n) for some L: rate over that at the edge, −1/2·variance, its weight."""

    m: Floats
    less: Floats
    scale: Floats


def _from_catches(
    site: Site, rates: Rates, row: Ints, group: Ints, groups: int
) -> tuple[Floats, Floats, Floats]:
    """Log of the likelihood of each L, mean and u of f given L: each (groups, grid).

    A catch's rate over that of the nearest surface is f·m(L·q) with m = max(0, 1 − x/L), or 1 up
    to L/2, which holds as much, and 0 beyond. Its standard deviation is
    √(0.03² + (c·m)² + (uₓ·m′)² + (s·max(0, 1 − x/2L))²), or s·m for the last: c is the scatter of
    catches on a surface with the surface rate's own u, uₓ the position's where x is not taped, at
    least 0.1 m, and 0.1 m where it is. The reach at a catch is L·q, q log-normal about 1; how
    widely, and s, by which the rate differs along the edge, are integrated out over KINDS, each
    alike before the catches tell. A mixture and no wider normal: a tray that caught nothing says
    that the throw ended before it there, however short it is elsewhere.
    """
    where, dressing = rates.assignment, site.catches.dressing[row]
    nearest, x = where.nearest[row], where.outside_m[row]
    rate = rates.rate.value[nearest]
    own = ratio(rates.model.sigma_e, rates.model.mu, empty=0.0)[dressing]
    sampling = rates.rate.by_category().get("sampling", np.zeros(len(rates.rate)))[nearest] / rate
    taped = np.isfinite(site.catches.edge_distance_m[row])
    u_x = np.where(taped, LEAST_U_X_M, site.catches.position_accuracy_m[row])
    u_x = np.maximum(u_x, LEAST_U_X_M)
    catch = Readings(x, rates.each.rate_kg_m2[row] / rate, own**2 + sampling**2, u_x)
    runs = Runs(group, groups)
    blocks = 1 + (len(row) + len(EDGE_RATES) * groups) * len(GRID_M) // ROOM
    some = np.array_split(GRID_M, min(blocks, len(GRID_M)))
    found = [_of_reaches(catch, reach_m, runs) for reach_m in some]
    likely, mean, u = (np.concatenate(column, axis=1) for column in zip(*found, strict=True))
    # the steps of the grid are as long as L: each stands for so much of the prior
    return likely + np.log(GRID_M) - (GRID_M / USUAL_M) ** 2 / 2, mean, u


def _of_reaches(catch: Readings, reach_m: Floats, runs: Runs) -> tuple[Floats, Floats, Floats]:
    """Log likelihood of some L with f and KINDS integrated out, mean and u of f: (groups, some)."""
    parts = []
    for scatter, uneven, at_once in KINDS:
        reaches = np.multiply.outer(q_of(scatter), reach_m)[:, :, None]
        parts.append(_given_kind(_falls(catch, reaches, uneven, at_once), catch.y, runs))
    likely, mean, u = (np.stack(column) for column in zip(*parts, strict=True))
    top = likely.max(axis=0)
    weight = np.exp(likely - top)
    total = weight.sum(axis=0)
    middle = (weight * mean).sum(axis=0) / total
    variance = (weight * (u**2 + (mean - middle) ** 2)).sum(axis=0) / total
    return (top + np.log(total)).T, middle.T, np.sqrt(variance).T


def q_of(scatter: float) -> Floats:
    """Equally likely reaches along an edge over their mean, log-normal; one where all are alike."""
    if not scatter:
        return np.ones(1)
    places = normal_quantile((np.arange(PLACES) + 0.5) / PLACES)
    q: Floats = np.exp(np.sqrt(np.log1p(scatter**2)) * places)
    return np.asarray(q / q.mean(), dtype=np.float64)


def _falls(catch: Readings, reaches: Floats, uneven: float, at_once: bool) -> list[Fall]:
    """For each of ``reaches`` (places, some, 1) along an edge what its catches (n,) would hold."""
    falls = []
    for far in reaches:
        if at_once:  # a step at L/2, at a place that is known to ± √3·uₓ
            blur = np.sqrt(3) * catch.u_x
            m = np.clip(0.5 + (far / 2 - catch.x) / (2 * blur), 0.0, 1.0)
            slope, along = np.where((m > 0) & (m < 1), 1 / (2 * blur), 0.0), m
        else:
            m = np.maximum(0.0, 1 - catch.x / far)
            slope = np.where(m > 0, 1 / far, 0.0)
            along = np.maximum(0.0, 1 - catch.x / (2 * far))
        variance = LEAST_SCATTER**2 + catch.known * m**2 + (catch.u_x * slope) ** 2
        variance += (uneven * along) ** 2
        falls.append(Fall(m, -1 / (2 * variance), 1 / (len(reaches) * np.sqrt(variance))))
    return falls


def _given_kind(falls: list[Fall], y: Floats, runs: Runs) -> tuple[Floats, Floats, Floats]:
    """Log likelihood of each L with f integrated out, mean and u of f: each (some, groups)."""
    shape = falls[0].m.shape
    likely = np.empty((len(EDGE_RATES), shape[0], runs.size))
    for k, f in enumerate(EDGE_RATES):
        chance = np.full(shape, TINY)
        for m, less, scale in falls:
            each = y - f * m
            each *= each
            each *= less
            chance += np.multiply(np.exp(each, out=each), scale, out=each)
        likely[k] = runs.sums(np.log(chance, out=chance)) - ((f - 1) / U_EDGE_RATE) ** 2 / 2
    top = likely.max(axis=0)
    weight = np.exp(likely - top)
    total = weight.sum(axis=0)
    f = EDGE_RATES[:, None, None]
    mean = (weight * f).sum(axis=0) / total
    # each step of f stands for all within it
    square = (weight * (f - mean) ** 2).sum(axis=0) / total + np.diff(EDGE_RATES)[0] ** 2 / 12
    return top + np.log(total), mean, np.sqrt(square)


def _summary(likely: Floats, mean_f: Floats, u_f: Floats, strip: Floats, u_strip: Floats) -> Throw:
    """Means and standard uncertainties over the grid; nan where ``likely`` is."""
    known = np.asarray(np.isfinite(likely).all(axis=1))
    safe = np.where(known[:, None], likely, 0.0)
    weight = np.exp(safe - safe.max(axis=1, keepdims=True))
    weight /= weight.sum(axis=1, keepdims=True)
    nothing = np.where(known, 0.0, np.nan)

    def moments(mean: Floats, u: Floats | float) -> tuple[Floats, Floats]:
        middle = (weight * mean).sum(axis=1)
        variance = (weight * ((mean - middle[:, None]) ** 2 + np.square(u))).sum(axis=1)
        return middle + nothing, np.sqrt(variance) + nothing

    reach, u_reach = moments(np.broadcast_to(GRID_M, likely.shape), 0.0)
    edge, u_edge = moments(mean_f, u_f)
    width, u_width = moments(strip, u_strip)
    some = np.array_split(np.arange(len(strip)), 1 + strip.size // ROOM)
    ends = [_limits(weight[k], strip[k], u_strip[k]) for k in some]
    low, high = (np.concatenate(end) + nothing for end in zip(*ends, strict=True))
    return Throw(
        reach_m=reach,
        u_reach_m=u_reach,
        edge_rate=edge,
        u_edge_rate=u_edge,
        strip_width_m=width,
        u_strip_width_m=u_width,
        strip_low_m=low,
        strip_high_m=high,
    )


def _limits(weight: Floats, strip: Floats, u_strip: Floats) -> tuple[Floats, Floats]:
    """95 % of the strip over L, normal at each L: as equally likely places of it.

    From 2.5 to 97.5 %; from 0 where 0 to 95 % is shorter, as where none is likeliest: the shortest
    interval is fitting where a distribution leans to one side (JCGM 101:2008, 5.3.4), and 97.5 %
    stays above, as a strip that there is may be measured as none.
    """
    places = normal_quantile((np.arange(20) + 0.5) / 20)
    each = strip[:, :, None] + u_strip[:, :, None] * places
    each = each.reshape(len(strip), strip.shape[1] * len(places))
    order = np.argsort(each, axis=1)
    share = np.repeat(weight / len(places), len(places), axis=1)
    mass = np.cumsum(np.take_along_axis(share, order, axis=1), axis=1)

    def quantile(probability: float) -> Floats:
        at = np.minimum((mass < probability).sum(axis=1), each.shape[1] - 1)
        end = np.take_along_axis(order, at[:, None], axis=1)
        return np.maximum(np.take_along_axis(each, end, axis=1)[:, 0], 0.0)

    low, most, high = (quantile(probability) for probability in (0.025, 0.95, 0.975))
    return np.where(most < high - low, 0.0, low), high
