"""The register of many sites in one call beside that of each site alone: every digit the same."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from geosand.areas.plane import Planes
from geosand.areas.register import AreaRegister, area_register
from geosand.columns import take
from geosand.site.stack import stacked
from geosand.site.tables import Site
from tests.stack_sites import various_sites

COLUMNS = (
    *("drawn_m2", "owned_m2", "ground_factor", "area_m2", "u_area_m2", "perimeter_m"),
    *("owned", "owned_plane"),
)
ERRORS = ("u_vertices_m2", "own_edge_m", "edge_accuracy_m", "edge_bias_m")


@pytest.fixture(scope="module")
def sites() -> list[Site]:
    """Sites that differ, one of them twice: their outlines are the same in their own planes."""
    found = various_sites()
    return [*found, found[0]]


@pytest.fixture(scope="module")
def alone(sites) -> list[AreaRegister]:
    return [area_register(site.surfaces) for site in sites]


@pytest.fixture(scope="module")
def stack(sites) -> Site:
    return stacked(sites)


@pytest.fixture(scope="module")
def together(stack) -> AreaRegister:
    return area_register(stack.surfaces, stack.of_surface)


@pytest.fixture(scope="module")
def begun(sites) -> list[int]:
    """Row of the first surface of each site."""
    return np.cumsum([0, *(len(site.surfaces) for site in sites)]).tolist()


def _exact(column: np.ndarray) -> list:
    return shapely.to_wkb(column).tolist() if column.dtype == object else column.tolist()


@pytest.mark.parametrize("name", COLUMNS)
def test_each_row_is_that_of_its_site(together, alone, name):
    expected = [value for register in alone for value in _exact(getattr(register, name))]
    assert _exact(getattr(together, name)) == expected


@pytest.mark.parametrize("name", ERRORS)
def test_errors_are_those_of_each_site(together, alone, name):
    expected = [value for one in alone for value in getattr(one.errors, name).tolist()]
    assert getattr(together.errors, name).tolist() == expected


def test_shared_edges_join_rows_of_one_site(together, alone, begun):
    for name, shift in (("lower", 1), ("upper", 1), ("length_m", 0)):
        expected = [
            value + shift * start
            for register, start in zip(alone, begun[:-1], strict=True)
            for value in getattr(register.errors.shared, name).tolist()
        ]
        assert getattr(together.errors.shared, name).tolist() == expected
    assert len(expected) > 50


def test_findings_say_whose_they_are(together, alone):
    expected = [
        (member, finding.about, finding.text)
        for member, register in enumerate(alone)
        for finding in register.findings
    ]
    assert [(f.member, f.about, f.text) for f in together.findings] == expected
    assert len({member for member, _, _ in expected}) > 2


def test_effects_on_sums_of_each_site(sites, together, alone, begun):
    """A random sum over each site, its terms mixed up among those of the others."""
    random = np.random.default_rng(8)
    group, surface = [], []
    for member, site in enumerate(sites):
        newest = np.flatnonzero(site.surfaces.edition == site.surfaces.edition.max())
        group.append(np.full(len(newest), member))
        surface.append(newest)
    coefficient = [random.uniform(0.1, 2, len(rows)) for rows in surface]
    rows = [mine + start for mine, start in zip(surface, begun[:-1], strict=True)]
    order = random.permutation(sum(map(len, rows)))
    columns = (np.concatenate(c)[order] for c in (group, rows, coefficient))
    found = together.errors.effects_of(*columns, len(sites))
    for member, register in enumerate(alone):
        one = register.errors.effects_of(
            np.zeros(len(surface[member]), dtype=np.int64), surface[member], coefficient[member], 1
        )
        assert {name: [u[member]] for name, u in found.items()} == {
            name: u.tolist() for name, u in one.items()
        }


def test_places_in_the_plane_of_each_site(sites, stack, together, alone):
    lon, lat, of = stack.catches.lon_degree, stack.catches.lat_degree, stack.catches.dressing
    of = stack.of_dressing[of]
    x, y = together.planes.forward(lon, lat, of)
    back = together.planes.inverse(x, y, of)
    for member, (site, register) in enumerate(zip(sites, alone, strict=True)):
        mine, catches = of == member, site.catches
        east, north = register.plane.forward(catches.lon_degree, catches.lat_degree)
        assert (x[mine].tolist(), y[mine].tolist()) == (east.tolist(), north.tolist())
        there = register.plane.inverse(east, north)
        assert [c[mine].tolist() for c in back] == [c.tolist() for c in there]
    assert np.abs(np.concatenate([back[0] - lon, back[1] - lat])).max() < 1e-12


def test_geometries_there_and_back(stack, together):
    back = together.planes.to_lonlat(together.owned_plane, stack.of_surface)
    apart = shapely.get_coordinates(back) - shapely.get_coordinates(together.owned)
    assert np.abs(apart).max() < 1e-12
    again = together.planes.to_plane(together.owned, stack.of_surface)
    assert _exact(again) == _exact(together.owned_plane)


def test_rows_of_sites_in_any_order(stack, together):
    """Surfaces of all sites and editions mixed up: each still meets those of its own alone."""
    order = np.random.default_rng(3).permutation(len(stack.surfaces))
    mixed = area_register(take(stack.surfaces, order), stack.of_surface[order])
    for name in ("area_m2", "perimeter_m", "u_area_m2"):
        expected = getattr(together, name)[order]
        assert getattr(mixed, name) == pytest.approx(expected, rel=1e-12)
    assert len(mixed.errors.shared.lower) == len(together.errors.shared.lower)


def test_a_site_has_one_plane_and_a_stack_none(together, alone):
    assert len(together.planes) == len(alone)
    assert together.planes.longitude_deg.tolist() == [r.plane.longitude_deg for r in alone]
    assert together.planes.latitude_deg.tolist() == [r.plane.latitude_deg for r in alone]
    with pytest.raises(ValueError, match=f"{len(alone)} sites have no plane in common"):
        assert together.plane


def test_a_site_without_ground_has_no_plane(column):
    shapes, of = column(shapely.box(3, 45, 3.001, 45.001), shapely.Polygon()), np.array([0, 1])
    for members in (of, of * 2):
        with pytest.raises(ValueError, match="no geometry to centre on"):
            Planes.around(shapes, members)
    assert len(Planes.around(shapes, of * 0)) == 1
    with pytest.raises(ValueError, match=r"latitudes within ±89\.9"):
        Planes(longitude_deg=np.array([3.0, 4.0]), latitude_deg=np.array([45.0, 89.95]))
