"""What must not change a figure, and what must change it one way only (random sites)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from tests.properties.random_sites import Rows, documents, figures, random_sites

SMALL = settings(
    max_examples=15, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck)
)
SEEDS = st.integers(0, 2**32 - 1)


def same(one: Rows, other: Rows, *, relative: float = 1e-9, without: tuple[str, ...] = ()) -> None:
    """All figures agree; a reach, found on strips of the ground beside, within half a percent."""
    first, second = figures(one), figures(other)
    assert first.keys() == second.keys()
    for name, value in first.items():
        if name[-1] in without:
            continue
        beside = name[-1] == "reach_m" or "/" in name[1]
        close = 5e-3 * (value or 0.0) if beside else 1e-9
        if name[-1] in ("low_mm", "high_mm", "low_kg", "high_kg"):
            close = relative * 10 * (abs(value or 0.0) + 1.0)
        expected = None if value is None else pytest.approx(value, rel=relative, abs=close)
        assert second[name] == expected, name


@SMALL
@given(random_sites(), SEEDS)
def test_order_of_rows_changes_nothing(rows: Rows, seed: int) -> None:
    rng, other = np.random.default_rng(seed), rows.twin()
    for table in (other.surfaces, other.dressings, other.loads, other.catches):
        rng.shuffle(table)  # type: ignore[arg-type]
    same(rows, other)


@SMALL
@given(random_sites(), SEEDS)
def test_first_vertex_and_winding_change_nothing(rows: Rows, seed: int) -> None:
    rng, other = np.random.default_rng(seed), rows.twin()
    for feature in other.surfaces:
        ring = feature["geometry"]["coordinates"][0][:-1]
        start = int(rng.integers(len(ring)))
        ring = ring[start:] + ring[:start]
        ring = ring[::-1] if rng.random() < 0.5 else ring
        feature["geometry"]["coordinates"] = [[*ring, ring[0]]]
    same(rows, other)


@SMALL
@given(random_sites())
def test_a_vertex_on_an_edge_leaves_area_and_masses(rows: Rows) -> None:
    """Only the vertices' own uncertainty may become smaller, as more points were measured."""
    other = rows.twin()
    for feature in other.surfaces:
        ring = np.array(feature["geometry"]["coordinates"][0])
        middle = (ring[:-1] + ring[1:]) / 2
        both = np.stack([ring[:-1], middle], axis=1).reshape(-1, 2)
        feature["geometry"]["coordinates"] = [[*both.tolist(), both[0].tolist()]]
    loose = ("u_kg", "u_depth_mm", "low_kg", "high_kg", "low_mm", "high_mm", "probability")
    same(rows, other, relative=1e-7, without=loose)


@SMALL
@given(random_sites(), st.floats(-20, 20))
def test_moving_a_site_along_its_parallel_changes_nothing(rows: Rows, east: float) -> None:
    other = rows.twin()
    for feature in other.surfaces:
        for position in feature["geometry"]["coordinates"][0]:
            position[0] += east
    for row in other.catches:
        row["lon"] += east
    same(rows, other, relative=1e-7)


@SMALL
@given(random_sites())
def test_mirroring_a_site_at_the_equator_changes_nothing(rows: Rows) -> None:
    other = rows.twin()
    for feature in other.surfaces:
        for position in feature["geometry"]["coordinates"][0]:
            position[1] *= -1
    for row in other.catches:
        row["lat"] *= -1
    same(rows, other)


@SMALL
@given(random_sites(), st.floats(0, 360))
def test_turning_a_site_leaves_its_figures(rows: Rows, angle: float) -> None:
    """On the ellipsoid a turned copy, drawn through metres, is the same within its curvature."""
    from geosand.areas.ellipsoid import radii_m

    other = rows.twin()
    lon, lat = rows.surfaces[0]["geometry"]["coordinates"][0][0]
    meridian, parallel = (float(r[0]) for r in radii_m(np.array([lat])))
    c, s = np.cos(np.radians(angle)), np.sin(np.radians(angle))

    def turned(x: float, y: float) -> tuple[float, float]:
        east, north = (x - lon) * parallel, (y - lat) * meridian
        return (
            lon + (c * east - s * north) / parallel,
            lat + (s * east + c * north) / meridian,
        )

    for feature in other.surfaces:
        ring = feature["geometry"]["coordinates"][0]
        feature["geometry"]["coordinates"] = [[list(turned(x, y)) for x, y in ring]]
    for row in other.catches:
        row["lon"], row["lat"] = turned(row["lon"], row["lat"])
    # the scale of a parallel changes by tan(lat)·y/R, 1e-4 over 350 m at 64 degrees
    same(rows, other, relative=3e-3, without=("probability",))


@SMALL
@given(random_sites())
def test_units_of_the_columns_change_nothing(rows: Rows) -> None:
    other = rows.twin()
    ounce, pound, inch = 28.349523125, 0.45359237, 25.4
    for row in other.catches:
        row["tare_oz"], row["gross_oz"] = row.pop("tare_g") / ounce, row.pop("gross_g") / ounce
        row["tray_length_in"] = row.pop("tray_length_mm") / inch
        row["tray_width_in"] = row.pop("tray_width_mm") / inch
    for row in other.loads:
        for name in ("unit_mass", "u_unit_mass", "returned"):
            row[f"{name}_lb"] = row.pop(f"{name}_kg") / pound
    for row in other.dressings:
        row["planned_depth_in"] = row.pop("planned_depth_mm") / inch
        row["swath_ft"] = row.pop("swath_m") / 0.3048
    same(rows, other)


@SMALL
@given(random_sites(), st.floats(0.1, 0.9))
def test_splitting_a_load_in_two_changes_nothing(rows: Rows, share: float) -> None:
    other = rows.twin()
    first = other.loads[0]
    second = {**first, "load": "extra", "count": first["count"] * (1 - share), "returned_kg": 0}
    first["count"] *= share
    other.loads.append(second)
    same(rows, other)


@SMALL
@given(random_sites())
def test_splitting_a_surface_with_one_rate_leaves_the_sum(rows: Rows) -> None:
    """Two halves with the catches' one rate: together as much sand and ground as the whole."""
    assume(rows.catches)
    for row in rows.catches:
        row["gross_g"] = 150.0
        row.pop("surface")
    other = rows.twin()
    whole = other.surfaces[0]
    ring = whole["geometry"]["coordinates"][0][:-1]
    middle = np.mean(ring, axis=0).tolist()
    half = len(ring) // 2
    shapes = ([middle, *ring[: half + 1], middle], [middle, *ring[half:], ring[0], middle])
    halves = [
        {**whole, "properties": {**whole["properties"], "id": name}, "geometry": geometry}
        for name, geometry in zip(
            ("a0", "b0"),
            ({"type": "Polygon", "coordinates": [shape]} for shape in shapes),
            strict=True,
        )
    ]
    other.surfaces[0:1] = halves
    for row in other.dressings:
        row["surfaces"] = " ".join(["a0", "b0", *row["surfaces"].split()[1:]])
    for one, two in zip(
        documents(rows)[0]["dressings"], documents(other)[0]["dressings"], strict=True
    ):
        mass = one["on_surfaces"]["mass_kg"]
        expected = None if mass is None else pytest.approx(mass, rel=1e-6)
        assert two["on_surfaces"]["mass_kg"] == expected
