"""Findings about dressings: the rows of each, and whose each finding is."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from geosand.columns import Ints
from geosand.errors import Finding
from geosand.site.tables import Site


class Teller:
    """Findings of a site, or of many laid end to end, each about one dressing."""

    def __init__(self, site: Site, topic: str) -> None:
        self._names, self._member, self._topic = site.dressings.id, site.of_dressing, topic

    def finding(self, dressing: int, text: str) -> Finding:
        """The text about a row of ``dressings``."""
        return Finding(
            about=str(self._names[dressing]),
            text=text,
            topic=self._topic,
            member=int(self._member[dressing]),
        )


def by_group(rows: Ints, group: Ints) -> Iterator[tuple[int, Ints]]:
    """Each group, in order, that some of ``rows`` are of, with those rows.

    >>> [(k, rows.tolist()) for k, rows in by_group(np.array([0, 2, 3]), np.array([7, 7, 5, 7]))]
    [(5, [2]), (7, [0, 3])]
    """
    if len(rows):
        ordered = rows[np.argsort(group[rows], kind="stable")]
        of = group[ordered]
        starts = np.flatnonzero(np.diff(of)) + 1
        for mine in np.split(ordered, starts):
            yield int(group[mine[0]]), mine
