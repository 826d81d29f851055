"""One catch to a rate and a depth, by mass and by volume; the sand's bulk density by witness.

dry mass = (gross − tare)/(1 + w), w on dry basis; rate = dry mass/(tray area × catch efficiency);
depth by volume = dry volume/(tray area × catch efficiency). Sand in a tray is its own definition
of rate: no published standard for sand dressings was found (common practice).
"""

from __future__ import annotations

import numpy as np

from geosand.columns import Bools, Floats, Ints, columns, ratio
from geosand.errors import Finding
from geosand.estimates import Estimates
from geosand.rates.about_dressings import Teller, by_group
from geosand.rates.groups import group_mean_sd
from geosand.site.moisture_book import UNLIKE_WATER
from geosand.site.tables import Site
from geosand.tuples import NamedTuple

DEFAULT_BULK_DENSITY_KG_M3 = 1560.0
U_DEFAULT_BULK_DENSITY = 0.05
FEW_WITNESSES, U_FEW_WITNESSES, U_LEAST_WITNESSES = 3, 0.03, 0.01


@columns
class CatchRates:
    """One row a catch. A reading shared by several trays counts once, at its first tray."""

    mass_rate_kg_m2: Floats  #: nan where not weighed
    volume_depth_m: Floats  #: nan where no dry volume
    rate_kg_m2: Floats  #: by mass where both exist, else by volume
    by_mass: Bools
    counts_mass: Bools  #: False for the other trays of a pooled weighing
    counts_volume: Bools
    counts: Bools  #: enters the surface's rate: used, and the first tray of its reading


def _pooled(values: Floats, areas: Floats, pool: Ints) -> tuple[Floats, Bools]:
    """Value per area (n,): own reading over own area, or the pool's over the area of its trays.

    Also whether a row stands for its reading: its own, or the first tray of a pool.
    """
    per_area, stands = values / areas, pool < 0
    where = np.flatnonzero(~stands)
    if len(where):
        _, first, member = np.unique(pool[where], return_index=True, return_inverse=True)
        total = np.bincount(member, np.nan_to_num(values[where]))
        per_area[where] = ratio(total, np.bincount(member, areas[where]))[member]
        stands[where[first]] = True
    return per_area, stands


def catch_rates(site: Site, density_kg_m3: Floats) -> CatchRates:
    """Rates of all catches; ``density_kg_m3`` is the bulk density per sand."""
    catches = site.catches
    efficiency = site.members.catch_efficiency[site.of_dressing]
    caught_area = catches.tray_area_m2 * efficiency[catches.dressing]
    moist, counts_mass = _pooled(catches.caught_kg, caught_area, catches.mass_pool)
    depth, counts_volume = _pooled(catches.volume_m3, caught_area, catches.volume_pool)
    rate = moist / (1 + _water(site))
    by_mass, by_volume = np.isfinite(rate), np.isfinite(depth)
    density = density_kg_m3[site.dressings.sand][catches.dressing]
    return CatchRates(
        mass_rate_kg_m2=rate,
        volume_depth_m=depth,
        rate_kg_m2=np.where(by_mass, rate, depth * density),
        by_mass=by_mass,
        counts_mass=counts_mass & by_mass & catches.used,
        counts_volume=counts_volume & by_volume & catches.used,
        counts=catches.used & np.where(by_mass, counts_mass, counts_volume & by_volume),
    )


def _water(site: Site) -> Floats:
    """Water content, dry basis, of each catch; nan where it is not said."""
    ratios = np.append(site.moistures.ratio, np.nan)
    return ratios[site.catches.moisture]


def unlike_water(site: Site) -> list[Finding]:
    """Dressings whose catches are dried by a mean of loads that say where they went."""
    catches, loads, moistures = site.catches, site.loads, site.moistures
    placed = np.bincount(loads.dressing[loads.group >= 0], minlength=len(site.dressings)) > 0
    weighed = catches.used & np.isfinite(catches.caught_kg) & placed[catches.dressing]
    mean = np.isin(catches.moisture, list(moistures.mixtures))
    findings, about = [], Teller(site, "catch")
    for moisture, rows in by_group(np.flatnonzero(weighed & mean), catches.moisture):
        water = moistures.ratio[[part for part, _ in moistures.mixtures[moisture]]]
        if np.ptp(water) > UNLIKE_WATER:
            text = (
                f"loads that went to different surfaces hold {water.min() * 100:.3g} to"
                f" {water.max() * 100:.3g} % of water (dry basis), and catches are dried by their"
                f" mean, {moistures.ratio[moisture] * 100:.3g} %: give them their own"
                " moisture_dry_basis_percent"
            )
            findings.append(about.finding(catches.dressing[rows[0]], text))
    return findings


class _Witnesses(NamedTuple):
    """Readings whose trays have a mass and a volume, one row a reading."""

    density_kg_m3: Floats
    sand: Ints
    moisture: Ints  #: row of Moistures


def _witnesses(site: Site) -> _Witnesses:
    """Bulk density of each reading whose trays have a mass and a volume.

    A pool is one reading, whichever of the two was pooled: Σ dry mass / Σ dry volume of its trays.
    """
    catches = site.catches
    # both columns number the same pools
    pool = np.maximum(catches.mass_pool, catches.volume_pool)
    both = np.isfinite(catches.caught_kg) & np.isfinite(catches.volume_m3)
    rows = np.flatnonzero(catches.used & ((pool >= 0) | both))
    reading = np.where(pool[rows] >= 0, len(catches) + pool[rows], rows)
    _, first, reading = np.unique(reading, return_index=True, return_inverse=True)
    count = len(first)
    dry, volume = (catches.caught_kg / (1 + _water(site)))[rows], catches.volume_m3[rows]
    mass = np.bincount(reading, np.nan_to_num(dry), count)
    litres = np.bincount(reading, np.nan_to_num(volume), count)
    keep = (litres > 0) & (mass > 0)
    kept = rows[first][keep]
    return _Witnesses(
        density_kg_m3=ratio(mass[keep], litres[keep]),
        sand=site.dressings.sand[catches.dressing[kept]],
        moisture=catches.moisture[kept],
    )


def bulk_densities(site: Site) -> tuple[Estimates, list[Finding]]:
    """Bulk density (kg/m³) of each sand: as stated, else from catches, else 1.56 g/cm³ ± 5 %.

    The water content of the weighed sand is a source of its own.
    """
    sands, found = site.sands, _witnesses(site)
    stated = np.isfinite(sands.bulk_density_kg_m3)
    n, mean, u_mean = _means(found, len(stated))
    default = U_DEFAULT_BULK_DENSITY * DEFAULT_BULK_DENSITY_KG_M3
    value = np.where(n > 0, mean, DEFAULT_BULK_DENSITY_KG_M3)
    value = np.where(stated, sands.bulk_density_kg_m3, value)
    u = np.where(stated, sands.u_bulk_density_kg_m3, np.where(n > 0, u_mean, default))
    effects = _of_water(site, found, np.where(stated, 0.0, mean), n)
    for name in dict.fromkeys(sands.name.tolist()):
        effects[f"bulk density: {name}"] = np.where(sands.name == name, u, 0.0)
    findings = _density_findings(site, n, mean, u_mean)
    return Estimates(value=value, effects=effects), findings


def measured_densities(site: Site) -> tuple[Floats, Floats]:
    """Mean bulk density (kg/m³) of each sand by its catches and its u, whether it is also stated or
    not; nan where none has a mass and a volume.

    From three readings up its u is their scatter/√n, but at least 1 % of the mean, as pouring and
    reading a volume err alike in all of them; from fewer 3 % (both: common practice, no published
    source).
    """
    _, mean, u_mean = _means(_witnesses(site), len(site.sands.name))
    return mean, u_mean


def _means(found: _Witnesses, sands: int) -> tuple[Ints, Floats, Floats]:
    """Readings of each sand, their mean and its u."""
    n, mean, sd = group_mean_sd(found.density_kg_m3, found.sand, sands)
    least = np.where(n < FEW_WITNESSES, U_FEW_WITNESSES, U_LEAST_WITNESSES) * mean
    scatter = np.where(n < FEW_WITNESSES, 0.0, sd) / np.sqrt(np.maximum(n, 1))
    return n, mean, np.maximum(scatter, least)


def _of_water(site: Site, found: _Witnesses, mean: Floats, n: Ints) -> dict[str, Floats]:
    """A measured bulk density falls where the water content of its catches was higher."""
    effects: dict[str, Floats] = {}
    some = found.moisture >= 0
    for label, u in site.moistures.by_source().items():
        of_reading = (u / (1 + site.moistures.ratio))[found.moisture[some]]
        relative = ratio(np.bincount(found.sand[some], of_reading, len(n)), n, empty=0.0)
        effect = np.where(relative != 0, -mean * relative, 0.0)
        if effect.any():
            effects[label] = effect
    return effects


def _density_findings(site: Site, n: Ints, mean: Floats, u_mean: Floats) -> list[Finding]:
    """Where a bulk density is measured, doubted by what was measured, or a default."""
    stated, u = site.sands.bulk_density_kg_m3, site.sands.u_bulk_density_kg_m3
    used = np.bincount(site.dressings.sand, minlength=len(n)) > 0
    doubted = (n > 0) & (np.abs(mean - stated) > 2 * np.hypot(u, u_mean))
    unsaid = np.isnan(stated) & ((n > 0) | used)
    findings = []
    for k in np.flatnonzero(doubted | unsaid).tolist():
        measured = f"{mean[k] / 1000:.3f}"
        catches = f"{n[k]} catch{'' if n[k] == 1 else 'es'}"
        if doubted[k]:
            text = (
                f"bulk density stated {stated[k] / 1000:.3f} g/cm³, measured {measured} g/cm³"
                f" by {catches} with mass and volume: check which is right"
            )
        elif n[k]:
            text = f"bulk density {measured} ± {u_mean[k] / 1000:.3f} g/cm³ from {catches}"
        else:
            text = "bulk density is neither stated nor measured: 1.56 g/cm³ ± 5 % is used"
        findings.append(
            Finding(
                about=site.sands.called(int(k)),
                text=text,
                topic="rate" if doubted[k] else "default",
                member=int(site.of_sand[k]),
            )
        )
    return findings
