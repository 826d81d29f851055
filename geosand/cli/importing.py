"""Options of the verbs that read a boundary file, and what they say of it."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from geosand.cli.options import FILE

if TYPE_CHECKING:
    from geosand.areas.remarks import Remark
    from geosand.errors import Fault, Finding
    from geosand.formats.boundaries.sites.questions import Choice
    from geosand.formats.boundaries.sites.settling import Settled
    from geosand.formats.boundaries.sites.surfaces_file import SurfaceRow
    from geosand.formats.boundaries.tables import Boundaries, LeftOut
    from geosand.reports.documents import Document
    from geosand.reports.words import Units

#: Names of geosand.areas.crossings.METHODS, which would load NumPy for every --help.
CROSSINGS = ("loops", "even-odd", "largest", "uncrossed")
LARGEST_ACCURACY_M = 20.0
SHOWN = 40  #: items of one list on the console
ALIKE = 12  #: of these, items that were left out for the same reason
TOLD = 4  #: of these, findings that differ only in figures
Options = Callable[[Callable[..., None]], Callable[..., None]]

_OPTIONS = (
    click.option("--crs", help="CRS of the file where it does not say it, as in EPSG:32631."),
    click.option(
        "--unit",
        help="Unit of a drawing or survey text: m, ft, survey_foot; degrees, dms (d.mmss).",
    ),
    click.option("--one-kind", "kind", help="One kind for all surfaces, as in green."),
    click.option("--kind", "kind_column", help="Attribute (column) that holds the kind."),
    click.option(
        "--kinds",
        "kinds_file",
        type=FILE,
        help="CSV with the columns found and kind: what words of the file mean.",
    ),
    click.option(
        "--kind-map",
        "kind_pairs",
        multiple=True,
        metavar="FOUND=KIND",
        help="The same for one word, as in Abschlag=tee; may be repeated.",
    ),
    click.option("--id", "id_column", help="Attribute that holds the id."),
    click.option("--name", "name_column", help="Attribute that holds the name."),
    click.option("--point-order", help="Order of survey text without a head, as in PNEZD."),
    click.option(
        "--close-tolerance",
        "close_tolerance_m",
        default=0.05,
        show_default=True,
        metavar="METRES",
        help="Lines whose ends are at most this far apart are closed.",
    ),
    click.option(
        "--holes", is_flag=True, help="Drawings: outlines in another of their layer are its holes."
    ),
    click.option("--near", nargs=2, type=float, metavar="LON LAT", help="Where the site must be."),
    click.option("--swap", "swap_axes", is_flag=True, help="The file has x and y exchanged."),
    click.option("--believe-place", is_flag=True, help="Take a place that was asked about."),
    click.option(
        "--split-parts", is_flag=True, help="One surface for each part of a multipolygon."
    ),
)


#: Of a survey's accuracy, and of what is done about doubtful boundaries.
_CHOICES = (
    click.option(
        "--edge-accuracy",
        metavar="LENGTH",
        help="Standard uncertainty of where the edge of a surface is taken to be, as in 0.05m.",
    ),
    click.option(
        "--edge-bias", metavar="LENGTH", help="The same, one error shared by all surfaces."
    ),
    click.option("--boundary-accuracy", metavar="LENGTH", help="The same of one vertex by itself."),
    click.option(
        "--repair", is_flag=True, help="Mend what can be: each change is listed with its areas."
    ),
    click.option(
        "--crossings",
        type=click.Choice(CROSSINGS),
        help="With --repair: how an outline that crosses itself is mended [loops].",
    ),
    click.option("--accept", is_flag=True, help="Take what was asked about as it stands."),
)


def _adding(options: Sequence[Options]) -> Options:
    def added(function: Callable[..., None]) -> Callable[..., None]:
        for option in reversed(options):
            function = option(function)
        return function

    return added


boundary_options = _adding(_OPTIONS)
choice_options = _adding(_CHOICES)


def read_with(
    path: Path, options: dict[str, Any], near: tuple[float, float] | None = None
) -> Boundaries:
    """The boundaries in ``path``, read with the options a person gave; raises Refused."""
    from geosand.formats.boundaries.read import read_boundaries

    wishes = dict(options)
    wishes["near"] = wishes["near"] or near
    return read_boundaries(path, **wishes)


def choice_of(options: dict[str, Any]) -> Choice:
    """What the user said about doubtful boundaries; takes those options out of ``options``."""
    repair, crossings = options.pop("repair"), options.pop("crossings")
    accept = options.pop("accept")
    if crossings is not None and not repair:
        raise click.UsageError("--crossings says how --repair mends: give both")
    from geosand.areas.crossings import METHODS
    from geosand.formats.boundaries.sites.questions import Choice

    first = next(iter(METHODS))
    return Choice(repair=repair, crossings=crossings or first, accept=accept)


def accuracies_of(options: dict[str, Any]) -> dict[str, float]:
    """Accuracies that were said, in m by their keys; takes those options out of ``options``."""
    said = {}
    for name in ("edge_accuracy", "edge_bias", "boundary_accuracy"):
        text = options.pop(name)
        if text is not None:
            said[f"{name}_m"] = _length(text, f"--{name.replace('_', '-')}")
    return said


def _length(text: str, option: str) -> float:
    from geosand.units import UnitFault, parse_quantity

    try:
        length = parse_quantity(text, "m")
    except UnitFault as problem:
        raise click.BadParameter(str(problem), param_hint=option) from problem
    if not 0 <= length <= LARGEST_ACCURACY_M:
        found = f"{text!r} can not be right; allowed: 0 to {LARGEST_ACCURACY_M:g} m"
        raise click.BadParameter(found, param_hint=option)
    return length


def said_of(
    boundaries: Boundaries,
    rows: Sequence[SurfaceRow],
    settled: Settled,
    accepted: Sequence[Fault],
    findings: Sequence[Finding],
    units: Units,
) -> list[str]:
    """What was read, what was done to it, drawn and owned ground, and what is worth knowing."""
    from geosand.formats.boundaries.place.whereabouts import middle_of, place_words
    from geosand.reports.words import in_words_of

    lines = [f"{boundaries.file}: {boundaries.tally}."]
    if rows:
        lines.append(f"  it lies at {place_words(*middle_of([row.geometry for row in rows]))}")
    if boundaries.source_crs:
        lines.append(f"  coordinates: {_system_words(boundaries.source_crs)}")
    note = boundaries.datum_note
    if note and not any(note in f.text or f.text in note for f in findings):
        lines.append(f"  {note}")
    left_out = boundaries.tally.left_out
    lines += _left_out("Left out", [item for item in left_out if not item.partly])
    lines += _left_out("Left out in part", [item for item in left_out if item.partly])
    lines += _list("Repaired", [in_words_of(str(mend), units) for mend in settled.mended])
    lines += _list("Accepted", [in_words_of(_accepted(fault), units) for fault in accepted])
    lines += ground_lines(rows, settled.elevation_m, units)
    return lines + _worth_knowing(findings, units)


def _system_words(crs: str) -> str:
    """A code as it stands; of well-known text the name.

    >>> _system_words("EPSG:2193"), _system_words('PROJCRS["Local grid",BASEGEOGCRS["unnamed"]]')
    ('EPSG:2193', 'Local grid')
    """
    named = re.match(r'\w+\["([^"]*)"', crs)
    return (named[1] if named else crs.splitlines()[0])[:60]


def _accepted(fault: Fault) -> str:
    """What was accepted, without the remedies that are not needed any more."""
    place = f"{fault.row}: " if fault.row else ""
    return f"{place}{fault.found}"


def _left_out(title: str, items: Sequence[LeftOut]) -> list[str]:
    """What became no surface: of many for the same reason the first few, and how many more."""
    seen = Counter[str]()
    shown = []
    for item in items:
        seen[item.reason] += 1
        if seen[item.reason] <= ALIKE:
            shown.append(str(item))
    more = [
        f"  - and {count - ALIKE} more: {reason} (all with --json)"
        for reason, count in seen.items()
        if count > ALIKE
    ]
    lines = _list(title, shown)
    return [f"{title} ({len(items)}):", *lines[1:], *more] if lines else []


def _list(title: str, items: list[str]) -> list[str]:
    if not items:
        return []
    shown = [f"  - {item}" for item in items[:SHOWN]]
    more = [f"  - and {len(items) - SHOWN} more (all with --json)"] if len(items) > SHOWN else []
    return [f"{title} ({len(items)}):", *shown, *more]


def _worth_knowing(findings: Sequence[Finding], units: Units) -> list[str]:
    from geosand.reports.words import merged_findings

    told = [{"about": f.about, "topic": f.topic, "text": f.text} for f in findings]
    lines = merged_findings(told, units)
    return [f"Worth knowing ({len(lines)}):", *_list("", _few_alike(lines))[1:]] if lines else []


def _few_alike(lines: Sequence[str]) -> list[str]:
    """Of lines that differ only in figures, and in whom they are about, the first few.

    What else differs, as a word whose kind is not known, is shown.

    >>> lines = [f"g{k}: {k} lines meet" for k in range(7)] + ["g8: 'Loch' is not known"]
    >>> _few_alike(lines)[3:]
    ['g3: 3 lines meet', 'and 3 more like these (all with --json)', "g8: 'Loch' is not known"]
    """
    alike: dict[str, list[str]] = {}
    for line in lines:
        text = line.partition(": ")[2] or line
        key = re.sub(r", and \d+ more like it|\S*\d\S*", "", text)
        alike.setdefault(key, []).append(line)
    shown = []
    for some in alike.values():
        shown += some if len(some) <= TOLD + 1 else some[:TOLD]
        if len(some) > TOLD + 1:
            shown.append(f"and {len(some) - TOLD} more like these (all with --json)")
    return shown


def ground_lines(rows: Sequence[SurfaceRow], elevation_m: float, units: Units) -> list[str]:
    """Drawn and owned ground by kind, where the two differ."""
    from geosand.formats.boundaries.sites.ground import ground_by_kind
    from geosand.reports.words import shown

    lines = []
    for kind, count, drawn, owned in ground_by_kind(rows, elevation_m):
        figures = f"drawn {shown(drawn, 'area', units)}, owned {shown(owned, 'area', units)}"
        lines.append(f"  {kind} ({count}): {figures}")
    title = "Surfaces lie on others (what is on top owns the ground, as in green before fairway):"
    return [title, *lines] if lines else []


def document_of(
    boundaries: Boundaries,
    rows: Sequence[SurfaceRow],
    settled: Settled,
    accepted: Sequence[Fault],
    findings: Sequence[Finding],
) -> Document:
    """What was read and what was done to it, as a document."""
    from geosand.formats.boundaries.place.whereabouts import middle_of
    from geosand.formats.boundaries.sites.ground import ground_by_kind

    lon, lat = middle_of([row.geometry for row in rows])
    return {
        "file": boundaries.file,
        "source_crs": boundaries.source_crs,
        "place": {"lon": lon, "lat": lat},
        "read": boundaries.tally.read,
        "surfaces": [
            {key: str(row.properties.get(key, "")) for key in ("id", "name", "kind")}
            for row in rows
        ],
        "left_out": [str(item) for item in boundaries.tally.left_out],
        "repaired": [
            {"id": m.id, "text": m.text, "before_m2": m.before_m2, "after_m2": m.after_m2}
            for m in settled.mended
        ],
        "remarks": [_remark(name, remark) for name, remark in settled.remarks],
        "accepted": [_accepted(fault) for fault in accepted],
        "overlaps": [
            {"kind": kind, "surfaces": count, "drawn_m2": drawn, "owned_m2": owned}
            for kind, count, drawn, owned in ground_by_kind(rows, settled.elevation_m)
        ],
        "findings": [str(finding) for finding in findings],
    }


def _remark(name: str, remark: Remark) -> Document:
    """What was found in one outline: its place, the ground in question, what a repair does."""
    from geosand.reports.documents import number

    return {
        "surface": name,
        "sort": remark.sort,
        "must_be_decided": remark.severity == "fault",
        "lon": number(remark.place[0]),
        "lat": number(remark.place[1]),
        "size_m2": number(remark.size_m2),
        "text": remark.text,
        "repair": remark.mend or None,
    }
