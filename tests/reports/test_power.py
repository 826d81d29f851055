"""What a table of designs says in words: on what it stands, and what answers a question."""

from __future__ import annotations

from typing import Any

import pytest

from geosand.reports.power import power_answers, power_basis, power_table

#: made-up designs: surfaces, catches on each, smallest overthrow seen and ± of a depth, in percent
DESIGNS = [(1, 1, 40.0, 22.0), (1, 2, 30.2, 15.0), (2, 1, 20.0, 14.0), (2, 2, 12.0, 11.0)]


def document(dressings: int = 0, *asked: tuple[str, float, int | None]) -> dict[str, Any]:
    names = ("surfaces", "catches_on_each", "overthrow_percent", "depth_percent")
    rows = [dict(zip(names, row, strict=True)) for row in DESIGNS]
    rows = [row | {"catches": row["surfaces"] * row["catches_on_each"]} for row in rows]
    return {
        "site": "Test site",
        "dressed_surfaces": 9,
        "from_dressings": dressings,
        "sd_between_surfaces_percent": 7.25,
        "sd_between_catches_percent": 8.0,
        "shared_by_depths_percent": 3.04,
        "edge_share_percent": 41.6,
        "chance": 0.8,
        "designs": rows,
        "asked": [
            {"what": what, "percent": percent, "design": None if k is None else rows[k]}
            for what, percent, k in asked
        ],
    }


def test_the_table_says_what_its_figures_are() -> None:
    told = power_table(document())
    assert told.title == (
        "Test site: smallest overthrow seen / a caught surface's depth to ±, both in %, of 9"
        " surfaces"
    )
    assert list(told.heads[:3]) == ["surfaces\ncaught", "1 catch\non each", "2"]
    # rounded up: a table never promises more
    assert [list(row) for row in told.rows] == [
        ["1", "40 / 22", "31 / 15"],
        ["2", "20 / 14", "12 / 11"],
    ]
    assert power_table(document() | {"dressed_surfaces": 1}).title.endswith(" in %, of 1 surface")


@pytest.mark.parametrize(
    ("dressings", "source"),
    [
        (0, "stated defaults: nothing is measured yet"),
        (1, "from 1 dressing of this site"),
        (4, "from 4 dressings of this site"),
    ],
)
def test_the_basis_says_whether_anything_was_measured(dressings: int, source: str) -> None:
    told = power_basis(document(dressings))
    assert told.startswith(
        f"Catches on one surface scatter by 8.0 %, surfaces by 7.2 % ({source}). What all catches"
        " share (tray size, catch efficiency, bulk density) is 3.0 % of a depth"
    )
    assert ("nothing is measured yet" in told) is (dressings == 0)
    assert "a chance of 80 %. A single tray mostly misses the 42 % of the ground" in told


def test_what_no_design_answers_says_what_must_be_known_better() -> None:
    asked = [("overthrow_percent", 5.0, None), ("depth_percent", 2.0, None)]
    assert power_answers(document(0, *asked)) == [
        "For an overthrow of 5 % no design of this table will do: catch efficiency, tray size,"
        " bags must be known better.",
        "For a depth to ± 2 % no design of this table will do: what they share must be known"
        " better.",
    ]


def test_what_a_design_answers_is_told_with_its_trays() -> None:
    asked = [("overthrow_percent", 20.0, 2), ("depth_percent", 15.0, 1), ("depth_percent", 25.0, 0)]
    told = power_answers(document(0, *asked))
    assert told == [
        "For an overthrow of 20 %: 1 on each of 2 surfaces, 2 trays.",
        "For a depth to ± 15 %: 2 on one surface, 2 trays.",
        "For a depth to ± 25 %: 1 on one surface, 1 tray.",
    ]
