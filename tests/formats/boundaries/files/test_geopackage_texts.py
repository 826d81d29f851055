"""GeoPackages whose number columns hold texts: SQLite, "Datatypes In SQLite" (sqlite.org)."""

import sqlite3
import warnings

import geopandas
import pytest

from geosand.formats.boundaries import read_boundaries
from tests.formats.boundaries.conftest import UTM, blob


@pytest.fixture
def read(tmp_path):
    """What is read of three greens after changes in SQL, and what is said."""
    path = tmp_path / "a.gpkg"
    columns = {"name": ["A", "B", "C"], "kind": "green", "target_mm": [9, 8, 7], "hole": [1, 2, 3]}
    shapes = [blob(80 * k, 0, 12 + k) for k in range(3)]
    geopandas.GeoDataFrame(
        columns | {"slope_percent": [1.5] * 3}, geometry=shapes, crs=UTM
    ).to_file(path, layer="my greens")

    def changed(*statements):
        with sqlite3.connect(path) as base:
            for (name,) in base.execute(
                "SELECT name FROM sqlite_master WHERE type='trigger'"
            ).fetchall():
                base.execute(f'DROP TRIGGER "{name}"')  # they call functions of the library
            for statement in statements:
                base.execute(statement)
        found = read_boundaries(path)
        return found.features, " | ".join(str(f) for f in found.findings)

    return changed


def column(features, name):
    return [row[name] for row in features.attributes]


@pytest.mark.parametrize("written", ["none", "9,5", "8 mm"])
def test_a_text_is_no_number_and_told(read, written):
    """The driver takes them for 0, 9 and 8."""
    features, told = read(
        f"UPDATE \"my greens\" SET target_mm = '{written}' WHERE name = 'B'",
        f"UPDATE \"my greens\" SET slope_percent = '{written}' WHERE name = 'C'",
    )
    assert column(features, "target_mm") == [9, written, 7]
    assert column(features, "slope_percent") == [1.5, 1.5, written]
    assert f"its target_mm '{written}' is not a number: it is left out" in told
    assert f"its slope_percent '{written}' is not a number: it is left out" in told


def test_texts_are_found_by_the_numbers_of_their_rows(read):
    features, _ = read(
        "UPDATE \"my greens\" SET fid = 90 WHERE name = 'A'",
        'CREATE INDEX by_target ON "my greens" (target_mm)',
        "UPDATE \"my greens\" SET target_mm = 'x' WHERE name = 'A'",
    )
    assert dict(zip(features.name, column(features, "target_mm"), strict=True)) == {
        "A": "x",
        "B": 8,
        "C": 7,
    }


@pytest.mark.parametrize("empty", ["NULL", "8"])
def test_a_fraction_in_a_column_of_whole_numbers_is_no_whole_number(read, empty):
    """The driver takes 9.5 for 9."""
    features, told = read(
        "UPDATE \"my greens\" SET target_mm = 9.5 WHERE name = 'B'",
        f"UPDATE \"my greens\" SET target_mm = {empty} WHERE name = 'C'",
    )
    assert [float(cell or 8) for cell in column(features, "target_mm")] == [9, 9.5, 8]
    assert "not a number" not in told


def test_numbers_stay_numbers(read):
    features, told = read('ALTER TABLE "my greens" ADD COLUMN none INTEGER')
    assert column(features, "target_mm") == [9, 8, 7]
    assert column(features, "none") == [None] * 3
    assert "not a number" not in told


def test_what_the_driver_warns_of_twice_reaches_no_console(read):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        features, _ = read("UPDATE gpkg_geometry_columns SET geometry_type_name = 'POLYGONM'")
    assert len(features) == 3
