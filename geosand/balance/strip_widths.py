"""How wide a strip at full rate would hold the overthrow, of each dressing and spreader."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely

from geosand.areas.near_pairs import near_pairs
from geosand.areas.register import AreaRegister
from geosand.balance.account import NOT_CLOSED, Balance
from geosand.balance.rings.tasks import sums
from geosand.balance.spread import NEW
from geosand.columns import Floats, Geometries, Ints, Runs, Strings, distinct, ragged, ratio
from geosand.estimates import Estimates, Interval
from geosand.rates.catch_rows import rows_of_pairs
from geosand.rates.over_time import (
    CATCHES,
    SURFACE,
    deviations,
    stays_of_totals,
    sum_over_surfaces,
)
from geosand.rates.surface_rates import Rates
from geosand.site.tables import Site
from geosand.tuples import NamedTuple

#: Relative scatter of the strip width from dressing to dressing where little is known of it, taken
#: as two degrees of freedom; our own choice, no published source.
SCATTER, SCATTER_FREEDOM = 0.25, 2.0
STRIP = "strip width"
GAP_M = 0.3  #: between two edges that are one


@dataclass(frozen=True, slots=True, kw_only=True)
class StripWidths:
    """Equivalent strip width of each spreader over its dressings; one row a spreader."""

    spreader: Strings  #: "" = not named
    width: Estimates  #: m, with its sources
    dressings: Ints  #: how many it stands on
    between_m: Floats  #: standard deviation from dressing to dressing

    def interval(self) -> Interval:
        """95 % coverage interval of each mean strip width, m; not below 0."""
        return self.width.interval(floor=0.0)


class Strips(NamedTuple):
    """Strip widths of groups of dressed rows, and what moves them by the deviations of surfaces."""

    width: Estimates  #: m, a row a group
    deviation_m: Floats  #: a row a dressed surface: of its group's width by its own deviation


def strips_of(
    site: Site, register: AreaRegister, rates: Rates, overthrow: Estimates, group: Ints
) -> Strips:
    """Overthrow over W = Σ rate·perimeter of each group, m; nan where W is not above 0.

    What makes the rates too high makes W too large and the overthrow too small: both add up, on
    each surface by itself to (area + width·perimeter)/W.
    """
    perimeter = register.perimeter_m[site.dressed.surface]
    dressing, runs = site.dressed.dressing, Runs(group, len(overthrow))
    edge = sum_over_surfaces(rates.rate, rates.in_mean, dressing, perimeter, runs)
    per_kg = ratio(1.0, edge.value)
    strip = overthrow.scaled(per_kg)
    by_edge = edge.scaled(-strip.value * per_kg)
    both = register.area_m2[site.dressed.surface] + strip.value[group] * perimeter
    both = np.nan_to_num(both * per_kg[group])
    sampling = sum_over_surfaces(rates.rate, rates.in_mean, dressing, both, runs).effects
    width = strip.with_effects(by_edge.effects)
    return Strips(
        width=replace(
            width, effects={**width.effects, **{k: -sampling[k] for k in (SURFACE, CATCHES)}}
        ),
        deviation_m=-deviations(rates.rate, rates.in_mean, dressing, both),
    )


def strip_widths(balance: Balance, *, as_of: np.datetime64 | None = None) -> StripWidths:
    """Mean strip width of each spreader over its dressings, sources kept, with its interval.

    ``as_of`` leaves later dressings out.

    Dressings are weighted by 1/(new variance), new being what differs from one to the next: the
    scatter of the strip itself, catches and bags. Catch efficiency, tray size, labels, edges and
    surfaces' own deviations are the same error in all and add with their signs. A dressing whose
    balance does not close has no strip and is left out. The scatter between n dressings, catches
    and bags included, is s² = (2·((0.25·width)² + v) + Σ(widthᵢ − width)²)/(2 + n − 1) with v what
    catches and bags make of it (mean), with n + 1 degrees of freedom. The perimeter is that of
    every surface: edges between two dressed ones count too, and
    :func:`shared_edges` says how much they are.
    """
    site, register, rates = balance.site, balance.areas, balance.rates
    strips, deviation_m = strips_of(site, register, rates, balance.overthrow, site.dressed.dressing)
    usable = np.isfinite(strips.value) & (balance.verdict != NOT_CLOSED)
    if as_of is not None:
        usable &= site.dressings.date <= as_of
    rows = np.flatnonzero(usable)
    each = strips.rows(rows)
    names, spreader = np.unique(site.dressings.spreader[rows], return_inverse=True)
    groups = len(names)
    count = np.bincount(spreader, minlength=groups)
    new = sum((v**2 for k, v in each.effects.items() if k in NEW), np.zeros(len(rows)))
    width: Floats = ratio(np.bincount(spreader, each.value, groups), count)
    between: Floats = np.zeros(groups)
    known: Floats = ratio(np.bincount(spreader, new, groups), count)
    for _ in range(3):  # the weights need the scatter, which needs the mean
        gap = np.bincount(spreader, (each.value - width[spreader]) ** 2, groups)
        between = SCATTER_FREEDOM * ((SCATTER * width) ** 2 + known) + gap
        between = np.sqrt(between / (SCATTER_FREEDOM + count - 1))
        weight = 1 / np.maximum(new + between[spreader] ** 2, 1e-12)
        weight = weight / np.bincount(spreader, weight, groups)[spreader]
        width = np.bincount(spreader, weight * each.value, groups).astype(np.float64)
    mean = each.scaled(weight).group_sum(spreader, groups, independent=NEW)
    # the scatter between dressings holds what is new in each of them
    effects: dict[str, Floats] = {k: v for k, v in mean.effects.items() if k not in NEW}
    of_dressing, share = np.full(len(strips), -1, dtype=np.int64), np.zeros(len(strips))
    of_dressing[rows], share[rows] = spreader, weight
    effects[SURFACE] = _lasting(site, of_dressing, deviation_m, share, groups)
    squares = np.bincount(spreader, weight**2, groups).astype(np.float64)
    effects[STRIP] = np.asarray(between * np.sqrt(squares), dtype=np.float64)
    return StripWidths(
        spreader=names,
        width=Estimates(
            value=mean.value,
            effects=effects,
            degrees_of_freedom={STRIP: (SCATTER_FREEDOM + count - 1).astype(np.float64)},
        ),
        dressings=count,
        between_m=between,
    )


def _lasting(
    site: Site, of_dressing: Ints, deviation_m: Floats, share: Floats, groups: int
) -> Floats:
    """What stays (groups,) of means of strips; group (-1 = none) and ``share`` are by dressing."""
    dressed = site.dressed
    rows = np.flatnonzero(of_dressing[dressed.dressing] >= 0)
    dressing, ground = dressed.dressing[rows], site.surfaces.ground[dressed.surface[rows]]
    of_row = of_dressing[dressing]
    return stays_of_totals(
        deviation_m[rows] * share[dressing], ground, Runs(of_row, groups), of_row
    )


def shared_edges(balance: Balance, spreaders: Strings) -> Floats:
    """Share of each spreader's Σ rate·perimeter (k,) along edges with another dressed surface.

    An edge within 0.3 m of another surface of the same dressing is shared: drawn edges seldom meet.
    Nothing is thrown over there; a strip width spreads the overthrow over the whole perimeter, so
    that along the other edges the strip is wider by 1/(1 − share).
    """
    site, register = balance.site, balance.areas
    dressing, surface = site.dressed.dressing, site.dressed.surface
    known = np.nan_to_num(balance.rates.rate.value)
    lie = distinct(surface)
    one, other, length_m = _common(register.owned_plane[lie], site.surfaces.edition[lie])
    first, last = np.searchsorted(lie[one], np.stack((surface, surface + 1)))
    row, pair = ragged(first, last - first)
    # each pair is measured once, however often both are dressed together
    together = rows_of_pairs(dressing, surface, dressing[row], lie[other[pair]]) >= 0
    shared = sums(row[together], length_m[pair[together]], len(surface))
    total = np.zeros((2, len(spreaders)))
    for k, name in enumerate(spreaders.tolist()):
        mine = site.dressings.spreader[dressing] == name
        for column, edge_m in enumerate((shared, register.perimeter_m[surface])):
            total[column, k] = (known[mine] * edge_m[mine]).sum()
    return np.minimum(ratio(total[0], total[1], empty=0.0), 1.0)


def _common(shapes: Geometries, edition: Ints) -> tuple[Ints, Ints, Floats]:
    """Pairs of shapes near each other, both ways round and sorted; the edge of the first there."""
    bounds = shapely.bounds(shapes)
    one, other = near_pairs(bounds, edition, bounds, edition, GAP_M)
    near = (one != other) & shapely.dwithin(shapes[one], shapes[other], GAP_M)
    one, other = one[near], other[near]
    beside = shapely.buffer(shapes, GAP_M, quad_segs=2)
    edges = shapely.intersection(shapely.boundary(shapes)[one], beside[other])
    return one, other, shapely.length(edges)
