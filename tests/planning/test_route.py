"""The way over surfaces: against all orders of a few, against known ways, and over a site."""

from itertools import permutations

import numpy as np
import pytest
from scipy.spatial.distance import cdist

from geosand.planning.choosing import (
    chosen_surfaces,
    in_working_order,
    names_single_surfaces,
    start_of,
)
from geosand.planning.route import legs, natural, route
from tests.sites import LAT, LON, square, surface


def length(x, y, order, start):
    way = np.vstack([start, np.stack([x, y], axis=1)[order]])
    return float(np.hypot(*np.diff(way, axis=0).T).sum())


def test_every_place_once():
    random = np.random.default_rng(3)
    for n in (0, 1, 2, 60):
        order = route(*random.uniform(0, 900, (2, n)), (0.0, 0.0))
        assert sorted(order.tolist()) == list(range(n))


def test_near_the_shortest_of_all_ways():
    random = np.random.default_rng(4)
    excess = []
    for _ in range(25):
        x, y = random.uniform(0, 1000, (2, 6))
        start = tuple(random.uniform(0, 1000, 2))
        best = min(length(x, y, list(p), start) for p in permutations(range(6)))
        excess.append(length(x, y, route(x, y, start), start) / best - 1)
    assert min(excess) >= -1e-12
    assert np.mean(excess) < 0.03
    assert max(excess) < 0.25


def test_places_along_a_bow_are_visited_along_it():
    turn = np.linspace(0, np.pi, 18)
    shuffled = np.random.default_rng(1).permutation(18)
    x, y = 300 * np.cos(turn)[shuffled], 300 * np.sin(turn)[shuffled]
    assert shuffled[route(x, y, (310.0, 0.0))].tolist() == list(range(18))


def test_no_reversal_of_a_piece_shortens_the_way():
    random = np.random.default_rng(8)
    x, y = random.uniform(0, 1000, (2, 24))
    order, start = route(x, y, (0.0, 0.0)).tolist(), (0.0, 0.0)
    found = length(x, y, order, start)
    for i in range(24):
        for j in range(i + 2, 25):
            other = order[:i] + order[i:j][::-1] + order[j:]
            assert length(x, y, other, start) > found - 1e-6


def test_legs_add_up_to_the_way():
    x, y = np.random.default_rng(2).uniform(0, 500, (2, 9))
    order = route(x, y, (1.0, 2.0))
    way = legs(x[order], y[order], (1.0, 2.0))
    assert way.sum() == pytest.approx(length(x, y, order, (1.0, 2.0)))
    points = np.stack([x, y], axis=1)
    assert way[1] == pytest.approx(cdist(points, points)[order[0], order[1]])
    assert np.isnan(legs(x, y, None)[0])


def test_ids_are_counted_as_people_do():
    ids = ["g10", "t1", "g2", "g1", "G3", "practice", "2"]
    assert sorted(ids, key=natural) == ["2", "g1", "g2", "G3", "g10", "practice", "t1"]


def course(worked):
    """Greens one to six along a road, their tees beside them, in a shuffled file."""
    made = [surface(f"g{k}", "green", square(LON + 0.002 * k, LAT, 20.0)) for k in range(1, 7)]
    made += [
        surface(f"t{k}", "tee", square(LON + 0.002 * k, LAT + 0.0005, 8.0)) for k in range(1, 7)
    ]
    return worked(surfaces=[made[k] for k in np.random.default_rng(0).permutation(12)])


def ids_of(results, rows):
    return results.site.surfaces.id[rows].tolist()


def test_greens_come_before_tees_and_the_way_goes_on_where_it_was(worked):
    results = course(worked)
    row = chosen_surfaces(results.site, results.ledger, ["green", "tee"])
    order = in_working_order(results.site, results.areas, row, None)
    assert ids_of(results, order) == [f"g{k}" for k in range(1, 7)] + [
        f"t{k}" for k in range(6, 0, -1)
    ]
    mixed = in_working_order(results.site, results.areas, row, None, by_kind=False)
    way = ids_of(results, mixed)
    assert way[:2] == ["g1", "t1"]
    assert [int(i[1:]) for i in way] == sorted(int(i[1:]) for i in way)


def test_the_way_begins_at_the_start_that_was_given(worked):
    results = course(worked)
    site, areas = results.site, results.areas
    row = chosen_surfaces(site, results.ledger, ["green"])
    for text in ("g6", f"{LON + 0.0125},{LAT}"):
        start = start_of(site, areas, text)
        order = in_working_order(site, areas, row, start)
        assert ids_of(results, order) == [f"g{k}" for k in range(6, 0, -1)]
    assert start_of(site, areas, None) is None
    for wrong, said in (
        ("shed", "write a surface's id, or longitude,latitude"),
        (f"{LAT},{LON}", "is not near this site"),
        ("500,2", "is not near this site"),
        ("nan,nan", "is not near this site"),
    ):
        with pytest.raises(ValueError, match=said):
            start_of(site, areas, wrong)


def test_ids_keep_the_order_named_and_kinds_do_not(worked):
    site = course(worked).site
    assert names_single_surfaces(site, ["g3", "tee"])
    assert not names_single_surfaces(site, ["green", "tee"])
    assert not names_single_surfaces(site, [])
