"""The commented ``site.toml`` and the empty record tables of a new site folder."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence

from geosand.tuples import NamedTuple

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

#: What a crew with US scales and tapes reads; where nothing stands here the column stays.
#: Volumes of caught sand stay metric, as measuring cups and cylinders show ml.
_US_COLUMNS = {
    "planned_depth_mm": "planned_depth_in",
    "speed_kmh": "speed_mph",
    "swath_m": "swath_ft",
    "hole_diameter_mm": "hole_diameter_in",
    "hole_spacing_mm": "hole_spacing_in",
    "hole_depth_mm": "hole_depth_in",
    "unit_mass_kg": "unit_mass_lb",
    "u_unit_mass_kg": "u_unit_mass_lb",
    "returned_kg": "returned_lb",
    "spilled_kg": "spilled_lb",
    "weighed_kg": "weighed_lb",
    "u_weighed_kg": "u_weighed_lb",
    "tray_length_mm": "tray_length_in",
    "tray_width_mm": "tray_width_in",
    "tare_g": "tare_oz",
    "gross_g": "gross_oz",
    "volume_cm3": "volume_ml",
    "edge_distance_m": "edge_distance_ft",
    "position_accuracy_m": "position_accuracy_ft",
    "mass_kg": "mass_short_ton",
    "u_mass_kg": "u_mass_short_ton",
}


def record_columns(units: str) -> dict[str, tuple[str, ...]]:
    """The columns of each record table, in ``metric`` or ``us`` units.

    >>> record_columns("us")["deliveries"][:4]
    ('date', 'kind', 'mass_short_ton', 'u_mass_short_ton')
    """
    if units != "us":
        return RECORD_COLUMNS
    return {
        table: tuple(_US_COLUMNS.get(column, column) for column in columns)
        for table, columns in RECORD_COLUMNS.items()
    }


_TEMPLATE = """\
# site.toml: settings of this site. A line that begins with # is not read;
# take the # away to set a value. What is not set is taken as shown, and said with each result.
# A key may carry another unit, as in {other}.

name = {name}
season_start = {start}
season_end = {end}          # left out: the target so far is the sum of the planned depths
units = "{units}"                 # "metric" or "us": how results are shown; columns say their own

{elevation}
{accuracies}
{widths}
# tolerance_percent = 10           # what "on target" allows
# agreement_percent = 10           # within which two methods agree

[sands.dried]                      # one table a sand; the word after the dot is its name
{densities}
# moisture_dry_basis_percent = 4.0 # {lb} of water per 100 {lb} of dry sand; here or in the loads,
# kiln_dried = true                # or this, for 0 ± 0.2 %. One of the three must be said

[catches]
# u_tray_percent = 0.5             # tray size, shared by all catches
# catch_efficiency_percent = 100   # caught / arrived: trays lose or gain sand by bouncing
# u_catch_efficiency_percent = 3.0

[targets_{depth}]                       # depth over the whole season, by kind of surface
{targets}
"""


class _Line(NamedTuple):
    """A key of ``site.toml`` without its unit, the value taken where none is said, what it is."""

    key: str
    metric: str
    us: str  #: the same in feet or lb/ft³, to three digits
    words: str
    us_words: str = ""  #: where figures stand in them


_ACCURACIES = (
    _Line("boundary_accuracy", "0.05", "0.164", "standard uncertainty of one vertex"),
    _Line(
        *("edge_accuracy", "0.30", "0.984"),
        "of where the edge is taken to be: traced 0.30, surveyed 0.05",
        "of where the edge is taken to be: traced 0.98, surveyed 0.16",
    ),
    _Line(
        *("edge_bias", "0.15", "0.492"),
        "the same, shared by all surfaces: 0.15 traced, 0.02 surveyed",
        "the same, shared by all surfaces: 0.49 traced, 0.07 surveyed",
    ),
)
_WIDTHS = (
    _Line(
        *("position_accuracy", "3.0", "9.84"),
        "of a catch's position: 3.0 by phone",
        "of a catch's position: 9.84 by phone",
    ),
    _Line("collar_width", "0.9", "2.95", "where no collar is drawn; 0: none"),
    _Line("surrounds_width", "4.0", "13.1", "the band beyond the collar that is followed"),
)
_DENSITIES = (
    _Line(
        *("bulk_density", "1.55", "96.8"),
        "dry, poured, untapped: weigh a litre, three times",
        "dry, poured, untapped: weigh a quart, three times",
    ),
    _Line("u_bulk_density", "0.03", "1.87", ""),
)


def toml_text(text: str) -> str:
    """A text as a TOML basic string (TOML 1.0, "String"): DEL must be escaped as well."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007F")


def _setting(line: _Line, unit: str, said: str = "", *, us: bool) -> str:
    """A key with its unit: as it was said, else behind a mark with the default."""
    words = line.us_words if us and line.us_words else line.words
    default = line.us if us else line.metric
    setting = f"{'' if said else '# '}{line.key}_{unit} = {said or default}"
    return f"{setting:<35}# {words}" if words else setting


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
    """The settings of a new site, every key with its unit, its default and what it is for.

    In US units the keys are in feet, inches and lb/ft³; ``accuracies`` come in metres by their
    metric keys either way.
    """
    us = units == "us"
    length, metres = ("ft", 0.3048) if us else ("m", 1.0)
    height = f"# elevation_{length} = 0.0".ljust(35) + "# raises ellipsoid areas to ground level"
    if elevation_m is not None:
        set_to = f"elevation_{length} = {elevation_m / metres:.1f}"
        height = f"{set_to}                # mean of the surfaces' heights"
    turf = [k for k in ("green", "tee", "approach", "fairway", "pitch", "lawn") if k in kinds]
    season = "0.35" if us else "9.0"
    said = {key.removesuffix("_m"): f"{value / metres:.4g}" for key, value in accuracies.items()}
    collared = not turf or not {"pitch", "lawn"}.issuperset(turf)  # sports grounds have none
    return _TEMPLATE.format(
        name=toml_text(name),
        start=start,
        end=end,
        units=units,
        other="elevation_m or bulk_density_g_cm3" if us else "elevation_ft or bulk_density_lb_ft3",
        elevation=height,
        accuracies=_settings(_ACCURACIES, length, said, us=us),
        widths=_settings(_WIDTHS, length, {} if collared else {"collar_width": "0"}, us=us),
        densities=_settings(_DENSITIES, "lb_ft3" if us else "g_cm3", {}, us=us),
        lb="lb" if us else "kg",
        depth="in" if us else "mm",
        targets="\n".join(f"# {kind} = {season}" for kind in turf or ["green"]),
    ).encode()


def _settings(lines: Sequence[_Line], unit: str, said: Mapping[str, str], *, us: bool) -> str:
    return "\n".join(_setting(line, unit, said.get(line.key, ""), us=us) for line in lines)


def empty_csv(columns: Sequence[str]) -> bytes:
    """A record table with its header line only."""
    return (",".join(columns) + "\n").encode()
