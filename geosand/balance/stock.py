"""Witnesses of the loads: sand that went over a scale, and sand that was counted in the yard.

Sand bought less sand taken out less sand counted in stock is not accounted for over the season.
This is material balance accounting: (beginning inventory + receipts) − (removals + ending
inventory) = material unaccounted for (US AEC Regulatory Guide 5.33, June 1974, equation 2), its
variance with the covariances of what is shared (J. L. Jaech, Journal of the Institute of Nuclear
Materials Management 1(2), p. 14); significant above twice its standard deviation (Jaech, the
same journal, 2(4)). Positive = missing.
"""

from __future__ import annotations

import numpy as np

from geosand.balance.spread import BAGS, water_as_weighed
from geosand.columns import Bools, Dates, Floats, Ints, Strings, columns, distinct, frozen, ratio
from geosand.errors import Finding
from geosand.estimates import Estimates
from geosand.rates.about_dressings import Teller
from geosand.site.tables import Site
from geosand.units import figure

SIGNIFICANT = 2.0  #: sigmas from which a witness speaks against a figure (Jaech, above)
OPENING, CLOSING, TICKETS = "opening count", "closing count", "tickets"


@frozen
class StockWitness:
    """One row a sand with a closing count: from its opening count, or from nothing, to it."""

    sand: Ints
    opened: Dates  #: day of the opening count; NaT: taken as an empty yard
    closed: Dates
    opening_kg: Floats
    closing_kg: Floats
    bought: Estimates  #: kg
    taken: Estimates  #: kg, loads less what came back
    missing: Estimates  #: kg; opening + bought − taken − closing
    of_load: Ints  #: one a load: the row between whose counts it was taken out; -1 = none
    findings: tuple[Finding, ...]

    @property
    def loads(self) -> Bools:
        """(rows, loads): the loads between the counts."""
        between: Bools = self.of_load == np.arange(len(self.sand))[:, None]
        return between


def stock_witness(site: Site) -> StockWitness:
    """Sand not accounted for between the first and last count of each sand, of a site with counts.

    With a single count the yard is taken as empty when the first ticket came. A delivery or a load
    on the day of a count is taken as before it. All masses as weighed, with their water: what dries
    or is rained on in the yard is part of what is missing. Bags err together (label), and so does
    the water of loads by volume; tickets each for themselves.
    """
    counts = site.stock_counts
    sand = distinct(counts.sand)
    order = np.lexsort((counts.date, counts.sand))
    place = np.searchsorted(counts.sand[order], sand, side="left")
    first = order[place]
    last = order[np.searchsorted(counts.sand[order], sand, side="right") - 1]
    alone = first == last
    opened = np.where(alone, np.datetime64("NaT", "D"), counts.date[first])
    closed = counts.date[last]
    row = np.full(len(site.sands.name), -1, dtype=np.int64)  # of each sand
    row[sand] = np.arange(len(sand))
    bought, _ = _bought(site, row, opened, closed)
    taken, of_load = _taken(site, row, opened, closed)
    start, end = np.where(alone, 0.0, counts.mass_kg[first]), counts.mass_kg[last]
    u = counts.u_mass_kg
    stock = Estimates(
        value=start - end,
        effects={OPENING: np.where(alone, 0.0, u[first]), CLOSING: -u[last]},
        per_row=frozenset({OPENING, CLOSING}),
    )
    missing = stock.plus(bought).minus(taken)
    return StockWitness(
        sand=sand,
        opened=opened,
        closed=closed,
        opening_kg=start,
        closing_kg=end,
        bought=bought,
        taken=taken,
        missing=missing,
        of_load=of_load,
        findings=tuple(_stock_findings(site, sand, missing)),
    )


def _between(row: Ints, date: Dates, opened: Dates, closed: Dates) -> Ints:
    """Rows as they are where ``date`` is after the opening count, if any, and not after the closing
    one; else -1."""
    late = np.isnat(opened[row]) | (date > opened[row])
    return np.where((row >= 0) & late & (date <= closed[row]), row, -1)


def _bought(site: Site, row_of_sand: Ints, opened: Dates, closed: Dates) -> tuple[Estimates, Ints]:
    tickets, rows = site.deliveries, len(opened)
    of_ticket = _between(row_of_sand[tickets.sand], tickets.date, opened, closed)
    mine = of_ticket >= 0
    row = of_ticket[mine]
    u = np.sqrt(np.bincount(row, tickets.u_mass_kg[mine] ** 2, rows))
    value = np.bincount(row, tickets.mass_kg[mine], rows).astype(np.float64)
    bought = Estimates(value=value, effects={TICKETS: u}, per_row=frozenset({TICKETS}))
    return bought, of_ticket


def _taken(site: Site, row_of_sand: Ints, opened: Dates, closed: Dates) -> tuple[Estimates, Ints]:
    loads, rows = site.loads, len(opened)
    row_of_dressing = row_of_sand[site.dressings.sand]
    of_load = _between(
        row_of_dressing[loads.dressing], site.dressings.date[loads.dressing], opened, closed
    )
    mine = of_load >= 0
    row, label = of_load[mine], loads.label[mine]
    gross = (loads.count * loads.unit_mass_kg)[mine]
    of_label = gross * loads.u_label[mine]
    effects = {
        name: np.bincount(row, np.where(label == name, of_label, 0.0), rows).astype(np.float64)
        for name in dict.fromkeys(loads.label.tolist())
    }
    for name, of_water in water_as_weighed(loads, site.moistures).items():
        effects[name] = np.bincount(row, of_water[mine], rows).astype(np.float64)
    bags = (loads.count * loads.u_unit_mass_kg**2)[mine]
    effects[BAGS] = np.sqrt(np.bincount(row, bags, rows))
    value = np.bincount(row, gross - loads.returned_kg[mine], rows).astype(np.float64)
    return Estimates(value=value, effects=effects, per_row=frozenset({BAGS})), of_load


@frozen
class Stock:
    """Sand of one kind that lies in the yard, kg as delivered."""

    mass_kg: float  #: nan = not known; below zero where loads exceed deliveries
    u_kg: float = 0.0
    counted: np.datetime64 | None = None  #: day of the count it rests on
    since: bool = False  #: whether deliveries or loads came after that count


def stock_on_hand(site: Site, sand: int, as_of: np.datetime64) -> Stock:
    """The last count of a sand plus what was bought, less what was taken out, up to a day.

    Without a count the yard is taken as empty when the first ticket came; with neither a count nor
    a ticket the mass is nan. ``sand`` is a row of ``Site.sands``.
    """
    counts = site.stock_counts
    rows = np.flatnonzero((counts.sand == sand) & (counts.date <= as_of))
    last = rows[counts.date[rows].argmax(0, keepdims=True)] if len(rows) else rows
    counted, u = counts.mass_kg[last].sum(), np.hypot.reduce(counts.u_mass_kg[last], initial=0.0)
    row = np.full(len(site.sands.name), -1, dtype=np.int64)
    row[sand] = 0
    opened = counts.date[last] if len(last) else np.array(["NaT"], dtype="datetime64[D]")
    between = (site, row, opened, np.array([as_of]))
    (bought, of_ticket), (taken, of_load) = _bought(*between), _taken(*between)
    ticketed = bool((of_ticket >= 0).any())
    if not len(last) and not ticketed:
        return Stock(mass_kg=float("nan"))
    mass = bought.minus(taken)
    return Stock(
        mass_kg=float(counted + mass.value[0]),
        u_kg=float(np.hypot(u, mass.u()[0])),
        counted=counts.date[last[0]] if len(last) else None,
        since=ticketed or bool((of_load >= 0).any()),
    )


def _stock_findings(site: Site, sand: Ints, missing: Estimates) -> list[Finding]:
    findings = []
    u, of_sand = missing.u(), site.of_sand
    for k in np.flatnonzero(np.abs(missing.value) > SIGNIFICANT * u).tolist():
        mass = figure(abs(missing.value[k]), "mass", site.units, u=u[k])
        text = (
            f"{mass} were bought and are neither in the loads nor in stock:"
            " a load without a record, heavier bags than said, or sand used otherwise"
            if missing.value[k] > 0
            else f"{mass} more were taken out or counted than were bought: a"
            " delivery without a ticket, or lighter bags than said"
        )
        about, member = site.sands.called(int(sand[k])), int(of_sand[sand[k]])
        findings.append(Finding(about=about, text=text, topic="balance", member=member))
    return findings


@columns
class Weighings:
    """Loads on a scale beside what their count and unit mass say; one row a weighing."""

    load: Strings
    stated_kg: Floats  #: count · unit mass
    u_stated_kg: Floats  #: bags and label; of loads by volume their water, too
    weighed_kg: Floats
    u_weighed_kg: Floats
    sigmas: Floats  #: weighed less stated, over the u of the difference
    findings: tuple[Finding, ...]


def weighings(site: Site) -> Weighings:
    """What the scale says of each weighed load; a finding where that differs by over 2 u."""
    loads, one = site.loads, site.weighed
    stated = (loads.count * loads.unit_mass_kg)[one.load]
    bags = (np.sqrt(loads.count) * loads.u_unit_mass_kg)[one.load]
    u = np.hypot(bags, stated * loads.u_label[one.load])
    for of_water in water_as_weighed(loads, site.moistures).values():
        u = np.hypot(u, of_water[one.load])
    sigmas = ratio(one.mass_kg - stated, np.hypot(u, one.u_mass_kg))
    findings, about = [], Teller(site, "balance")
    for k in np.flatnonzero(np.abs(sigmas) > SIGNIFICANT).tolist():
        load = one.load[k]
        share = 100 * (one.mass_kg[k] / stated[k] - 1)
        more = "more" if share > 0 else "less"
        text = (
            f"load {loads.id[load]} weighs {figure(one.mass_kg[k], 'mass', site.units)} where count"
            f" and unit mass say {figure(stated[k], 'mass', site.units)}: its units hold"
            f" {abs(share):.1f} % {more} than said, or their number is wrong. The balance stays on"
            " the label: to put it on the scale, give the weighed mass over the count as"
            " unit_mass_kg"
        )
        findings.append(about.finding(loads.dressing[load], text))
    return Weighings(
        load=loads.id[one.load],
        stated_kg=stated,
        u_stated_kg=u,
        weighed_kg=one.mass_kg.copy(),
        u_weighed_kg=one.u_mass_kg.copy(),
        sigmas=sigmas,
        findings=tuple(findings),
    )
