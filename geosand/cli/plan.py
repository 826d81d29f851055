"""``geosand plan``."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from geosand.cli.options import (
    FILE,
    as_of_option,
    check_ending,
    check_results,
    display,
    made_with,
    origin_of,
    print_document,
    results_of,
    verb,
    write_text,
)
from geosand.cli.planning_options import (
    Quantity,
    Share,
    asked_start,
    asked_surfaces,
    parse_holes,
    start_option,
    surfaces_option,
    words,
)

if TYPE_CHECKING:
    from geosand.planning.dressing import NextDressing
    from geosand.reports.words import Units
    from geosand.results import Results


MOST_DEPTH_M = 0.1


@verb
@as_of_option
@click.option(
    "--depth", type=Quantity("m", MOST_DEPTH_M), help="On each surface, as 0.5mm, 1/32in."
)
@click.option(
    "--rate",
    type=Quantity("kg_m2"),
    help="The same as a rate of dry sand, as 60t/ha, 200lb/1000ft2.",
)
@click.option("--to-target", is_flag=True, help="Each surface up to its target so far.")
@click.option("--max-depth", type=Quantity("m", MOST_DEPTH_M), help="No more than this at a time.")
@click.option("--min-depth", type=Quantity("m", MOST_DEPTH_M), help="Leave out what needs less.")
@surfaces_option
@click.option(
    "--order",
    type=click.Choice(["route", "need", "named"]),
    help="Of the work: a short way, the farthest behind first, or as named [named for ids, else"
    " route].",
)
@start_option
@click.option("--sand", metavar="NAME", help="Sand of site.toml [that of the last dressing].")
@click.option("--spreader", metavar="NAME", help="As in dressings.csv [the last one].")
@click.option(
    "--assurance", type=Share(), default="0.9", help="Chance that the order is enough [0.9]."
)
@click.option(
    "--stock",
    type=Quantity("kg", zero=True),
    help="Sand there, as in 4t or 3short_ton [deliveries less loads].",
)
@click.option(
    "--load",
    type=Quantity("kg", least=1.0),
    help="What the spreader holds, as weighed, as in 800kg [one bag].",
)
@click.option("--holes", metavar="D,S,DEPTH", help="Holes made before, as in 12.7mm,50mm,75mm.")
@click.option("--speed", type=Quantity("m_s", 15.0), help="Of driving, as 8kmh, 5mph [the last].")
@click.option(
    "--swath", type=Quantity("m", 60.0, least=0.1), help="Working width, as 6m [the last]."
)
@click.option("--avoid-last", is_flag=True, help="Keep headings 30 degrees off the last ones.")
@click.option("--passes", type=FILE, help="Write pass lines: .geojson, .gpx.")
@click.option("--map", type=FILE, help="Write the map with them: .html.")
@click.option("--job-sheet", type=FILE, help="Write the crew's page: .html.")
def command(
    folder: Path, as_json: bool, units: str | None, as_of: str | None, **asked: Any
) -> None:
    """Plan the next dressing: rate of each surface, sand to order, setting, heading.

    Give --depth, --rate or --to-target. Depths are of dry poured sand, rates and masses on surfaces
    of dry sand; orders and loads are as delivered, with water. Expected overthrow comes from the
    spreader's own strip width in past dressings. --as-of is the day of the dressing: targets so far
    are those of that day.

    Example: geosand plan my_site --to-target --load 800kg
    """
    _check(asked)
    asked["holes"] = parse_holes(asked["holes"])
    results = results_of(folder, as_of)
    plan, said = _planned(results, asked)
    if as_of is None:
        of = "day of the last record" if len(results.site.dressings) else "first day of the season"
        said.append(f"planned for the {of}, {plan.as_of}: --as-of names another")
    from geosand.reports.plan import plan_document
    from geosand.reports.plan_words import load_lines, plan_lines, plan_table, plan_title

    site = results.site
    document = plan_document(site, plan, said)
    shown = display(units, site)
    written = _write_passes(results, plan, asked["passes"])
    written += _write_map(results, plan, asked["map"], shown)
    if asked["job_sheet"] is not None:
        from geosand.reports.job_sheet import job_sheet

        write_text(
            asked["job_sheet"], job_sheet(document, shown, made_with()), option="--job-sheet"
        )
        written.append(asked["job_sheet"])
    if as_json:
        print_document({**document, "written": [str(path) for path in written]})
        return
    from geosand.reports.plain_table import show

    given = any(row["mass_kg"] > 0 for row in document["surfaces"])
    show(plan_table(document, shown) if given else plan_title(document))
    show(*plan_lines(document, shown), *load_lines(document, shown))
    show(*(f"Written: {path}" for path in written))


def _check(asked: dict[str, Any]) -> None:
    """Raises click.UsageError for no depth or two, a least above the most, outputs ill named."""
    if [asked["depth"], asked["rate"], asked["to_target"] or None].count(None) != 2:
        raise click.UsageError(
            "say how much: either --depth, as in --depth 0.5mm, or --to-target; --rate, as in"
            " --rate 60t/ha, stands for a depth"
        )
    most = min(asked[name] or math.inf for name in ("depth", "max_depth"))
    if (asked["min_depth"] or 0.0) > most:
        option = "--max-depth" if most == asked["max_depth"] else "--depth"
        raise click.UsageError(f"--min-depth is more than {option}: no surface would get sand")
    pages = (".html",)
    for name, endings in {"passes": (".geojson", ".gpx"), "map": pages, "job_sheet": pages}.items():
        check_ending(asked[name], endings, f"--{name.replace('_', '-')}")
    check_results(asked["passes"], asked["map"], asked["job_sheet"])


def _planned(results: Results, asked: dict[str, Any]) -> tuple[NextDressing, list[str]]:
    """The plan, and sentences on what was chosen for the person; exit code 2 for bad choices."""
    from geosand.planning.choosing import (
        AS_NAMED,
        NEED,
        ROUTE,
        Request,
        chosen_sand,
        chosen_spreader,
        names_single_surfaces,
    )
    from geosand.planning.dressing import next_dressing

    site, ledger = results.site, results.ledger
    named = words(asked["surfaces"])
    row, start = asked_surfaces(results, named), asked_start(results, asked["start"])
    order = {"route": ROUTE, "need": NEED, "named": AS_NAMED}.get(asked["order"] or "")
    order = order or (AS_NAMED if names_single_surfaces(site, named) else ROUTE)
    hint = "--sand"
    try:
        sand, of_sand = chosen_sand(site, ledger, asked["sand"])
        hint = "--spreader"
        spreader, of_spreader = chosen_spreader(site, ledger, asked["spreader"])
        hint = "--assurance"
        request = Request(
            row=row,
            sand=sand,
            spreader=spreader,
            depth_m=_depth_m(asked, float(results.rates.density.value[sand])),
            assurance=asked["assurance"],
            maximum_m=asked["max_depth"],
            minimum_m=asked["min_depth"],
            holes_take_m=asked["holes"],
            stock_kg=asked["stock"],
            load_kg=asked["load"],
            speed_m_s=asked["speed"],
            swath_m=asked["swath"],
            avoid_last=asked["avoid_last"],
            order=order,
            start_m=start,
        )
        plan = next_dressing(results.balance, ledger, request)
    except ValueError as problem:
        raise click.BadParameter(str(problem), param_hint=hint) from problem
    return plan, [of_sand, of_spreader]


def _depth_m(asked: dict[str, Any], density_kg_m3: float) -> float | None:
    """The depth that was asked for, or that of the rate; exit code 2 for one that can not be."""
    rate: float | None = asked["rate"]
    if rate is None:
        said: float | None = asked["depth"]
        return said
    depth = rate / density_kg_m3
    if (asked["min_depth"] or 0.0) > depth:
        raise click.UsageError("--min-depth is more than --rate: no surface would get sand")
    if depth > MOST_DEPTH_M:
        most = f"allowed is at most {MOST_DEPTH_M * 1000:g} mm"
        problem = f"of this sand it is {depth * 1000:.4g} mm: {most}"
        raise click.BadParameter(problem, param_hint="--rate")
    return depth


def _write_map(results: Results, plan: NextDressing, path: Path | None, units: Units) -> list[Path]:
    """The site's map with the passes of the plan."""
    if path is None:
        return []
    if plan.headings is None:
        raise click.BadParameter("no swath is known: give --swath", param_hint="--map")
    from geosand.mapping.fill import map_passes, map_view
    from geosand.mapping.page import map_page

    view = replace(map_view(results, units, map_passes(results, plan)), made_with=made_with())
    write_text(path, map_page(view), option="--map")
    return [path]


def _write_passes(results: Results, plan: NextDressing, path: Path | None) -> list[Path]:
    """Pass lines of the surfaces that get sand, as GeoJSON or GPX."""
    if path is None:
        return []
    from geosand.formats.geojson_writing import lines_geojson
    from geosand.formats.gpx import gpx_lines
    from geosand.planning.dressing import dressing_passes

    if plan.headings is None:
        raise click.BadParameter("no swath is known: give --swath", param_hint="--passes")
    lines, owner = dressing_passes(results.areas, plan)
    ids = [str(i) for i in results.site.surfaces.id[plan.rates.row[owner]]]
    number: dict[str, int] = {}
    names = []
    for name in ids:
        number[name] = number.get(name, 0) + 1
        names.append(f"{name} pass {number[name]}")
    origin = origin_of(results.site)
    if path.suffix.lower() == ".gpx":
        write_text(path, gpx_lines(lines.tolist(), names, origin), option="--passes")
    else:
        heading = plan.headings.heading_degree[owner].tolist()
        text = lines_geojson(lines, names, ids, heading, plan.swath_m, origin)
        write_text(path, text, option="--passes")
    return [path]
