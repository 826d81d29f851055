"""The content of a site's report: what happened, what is behind, and how it is known."""

from __future__ import annotations

from dataclasses import replace

from geosand.errors import printable
from geosand.reports.balance_document import balance_document
from geosand.reports.documents import Document, si
from geosand.reports.first import look_first, next_step
from geosand.reports.printable.balance_pictures import UNKNOWN, Limits, Stage, sand_picture
from geosand.reports.printable.balance_section import balance_section
from geosand.reports.printable.content import Figure, Figures, Items, Picture, Report, Section, Text
from geosand.reports.printable.drawing import PHONE, WIDTH
from geosand.reports.printable.map_picture import map_picture
from geosand.reports.printable.method_section import trust_sections
from geosand.reports.printable.surfaces_section import (
    areas_section,
    beside_section,
    surfaces_section,
)
from geosand.reports.season_document import season_balance, season_document
from geosand.reports.words import (
    MISSING,
    NO_DRESSING,
    Units,
    between,
    ended,
    percent,
    shown,
    written_day,
)
from geosand.results import Results
from geosand.season.ledger import NOT_MEASURED, NOT_YET, UNDER


def season_report(results: Results, units: Units) -> Report:
    """Everything the report of a site says, in the reader's units; the same each time."""
    site, ledger = results.site, results.ledger
    season = season_balance(results)
    until = "" if site.season_end is None else f" to {written_day(str(site.season_end))}"
    subtitle = (
        f"As of {written_day(str(ledger.as_of))}. Season from"
        f" {written_day(str(ledger.start))}{until}."
    )
    depths = season_document(results)["surfaces"]
    sections = [
        _first(results, season, units),
        *_where(season, units),
        *_map(results, units),
        *_surfaces(results, depths, units),
        *balance_section(results, balance_document(results)["dressings"], season, units),
        *beside_section(depths, units),
        areas_section(results, units),
        *trust_sections(results, units),
    ]
    return Report(
        kicker="Sand account",
        title=printable(site.name),
        subtitle=subtitle,
        day=str(ledger.as_of),
        sections=tuple(section for section in sections if section.blocks),
        inputs=dict(site.inputs),
    )


def _first(results: Results, season: Document, units: Units) -> Section:
    """The few figures, and what to look at first."""
    lines = tuple(ended(printable(line)) for line in look_first(results, units))
    if not len(results.site.dressings):
        lines = (NO_DRESSING,)
    listed = Items(items=lines, numbered=True) if lines else Text(text="Nothing stands out.")
    figures = _figures(results, season, units)
    step = (Text(text=printable(next_step(results, units))),) if len(results.site.dressings) else ()
    return Section(title="What to look at first", blocks=(*step, figures, listed))


def _figures(results: Results, season: Document, units: Units) -> Figures:
    over, on, out = season["overthrow"], season["on_surfaces"], season["not_measured_kg"]
    spread = Figure(label="spread", value=_mass(season["spread"], units), detail="not measured")
    if measured := season["measured"]:
        spread = replace(spread, detail=f"in {measured} measured dressing{_s(measured)}")
    elif out:
        spread = replace(spread, value=shown(out, "mass", units), detail="not known where it lies")
    figures = (
        spread,
        Figure(label="on the surfaces", value=_mass(on, units), detail=_limits(on, units)),
        _overthrow(over, units),
        _under_dressed(results),
    )
    return Figures(figures=figures)


def _overthrow(over: Document, units: Units) -> Figure:
    """One below zero is told as what the catches claim, its limits too."""
    if over["mass_kg"] is None:
        return Figure(label="overthrow", value=MISSING, detail="")
    label = "overthrow"
    if over["mass_kg"] < 0:
        label = "claimed beyond the spread"
        ends = {"low_kg": -over["high_kg"], "high_kg": -over["low_kg"]}
        over = {**over, "mass_kg": -over["mass_kg"], **ends}
    share = MISSING if over["fraction"] is None else percent(abs(over["fraction"]))
    detail = f"{share} of the spread. {_limits(over, units)}"
    return Figure(label=label, value=_mass(over, units), detail=detail)


def _under_dressed(results: Results) -> Figure:
    """How many surfaces are behind, of those whose depth is known."""
    state = results.ledger.state
    size, unknown = len(state), int((state == NOT_MEASURED).sum())
    if 0 < size == unknown:
        return Figure(label="under-dressed", value=MISSING, detail="no depth is known")
    detail = f"surface{_s(size)} with a target or sand"
    if unknown:
        detail += f"; the depth of {unknown} is not known"
    under = int((state == UNDER).sum())
    return Figure(label="under-dressed", value=f"{under} of {size}", detail=detail)


def _s(count: int) -> str:
    return "" if count == 1 else "s"


def _mass(mass: Document, units: Units) -> str:
    return shown(si(mass["mass_kg"]), "mass", units)


def _limits(mass: Document, units: Units) -> str:
    if mass["low_kg"] is None or mass["high_kg"] is None:
        return ""
    return f"95 %: {between(mass['low_kg'], mass['high_kg'], 'mass', units)}"


def _where(season: Document, units: Units) -> list[Section]:
    """The waterfall from the spread to where it lies."""
    stages = season_stages(season)
    if not stages:
        return []
    beside = season["beside"]
    caption = (
        "Lines across the ends of bars are 95 % intervals. Sand beside the edges is laid out as if"
        " all overthrow lay there, the rate falling evenly to nothing; the intervals"
        " of collars and surrounds also count that it may fall in another way."
    )
    over = [
        f"{shown(kg, 'mass', units)} over {kind}"
        for kind, kg in beside["over_kg"].items()
        if kg and kg >= 0.5
    ]
    if over:
        caption += f" Of it {', '.join(over)}."
    if season["not_measured_kg"]:
        out = shown(season["not_measured_kg"], "mass", units)
        caption += f" {out} were spread in dressings that were not measured; they are not in it."
    picture = Picture(
        drawing=sand_picture(stages, units, WIDTH),
        narrow=sand_picture(stages, units, PHONE),
        caption=caption,
    )
    return [Section(title="Where the sand went", blocks=(picture,))]


def season_stages(season: Document) -> list[Stage]:
    """Bars of the waterfall; none where nothing was measured."""
    spread, on, over = season["spread"], season["on_surfaces"], season["overthrow"]
    if spread["mass_kg"] is None:
        return []
    landed = on["mass_kg"]
    stages = [
        Stage(label="Spread", start_kg=0.0, end_kg=spread["mass_kg"], limits_kg=_bounds(spread)),
        Stage(
            label="On the surfaces",
            start_kg=0.0,
            end_kg=landed,
            on_surfaces=True,
            limits_kg=_bounds(on),
        ),
        Stage(
            label="Overthrow" if over["mass_kg"] >= 0 else "More than was spread",
            start_kg=landed,
            end_kg=spread["mass_kg"],
            backwards=over["mass_kg"] < 0,
            limits_kg=_bounds(over),
        ),
    ]
    return [*stages, *_parts_of_overthrow(season, landed)]


def _parts_of_overthrow(season: Document, start_kg: float) -> list[Stage]:
    """Collars, surrounds, farther out, and what no ring holds, one hung on the other."""
    beside, rest = season["beside"], season["not_laid_out_kg"]
    if beside["collar_kg"] is None:
        return []
    collar, surrounds = (
        (si(beside[f"{zone}_least_kg"]), si(beside[f"{zone}_most_kg"]))
        for zone in ("collar", "surrounds")
    )
    stages, at = [], start_kg
    for label, kg, limits in (
        ("in collars", beside["collar_kg"], collar),
        ("in the surrounds", beside["surrounds_kg"], surrounds),
        ("farther, unaccounted", beside["farther_kg"], UNKNOWN),
        ("claimed, not spread" if rest < 0 else "not laid out", rest, UNKNOWN),
    ):
        if label == "in collars" and not limits[1]:  # the site says that there are none
            continue
        end = at + kg
        stages.append(
            Stage(
                label=label, start_kg=at, end_kg=end, limits_kg=limits, part=True, backwards=kg < 0
            )
        )
        at = end
    return stages if rest else stages[:-1]


def _bounds(mass: Document) -> Limits:
    return si(mass["low_kg"]), si(mass["high_kg"])


def _surfaces(results: Results, depths: list[Document], units: Units) -> list[Section]:
    """The ledger; left out where nothing was to be dressed and nothing was."""
    if (results.ledger.told == NOT_YET).all():
        return []
    return [surfaces_section(results, depths, units)]


def _map(results: Results, units: Units) -> list[Section]:
    picture = map_picture(results, units, WIDTH)
    if picture is None:
        return []
    ids = "the ids are those of the tables, as far as there is room."
    title, caption = "Map", f"No depth of sand is known so far; {ids}"
    if (results.ledger.depth.value > 0).any():
        title = "Depth on the map"
        caption = f"Surfaces shaded by the depth of sand they have had so far; {ids}"
        caption += " Lines and areas without a shade are not dressed."
    narrow = map_picture(results, units, PHONE)
    block = Picture(drawing=picture, narrow=narrow, caption=caption)
    return [Section(title=title, blocks=(block,))]
