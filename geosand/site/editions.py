"""Boundary editions as read, and the day from which each holds: the one in force is the newest."""

from __future__ import annotations

import numpy as np
import shapely

from geosand.columns import Dates, Floats, Geometries, frozen
from geosand.errors import Faults, Finding
from geosand.site.cells import RawTable
from geosand.site.tables import NO_DAY


@frozen
class RawEdition:
    """One boundary file as read: its cells, its geometries and what it says of itself."""

    table: RawTable
    geometry: Geometries  #: None where there is none; rows of ``table.told`` are not judged
    valid_from: np.datetime64  #: NaT = not said
    source_crs: str = ""
    source: str = ""  #: file that the boundaries came in
    datum_accuracy_m: float = float("nan")  #: of the shift to WGS 84; nan = not said
    #: edge accuracy of this survey, or that of each row; nan = as in site.toml
    accuracy_m: float | Floats = float("nan")
    edge_bias_m: float | Floats = float("nan")  #: the same of its bias
    boundary_accuracy_m: float | Floats = float("nan")  #: the same of one vertex


def in_order(
    editions: list[RawEdition],
    season_start: np.datetime64,
    faults: Faults,
    findings: list[Finding],
) -> tuple[list[RawEdition], Dates]:
    """Editions by the day from which they hold; the one in force must be the newest."""
    days = [e.valid_from for e in editions]
    if len(editions) > 1 and np.isnat(days[-1]):
        days[-1] = season_start
        text = "valid_from is not said beside earlier editions: the season's start is used"
        findings.append(Finding(about=editions[-1].table.file, text=text, topic="default"))
    days = [NO_DAY if np.isnat(day) else day for day in days]
    once_more = [k for k in range(len(days) - 1) if days[k] == days[-1] and _same(editions, k)]
    for k in reversed(once_more):  # left by a geosand bring that was cut off
        text = f"is the survey in {editions[-1].table.file} once more, and left out"
        findings.append(Finding(about=editions[k].table.file, text=text, topic="file"))
        editions, days = editions[:k] + editions[k + 1 :], days[:k] + days[k + 1 :]
    for k, edition in enumerate(editions[:-1]):
        if days[k] >= days[-1] and _is_dated(editions[-1], season_start):
            of_a_set = edition.table.file == editions[-1].table.file
            where = "each row, as those without a day are in force," if of_a_set else "both files"
            faults.add(
                edition.table.file,
                f"its valid_from ({days[k]}) is not before that of {editions[-1].table.file}"
                f" ({days[-1]}), which is in force",
                column="valid_from",
                remedy=f"say in {where} from which day they hold",
            )
        elif days[k] in days[:k]:
            faults.add(
                edition.table.file,
                f"holds from the same day as {editions[days.index(days[k])].table.file}",
                column="valid_from",
                remedy="say in each edition from which day it holds",
            )
    order = sorted(range(len(editions)), key=lambda k: (days[k], k))
    return [editions[k] for k in order], np.array([days[k] for k in order], dtype="datetime64[D]")


def _same(editions: list[RawEdition], k: int) -> bool:
    """True where an edition has the surfaces of the one in force, corner for corner."""
    one, other = editions[k], editions[-1]
    if list(one.table.columns.get("id", ())) != list(other.table.columns.get("id", ())):
        return False
    return bool(shapely.equals_exact(one.geometry, other.geometry).all())


def _is_dated(edition: RawEdition, season_start: np.datetime64) -> bool:
    """True where it is known from when an edition holds."""
    return not (np.isnat(edition.valid_from) and np.isnat(season_start))


def days_in_order(
    valid_from: Dates, season_start: Dates, file: str, faults: Faults, findings: list[Finding]
) -> Dates:
    """The days (sites, editions) from which each site's hold, as for one; a fault out of order.

    ``valid_from`` (the same) are those that are said, NaT = not; ``file`` has those in force.
    """
    days = valid_from.copy()
    unsaid = np.isnat(days[:, -1])
    if days.shape[1] > 1:
        days[unsaid, -1] = season_start[unsaid]
        text = "valid_from is not said beside earlier editions: the season's start is used"
        for k in np.flatnonzero(unsaid).tolist():
            findings.append(Finding(about=file, text=text, topic="default", member=k))
        disorder = ~(days[:, 1:] > days[:, :-1]).all(axis=1)
        for k in np.flatnonzero(disorder).tolist():
            faults.add(file, "editions are not in order", member=k)
    return np.where(np.isnat(days), NO_DAY, days)
