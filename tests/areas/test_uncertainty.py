"""Errors of areas: shared edges cancel, biases add, everything holds against random draws."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from geosand.areas.common_edges import SharedEdges, own_edges_m, shared_edges
from geosand.areas.ownership import precedence_ranks
from geosand.areas.plane import Plane
from geosand.areas.register import area_register
from geosand.areas.uncertainty import AreaErrors, Sums
from geosand.columns import Runs
from geosand.site.tables import Surfaces

NO_EDGES = SharedEdges(
    lower=np.zeros(0, dtype=np.int64), upper=np.zeros(0, dtype=np.int64), length_m=np.zeros(0)
)


def disc(radius: float) -> shapely.Polygon:
    angle = np.arange(90) * np.pi / 45
    wobble = radius * (1 + 0.08 * np.cos(3 * angle))
    return shapely.Polygon(np.column_stack([wobble * np.cos(angle), wobble * np.sin(angle)]))


def errors_of(flat, kinds, *, vertices=0.0, edge=0.0, bias=0.0, edition=None) -> AreaErrors:
    rows = len(flat)
    survey = np.zeros(rows, dtype=np.int64) if edition is None else np.array(edition)
    shared = shared_edges(
        flat, precedence_ranks(np.array(kinds), shapely.area(flat), survey), survey
    )
    return AreaErrors(
        u_vertices_m2=np.full(rows, vertices),
        own_edge_m=own_edges_m(shapely.length(flat), shared),
        edge_accuracy_m=np.broadcast_to(np.asarray(edge, dtype=float), rows).copy(),
        edge_bias_m=np.full(rows, bias),
        edition=survey,
        shared=shared,
    )


@pytest.fixture
def stack(column):
    """A fairway under a collar round a green, each with the ground it owns, in metres."""
    green, edge, fairway = disc(12), disc(14), shapely.box(-60, -40, 60, 40)
    return column(green, edge.difference(green), fairway.difference(edge)), (green, edge, fairway)


KINDS = ("green", "collar", "fairway")
COEFFICIENTS = np.array(
    [[1, 0, 0], [0, 1, 0], [0, 0, 1], [1, 1, 0], [1, 1, 1], [1.3, 0.4, 0], [0.8, 0.5, 0.2]]
)


def test_a_gap_of_less_than_the_tolerance_is_no_edge_twice(column):
    """A collar half in a fairway and an approach 3 cm beside it: what lies between is fairway."""
    fairway, edge = shapely.box(-60, -40, 60, 10), shapely.box(0, 0, 20, 20)
    approach = shapely.box(20.03, 0, 40, 8)
    flat = column(edge, approach, fairway.difference(edge).difference(approach))
    errors = errors_of(flat, ("collar", "approach", "fairway"), bias=1.0)
    net = [errors.effects(one)["edge bias"][0] for one in np.eye(3)]
    assert net[1] == pytest.approx(56, abs=0.2)  # 20 by 8
    assert net[0] == pytest.approx(80, abs=0.2)
    outline = 2 * (120 + 60)  # with the collar that stands out by 10
    assert sum(net) == pytest.approx(outline, abs=0.5)
    assert errors.effects(np.ones(3))["edge bias"][0] == pytest.approx(outline, abs=0.5)


def test_edge_by_monte_carlo(stack):
    """Each surface's edge is moved by its own error; areas are taken from the moved polygons."""
    flat, drawn = stack
    accuracy = np.array([0.10, 0.05, 0.15])
    moves = np.random.default_rng(5).normal(0, 1, (4000, 3)) * accuracy
    # buffers of the drawn outlines, whose corners are kept sharp
    moved = [
        shapely.area(shapely.buffer(outline, move, join_style="mitre"))
        for outline, move in zip(drawn, moves.T, strict=True)
    ]
    areas = np.column_stack([moved[0], moved[1] - moved[0], moved[2] - moved[1]])
    spread = np.std(areas @ COEFFICIENTS.T, axis=0)
    effects = errors_of(flat, KINDS, edge=accuracy).effects(COEFFICIENTS)
    assert effects["edge"] == pytest.approx(spread, rel=0.04)
    assert effects["vertices"].tolist() == [0] * len(COEFFICIENTS)


def test_bias_moves_all_edges_together(stack):
    flat, drawn = stack
    bias = 0.01

    def areas(move: float) -> np.ndarray:
        outlines = shapely.area(shapely.buffer(np.array(drawn), move, join_style="mitre"))
        return np.array([outlines[0], outlines[1] - outlines[0], outlines[2] - outlines[1]])

    change = COEFFICIENTS @ (areas(bias) - areas(-bias)) / 2
    effects = errors_of(flat, KINDS, bias=bias).effects(COEFFICIENTS)
    assert effects["edge bias"] == pytest.approx(change, rel=1e-3)  # signs too
    assert (
        effects["edge bias"][1] < effects["edge bias"][0]
    )  # the collar wins outside, loses inside


def test_inner_edge_leaves_the_sum_of_green_and_collar_alone(stack):
    flat, drawn = stack
    group = np.zeros(2, dtype=np.int64)
    first_two = Sums.of(group, np.array([0, 1]), np.ones(2), Runs(group, 1))
    gains = errors_of(flat, KINDS).edge_gains_of(first_two)
    assert gains.row.tolist() == [0, 1]
    assert gains.coefficient == pytest.approx([0, drawn[1].length], abs=1e-4 * drawn[1].length)
    together = errors_of(flat, KINDS, edge=[0.3, 0, 0], bias=0.0).effects(np.array([1.0, 1, 0]))
    assert together["edge"][0] < 1e-3
    all_of_it = errors_of(flat, KINDS, bias=0.15).effects(np.ones(3))
    assert all_of_it["edge bias"][0] == pytest.approx(0.15 * 400, rel=1e-5)  # the outer edge only


def test_traced_green(column):
    # 90 greens traced by two people differed by 7.3 %: an edge error of 0.3 m and a bias of 0.15 m
    # on 500 m² give the same size. Circle: dA/A = 2 d/r.
    radius = np.sqrt(500 / np.pi)
    round_green = column(shapely.Point(0, 0).buffer(radius, quad_segs=64))
    u = errors_of(round_green, ["green"], edge=0.3, bias=0.15).u_area_m2()
    assert u[0] / 500 == pytest.approx(2 * np.hypot(0.3, 0.15) / radius, rel=1e-3)


@pytest.mark.parametrize(
    ("sides", "u_sides", "area", "u_area"),
    [
        # 339.21 ± 0.05 ft by 563.67 ± 0.09 ft: ± 41.5 ft²: engineerboards.com, topic 2883 (a
        # practice problem of the PE examination); exact 41.549
        ((339.21, 563.67), (0.05, 0.09), 191202, 41.549),
        # 252.46 ± 0.053 by 605.08 ± 0.072 ft: 152 760 ± 36.9 ft²: Ghilani & Wolf, Elementary
        # Surveying, error in a product; from memory
        ((252.46, 605.08), (0.053, 0.072), 152760, 36.9),
    ],
)
def test_rectangle_with_uncertain_sides(sides, u_sides, area, u_area):
    """A rectangle grows by its other side for each unit a side grows: two movable edges."""
    assert sides[0] * sides[1] == pytest.approx(area, abs=2)
    table = AreaErrors(
        u_vertices_m2=np.zeros(2),
        own_edge_m=np.array(sides[::-1]),
        edge_accuracy_m=np.array(u_sides),
        edge_bias_m=np.zeros(2),
        edition=np.zeros(2, dtype=np.int64),
        shared=NO_EDGES,
    )
    assert table.effects(np.ones(2))["edge"][0] == pytest.approx(u_area, abs=0.05)


def test_single_surfaces_agree_with_the_forms(stack):
    table = errors_of(stack[0], KINDS, vertices=1.5, edge=[0.1, 0.05, 0.15], bias=0.02)
    parts = table.effects(np.eye(3))
    together = np.sqrt(sum(part**2 for part in parts.values()))
    assert table.u_area_m2() == pytest.approx(together, rel=1e-12)
    assert parts["vertices"].tolist() == [1.5] * 3


def test_effects_scale_with_the_coefficients(stack):
    table = errors_of(stack[0], KINDS, vertices=1.5, edge=0.3, bias=0.15)
    once, twice = table.effects(COEFFICIENTS), table.effects(-2 * COEFFICIENTS)
    for source, sign in (("vertices", 1), ("edge", 1), ("edge bias", -1)):
        assert twice[source] == pytest.approx(sign * 2 * once[source], rel=1e-12)
    assert all(not part.any() for part in table.effects(np.zeros((2, 3))).values())


def test_biases_of_two_surveys_are_independent(column):
    squares = column(shapely.box(0, 0, 10, 10), shapely.box(50, 0, 60, 10), shapely.box(0, 0, 5, 5))
    table = errors_of(squares, ["tee", "tee", "green"], bias=0.1, edition=[4, 4, 9])
    rows = np.array([[1.0, 1, 0], [0, 0, 1], [1, 1, 1], [1, -1, 0], [-1, 0, 0]])
    # perimeters 40, 40 and 20 m: one survey adds linearly, two in quadrature
    expected = [8, 2, np.hypot(8, 2), 0, -4]
    assert table.effects(rows)["edge bias"] == pytest.approx(expected)
    group = np.zeros(3, dtype=np.int64)
    whole = Sums.of(group, np.arange(3), np.ones(3), Runs(group, 1))
    biases = table.edge_biases_of(table.edge_gains_of(whole))
    assert biases.row.tolist() == [4, 9]
    assert biases.coefficient == pytest.approx([8, 2])


def _of_whole_tables(table: AreaErrors, rows: np.ndarray) -> dict[str, np.ndarray]:
    """The same linear forms written out with (D, S) tables, an oracle for the sparse ones."""
    net = rows * table.own_edge_m
    np.subtract.at(
        net.T, table.shared.upper, (rows[:, table.shared.lower] * table.shared.length_m).T
    )
    survey = table.edition == np.unique(table.edition)[:, None]
    bias = (net * table.edge_bias_m) @ survey.T
    one = np.count_nonzero(bias, axis=1) <= 1
    return {
        "vertices": np.linalg.norm(rows * table.u_vertices_m2, axis=1),
        "edge": np.linalg.norm(net * table.edge_accuracy_m, axis=1),
        "edge bias": np.where(one, bias.sum(axis=1), np.linalg.norm(bias, axis=1)),
    }


@pytest.mark.parametrize("seed", range(3))
def test_terms_in_any_order_add_up_to_the_whole_table(seed):
    """Sums given as terms, some of them in two parts and some sums without any."""
    random = np.random.default_rng(seed)
    surfaces, sums = 30, 12
    lower, upper = np.unique(random.integers(0, surfaces, (60, 2)), axis=0).T
    edition = np.sort(random.integers(3, 6, surfaces))
    kept = (lower != upper) & (edition[lower] == edition[upper])
    lower, upper = lower[kept], upper[kept]
    errors = AreaErrors(
        u_vertices_m2=random.uniform(0.5, 2, surfaces),
        own_edge_m=random.uniform(0, 90, surfaces),
        edge_accuracy_m=random.uniform(0.05, 0.2, surfaces),
        edge_bias_m=random.uniform(0.05, 0.2, surfaces),
        edition=edition,
        shared=SharedEdges(lower=lower, upper=upper, length_m=random.uniform(1, 30, len(lower))),
    )
    terms = random.permutation(150)
    group, surface = random.integers(0, sums, 150), random.integers(0, surfaces, 150)
    group[group == 5] = 6
    one_survey = group < 3
    surface[one_survey] = np.flatnonzero(edition == 4)[0]
    coefficient = random.normal(0, 1, 150)
    rows = np.zeros((sums, surfaces))
    np.add.at(rows, (group, surface), coefficient)
    found = errors.effects_of(group[terms], surface[terms], coefficient[terms], sums)
    for name, expected in _of_whole_tables(errors, rows).items():
        assert found[name] == pytest.approx(expected, rel=1e-10, abs=1e-12)
        assert found[name][5] == 0
        assert errors.effects(rows)[name] == pytest.approx(expected, rel=1e-12, abs=1e-13)
    assert (found["edge bias"][:3] != 0).all()
    assert (found["edge bias"][:3] < 0).any() or seed


def test_a_sum_does_not_feel_the_others():
    """To the last digit: its terms are added in their own order, whatever stands about them."""
    random = np.random.default_rng(9)
    errors = AreaErrors(
        u_vertices_m2=random.uniform(0.5, 2, 50),
        own_edge_m=random.uniform(0, 90, 50),
        edge_accuracy_m=random.uniform(0.05, 0.2, 50),
        edge_bias_m=random.uniform(0.05, 0.2, 50),
        edition=np.repeat([0, 1], 25),
        shared=NO_EDGES,
    )
    surface = np.concatenate([np.arange(20), np.arange(25, 50)])
    group, coefficient = np.repeat([0, 1], [20, 25]), random.normal(1, 1, 45)
    both = errors.effects_of(group, surface, coefficient, 2)
    for k in (0, 1):
        mine = group == k
        alone = errors.effects_of(group[mine] * 0, surface[mine], coefficient[mine], 1)
        assert {name: [u[k]] for name, u in both.items()} == {
            name: u.tolist() for name, u in alone.items()
        }


def test_many_sums_of_surfaces_alike_are_those_of_few():
    """To the last digit, where one accuracy for all is taken once; surveys in order or not."""
    random = np.random.default_rng(4)
    surfaces, sums = 600, 500
    surface = np.sort(random.permuted(np.tile(np.arange(surfaces), (sums, 1)), axis=1)[:, :12])
    surface[::2] %= 20  # of one survey
    surface.sort()
    group, surface = np.repeat(np.arange(sums), 12), surface.ravel()
    coefficient = random.normal(1, 1, len(group))
    for order in (1, -1):
        errors = AreaErrors(
            u_vertices_m2=np.full(surfaces, 0.7),
            own_edge_m=random.uniform(0, 90, surfaces),
            edge_accuracy_m=np.full(surfaces, 0.1),
            edge_bias_m=np.full(surfaces, 0.3),
            edition=(np.arange(surfaces) // 20)[::order],
            shared=NO_EDGES,
        )
        found = errors.effects_of(group, surface, coefficient, sums)
        for k in range(0, sums, 7):
            mine = group == k
            few = errors.effects_of(group[mine] * 0, surface[mine], coefficient[mine], 1)
            assert {name: [u[k]] for name, u in found.items()} == {
                name: u.tolist() for name, u in few.items()
            }
        assert (found["edge bias"][1::2] > 0).all()


def test_columns_of_different_length_are_refused():
    with pytest.raises(ValueError, match="AreaErrors: columns of different length"):
        AreaErrors(
            u_vertices_m2=np.zeros(2),
            own_edge_m=np.zeros(3),
            edge_accuracy_m=np.zeros(2),
            edge_bias_m=np.zeros(2),
            edition=np.zeros(2, dtype=np.int64),
            shared=NO_EDGES,
        )


def test_of_one_kind_the_edge_is_that_of_the_one_on_top_though_more_is_left_beneath():
    """A lawn in a larger one, which is cut down to less than it: 8 m x 8 m in 10 m x 10 m.

    A bias of 1 m makes the one on top larger by 32 m², the other by 40 m² less 32 m².
    """
    plane = Plane(longitude_deg=3.0, latitude_deg=45.0)
    shapes = np.array([shapely.box(-5, -5, 5, 5), shapely.box(-4, -4, 4, 4)], dtype=object)
    site = surfaces_of(plane.to_lonlat(shapes), ["lawn", "lawn"])
    register = area_register(site)
    assert (register.errors.shared.lower, register.errors.shared.upper) == ([0], [1])
    assert register.u_area_m2 == pytest.approx([8.0, 32.0], rel=1e-5)


def surfaces_of(geometry, kinds) -> Surfaces:
    """Surfaces of one survey with a bias of 1 m and no other error."""
    n = len(geometry)
    names, unknown, nothing = np.array([f"s{k}" for k in range(n)]), np.full(n, np.nan), np.zeros(n)
    return Surfaces(
        id=names,
        name=names.copy(),
        kind=np.array(kinds),
        edition=np.zeros(n, dtype=np.int64),
        ground=np.arange(n),
        around=np.full(n, -1),
        geometry=geometry,
        target_m=unknown,
        elevation_m=unknown.copy(),
        slope=unknown.copy(),
        boundary_accuracy_m=nothing,
        edge_accuracy_m=nothing.copy(),
        edge_bias_m=np.ones(n),
    )
