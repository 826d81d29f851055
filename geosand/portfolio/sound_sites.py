"""Many sites checked in one call; those with a fault are left to be read by themselves."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import numpy as np

from geosand.columns import Ints
from geosand.errors import Faults, Finding, Refused
from geosand.site.assemble import RawSites, assemble_all
from geosand.site.tables import Site

ROUNDS = 6  #: of leaving out sites with faults, before all that are left are read one by one


class NotAlikeError(ValueError):
    """Tables that can not be laid one below the other: their sites are read one by one."""


@contextmanager
def or_one_by_one(unforeseen: list[str]) -> Iterator[None]:
    """What fails inside is told, or fails, where each site is read by itself.

    One error must not cost thousands of sites: its kind is noted in ``unforeseen``. With
    GEOSAND_TRACEBACK set it is raised.
    """
    try:
        yield
    except NotAlikeError:
        return
    except Exception as problem:
        if os.environ.get("GEOSAND_TRACEBACK"):
            raise
        unforeseen.append(type(problem).__name__)


def sound_ones(
    group: Ints, stacked: Callable[[Ints], tuple[RawSites, list[Finding]]]
) -> dict[int, Site]:
    """The sound ones of the sites; those with a fault are left out until there is none.

    ``stacked`` lays some of them one below the other, with what was found of their files.
    """
    for number in range(ROUNDS):
        if len(group) == 0:
            break
        faults = Faults()
        raw, findings = stacked(group)
        try:
            # where one table has faults others are likely to have some, too
            sites = assemble_all(raw, faults, findings, at_once=number == 0)
            return dict(zip(group.tolist(), sites, strict=True))
        except Refused:
            group = np.delete(group, list(faults.members))
    return {}
