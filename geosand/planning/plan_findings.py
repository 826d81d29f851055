"""What is worth knowing about a plan."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import shapely

from geosand.areas.register import AreaRegister
from geosand.columns import Floats
from geosand.errors import Finding, listed
from geosand.planning.choosing import Request
from geosand.planning.next_rate import NextRates
from geosand.planning.order import SandOrder, StripWidth
from geosand.planning.route import natural
from geosand.planning.setting import SettingFit
from geosand.season.ledger import Ledger
from geosand.site.tables import Site

NAMED = 8  #: surfaces of a sentence
LEAST_HOLE_M2 = 0.5  #: smaller ground inside a surface is not worth a word
#: Else what trays tell of one surface counts as the rate of all.
PLANNED_APART = (
    "these depths differ: record the dressing in a row for each, with its planned depth, as that"
    " tells the rates of surfaces without trays"
)


def plan_findings(
    site: Site,
    register: AreaRegister,
    ledger: Ledger,
    plan: NextRates,
    strip: StripWidth,
    order: SandOrder,
    fit: SettingFit,
    request: Request,
    swath: float,
    figures: Mapping[str, Floats],
) -> list[Finding]:
    """What is worth knowing, in words without units; figures are told by who shows them.

    ``figures`` are the speeds and swaths on the surfaces of the last dressing.
    """
    names, spreader = site.dressings.id, request.spreader
    whose = f" with {spreader}" if spreader else ""
    told: list[tuple[str, str]] = []
    if site.season_end is not None and ledger.as_of > site.season_end:
        text = f"ended on {site.season_end}: targets are those of its end"
        told.append(("season", text))
    if not math.isfinite(strip.width_m):
        text = f"no dressing{whose} has both catches and loads, so it is not known: the order holds"
        told.append(("overthrow", f"{text} none of it"))
    elif strip.width_m <= 0:
        text = f"past balances{whose} show none: 0 is expected, and the assurance allows for more"
        told.append(("overthrow", text))
    if len(strip.left_out):
        those = ", ".join(names[strip.left_out].tolist())
        what = "does not close and tells" if len(strip.left_out) == 1 else "do not close and tell"
        told.append(("overthrow", f"{those} {what} nothing about the strip width"))
    if math.isnan(order.unit.mass_kg):
        told.append(("units", "no load of this sand tells the mass of a bag: no count is given"))
    told += [("setting", text) for text in fit.left_out]
    for name, each in figures.items():
        if (each != each[:1]).any():
            text = f"surfaces of the last dressing had different {name}s: that of most is taken"
            told.append(("setting", f"{text}; --{name} names another"))
    given = plan.depth_m[plan.depth_m > 0]
    if len(given) and given.max() > given.min() * (1 + site.settings.tolerance):
        told.append(("records", PLANNED_APART))
    told += [("trays", text) for text in _of_trays(site, ledger, plan, request)]
    told += [("heading", text) for text in _of_headings(site, register, plan, spreader, swath)]
    if request.holes_take_m is not None:
        told += [("holes", text) for text in _of_holes(site, plan)]
    return [Finding(about=about, text=text, topic="plan") for about, text in told]


def _of_trays(site: Site, ledger: Ledger, plan: NextRates, request: Request) -> list[str]:
    """Surfaces that get sand up to their target, by a depth that catches hardly tell."""
    if request.depth_m is not None:
        return []
    given = plan.row[plan.depth_m > 0]
    hardly = ledger.never_caught | ledger.unlike.told
    names = site.surfaces.id[given[np.isin(given, ledger.row[hardly])]].tolist()
    if not names:
        return []
    lack = "it lacks" if len(names) == 1 else "they lack"
    where = listed(sorted(names, key=natural), NAMED)
    return [f"lay some on {where}: what {lack} is estimated from other surfaces"]


def _of_headings(
    site: Site, register: AreaRegister, plan: NextRates, spreader: str, swath: float
) -> list[str]:
    if not swath > 0:
        return [f"no swath{f' of {spreader}' if spreader else ''} is known: give --swath"]
    rows = plan.row[plan.depth_m > 0]
    shapes = register.owned_plane[rows]
    filled = shapely.area(shapely.polygons(shapely.get_exterior_ring(shapely.get_parts(shapes))))
    owner = shapely.get_parts(shapes, return_index=True)[1]
    inside = np.bincount(owner, filled, len(rows)) - shapely.area(shapes)
    hollow = site.surfaces.id[rows[inside > LEAST_HOLE_M2]].tolist()
    if not hollow:
        return []
    have = f"{listed(hollow, NAMED)} {'has' if len(hollow) == 1 else 'have'}"
    return [f"{have} other ground inside: passes cross it, shut off over it"]


def _of_holes(site: Site, plan: NextRates) -> list[str]:
    """Where the sand does not fill the holes, and where they stay open."""
    short = (plan.depth_m > 0) & (plan.in_holes_m >= plan.depth_m)
    told = []
    if short.any():
        ids = site.surfaces.id[plan.row[short]].tolist()
        everywhere = short.sum() == (plan.depth_m > 0).sum()
        text = "the sand fills them on no surface" if everywhere else "the sand does not fill them"
        told.append(text if everywhere else f"{text} on {listed(ids, NAMED)}")
    bare = site.surfaces.id[plan.row[~(plan.depth_m > 0)]].tolist()
    if bare:
        told.append(f"they stay open where no sand is planned: {listed(bare, NAMED)}")
    return told
