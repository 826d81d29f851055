"""The first sentences on many sites, from rows whose sums are worked by hand."""

from __future__ import annotations

from typing import Any

import pytest

from geosand.portfolio.compare import Comparison, by_spreader, compare
from geosand.portfolio.summary import first_lines, last_days, spreader_name

Row = dict[str, Any]


def site(key: str, **figures: Any) -> Row:
    """A site of 10 surfaces and 4 measured dressings where nothing is amiss."""
    usual = {"dressings": 4, "measured": 4, "not_closing": 0, "under_dressed": 0, "on_target": 8}
    usual |= {"over_dressed": 2, "depth_not_known": 0, "no_target": 0}
    usual |= {"largest_shortfall_mm": None, "as_of": "2026-06-10"}
    usual |= {"overthrow_kg": 0.0, "overthrow_low_kg": -5.0, "fraction": 0.0}
    return {"site": key, **usual, **figures}


def lines(sites: list[Row], units: Any = "metric", **lists: Any) -> list[str]:
    given: dict[str, Any] = {"refused": [], "failed": [], "not_closing": [], "under_dressed": []}
    given |= {"under_dressed_count": 0, "spreaders": [], "spreader_sites": []}
    labels = {row["site"]: row["site"].upper() for row in sites}
    found = Comparison(sites=sites, labels=labels, **given | lists)
    return [line.in_words(labels) for line in first_lines(found, units)]


def test_where_nothing_is_amiss_one_line_is_enough() -> None:
    assert lines([site("a")]) == ["1 site worked out"]


def test_refused_and_failed_sites_are_not_worked_out() -> None:
    sites = [site(name) for name in "abcdef"]
    assert lines(sites, refused=sites[:3], failed=sites[4:5]) == [
        "2 sites worked out, 3 refused, 1 failed: A, B, C, E"
    ]


def test_sites_with_most_open_balances_come_first() -> None:
    sites = [
        site("a", not_closing=1),
        site("b", not_closing=3),
        site("c", not_closing=1, measured=3),
        site("d", not_closing=1, measured=3),
        site("e"),
    ]
    told = lines(sites, not_closing=[{}] * 6)[1]
    assert told == (
        "6 balances do not close, at 4 sites: B (3 of 4), C (1 of 3), D (1 of 3), A (1 of 4); there"
        " the catches claim more sand than was spread, so a measured figure is wrong"
    )
    assert lines([site("a", not_closing=1)], not_closing=[{}])[1].startswith(
        "1 balance does not close, at 1 site: A (1 of 4);"
    )


@pytest.mark.parametrize(("units", "short"), [("metric", "2.54 mm"), ("us", "0.100 in")])
def test_sites_with_most_surfaces_behind_come_first(units: str, short: str) -> None:
    sites = [
        site("a", under_dressed=2, on_target=6, largest_shortfall_mm=1.0),
        site("b", under_dressed=2, on_target=6, largest_shortfall_mm=2.54),
        site("c", under_dressed=5, on_target=3, over_dressed=1, largest_shortfall_mm=0.9),
        site("d"),
    ]
    worst = {"site": "b", "surface": "g7", "shortfall_mm": 2.54}
    told = lines(sites, units, under_dressed=[worst, {}], under_dressed_count=9)[1]
    assert told == (
        "9 surfaces under-dressed, at 3 sites: C (5 of 9), B (2 of 10), A (2 of 10); furthest"
        f" behind is g7 of B, {short}"
    )


def test_surfaces_behind_are_of_all_with_a_target_or_sand() -> None:
    """36 behind, 19 of unknown depth and 2 without a target are 57 and not 36."""
    row = site("a", under_dressed=36, on_target=0, over_dressed=0, largest_shortfall_mm=2.0)
    row |= {"depth_not_known": 19, "no_target": 2}
    worst = {"site": "a", "surface": "g7", "shortfall_mm": 2.0}
    told = lines([row], under_dressed=[worst], under_dressed_count=36)[1]
    assert ", at 1 site: A (36 of 57, the depth of 19 not known); furthest behind" in told


def test_dressings_that_were_not_measured_are_counted() -> None:
    sites = [
        site("a", measured=3),
        site("b", measured=1),
        site("c"),
        site("d", measured=None, dressings=None),
    ]
    assert lines(sites)[1:] == [
        "4 dressings not measured, at 2 sites: B (3 of 4), A (1 of 4); there are no catches or no"
        " loads"
    ]


def test_what_was_thrown_over_is_a_share_of_what_was_spread() -> None:
    """30 + 90 kg of 400 + 600 kg; only sites whose interval lies above zero are named."""
    spreaders: list[Row] = [
        {"fraction": 0.075, "spread_kg": 400.0, "overthrow_kg": 30.0, "left_out": 0},
        {"fraction": 0.15, "spread_kg": 600.0, "overthrow_kg": 90.0, "left_out": 0},
        {"fraction": None, "spread_kg": 0.0, "overthrow_kg": 0.0, "left_out": 0},
    ]
    sites = [
        site("a", overthrow_kg=20.0, overthrow_low_kg=1.0, fraction=0.1),
        site("b", overthrow_kg=70.0, overthrow_low_kg=50.0, fraction=0.14),
        site("c", overthrow_kg=40.0, overthrow_low_kg=0.0, fraction=0.2),
        site("d", overthrow_kg=None, overthrow_low_kg=None, fraction=None),
    ]
    told = "120 kg (12 %) did not land on the surfaces"
    begin = "Of 1\u202f000 kg spread and measured"
    assert lines(sites, spreaders=spreaders)[-1] == (
        f"{begin}, {told}; the most that is told from zero: B (70 kg, 14 %), A (20 kg, 10 %)"
    )
    spreaders[0]["left_out"] = 1
    assert lines(sites[2:3], spreaders=spreaders)[-1] == f"{begin} where balances close, {told}"
    assert len(lines(sites, spreaders=spreaders[2:])) == 1


def test_the_day_of_account_is_the_common_one_or_a_span() -> None:
    def days(*days: str | None) -> str:
        rows = [site("a", as_of=day) for day in days]
        given: dict[str, Any] = dict.fromkeys(Comparison.__dataclass_fields__, ())
        return last_days(Comparison(**given | {"sites": rows}))

    assert days() == days(None) == ""
    assert days("2026-06-10", None, "2026-06-10") == "Account to 2026-06-10."
    assert days("2026-06-10", "2026-04-30", "2026-09-01") == (
        "Each site's account runs to its last record, 2026-04-30 to 2026-09-01."
    )


class Tables:
    """Parts of a portfolio that lie in memory, each table in groups."""

    def __init__(self, **groups: list[list[Row]]) -> None:
        self.groups = groups

    def table(self, name: str, keys: Any, size: int) -> Any:
        import pyarrow

        return map(pyarrow.Table.from_pylist, self.groups[name])


def test_lists_are_in_the_order_in_which_they_should_be_read() -> None:
    """Two groups of two sites each; the order runs across the groups."""

    def balance(name: str, dressing: str, share: float, **other: Any) -> Row:
        told = {"verdict": "does not close", "in_account": True, "spreader": "disc", "date": ""}
        told |= {"overthrow_kg": 1.0, "overthrow_low_kg": 1.0, "overthrow_high_kg": 1.0}
        told |= {"spread_kg": 1.0, "site": name, "dressing": dressing, "fraction": share}
        return told | other

    def behind(name: str, surface: str, short: float, state: str = "under-dressed") -> Row:
        told = {"name": "", "kind": "green", "depth_mm": 1.0, "target_so_far_mm": 1.0}
        told |= {"probability": 0.9, "site": name, "surface": surface}
        return told | {"shortfall_mm": short, "state": state}

    def thrown(name: str, spreader: str, kg: float, width: float | None) -> Row:
        told = {"spread_kg": 100.0, "u_overthrow_kg": 1.0, "edge_kg_m": 1.0, "not_closing": 0}
        told |= {"dressings": 1, "overthrow_high_kg": 50.0, "site": name, "spreader": spreader}
        return told | {"overthrow_kg": kg, "strip_width_m": width}

    names = {"a": "Oak", "b": "Elm", "c": "Elm", "d": "Ash"}
    status = {"a": "worked out", "b": "refused", "c": "failed", "d": "worked out"}
    rows = [{"site": k, "name": names[k], "status": status[k]} for k in names]
    parts: Any = Tables(
        sites=[rows[:2], rows[2:]],
        balances=[
            [balance("a", "D2", -0.1), balance("a", "D1", -0.1), balance("b", "D1", -0.05)],
            [
                balance("c", "D1", -0.3),
                balance("d", "D1", -0.9, verdict="overthrow"),
                balance("d", "D2", -0.9, in_account=False),
            ],
        ],
        ledger=[
            [behind("a", "g2", 1.5), behind("a", "g1", 1.5), behind("a", "g3", 9.0, "on target")],
            [behind("d", "g1", 4.0), behind("c", "g1", 0.2)],
        ],
        spreaders=[
            [thrown("a", "disc", 10.0, 0.5), thrown("a", "belt", 30.0, 0.2)],
            [thrown("d", "disc", 12.0, None), thrown("d", "belt", 2.0, 0.5)],
        ],
    )
    found = compare(parts, "abcd")
    order = [(r["site"], r["dressing"], r["name"]) for r in found.not_closing]
    assert order == [("c", "D1", "Elm"), ("a", "D1", "Oak"), ("a", "D2", "Oak"), ("b", "D1", "Elm")]
    order = [(r["site"], r["surface"], r["site_name"]) for r in found.under_dressed]
    assert order == [("d", "g1", "Ash"), ("a", "g1", "Oak"), ("a", "g2", "Oak"), ("c", "g1", "Elm")]
    assert found.under_dressed_count == 4
    assert [(r["spreader"], r["fraction"]) for r in found.spreaders] == [
        ("belt", 0.16),
        ("disc", 0.11),
    ]
    widths = [(r["spreader"], r["site"], r["strip_width_m"]) for r in found.spreader_sites]
    assert widths == [
        ("belt", "d", 0.5),
        ("disc", "a", 0.5),
        ("belt", "a", 0.2),
        ("disc", "d", None),
    ]
    assert found.labels == {"a": "Oak", "b": "Elm (b)", "c": "Elm (c)", "d": "Ash"}
    assert [[r["site"] for r in some] for some in (found.refused, found.failed)] == [["b"], ["c"]]


def test_spreaders_without_a_share_come_last_and_equal_ones_by_name() -> None:
    def row(name: str, spread: float, over: float) -> Row:
        told = {"u_overthrow_kg": 1.0, "edge_kg_m": 0.0, "not_closing": 0, "dressings": 1}
        told |= {"overthrow_high_kg": 9.0, "strip_width_m": None}
        return {"spreader": name, "spread_kg": spread, "overthrow_kg": over} | told

    rows = [row("none", 0.0, 0.0), row("b", 10.0, 1.0), row("a", 20.0, 2.0), row("c", 10.0, 3.0)]
    assert [one["spreader"] for one in by_spreader(rows)] == ["c", "a", "b", "none"]
    assert {one["strip_width_m"] for one in by_spreader(rows)} == {None}


def test_a_spreader_without_a_name_has_words_in_its_place() -> None:
    assert spreader_name({"spreader": "belt"}) == "belt"
    assert spreader_name({"spreader": ""}) == "spreader not said"
