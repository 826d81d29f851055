"""Rate and depth of every dressed surface, with the sources of their uncertainty."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from geosand.areas.register import AreaRegister
from geosand.columns import Bools, Floats, Ints, distinct, ratio
from geosand.errors import Finding
from geosand.estimates import Estimates
from geosand.rates.assignment import Assignment, assign
from geosand.rates.catch_rates import CatchRates, bulk_densities, catch_rates
from geosand.rates.random_effects import DressingRates, SurfaceRates, surface_rates
from geosand.rates.rate_findings import (
    empty_trays,
    far_catches,
    model_findings,
    pool_findings,
    set_aside,
)
from geosand.rates.uniformity import Uniformity, uniformity
from geosand.site.tables import Site

SURFACE, CATCHES = "sampling: surface", "sampling: catches"
#: error of a dressing's mean: by the surfaces that were caught on, and by the catches on them
MEAN_SURFACES, MEAN = "sampling: mean of surfaces", "sampling: mean of catches"
NEW_EACH_TIME = frozenset({CATCHES, MEAN})  #: not the same error in the next dressing
TAPER = "edge taper"
U_TAPER = 0.15  #: relative; of the share of a surface within half a swath of its edge
EDGE_BAND_M = 1.0  #: half a swath where the swath is unknown


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Rates:
    """Rates of a site; tables of one row a dressed surface unless said otherwise."""

    rate: Estimates  #: kg/m² of dry product; nan where its dressing has no catches
    depth: Estimates  #: m, nominal: rate / bulk density
    catches: Ints  #: catches that count on it
    own: Bools  #: True: stands on its own catches; False: estimated from the other surfaces
    mass_rate_kg_m2: Floats  #: from catches with a mass alone
    volume_rate_kg_m2: Floats  #: from catches with a dry volume alone
    model: DressingRates  #: one row a dressing
    density: Estimates  #: kg/m³, one row a sand
    assignment: Assignment  #: one row a catch
    each: CatchRates  #: one row a catch
    catch_depth_m: Floats  #: one row a catch
    uniformity: Uniformity  #: one row a dressing
    surface_uniformity: Uniformity  #: one row a dressed surface
    findings: tuple[Finding, ...]


def site_rates(site: Site, register: AreaRegister) -> Rates:
    """Rates of all dressings of a site in one go. Raises Refused for catches that can not be."""
    density, findings = bulk_densities(site)
    where = assign(site, register)
    each = catch_rates(site, density.value)
    on = where.dressed >= 0
    counted = each.counts & on
    value, model, parts = _model(site, where, each.rate_kg_m2, counted)
    rate = _with_sources(site, value, parts, model, each, where, density)
    taper, taper_findings = _edge_taper(site, register, where, counted)
    rate = rate.with_effects({TAPER: taper * value})
    catches = np.bincount(where.dressed[counted], minlength=len(site.dressed))
    findings += [*set_aside(site), *where.findings, *pool_findings(site, where)]
    scaled = each.rate_kg_m2 / np.where(on, _planned_scale(site)[where.dressed], 1.0)
    findings += [*empty_trays(site, where, each), *far_catches(site, where, each, scaled)]
    findings += taper_findings
    findings += model_findings(site, model, catches)
    of_sand = density.value[site.dressings.sand][site.catches.dressing]
    by_volume = each.volume_depth_m * of_sand
    depth = np.where(each.by_mass, each.mass_rate_kg_m2 / of_sand, each.volume_depth_m)
    of_surface, of_dressing = where.dressed[counted], site.catches.dressing[counted]

    def rates_by(of_catch: Floats, counts: Bools) -> Floats:
        """Rates by one way of measuring; often it is the one that all catches were measured in."""
        if not counts.any():
            return np.full(len(site.dressed), np.nan)
        same = (counts == counted).all() and (of_catch == each.rate_kg_m2)[counted].all()
        return value.copy() if same else _model(site, where, of_catch, counts)[0]

    return Rates(
        rate=rate,
        depth=_depth(site, rate, density),
        catches=catches,
        own=catches > 0,
        mass_rate_kg_m2=rates_by(each.mass_rate_kg_m2, each.counts_mass & on),
        volume_rate_kg_m2=rates_by(by_volume, each.counts_volume & on),
        model=model,
        density=density,
        assignment=where,
        each=each,
        catch_depth_m=depth,
        uniformity=uniformity(depth[counted], of_dressing, len(site.dressings)),
        surface_uniformity=uniformity(depth[counted], of_surface, len(site.dressed)),
        findings=tuple(findings),
    )


def _model(
    site: Site, assignment: Assignment, rate: Floats, counts: Bools
) -> tuple[Floats, DressingRates, dict[str, Floats]]:
    """Rate of each dressed surface from the random-effects model and its sampling effects.

    Where all rows of a dressing have planned depths that differ, the model is on rate/planned.
    """
    dressed = site.dressed
    planned = _planned_scale(site)
    row = assignment.dressed[counts]
    names = {name: k for k, name in enumerate(dict.fromkeys(site.dressings.spreader.tolist()))}
    spreader = np.array(
        [names[s] if s else -1 for s in site.dressings.spreader.tolist()], dtype=int
    )
    found = surface_rates(
        y=rate[counts] / planned[row],
        group=dressed.dressing[row],
        surface=dressed.surface[row],
        spreader=spreader,
        dressed_group=dressed.dressing,
        dressed_surface=dressed.surface,
    )
    lasting = _lasting_share(found)[dressed.dressing]
    parts = {
        SURFACE: found.persistent,
        CATCHES: found.within,
        MEAN_SURFACES: found.mean_effect * np.sqrt(lasting),
        MEAN: found.mean_effect * np.sqrt(1 - lasting),
    }
    return found.value * planned, found.dressings, {k: v * planned for k, v in parts.items()}


def _lasting_share(found: SurfaceRates) -> Floats:
    """Share of var μ (a row a dressing) that comes from which surfaces were caught on.

    μ = Σ gᵢ·ȳᵢ, g ∝ 1/(σb² + σe²/nᵢ): var μ = Σ gᵢ²·σb² + Σ gᵢ²·σe²/nᵢ. The first part stays from
    dressing to dressing where the same surfaces get the trays, as surfaces keep their deviations.
    """
    size, caught = len(found.dressings.mu), found.n > 0
    group = found.group[caught]
    between = found.dressings.sigma_b[group] ** 2
    total = between + found.dressings.sigma_e[group] ** 2 / found.n[caught]
    square = ratio(1.0, total, empty=0.0) ** 2
    lasting = np.bincount(group, square * between, size)
    return ratio(lasting, np.bincount(group, square * total, size), empty=0.0)


def _planned_scale(site: Site) -> Floats:
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
    value: Floats,
    parts: dict[str, Floats],
    model: DressingRates,
    each: CatchRates,
    assignment: Assignment,
    density: Estimates,
) -> Estimates:
    """The rates as estimates: sampling, tray size, catch efficiency, moisture, bulk density."""
    settings, group = site.settings, site.dressed.dressing
    effects = dict(parts)
    effects["tray size"] = -value * settings.u_tray
    effects["catch efficiency"] = -value * settings.u_catch_efficiency / settings.catch_efficiency
    counted = each.counts & (assignment.dressed >= 0)
    size = len(site.dressings)
    total = np.maximum(np.bincount(site.catches.dressing[counted], minlength=size), 1)
    weighed = counted & each.by_mass
    dressing, water = site.catches.dressing[weighed], site.catches.moisture[weighed]
    for label, u in site.moistures.by_source().items():
        relative = np.bincount(dressing, (u / (1 + site.moistures.ratio))[water], size) / total
        if relative.any():
            _add(effects, label, -value * relative[group])
    by_volume = np.bincount(site.catches.dressing[counted & ~each.by_mass], minlength=size) / total
    sand = site.dressings.sand[group]
    for source, effect in density.effects.items():
        relative = effect[sand] / density.value[sand]
        if by_volume.any():
            _add(effects, source, value * by_volume[group] * relative)
    return Estimates(
        value=value,
        effects=effects,
        per_row=frozenset({SURFACE, CATCHES}),
        degrees_of_freedom={"sampling": model.degrees_of_freedom[group]},
    )


def _add(effects: dict[str, Floats], source: str, effect: Floats) -> None:
    effects[source] = effects[source] + effect if source in effects else effect


def _depth(site: Site, rate: Estimates, density: Estimates) -> Estimates:
    """Depth = rate / bulk density, the density's own sources entering with their sign."""
    sand = site.dressings.sand[site.dressed.dressing]
    value = density.value[sand]
    depth = rate.scaled(1 / value)
    return depth.with_effects(
        {source: -depth.value * effect[sand] / value for source, effect in density.effects.items()}
    )


def _edge_taper(
    site: Site, register: AreaRegister, assignment: Assignment, counts: Bools
) -> tuple[Floats, list[Finding]]:
    """Relative effect per dressed row where no catch saw the band along the edge.

    A surface is seen where one of its catches lies within half a swath of its edge; a surface
    without catches where any catch of its dressing does.
    """
    dressed, size = site.dressed, len(site.dressed)
    swath = site.dressings.swath_m[dressed.dressing]
    band = np.where(np.isnan(swath), EDGE_BAND_M, swath / 2)
    rows = assignment.dressed[counts]
    near = rows[assignment.inside_m[counts] <= band[rows]]
    seen = np.bincount(near, minlength=size) > 0
    caught = np.bincount(rows, minlength=size) > 0
    any_seen = np.bincount(dressed.dressing, seen, len(site.dressings)) > 0
    blind = np.where(caught, ~seen, ~any_seen[dressed.dressing])
    blind &= (np.bincount(dressed.dressing, caught, len(site.dressings)) > 0)[dressed.dressing]
    effect = np.zeros(size)
    if not blind.any():
        return effect, []
    keys, which = np.unique(
        np.stack([dressed.surface, np.round(band * 1000).astype(np.int64)], axis=1)[blind],
        axis=0,
        return_inverse=True,
    )
    shapes = register.owned_plane[keys[:, 0]]
    inner = shapely.area(shapely.buffer(shapes, -keys[:, 1] / 1000, quad_segs=4))
    share = 1 - ratio(inner, shapely.area(shapes), empty=1.0)
    effect[blind] = U_TAPER * share[which.reshape(-1)]
    findings = []
    for dressing in distinct(dressed.dressing[blind & caught]):
        n = int((blind & caught & (dressed.dressing == dressing)).sum())
        text = (
            f"on {n} {'surface' if n == 1 else 'surfaces'} no catch lies within half a swath of the"
            " edge, where the rate falls: lay one tray near the edge"
        )
        findings.append(Finding(about=str(site.dressings.id[dressing]), text=text, topic="rate"))
    return effect, findings
