"""What the index and the console say of a portfolio in words, the important first."""

from __future__ import annotations

from geosand.errors import printable
from geosand.portfolio.compare import Comparison, Row
from geosand.reports.words import Units, percent, shown


def counted(number: int, one: str, many: str) -> str:
    """A number and its noun.

    >>> counted(1, "site", "sites")
    '1 site'
    """
    return f"{number} {one if number == 1 else many}"


def first_lines(found: Comparison, units: Units) -> list[str]:
    """What matters, the important first; plain text."""
    worked = len(found.sites) - len(found.refused) - len(found.failed)
    lines = [f"{counted(worked, 'site', 'sites')} worked out"]
    if found.refused:
        lines[0] += f", {len(found.refused)} refused"
    if found.failed:
        lines[0] += f", {len(found.failed)} failed"
    if found.not_closing:
        sites = len({row["site"] for row in found.not_closing})
        count = len(found.not_closing)
        verb = "balance does" if count == 1 else "balances do"
        where = "site" if sites == 1 else "sites"
        lines.append(
            f"{count} {verb} not close, at {sites} {where}: there the catches claim more sand than"
            " was spread, so a measured figure is wrong"
        )
    if found.under_dressed_count:
        behind = sum(1 for row in found.sites if row["under_dressed"])
        worst = found.under_dressed[0]
        short = shown(worst["shortfall_mm"] / 1000, "depth", units)
        lines.append(
            f"{counted(found.under_dressed_count, 'surface', 'surfaces')} under-dressed, at"
            f" {counted(behind, 'site', 'sites')}; furthest behind is {worst['surface']} of"
            f" {printable(found.labels[worst['site']])}, {short}"
        )
    lacking = [row for row in found.sites if row["measured"] < row["dressings"]]
    if lacking:
        missing = sum(row["dressings"] - row["measured"] for row in lacking)
        lines.append(
            f"{counted(missing, 'dressing', 'dressings')} not measured, at"
            f" {counted(len(lacking), 'site', 'sites')}: no catches or no loads"
        )
    over = [row for row in found.spreaders if row["fraction"] is not None]
    if over:
        spread = sum(row["spread_kg"] for row in over)
        thrown = sum(row["overthrow_kg"] for row in over)
        lines.append(
            f"Of {shown(spread, 'mass', units)} spread and measured,"
            f" {shown(thrown, 'mass', units)} ({percent(thrown / spread)}) did not land on the"
            " surfaces"
        )
    return lines


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
