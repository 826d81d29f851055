"""``site.toml``: settings, sands, targets. Every default that enters a result is noted."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import Any

import numpy as np

from geosand.columns import Bools, Dates, Floats, Ints, Strings, frozen
from geosand.errors import Faults, Finding
from geosand.site.cells import is_blank, parse_number, quoted, tidied
from geosand.site.moisture_book import MoistureBook
from geosand.site.raw_columns import Texts, cells_of, find, in_rows
from geosand.site.read_sands import read_sands
from geosand.site.reading import ANY, Reader
from geosand.site.sand_tables import Sands
from geosand.site.settings_document import FILE, column_of, rows_of, said_by, table_of
from geosand.tuples import NamedTuple
from geosand.units import factor_or_fault

TABLES = ("sand", "sands", "catches", "targets")
_TARGETS = "write [targets_mm] or [targets_kg_m2]"
SHARE = (0.0, 0.5)  #: what is usual of a tolerance; with 1 nothing would ever be off
YEAR = np.timedelta64(366, "D")


@frozen
class SiteText:
    """What one ``site.toml`` says of a site's boundaries, where they are all that is wanted."""

    season_start: np.datetime64
    elevation_m: float
    boundary_accuracy_m: float
    edge_accuracy_m: float
    edge_bias_m: float


class SiteTexts(NamedTuple):
    """What ``site.toml`` says of each site, checked, one row a site."""

    name: Sequence[str]
    season_start: Dates
    season_end: Dates  #: NaT = none
    units: Strings
    settings: Mapping[str, Floats]  #: by the names of Settings
    elevation_m: Floats
    boundary_accuracy_m: Floats
    edge_accuracy_m: Floats
    edge_bias_m: Floats
    position_accuracy_m: Floats
    targets_m: Sequence[tuple[str, Floats]]  #: kind, and each site's depth; nan = not said
    sands: Sands  #: those of the first site first
    of_sand: Ints  #: the site of each

    def sands_known(self) -> Ints:
        """How many sands each site has."""
        return np.bincount(self.of_sand, minlength=len(self.name))

    def first_sand(self) -> Ints:
        """Row of each site's first sand."""
        return np.cumsum(self.sands_known()) - self.sands_known()


def read_settings(document: Mapping[str, Any], faults: Faults) -> SiteText:
    """What ``site.toml`` says of the site's boundaries. Faults are noted, not raised."""
    texts = read_all_settings(document, 1, MoistureBook(), faults, [])
    names = ("elevation_m", "boundary_accuracy_m", "edge_accuracy_m", "edge_bias_m")
    return SiteText(
        season_start=texts.season_start[0],
        **{name: float(getattr(texts, name)[0]) for name in names},
    )


def read_all_settings(
    document: Mapping[str, Any],
    members: int,
    book: MoistureBook,
    faults: Faults,
    findings: list[Finding],
) -> SiteTexts:
    """Check ``site.toml`` and return what it says in SI. Faults are noted, not raised.

    Of several sites (``members``) each value of the document is a column with one row a site.
    """
    top = {key: value for key, value in document.items() if not isinstance(value, dict)}
    reader = Reader(rows_of(top, "top of the file", members), faults, findings)
    start, end = reader.dates("season_start", required=True), reader.dates("season_end")
    for row in np.flatnonzero(end <= start).tolist():
        found = f"the season ends ({end[row]}) before it starts ({start[row]})"
        if end[row] == start[row]:
            found = f"the season ends on the day on which it starts ({start[row]})"
        reader.fault(row, "season_end", found, remedy="check both dates")
    long = "the season is longer than a year: check the years of season_start and season_end"
    reader.tell(end - start > YEAR, long, "season")
    default = partial(_or_default, reader)
    values = {
        "elevation_m": reader.quantity("elevation", "m", minimum=-500, maximum=9000),
        "boundary_accuracy_m": default("boundary_accuracy", "m", 0.05, 20, usual=(0.0, 3.0)),
        "edge_accuracy_m": default("edge_accuracy", "m", 0.30, 20, usual=(0.0, 3.0)),
        "edge_bias_m": default("edge_bias", "m", 0.15, 20, usual=(0.0, 2.0)),
        "position_accuracy_m": default("position_accuracy", "m", 3.0, 200, usual=(0.0, 30.0)),
    }
    catches = table_of(document.get("catches", {}), "catches", members, faults)
    of_catches = Reader(rows_of(catches, "[catches]", members), faults, findings)
    settings = _settings(partial(_or_default, of_catches), default)
    of_catches.finish()
    units = reader.choice("units", ["metric", "us"])
    names = [" ".join(name.split()) for name in reader.text("name").tolist()]
    reader.tell(np.array([not name for name in names]), "the site has no name", "default")
    sands, of_sand = read_sands(document, members, book, faults, findings)
    targets = _targets(document, _one_density(sands, of_sand, members), faults)
    reader.finish()
    _misspelt_tables(document, members, findings)
    return SiteTexts(
        name=[name or "unnamed site" for name in names],
        season_start=start,
        season_end=end,
        units=np.where(units == "", "metric", units),
        settings=settings,
        targets_m=targets,
        sands=sands,
        of_sand=of_sand,
        **values,
    )


def sand_rows(
    reader: Reader,
    texts: Texts,
    rows: Ints,
    member: Ints,
    text: SiteTexts,
    *,
    blank_is_told: bool = False,
) -> Ints:
    """Row of ``sands`` that each text (m,) names; ``rows`` are theirs in the file.

    Blank is a site's first sand, and a fault where it has several.
    """
    names = text.sands.name.tolist()
    found = find(in_rows(names), text.of_sand, texts, member)
    number, first = text.sands_known()[member], text.first_sand()[member]
    said = texts.matching(bool)
    unsaid = ~said & (number > 1) & (not blank_is_told)
    wrong = (said & (found < 0) & (number > 0)) | unsaid
    for k in np.flatnonzero(wrong).tolist():
        word = texts.words[texts.code[k]]
        told = f"{quoted(word)} is not in site.toml" if word else "it is not said which sand"
        allowed = ", ".join(names[first[k] : first[k] + number[k]])
        reader.fault(int(rows[k]), "sand", told, allowed=allowed)
    return np.where(said & (found >= 0), found, np.where(number > 0, first, 0))


def _settings(
    of_catches: Callable[..., Floats], default: Callable[..., Floats]
) -> dict[str, Floats]:
    """Settings of all trays, from the table [catches], and of the site."""
    return {
        "u_tray": of_catches("u_tray", "ratio", 0.005, 0.5, share_below=0.0005, usual=(0.0, 0.1)),
        "catch_efficiency": of_catches(
            "catch_efficiency", "ratio", 1.0, 2.0, minimum=0.1, usual=(0.6, 1.2)
        ),
        "u_catch_efficiency": of_catches(
            "u_catch_efficiency", "ratio", 0.03, 0.5, share_below=0.001, usual=(0.0, 0.2)
        ),
        "collar_width_m": default("collar_width", "m", 0.9, 20, usual=(0.1, 5.0)),
        "surrounds_width_m": default("surrounds_width", "m", 4.0, 100, usual=(0.5, 30.0)),
        "tolerance": default(
            "tolerance", "ratio", 0.10, 1.0, minimum=0.001, share_below=0.005, usual=SHARE
        ),
        "agreement": default(
            "agreement", "ratio", 0.10, 1.0, minimum=0.001, share_below=0.005, usual=SHARE
        ),
    }


def _or_default(
    reader: Reader,
    base: str,
    si: str,
    value: float,
    maximum: float,
    *,
    minimum: float = 0.0,
    share_below: float = 0.0,
    usual: tuple[float, float] = ANY,
) -> Floats:
    """One value of each site, else its default, which is said where it enters."""
    column = reader.quantity(
        base, si, minimum=minimum, maximum=maximum, share_below=share_below, usual=usual
    )
    unsaid = np.isnan(column)
    if not unsaid.any():
        return column
    shown = f"{value * 100:g} %" if si == "ratio" else f"{value:g} m"
    words = base.replace("_", " ").replace("u ", "standard uncertainty of ", 1)
    reader.tell(unsaid, f"{words} is not said: {shown} is used", "default")
    return np.where(unsaid, value, column)


def _one_density(sands: Sands, of_sand: Ints, members: int) -> Floats:
    """Bulk density (kg/m³) of each site's sand; nan where it is not said, or not one for all."""
    least, most = np.full(members, np.inf), np.full(members, -np.inf)
    density = np.nan_to_num(sands.bulk_density_kg_m3, nan=0.0)
    np.minimum.at(least, of_sand, density)
    np.maximum.at(most, of_sand, density)
    return np.where((least == most) & (least > 0), least, np.nan)


def _targets(
    document: Mapping[str, Any], density: Floats, faults: Faults
) -> list[tuple[str, Floats]]:
    """Kinds with each site's depth (m), in order of the document; nan = not said or not used.

    Targets in mass per area become depths by each site's ``density`` (kg/m³).
    """
    targets: list[tuple[str, Floats]] = []
    members = len(density)
    for key in [k for k in document if k == "targets" or k.startswith("targets_")]:
        unit = key.removeprefix("targets").removeprefix("_")
        factor = factor_or_fault(unit, "m")
        found, remedy = str(factor) if unit else "does not say its unit", _TARGETS
        depths = np.full(members, np.nan if isinstance(factor, str) else factor)
        # asked where it is no length: any other unit loads pint
        if isinstance(factor, str) and isinstance(rate := factor_or_fault(unit, "kg_m2"), float):
            depths = rate / density
            found = "a target in mass needs the bulk density of the sand, one for all sands"
            remedy = "give bulk_density_g_cm3, or write [targets_mm]"
        for k in np.flatnonzero(np.isnan(depths) & said_by(document[key], members)).tolist():
            faults.add(FILE, found, row=f"[{key}]", remedy=remedy, member=k)
        if np.isnan(depths).all():
            continue
        for name, value in table_of(document[key], key, members, faults).items():
            kind, place = tidied(name).lower(), (f"[{key}]", name)
            earlier = [np.isfinite(depths) for known, depths in targets if known == kind]
            said: Bools = np.logical_or.reduce([np.zeros(members, np.bool_), *earlier])
            targets.append((kind, _target(value, depths, said, place, faults)))
    return targets


def _target(
    value: Any, factor: Floats, said: Bools, place: tuple[str, str], faults: Faults
) -> Floats:
    """Each site's depth (m) of one kind; nan, with a fault, where it was ``said`` already.

    ``factor``: metres in one of the table's unit, one a site; nan where that is told already.
    """
    depths = np.full(len(said), np.nan)
    row, name = place
    for k, cell in enumerate(cells_of(column_of(value))):
        if (len(said) > 1 and is_blank(cell)) or np.isnan(factor[k]):
            continue
        number = parse_number(cell)
        if number is None or not 0 <= number * factor[k] <= 1:
            found = f"{quoted(str(cell))} is not a season's depth"
            allowed = f"a number from 0 to {1 / factor[k]:g}"
            faults.add(FILE, found, row=row, column=name, allowed=allowed, member=k)
        elif said[k]:
            found, remedy = "has a target in another unit, too", "keep one"
            faults.add(FILE, found, row=row, column=name, remedy=remedy, member=k)
        else:
            depths[k] = number * factor[k]
    return depths


def _misspelt_tables(document: Mapping[str, Any], members: int, findings: list[Finding]) -> None:
    for key, value in document.items():
        known = key in TABLES or key.startswith("targets_")
        if isinstance(value, (dict, list)) and not known:
            text = f"{quoted(key)} is not read; tables are [sands.…], [catches], [targets_mm]"
            for k in np.flatnonzero(said_by(value, members)).tolist():
                findings.append(Finding(about=FILE, text=text, topic="file", member=k))
