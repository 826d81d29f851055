"""What designs of catches would see, as a document and a table."""

from __future__ import annotations

import math

import numpy as np

from geosand.columns import Ints
from geosand.planning.power import POWER, Power, Variances
from geosand.reports.documents import Document, number, rows_of
from geosand.reports.plain_table import Table, table
from geosand.site.tables import Site

MOST_CATCHES = 8
ROWS = (1, 2, 3, 4, 6, 9, 12, 18, 27, 40, 60, 90)


def designs(dressed: int) -> tuple[Ints, Ints]:
    """Surfaces and catches on each, for 1 to 8 catches on a choice of numbers of surfaces."""
    rows = sorted({m for m in ROWS if m < dressed} | {dressed})
    m, n = np.meshgrid(np.array(rows), np.arange(1, MOST_CATCHES + 1), indexing="ij")
    return m.ravel(), n.ravel()


def power_document(
    site: Site,
    variances: Variances,
    power: Power,
    dressed: int,
    see_overthrow: float | None,
    know_depth: float | None,
) -> Document:
    """All designs, and the one of fewest trays that answers what was asked."""
    rows = rows_of(
        {
            "surfaces": power.surfaces,
            "catches_on_each": power.catches,
            "catches": power.surfaces * power.catches,
            "overthrow_percent": power.overthrow,
            "depth_percent": power.depth,
        }
    )
    asked = [
        _least(rows, key, share)
        for key, share in (("overthrow_percent", see_overthrow), ("depth_percent", know_depth))
        if share is not None
    ]
    return {
        "site": site.name,
        "dressed_surfaces": dressed,
        "from_dressings": variances.dressings,
        "sd_between_surfaces_percent": number(variances.between_surfaces, 100),
        "sd_between_catches_percent": number(variances.between_catches, 100),
        "shared_by_depths_percent": number(variances.shared_depth, 100),
        "shared_by_balance_percent": number(variances.shared_balance, 100),
        "edge_share_percent": number(variances.edge_share, 100),
        "chance": POWER,
        "inputs": dict(site.inputs),
        "designs": rows,
        "asked": asked,
    }


def _least(rows: list[Document], key: str, share: float) -> Document:
    able = [row for row in rows if row[key] <= share * 100]
    best = min(able, key=lambda row: (row["catches"], row[key])) if able else None
    return {"what": key, "percent": share * 100, "design": best}


def design_rows(document: Document) -> dict[int, list[str]]:
    """By surfaces caught: overthrow seen / ± of a depth for 1, 2, … catches on each.

    In whole percents, rounded up: a table never promises more.
    """
    rows: dict[int, list[str]] = {}
    for design in document["designs"]:
        both = (design[key] for key in ("overthrow_percent", "depth_percent"))
        cell = " / ".join(f"{math.ceil(percent - 1e-6)}" for percent in both)
        rows.setdefault(design["surfaces"], []).append(cell)
    return rows


def dressed_surfaces(document: Document) -> str:
    """How many surfaces are dressed, in words."""
    count = document["dressed_surfaces"]
    return f"{count} surface{'s'[: count != 1]}"


def power_table(document: Document) -> Table:
    """Rows of surfaces, columns of catches: smallest overthrow seen / ± of a depth, in percent."""
    heads = [("surfaces\ncaught", True), ("1 catch\non each", True)]
    heads += [(f"{n}", True) for n in range(2, MOST_CATCHES + 1)]
    title = (
        f"{document['site']}: smallest overthrow seen / a caught surface's depth to ±, both in %,"
        f" of {dressed_surfaces(document)}"
    )
    return table(title, heads, [[str(m), *cells] for m, cells in design_rows(document).items()])


def power_basis(document: Document) -> str:
    """On what the table rests."""
    n = document["from_dressings"]
    source = (
        f"from {n} dressing{'s' if n > 1 else ''} of this site"
        if n
        else "stated defaults: nothing is measured yet"
    )
    return (
        f"Catches on one surface scatter by {document['sd_between_catches_percent']:.1f} %,"
        f" surfaces by {document['sd_between_surfaces_percent']:.1f} % ({source}). What all catches"
        f" share (tray size, catch efficiency, bulk density) is"
        f" {document['shared_by_depths_percent']:.1f} % of a depth: more catches do not lower it."
        f" An overthrow counts as seen where it is told from zero with a chance of"
        f" {document['chance'] * 100:.0f} %. A single tray mostly misses the"
        f" {document['edge_share_percent']:.0f} % of the ground that lies within half a"
        " swath of an edge, where the rate may fall; of two or more one is taken to lie there, as"
        " place lays them."
    )


def power_answers(document: Document) -> list[str]:
    """The answers to what was asked."""
    lines = []
    words = {
        "overthrow_percent": "an overthrow of {:.0f} %",
        "depth_percent": "a depth to ± {:.0f} %",
    }
    for asked in document["asked"]:
        goal = words[asked["what"]].format(asked["percent"])
        best = asked["design"]
        if best is None:
            shared = (
                "catch efficiency, tray size, bags"
                if "over" in asked["what"]
                else "what they share"
            )
            lines.append(
                f"For {goal} no design of this table will do: {shared} must be known better."
            )
        else:
            m, trays = best["surfaces"], best["catches"]
            on = "one surface" if m == 1 else f"each of {m} surfaces"
            lines.append(
                f"For {goal}: {best['catches_on_each']} on {on}, {trays} tray{'s'[: trays > 1]}."
            )
    return lines
