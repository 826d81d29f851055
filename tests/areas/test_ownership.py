"""Which surface owns the ground, and which edges owners share."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely.affinity import rotate

from geosand.areas.common_edges import own_edges_m, shared_edges
from geosand.areas.ellipsoid import ellipsoid_areas_m2
from geosand.areas.ownership import PRECEDENCE, owned_geometries, precedence_ranks
from geosand.areas.plane import Plane

PLANE = Plane(longitude_deg=-2.8, latitude_deg=56.0)


def disc(x: float, y: float, radius: float, corners: int = 60) -> shapely.Polygon:
    angle = np.arange(corners) * 2 * np.pi / corners
    return shapely.Polygon(
        np.column_stack([x + radius * np.cos(angle), y + radius * np.sin(angle)])
    )


def owned(column, kinds, *shapes, edition=None):
    """Owned ground in m of the plane for shapes drawn in it."""
    drawn = PLANE.to_lonlat(column(*shapes))
    survey = np.zeros(len(shapes), dtype=np.int64) if edition is None else np.array(edition)
    return drawn, owned_geometries(drawn, np.array(kinds), survey)


def test_order_of_the_kinds():
    assert (
        *("green", "collar", "tee", "bunker", "water", "path", "approach", "surround"),
        *("fairway", "pitch", "lawn", "other"),
    ) == PRECEDENCE
    kinds = np.array(["lawn", "nursery", "green", "fairway", "other", "green"])
    ranks = precedence_ranks(kinds, np.array([5.0, 9.0, 7.0, 1.0, 8.0, 6.0]))
    assert ranks.tolist() == [3, 5, 1, 2, 4, 0]  # an unknown kind counts as other: 8 before 9 m²


def test_each_kind_is_cut_by_the_ones_above(column):
    kinds = list(PRECEDENCE)
    stacked = [disc(0, 0, 10.0 + 3 * k) for k in range(len(kinds))]
    order = np.random.default_rng(2).permutation(len(kinds))
    _, ground = owned(column, [kinds[k] for k in order], *[stacked[k] for k in order])
    areas = ellipsoid_areas_m2(ground)
    # rings between regular 60-gons: 30 sin(6°) (r² - inner r²)
    radii = 10.0 + 3 * order
    inner = np.where(order > 0, radii - 3, 0.0)
    assert areas == pytest.approx(30 * np.sin(np.radians(6)) * (radii**2 - inner**2), rel=1e-7)


def test_smaller_of_one_kind_lies_on_top_and_equal_ones_go_by_file_order(column):
    _, ground = owned(column, ["lawn", "lawn"], disc(0, 0, 20), disc(5, 0, 5))
    assert ellipsoid_areas_m2(ground)[1] == pytest.approx(30 * np.sin(np.radians(6)) * 25, rel=1e-7)
    _, ground = owned(column, ["tee", "tee"], disc(0, 0, 20), disc(0, 0, 20))
    assert [piece.is_empty for piece in ground] == [False, True]


def test_untouched_surfaces_are_the_same_objects(column):
    green, collar = disc(0, 0, 10), shapely.difference(disc(0, 0, 11), disc(0, 0, 10))
    drawn, ground = owned(
        column,
        ["fairway", "green", "collar", "tee", "fairway"],
        shapely.box(-50, -9, 50, 9),
        green,
        collar,
        disc(100, 0, 5),
        None,
    )
    same = [before is after for before, after in zip(drawn, ground, strict=True)]
    assert same == [False, True, True, True, True]


def test_editions_do_not_meet(column):
    drawn, ground = owned(column, ["lawn", "green"], disc(0, 0, 20), disc(0, 0, 9), edition=[1, 2])
    assert drawn[0] is ground[0] and drawn[1] is ground[1]


def test_wholly_covered_and_cut_in_two(column):
    _, ground = owned(
        column,
        ["approach", "green", "lawn", "path"],
        *(disc(0, 0, 5), disc(0, 0, 9), shapely.box(50, 0, 70, 10), shapely.box(58, -5, 60, 15)),
    )
    assert ground[0].is_empty and ground[0].geom_type == "Polygon"
    assert ground[2].geom_type == "MultiPolygon" and len(ground[2].geoms) == 2
    assert ellipsoid_areas_m2(ground)[2] == pytest.approx(180, rel=1e-5)


def test_slivers_are_dropped(column):
    # what is left of the approach: a strip of 8 m x 0.1 mm = 0.8e-3 m² and a piece of 2 m²
    approach = shapely.box(0, 0, 10, 10.0001)
    _, ground = owned(column, ["approach", "green"], approach, shapely.box(-1, -1, 8, 10))
    assert ground[0].geom_type == "Polygon"  # the strip hangs on the piece
    strip = shapely.box(0, 0, 8, 10.0001)
    _, ground = owned(column, ["approach", "green"], strip, shapely.box(-1, -1, 9, 10))
    assert ground[0].is_empty
    thicker = shapely.box(0, 0, 8, 10.0002)
    _, ground = owned(column, ["approach", "green"], thicker, shapely.box(-1, -1, 9, 10))
    assert ellipsoid_areas_m2(ground)[0] == pytest.approx(1.6e-3, rel=0.15)


@pytest.mark.parametrize("seed", range(4))
def test_ground_is_conserved_and_owned_once(column, seed):
    random = np.random.default_rng(seed)
    shapes = [
        disc(x, y, r, int(corners))
        for x, y, r, corners in zip(
            *random.uniform(-40, 40, (2, 40)),
            random.uniform(2, 20, 40),
            random.integers(5, 40, 40),
            strict=True,
        )
    ]
    kinds = random.choice([*PRECEDENCE, "nursery"], 40)
    survey = random.integers(0, 2, 40)
    drawn, ground = owned(column, kinds, *shapes, edition=survey)
    assert shapely.is_valid(ground).all()
    spots = shapely.points(*random.uniform(-40, 40, (2, 3000)))
    spots = PLANE.to_lonlat(spots)
    for edition in (0, 1):
        mine = survey == edition
        union = column(shapely.union_all(drawn[mine]))
        # dropped slivers: at most 1e-3 m² each
        assert ellipsoid_areas_m2(ground[mine]).sum() == pytest.approx(
            ellipsoid_areas_m2(union)[0], abs=5e-3
        )
        covered = shapely.contains_properly(drawn[mine][:, None], spots)
        level = [list(PRECEDENCE).index(kind) if kind in PRECEDENCE else 11 for kind in kinds[mine]]
        order = np.lexsort((ellipsoid_areas_m2(drawn[mine]), level))
        top = order[covered[order].argmax(axis=0)]
        owner = shapely.contains_properly(ground[mine][:, None], spots)
        assert owner.sum(axis=0).tolist() == covered.any(axis=0).astype(int).tolist()
        seen = covered.any(axis=0)
        assert (owner.argmax(axis=0) == top)[seen].all()


def test_edges_of_a_green_its_collar_and_the_fairway_beneath(column):
    shapes = [shapely.box(-50, -40, 50, 40), disc(0, 0, 11), disc(0, 0, 10)]
    kinds = np.array(["fairway", "collar", "green"])
    _, ground = owned(column, kinds, *shapes)
    flat = PLANE.to_plane(ground)
    edition = np.zeros(3, dtype=np.int64)
    shared = shared_edges(flat, np.array([2, 1, 0]), edition)
    assert list(zip(shared.lower, shared.upper, strict=True)) == [(0, 1), (1, 2)]
    around = 120 * np.sin(np.radians(3)) * np.array([11.0, 10.0])  # of a regular 60-gon
    assert shared.length_m == pytest.approx(around, rel=1e-6)
    own = own_edges_m(shapely.length(flat), shared)
    assert own == pytest.approx([360, around[0], around[1]], rel=1e-5)
    apart = shared_edges(flat, np.array([2, 1, 0]), np.array([0, 1, 0]))
    assert not len(apart.lower)


def test_partly_shared_edge(column):
    # a tee of 10 m x 6 m reaching 4 m into a fairway: the cut runs 4 + 6 + 4 m along the tee
    kinds = np.array(["tee", "fairway"])
    _, ground = owned(column, kinds, shapely.box(-6, 0, 4, 6), shapely.box(0, -20, 60, 30))
    shared = shared_edges(PLANE.to_plane(ground), np.arange(2), np.zeros(2, dtype=np.int64))
    assert (shared.lower.tolist(), shared.upper.tolist()) == ([1], [0])
    assert shared.length_m[0] == pytest.approx(14, abs=0.11)  # the tolerance at both ends


def test_edge_digitised_twice(column):
    inner = disc(0, 0, 10, 83)
    collar = shapely.Polygon(disc(0, 0, 12).exterior, [disc(0, 0, 10.01, 60).exterior])
    rank, edition = np.array([1, 0]), np.zeros(2, dtype=np.int64)
    shared = shared_edges(column(collar, inner), rank, edition)
    assert shared.length_m == pytest.approx([62.9], abs=0.1)  # 2 pi 10.01 m
    wide = shapely.Polygon(disc(0, 0, 12).exterior, [disc(0, 0, 10.3, 60).exterior])
    assert not len(shared_edges(column(wide, inner), rank, edition).length_m)
    assert len(shared_edges(column(wide, inner), rank, edition, tolerance_m=0.5).length_m)


def test_neighbours_that_meet_in_a_corner_share_no_edge(column):
    squares = column(shapely.box(0, 0, 5, 5), shapely.box(5, 5, 9, 9), shapely.Polygon())
    shared = shared_edges(squares, np.arange(3), np.zeros(3, dtype=np.int64))
    assert not len(shared.lower)
    assert own_edges_m(shapely.length(squares), shared).tolist() == [20, 16, 0]


def test_areas_that_rounding_could_exchange_are_equal(column):
    """Two squares of one size side by side, drawn over a strip of each other: file order decides.

    Their corners are moved by up to half of the ninth decimal, as on writing: 0.06 mm.
    """
    one, other = shapely.box(0, 0, 20, 20), shapely.box(19, 0, 39, 20)
    random = np.random.default_rng(7)
    for _ in range(40):
        corners = [shapely.get_coordinates(s)[:-1] for s in PLANE.to_lonlat(column(one, other))]
        moved = [c + random.uniform(-5e-10, 5e-10, c.shape) for c in corners]
        drawn = column(*(shapely.Polygon(c) for c in moved))
        ground = owned_geometries(drawn, np.array(["tee", "tee"]), np.zeros(2, dtype=np.int64))
        assert ellipsoid_areas_m2(ground) == pytest.approx([400, 380], abs=0.01)


def test_equal_areas_of_other_surveys_and_kinds_do_not_mix():
    kinds = np.array(["tee", "tee", "tee", "green", "tee"])
    areas = np.array([400.001, 400.0, 400.0005, 400.0, 300.0])
    ranks = precedence_ranks(kinds, areas, np.array([0, 0, 1, 0, 0]))
    assert np.argsort(ranks[[0, 1, 3, 4]]).tolist() == [2, 3, 0, 1]  # green, smaller, file order
    # alone and beside another survey whose areas lie between
    apart = precedence_ranks(kinds[:2], np.array([400.008, 400.0]))
    assert apart.tolist() == [1, 0]
    between = np.array([400.008, 400.0, 400.004])
    assert precedence_ranks(kinds[:3], between, np.array([0, 0, 1]))[:2].tolist() == [1, 0]


def test_blocks_of_pairs_change_nothing(column, monkeypatch):
    shapes = [disc(x, y, 10 + x / 7 + y / 9) for x in range(0, 60, 12) for y in range(0, 60, 12)]
    kinds = [PRECEDENCE[k % len(PRECEDENCE)] for k in range(len(shapes))]
    _, whole = owned(column, kinds, *shapes)
    monkeypatch.setattr("geosand.areas.ownership._BLOCK_VERTICES", 500)
    _, parts = owned(column, kinds, *shapes)
    assert (shapely.to_wkb(whole) == shapely.to_wkb(parts)).all()


@pytest.mark.parametrize("seed", range(12))
def test_rounding_leaves_no_hairs_along_part_of_an_edge(column, seed):
    """A tee with an approach along part of its straight side, on a fairway, to nine decimals."""
    draw = np.random.default_rng(seed)
    begin = draw.uniform(2, 20)
    end = begin + draw.uniform(2, 8)
    tee, approach = shapely.box(0, 0, 30, 9), shapely.box(begin, 9, end, 14)
    # it ends on the approach: what lies between this and the tee is open at one end only
    fairway = shapely.box(-5, -5, (begin + end) / 2, 20)
    turn = float(draw.uniform(0, 360))
    shapes = [rotate(shape, turn, origin=(0, 0)) for shape in (tee, approach, fairway)]
    drawn = shapely.transform(PLANE.to_lonlat(column(*shapes)), lambda points: np.round(points, 9))
    ground = owned_geometries(drawn, np.array(["tee", "approach", "fairway"]), np.zeros(3, int))
    left = fairway.difference(shapely.union(tee, approach))
    assert shapely.length(PLANE.to_plane(ground))[2] == pytest.approx(left.length, abs=2e-3)
    assert ellipsoid_areas_m2(ground)[2] == pytest.approx(left.area, abs=5e-3)
    assert shapely.is_valid(ground).all()


def test_spikes_that_are_wider_than_rounding_stay(column):
    """A tongue of 2 mm beside a green is drawn ground."""
    fairway = shapely.Polygon([(0, 0), (20, 0), (30, 0.001), (20, 0.002), (20, 10), (0, 10)])
    _, ground = owned(column, ["green", "fairway"], disc(5, 5, 3), fairway)
    length = shapely.length(PLANE.to_plane(ground))[1]
    assert length == pytest.approx(fairway.length + disc(5, 5, 3).length, abs=1e-3)


@pytest.mark.parametrize("lat", [-8.0, 75.0])
@pytest.mark.parametrize("turn", [0.0, 90.0])
def test_hairs_are_as_wide_in_metres_wherever_they_lie(column, lat, turn):
    """A tongue of 10 m goes where it is 0.1 mm wide and stays at 0.4 mm, east as north."""
    plane = Plane(longitude_deg=20.0, latitude_deg=lat)
    for width_m, gone in ((1e-4, True), (4e-4, False)):
        tip = [(20, 0), (30, width_m / 2), (20, width_m)]
        field = shapely.Polygon([(0, 0), *tip, (20, 10), (0, 10)])
        shapes = [rotate(one, turn, origin=(0, 0)) for one in (disc(5, 5, 3), field)]
        drawn = plane.to_lonlat(column(*shapes))
        ground = owned_geometries(drawn, np.array(["green", "fairway"]), np.zeros(2, np.int64))
        edge = shapely.length(plane.to_plane(ground))[1]
        whole = shapely.length(shapes[0]) + shapely.length(field)
        assert edge == pytest.approx(whole - (20 if gone else 0), abs=2e-3)
