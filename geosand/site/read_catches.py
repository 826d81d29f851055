"""Catches: trays and cloths with what they held; parts of one catch added, pools marked."""

from __future__ import annotations

from typing import Any

import numpy as np

from geosand.columns import Bools, Floats, Ints, Strings, distinct
from geosand.errors import Faults, Finding
from geosand.site.catch_depths import check_depths
from geosand.site.catch_parts import (
    catches_of_rows,
    check_parts,
    check_pools,
    pool_numbers,
    sum_parts,
)
from geosand.site.cells import RawTable, quoted
from geosand.site.read_loads import dressing_rows
from geosand.site.read_settings import MoistureBook, SiteText, dry_basis, stated_u
from geosand.site.reading import Reader
from geosand.site.tables import Catches, Dressings, Loads, Sands

SMALL_TRAY_M2, LARGE_TRAY_M2 = 0.005, 4.0
LONGEST_TRAY_M = 5.0  #: cloths are smaller; common practice, no source
DRY = 0.005  #: water content below which sand pours as dry sand; common practice, no source


def read_catches(
    table: RawTable,
    ground: dict[str, int],
    dressings: Dressings,
    loads: Loads,
    text: SiteText,
    book: MoistureBook,
    faults: Faults,
    findings: list[Finding],
) -> Catches:
    """One row a catch; the rows' positions stand in the columns ``lon`` and ``lat``."""
    reader = Reader(table, faults, findings)
    dressing = dressing_rows(reader, dressings)
    rows = _columns(reader, ground, text, findings)
    moisture = _moisture(reader, dressing, dressings, loads, text.sands, book, findings)
    rows["moisture"] = moisture
    if len(text.sands.name):
        _moisture_needed(reader, dressing, rows, moisture)
    dry = book.ratios()[moisture] <= DRY
    rows["volume"] = _dry_volume(reader, rows["volume"], rows.pop("state"), dry, findings)
    reader.finish()
    return _joined(reader, dressing, rows)


Rows = dict[str, np.ndarray[Any, np.dtype[Any]]]


def _columns(
    reader: Reader, ground: dict[str, int], text: SiteText, findings: list[Finding]
) -> Rows:
    """All columns that are read by themselves, one row a row of the file."""
    ids = reader.text("catch", required=True)
    reasons = reader.text("reject_reason")
    state = reader.choice("volume_state", ["dry", "moist", "tapped"])
    area, half = _tray(reader, findings)
    mass = _net_mass(reader)
    volume = reader.quantity("volume", "m3", minimum=0.0, maximum=1.0)
    pool = reader.text("pool")
    lon, lat = _positions(reader)
    declared = _declared(reader, ground)
    edge = reader.quantity("edge_distance", "m", minimum=-200.0, maximum=200.0)
    accuracy = reader.quantity("position_accuracy", "m", minimum=0.0, maximum=500)
    places = [row if isinstance(row, str) else f"row {row}" for row in reader.table.rows]
    return {
        "id": ids,
        "place": np.array(places, dtype=np.str_),
        "reason": reasons,
        "rejected": reasons != "",
        "state": state,
        "area": area,
        "half": half,
        "mass": mass,
        "volume": volume,
        "pool": pool,
        "lon": lon,
        "lat": lat,
        "declared": declared,
        "edge_distance": edge,
        "accuracy": np.where(np.isnan(accuracy), text.position_accuracy_m, accuracy),
        "note": reader.text("note"),
    }


def _joined(reader: Reader, dressing: Ints, rows: Rows) -> Catches:
    """The rows as catches: parts of one added up, trays of one reading marked."""
    first, whole = catches_of_rows(dressing, rows["id"])
    check_parts(reader, rows["id"], first, whole, rows)
    mass, volume = (sum_parts(rows[name], whole, len(first)) for name in ("mass", "volume"))
    pools = [
        pool_numbers(reader, column, first, dressing[first], rows["pool"][first], word)
        for column, word in ((mass, "mass"), (volume, "volume"))
    ]
    check_pools(reader, first, dressing, rows)
    used = ~rows["rejected"][first]
    _measured(reader, first, (mass, volume), pools, used)
    check_depths(reader, first, (mass, volume), pools, rows["area"][first], used)
    keep = dressing[first] >= 0
    one = {name: column[first[keep]] for name, column in rows.items()}
    return Catches(
        id=one["id"],
        dressing=dressing[first[keep]],
        place=one["place"],
        lon_degree=one["lon"],
        lat_degree=one["lat"],
        position_accuracy_m=one["accuracy"],
        declared=one["declared"],
        edge_distance_m=one["edge_distance"],
        tray_area_m2=one["area"],
        half_diagonal_m=one["half"],
        caught_kg=mass[keep],
        moisture=one["moisture"],
        volume_m3=volume[keep],
        mass_pool=pools[0][keep],
        volume_pool=pools[1][keep],
        used=~one["rejected"],
        reject_reason=one["reason"],
        note=one["note"],
    )


TRAY = "tray_length_mm and tray_width_mm, or tray_diameter_mm, or tray_area_cm2"


def _tray(reader: Reader, findings: list[Finding]) -> tuple[Floats, Floats]:
    """Mouth area (m²) and half diagonal (m) of each tray; nan and a fault where there is no one.

    Of a tray known by its area only, the half diagonal is that of a square.
    """
    length, width, diameter = (
        reader.quantity(f"tray_{name}", "m", above=0.0, maximum=LONGEST_TRAY_M)
        for name in ("length", "width", "diameter")
    )
    given = reader.quantity("tray_area", "m2", above=0.0, maximum=LONGEST_TRAY_M**2)
    ways = np.stack([length * width, np.pi / 4 * diameter**2, given], axis=1)
    sides = np.stack([length, width, diameter, given], axis=1)
    if reader.size and np.isnan(sides).all() and len(reader.faulty) < reader.size:
        hint = reader.meant("tray_length_mm") or reader.meant("tray_area_cm2")
        reader.whole_fault(None, "there is no tray size", remedy=f"{hint}Add {TRAY}")
    number = np.isfinite(ways).sum(axis=1)
    alone = np.isfinite(length) != np.isfinite(width)
    for row in np.flatnonzero((number != 1) | alone).tolist():
        if row not in reader.faulty:
            found = "no tray size" if number[row] == 0 else "the tray's size is given twice"
            reader.fault(row, "tray_…", found, allowed=TRAY)
    area = np.where(number == 1, np.nansum(ways, axis=1), np.nan)
    _odd_trays(reader, area, findings)
    halves = np.stack([np.hypot(length, width) / 2, diameter / 2, np.sqrt(given / 2)], axis=1)
    return area, np.where(number == 1, np.nansum(halves, axis=1), np.nan)


def _odd_trays(reader: Reader, area: Floats, findings: list[Finding]) -> None:
    odd = np.flatnonzero((area < SMALL_TRAY_M2) | (area > LARGE_TRAY_M2)).tolist()
    for size in dict.fromkeys(f"{area[row] * 1e4:.4g} cm²" for row in odd):
        places = [str(reader.table.rows[r]) for r in odd if f"{area[r] * 1e4:.4g} cm²" == size]
        more = f" and {len(places) - 8} more" if len(places) > 8 else ""
        text = f"a tray of {size} (row {', '.join(places[:8])}{more}): check its unit"
        findings.append(Finding(about=reader.table.file, text=text, topic="catch"))


def _net_mass(reader: Reader) -> Floats:
    tare = reader.quantity("tare", "kg", minimum=0.0, maximum=1000)
    gross = reader.quantity("gross", "kg", minimum=0.0, maximum=1000)
    for row in np.flatnonzero(np.isfinite(gross) & np.isnan(tare)).tolist():
        if row not in reader.faulty:
            found = "a gross mass without its tare"
            reader.fault(row, "tare_g", found, remedy="weigh the empty tray")
    for row in np.flatnonzero(gross < tare).tolist():
        found = f"the gross mass ({gross[row] * 1000:g} g) is below the tare"
        found += f" ({tare[row] * 1000:g} g)"
        remedy = "check whether the two were swapped or a tray was mixed up"
        reader.fault(row, "gross_g", found, remedy=remedy)
    return gross - tare


def _dry_volume(
    reader: Reader, volume: Floats, state: Strings, dry: Bools, findings: list[Finding]
) -> Floats:
    """Only dry sand's volume gives a depth: moist sand bulks, tapped sand packs."""
    measured = np.isfinite(volume)
    unsaid = measured & (state == "")
    for mask, words in (
        (unsaid & dry, "volume_state is not said; the sand is dry, so it is taken as dry"),
        (unsaid & ~dry, "volume_state is not said; the sand is not dry: the volume is not used"),
        (measured & (state == "moist"), "a moist volume gives no depth and is not used"),
        (measured & (state == "tapped"), "a tapped volume gives no depth and is not used"),
    ):
        if mask.any():
            about = f"{reader.table.file}, {int(mask.sum())} rows"
            findings.append(Finding(about=about, text=words, topic="catch"))
    return np.where((state == "dry") | (unsaid & dry), volume, np.nan)


def _moisture(
    reader: Reader,
    dressing: Ints,
    dressings: Dressings,
    loads: Loads,
    sands: Sands,
    book: MoistureBook,
    findings: list[Finding],
) -> Ints:
    """The catch's own moisture; else that of the dressing's loads; else the sand's; else -1."""
    own, u = dry_basis(reader)
    fallback = [_of_loads(k, dressings, loads, sands, book) for k in range(len(dressings))]
    # the spare last one is read by catches of no known dressing
    out = np.array([*fallback, -1], dtype=np.int64)[dressing]
    for row in np.flatnonzero((dressing >= 0) & np.isfinite(own)).tolist():
        name = dressings.id[dressing[row]]
        label = f"moisture: catches of {name} {own[row] * 100:.6g} %"
        u_row = stated_u(own[row], u[row], f"the catches of {name}", findings)
        out[row] = book.add(label, float(own[row]), u_row)
    return out


def _moisture_needed(reader: Reader, dressing: Ints, rows: Rows, moisture: Ints) -> None:
    """A mass that is used needs its water content; a dry volume does not."""
    weighed = np.isfinite(rows["mass"]) | (rows["pool"] != "")
    needed = weighed & ~rows["rejected"] & (dressing >= 0)
    for row in np.flatnonzero(needed & (moisture < 0)).tolist():
        if row not in reader.faulty:
            found = "the sand's moisture is said nowhere"
            remedy = "give it in site.toml, in the loads or here; or kiln_dried = true"
            reader.fault(row, "moisture_dry_basis_percent", found, remedy=remedy)


def _of_loads(
    number: int, dressings: Dressings, loads: Loads, sands: Sands, book: MoistureBook
) -> int:
    rows = np.flatnonzero((loads.dressing == number) & (loads.moisture >= 0))
    if len(rows) == 0:
        return int(sands.moisture[dressings.sand[number]]) if len(sands.name) else -1
    different = distinct(loads.moisture[rows])
    weight = (loads.count * loads.unit_mass_kg)[rows]
    if len(different) == 1 or not np.isfinite(weight).all() or weight.sum() <= 0:
        return int(different[0])
    per = np.bincount(loads.moisture[rows], weight / weight.sum())
    label = f"moisture: mean of the loads of {dressings.id[number]}"
    return book.mix(label, {int(k): float(per[k]) for k in different})


def _declared(reader: Reader, ground: dict[str, int]) -> Ints:
    texts = reader.text("surface").tolist()
    for row, text in enumerate(texts):
        if text and ground and text not in ground:
            found = f"{quoted(text)} is not a surface's id in the boundaries"
            remedy = "write the id, or leave it blank: the position then decides"
            reader.fault(row, "surface", found, remedy=remedy)
    return np.array([ground.get(text, -1) for text in texts], dtype=np.int64)


def _positions(reader: Reader) -> tuple[Floats, Floats]:
    """Longitude and latitude in degrees; a fault where there is none."""
    if reader.size and not {"lon", "lat"} <= set(reader.table.columns):
        hint = reader.meant("longitude") or reader.meant("x")
        remedy = f"{hint}Add lon and lat, in degrees"
        reader.whole_fault(None, "there are no columns lon and lat", remedy=remedy)
    lon, lat = reader.number("lon"), reader.number("lat")
    missing = ~(np.isfinite(lon) & np.isfinite(lat))
    for row in np.flatnonzero(missing).tolist():
        if row not in reader.faulty:
            found = "the catch has no position"
            reader.fault(row, "lon, lat", found, remedy="give lon and lat")
    for row in np.flatnonzero(~missing & ((np.abs(lon) > 180) | (np.abs(lat) > 90))).tolist():
        reader.fault(
            row,
            "lon, lat",
            f"{lon[row]:g}, {lat[row]:g} is no longitude and latitude in degrees",
            allowed="lon ±180, lat ±90",
            remedy="look for the two swapped, or metres in place of degrees",
        )
    return lon, lat


def _measured(
    reader: Reader,
    first: Ints,
    columns: tuple[Floats, Floats],
    pools: list[Ints],
    used: Bools,
) -> None:
    has = np.zeros(len(first), dtype=bool)
    for column, pool in zip(columns, pools, strict=True):
        has |= np.isfinite(column) | (pool >= 0)
    for row in first[~has & used].tolist():
        if row not in reader.faulty:
            found = "neither a mass nor a usable volume was measured"
            remedy = "give tare_g and gross_g, or a dry volume_cm3; or a reject_reason"
            reader.fault(row, "gross_g", found, remedy=remedy)
