"""Survey tables whose rows were sorted: common practice, no published source."""

import numpy as np
import pytest
import shapely

from geosand.formats.boundaries import read_boundaries
from tests.formats.boundaries.conftest import UTM, blob


def table(tmp_path, order, first=1, code="GREEN7"):
    corners = shapely.get_coordinates(blob(0, 0, 12))[:-1]
    rows = [
        (number, f"{number},{y:.3f},{x:.3f},50,{code}")
        for number, (x, y) in enumerate(corners.tolist(), start=first)
    ]
    path = tmp_path / "points.csv"
    lines = [rows[k][1] for k in order(len(rows), [str(row[0]) for row in rows])]
    path.write_text("\n".join(["point,northing,easting,elevation,code", *lines]))
    found = read_boundaries(path, crs=UTM)
    return [f.text for f in found.findings if "the order of their numbers" in f.text]


def as_text(size, names):
    return sorted(range(size), key=names.__getitem__)


def test_points_sorted_as_text_are_told(tmp_path):
    (told,) = table(tmp_path, as_text)
    assert told.startswith("1 line has points that do not stand") and "(1, 10, 11, 12 …)" in told


@pytest.mark.parametrize(
    "order",
    [
        lambda size, _: range(size),
        lambda size, _: range(size)[::-1],
        lambda size, _: np.roll(range(size), 5),  # begun elsewhere, the same outline
        lambda size, _: [*range(9), size - 1, *range(9, size - 1)],  # a corner walked anew
    ],
)
def test_points_in_their_order_are_not_told(order, tmp_path):
    assert table(tmp_path, order) == []


@pytest.mark.parametrize("letter", ["", "a"])
def test_a_table_of_kinds_knows_codes_with_a_number_and_a_letter(letter, tmp_path):
    path = tmp_path / "points.csv"
    rows = [f"{x},{y},50,BU1{letter}" for x, y in shapely.get_coordinates(blob(0, 0, 5)).tolist()]
    path.write_text("\n".join(["easting,northing,elevation,code", *rows]))
    found = read_boundaries(path, crs=UTM, kind_pairs=["BU=bunker"])
    assert found.features.kind.tolist() == ["bunker"]
