"""Catches: trays and cloths with what they held; parts of one catch added, pools marked."""

from __future__ import annotations

import numpy as np

from geosand.columns import Bools, Floats, Ints, Strings
from geosand.errors import Faults, Finding
from geosand.site.read_loads import dressing_rows
from geosand.site.read_settings import MoistureBook, SiteText, dry_basis, stated_u
from geosand.site.reading import RawTable, Reader, quoted
from geosand.site.tables import Catches, Dressings, Loads, Sands

SMALL_TRAY_M2, LARGE_TRAY_M2 = 0.005, 4.0


def read_catches(
    table: RawTable,
    lon: Floats,
    lat: Floats,
    ground: dict[str, int],
    dressings: Dressings,
    loads: Loads,
    sands: Sands,
    text: SiteText,
    book: MoistureBook,
    faults: Faults,
    findings: list[Finding],
) -> Catches:
    """One row a catch; ``lon``/``lat`` are the rows' positions, nan where there is none."""
    reader = Reader(table, faults, findings)
    ids = reader.text("catch", required=True)
    dressing = dressing_rows(reader, dressings)
    area, half = _tray(reader, findings)
    caught = _net_mass(reader)
    volume = reader.quantity("volume", "m3", minimum=0.0, maximum=1.0)
    reasons = reader.text("reject_reason")
    volume = _dry_volume(reader, volume, dressing, dressings, sands, book, findings)
    pool = reader.text("pool")
    accuracy = reader.quantity("position_accuracy", "m", minimum=0.0, maximum=500)
    moisture = _moisture(reader, dressing, reasons, dressings, loads, sands, book, findings)
    declared = _declared(reader, ground)
    _positions(reader, lon, lat)
    edge = reader.quantity("edge_distance", "m", minimum=-200.0, maximum=200.0)
    notes = reader.text("note")
    reader.finish()
    first, whole = _parts(reader, ids, dressing, area, lon, lat)
    count = len(first)
    sums = [_sum_parts(column, whole, count) for column in (caught, volume)]
    mass_pool, volume_pool = (
        _pools(reader, column, first, dressing[first], pool[first], word)
        for column, word in zip(sums, ("mass", "volume"), strict=True)
    )
    used = reasons[first] == ""
    _measured(reader, first, sums, (mass_pool, volume_pool), used)
    keep = dressing[first] >= 0
    columns = {
        "id": ids[first],
        "dressing": dressing[first],
        "row": np.array([r if isinstance(r, int) else k + 1 for k, r in enumerate(table.rows)])[
            first
        ]
        if reader.size
        else np.array([], dtype=np.int64),
        "lon_degree": lon[first],
        "lat_degree": lat[first],
        "position_accuracy_m": np.where(
            np.isnan(accuracy[first]), text.position_accuracy_m, accuracy[first]
        ),
        "declared": declared[first],
        "edge_distance_m": edge[first],
        "tray_area_m2": area[first],
        "half_diagonal_m": half[first],
        "caught_kg": sums[0],
        "moisture": moisture[first],
        "volume_m3": sums[1],
        "mass_pool": mass_pool,
        "volume_pool": volume_pool,
        "used": used,
        "reject_reason": reasons[first],
        "note": notes[first],
    }
    return Catches(**{name: column[keep] for name, column in columns.items()})


def _tray(reader: Reader, findings: list[Finding]) -> tuple[Floats, Floats]:
    """Mouth area (m²) and half diagonal (m) of each tray."""
    length = reader.quantity("tray_length", "m", above=0.0, maximum=20)
    width = reader.quantity("tray_width", "m", above=0.0, maximum=20)
    diameter = reader.quantity("tray_diameter", "m", above=0.0, maximum=20)
    given = reader.quantity("tray_area", "m2", above=0.0, maximum=100)
    ways = np.stack([length * width, np.pi / 4 * diameter**2, given], axis=1)
    halves = np.stack([np.hypot(length, width) / 2, diameter / 2, np.sqrt(given / 2)], axis=1)
    number = np.isfinite(ways).sum(axis=1)
    for row in np.flatnonzero(number != 1):
        reader.fault(
            int(row),
            "tray_…",
            "no tray size" if number[row] == 0 else "the tray's size is given twice",
            allowed="tray_length_mm and tray_width_mm, or tray_diameter_mm, or tray_area_cm2",
        )
    area = np.nansum(ways, axis=1) if reader.size else np.zeros(0)
    area = np.where(number == 1, area, np.nan)
    odd = (area < SMALL_TRAY_M2) | (area > LARGE_TRAY_M2)
    for row in np.flatnonzero(odd):
        text = f"tray of {area[row] * 1e4:.4g} cm² in row {reader.table.rows[row]}: check its unit"
        findings.append(Finding(about=reader.table.file, text=text, topic="catch"))
    return area, np.nansum(halves, axis=1) if reader.size else np.zeros(0)


def _net_mass(reader: Reader) -> Floats:
    tare = reader.quantity("tare", "kg", minimum=0.0, maximum=1000)
    gross = reader.quantity("gross", "kg", minimum=0.0, maximum=1000)
    for row in np.flatnonzero(np.isfinite(gross) & np.isnan(tare)):
        reader.fault(
            int(row), "tare_g", "a gross mass without its tare", remedy="weigh the empty tray"
        )
    for row in np.flatnonzero(gross < tare):
        reader.fault(
            int(row),
            "gross_g",
            f"the gross mass ({gross[row] * 1000:g} g) is below the tare ({tare[row] * 1000:g} g)",
            remedy="check whether the two were swapped or a tray was mixed up",
        )
    return gross - tare


def _dry_volume(
    reader: Reader,
    volume: Floats,
    dressing: Ints,
    dressings: Dressings,
    sands: Sands,
    book: MoistureBook,
    findings: list[Finding],
) -> Floats:
    """Only dry sand's volume gives a depth: moist sand bulks, tapped sand packs."""
    state = reader.choice("volume_state", ["dry", "moist", "tapped"])
    ratios = np.array([r[1] for r in book.rows.values()] + [np.nan])
    sand = dressings.sand[np.maximum(dressing, 0)] if len(dressings) else np.zeros(0, dtype=int)
    dry_sand = np.zeros(reader.size, dtype=bool)
    if len(dressings) and len(sands.name):
        dry_sand = ratios[sands.moisture[sand]] <= 0.005
    unsaid = np.isfinite(volume) & (state == "")
    for mask, words in (
        (unsaid & dry_sand, "volume_state is not said; the sand is dry, so it is taken as dry"),
        (unsaid & ~dry_sand, "volume_state is not said; the volume is not used"),
        (
            np.isfinite(volume) & np.isin(state, ["moist", "tapped"]),
            "a volume not of dry, poured sand gives no depth and is not used",
        ),
    ):
        if mask.any():
            about = f"{reader.table.file}, {int(mask.sum())} rows"
            findings.append(Finding(about=about, text=words, topic="catch"))
    use = (state == "dry") | (unsaid & dry_sand)
    return np.where(use, volume, np.nan)


def _moisture(
    reader: Reader,
    dressing: Ints,
    reasons: Strings,
    dressings: Dressings,
    loads: Loads,
    sands: Sands,
    book: MoistureBook,
    findings: list[Finding],
) -> Ints:
    """The catch's own moisture; else that of the dressing's loads; else the sand's."""
    own, u = dry_basis(reader)
    fallback = [_of_loads(k, dressings, loads, sands, book) for k in range(len(dressings))]
    out = np.full(reader.size, -1, dtype=np.int64)
    for row, number in enumerate(dressing.tolist()):
        if number < 0:
            continue
        if np.isfinite(own[row]):
            label = f"moisture: catches of {dressings.id[number]} {own[row] * 100:.6g} %"
            u_row = stated_u(own[row], u[row], f"the catches of {dressings.id[number]}", findings)
            out[row] = book.add(label, float(own[row]), u_row)
        else:
            out[row] = fallback[number]
            if fallback[number] < 0 and not reasons[row]:
                reader.fault(
                    row,
                    "moisture_dry_basis_percent",
                    "the sand's moisture is said nowhere",
                    remedy="give it in site.toml, in the loads or here; or kiln_dried = true",
                )
    return out


def _of_loads(
    number: int, dressings: Dressings, loads: Loads, sands: Sands, book: MoistureBook
) -> int:
    rows = np.flatnonzero((loads.dressing == number) & (loads.moisture >= 0))
    if len(rows) == 0:
        return int(sands.moisture[dressings.sand[number]]) if len(sands.name) else -1
    different = np.unique(loads.moisture[rows])
    if len(different) == 1:
        return int(different[0])
    table = book.table()
    weight = (loads.count * loads.unit_mass_kg)[rows]
    weight = weight / weight.sum()
    ratio = float(weight @ table.ratio[loads.moisture[rows]])
    per = np.bincount(loads.moisture[rows], weight)
    u = float(np.sqrt(((per * table.u_ratio[: len(per)]) ** 2).sum()))
    return book.add(f"moisture: mean of the loads of {dressings.id[number]}", ratio, u)


def _declared(reader: Reader, ground: dict[str, int]) -> Ints:
    texts = reader.text("surface").tolist()
    for row, text in enumerate(texts):
        if text and text not in ground:
            reader.fault(
                row,
                "surface",
                f"{quoted(text)} is not a surface's id in surfaces.geojson",
                remedy="write the id, or leave it blank: the position then decides",
            )
    return np.array([ground.get(text, -1) for text in texts], dtype=np.int64)


def _positions(reader: Reader, lon: Floats, lat: Floats) -> None:
    missing = ~(np.isfinite(lon) & np.isfinite(lat))
    for row in np.flatnonzero(missing):
        reader.fault(int(row), "lon, lat", "the catch has no position", remedy="give lon and lat")
    for row in np.flatnonzero(~missing & ((np.abs(lon) > 180) | (np.abs(lat) > 90))):
        reader.fault(
            int(row),
            "lon, lat",
            f"{lon[row]:g}, {lat[row]:g} is no longitude and latitude in degrees",
            allowed="lon ±180, lat ±90",
            remedy="look for the two swapped, or metres in place of degrees",
        )


def _parts(
    reader: Reader, ids: Strings, dressing: Ints, area: Floats, lon: Floats, lat: Floats
) -> tuple[Ints, Ints]:
    """First row of each catch, and for every row the number of its catch."""
    numbers: dict[tuple[int, str], int] = {}
    first: list[int] = []
    whole = np.zeros(reader.size, dtype=np.int64)
    for row, key in enumerate(zip(dressing.tolist(), ids.tolist(), strict=True)):
        if key not in numbers:
            numbers[key] = len(first)
            first.append(row)
        whole[row] = numbers[key]
        start = first[numbers[key]]
        apart = np.hypot(lon[row] - lon[start], lat[row] - lat[start]) > 1e-4
        if start != row and (apart or not np.isclose(area[row], area[start], rtol=1e-6)):
            reader.fault(
                row,
                "catch",
                f"{quoted(key[1])} is already in row {reader.table.rows[start]} with another tray or place",
                remedy="rows with the same catch and dressing are parts of one catch; else rename it",
            )
    return np.array(first, dtype=np.int64), whole


def _sum_parts(column: Floats, whole: Ints, count: int) -> Floats:
    known = np.isfinite(column)
    total = np.bincount(whole[known], column[known], count)
    return np.where(np.bincount(whole[known], minlength=count) > 0, total, np.nan)


def _pools(
    reader: Reader, column: Floats, first: Ints, dressing: Ints, pool: Strings, word: str
) -> Ints:
    """Number of the pool whose one reading a catch shares; -1 where it has its own."""
    out = np.full(len(first), -1, dtype=np.int64)
    keys = list(zip(dressing.tolist(), pool.tolist(), strict=True))
    for number, key in enumerate(dict.fromkeys(k for k in keys if k[1])):
        rows = np.array([k for k, other in enumerate(keys) if other == key])
        filled = np.isfinite(column[rows])
        if filled.sum() == 1 and len(rows) > 1:
            out[rows] = number
        elif 1 < filled.sum() < len(rows):
            reader.fault(
                int(first[rows[0]]),
                "pool",
                f"pool {quoted(key[1])} has {int(filled.sum())} readings of {word} for {len(rows)} trays",
                allowed="one reading for all of them, or one for each",
            )
    return out


def _measured(
    reader: Reader, first: Ints, sums: list[Floats], pools: tuple[Ints, Ints], used: Bools
) -> None:
    has = np.zeros(len(first), dtype=bool)
    for column, pool in zip(sums, pools, strict=True):
        has |= np.isfinite(column) | (pool >= 0)
    for k in np.flatnonzero(~has & used):
        reader.fault(
            int(first[k]),
            "gross_g",
            "neither a mass nor a usable volume was measured",
            remedy="give tare_g and gross_g, or a dry volume_cm3; or a reject_reason",
        )
