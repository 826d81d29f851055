"""The whole line for one site: areas, rates, balance, ledger, computed once and kept together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from geosand.areas.register import AreaRegister, area_register
from geosand.balance.account import Balance, site_balance
from geosand.errors import Finding
from geosand.rates.surface_rates import Rates, site_rates
from geosand.season.ledger import Ledger, site_ledger
from geosand.site.tables import Site


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Results:
    """Everything that was worked out for one site."""

    site: Site
    areas: AreaRegister
    rates: Rates
    balance: Balance
    ledger: Ledger

    @property
    def findings(self) -> tuple[Finding, ...]:
        """All findings, in the order of the work, each once."""
        parts = (self.site, self.areas, self.rates, self.balance, self.ledger)
        return tuple(dict.fromkeys(f for part in parts for f in part.findings))


def work_out(site: Site, *, as_of: np.datetime64 | None = None) -> Results:
    """Areas, rates, balance and ledger of a site. Raises Refused for catches that can not be."""
    areas = area_register(site.surfaces)
    rates = site_rates(site, areas)
    balance = site_balance(site, areas, rates)
    ledger = site_ledger(site, areas, rates, balance, as_of=as_of)
    return Results(site=site, areas=areas, rates=rates, balance=balance, ledger=ledger)
