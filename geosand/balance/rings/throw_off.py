"""Where overthrow lies, if all of it landed beside the dressed surfaces.

Outside the edge of a dressed surface the rate falls linearly, rate·(1 − x/L), from the edge to the
reach L; one L per group of surfaces, such that the rings hold the overthrow of the group. What
falls on another surface of the same dressing is not overthrow, and ground between two of them
belongs to the nearer edge. The linear taper is an assumption: common practice, no published source.
"""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import shapely

from geosand.balance.rings.collars import Collars, close_collars
from geosand.balance.rings.ground import lay_ground
from geosand.balance.rings.masses import Laid, areas, brought, masses, reaches
from geosand.balance.rings.stands import Stands, disjoint_hazards, distinct_cases, distinct_stands
from geosand.balance.rings.strips import COLLAR, HAZARD, OUTER
from geosand.balance.rings.tasks import Rows, Sand, Task, sand_of
from geosand.balance.rings.zones import DrawnZones, drawn_zones, farthest_corners_m
from geosand.columns import Bools, Floats, Geometries, Ints, Strings, frozen

_Columns = dict[str, Floats]
FARTHEST_REACH_M = 200.0  #: no spreader throws farther; the search for the reach ends here


@frozen
class ThrowOff:
    """Where the overthrow of each group lies. Columns per group (G) first, then per surface (n)."""

    reach_m: Floats  #: G; nan: no rings, or not within 200 m
    strip_width_m: Floats  #: G; overthrow / Σ(rate·perimeter)
    group_collar_kg: Floats  #: G
    group_surrounds_kg: Floats  #: G
    group_farther_kg: Floats  #: G; the three sum to the overthrow
    collar_low_kg: Floats  #: G; in the collars at the lower limit of the overthrow
    collar_high_kg: Floats  #: G; at the upper one
    collar_kg: Floats  #: n
    surrounds_kg: Floats  #: n
    farther_kg: Floats  #: n
    collar_area_m2: Floats  #: n; of the ground nearer to it than to others dressed with it
    surrounds_area_m2: Floats  #: n
    perimeter_m: Floats  #: n; of the outline that the rings lie beside
    hazard_kg: dict[str, Floats]  #: n by kind: how much of the above lies over hazards

    def __post_init__(self) -> None:
        for field in fields(self):
            column = getattr(self, field.name)
            for array in column.values() if isinstance(column, dict) else (column,):
                array.flags.writeable = False


def throw_off(
    *,
    surfaces: Geometries,
    dressing: Ints,
    group: Ints,
    rate_kg_m2: Floats,
    overthrow_kg: Floats,
    low_kg: Floats,
    high_kg: Floats,
    collars: Geometries,
    collar_width_m: Floats,
    surrounds_width_m: Floats,
    hazards: Geometries,
    hazard_kind: Strings,
    field: Ints | None = None,
    hazard_field: Ints | None = None,
    number: Ints | None = None,
) -> ThrowOff:
    """Solve the reach of each group and say how much sand lies in collars, surrounds and farther.

    ``surfaces``: n dressed polygons in plane metres, one row for each time a surface is dressed;
    ``dressing`` (n): rows dressed together, which clip each other; ``group`` (n): row of the G
    overthrows; ``collars`` (n): drawn collar or None, then a ring of ``collar_width_m`` (0: none).
    ``surrounds_width_m``: the band beyond the collar. ``hazards``: polygons with their kind; sand
    over them is told apart, it stays counted in collar, surrounds or farther too. ``field``: rows
    and hazards of different fields never meet, and nothing found of one depends on another; how far
    the ground is laid is the same in all of a field. A dressing and a group are of one field.
    ``number``: of the surface, where rows of one surface have the same collar and widths.

    Mass of surface i: rateᵢ/L·∫₀ᴸ Rᵢ(x) dx, Rᵢ(x) = ground within x of its edge; alone and convex
    R = P·x + π·χ·x² (Steiner; χ = parts − holes), so that the mass is rate·(P·L/2 + π·χ·L²/3).

    An overthrow that is not above zero, or nan: reach nan, masses 0. A positive one of a group
    whose rates are nan or all 0: reach and masses nan. One that 200 m of reach do not hold: reach
    nan, the rings as at 200 m, the remainder in farther. Areas are those of the zones on the ground
    of the row, whatever the overthrow. An empty surface has no edge: its row holds zeros.
    """
    place = np.flatnonzero(~shapely.is_empty(surfaces))
    field = np.zeros(len(surfaces), np.int64) if field is None else field
    there = np.zeros(len(hazards), np.int64) if hazard_field is None else hazard_field
    known, field = np.unique(np.concatenate((field[place], there)), return_inverse=True)
    field, there = np.split(field, [len(place)])
    cases, case = distinct_cases(
        surfaces[place],
        collars[place],
        collar_width_m[place],
        surrounds_width_m[place],
        field,
        None if number is None else number[place],
    )
    rate = rate_kg_m2[place]
    rows = Rows(
        place=place,
        case=case,
        dressing=dressing[place],
        group=group[place],
        field=field,
        rate=np.where(np.isfinite(rate), rate, 0.0),
    )
    sand = sand_of(cases, rows, np.isfinite(rate), overthrow_kg, low_kg, high_kg)
    kinds, code = np.unique(hazard_kind, return_inverse=True)
    apart = disjoint_hazards(hazards, code, there)
    task = Task(cases=cases, rows=rows, sand=sand, hazards=apart)
    return _thrown(task, kinds.tolist(), len(known), len(surfaces))


def _thrown(task: Task, kinds: list[str], count: int, size: int) -> ThrowOff:
    """Some fields at a time; the ground of each is laid twice as far until it holds its sand.

    What is found of a field later stands.
    """
    cap, wanted = np.zeros(count), list(task.blocks(count))
    columns: dict[str, Floats] = {}
    hazard_kg: dict[str, Floats] = {}
    while wanted:
        some = wanted.pop()
        fewer = task if some.all() else task.only(some)
        collars = close_collars(fewer.cases.collar, fewer.cases.surface)
        new = some[:-1] & (cap == 0)
        cap = np.where(new, _first_caps(fewer.cases, collars, fewer.sand, count), cap)
        by_group, by_row, over, short = _within_caps(fewer, collars, kinds, cap)
        _put(columns, by_group, fewer.sand.place, len(task.sand.place))
        _put(columns, by_row, fewer.rows.place, size)
        _put(hazard_kg, over, fewer.rows.place, size)
        wider = np.zeros(count + 1, dtype=np.bool_)
        wider[fewer.sand.field[short]] = True
        wider[:-1] &= cap < FARTHEST_REACH_M
        if wider.any():
            cap = np.where(wider[:-1], np.minimum(2 * cap, FARTHEST_REACH_M), cap)
            wanted.append(wider)
    return ThrowOff(**columns, hazard_kg=hazard_kg)


def _put(columns: _Columns, found: _Columns, place: Ints, count: int) -> None:
    """What was ``found`` into its rows of columns (count,)."""
    for name, column in found.items():
        columns.setdefault(name, np.zeros(count))[place] = column


def _first_caps(cases: Stands, collars: Collars, sand: Sand, count: int) -> Floats:
    """How far to lay the ground of each field: to the widest zone and as far as rings may reach."""
    widest = np.zeros(count)
    np.maximum.at(widest, cases.field, cases.collar_width_m + cases.surrounds_width_m)
    close, beyond = collars.case, cases.surrounds_width_m
    np.maximum.at(widest, cases.field[close], collars.widest_m + beyond[close])
    other = np.flatnonzero(~shapely.is_missing(cases.collar) & (collars.row_of < 0))
    if len(other):
        by_collar = farthest_corners_m(
            cases.collar[other], cases.surface[other], beyond[other], cases.field[other], count
        )
        widest = np.maximum(widest, by_collar)
    zone = np.clip(widest, 1.0, FARTHEST_REACH_M)
    reach, some = np.zeros(count), sand.field >= 0
    np.maximum.at(reach, sand.field[some], sand.reach_alone_m()[some])
    return np.maximum(zone, np.minimum(1.2 * reach, FARTHEST_REACH_M))


def _within_caps(
    task: Task, collars: Collars, kinds: list[str], cap_m: Floats
) -> tuple[_Columns, _Columns, _Columns, Bools]:
    """What ground up to the caps of the fields holds, and which groups threw more than that.

    Columns of ThrowOff by group, by row, and those over hazards by kind.
    """
    cases, rows, sand, hazards = task.cases, task.rows, task.sand, task.hazards
    stands, stand = distinct_stands(cases, rows.case, rows.dressing, 2 * cap_m[cases.field])
    ground = lay_ground(stands, hazards, cap_m[stands.field], collars)
    laid = brought(ground, stands, stand, rows.rate, rows.group, len(sand.place))
    targets = sand.targets_kg()
    reach = reaches(laid, targets)
    farthest = np.zeros(len(stands.surface))
    np.maximum.at(farthest, stand, np.nan_to_num(reach[0], posinf=np.inf)[rows.group])
    zones = drawn_zones(ground, stands, collars, farthest)
    collar_m2, surrounds_m2 = areas(ground, stands, zones)
    present = np.zeros((len(kinds), len(cap_m)), dtype=np.bool_)
    present[hazards.kind, hazards.field] = True
    over = dict(zip(kinds, present[:, rows.field], strict=True))
    by_group, by_row, hazard_kg = _split(laid, zones, reach, targets, sand, over)
    by_row |= {"collar_area_m2": collar_m2[stand], "surrounds_area_m2": surrounds_m2[stand]}
    return by_group, by_row, hazard_kg, np.any(np.isinf(reach), axis=0)


def _split(
    laid: Laid,
    zones: DrawnZones,
    reach: Floats,
    targets: Floats,
    sand: Sand,
    over: dict[str, Bools],
) -> tuple[_Columns, _Columns, _Columns]:
    """Masses by zone at the three reaches (overthrow, its lower and its upper limit).

    ``over``: kinds of hazards, in which rows' fields there are any.
    """
    main, collar_kg = masses(laid, zones, reach, len(over))
    unknown = np.where((sand.overthrow_kg > 0) & ~sand.placeable, np.nan, 0.0)
    of_row = unknown[laid.group]
    collar = main[COLLAR] + of_row
    surrounds = _beyond(main[COLLAR], main[OUTER]) + of_row
    farther = _beyond(main[OUTER], main[-1]) + of_row
    farther = farther + _remainder(laid, main[-1], np.where(np.isinf(reach[0]), targets[0], 0.0))
    thrown = targets[0] > 0
    ends = np.where(np.isnan(targets), np.nan, 0.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        strip = np.where(thrown, targets[0] / sand.edge_kg_m, np.nan)
    by_row = {"collar_kg": collar, "surrounds_kg": surrounds, "farther_kg": farther}
    by_group = {
        "reach_m": np.where(thrown & ~np.isinf(reach[0]), reach[0], np.nan),
        "strip_width_m": strip,
        **{f"group_{name}": laid.by_group(kg) + unknown for name, kg in by_row.items()},
        "collar_low_kg": collar_kg[1] + ends[1],
        "collar_high_kg": collar_kg[2] + ends[2],
    }
    hazard_kg = {
        kind: main[HAZARD + k] + np.where(here, of_row, 0.0)
        for k, (kind, here) in enumerate(over.items())
    }
    return by_group, by_row | {"perimeter_m": laid.perimeter_m}, hazard_kg


def _beyond(inner_kg: Floats, outer_kg: Floats) -> Floats:
    """What the outer zone holds more than the inner; 0 for what is rounding and not sand."""
    more = outer_kg - inner_kg
    return np.where(more > 1e-9 * outer_kg, more, 0.0)


def _remainder(laid: Laid, mass_kg: Floats, target_kg: Floats) -> Floats:
    """By row, what a group's ground within the cap does not hold: shared as what it does hold."""
    held = laid.by_group(mass_kg)
    edge = laid.rate * laid.perimeter_m
    weight = np.where(held[laid.group] > 0, mass_kg, edge)
    whole = laid.by_group(weight)
    share = weight / np.where(whole > 0, whole, 1.0)[laid.group]
    return np.maximum(target_kg - held, 0.0)[laid.group] * share
