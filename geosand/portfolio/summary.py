"""What the index and the console say of a portfolio in words, the important first."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from geosand.errors import printable
from geosand.portfolio.compare import Comparison, Row
from geosand.portfolio.site_rows import IN_STATE
from geosand.reports.words import Units, grouped, percent, shown
from geosand.tuples import NamedTuple

NAMED = 3  #: sites in a line


def counted(number: int, one: str, many: str) -> str:
    """A number and its noun.

    >>> counted(1, "site", "sites")
    '1 site'
    """
    return f"{grouped(number)} {one if number == 1 else many}"


class Line(NamedTuple):
    """A sentence about some sites."""

    text: str  #: what begins it
    sites: Sequence[tuple[str, str]] = ()  #: key, and what is said of each that is named
    more: int = 0  #: sites that are not named
    rest: str = ""

    def in_words(self, labels: Mapping[str, str]) -> str:
        """The line as plain text."""
        return f"{self.text}{joined(self, lambda key: printable(labels[key]))}{self.rest}"


def joined(line: Line, name: Callable[[str], str]) -> str:
    """The sites of a line as it lists them, each as ``name`` writes it.

    >>> joined(Line("3 refused", [("a", ""), ("b", "2 of 3")], more=1997), str.upper)
    ': A, B (2 of 3) and 1\u202f997 more'
    """
    if not line.sites:
        return ""
    named = [f"{name(key)} ({said})" if said else name(key) for key, said in line.sites]
    return f": {', '.join(named)}{f' and {grouped(line.more)} more' if line.more else ''}"


def first_lines(found: Comparison, units: Units, not_read: Sequence[str] = ()) -> list[Line]:
    """What matters, the important first, with the sites to ask first in each."""
    lines = [
        _worked_out(found),
        *map(Line, not_read),
        _not_closing(found),
        _under_dressed(found, units),
        _not_measured(found),
        _thrown_over(found, units),
    ]
    return [line for line in lines if line is not None]


def _named(rows: Sequence[Row], said: Callable[[Row], str]) -> tuple[list[tuple[str, str]], int]:
    """The first few sites, and how many more there are: never a single one, which is named."""
    told = NAMED + 1 if len(rows) == NAMED + 1 else NAMED
    return [(row["site"], said(row)) for row in rows[:told]], max(len(rows) - told, 0)


def _worked_out(found: Comparison) -> Line:
    broken = [*found.refused, *found.failed]
    text = f"{counted(len(found.sites) - len(broken), 'site', 'sites')} worked out"
    if found.refused:
        text += f", {grouped(len(found.refused))} refused"
    if found.failed:
        text += f", {grouped(len(found.failed))} failed"
    return Line(text, *_named(broken, lambda row: ""))


def _not_closing(found: Comparison) -> Line | None:
    rows = [row for row in found.sites if row["not_closing"]]
    if not rows:
        return None
    rows.sort(key=lambda r: (-r["not_closing"], r["measured"], r["site"]))
    count = len(found.not_closing)
    verb = "balance does" if count == 1 else "balances do"
    return Line(
        f"{grouped(count)} {verb} not close, at {counted(len(rows), 'site', 'sites')}",
        *_named(rows, lambda row: f"{row['not_closing']} of {row['measured']}"),
        "; there the catches claim more sand than was spread, so a measured figure is wrong",
    )


def _under_dressed(found: Comparison, units: Units) -> Line | None:
    rows = [row for row in found.sites if row["under_dressed"]]
    if not rows:
        return None
    rows.sort(key=lambda r: (-r["under_dressed"], -r["largest_shortfall_mm"], r["site"]))
    worst = found.under_dressed[0]
    short = shown(worst["shortfall_mm"] / 1000, "depth", units)

    def said(row: Row) -> str:
        every, unknown = sum(row[state] for state in IN_STATE), row["depth_not_known"]
        told = f"{row['under_dressed']} of {every}"
        return f"{told}, the depth of {unknown} not known" if unknown else told

    return Line(
        f"{counted(found.under_dressed_count, 'surface', 'surfaces')} under-dressed, at"
        f" {counted(len(rows), 'site', 'sites')}",
        *_named(rows, said),
        f"; furthest behind is {printable(worst['surface'])} of"
        f" {printable(found.labels[worst['site']])}, {short}",
    )


def _not_measured(found: Comparison) -> Line | None:
    rows = [row for row in found.sites if (row["measured"] or 0) < (row["dressings"] or 0)]
    if not rows:
        return None
    rows.sort(key=lambda r: (r["measured"] - r["dressings"], r["site"]))
    missing = sum(row["dressings"] - row["measured"] for row in rows)
    return Line(
        f"{counted(missing, 'dressing', 'dressings')} not measured, at"
        f" {counted(len(rows), 'site', 'sites')}",
        *_named(rows, lambda row: f"{row['dressings'] - row['measured']} of {row['dressings']}"),
        "; there are no catches or no loads",
    )


def _thrown_over(found: Comparison, units: Units) -> Line | None:
    over = [row for row in found.spreaders if row["fraction"] is not None]
    if not over:
        return None
    spread = sum(row["spread_kg"] for row in over)
    thrown = sum(row["overthrow_kg"] for row in over)
    where = " where balances close" if any(row["left_out"] for row in found.spreaders) else ""
    rows = [row for row in found.sites if (row["overthrow_low_kg"] or 0.0) > 0]
    rows.sort(key=lambda row: (-row["overthrow_kg"], row["site"]))

    def said(row: Row) -> str:
        return f"{shown(row['overthrow_kg'], 'mass', units)}, {percent(row['fraction'])}"

    return Line(
        f"Of {shown(spread, 'mass', units)} spread and measured{where},"
        f" {shown(thrown, 'mass', units)} ({percent(thrown / spread)}) did not land on the"
        f" surfaces{'; the most that is told from zero' if rows else ''}",
        *_named(rows, said),
    )


def last_days(found: Comparison) -> str:
    """To which day the accounts run, as a sentence; empty where there is none."""
    days = sorted(str(row["as_of"]) for row in found.sites if row["as_of"] is not None)
    if not days:
        return ""
    if days[0] == days[-1]:
        return f"Account to {days[0]}."
    return f"Each site's account runs to its last record, {days[0]} to {days[-1]}."


def spreader_name(row: Row) -> str:
    """A spreader's name, or what stands for none."""
    return printable(row["spreader"]) or "spreader not said"


def plus_minus(value: float | None, u: float | None, factor: float, decimals: int) -> str:
    """A value and its u in the same digits, ``–`` where there is none."""
    if value is None:
        return "–"
    text = f"{value * factor:.{decimals}f}".replace("-", "−")
    return text if u is None else f"{text} ± {u * factor:.{decimals}f}"
