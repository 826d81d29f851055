"""Rate and depth of every dressed surface, with the sources of their uncertainty."""

from __future__ import annotations

from functools import cached_property

import numpy as np

from geosand.areas.register import AreaRegister
from geosand.columns import Bools, Floats, Ints, Late, frozen, take
from geosand.errors import Finding
from geosand.estimates import Estimates
from geosand.rates.assignment import Assignment, assign
from geosand.rates.catch_rates import CatchRates, bulk_densities, catch_rates, unlike_water
from geosand.rates.catch_rows import Counted, counted_on
from geosand.rates.edge_taper import edge_taper
from geosand.rates.over_time import CATCHES, MEAN, SURFACE
from geosand.rates.random_effects import DressingRates, SurfaceRates, rates_of_rows
from geosand.rates.rate_findings import (
    chosen_by_value,
    empty_trays,
    far_catches,
    model_findings,
    pool_findings,
    set_aside,
    tight_catches,
    unlike_settings,
)
from geosand.rates.uniformity import Uniformity, uniformity
from geosand.site.tables import Site

TAPER = "edge taper"


@frozen
class Rates(Late):
    """Rates of a site; tables of one row a dressed surface unless said otherwise."""

    rate: Estimates  #: kg/m² of dry product; nan where its dressing has no catches
    depth: Estimates  #: m, nominal: rate / bulk density
    catches: Ints  #: catches that count on it
    own: Bools  #: True: stands on its own catches; False: estimated from the other surfaces
    in_mean: Floats  #: weight of its own catches' mean in its dressing's mean
    mass_rate_kg_m2: Floats  #: from catches with a mass alone
    volume_rate_kg_m2: Floats  #: from catches with a dry volume alone
    model: DressingRates  #: one row a dressing
    density: Estimates  #: kg/m³, one row a sand
    assignment: Assignment  #: one row a catch
    each: CatchRates  #: one row a catch
    catch_depth_m: Floats  #: one row a catch
    uniformity: Uniformity  #: one row a dressing
    counted: Counted  #: one row a catch that counts
    too_full: Ints  #: rows of Catches that hold far more than the others of their dressing
    odd_readings: tuple[Finding, ...]  #: of catches that hold nothing, or far too much
    findings: tuple[Finding, ...]

    @cached_property
    def surface_uniformity(self) -> Uniformity:
        """One row a dressed surface."""
        depth = self.catch_depth_m[self.counted.catch]
        return uniformity(depth, self.counted.row, len(self.catches))


def site_rates(site: Site, register: AreaRegister) -> Rates:
    """Rates of all dressings of a site in one go, or of all sites that it is laid of.

    Raises Refused for catches that can not be.
    """
    density, findings = bulk_densities(site)
    where = assign(site, register)
    each = catch_rates(site, density.value)
    on, dressing = where.dressed >= 0, site.catches.dressing
    counted = counted_on(where.dressed, dressing, each.rate_kg_m2, each.counts & on)
    planned = planned_scale(site)
    found = _model(site, planned, counted)
    value, model = found.value * planned, found.dressings
    parts = _sampling(found, planned)
    rate = _with_sources(site, found, planned, parts, each, counted, density)
    taper, taper_findings = edge_taper(site, register, where, counted)
    rate = rate.with_effects({TAPER: taper * value})
    catches = np.bincount(counted.row, minlength=len(site.dressed))
    sand = site.dressings.sand[site.dressed.dressing]
    scaled = each.rate_kg_m2.copy()
    scaled[on] /= planned[where.dressed[on]]
    of_catch = density.value[site.dressings.sand][dressing]
    depth = np.where(each.by_mass, each.mass_rate_kg_m2 / of_catch, each.volume_depth_m)
    empty = empty_trays(site, where, each)
    far, doubtful, too_full = far_catches(site, where, each, scaled)
    by_mass = counted_on(where.dressed, dressing, each.mass_rate_kg_m2, each.counts_mass & on)
    by_volume = counted_on(
        where.dressed, dressing, each.volume_depth_m * of_catch, each.counts_volume & on
    )
    return Rates(
        rate=rate,
        depth=with_density(rate.scaled(1 / density.value[sand]), density, sand),
        catches=catches,
        own=catches > 0,
        in_mean=found.in_mean,
        mass_rate_kg_m2=_by_one_way(site, planned, value, counted, by_mass),
        volume_rate_kg_m2=_by_one_way(site, planned, value, counted, by_volume),
        model=model,
        density=density,
        assignment=where,
        each=each,
        catch_depth_m=depth,
        uniformity=uniformity(depth[counted.catch], counted.dressing, len(site.dressings)),
        counted=counted,
        too_full=too_full,
        odd_readings=(*empty, *doubtful),
        findings=(
            *findings,
            *unlike_water(site),
            *set_aside(site),
            *where.findings,
            *pool_findings(site, where),
            *empty,
            *far,
            *chosen_by_value(site, where, each, scaled),
            *taper_findings,
            *tight_catches(site, register.area_m2[site.dressed.surface], where, counted),
            *model_findings(site, model, catches),
            *unlike_settings(site, catches),
        ),
    )


def _model(site: Site, planned: Floats, counted: Counted) -> SurfaceRates:
    """Rate over planned scale of each dressed surface, from the random-effects model.

    The scale is 1 but where all rows of a dressing have planned depths that differ.
    """
    y = counted.rate_kg_m2 / planned[counted.row]
    return rates_of_rows(y, counted.row, _spreaders(site), site.dressed.dressing)


def _sampling(found: SurfaceRates, planned: Floats) -> dict[str, Floats]:
    parts = {SURFACE: found.persistent, CATCHES: found.within, MEAN: found.mean_effect}
    return {name: part * planned for name, part in parts.items()}


def _spreaders(site: Site) -> Ints:
    """A number for the spreader of each dressing, of one site only; -1 where it is not said."""
    names, code = np.unique(site.dressings.spreader, return_inverse=True)
    _, _, spreader = np.unique(
        site.of_dressing * len(names) + code, return_index=True, return_inverse=True
    )
    return np.where(site.dressings.spreader == "", -1, spreader)


def _by_one_way(
    site: Site, planned: Floats, value: Floats, counted: Counted, way: Counted
) -> Floats:
    """Rates (a row a dressed surface) by one way of measuring, nan in sites without any.

    Where all catches of a dressing were measured in it they are known already.
    """
    if not len(way.catch):
        return np.full(len(value), np.nan)
    of_dressing, group = site.of_dressing, site.dressed.dressing
    some = np.bincount(of_dressing[way.dressing], minlength=1 + int(of_dressing.max())) > 0
    rate = np.full(len(site.catches), np.nan)
    rate[counted.catch] = counted.rate_kg_m2
    size = len(of_dressing)
    same = np.bincount(way.dressing, rate[way.catch] == way.rate_kg_m2, size)
    of_way, of_all = (np.bincount(c.dressing, minlength=size) for c in (way, counted))
    known = (same == of_way) & (of_way == of_all)
    again = np.zeros_like(some)
    again[of_dressing[~known]] = True
    again &= some
    out = np.where(some[of_dressing[group]], value, np.nan)
    if again.any():
        found = _model(site, planned, take(way, again[of_dressing[way.dressing]]))
        out = np.where(known[group], out, found.value * planned)
    return out


def planned_scale(site: Site) -> Floats:
    """Planned depth over the dressing's mean planned depth; 1 where not all rows say one."""
    planned, group = site.dressed.planned_m, site.dressed.dressing
    size = len(site.dressings)
    known = np.bincount(group, np.isnan(planned), size) == 0
    count = np.maximum(np.bincount(group, minlength=size), 1)
    mean = np.bincount(group, np.nan_to_num(planned), size) / count
    usable = known & (mean > 0)
    return np.where(usable[group], planned / np.where(usable, mean, 1.0)[group], 1.0)


def _with_sources(
    site: Site,
    found: SurfaceRates,
    planned: Floats,
    parts: dict[str, Floats],
    each: CatchRates,
    counted: Counted,
    density: Estimates,
) -> Estimates:
    """The rates as estimates: sampling, tray size, catch efficiency, moisture, bulk density.

    Water and bulk density act on single catches, weighed or not, and from them on the surfaces.
    """
    members, group, value = site.members, site.dressed.dressing, found.value * planned
    of_row = site.of_dressing[group]
    relative_u = members.u_catch_efficiency / members.catch_efficiency
    effects = dict(parts)
    effects["tray size"] = -value * members.u_tray[of_row]
    effects["catch efficiency"] = -value * relative_u[of_row]
    by_mass = each.by_mass[counted.catch]
    y = counted.rate_kg_m2 / planned[counted.row]
    water = site.catches.moisture[counted.catch]
    for label, u in site.moistures.by_source().items():
        drier = np.append(u / (1 + site.moistures.ratio), 0.0)[water]  # row -1 has none
        moved = np.where(by_mass, -y * drier, 0.0)
        if moved.any():
            _add(effects, label, planned * found.of_catches(moved, counted.row))
    if not by_mass.all():
        sand = site.dressings.sand[counted.dressing]
        for source, effect in density.effects.items():
            moved = np.where(by_mass, 0.0, y * (effect / density.value)[sand])
            _add(effects, source, planned * found.of_catches(moved, counted.row))
    return Estimates(
        value=value,
        effects=effects,
        per_row=frozenset({SURFACE, CATCHES}),
        degrees_of_freedom={"sampling": found.dressings.degrees_of_freedom[group]},
    )


def _add(effects: dict[str, Floats], source: str, effect: Floats) -> None:
    effects[source] = effects[source] + effect if source in effects else effect


def with_density(depth: Estimates, density: Estimates, sand: Ints) -> Estimates:
    """Depths (m) of a ``sand`` each with the sources of its bulk density, which divided them."""
    return depth.with_effects(
        {
            source: -depth.value * (effect / density.value)[sand]
            for source, effect in density.effects.items()
        }
    )
