"""Dates of dressings that may be slips: outside the season, day and month changed about."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from geosand.columns import Bools, Dates, Ints, Strings
from geosand.errors import Finding
from geosand.site.read_settings import YEAR, SiteTexts
from geosand.site.reading import Reader
from geosand.tuples import NamedTuple

#: A last date so many days after all others, and so many times their longest gap, may be turned,
#: where so many gaps tell how often the site is dressed and it would then come within the longest.
LONG_DAYS, NEARER, FEWEST_GAPS = 60, 4, 3


class Told(NamedTuple):
    """What findings about dressings need."""

    id: Strings
    date: Dates
    member: Ints
    findings: list[Finding]

    def tell(self, rows: Bools, topic: str, text: Callable[[int], str]) -> None:
        """A finding about each of the dressings."""
        for k in np.flatnonzero(rows).tolist():
            finding = Finding(
                about=str(self.id[k]), text=text(k), topic=topic, member=int(self.member[k])
            )
            self.findings.append(finding)


def tell_outside_season(told: Told, text: SiteTexts) -> None:
    """Findings for dressings outside the season, and for those more than a year after its start."""
    start, end = text.season_start[told.member], text.season_end[told.member]
    date = told.date
    outside = (date < start) | (date > end)
    late = ~outside & np.isnat(end) & (date > start + YEAR)
    words = {
        True: "is outside the season; the season's ledger leaves it out",
        False: "is more than a year after the season's start: check the year",
    }
    told.tell(outside | late, "season", lambda k: f"its date {date[k]} {words[bool(outside[k])]}")


def tell_out_of_order(reader: Reader, head: Ints, told: Told) -> None:
    """A finding for the one date of a site that breaks the order of its rows, turned about not.

    ``head`` is the first row of each dressing. Month and day may have changed places.
    """
    rows = np.argsort(head, kind="stable")
    date, member = told.date[rows], told.member[rows]
    falls = np.flatnonzero((date[1:] < date[:-1]) & (member[1:] == member[:-1]))
    for k in falls[np.bincount(member[falls], minlength=reader.members)[member[falls]] == 1]:
        mine = np.flatnonzero(member == member[k])
        for place in (int(k), int(k) + 1):
            turned = _turned(date[place])
            new = np.where(mine == place, turned, date[mine])
            if len(new) > 2 and (new[1:] >= new[:-1]).all():
                row = head[rows[place]]
                found = f"{date[place]} is out of the order of the rows, {turned} would be in it"
                _tell_turned(reader, int(row), found, told)
                break
    for k, longest in zip(*_far_last(date, member), strict=True):
        turned = _turned(date[k])
        days, then = (int((day - date[k - 1]).astype(int)) for day in (date[k], turned))
        if not np.isnat(turned) and 0 < then <= longest:
            found = (
                f"{date[k]} is {days} days after the dressing before it, {turned} would be {then}"
            )
            _tell_turned(reader, int(head[rows[k]]), found, told)


def _tell_turned(reader: Reader, row: int, found: str, told: Told) -> None:
    text = f"{reader.place(row)}: {found}: check day and month"
    member = int(reader.member[row])
    about = reader.table.file
    told.findings.append(Finding(about=about, text=text, topic="file", member=member))


def _far_last(date: Dates, member: Ints) -> tuple[list[int], list[float]]:
    """Rows that are the last of a site and come long after all others, these being in order.

    Also the longest gap between those others, in days.
    """
    days = np.where(np.isnat(date), np.nan, date.astype(np.int64))
    gap = np.diff(days, prepend=np.nan)
    inside = member == np.append(-1, member[:-1])
    last = member != np.append(member[1:], -1)
    earlier = np.flatnonzero(inside & ~last)
    longest = np.full(int(member.max(initial=-1)) + 1, np.nan)
    shortest = longest.copy()
    np.fmax.at(longest, member[earlier], gap[earlier])
    np.fmin.at(shortest, member[earlier], gap[earlier])
    known = np.bincount(member[earlier], minlength=len(longest)) >= FEWEST_GAPS
    far = (gap > LONG_DAYS) & (gap > NEARER * longest[member]) & (shortest[member] >= 0)
    rows = np.flatnonzero(inside & last & far & known[member])
    return rows.tolist(), longest[member[rows]].tolist()


def _turned(day: np.datetime64) -> np.datetime64:
    """The day with its day and month changed about; NaT where there is none."""
    year, month, number = str(day).split("-")
    return np.datetime64(f"{year}-{number}-{month}" if int(number) <= 12 else "NaT", "D")
