"""One catch to a rate and a depth, by mass and by volume; the sand's bulk density by witness.

dry mass = (gross − tare)/(1 + w), w on dry basis; rate = dry mass/(tray area × catch efficiency);
depth by volume = dry volume/(tray area × catch efficiency). Sand in a tray is its own definition
of rate: no published standard for sand dressings was found (common practice).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geosand.columns import Bools, Floats, Ints, freeze
from geosand.errors import Finding
from geosand.estimates import Estimates
from geosand.site.tables import Catches, Site

DEFAULT_BULK_DENSITY_KG_M3 = 1560.0
U_DEFAULT_BULK_DENSITY = 0.05
FEW_WITNESSES, U_FEW_WITNESSES = 3, 0.03


@dataclass(frozen=True, slots=True, kw_only=True)
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
    """Value per area (n,): own reading over own area, or the pool's over the area of all."""
    alone = pool < 0
    pools = int(pool.max(initial=-1)) + 1
    if pools == 0:
        return values / areas, np.ones(len(values), dtype=np.bool_)
    member = np.where(alone, pools, pool)
    total = np.bincount(member, np.where(np.isfinite(values), values, 0.0), pools + 1)
    ground = np.bincount(member, areas, pools + 1)
    shared = total / np.where(ground > 0, ground, 1.0)
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
    """Bulk density, sand and moisture row of each volume reading whose trays were all weighed."""
    rows = np.arange(len(catches))
    reading = np.where(catches.volume_pool >= 0, len(rows) + catches.volume_pool, rows)
    _, first, reading = np.unique(reading, return_index=True, return_inverse=True)
    count = len(first)
    dry = catches.caught_kg / (1 + water)
    usable = catches.used & (np.isfinite(dry) | (catches.mass_pool >= 0))
    mass = np.bincount(reading, np.nan_to_num(dry), count)
    volume = np.bincount(reading, np.nan_to_num(catches.volume_m3), count)
    whole = np.bincount(reading, ~usable, count) == 0
    # a pooled weighing beside single volumes can not be told apart tray by tray
    split = np.bincount(reading, (catches.mass_pool >= 0) & (catches.volume_pool < 0), count) > 0
    keep = whole & ~split & (volume > 0) & (mass > 0)
    return (
        (mass / np.where(volume > 0, volume, 1.0))[keep],
        sand[first][keep],
        catches.moisture[first][keep],
    )


def bulk_densities(site: Site) -> tuple[Estimates, list[Finding]]:
    """Bulk density (kg/m³) of each sand: as stated, else from catches, else 1.56 g/cm³ ± 5 %."""
    sands = site.sands
    water = _water(site)
    found, sand, moisture = _witnesses(
        site.catches, water, site.dressings.sand[site.catches.dressing]
    )
    value = sands.bulk_density_kg_m3.copy()
    u = sands.u_bulk_density_kg_m3.copy()
    effects: dict[str, Floats] = {}
    findings: list[Finding] = []
    for k, name in enumerate(sands.name.tolist()):
        mine = sand == k
        n = int(mine.sum())
        mean = float(found[mine].mean()) if n else np.nan
        scatter = float(found[mine].std(ddof=1)) / np.sqrt(n) if n > 1 else np.nan
        about = f"sand {name}"
        if np.isfinite(value[k]):
            spread = scatter if n >= FEW_WITNESSES else U_FEW_WITNESSES * mean
            if n and abs(mean - value[k]) > 2 * np.hypot(u[k], spread):
                text = (
                    f"bulk density stated {value[k] / 1000:.3f}, measured {mean / 1000:.3f} g/cm³"
                    f" by {n} catches with mass and volume: check which is right"
                )
                findings.append(Finding(about=about, text=text, topic="rate"))
            continue
        if n:
            value[k] = mean
            u[k] = scatter if n >= FEW_WITNESSES else U_FEW_WITNESSES * mean
            text = f"bulk density {mean / 1000:.3f} g/cm³ ± {u[k] / 1000:.3f} from {n} catches"
            row = np.bincount(moisture[mine], minlength=len(site.moistures.ratio)) / n
            for m in np.flatnonzero(row):
                ratio, u_ratio = site.moistures.ratio[m], site.moistures.u_ratio[m]
                column = effects.setdefault(str(site.moistures.label[m]), np.zeros(len(value)))
                column[k] = -row[m] * mean * u_ratio / (1 + ratio)
        else:
            value[k], u[k] = (
                DEFAULT_BULK_DENSITY_KG_M3,
                U_DEFAULT_BULK_DENSITY * DEFAULT_BULK_DENSITY_KG_M3,
            )
            text = "bulk density is neither stated nor measured: 1.56 g/cm³ ± 5 % is used"
        findings.append(Finding(about=about, text=text, topic="default"))
    for k, name in enumerate(sands.name.tolist()):
        effects[f"bulk density: {name}"] = np.where(np.arange(len(value)) == k, u, 0.0)
    return Estimates(value=value, effects=effects), findings
