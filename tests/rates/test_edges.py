"""Nearest dressed surfaces and near edges: bounds must decide as measured distances do."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import shapely

from geosand.areas.register import AreaRegister, area_register
from geosand.formats.site_folder import read_site
from geosand.rates import edge_distance as module
from geosand.rates.catch_rows import Counted
from geosand.rates.edge_distance import edge_distances, nearest_dressed
from geosand.rates.edge_taper import U_TAPER, edge_taper, inner_area_m2
from geosand.rates.ground_under import surfaces_under
from geosand.rates.insides import Insides
from geosand.results import work_out
from geosand.site.stack import stacked
from geosand.site.tables import Site
from tests.calibration import SURFACES, Plan, make_site
from tests.stack_sites import various_sites


def every(polygons: np.ndarray) -> tuple[Insides, np.ndarray]:
    """What their outlines tell, and their rows."""
    rows = np.arange(len(polygons))
    return Insides.of(polygons, rows), rows


@cache
def stack() -> tuple[Site, AreaRegister]:
    site = stacked(various_sites())
    return site, area_register(site.surfaces, site.of_surface)


@pytest.mark.parametrize("at_once", [1 << 16, 100])
def test_the_nearest_is_that_of_all_distances(
    at_once: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "_PAIRS_AT_ONCE", at_once)
    site, areas = stack()
    owned, dressing = areas.owned_plane, site.catches.dressing
    rng = np.random.default_rng(1)
    x, y = rng.uniform(-120, 120, (2, len(dressing)))
    edition = site.dressings.edition[dressing]
    under = surfaces_under(x, y, edition, owned, site.surfaces.edition)
    nearest, distance = nearest_dressed(site, owned, x, y, under)
    shapes = owned[site.dressed.surface]
    outside = 0
    for k in range(len(dressing)):
        rows = np.flatnonzero(site.dressed.dressing == dressing[k])
        apart = shapely.distance(shapes[rows], shapely.Point(x[k], y[k]))
        assert distance[k] == pytest.approx(np.nanmin(apart), rel=1e-12, abs=1e-12)
        assert nearest[k] == rows[np.nanargmin(apart)]
        outside += distance[k] > 0
    assert outside > len(dressing) / 2


def test_a_dressing_without_ground_has_no_nearest_surface() -> None:
    site, areas = stack()
    owned, none = areas.owned_plane.copy(), np.full(len(site.catches), -1)
    gone = int(site.catches.dressing[0])
    owned[site.dressed.surface[site.dressed.dressing == gone]] = shapely.Polygon()
    far = np.full(len(none), 500.0)
    nearest, distance = nearest_dressed(site, owned, far, far, none)
    mine = site.catches.dressing == gone
    assert (nearest[mine] == -1).all()
    assert np.isnan(distance[mine]).all()
    assert (nearest[site.dressings.edition[site.catches.dressing] > 0] >= 0).all()


def test_of_two_equally_near_the_first_row_counts() -> None:
    site, areas = stack()
    owned = areas.owned_plane.copy()
    owned[:] = shapely.box(-1, -1, 1, 1)
    none, far = np.full(len(site.catches), -1), np.full(len(site.catches), 5.0)
    nearest, _ = nearest_dressed(site, owned, far, far, none)
    first = np.searchsorted(site.dressed.dressing, site.catches.dressing)
    np.testing.assert_array_equal(nearest, first)


@pytest.mark.parametrize("limit", [0.05, 0.5, 2.0, 20.0])
def test_bounds_never_contradict_the_distance(limit: float) -> None:
    """Polygons of any form, also with holes and in parts; points in them and about them."""
    _, areas = stack()
    rng = np.random.default_rng(int(limit * 100))
    fork = shapely.union_all([shapely.box(0, 0, 9, 1), shapely.box(0, 3, 9, 4)])
    ring = shapely.difference(shapely.Point(4, 4).buffer(4), shapely.Point(4, 4).buffer(3))
    polygons = np.array(
        [*areas.owned_plane, fork, ring, shapely.box(0, 0, 8, 8).boundary.buffer(1)]
    )
    polygons = polygons[~shapely.is_empty(polygons)]
    row = rng.integers(0, len(polygons), 20_000)
    west, south, east, north = shapely.bounds(polygons[row]).T
    x = rng.uniform(west - 1, east + 1)
    y = rng.uniform(south - 1, north + 1)
    inside = shapely.contains_xy(polygons[row], x, y)
    limits = limit * rng.uniform(0.5, 1.5, len(row))
    depths = every(polygons)[0].depths(x, y, row, limits + 1e-8)
    assert inside[depths.least_m > 0].all()
    assert (depths.least_m[inside] > 0).mean() > 0.4
    surely, maybe = depths.within(limits)
    gap = shapely.distance(shapely.points(x, y), shapely.boundary(polygons[row]))
    near = gap <= limits
    assert near[inside & surely].all()
    assert not near[~surely & ~maybe].any()
    assert not (surely & maybe).any()
    # what they are for: most of those inside need no measuring
    assert (maybe & inside).sum() < 0.6 * inside.sum()
    np.testing.assert_array_equal(edge_distances(x, y, polygons, row), gap)


def test_an_empty_polygon_has_no_edge() -> None:
    none = np.array([shapely.Polygon()], dtype=object)
    one = np.zeros(1, dtype=np.int64)
    depths = every(none)[0].depths(np.zeros(1), np.zeros(1), one, np.ones(1))
    surely, maybe = depths.within(np.ones(1))
    assert not surely.any() and maybe.all()
    assert np.isnan(edge_distances(np.zeros(1), np.zeros(1), none, one)).all()


# The band along the edge.


def test_the_band_of_convex_outlines_in_closed_form() -> None:
    """A square, a triangle whose inner triangle is similar to it, and a 12-gon."""
    angle = np.linspace(0, 2 * np.pi, 12, endpoint=False)
    dozen = shapely.Polygon(10 * np.column_stack((np.cos(angle), np.sin(angle))))
    triangle = shapely.Polygon([(0, 0), (12, 0), (12, 9)])  # its inscribed circle has a radius of 3
    shapes = np.array([shapely.box(0, 0, 20, 10), triangle, dozen], dtype=object)
    inscribed = np.array([5.0, 3.0, 10 * np.cos(np.pi / 12)])
    for part in (0.01, 0.3, 0.9):
        d = part * inscribed
        square = (20 - 2 * d[0]) * (10 - 2 * d[0])
        want = [square, 54 * (1 - part) ** 2, dozen.area * (1 - part) ** 2]
        np.testing.assert_allclose(inner_area_m2(shapes, *every(shapes), d), want, rtol=1e-12)
    assert inner_area_m2(shapes, *every(shapes[:2]), 1.01 * inscribed[:2]).max() == 0.0


def test_the_band_of_any_outline_is_that_of_a_fine_buffer() -> None:
    """Wavy, with deep bays, holes and parts: closed forms only where they hold."""
    rng = np.random.default_rng(2)
    shapes = []
    for _ in range(150):
        angle = np.linspace(0, 2 * np.pi, int(rng.integers(8, 90)), endpoint=False)
        depth, lobes = rng.choice([0.0, 0.05, 0.3, 0.6]), int(rng.integers(2, 7))
        radius = rng.uniform(5, 12) * (1 + depth * np.cos(lobes * angle + rng.uniform(0, 6)))
        shapes.append(shapely.Polygon((radius * [np.cos(angle), np.sin(angle)]).T))
    for corners in rng.integers(5, 14, 100).tolist():  # jagged: an edge may go before the disc does
        angle = np.linspace(0, 2 * np.pi, corners, endpoint=False)
        shapes.append(
            shapely.Polygon((rng.uniform(6, 12, corners) * [np.cos(angle), np.sin(angle)]).T)
        )
    ring = shapely.difference(shapely.Point(4, 4).buffer(9), shapely.Point(4, 4).buffer(3))
    two = shapely.MultiPolygon([shapely.box(0, 0, 9, 9), shapely.box(20, 0, 29, 9)])
    polygons = np.array([*shapes, ring, two, shapely.Polygon()], dtype=object)
    insides, rows = every(polygons)
    for d in (0.2, 1.5, 3.0, 4.0):
        far = np.full(len(polygons), d)
        edge = shapely.buffer(shapely.boundary(polygons), d, quad_segs=90)
        want = shapely.area(shapely.difference(polygons, edge))
        area = shapely.area(polygons)
        known = np.flatnonzero(~np.isnan(insides.band_area_m2(rows, far)))
        assert (15 if d > 1 else 80) < len(known) < len(polygons) - 2
        got = inner_area_m2(polygons, insides, rows, far)
        np.testing.assert_allclose(got[known], want[known], atol=2e-5 * area.max())
        np.testing.assert_allclose(got, want, atol=2e-3 * area.max())


def test_an_edge_is_seen_just_when_a_catch_lies_within_half_a_swath(tmp_path: Path) -> None:
    """Half the swath a little above and below what shapely finds of the catch nearest the edge."""
    plan = {"survey": "surveyed", "wide": True, "masked": False, "least_m": 0.0, "dried": True}
    make_site(tmp_path, 3, Plan(**plan, caught=SURFACES, each=12, same=True))
    found = work_out(read_site(tmp_path))
    site, areas, where = found.site, found.areas, found.rates.assignment
    catch = np.flatnonzero(where.dressed >= 0)
    row = where.dressed[catch]
    outlines = areas.owned_plane[site.dressed.surface]
    points = shapely.points(where.x_m[catch], where.y_m[catch])
    gap = shapely.distance(shapely.boundary(outlines)[row], points)
    nearest = np.full(len(site.dressed), np.inf)
    np.minimum.at(nearest, row, gap)
    assert np.isfinite(nearest).all()
    for share in (1 + 1e-7, 1 - 1e-7):
        band = share * nearest
        some = replace(site, dressed=replace(site.dressed, swath_m=2 * band))
        counted = Counted(catch, row, site.catches.dressing[catch], np.ones(len(catch)))
        effect, findings = edge_taper(some, areas, where, counted)
        inner = shapely.area(shapely.buffer(outlines, -band, quad_segs=60))
        within = 1 - inner / shapely.area(outlines)
        blind = np.zeros(len(band)) if share > 1 else U_TAPER * within
        np.testing.assert_allclose(effect, blind, atol=3e-5)  # bands are taken to 1 mm
        assert ((effect > 0) == (share < 1)).all()
        assert len(findings) == (0 if share > 1 else len(site.dressings))


def test_the_band_along_a_jagged_outline_of_very_many_corners() -> None:
    """A ring cut out of a square, both of whose bands have closed forms but for their noise."""
    angle = np.linspace(0, 2 * np.pi, 4000, endpoint=False)
    radius = 14 + np.random.default_rng(5).normal(0, 0.01, len(angle))
    disc = shapely.Polygon((radius * [np.cos(angle), np.sin(angle)]).T)
    shapes = np.array([disc, shapely.difference(shapely.box(-30, -30, 30, 30), disc)], dtype=object)
    got = inner_area_m2(shapes, *every(shapes), np.ones(2))
    assert shapely.area(disc) - got[0] == pytest.approx(np.pi * (14**2 - 13**2), rel=0.03)
    band = 60**2 - 58**2 + np.pi * (15**2 - 14**2)
    assert shapely.area(shapes[1]) - got[1] == pytest.approx(band, rel=0.01)
