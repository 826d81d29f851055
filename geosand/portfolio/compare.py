"""What an owner of many sites wants to see: spreaders side by side, what is behind or open."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow.compute as pc

from geosand.balance.account import NOT_CLOSED
from geosand.columns import Ints, begins
from geosand.portfolio.chunk import FAILED, REFUSED
from geosand.portfolio.parts import Parts
from geosand.portfolio.tables import GROUP, SKETCHED
from geosand.season.ledger import UNDER

MOST_SURFACES = 50  #: under-dressed surfaces that are told one by one; all are in the ledger
MOST_OF_A_SITE = 10  #: of them, so that one site's do not hide those of the others
Row = dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Lists of plain rows, each in the order in which it should be read."""

    sites: Sequence[Row]  #: in order of key
    refused: Sequence[Row]
    failed: Sequence[Row]
    not_closing: Sequence[Row]  #: dressings whose catches claim more than was spread
    under_dressed: Sequence[Row]  #: a few of each site, furthest behind first
    under_dressed_count: int
    spreaders: Sequence[Row]  #: one a spreader, most sand thrown over for each kilogram first
    spreader_sites: Sequence[Row]  #: one a spreader of a site, widest strip first
    labels: Mapping[str, str]  #: by site: its name, with the site behind where others have it too


def compare(parts: Parts, keys: Sequence[str]) -> Comparison:
    """Read the finished parts once, a group of sites at a time."""
    sites = [row for part in parts.table("sites", keys, GROUP) for row in part.to_pylist()]
    of_site = {row["site"]: row for row in sites}
    spreaders = [row for part in parts.table("spreaders", keys, GROUP) for row in part.to_pylist()]
    for row in spreaders:
        row["name"] = of_site[row["site"]]["name"]
    under, count = _under_dressed(parts, keys)
    for row in under:
        row["site_name"] = of_site[row["site"]]["name"]
    return Comparison(
        sites=sites,
        refused=[row for row in sites if row["status"] == REFUSED],
        failed=[row for row in sites if row["status"] == FAILED],
        not_closing=_not_closing(parts, keys, of_site),
        under_dressed=under,
        under_dressed_count=count,
        spreaders=by_spreader(spreaders),
        spreader_sites=sorted(
            spreaders, key=lambda r: (-_number(r["strip_width_m"]), r["spreader"], r["site"])
        ),
        labels=_labels(sites),
    )


def _labels(sites: Sequence[Row]) -> dict[str, str]:
    having = Counter(row["name"] for row in sites)
    return {
        row["site"]: row["name"] if having[row["name"]] == 1 else f"{row['name']} ({row['site']})"
        for row in sites
    }


def _number(value: float | None, missing: float = -np.inf) -> float:
    return missing if value is None else value


def _not_closing(parts: Parts, keys: Sequence[str], sites: Mapping[str, Row]) -> list[Row]:
    wanted = ["site", "dressing", "date", "spreader", "overthrow_kg", "fraction"]
    wanted += ["overthrow_low_kg", "overthrow_high_kg", "spread_kg"]
    rows: list[Row] = []
    for part in parts.table("balances", keys, GROUP):
        open_ones = pc.and_(pc.equal(part["verdict"], NOT_CLOSED), part["in_account"])
        rows += part.select(wanted).filter(open_ones).to_pylist()
    for row in rows:
        row["name"] = sites[row["site"]]["name"]
    return sorted(rows, key=lambda r: (_number(r["fraction"]), r["site"], r["dressing"]))


def _under_dressed(parts: Parts, keys: Sequence[str]) -> tuple[list[Row], int]:
    wanted = ["site", "surface", "name", "kind", "depth_mm", "target_so_far_mm", "shortfall_mm"]
    first: list[Row] = []
    count = 0
    for part in parts.table("ledger", keys, GROUP):
        rows = part.select([*wanted, "probability"]).filter(pc.equal(part["state"], UNDER))
        count += len(rows)
        order = [("shortfall_mm", "descending"), ("site", "ascending"), ("surface", "ascending")]
        rows = rows.sort_by(order)
        first += rows.take(_first_of_each(rows["site"])).to_pylist()
        first.sort(key=lambda r: (-r["shortfall_mm"], r["site"], r["surface"]))
        del first[MOST_SURFACES:]
    return first, count


def _first_of_each(sites: Any) -> Ints:
    """The first rows of a column of sites that are to be told, no site with more than its part."""
    code = pc.dictionary_encode(sites.combine_chunks()).indices.to_numpy()
    order = np.argsort(code, kind="stable")
    first = np.flatnonzero(begins(code[order]))
    before = np.empty(len(code), np.int64)  # of the same site
    before[order] = np.arange(len(code)) - np.repeat(first, np.diff(first, append=len(code)))
    return np.flatnonzero(before < MOST_OF_A_SITE)[:MOST_SURFACES]


def does_not_close(row: Row) -> bool:
    """True where the sum of a spreader's dressings at a site is below zero beyond its interval."""
    return _number(row["overthrow_high_kg"], 0.0) < 0


def by_spreader(rows: Sequence[Row]) -> list[Row]:
    """One row a spreader over all sites: sums, and u as if sites had nothing in common.

    Trays, labels or a survey that several sites share would make u larger; what they share is not
    in the data. A site whose sum does not close is left out and counted: a wrong figure there says
    nothing of the spreader.
    """
    names = list(dict.fromkeys(row["spreader"] for row in rows))
    out = []
    for name in names:
        every = [row for row in rows if row["spreader"] == name]
        mine = [row for row in every if not does_not_close(row)]
        strips = np.array([_number(r["strip_width_m"], np.nan) for r in mine])
        spread, over, edge = (
            sum(_number(r[k], 0.0) for r in mine)
            for k in ("spread_kg", "overthrow_kg", "edge_kg_m")
        )
        u = float(np.sqrt(sum(_number(r["u_overthrow_kg"], 0.0) ** 2 for r in mine)))
        out.append(
            {
                "spreader": name,
                "sites": len(every),
                "dressings": sum(r["dressings"] for r in mine),
                "not_closing": sum(r["not_closing"] for r in every),
                "left_out": len(every) - len(mine),
                "spread_kg": spread,
                "overthrow_kg": over,
                "u_overthrow_kg": u,
                "fraction": over / spread if spread > 0 else None,
                "u_fraction": u / spread if spread > 0 else None,
                "strip_width_m": over / edge if edge > 0 else None,
                "u_strip_width_m": u / edge if edge > 0 else None,
                "least_strip_width_m": _finite(np.fmin.reduce(strips, initial=np.nan)),
                "most_strip_width_m": _finite(np.fmax.reduce(strips, initial=np.nan)),
            }
        )
    return sorted(out, key=lambda r: (-_number(r["fraction"]), r["spreader"]))


def _finite(value: Any) -> float | None:
    return float(value) if np.isfinite(value) else None


def public(row: Row) -> Row:
    """A row without what only the index page needs."""
    return {k: v for k, v in row.items() if k != SKETCHED}
