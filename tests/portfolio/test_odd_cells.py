"""Layers of a GeoPackage with cells of another type than their column: each costs its site alone.

SQLite keeps any cell in any column (Datatypes In SQLite, 3).
"""

from __future__ import annotations

import shutil
import sqlite3

import pytest

from geosand.errors import Refused
from geosand.portfolio.folders import find_sites
from tests.portfolio.conftest import SITES, run_many

pd = pytest.importorskip("pandas")
pyogrio = pytest.importorskip("pyogrio")


@pytest.fixture
def with_layer(site_set, tmp_path):
    """A copy of the set with one table as a GeoPackage, of which row 3 has an odd cell."""

    def made(name, column, cell, as_type=None, **more):
        root = shutil.copytree(site_set, tmp_path / "set")
        rows = pd.read_parquet(root / f"{name}.parquet").assign(**more)
        if as_type is not None:
            rows[column] = rows[column].astype(as_type)
        (root / f"{name}.parquet").unlink()
        pyogrio.write_dataframe(rows, root / f"{name}.gpkg", layer=name)
        with sqlite3.connect(root / f"{name}.gpkg") as database:
            database.execute(f'UPDATE {name} SET "{column}" = {cell} WHERE fid = 3')
        return root

    return made


def told(root, out):
    """The one fault of the one site that is refused; the others are worked out."""
    done = run_many(root, out).comparison
    assert len(done.sites) == SITES
    (refused,) = done.refused
    assert refused["faults"].count("\n") == 0
    return refused["faults"]


@pytest.mark.parametrize(
    ("cell", "found"),
    [
        ("'101,5'", "'101,5' is not a number; "),
        ("'n/a'", "'n/a' is not a number; "),
        ("''", "no number is written here. "),
        ("'2O'", "'2O' is not a number; "),
        ("x'ff02'", r"'\xff·' is not a number; "),
        ("CAST(x'ff' AS TEXT)", r"'\xff' is not a number; "),
    ],
)
def test_a_text_in_a_column_of_numbers_costs_its_site_alone(with_layer, tmp_path, cell, found):
    """Readers made 101, 0, 0, 2 and 0 of them unsaid."""
    fault = told(with_layer("loads", "count", cell), tmp_path / "out")
    assert fault.startswith(f"loads.gpkg, layer loads, row 3, count: {found}")


@pytest.mark.parametrize("column", ["targets_mm.green", "sands.dried.moisture_dry_basis_percent"])
def test_a_text_among_the_settings_costs_its_site_alone(with_layer, tmp_path, column):
    fault = told(with_layer("sites", column, "'viel'"), tmp_path / "out")
    assert fault.startswith(f"sites.gpkg, layer sites, row 3, {column}: 'viel' is not a ")


def test_numbers_beside_a_text_keep_all_their_digits(with_layer, tmp_path):
    def ledger(out):
        return (tmp_path / out / "ledger.csv").read_text().splitlines()

    root = with_layer("loads", "unit_mass_kg", "24.123456789012345", unit_mass_kg=24.1 + 1e-15)
    run_many(root, tmp_path / "a")
    with sqlite3.connect(root / "loads.gpkg") as database:
        database.execute("UPDATE loads SET unit_mass_kg = 'n/a' WHERE fid = 3")
    (refused,) = run_many(root, tmp_path / "b").comparison.refused
    others = [line for line in ledger("a") if not line.startswith(f'"{refused["site"]}"')]
    assert ledger("b") == others


@pytest.mark.parametrize("cell", ["'n/a'", "x'ff'", "CAST(x'ff' AS TEXT)"])
def test_an_odd_cell_that_no_reader_reads_costs_nothing(with_layer, tmp_path, cell):
    root = with_layer("loads", "bags_seen", cell, bags_seen=1.5)
    assert not run_many(root, tmp_path / "out").comparison.refused


def test_a_fraction_in_a_column_of_whole_numbers_is_read_as_it_is(with_layer, tmp_path):
    """Readers made 101 of it unsaid."""
    root = with_layer("loads", "count", "-101.5", "int64")
    assert "row 3, count: -101.5 can not be right" in told(root, tmp_path / "out")


@pytest.mark.parametrize("cell", ["garbage", "2026-04-31T00:00:00Z", "11.04.2026", "46000"])
def test_a_text_that_is_no_day_in_a_column_of_times_costs_its_site(with_layer, tmp_path, cell):
    """Readers made the days 1970-01-01 and 2026-05-01 of them unsaid."""
    root = with_layer("dressings", "date", f"'{cell}'", "datetime64[ms]")
    fault = told(root, tmp_path / "out")
    assert fault.startswith(f"dressings.gpkg, layer dressings, row 3, date: '{cell}' is not a date")


def test_an_odd_cell_of_a_layer_whose_rows_have_no_numbers_is_told(with_layer, tmp_path):
    root = with_layer("loads", "count", "'n/a'")
    with sqlite3.connect(root / "loads.gpkg") as database:
        database.execute("ALTER TABLE loads RENAME TO kept")
        database.execute("CREATE VIEW loads AS SELECT site, load, dressing, count FROM kept")
        database.execute("UPDATE gpkg_contents SET table_name = 'loads'")
    with pytest.raises(Refused, match="layer loads, count: holds a cell of another type"):
        find_sites(root, tmp_path / "out")


@pytest.mark.parametrize("cell", ["'1a'", "'abc'", "1.5"])
def test_a_cell_that_is_no_site_in_a_column_of_numbers_is_told(with_layer, tmp_path, cell):
    """Readers made the sites 1, 0 and 1 of them, and the row was of none of these."""
    root = with_layer("catches", "site", cell, site=7)
    with pytest.raises(Refused, match="layer catches, row 3, site: holds a cell of another type"):
        find_sites(root, tmp_path / "out")
