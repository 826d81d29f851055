"""``geosand place``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from geosand.cli.options import (
    FILE,
    check_ending,
    check_results,
    display,
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
    last_swath,
    lengths_m,
    start_option,
    surfaces_option,
    words,
)
from geosand.cli.power import show_power

if TYPE_CHECKING:
    from geosand.columns import Floats
    from geosand.planning.placing import Places
    from geosand.reports.field_sheet import Point, Tray
    from geosand.reports.words import Units
    from geosand.results import Results

USUAL_TRAY_M = 0.5  #: 500 × 500 mm is usual in spreader tests; only the margin rests on it


@verb
@click.option("--catches", type=click.IntRange(1, 1000), help="Points in each surface.")
@click.option(
    "--on",
    type=click.IntRange(1, 10_000),
    help="On so many of them (none named: of those dressed): first those never caught this season,"
    " then those caught least.",
)
@surfaces_option
@start_option
@click.option("--ring", metavar="D,D", help="Also a point at each distance outside, as 0.3m,1.0m.")
@click.option("--tray", metavar="L,W", help="Tray, as 400mm,250mm or a diameter [the last one].")
@click.option(
    "--swath", type=Quantity("m", 60.0, least=0.1), help="Working width, as 6m [the last]."
)
@click.option(
    "--dressing", default="", metavar="NAME", help="Dressing they are for: on its surfaces."
)
@click.option("--seed", type=click.IntRange(0), help="Of the draw [number of dressings + 1].")
@click.option("--out", type=FILE, help="File: .geojson, .gpx or .html.")
@click.option(
    "--show-power", is_flag=True, help="What more catches would see; places none. --out: .html."
)
@click.option(
    "--see-overthrow",
    type=Share(part=True),
    help="With --show-power: share to tell from zero, as in 10%.",
)
@click.option(
    "--know-depth", type=Share(part=True), help="With --show-power: ± share of a depth, as in 8%."
)
def command(folder: Path, as_json: bool, units: str | None, **asked: Any) -> None:
    """Lay trays: balanced random points in each surface, one of two near its edge, some outside.

    With --on trays move from dressing to dressing, so that each surface gets its own in the season.
    Without --out they are listed. .geojson and .gpx are for receivers and maps; .html is a field
    sheet for phone and paper that takes the readings and saves them as catches. --show-power tells
    how many catches are needed.

    Example: geosand place my_site --catches 4 --out maps/trays.html
    """
    _check_together(asked)
    check_results(asked["out"])
    if asked["show_power"]:
        show_power(folder, as_json, asked)
        return
    if asked["catches"] is None:
        raise click.UsageError("give --catches, as in --catches 4")
    out: Path | None = asked["out"]
    check_ending(out, (".geojson", ".gpx", ".html"), "--out")
    ring, tray = _ring(asked["ring"]), _tray(asked["tray"])
    results = results_of(folder)
    tray, said = _tray_of(results, tray)
    seed = len(results.site.dressings) + 1 if asked["seed"] is None else asked["seed"]
    places = _placed(results, asked, ring, tray, seed)
    shown_in = display(units, results.site)
    if out is not None:
        _write(results, places, out, tray, asked["dressing"], seed, shown_in)
    findings = [*said, *[str(f) for f in places.findings], *_left_out(results, places, asked)]
    if as_json:
        from geosand.reports.field_sheet import catch_points

        points = [_in_numbers(point) for point in catch_points(results.site, places)]
        written = None if out is None else str(out)
        document = {"site": results.site.name, "seed": seed, "written": written}
        document["inputs"] = dict(results.site.inputs)
        print_document({**document, "points": points, "findings": findings})
        return
    surfaces, count = len(set(places.row.tolist())), len(places)
    what = f"{count} point{'' if count == 1 else 's'} on {surfaces} surface"
    what += "" if surfaces == 1 else "s"
    to = "." if out is None else f": {out}"
    from geosand.reports.plain_table import show
    from geosand.reports.words import in_words_of, shown

    show(f"{what}, drawn with seed {seed}, in the order of walking{to}")
    swath = last_swath(results, asked["swath"])
    width = f"of {shown(swath, 'length', shown_in)}" if swath > 0 else "that is not known"
    show(
        f"Drawn for {tray.words(shown_in)} and a swath {width}; where yours differs say"
        " --tray or --swath, which moves the points."
    )
    show(*(f"  - {in_words_of(text, shown_in)}" for text in findings))
    if out is None:
        _print_points(results, places, shown_in)


def _in_numbers(point: Point) -> dict[str, Any]:
    """A point of the field sheet, whose cells are texts, for other programs."""
    texts = ("catch", "label", "surface", "kind", "zone")
    return {
        **{name: point[name] for name in texts},
        "lon": float(point["lon"]),
        "lat": float(point["lat"]),
        "edge_distance_m": float(point["outside"]) if point["outside"] else None,
    }


def _check_together(asked: dict[str, Any]) -> None:
    """Wrong usage for options that would say nothing."""
    of_points = ("catches", "on", "ring", "tray", "swath", "dressing", "seed", "start")
    of_power = ("see_overthrow", "know_depth")
    for name in of_points if asked["show_power"] else of_power:
        if asked[name] not in (None, ""):
            option = f"--{name.replace('_', '-')}"
            reason = f"{option} goes with --show-power"
            if asked["show_power"]:
                reason = f"--show-power lays no trays: leave {option} out"
            raise click.UsageError(reason)


def _print_points(results: Results, places: Places, units: Units) -> None:
    from geosand.reports.field_sheet import places_table
    from geosand.reports.plain_table import show

    written = "--out writes them: .html a field sheet, .gpx for a receiver, .geojson for a map."
    show(places_table(results.site, places, units), written)


def _ring(text: str | None) -> Floats:
    import numpy as np

    parts = [part for part in (text or "").split(",") if part.strip()]
    return np.array(lengths_m(parts, 50.0, "--ring"), dtype=np.float64)


def _tray(text: str | None) -> Tray | None:
    from geosand.reports.field_sheet import Tray

    if text is None:
        return None
    sizes = lengths_m(text.split(","), 5.0, "--tray")
    if len(sizes) == 1:
        return Tray(diameter_m=sizes[0])
    if len(sizes) == 2:
        return Tray(length_m=sizes[0], width_m=sizes[1])
    raise click.BadParameter(f"{text!r}: write 400mm,250mm or 300mm", param_hint="--tray")


def _left_out(results: Results, places: Places, asked: dict[str, Any]) -> list[str]:
    """Surfaces which never had a tray this season, and get none now.

    Of the kinds that get trays, as others may have their own day; of all where none was named.
    """
    from geosand.errors import listed

    surfaces, ledger, most = results.site.surfaces, results.ledger, asked["on"]
    never = ledger.row[ledger.never_caught]
    if words(asked["surfaces"]) or _dressed(results, asked["dressing"]):
        never = never[[kind in surfaces.kind[places.row] for kind in surfaces.kind[never]]]
    names = surfaces.id[never[[row not in places.row for row in never]]].tolist()
    if not names:
        return []
    then = "--on takes such surfaces first" if most is None else "--on takes them next"
    return [f"{listed(names)}: never caught this season and without a tray here: {then}"]


def _tray_of(results: Results, tray: Tray | None) -> tuple[Tray, list[str]]:
    """The tray asked for, else that of the last catch; a sentence where neither is known."""
    from geosand.reports.field_sheet import Tray

    catches = results.site.catches
    if tray is not None:
        return tray, []
    if len(catches):
        last = int(catches.dressing.argmax())
        area, half = catches.tray_area_m2[last], catches.half_diagonal_m[last]
        return Tray.from_area(float(area), float(half)), []
    text = f"no past catch tells the tray: its distance from the edge is that of {USUAL_TRAY_M} m"
    return Tray(), [f"{text} × {USUAL_TRAY_M} m; give --tray"]


def _placed(results: Results, asked: dict[str, Any], ring: Floats, tray: Tray, seed: int) -> Places:
    import numpy as np

    from geosand.planning.choosing import in_working_order, least_caught, names_single_surfaces
    from geosand.planning.placing import place_catches

    site, named = results.site, words(asked["surfaces"])
    meant = named or _dressed(results, asked["dressing"])
    row = asked_surfaces(results, meant)
    if asked["on"] is not None:
        dressed = np.isin(row, results.ledger.row[results.ledger.dressings > 0])
        row = row if meant or not dressed.any() else row[dressed]
        row = least_caught(site, results.rates, results.ledger, row, asked["on"], seed)
    start = asked_start(results, asked["start"])
    if start is not None or not names_single_surfaces(site, named):
        row = in_working_order(site, results.areas, row, start, by_kind=False)
    half = tray.half_diagonal_m
    return place_catches(
        site,
        results.areas,
        row=row,
        catches=asked["catches"],
        half_diagonal_m=half if half > 0 else USUAL_TRAY_M / 2**0.5,
        swath_m=last_swath(results, asked["swath"]),
        ring_m=ring,
        seed=seed,
        taken=_taken(results, asked["dressing"]),
    )


def _dressed(results: Results, dressing: str) -> list[str]:
    """Ids of the surfaces in force that a dressing on record dresses; none where it is not."""
    site = results.site
    rows = site.dressed.surface[site.dressings.id[site.dressed.dressing] == dressing]
    ids = dict.fromkeys(site.surfaces.id[rows].tolist())
    return [one for one in site.surfaces.id[site.in_force()].tolist() if one in ids]


def _taken(results: Results, dressing: str) -> set[str]:
    """Ids of the catches that a dressing has on record; of all dressings where none is named."""
    site = results.site
    of = site.dressings.id[site.catches.dressing]
    return set(site.catches.id[(of == dressing) | (not dressing)].tolist())


def _write(
    results: Results, places: Places, out: Path, tray: Tray, dressing: str, seed: int, units: Units
) -> None:
    from geosand.formats.geojson_writing import points_geojson
    from geosand.formats.gpx import gpx_points
    from geosand.reports.field_sheet import catch_points, field_sheet

    site, lon, lat = results.site, places.lon_degree, places.lat_degree
    origin = origin_of(site)
    if out.suffix.lower() == ".html":
        page = field_sheet(
            site,
            results.areas,
            places,
            tray=tray,
            dressing=dressing,
            seed=seed,
            units=units,
            origin=origin,
        )
        write_text(out, page)
        return
    points = catch_points(site, places)
    if out.suffix.lower() == ".gpx":
        notes = [f"{p['outside']} m outside" if p["outside"] else p["zone"] for p in points]
        write_text(out, gpx_points(lon, lat, [p["catch"] for p in points], notes, origin))
        return
    features = []
    for point in points:
        values: dict[str, Any] = {"catch": point["catch"], "surface": point["surface"]}
        if dressing:
            values["dressing"] = dressing
        if point["outside"]:
            values["edge_distance_m"] = float(point["outside"])
        features.append(values)
    write_text(out, points_geojson(lon, lat, features, origin))
