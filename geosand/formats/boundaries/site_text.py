"""The commented ``site.toml`` and the empty record tables of a new site folder."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence

#: Columns of the record tables, in the order of filling in; further ones may be added by hand.
RECORD_COLUMNS = {
    "dressings": (
        *("dressing", "date", "surfaces", "planned_depth_mm", "sand", "spreader", "setting"),
        *("speed_kmh", "heading_deg", "swath_m", "hole_diameter_mm", "hole_spacing_mm"),
        *("hole_depth_mm", "note"),
    ),
    "loads": (
        *("load", "dressing", "count", "unit_mass_kg", "u_unit_mass_kg", "u_label_percent"),
        *("moisture_dry_basis_percent", "u_moisture_percent", "returned_kg", "spilled_kg"),
        *("weighed_kg", "u_weighed_kg", "surfaces", "ticket", "note"),
    ),
    "catches": (
        *("catch", "dressing", "lon", "lat", "surface", "tray_length_mm", "tray_width_mm"),
        *("tare_g", "gross_g", "volume_cm3", "volume_state", "edge_distance_m"),
        *("position_accuracy_m", "pool", "reject_reason", "note"),
    ),
    "deliveries": ("date", "kind", "mass_kg", "u_mass_kg", "sand", "ticket", "note"),
}
SANDS = ("dried",)

_TEMPLATE = """\
# {comment}: settings of this site. A line that begins with # is not read;
# take the # away to set a value. What is not set is taken as shown, and said with each result.

name = {name}
season_start = {start}
season_end = {end}          # left out: the target so far is the sum of the planned depths
units = "{units}"                 # "metric" or "us": how results are shown; columns say their own

{elevation}
{accuracies}
# position_accuracy_m = 3.0        # of a catch's position: 3.0 by phone
# collar_width_m = 0.9             # where no collar is drawn
# surrounds_width_m = 4.0          # the band beyond the collar that is followed
# tolerance_percent = 10           # what "on target" allows
# agreement_percent = 10           # within which two methods agree

[sands.dried]                      # one table a sand; the word after the dot is its name
# bulk_density_g_cm3 = 1.55        # dry, poured, untapped: weigh a litre, three times
# u_bulk_density_g_cm3 = 0.03
# moisture_dry_basis_percent = 4.0 # kg of water per 100 kg of dry sand; here or in the loads,
# kiln_dried = true                # or this, for 0 ± 0.2 %. One of the three must be said

[catches]
# u_tray_percent = 0.5             # tray size, shared by all catches
# catch_efficiency_percent = 100   # caught / arrived: trays lose or gain sand by bouncing
# u_catch_efficiency_percent = 3.0

[targets_mm]                       # depth over the whole season, by kind of surface
{targets}
"""


#: Key, value taken where none is said, what it is.
_ACCURACIES = (
    ("boundary_accuracy_m", "0.05", "standard uncertainty of one vertex"),
    ("edge_accuracy_m", "0.30", "of where the edge is taken to be: traced 0.30, surveyed 0.05"),
    ("edge_bias_m", "0.15", "the same, shared by all surfaces: 0.15 traced, 0.02 surveyed"),
)


def _accuracy_lines(said: Mapping[str, float]) -> str:
    lines = []
    for key, default, words in _ACCURACIES:
        value = f"{said[key]:.4g}" if key in said else default
        setting = f"{'' if key in said else '# '}{key} = {value}"
        lines.append(f"{setting:<35}# {words}")
    return "\n".join(lines)


def toml_text(text: str) -> str:
    """A text as a TOML basic string (TOML 1.0, "String"): DEL must be escaped as well."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007F")


def site_toml(
    name: str,
    *,
    start: str,
    end: str,
    units: str,
    elevation_m: float | None,
    kinds: Sequence[str],
    accuracies: Mapping[str, float],
) -> bytes:
    """The settings of a new site, every key with its unit, its default and what it is for."""
    height = "# elevation_m = 0.0                # raises ellipsoid areas to ground level"
    if elevation_m is not None:
        height = f"elevation_m = {elevation_m:.1f}                # mean of the surfaces' heights"
    turf = [k for k in ("green", "tee", "approach", "fairway", "pitch", "lawn") if k in kinds]
    targets = "\n".join(f"# {kind} = 9.0" for kind in turf or ["green"])
    return _TEMPLATE.format(
        comment="site.toml",
        name=toml_text(name),
        start=start,
        end=end,
        units=units,
        elevation=height,
        accuracies=_accuracy_lines(accuracies),
        targets=targets,
    ).encode()


def empty_csv(table: str) -> bytes:
    """A record table with its header line only."""
    return (",".join(RECORD_COLUMNS[table]) + "\n").encode()
