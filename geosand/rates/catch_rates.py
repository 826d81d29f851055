"""One catch to a rate and a depth, by mass and by volume; the sand's bulk density by witness.

dry mass = (gross − tare)/(1 + w), w on dry basis; rate = dry mass/(tray area × catch efficiency);
depth by volume = dry volume/(tray area × catch efficiency). Sand in a tray is its own definition
of rate: no published standard for sand dressings was found (common practice).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geosand.columns import Bools, Floats, Ints, freeze, ratio
from geosand.errors import Finding
from geosand.estimates import Estimates
from geosand.site.tables import Catches, Site

DEFAULT_BULK_DENSITY_KG_M3 = 1560.0
U_DEFAULT_BULK_DENSITY = 0.05
FEW_WITNESSES, U_FEW_WITNESSES, U_LEAST_WITNESSES = 3, 0.03, 0.01


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class CatchRates:
    """One row a catch. A reading shared by several trays counts once, at its first tray."""

    mass_rate_kg_m2: Floats  #: nan where not weighed
    volume_depth_m: Floats  #: nan where no dry volume
    rate_kg_m2: Floats  #: by mass where both exist, else by volume
    by_mass: Bools
    counts_mass: Bools  #: False for the other trays of a pooled weighing
    counts_volume: Bools
    counts: Bools  #: enters the surface's rate: used, and the first tray of its reading

    def __post_init__(self) -> None:
        freeze(self)


def _pooled(values: Floats, areas: Floats, pool: Ints) -> tuple[Floats, Bools]:
    """Value per area (n,): own reading over own area, or the pool's over the area of its trays.

    Also whether a row stands for its reading: its own, or the first tray of a pool.
    """
    alone = pool < 0
    pools = int(pool.max(initial=-1)) + 1
    member = np.where(alone, pools, pool)
    total = np.bincount(member, np.nan_to_num(values), pools + 1)
    shared = ratio(total, np.bincount(member, areas, pools + 1))
    first = np.zeros(len(values), dtype=np.bool_)
    where = np.flatnonzero(~alone)
    _, index = np.unique(pool[where], return_index=True)
    first[where[index]] = True
    return np.where(alone, values / areas, shared[member]), alone | first


def catch_rates(site: Site, density_kg_m3: Floats) -> CatchRates:
    """Rates of all catches; ``density_kg_m3`` is the bulk density per sand."""
    catches = site.catches
    caught_area = catches.tray_area_m2 * site.settings.catch_efficiency
    moist, counts_mass = _pooled(catches.caught_kg, caught_area, catches.mass_pool)
    depth, counts_volume = _pooled(catches.volume_m3, caught_area, catches.volume_pool)
    rate = moist / (1 + _water(site))
    by_mass = np.isfinite(rate)
    density = density_kg_m3[site.dressings.sand[catches.dressing]]
    return CatchRates(
        mass_rate_kg_m2=rate,
        volume_depth_m=depth,
        rate_kg_m2=np.where(by_mass, rate, depth * density),
        by_mass=by_mass,
        counts_mass=counts_mass & by_mass & catches.used,
        counts_volume=counts_volume & np.isfinite(depth) & catches.used,
        counts=catches.used & np.where(by_mass, counts_mass, counts_volume & np.isfinite(depth)),
    )


def _water(site: Site) -> Floats:
    """Water content, dry basis, of each catch."""
    ratios = np.append(site.moistures.ratio, np.nan)
    return ratios[site.catches.moisture]


def _witnesses(catches: Catches, water: Floats, sand: Ints) -> tuple[Floats, Ints, Ints]:
    """Bulk density, sand and moisture row of each reading whose trays have a mass and a volume.

    A pool is one reading, whichever of the two was pooled: Σ dry mass / Σ dry volume of its trays.
    """
    rows = np.flatnonzero(catches.used)
    dry, volume = (catches.caught_kg / (1 + water))[rows], catches.volume_m3[rows]
    mass_pool, volume_pool = catches.mass_pool[rows], catches.volume_pool[rows]
    # both columns number the same pools
    pool = np.maximum(mass_pool, volume_pool)
    reading = np.where(pool >= 0, len(rows) + pool, np.arange(len(rows)))
    _, first, reading = np.unique(reading, return_index=True, return_inverse=True)
    count = len(first)
    unknown = (np.isnan(dry) & (mass_pool < 0)) | (np.isnan(volume) & (volume_pool < 0))
    mass = np.bincount(reading, np.nan_to_num(dry), count)
    litres = np.bincount(reading, np.nan_to_num(volume), count)
    keep = (np.bincount(reading, unknown, count) == 0) & (litres > 0) & (mass > 0)
    kept = rows[first][keep]
    return ratio(mass, litres)[keep], sand[kept], catches.moisture[kept]


def bulk_densities(site: Site) -> tuple[Estimates, list[Finding]]:
    """Bulk density (kg/m³) of each sand: as stated, else from catches, else 1.56 g/cm³ ± 5 %.

    From three readings up its u is their scatter/√n, but at least 1 % of the mean, as pouring and
    reading a volume err alike in all of them; from fewer 3 % (both: common practice, no published
    source). The water content of the weighed sand is a source of its own.
    """
    sands = site.sands
    value = sands.bulk_density_kg_m3.copy()
    u = sands.u_bulk_density_kg_m3.copy()
    sand_of_catch = site.dressings.sand[site.catches.dressing]
    found, sand, moisture = _witnesses(site.catches, _water(site), sand_of_catch)
    effects: dict[str, Floats] = {}
    findings: list[Finding] = []
    for k, name in enumerate(sands.name.tolist()):
        mine = sand == k
        n = int(mine.sum())
        mean, u_mean = _mean_density(found[mine])
        if np.isfinite(value[k]):
            if n and abs(mean - value[k]) > 2 * np.hypot(u[k], u_mean):
                text = (
                    f"bulk density stated {value[k] / 1000:.3f}, measured {mean / 1000:.3f} g/cm³"
                    f" by {n} catches with mass and volume: check which is right"
                )
                findings.append(Finding(about=f"sand {name}", text=text, topic="rate"))
            continue
        if n:
            value[k], u[k] = mean, u_mean
            text = f"bulk density {mean / 1000:.3f} g/cm³ ± {u_mean / 1000:.3f} from {n} catches"
            _add_moisture(effects, site, k, len(value), moisture[mine], mean)
        else:
            value[k] = DEFAULT_BULK_DENSITY_KG_M3
            u[k] = U_DEFAULT_BULK_DENSITY * DEFAULT_BULK_DENSITY_KG_M3
            text = "bulk density is neither stated nor measured: 1.56 g/cm³ ± 5 % is used"
        if n or k in site.dressings.sand:
            findings.append(Finding(about=f"sand {name}", text=text, topic="default"))
    for k, name in enumerate(sands.name.tolist()):
        effects[f"bulk density: {name}"] = np.where(np.arange(len(value)) == k, u, 0.0)
    return Estimates(value=value, effects=effects), findings


def _mean_density(found: Floats) -> tuple[float, float]:
    """Mean of the measured bulk densities and its u; nan without any."""
    n = len(found)
    if n == 0:
        return np.nan, np.nan
    mean = float(found.mean())
    if n < FEW_WITNESSES:
        return mean, U_FEW_WITNESSES * mean
    return mean, max(float(found.std(ddof=1)) / np.sqrt(n), U_LEAST_WITNESSES * mean)


def _add_moisture(
    effects: dict[str, Floats], site: Site, sand: int, sands: int, moisture: Ints, mean: float
) -> None:
    """A measured bulk density falls where the water content of its catches was higher."""
    for label, u in site.moistures.by_source().items():
        relative = (u / (1 + site.moistures.ratio))[moisture].mean()
        if relative:
            effects.setdefault(label, np.zeros(sands))[sand] -= mean * relative
