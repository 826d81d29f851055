"""The balance of each dressing: the table, the methods side by side, where the doubt comes from."""

from __future__ import annotations

from collections.abc import Sequence

from geosand.balance.account import NOT_CLOSED, NOT_MEASURED
from geosand.errors import printable
from geosand.reports.classes import Scale
from geosand.reports.documents import Document, si, told
from geosand.reports.doubts import explain, would
from geosand.reports.printable.balance_pictures import budget_picture, whole_percent
from geosand.reports.printable.cell_pictures import interval_mark, scale_head, scale_over
from geosand.reports.printable.content import (
    Block,
    Cell,
    Column,
    Items,
    Picture,
    Row,
    Section,
    Table,
    Text,
)
from geosand.reports.printable.drawing import PHONE, WIDTH
from geosand.reports.season_document import counted_dressings
from geosand.reports.words import MISSING, Units, between, label_of, percent
from geosand.results import Results
from geosand.units import SHOWN

MARK = 90.0


def balance_section(
    results: Results, dressings: Sequence[Document], season: Document, units: Units
) -> list[Section]:
    """Sections on the dressings inside the season and the day (``balance --json``)."""
    counted = counted_dressings(results)
    mine = [d for d, c in zip(dressings, counted, strict=True) if c]
    if not mine:
        return []
    blocks: list[Block] = [_table(mine, season, units), Text(text=_VERDICTS, soft=True)]
    blocks += _open_ones(results, counted.tolist())
    left_out = len(dressings) - len(mine)
    if left_out:
        text = f"{left_out} recorded outside the season or after the day of account: not shown."
        blocks.append(Text(text=text, soft=True))
    sections = [Section(title="The balance of each dressing", blocks=blocks)]
    sections.append(Section(title="Three ways to the rate", blocks=_methods(mine, units)))
    if season["budget"]:
        sections.append(_budget(season, mine, units))
    return sections


_VERDICTS = (
    "Overthrow: sand landed elsewhere. Closed: the difference can be zero, and is known well"
    " enough to say so. Undecided: it can be zero, but is not known well enough. Does not close:"
    " the catches claim more than was spread, so a measured figure is wrong. A filled square: the"
    " 95 % interval does not hold zero. Figures are rounded one by one, so sums may be 1 off."
)


def _table(mine: Sequence[Document], season: Document, units: Units) -> Table:
    factor, unit = SHOWN[units]["mass"][0], label_of("mass", units)
    over = [d["overthrow"] for d in mine]
    limits = [si(o[key]) * factor for o in over for key in ("mass_kg", "low_kg", "high_kg")]
    scale = scale_over(limits, MARK)
    columns = (
        Column(head="dressing", width=50),
        Column(head="date", width=60),
        Column(head=f"spread {unit}", width=42, align="right"),
        Column(head=f"on surfaces {unit}", width=46, align="right"),
        Column(head=scale_head(scale, unit, MARK, "overthrow"), width=MARK),
        Column(head=f"overthrow {unit}", width=50, align="right"),
        Column(head="95 % interval", width=78, align="right"),
        Column(head="share", width=36, align="right"),
        Column(head="verdict", width=58, wrap=True),
    )
    rows = [_row(d, scale, factor, units) for d in mine]
    if len(mine) > 1 and season["spread"]["mass_kg"] is not None:
        name = "measured" if any(o["verdict"] == NOT_MEASURED for o in over) else "season"
        rows.append(Row(cells=_cells(name, "", season, "", "", units), tone="sum"))
    return Table(columns=columns, rows=rows)


def _row(dressing: Document, scale: Scale, factor: float, units: Units) -> Row:
    over, name = dressing["overthrow"], printable(dressing["dressing"])
    value, low, high = (si(over[key]) * factor for key in ("mass_kg", "low_kg", "high_kg"))
    drawn = interval_mark(value, low, high, scale, MARK)
    return Row(
        cells=_cells(name, dressing["date"], dressing, drawn, over["verdict"], units),
        tone="alarm" if over["verdict"] == NOT_CLOSED else "",
    )


def _cells(
    name: str, date: str, masses: Document, drawn: Cell, verdict: str, units: Units
) -> tuple[Cell, ...]:
    """Cells of a dressing or of the season."""
    over, parts = masses["overthrow"], ("spread", "on_surfaces", "overthrow")
    spread, on, thrown = (told(masses[p]["mass_kg"], "mass", units, unit=False) for p in parts)
    interval = between(si(over["low_kg"]), si(over["high_kg"]), "mass", units)
    return name, date, spread, on, drawn, thrown, interval, percent(over["fraction"]), verdict


def _open_ones(results: Results, counted: Sequence[bool]) -> list[Block]:
    """What would close each dressing whose catches claim more than was spread."""
    balance, site = results.balance, results.site
    items = []
    for k, inside in enumerate(counted):
        if not inside or not balance.closing[k] or not balance.overthrow.value[k] < 0:
            continue
        ways = "; or ".join(explain(c) for c in balance.closing[k])
        word = would(str(balance.verdict[k]))
        items.append(f"{printable(str(site.dressings.id[k]))} {word} {ways}.")
    if not items:
        return []
    said = "More claimed than spread: overthrow can not be the reason. One dressing can not prove"
    return [Text(text=f"{said} which of these it is."), Items(items=items)]


def _methods(mine: Sequence[Document], units: Units) -> tuple[Block, ...]:
    """Rate by mass, by volume and by bulk; strip width and reach; evenness."""
    rate, length = label_of("rate", units), label_of("length", units)
    columns = (
        Column(head="dressing", width=66),
        Column(head=f"by mass {rate}", width=58, align="right"),
        Column(head=f"by volume {rate}", width=58, align="right"),
        Column(head=f"by bulk {rate}", width=58, align="right"),
        Column(head="agree", width=42),
        Column(head=f"strip width {length}", width=56, align="right"),
        Column(head=f"reach {length}", width=44, align="right"),
        Column(head="catches", width=42, align="right"),
        Column(head="CV %", width=40, align="right"),
        Column(head="low quarter %", width=46, align="right"),
    )
    rows = [Row(cells=_method_cells(d, units)) for d in mine]
    text = (
        "By mass and by volume: what the catches say. By bulk: all sand spread over all ground"
        " dressed. A bulk rate below the caught one can not be explained by overthrow. Strip width:"
        " of a strip at full rate that would hold the overthrow. CV and low quarter: evenness of"
        " the catches, from four catches up; the low quarter is the mean of the lowest quarter of"
        " them, rounded to whole catches, over the mean of all."
    )
    return (Table(columns=columns, rows=rows), Text(text=text, soft=True))


def _method_cells(dressing: Document, units: Units) -> tuple[str, ...]:
    methods, over, even = dressing["methods"], dressing["overthrow"], dressing["uniformity"]
    rates = [
        told(methods[key]["rate_kg_m2"], "rate", units, unit=False)
        for key in ("by_mass", "by_volume", "by_bulk")
    ]
    agree = {True: "yes", False: "no", None: MISSING}[methods["agree"]]
    lengths = [told(over[key], "length", units, unit=False) for key in ("strip_width_m", "reach_m")]
    evenness = [
        MISSING if even[key] is None else f"{even[key]:.0f}"
        for key in ("cv_percent", "du_lq_percent")
    ]
    name = printable(dressing["dressing"])
    return (name, *rates, agree, *lengths, str(even["catches"]), *evenness)


def _budget(season: Document, mine: Sequence[Document], units: Units) -> Section:
    picture = Picture(
        drawing=budget_picture(season["budget"], units, WIDTH),
        narrow=budget_picture(season["budget"], units, PHONE),
        caption=(
            "How much of the doubt about the season's overthrow each source brings, as its share of"
            " the variance, and its own standard uncertainty. What stands on top is what better"
            " measuring would sharpen most."
        ),
    )
    return Section(
        title="Where the doubt comes from", blocks=(picture, *_budget_table(season, mine))
    )


def _budget_table(season: Document, mine: Sequence[Document]) -> tuple[Block, ...]:
    """Shares of the sources in each dressing, in the order of the season's picture."""
    sources = [s["source"] for s in season["budget"] if s["share"] >= 0.005][:8]
    measured = [d for d in mine if d["budget"]]
    if len(measured) < 2:
        return ()
    width = (WIDTH - 66) / len(sources)
    columns = [Column(head="dressing", width=66)]
    columns += [Column(head=f"{s} %", width=width, align="right") for s in sources]
    rows = []
    for dressing in measured:
        shares = {part["source"]: part["share"] for part in dressing["budget"]}
        cells = [whole_percent(shares.get(s, 0.0)) for s in sources]
        rows.append(Row(cells=(printable(dressing["dressing"]), *cells)))
    return (Table(columns=columns, rows=rows, caption="The same for each dressing"),)
