"""Seasons reconciled, and rows of what was found."""

from __future__ import annotations

from dataclasses import replace

from geosand.balance.reconciliation.reconcile import Reconciliation, reconcile
from geosand.site.sand_tables import WeighedLoads
from tests.balance.seasons import Season

BAGS = "unit mass: dried 25 kg"


def told(one: Season, weighed: WeighedLoads | None = None) -> Reconciliation:
    site = one.site if weighed is None else replace(one.site, weighed=weighed)
    found = reconcile(replace(one.balance, site=site))
    assert found is not None
    return found


def row(found: Reconciliation, name: str) -> int:
    return found.inputs.name.tolist().index(name)
