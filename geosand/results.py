"""The whole line for one site: areas, rates, balance, ledger, computed once and kept together."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geosand.areas.register import AreaRegister, area_register
from geosand.balance.account import Balance, site_balance
from geosand.columns import frozen
from geosand.errors import Finding
from geosand.rates.surface_rates import Rates, site_rates
from geosand.season.ledger import Ledger, site_ledger
from geosand.site.tables import Site

if TYPE_CHECKING:
    from geosand.balance.stock import StockWitness, Weighings


@frozen
class Results:
    """Everything that was worked out for one site, or for several that are laid end to end."""

    site: Site
    areas: AreaRegister
    rates: Rates
    balance: Balance
    ledger: Ledger
    stock: StockWitness | None  #: None without a stock count
    weighings: Weighings | None  #: None without a weighed load

    @property
    def findings(self) -> tuple[Finding, ...]:
        """All findings, in the order of the work, each once."""
        loads = (self.weighings, self.stock)
        parts = (self.site, self.areas, self.rates, self.balance, *loads, self.ledger)
        return tuple(dict.fromkeys(f for part in parts if part for f in part.findings))


def work_out(site: Site, *, as_of: np.datetime64 | None = None) -> Results:
    """Areas, rates, balance and ledger of a site, or of several laid end to end, in one go.

    Raises Refused for catches that can not be, and for an ``as_of`` before a site's season.
    """
    areas = area_register(site.surfaces, site.of_surface)
    rates = site_rates(site, areas)
    balance = site_balance(site, areas, rates)
    ledger = site_ledger(balance, as_of=as_of)
    stock, weighed = _of_loads(site)
    return Results(
        site=site,
        areas=areas,
        rates=rates,
        balance=balance,
        ledger=ledger,
        stock=stock,
        weighings=weighed,
    )


def _of_loads(site: Site) -> tuple[StockWitness | None, Weighings | None]:
    """Witnesses of the loads, where there are any: their module is imported for these alone."""
    if not len(site.stock_counts) and not len(site.weighed.load):
        return None, None
    from geosand.balance.stock import stock_witness, weighings

    return (
        stock_witness(site) if len(site.stock_counts) else None,
        weighings(site) if len(site.weighed.load) else None,
    )
