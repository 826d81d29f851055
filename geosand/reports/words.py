"""Figures as people read them: two or three digits, the unit said once, an interval beside."""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Iterable, Mapping
from typing import TYPE_CHECKING, Literal, TypeVar

from geosand.errors import listed, listed_dressings
from geosand.units import SHOWN, past_half

if TYPE_CHECKING:
    from geosand.columns import Strings
    from geosand.site.tables import Site, Surfaces

Units = Literal["metric", "us"]
_Told = TypeVar("_Told", bound=Mapping[str, str])
MISSING = "–"
NO_DRESSING = "No dressing is recorded yet: they go into dressings.csv, or into records.xlsx."


def grouped(value: float, decimals: int = 0) -> str:
    """A figure with a narrow space at its thousands; halves away from zero, as map and workbook do.

    >>> grouped(12345), grouped(1234.5, 2), grouped(2212.5)
    ('12\u202f345', '1\u202f234.50', '2\u202f213')
    """
    return f"{past_half(value, decimals):,.{decimals}f}".replace(",", "\u202f")


def shown(value: float, measure: str, units: Units, *, unit: bool = True) -> str:
    """An SI value in the reader's units, ``–`` where there is none."""
    factor, label, decimals = SHOWN[units][measure]
    if not math.isfinite(value):
        return MISSING
    text = grouped(value * factor, decimals).replace("-", "−")
    if float(text.replace("\u202f", "").replace("−", "-")) == 0:
        text = text.replace("−", "")
    return f"{text} {label}" if unit else text


def cells(column: Iterable[float], measure: str, units: Units) -> list[str]:
    """Figures without their unit, which stands in the column's head."""
    return [shown(value, measure, units, unit=False) for value in column]


def label_of(measure: str, units: Units) -> str:
    """The unit's label for a column's head."""
    return SHOWN[units][measure][1]


def percent(share: float | None) -> str:
    """A share as a whole percentage."""
    if share is None or not math.isfinite(share):
        return MISSING
    return f"{grouped(share * 100)} %".replace("-", "−").replace("−0 %", "0 %")


def between(low: float, high: float, measure: str, units: Units) -> str:
    """An interval in the reader's units, without the unit."""
    if not (math.isfinite(low) and math.isfinite(high)):
        return MISSING
    texts = (shown(low, measure, units, unit=False), shown(high, measure, units, unit=False))
    return f"{texts[0]} to {texts[1]}"


def chance(probability: float) -> str:
    """A probability as a whole percentage; never a certainty that no measurement gives."""
    if probability > 0.99:
        return "> 99 %"
    return percent(probability)


def signed_percent(change: float) -> str:
    """A change with its sign, one decimal."""
    return f"{change:+.1f}".replace("-", "−")


def listed_runs(ids: list[str], most: int = 6) -> str:
    """Ids with runs of numbers drawn together, as people count; up to ``most``, and how many more.

    >>> listed_runs(["g10", "g1", "g2", "g3", "t4", "pond"])
    'g1–g3, g10, pond, t4'
    >>> listed_runs(["a1", "a3", "g1", "g2", "g3", "t1", "t2", "t3", "t5"], 2)
    'a1, a3 and 7 more'
    """
    from geosand.planning.route import natural

    groups: list[list[str]] = []
    end: tuple[str, int] | None = None
    for name in sorted(ids, key=natural):
        match = re.fullmatch(r"(.*?)([1-9]\d{0,5})", name)
        here = (match[1], int(match[2])) if match else None
        if here and end and here == (end[0], end[1] + 1):
            groups[-1].append(name)
        else:
            groups.append([name])
        end = here
    runs = [
        run for group in groups for run in ([group] if len(group) > 2 else [[n] for n in group])
    ]
    told = most + 1 if len(runs) == most + 1 else most  # the last one takes no more room
    texts = [run[0] if len(run) == 1 else f"{run[0]}–{run[-1]}" for run in runs[:told]]
    rest = sum(len(run) for run in runs[told:])
    return ", ".join(texts) + (f" and {rest} more" if rest else "")


def names_apart(surfaces: Surfaces) -> Strings:
    """What pages call each row: its name, or its id where several surfaces bear that name."""
    import numpy as np

    in_force = surfaces.edition == surfaces.edition.max(initial=0)
    names, count = np.unique(surfaces.name[in_force], return_counts=True)
    return np.where(np.isin(surfaces.name, names[count > 1]), surfaces.id, surfaces.name)


def only_dressings(site: Site) -> set[str]:
    """Ids that dressings bear and no surface."""
    return set(site.dressings.id.tolist()) - set(site.surfaces.id.tolist())


_NUMBER = r"−?[0-9]+(?:[,\u202f][0-9]{3})*(?:\.[0-9]+)?"
_JOINT = "(?: (?:to|and|or|×|±) |–)"
_FIGURE = (
    rf"(?:(?<!-){_NUMBER}{_JOINT}){{0,3}}{_NUMBER}"  # a day or an id ends in a hyphen and digits
)
_US = "(?:mi|lb/ft³|lb|oz|in²|in|ft²|ft)"
_METRIC = (
    rf"(?<![\w./,])({_FIGURE}) (mm|cm²|cm|m²|kg|km|m|g/cm³|g)(?![\w/²³])(?: \(({_FIGURE} {_US})\))?"
)
_QUOTED = r"(?<!\w)'[^']*'(?!\w)"  # what somebody wrote, told as it stands
_POWER = rf"(?<![\w./,]){_NUMBER}e[-+][0-9]+(?:{_JOINT}{_NUMBER})?"  # told as it stands, too
_TURNED = rf"{_NUMBER} {_US} \([^()]*\)"  # US units with the metric figure behind already
_MEASURES = {
    **{"mm": "depth", "cm": "span", "m": "length", "km": "distance"},
    **{"m²": "area", "kg": "mass", "g/cm³": "density", "g": "weighed", "cm²": "mouth"},
}


def in_words_of(text: str, units: Units, *, alone: bool = False) -> str:
    """A metric sentence; for a reader of US units with their figure before each metric one.

    ``alone``: in its place, for a sentence whose other figures are in one system already.

    Masses and areas have their thousands apart, as in tables.

    >>> in_words_of("drawn 10.0 m², taped at 2.5 m; 12 ± 3 kg missing, 4 m (13.1 ft)", "us")
    'drawn 108 ft² (10.0 m²), taped at 8.2 ft (2.5 m); 26 ± 7 lb (12 ± 3 kg) missing, 13.1 ft (4 m)'
    >>> in_words_of(in_words_of("1 to 2 kg", "us"), "us")
    '2 to 4 lb (1 to 2 kg)'
    >>> in_words_of("50 to 3000 m² are usual", "us"), in_words_of("3 m", "metric")
    ('538 to 32\u202f292 ft² (50 to 3\u202f000 m²) are usual', '3 m')
    >>> in_words_of("± 4098 instead of ± 16346 kg; not '5000 kg', nor 2026", "metric")
    "± 4\u202f098 instead of ± 16\u202f346 kg; not '5000 kg', nor 2026"
    >>> in_words_of("the file's 5 m: '5 kg' is not a number", "us")
    "the file's 16.4 ft (5 m): '5 kg' is not a number"
    >>> in_words_of("1.56 g/cm³ ± 5 % is used", "us")
    '97.4 lb/ft³ (1.56 g/cm³) ± 5 % is used'
    >>> in_words_of("survey to ± 2 cm", "us"), in_words_of("a tare of 0 g on 1032 cm²", "us")
    ('survey to ± 0.8 in (2 cm)', 'a tare of 0.0 oz (0 g) on 160 in² (1032 cm²)')
    >>> in_words_of("it lies 1,200 km away, within 0.05 m", "us")
    'it lies 746 mi (1,200 km) away, within 0.16 ft (0.05 m)'
    >>> in_words_of("between 3 and 5 m, 3–5 m, 100 × 200 m", "us")
    'between 9.8 and 16.4 ft (3 and 5 m), 9.8–16.4 ft (3–5 m), 328.1 × 656.2 ft (100 × 200 m)'
    >>> in_words_of("9 or 10 kg", "us"), in_words_of("2 × 3 × 4 m", "us")
    ('20 or 22 lb (9 or 10 kg)', '6.6 × 9.8 × 13.1 ft (2 × 3 × 4 m)')
    >>> in_words_of("D1-03 and 5 kg, 2 kg and 3 kg; 1e-05 m", "us")
    'D1-03 and 11 lb (5 kg), 4 lb (2 kg) and 7 lb (3 kg); 1e-05 m'
    """
    if units == "us":
        found = f"{_QUOTED}|{_POWER}|{_TURNED}|{_METRIC}"
        text = re.sub(found, lambda one: _us_first(one, alone=alone), text)
    return re.sub(f"{_QUOTED}|{_LONG}", _spaced, text)


#: Four digits or more of a mass or an area, or of the first of two.
_LONG = (
    r"(?<![\w./,\u202f])[0-9]{4,}(?=(?:\.[0-9]+)?"
    r"(?: (?:(?:instead )?of )?(?:to|±) [0-9.]+)? (?:kg|lb|m²|ft²)(?!\w))"
)


def _spaced(found: re.Match[str]) -> str:
    return grouped(int(found[0])) if found[0].isdigit() else found[0]


def _us_first(found: re.Match[str], *, alone: bool) -> str:
    figure, unit, told = found.groups()
    if unit is None:
        return found[0]
    measure = _MEASURES[unit]
    if told is None:
        in_us = re.sub(_NUMBER, lambda number: _us_figure(number[0], measure), figure)
        told = f"{in_us} {label_of(measure, 'us')}"
    return told if alone else f"{told} ({figure} {unit})"


def _us_figure(text: str, measure: str) -> str:
    """A metric figure in US units; a length as finely as it was written, a long way coarsely."""
    value = _plain(text) / SHOWN["metric"][measure][0]
    if measure == "distance" and value > 100 * 1609.344:
        return grouped(value / 1609.344)
    fine = measure == "length" and len(text.partition(".")[2]) > SHOWN["us"][measure][2]
    return f"{value / 0.3048:.2f}" if fine else shown(value, measure, "us", unit=False)


def _plain(text: str) -> float:
    return float(re.sub("[,\u202f]", "", text).replace("−", "-"))


def merged_findings(
    findings: Iterable[Mapping[str, str]],
    units: Units = "metric",
    most: int = 5,
    dressings: Collection[str] = (),
) -> list[str]:
    """One line for all findings that differ only in their figures; the first one's are shown.

    What bears most on the figures comes first, by topic, the defaults last. Of bare numbers that
    are among ``dressings``, or whose topic is one of dressings only, it is said that they are such.

    >>> told = [{"about": f"D{k}", "text": f"{k} kg too much"} for k in (1, 2, 2)]
    >>> merged_findings(told)
    ['D1, D2: 1 kg too much (figures of D1).']
    >>> merged_findings([{"about": "D1", "text": f"weigh D1-0{k} anew"} for k in (3, 4)])
    ['D1: weigh D1-03 anew.', 'D1: weigh D1-04 anew.']
    >>> merged_findings([{"about": "D1", "text": "was it weighed?"}])
    ['D1: was it weighed?']
    >>> merged_findings([{"about": "", "text": t, "topic": t} for t in ("area", "balance")])
    ['balance.', 'area.']
    >>> merged_findings([{"about": "1", "text": t, "topic": t} for t in ("area", "balance")])
    ['dressing 1: balance.', '1: area.']
    """
    groups: dict[str, list[Mapping[str, str]]] = {}
    for finding in by_weight(findings):
        groups.setdefault(re.sub(_FIGURES, "#", finding["text"]), []).append(finding)
    return [in_words_of(_merged(group, most, dressings), units) for group in groups.values()]


def by_weight(findings: Iterable[_Told]) -> list[_Told]:
    """What bears most on the figures first, the defaults last."""
    return sorted(findings, key=lambda one: _TOPICS.get(one.get("topic", ""), -1))


#: Topics by their weight: a file not read or a balance that does not close is no detail.
_WEIGHTY = ("file", "balance", "season", "catch", "rate", "ring", "area", "default")
_TOPICS = {topic: k for k, topic in enumerate(_WEIGHTY)}
#: Their findings are about dressings, sands and files, never about surfaces.
_OF_DRESSINGS = ("balance", "catch", "rate", "ring")
#: Digits that belong to a name are no figure.
_FIGURES = r"(?<![\w.-])[-−+]?\d[\d.,e\u202f]*(?!\w)"


def _merged(group: list[Mapping[str, str]], most: int, dressings: Collection[str]) -> str:
    names = list(dict.fromkeys(f["about"] for f in group if f["about"]))
    others = len({f["text"] for f in group}) - 1
    known = group[0].get("topic") in _OF_DRESSINGS or set(names) <= set(dressings)
    about = f"{(listed_dressings if known else listed)(names, most)}: " if names else ""
    first = ""
    if others and len(names) > 1:
        first = f" (figures of {group[0]['about']})"
    elif others:  # all are about one file: whose figures they are stands in the text
        first = f", and {others} more like it"
    return ended(f"{about}{group[0]['text'].rstrip('.')}{first}")


def glued(text: str, blank: str = "\u00a0") -> str:
    """The text with signs and units held by ``blank`` to the figures that they belong to.

    >>> glued("> 99 % of {% raw %}"), glued("survey to ± 0.8 in (2 cm)")
    ('>\xa099\xa0% of {% raw %}', 'survey to ±\xa00.8\xa0in (2\xa0cm)')
    """
    return re.sub(rf"(?<=\d)(?<!/1000) (?={_BEHIND})|(?<=[<>±]) (?=\d)", blank, text)


#: What stands behind a figure; a rate's "/1000 ft²" may be folded.
_BEHIND = r"%|(?:[ckm]?m|[cm]?m²|k?g(?:/m²)?|mi|lb|oz|in²?|ft²?|yd|ha|acres)(?![\w/²³])"


def ended(sentence: str) -> str:
    """With a full stop, but for a question.

    >>> ended("weigh it"), ended("was it weighed?")
    ('weigh it.', 'was it weighed?')
    """
    return sentence if sentence.endswith((".", "?", "!")) else f"{sentence}."


#: Not taken from the locale: the same page everywhere.
_MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)


def written_day(iso: str) -> str:
    """An ISO date in words.

    >>> written_day("2026-09-01")
    '1 September 2026'
    """
    year, month, day = iso.split("-")
    return f"{int(day)} {_MONTHS[int(month) - 1]} {year}"
