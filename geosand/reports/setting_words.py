"""Settings of the spreader in a cell and in sentences."""

from __future__ import annotations

from geosand.errors import listed, printable
from geosand.reports.documents import KMH, Document, si
from geosand.reports.words import MISSING, Units, shown

MOST_NAMED = 3  #: surfaces without a setting that are named one by one


def setting_cell(setting: Document | None) -> str:
    """A setting in a cell: how often over it, at what; a dash where there is none."""
    if setting is None or setting["setting"] is None:
        return MISSING
    times = f"{setting['passes']} × " if setting["passes"] > 1 else ""
    return f"{times}{setting['setting']:.2f}"


def setting_lines(document: Document, units: Units) -> list[str]:
    """How settings were found, and for which surfaces there is none."""
    spreader = document["spreader"]
    asked = [row for row in document["surfaces"] if row["setting"]]
    lines = []
    if any(row["setting"]["refused"] != spreader["setting_from"] for row in asked):
        before, after = (printable(text) for text in spreader["setting_words"])
        marks = f" (numbers of {before}…{after})" if before or after else ""
        wide, spread = spreader["setting_scatter_percent"], ""
        if wide is not None and wide >= 100:  # no rate lies that far below another
            spread = "; it tells little: dressings may differ from it by more than the rate itself"
        elif wide is not None:
            spread = f"; 95 % of dressings fall within ± {wide:.0f} % of the rate"
        lines.append(f"Setting: {spreader['setting_from']}{spread}{marks}.")
    for one in spreader["setting_by_word"]:
        speed = si(one["speed_kmh"])
        at = f" at {shown(speed / KMH, 'speed', units)}" if speed > 0 else ""
        rate, n = shown(one["rate_kg_m2"], "rate", units), one["dressings"]
        times = f" (mean of {n} dressings)" if n > 1 else ""
        lines.append(f"Setting {printable(one['setting'])!r}{at} gave {rate}{times}.")
    reasons: dict[str, list[Document]] = {}
    for row in asked:
        if refused := row["setting"]["refused"]:
            reasons.setdefault(refused.rpartition("; ")[2], []).append(row)
    return lines + [_without_setting(rows, why) for why, rows in reasons.items()]


def _without_setting(rows: list[Document], why: str) -> str:
    """One line for all surfaces that have no setting for the same reason."""
    needed = [row["setting"]["needed"] for row in rows if row["setting"]["needed"] is not None]
    names = listed([row["id"] for row in rows], MOST_NAMED)
    who = names if len(rows) <= MOST_NAMED else f"{len(rows)} surfaces"
    if not needed:
        return f"No setting for {who}: {why}."
    low, high = f"{min(needed):.3g}", f"{max(needed):.3g}"
    verb = "needs" if len(rows) == 1 else "need"
    need = low if low == high else f"{low} to {high}"
    return f"No setting for {who} ({verb} {need}): {why}."
