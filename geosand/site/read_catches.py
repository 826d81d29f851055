"""Catches: trays and cloths with what they held; parts of one catch added, pools marked."""

from __future__ import annotations

from typing import Any

import numpy as np

from geosand.columns import Bools, Floats, Ints, Strings
from geosand.errors import Faults, Finding
from geosand.site.catch_depths import check_depths, tell_weighed_twice
from geosand.site.catch_parts import Pools, check_parts, check_pools, pool_numbers, sum_parts
from geosand.site.catch_places import positions, tell_coarse, tell_same_place
from geosand.site.catch_trays import net_masses, tray_sizes
from geosand.site.catch_water import stated_water, tell_unstated, water_of_sand, waters
from geosand.site.cells import ERRORS, NOTHING, RawTable, quoted
from geosand.site.moisture_book import MOISTURE, MoistureBook
from geosand.site.raw_columns import Ids, Texts, first_come, row_places
from geosand.site.read_loads import dressing_rows
from geosand.site.read_settings import SiteTexts
from geosand.site.reading import FALSE, Reader
from geosand.site.sand_tables import Loads
from geosand.site.tables import Catches, Dressings

KEPT = ("0.0", "n", "ok", "okay", "good", "fine", "keep", "kept", "used", "accepted")
NO_REASONS = (*NOTHING, *ERRORS, *FALSE, *KEPT)
WRITE_ID = "write the id, or leave it blank: the position then decides"
SOUGHT = 200  #: of so many unknown names the likely ids are sought
DRY = 0.005  #: water content below which sand pours as dry sand; common practice, no source


def read_catches(
    table: RawTable,
    ground: Ids,
    names: Ids,
    dressings: Dressings,
    loads: Loads,
    text: SiteTexts,
    book: MoistureBook,
    faults: Faults,
    findings: list[Finding],
) -> tuple[Catches, Ints]:
    """One row a catch, and how many pools each site has (sites,).

    The rows' positions stand in the columns ``lon`` and ``lat``; ``ground`` are the surfaces' ids,
    ``names`` those of the dressings.
    """
    reader = Reader(table, faults, findings)
    dressing = dressing_rows(reader, names)
    ids, pool, rows = _columns(reader, ground, text, dressing)
    weighed = np.isfinite(rows["mass"])
    stated = stated_water(reader, dressing, pool, weighed)
    of_sand = water_of_sand(names.member, dressings, loads, text.sands, book)
    moisture = waters(reader, dressing, dressings, stated, of_sand, book)
    rows["moisture"] = moisture
    weighed &= ~rows["rejected"]
    tell_unstated(reader, dressing, ids, dressings, weighed, stated[0], book.ratios()[of_sand])
    if len(text.sands.name) and (moisture < 0).any():
        of_loads = np.isin(dressing, loads.dressing)  # told there, once for all catches
        _moisture_needed(reader, dressing, rows, np.where(of_loads, 0, moisture))
    dry = book.ratios()[moisture] <= DRY
    rows["unsaid"] = np.isfinite(rows["volume"]) & (rows["state"] == "") & ~dry
    rows["volume"] = _dry_volume(reader, rows["volume"], rows.pop("state"), dry)
    reader.finish()
    return _joined(reader, dressing, ids, pool, rows)


Rows = dict[str, np.ndarray[Any, np.dtype[Any]]]


def _columns(
    reader: Reader, ground: Ids, text: SiteTexts, dressing: Ints
) -> tuple[Texts, Texts, Rows]:
    """The names, the pools, and all columns that are read by themselves (rows of the file,)."""
    ids = reader.names("catch")
    reasons = _reasons(reader)
    state = reader.choice("volume_state", ["dry", "moist", "tapped"])
    area, half = tray_sizes(reader)
    pool = reader.labels("pool")
    mass = net_masses(reader, area, pool.matching(bool), dressing)
    volume = reader.quantity("volume", "m3", minimum=0.0, maximum=1.0)
    lon, lat = positions(reader)
    declared = _declared(reader, ground)
    edge = reader.quantity("edge_distance", "m", minimum=-200.0, maximum=200.0)
    accuracy = reader.quantity("position_accuracy", "m", minimum=0.0, maximum=500)
    usual = text.position_accuracy_m[reader.member]
    accuracy = np.where(np.isnan(accuracy), usual, accuracy)
    tell_coarse(reader, lon, lat, accuracy)
    return (
        ids,
        pool,
        {
            "id": ids.strings(),
            "place": row_places(reader.table.rows),
            "reason": reasons.strings(),
            "rejected": reasons.matching(bool),
            "state": state,
            "area": area,
            "half": half,
            "mass": mass,
            "volume": volume,
            "pool": np.where(pool.matching(bool), pool.code, -1),
            "lon": lon,
            "lat": lat,
            "declared": declared,
            "edge_distance": edge,
            "accuracy": accuracy,
            "note": reader.text("note"),
        },
    )


def _reasons(reader: Reader) -> Texts:
    """Why catches are set aside; a fault for what may as well mean that they are not."""
    reasons = reader.texts("reject_reason")
    for row in np.flatnonzero(reasons.matching(lambda word: word.lower() in NO_REASONS)).tolist():
        found = f"{quoted(reasons.words[reasons.code[row]])} is no reason"
        remedy = "leave it empty where the catch counts; else say why it does not"
        reader.fault(row, "reject_reason", found, remedy=remedy)
    return reasons


def _joined(
    reader: Reader, dressing: Ints, ids: Texts, pool: Texts, rows: Rows
) -> tuple[Catches, Ints]:
    """The rows as catches: parts of one added up, trays of one reading marked."""
    # rows with the same catch and dressing are parts of one catch
    first, whole = first_come((dressing + 1) * len(ids.words) + ids.code)
    check_parts(reader, ids, first, whole, rows)
    mass, volume = (sum_parts(rows[name], whole, len(first)) for name in ("mass", "volume"))
    pools = Pools.of(dressing[first], pool.take(first), reader.member[first])
    shared = [
        pool_numbers(reader, column, first, pools, word)
        for column, word in ((mass, "mass"), (volume, "volume"))
    ]
    check_pools(reader, first, pools, rows)
    used = ~rows["rejected"][first]
    tell_same_place(reader, rows, dressing, first[used & (shared[0] < 0) & (shared[1] < 0)])
    _measured(reader, first, (mass, volume), shared, used, rows["unsaid"])
    check_depths(reader, first, (mass, volume), shared, rows["area"][first], used)
    tell_weighed_twice(reader, whole, dressing, rows)
    rows["dressing"] = dressing
    own = {"mass": mass, "volume": volume, "mass_pool": shared[0], "volume_pool": shared[1]}
    if len(first) < reader.size or dressing.min(initial=0) < 0:
        keep = dressing[first] >= 0
        rows = {name: column[first[keep]] for name, column in rows.items()}
        own = {name: column[keep] for name, column in own.items()}
    one = rows | own
    catches = Catches(
        id=one["id"],
        dressing=one["dressing"],
        place=one["place"],
        lon_degree=one["lon"],
        lat_degree=one["lat"],
        position_accuracy_m=one["accuracy"],
        declared=one["declared"],
        edge_distance_m=one["edge_distance"],
        tray_area_m2=one["area"],
        half_diagonal_m=one["half"],
        caught_kg=one["mass"],
        moisture=one["moisture"],
        volume_m3=one["volume"],
        mass_pool=one["mass_pool"],
        volume_pool=one["volume_pool"],
        used=~one["rejected"],
        reject_reason=one["reason"],
        note=one["note"],
    )
    return catches, np.bincount(pools.member, minlength=reader.members)


def _dry_volume(reader: Reader, volume: Floats, state: Strings, dry: Bools) -> Floats:
    """Only dry sand's volume gives a depth: moist sand bulks, tapped sand packs."""
    measured = np.isfinite(volume)
    if not measured.any():
        return volume
    unsaid = measured & (state == "")
    for mask, words in (
        (unsaid & dry, "volume_state is not said; the sand is dry, so it is taken as dry"),
        (unsaid & ~dry, "volume_state is not said; the sand is not dry: the volume is not used"),
        (measured & (state == "moist"), "a moist volume gives no depth and is not used"),
        (measured & (state == "tapped"), "a tapped volume gives no depth and is not used"),
    ):
        if not mask.any():
            continue
        number = np.bincount(reader.member[mask], minlength=reader.members)
        for k in np.flatnonzero(number).tolist():
            rows = "1 row" if number[k] == 1 else f"{number[k]} rows"
            reader.finding(words, "catch", k, about=f"{reader.table.file}, {rows}")
    return np.where((state == "dry") | (unsaid & dry), volume, np.nan)


def _moisture_needed(reader: Reader, dressing: Ints, rows: Rows, moisture: Ints) -> None:
    """A mass that is used needs its water content; a dry volume does not."""
    weighed = np.isfinite(rows["mass"]) | (rows["pool"] >= 0)
    needed = weighed & ~rows["rejected"] & (dressing >= 0)
    for row in reader.sound(needed & (moisture < 0)):
        found = "the sand's moisture is said nowhere"
        remedy = f"{reader.meant(MOISTURE)}Give it in site.toml, in the loads or here"
        reader.fault(row, MOISTURE, found, remedy=f"{remedy}; or kiln_dried = true")


def _declared(reader: Reader, ground: Ids) -> Ints:
    """The ``ground`` number of the surface that each row (n,) names, -1 for none; with a fault."""
    texts = reader.texts("surface")
    said = texts.matching(bool)
    found = ground.find(texts, reader.member)
    found[~said] = -1
    named = ground.text.matching(bool)
    some = np.bincount(ground.member[named], minlength=reader.members) > 0
    lost = np.flatnonzero(said & (found < 0))
    lost = lost[some[reader.member[lost]]]
    remedies: dict[tuple[int, int], str] = {}
    for row in lost.tolist():
        word, key = texts.words[texts.code[row]], (int(reader.member[row]), int(texts.code[row]))
        if key not in remedies:
            remedies[key] = _meant(word, ground, key[0]) if len(remedies) < SOUGHT else WRITE_ID
        found_none = f"{quoted(word)} is not a surface's id in the boundaries"
        reader.fault(row, "surface", found_none, remedy=remedies[key])
    return found


def _meant(word: str, ground: Ids, member: int) -> str:
    from geosand.site.remedies import surface_remedy  # for words that are not known only

    ids = ground.text.take(np.flatnonzero(ground.member == member)).strings().tolist()
    return surface_remedy(word, ids, (), WRITE_ID)


def _measured(
    reader: Reader,
    first: Ints,
    columns: tuple[Floats, Floats],
    pools: list[Ints],
    used: Bools,
    unsaid: Bools,
) -> None:
    """A fault for each catch in use (m,) of which neither a mass nor a volume is known.

    ``unsaid``: rows of the file with a volume of sand that is not dry, and no word on its state.
    """
    has = np.zeros(len(first), dtype=bool)
    for column, pool in zip(columns, pools, strict=True):
        has |= np.isfinite(column) | (pool >= 0)
    if used.any() and not (has.any() or reader.faulty):
        hint = reader.meant("gross_g") or reader.meant("volume_cm3")
        remedy = f"{hint}Add tare_g and gross_g, or a dry volume_cm3"
        if not any(name.startswith(("gross_", "volume_")) for name in reader.table.columns):
            reader.whole_fault(None, "there is no gross_g and no volume_cm3", remedy=remedy)
    for row in first[~has & used].tolist():
        if row in reader.faulty:
            continue
        if unsaid[row]:
            found = "no mass, and a volume of sand that is not dry counts only if it says dry"
            remedy = "Write dry if it was dried before; or give tare_g and gross_g"
            reader.fault(row, "volume_state", found, remedy=remedy)
        else:
            found = "neither a mass nor a usable volume was measured"
            remedy = "Give tare_g and gross_g, or a dry volume_cm3; or a reject_reason"
            reader.fault(row, "gross_g", found, remedy=f"{reader.meant('gross_g')}{remedy}")
