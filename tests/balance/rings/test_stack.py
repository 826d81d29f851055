"""Fields worked out in one call against each alone: what one holds depends on no other."""

from __future__ import annotations

from dataclasses import fields
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import shapely
from shapely.affinity import rotate, translate

from geosand.areas.register import area_register
from geosand.balance.rings import ground as ring_ground
from geosand.balance.rings import tasks as ring_tasks
from geosand.balance.rings.tasks import Task
from geosand.balance.rings.throw_off import ThrowOff, throw_off
from geosand.balance.throwing import throw_of_dressings
from geosand.site.stack import stacked
from tests.balance.rings.test_crossings import star
from tests.balance.rings.thrown import SQUARE, blob, kidney, spread
from tests.stack_sites import various_sites

BY_ROW = ("surfaces", "dressing", "group", "rate_kg_m2", "collars", "collar_width_m")
BY_ROW += ("surrounds_width_m",)
#: Columns of ThrowOff with one row a dressed surface, beside hazard_kg.
ROWS = ("collar_kg", "surrounds_kg", "farther_kg")
ROWS += ("collar_area_m2", "surrounds_area_m2", "perimeter_m")
#: Every sum is taken in the same order, so that not even the last digit differs.
EXACT = 0.0


def different_fields() -> list[dict[str, Any]]:
    """Arguments of ``throw_off``, each of a field of its own, all about the same place."""
    green = blob(0, 0, 12)
    uneven = blob(0.4, 0.2, 13.6).difference(green)
    two_parts = shapely.union(shapely.box(0, 0, 6, 20), shapely.box(8, 0, 12, 9))
    bay = shapely.box(-9, -9, 9, 9).difference(shapely.box(-2, -3, 2, 9))
    hazards = [
        ("bunker", shapely.Point(0, 14).buffer(3)),
        ("bunker", shapely.Point(1, 16).buffer(3)),
        ("path", rotate(shapely.box(-30, -16, 30, -13), 7, origin=(0, 0))),
    ]
    near = [SQUARE, shapely.box(21, 0, 41, 20), translate(kidney(), 10, 32)]
    return [
        spread([green], 150.0, collars=[uneven]),
        spread(near, [100.0, 60.0], group=[0, 1, 0], rate=[1.0, 0.4, 0.8]),
        spread([green, blob(28, 0, 12)], 250.0, hazards=hazards),
        spread([SQUARE], 1e7),  # 200 m do not hold it
        # hemmed in: the ground is laid twice as far, and again
        spread(
            [shapely.Point(2.2 * k, 2.2 * j).buffer(1, 3) for k in range(5) for j in range(5)],
            900.0,
        ),
        spread([green], [0.0, 80.0, np.nan], group=[1], low=[0, -3, 1], high=[0, 200, 2]),
        spread([green, uneven], 150.0, collar_width=[0.9, 0.0]),
        spread([two_parts, bay, translate(bay, 19, 0)], [40.0, 90.0], group=[0, 1, 1]),
        spread([green, kidney()], [50.0, 60.0], group=[0, 1], rate=[np.nan, 1.0], hazards=hazards),
        spread([], 40.0),
        spread(
            near * 3,
            [120.0, 140.0, 300.0],
            group=np.repeat(range(3), 3),
            dressing=np.repeat([4, 9, 2], 3),
            hazards=[("water", shapely.box(-5, 21, 40, 23)), ("bunker", shapely.box(5, -4, 9, -1))],
        ),
        spread([green], 25.0, collar_width=[1.4]),
        # edges and corners that touch, one of them in the middle of an edge
        spread([SQUARE, shapely.box(20, 5, 40, 15), shapely.box(-9, -9, 0, 0)], 190.0),
    ]


def end_to_end(given: list[dict[str, Any]]) -> dict[str, Any]:
    """The fields in one call, their dressings and groups counted on."""
    joint = {name: np.concatenate([one[name] for one in given]) for name in given[0]}
    sizes = [len(one["surfaces"]) for one in given]
    groups = np.cumsum([0, *(len(one["overthrow_kg"]) for one in given[:-1])])
    joint["group"] = joint["group"] + np.repeat(groups, sizes)
    joint["dressing"] = joint["dressing"] + 100 * np.repeat(np.arange(len(given)), sizes)
    joint["field"] = np.repeat(np.arange(len(given)), sizes)
    hazards = [len(one["hazards"]) for one in given]
    joint["hazard_field"] = np.repeat(np.arange(len(given)), hazards)
    return joint


def same(whole: ThrowOff, alone: ThrowOff, rows: Any, groups: Any) -> None:
    """Rows and groups of one field in the table of all."""
    for name in (f.name for f in fields(ThrowOff)):
        got, want = getattr(whole, name), getattr(alone, name)
        if name == "hazard_kg":
            none = np.zeros(len(alone.collar_kg))
            for kind, column in got.items():
                np.testing.assert_allclose(
                    column[rows], want.get(kind, none), rtol=EXACT, err_msg=kind
                )
            assert want.keys() <= got.keys()
        else:
            place = rows if name in ROWS else groups
            np.testing.assert_allclose(got[place], want, rtol=EXACT, err_msg=name)


def test_strips_that_can_not_come_to_a_hazard_need_not_be_asked(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    joint = end_to_end(different_fields())
    asked: list[int] = []
    ask = ring_ground.subdivided

    def counted(rays: Any, strips: Any, some: Any, parts: int) -> Any:
        asked.append(len(some))
        return ask(rays, strips, some, parts)

    monkeypatch.setattr(ring_ground, "subdivided", counted)
    few, some = throw_off(**joint), sum(asked)
    monkeypatch.setattr(ring_ground, "_BEYOND", 1e4)
    every = throw_off(**joint)
    assert some < 0.9 * (sum(asked) - some)
    assert max(np.nanmax(mass) for mass in few.hazard_kg.values()) > 1
    same(few, every, slice(None), slice(None))


def test_strips_are_held_against_the_hazards_near_them_alone(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Twice as long an edge with twice as many bunkers beside it: twice the work, not four times.

    300 bunkers in one fairway took more memory than there was.
    """
    held: list[float] = []
    cross = ring_ground.crossings_of

    def counted(at: Any, out: Any, first: Any, last: Any, *zones: Any) -> Any:
        held.append((last - first).sum())
        return cross(at, out, first, last, *zones)

    monkeypatch.setattr(ring_ground, "crossings_of", counted)
    for many in (20, 40):
        fairway = shapely.box(0, 0, 20 * many, 30)
        bunkers = [("bunker", shapely.Point(20 * k + 10, 33).buffer(2)) for k in range(many)]
        throw = throw_off(**spread([fairway], 40.0 * many, hazards=bunkers))
        assert throw.hazard_kg["bunker"][0] > many / 4
    assert held[1] < 2.2 * held[0]


def test_surfaces_by_number_are_those_told_by_their_objects() -> None:
    joint = end_to_end(different_fields())
    objects = joint["field"], *(map(id, joint[name]) for name in ("surfaces", "collars"))
    widths = joint["collar_width_m"], joint["surrounds_width_m"]
    rows = list(zip(*objects, *widths, strict=True))
    known = {row: place for place, row in enumerate(dict.fromkeys(rows))}
    assert len(known) < len(rows)
    number = np.array([1000 - known[row] for row in rows])
    same(throw_off(**joint, number=number), throw_off(**joint), slice(None), slice(None))


@pytest.mark.parametrize("at_once", [1, 150, 10**9])
def test_fields_in_one_call_are_what_each_is_alone(
    at_once: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """However many are taken at a time: each by itself, a few, or all."""
    monkeypatch.setattr(ring_tasks, "_AT_ONCE", at_once)
    monkeypatch.setattr(ring_tasks, "_MOST_BLOCKS", 10**9)
    given = different_fields()
    joint = end_to_end(given)
    whole = throw_off(**joint)
    first = np.cumsum([0, *(len(one["overthrow_kg"]) for one in given)])
    for k, one in enumerate(given):
        groups = np.arange(first[k], first[k + 1])
        same(whole, throw_off(**one), np.flatnonzero(joint["field"] == k), groups)


@pytest.mark.parametrize("at_once", [23, 97])
def test_strips_are_crossed_some_at_a_time_as_those_of_a_field_alone(
    at_once: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    rng = np.random.default_rng(3)
    monkeypatch.setattr(ring_ground, "_AT_ONCE", at_once)
    given = []
    for _ in range(12):
        x, y = rng.uniform(-25, 25, (2, 6))
        hazards = [
            ("bunker", star(rng, *place, 3.0, corners=40)) for place in zip(x, y, strict=True)
        ]
        given.append(spread([star(rng, 0, 0, 8.0, corners=60)], 80.0, hazards=hazards))
    whole = throw_off(**end_to_end(given))
    for k, one in enumerate(given):
        same(whole, throw_off(**one), slice(k, k + 1), slice(k, k + 1))
    assert (whole.hazard_kg["bunker"] > 1).any()


def test_fields_may_be_mixed_row_by_row() -> None:
    given = different_fields()
    joint = end_to_end(given)
    whole = throw_off(**joint)
    order = np.random.default_rng(3).permutation(len(joint["surfaces"]))
    order = order[np.argsort(joint["dressing"][order], kind="stable")]  # sums keep their order
    mixed = np.random.default_rng(4).permutation(len(given))[joint["field"]]
    order = np.lexsort((np.arange(len(order)), mixed))
    name = dict.fromkeys((*BY_ROW, "field"))
    shuffled = throw_off(**joint | {key: joint[key][order] for key in name})
    for column in ROWS:
        np.testing.assert_allclose(
            getattr(shuffled, column), getattr(whole, column)[order], rtol=EXACT
        )
    np.testing.assert_allclose(shuffled.reach_m, whole.reach_m, rtol=EXACT)


def test_only_the_field_that_needs_it_is_laid_farther(monkeypatch: pytest.MonkeyPatch) -> None:
    laid = []
    task = Task.only

    def only(self: Task, wanted: Any) -> Task:
        laid.append(np.flatnonzero(wanted[:-1]).tolist())
        return task(self, wanted)

    monkeypatch.setattr(Task, "only", only)
    given = different_fields()
    throw_off(**end_to_end(given))
    together = list(laid)
    farther = []
    for k, one in enumerate(given):
        laid.clear()
        throw_off(**one)
        farther += [k] * len(laid)
    assert len(set(farther)) < len(given) / 2
    assert max(farther.count(k) for k in farther) > 1
    assert sorted(farther) == sorted(k for fields_ in together for k in fields_)


def test_hazards_of_another_field_are_not_there() -> None:
    bunker = [("bunker", shapely.box(-20, 13, 20, 17))]
    given = [spread([blob(0, 0, 12)], 200.0, hazards=bunker), spread([blob(0, 0, 12)], 200.0)]
    whole = throw_off(**end_to_end(given))
    assert whole.hazard_kg["bunker"][0] > 1
    assert whole.hazard_kg["bunker"][1] == 0.0


def throw_of(site: Any, owned: Any) -> ThrowOff:
    """Rings of a site with invented rates: each dressing in two groups, a tenth thrown over."""
    dressed, rng = site.dressed, np.random.default_rng(8)
    first_id = np.searchsorted(site.of_id, site.of_surface)
    ground = (site.surfaces.ground - first_id)[dressed.surface]
    number = np.arange(len(site.dressings)) - np.searchsorted(site.of_dressing, site.of_dressing)
    rate = 0.7 + rng.random(20)[number[dressed.dressing]] + 0.3 * rng.random(90)[ground]
    group = 2 * dressed.dressing + ground % 2
    of_group = np.repeat(np.arange(len(number)), 2)
    mass = np.bincount(group, rate * shapely.area(owned[dressed.surface]), len(of_group))
    share = 0.1 * np.cos(3 * number[of_group])
    share[number[of_group] == 2] = 12.0  # far beyond where the ground is laid to at first
    lost = SimpleNamespace(
        value=share * mass,
        u=lambda: 0.02 * mass,
        interval=lambda: SimpleNamespace(low=share * mass - 0.04 * mass, high=share * mass * 1.3),
    )
    rates = SimpleNamespace(rate=SimpleNamespace(value=rate))
    register: Any = SimpleNamespace(
        owned_plane=owned, laid_plane=owned, perimeter_m=shapely.length(owned)
    )
    return throw_of_dressings(site, register, rates, group, of_group, lost)  # type: ignore[arg-type]


def test_a_stack_of_sites_is_what_each_is_alone() -> None:
    """Several editions, collars drawn and not, hazards, no dressings, other widths."""
    sites = various_sites()
    owned = [area_register(site.surfaces).owned_plane for site in sites]
    whole = throw_of(stacked(sites), np.concatenate(owned))
    row = dressing = 0
    for site, shapes in zip(sites, owned, strict=True):
        rows = np.arange(row, row + len(site.dressed))
        groups = np.arange(2 * dressing, 2 * (dressing + len(site.dressings)))
        same(whole, throw_of(site, shapes), rows, groups)
        row, dressing = row + len(rows), dressing + len(site.dressings)
    assert (whole.reach_m > 0).sum() > 40
    assert any((mass > 0).any() for mass in whole.hazard_kg.values())
