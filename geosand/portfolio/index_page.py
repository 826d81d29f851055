"""The index of a portfolio as one page: what to look at first, spreaders side by side, all sites.

Text of users' goes through ``escape`` or into the JSON block, whose script sets it with
textContent; the page's policy lets nothing run or load but its own style and script.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape
from typing import Any

from geosand.errors import printable
from geosand.portfolio.account import PortfolioDone
from geosand.portfolio.compare import MOST_OF_A_SITE, Comparison
from geosand.portfolio.site_rows import IN_STATE
from geosand.portfolio.strips import drawn_spreaders, strips
from geosand.portfolio.summary import (
    Line,
    counted,
    first_lines,
    joined,
    last_days,
    plus_minus,
    spreader_name,
)
from geosand.reports.printed_page import asset, page
from geosand.reports.words import Units, chance, glued, grouped, label_of, percent, shown
from geosand.units import SHOWN

#: what the page's script needs of a site, in this order
FIELDS = (
    *("site", "name", "status", "fraction", "u_fraction", "strip_width_m", "u_strip_width_m"),
    *("spreaders", "measured", "dressings", "thrown_over"),
    *("not_closing", *IN_STATE, "furthest_behind", "largest_shortfall_mm"),
    *("findings", "sketch"),
)
LESSER = '<td class="wide-only"'
MOST_SITES = 100  #: of those with balances that do not close


def index_page(title: str, done: PortfolioDone, units: Units) -> str:
    """The whole page, the same bytes for the same results."""
    found = done.comparison
    name = f"{printable(title)}: {counted(len(found.sites), 'site', 'sites')}"
    sections = (
        _first(done, units),
        _spreaders(found, units),
        _sites(found, units),
        _not_closing(found, units),
        _under_dressed(found, units),
        _refused(found),
        _about(done),
    )
    body = f"<main><h1>{escape(name)}</h1>\n{''.join(sections)}</main>\n"
    data = {
        "fields": FIELDS,
        "sites": [[_shown(row[f]) for f in FIELDS] for row in found.sites],
        "maps": [done.maps.get(row["site"]) for row in found.sites],
        "states": list(IN_STATE),
        "length": SHOWN[units]["length"],
        "depth": SHOWN[units]["depth"],
    }
    return page(
        title=f"{name}, sand on turf",
        body=body,
        style=asset("index.css", "geosand.portfolio"),
        script=asset("index.js", "geosand.portfolio"),
        data=data,
    )


def _shown(value: Any) -> Any:
    return printable(value) if isinstance(value, str) else value


def _first(done: PortfolioDone, units: Units) -> str:
    found, maps = done.comparison, done.maps

    def link(key: str) -> str:
        name = escape(printable(found.labels[key]))
        return f'<a href="{escape(maps[key])}">{name}</a>' if key in maps else f"<b>{name}</b>"

    def item(line: Line) -> str:
        sites = [(key, glued(said)) for key, said in line.sites]
        named = joined(line._replace(sites=sites), link)
        return f"<li>{escape(glued(line.text))}{named}{escape(glued(line.rest))}.</li>\n"

    items = "".join(map(item, first_lines(found, units, done.not_read)))
    return f'<ul class="first">{items}</ul>\n'


def _spreaders(found: Comparison, units: Units) -> str:
    rows = drawn_spreaders(found)
    if not rows:
        return ""
    factor, label, decimals = SHOWN[units]["length"]
    body = "".join(
        "<tr>"
        f'<th scope="row">{escape(spreader_name(row))}</th>{LESSER}>{_sites_of(row)}</td>'
        f"{LESSER}>{grouped(row['dressings'])}</td>"
        f"<td>{plus_minus(row['fraction'], row['u_fraction'], 100, 1)}</td>"
        f"<td>{plus_minus(row['strip_width_m'], row['u_strip_width_m'], factor, decimals)}</td>"
        f"<td>{grouped(row['not_closing'])}</td></tr>\n"
        for row in rows
    )
    heads = ("overthrow,\u00a0%", f"strip width,\u00a0{label}", "do not close")
    head = '<th scope="col">spreader</th>'
    head += "".join(f'<th scope="col" class="wide-only">{h}</th>' for h in ("sites", "dressings"))
    head += "".join(f'<th scope="col">{h}</th>' for h in heads)
    out = ""
    if any(row["left_out"] for row in found.spreaders):
        out = " A ring is a site whose sum does not close: it is left out."
    return (
        "<section><h2>Overthrow by spreader</h2>\n<p>Strip width: as if the overthrow lay at full"
        " rate beside the edges. Each dot is a site; ± is one standard uncertainty, sites taken as"
        f" having nothing in common.{out}</p>\n"
        f'<div class="beside">{strips(found, units)}'
        '<div class="wide" tabindex="0" role="region" aria-label="Spreaders">'
        f'<table class="figures"><thead><tr>{head}</tr></thead><tbody>\n{body}'
        "</tbody></table></div></div></section>\n"
    )


def _sites_of(row: Mapping[str, Any]) -> str:
    out = row["left_out"]
    sites = grouped(row["sites"])
    return f"{grouped(row['sites'] - out)} of {sites}" if out else sites


def _sites(found: Comparison, units: Units) -> str:
    if not found.sites:
        return ""
    length, depth = label_of("length", units), label_of("depth", units)
    heads = [
        ("sketch", "", "wide-only"),
        ("name", "site", ""),
        ("fraction", "overthrow,\u00a0%", "number"),
        ("strip_width_m", f"strip width,\u00a0{length}", "number wide-only"),
        ("spreaders", "spreader", "wide-only"),
        ("not_closing", "do not close", "number"),
        ("under_dressed", "under-dressed", "number"),
        ("largest_shortfall_mm", f"furthest behind,\u00a0{depth}", "number wide-only"),
        ("findings", "findings", "number wide-only"),
    ]
    cells = "".join(
        f'<th scope="col" class="{kind}"><button type="button" data-key="{key}">{text}'
        "</button></th>"
        if text
        else f'<th scope="col" class="{kind}"><span class="unseen">sketch</span></th>'
        for key, text, kind in heads
    )
    choices = (
        ("all", "all"),
        ("not_closing", "with balances that do not close"),
        ("under_dressed", "with under-dressed surfaces"),
        ("thrown_over", "with overthrow told from zero"),
        ("unmeasured", "with dressings not measured"),
        ("refused", "that could not be worked out"),
    )
    options = "".join(f'<option value="{value}">{text}</option>' for value, text in choices)
    states = (("s1", "under-dressed"), ("s2", "on target"), ("s3", "over-dressed"), ("s0", "other"))
    key = "".join(f'<span><i class="{css}"></i> {state}</span>' for css, state in states)
    return (
        '<section id="sites"><h2>Sites</h2>\n<noscript><p>The list of sites needs scripts allowed;'
        " sites.csv holds the same figures.</p></noscript>\n"
        '<div class="ask"><label>Find <input id="find" type="search" autocomplete="off"></label>'
        f'<label>Show sites <select id="which">{options}</select></label>'
        '<button type="button" id="plain">most pressing first</button></div>\n'
        '<p id="told" role="status"></p>\n'
        '<div class="wide" tabindex="0" role="region" aria-label="Sites">'
        f'<table class="list"><thead><tr>{cells}</tr></thead>'
        '<tbody id="list"></tbody></table></div>\n'
        '<div class="pages"><button type="button" id="before">previous</button>'
        '<span id="page"></span><button type="button" id="after">next</button></div>\n'
        f'<p class="key wide-only">{key}</p></section>\n'
    )


def _table(
    title: str,
    note: str,
    heads: Sequence[str],
    rows: Sequence[Sequence[str]],
    lesser: Sequence[int],
) -> str:
    """A plain table; the first two columns are names, cells are escaped here.

    A phone has no room for the ``lesser`` columns.
    """
    if not rows:
        return ""
    css = [' class="wide-only"' if k in lesser else "" for k in range(len(heads))]
    head = "".join(f'<th scope="col"{c}>{escape(h)}</th>' for c, h in zip(css, heads, strict=True))
    body = "".join(
        "<tr>"
        + "".join(f"<td{c}>{escape(cell)}</td>" for c, cell in zip(css, row, strict=True))
        + "</tr>\n"
        for row in rows
    )
    said = f"<p>{escape(note)}</p>" if note else ""
    return (
        f"<section><h2>{escape(title)}</h2>{said}"
        f'<div class="wide" tabindex="0" role="region" aria-label="{escape(title)}">'
        f'<table class="figures named"><thead><tr>{head}</tr></thead><tbody>\n'
        f"{body}</tbody></table></div></section>\n"
    )


def _not_closing(found: Comparison, units: Units) -> str:
    """One row a site, that with the worst dressing first."""
    by_site: dict[str, list[Mapping[str, Any]]] = {}
    for row in found.not_closing:
        by_site.setdefault(row["site"], []).append(row)
    measured = {row["site"]: row["measured"] for row in found.sites}
    rows = []
    for site, mine in list(by_site.items())[:MOST_SITES]:
        spread, over = (sum(row[k] for row in mine) for k in ("spread_kg", "overthrow_kg"))
        worst = ", ".join(printable(row["dressing"]) for row in mine[:3])
        rows.append(
            [
                printable(found.labels[site]),
                f"{len(mine)} of {measured[site]}: {worst}{' …' if len(mine) > 3 else ''}",
                shown(spread, "mass", units, unit=False),
                shown(over, "mass", units, unit=False),
                percent(over / spread if spread > 0 else None),
            ]
        )
    more = len(by_site) > MOST_SITES
    note = "Sums of dressings whose catches claim more than was spread; balances.csv has each."
    note += f" The first {MOST_SITES} sites." if more else ""
    mass = label_of("mass", units)
    heads = (
        "site",
        "dressings, the worst first",
        f"spread,\u00a0{mass}",
        f"overthrow,\u00a0{mass}",
    )
    return _table("Balances that do not close", note, (*heads, "share"), rows, (2,))


def _under_dressed(found: Comparison, units: Units) -> str:
    rows = [
        [
            printable(found.labels[row["site"]]),
            printable(f"{row['surface']} ({row['kind']})"),
            *(
                shown(row[key] / 1000, "depth", units, unit=False)
                for key in ("depth_mm", "target_so_far_mm", "shortfall_mm")
            ),
            chance(row["probability"]),
        ]
        for row in found.under_dressed
    ]
    more = found.under_dressed_count - len(rows)
    note = f"The furthest behind, at most {MOST_OF_A_SITE} of a site"
    note = f"{note}; ledger.csv has {grouped(more)} more." if more else ""
    depth = label_of("depth", units)
    heads = [f"{head},\u00a0{depth}" for head in ("depth", "target so far", "shortfall")]
    heads = ["site", "surface", *heads, "probability"]
    return _table("Under-dressed surfaces", note, heads, rows, (3, 5))


def _refused(found: Comparison) -> str:
    broken = [*found.refused, *found.failed]
    if not broken:
        return ""
    items = "".join(
        f"<li><b>{escape(printable(row['site']))}</b><ul>{_lines(row)}</ul></li>\n"
        for row in broken[:200]
    )
    more = len(broken) - 200
    rest = f"<p>{grouped(more)} more are in sites.csv.</p>" if more > 0 else ""
    return (
        '<section id="refused"><h2>Sites that could not be worked out</h2>\n<ul class="faults">'
        f"{items}</ul>{rest}</section>\n"
    )


def _lines(row: Mapping[str, Any]) -> str:
    lines = row["faults"].splitlines()
    told = "".join(f"<li>{escape(printable(line))}</li>" for line in lines[:8])
    return told + (f"<li>and {len(lines) - 8} more</li>" if len(lines) > 8 else "")


def _about(done: PortfolioDone) -> str:
    no_maps = "" if done.maps else " With --maps each site gets its map, linked here."
    links = ", ".join(f'<a href="{escape(name)}">{escape(name)}</a>' for name in done.files)
    return (
        f"<footer><p>{escape(last_days(done.comparison))}{no_maps}</p>\n"
        f"<p>All figures: {links}. In them masses are in kg, depths in mm, areas in m².</p>"
        "<p>Areas here are for sand planning; boundary and title work needs a licensed surveyor."
        "</p></footer>\n"
    )
