"""Two surveys side by side at a console, and claimed areas beside the computed ones."""

from __future__ import annotations

import math

from geosand.areas.edge_shifts import FEWEST
from geosand.errors import listed
from geosand.formats.claimed_areas import SUMS
from geosand.reports.area_rows import by_kind
from geosand.reports.areas_console import cell, change, signed
from geosand.reports.documents import Document
from geosand.reports.plain_table import Table, table
from geosand.reports.words import (
    Units,
    in_words_of,
    label_of,
    listed_runs,
    merged_findings,
    shown,
    written_day,
)
from geosand.site.remedies import in_choice, namesakes

NAMES_SHOWN = 5
SAME_M2 = 0.05  #: less is not shown in a table either
_VERDICTS = {"within uncertainty": "within 2 u"}
_SIDES = ("east", "north-east", "north", "north-west", "west", "south-west", "south", "south-east")


def survey_words(survey: Document) -> str:
    """A survey in a few words: what it is called, its day, and what it came in.

    >>> survey_words({"label": "edition first", "valid_from": "2020-01-01", "source": "a.shp",
    ...               "source_crs": None, "datum_accuracy_m": 0.0})
    'edition first, from 1 January 2020 (a.shp, lon/lat)'
    """
    day = survey["valid_from"]
    words = f"{survey['label']}, {'not dated' if day is None else f'from {written_day(day)}'}"
    source, crs = survey["source"], survey["source_crs"]
    came = [source] if source and source != survey["label"] else []
    if crs:
        came.append(crs.splitlines()[0][:40])
    elif source:
        came.append("lon/lat")
    return f"{words} ({', '.join(came)})" if came else words


def against_table(against: Document, units: Units) -> Table:
    """Two surveys side by side, greens first."""
    area, length = label_of("area", units), label_of("length", units)
    lines = [
        [
            row["id"],
            *(cell(row[key], "area", units) for key in ("old_area_m2", "new_area_m2")),
            change(row["difference_m2"], row["u_difference_m2"], units),
            *(cell(row[key], "area", units) for key in ("gained_m2", "lost_m2")),
            *(cell(row[key], "length", units) for key in ("edge_mean_m", "edge_maximum_m")),
            _VERDICTS.get(row["verdict"], row["verdict"]),
        ]
        for _, rows in by_kind(against["surfaces"])
        for row in rows
        if row["verdict"] != "unchanged"
    ]
    heads = [("surface", False), (f"old\n{area}", True), (f"new\n{area}", True)]
    heads += [("change\n± u", True), ("gained", True), ("lost", True)]
    heads += [(f"edge {length}\nmean", True), ("\nmax", True), ("area", False)]
    return table("What changed", heads, lines)


def against_head(against: Document) -> list[str]:
    """Which two surveys these are."""
    return [
        "Two surveys side by side",
        f"  old: {survey_words(against['old_survey'])}",
        f"  new: {survey_words(against['new_survey'])}",
    ]


def against_lines(against: Document, units: Units) -> list[str]:
    """What the table of two surveys leaves out."""
    rows = against["surfaces"]
    same = [r["id"] for r in rows if r["verdict"] == "unchanged"]
    lines = _offset_lines(against, units)
    if len(same) == len(rows) > NAMES_SHOWN:
        lines.append(f"All {len(same)} surfaces that both have are drawn the same.")
    elif same:
        lines.append(f"Drawn the same in both: {listed(same, NAMES_SHOWN)}.")
    lines += [_regrouped_line(one, units) for one in against["regrouped"]]
    for key, words in (("only_in_old", "Only in the old survey"), ("only_in_new", "New")):
        alone = [f"{r['id']} ({shown(r['area_m2'], 'area', units)})" for r in against[key]]
        lines += [f"{words}: {listed(alone, NAMES_SHOWN)}."] if alone else []
    lines += _total_lines(against["totals"], units)
    lines += _edge_lines(rows, units)
    lines += merged_findings(against["findings"], units)
    return [*lines, *against["notes"]]


def _regrouped_line(one: Document, units: Units) -> str:
    old, new = (_and(one[key]) for key in ("old_ids", "new_ids"))
    words = {
        "split": f"{old} was split into {new}",
        "merged": f"{old} were merged into {new}",
        "divided anew": f"{old} are now divided into {new}",
    }[one["change"]]
    moved = change(one["difference_m2"], one["u_difference_m2"], units)
    unit, verdict = label_of("area", units), _VERDICTS.get(one["verdict"], one["verdict"])
    if max(abs(one["difference_m2"]), one["gained_m2"], one["lost_m2"]) < SAME_M2:
        return f"{words}; together the same ground as before."
    return f"{words}; together {moved} {unit}, {verdict}."


def _and(names: list[str]) -> str:
    """Names with "and" before the last one."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _total_lines(totals: list[Document], units: Units) -> list[str]:
    """A line for each kind that changed; one for all where there are several."""
    changed = [
        row for row in totals if max(abs(row["difference_m2"]), row["u_difference_m2"]) >= SAME_M2
    ]
    if [row["kind"] for row in changed[1:]] == ["all"]:
        changed = changed[:1]
    unit, lines = label_of("area", units), []
    for row in changed:
        moved = change(row["difference_m2"], row["u_difference_m2"], units)
        told = abs(row["difference_m2"]) > 2 * row["u_difference_m2"]
        verdict = "larger than its uncertainty" if told else "within its uncertainty (2 u)"
        name = "All surfaces" if row["kind"] == "all" else f"All of kind {row['kind']}"
        lines.append(f"{name}: {moved} {unit}, {verdict}.")
    return lines


def _edge_lines(rows: list[Document], units: Units) -> list[str]:
    lines = []
    if any(row["verdict"] == "moved" for row in rows):
        lines.append("moved: the area is the same within 2 u, but the edge moved somewhere.")
    still = [r["id"] for r in rows if r["edge_maximum_m"] == 0 and r["verdict"] != "unchanged"]
    if still:
        names = listed(still, NAMES_SHOWN)
        lines.append(f"{names}: drawn the same, but what lies on top of it was drawn anew.")
    if apart := [r["id"] for r in rows if 0 < r["old_area_m2"] <= r["lost_m2"] * (1 + 1e-6)]:
        names, has = listed(apart, NAMES_SHOWN), "has" if len(apart) == 1 else "have"
        lines.append(f"{names}: {has} no ground in common with before: were ids exchanged?")
    farthest = max(rows, key=lambda row: row["edge_maximum_m"] or 0.0, default=None)
    if farthest and farthest["edge_maximum_m"]:
        lon, lat = farthest["edge_maximum_at"]
        distance = shown(farthest["edge_maximum_m"], "length", units)
        place = f"lon {lon:.7f}, lat {lat:.7f}"
        lines.append(f"The edge moved farthest on {farthest['id']}: {distance} at {place}.")
    return lines


def _offset_lines(against: Document, units: Units) -> list[str]:
    """A shift of everything, which is more likely a shift of the survey than of the ground."""
    offset, gap = against["offset"], against["datum_gap"]
    text = "" if gap is None else in_words_of(gap["text"], units)
    lines = [f"{text[0].upper()}{text[1:]}."] if text else []
    if offset is None or (gap is not None and gap["is_offset"]):
        return lines
    east, north, count = offset["east_m"], offset["north_m"], offset["surfaces"]
    side = _SIDES[round(math.degrees(math.atan2(north, east)) / 45) % 8]
    distance = shown(math.hypot(east, north), "length", units)
    who = {1: "The surface lies", 2: "Both surfaces lie"}.get(count, "All surfaces lie")
    text = f"{who} {distance} farther {side} in the new survey"
    if count < FEWEST:
        text += ", in the same shape: moved as a whole, or an offset between the two surveys."
    else:
        text += f" (median of {count}): more likely an offset between the two surveys than edges"
        text += " that moved."
    text += " It changes no area, but is in what was gained and lost."
    known = [against[key]["datum_accuracy_m"] for key in ("old_survey", "new_survey")]
    rough = max((a for a in known if a), default=0.0)
    if rough:
        text += f" The shift to WGS 84 is good to {shown(rough, 'length', units)} only."
    return [*lines, text]


def claimed_table(claimed: Document, units: Units) -> Table:
    """Claimed areas beside the computed ones."""
    lines = [
        [
            row["claim"],
            *(cell(row[key], "area", units) for key in ("claimed_m2", "area_m2", "u_area_m2")),
            cell(row["difference_m2"], "area", units),
            signed(row["difference_percent"]),
            signed(row["sigmas"]),
            f"{row['tolerance_percent']:g}",
            row["verdict"],
        ]
        for row in claimed["surfaces"]
    ]
    unit = label_of("area", units)
    heads = [("claim", False), (f"claimed\n{unit}", True), (f"ground\n{unit}", True), ("u", True)]
    heads += [("differ-\nence", True), ("in %", True), ("in u", True), ("allowed\n%", True)]
    return table(f"Claimed in {claimed['file']}", [*heads, ("verdict", False)], lines)


def claimed_lines(claimed: Document) -> list[str]:
    """Hints, and names without a partner on either side."""
    rows = claimed["surfaces"]
    outside = sum(row["verdict"] == "outside" for row in rows)
    what = "1 claim" if len(rows) == 1 else f"{len(rows)} claims"
    lines = [f"{what} compared: {len(rows) - outside} within, {outside} outside."]
    loose = [
        row["claim"]
        for row in rows
        if row["verdict"] == "outside" and row["sigmas"] is not None and abs(row["sigmas"]) <= 2
    ]
    if loose:
        names = listed(loose, NAMES_SHOWN)
        lines.append(f"{names}: outside, but not told apart from our own uncertainty (2 u).")
    hints: dict[str, list[str]] = {}
    for row in rows:
        if row["hint"]:
            hints.setdefault(row["hint"], []).append(row["claim"])
    lines += [f"{listed(names, NAMES_SHOWN)}: {hint}." for hint, names in hints.items()]
    others, ids = claimed["unmatched_claims"], claimed["unmatched_surfaces"]
    if sums := list(dict.fromkeys(name for name in others if SUMS.search(name))):
        every = "a kind's name stands for all of that kind, all for the whole site"
        lines.append(f"Sums, not compared: {listed(sums, NAMES_SHOWN)}; {every}.")
    if strange := [name for name in others if not SUMS.search(name)]:
        told = listed([*(_with_namesakes(name, ids) for name in strange[:12]), *strange[12:]], 12)
        lines.append(f"In {claimed['file']} but not on the site ({len(strange)}): {told}.")
    if ids:
        told = listed_runs(ids, 12)
        lines.append(f"On the site but not in {claimed['file']} ({len(ids)}): {told}.")
    return lines


def _with_namesakes(name: str, ids: list[str]) -> str:
    """A claim that is on no surface, with those of its number: "Hole 3 (3?)"."""
    near = namesakes(name, ids)
    return f"{name} ({in_choice(near)}?)" if near else name
