"""The tables hold what the verbs on one site say, and other programs can read them."""

from __future__ import annotations

import csv
import shutil

import numpy as np
import pytest

from geosand.errors import Refused
from geosand.formats.site_folder import read_site
from geosand.portfolio.compare import by_spreader
from geosand.portfolio.figures import rounded
from geosand.portfolio.folders import find_sites
from geosand.reports.balance_document import balance_document
from geosand.reports.season_document import season_document
from geosand.results import work_out
from tests.portfolio.conftest import SITES, run_many
from tests.sites import DEMO, table
from tests.stack_places import dressing, load


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    """The demo site by both ways; it has parts, hazards, holes, and figures that are missing."""
    root = tmp_path_factory.mktemp("one")
    shutil.copytree(DEMO, root / "sites" / "demo")
    run_many(root / "sites", root / "out")
    return root / "out", work_out(read_site(DEMO))


ONE_DRESSING = {
    "dressings": table([dressing("D1", "2026-04-10", swath_m=4)]),
    "loads": table([load("L1", "D1", 52)]),
}


def rows_of(path):
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def same(text, value):
    return text == "" if value is None else float(text) == pytest.approx(value, rel=2e-9, abs=1e-12)


def test_balances_are_those_of_the_verb_balance(demo):
    document = balance_document(demo[1])["dressings"]
    rows = rows_of(demo[0] / "balances.csv")
    assert [r["dressing"] for r in rows] == [d["dressing"] for d in document]
    for row, told in zip(rows, document, strict=True):
        over = told["overthrow"]
        assert row["verdict"] == over["verdict"]
        assert same(row["spread_kg"], told["spread"]["mass_kg"])
        assert same(row["on_surfaces_kg"], told["on_surfaces"]["mass_kg"])
        assert same(row["overthrow_kg"], over["mass_kg"])
        assert same(row["u_overthrow_kg"], over["u_kg"])
        assert same(row["overthrow_low_kg"], over["low_kg"])
        for name in ("strip_width_m", "reach_m", "collar_kg", "surrounds_kg", "farther_kg"):
            assert same(row[name], over[name]), (row["dressing"], name)
        assert same(row["du_lq_percent"], told["uniformity"]["du_lq_percent"])


def test_the_ledger_is_that_of_the_verb_season(demo):
    document = {s["id"]: s for s in season_document(demo[1])["surfaces"]}
    rows = rows_of(demo[0] / "ledger.csv")
    assert len(rows) > 10
    for row in rows:
        told = document[row["surface"]]
        assert row["state"] == told["state"]
        for name in ("depth_mm", "u_depth_mm", "low_mm", "target_so_far_mm", "shortfall_mm"):
            assert same(row[name], told[name]), (row["surface"], name)
        for zone in ("collar", "surrounds"):
            ring = document.get(f"{row['surface']}/{zone}")
            assert same(row[f"{zone}_mm"], ring and ring["depth_mm"])


def test_geopandas_reads_them_in_place(whole):
    import geopandas

    areas = geopandas.read_parquet(whole[0] / "areas.parquet")
    assert areas.crs.equals("OGC:CRS84")
    assert set(areas.site) == {f"site-{k + 1:05d}" for k in range(SITES)}
    assert len(areas) == 72 * SITES
    one = areas[areas.site == "site-00001"]
    projected = one.to_crs(one.estimate_utm_crs()).area  # scale within 0.1 % of true
    assert np.allclose(projected, one.equal_area_m2, rtol=2e-3)
    balances = geopandas.read_parquet(whole[0] / "balances.parquet")
    assert balances[balances.site == "site-00001"].within(one.union_all().convex_hull).all()


def test_a_site_on_both_sides_of_180_degrees_stays_on_the_globe(tmp_path):
    """One green lies on the line itself, cut there as RFC 7946, 3.1.9 wants it, and comes out so"""
    import geopandas
    import shapely

    from geosand.formats.boundaries.place.antimeridian import cut
    from tests.sites import write_site
    from tests.stack_places import Place, greens, trays

    place = Place(180.0, -17.0)
    surfaces = greens(place)
    drawn = cut(np.array([shapely.geometry.shape(s["geometry"]) for s in surfaces]))[0]
    for one, shape in zip(surfaces, drawn, strict=True):
        one["geometry"] = shapely.geometry.mapping(shape)
    catches = table(trays(place, "D1", 13))
    write_site(tmp_path / "in/site", surfaces=surfaces, catches=catches, **ONE_DRESSING)
    (row,) = run_many(tmp_path / "in", tmp_path / "out").comparison.sites
    assert row["status"] == "worked out", row["faults"]
    assert row["lon"] == pytest.approx(-180.0 + (70 + 2 - 30) / 2 * place.east, abs=5e-5)
    for name in ("areas", "ledger"):
        found = geopandas.read_parquet(tmp_path / "out" / f"{name}.parquet").set_index("surface")
        assert np.abs(found.total_bounds[[0, 2]]).max() <= 180
        for one, shape in zip(surfaces, drawn, strict=True):
            other = found.geometry[one["properties"]["id"]]
            assert other.is_valid
            assert other.symmetric_difference(shape).area < 1e-6 * shape.area


def test_known_overthrow_is_found_again(whole):
    from tests.benchmarks.portfolio_generator import made_sites

    for made, row in zip(made_sites(SITES), whole[1].comparison.sites, strict=True):
        if row["not_closing"]:
            continue  # made with sacks that are not what their label says
        true = made.overthrow / (1 + made.overthrow)
        assert abs(row["fraction"] - true) < 3 * row["u_fraction"]


def test_a_spreader_sums_its_sites(whole):
    rows = rows_of(whole[0] / "spreaders.csv")
    for one in whole[1].comparison.spreaders:
        mine = [r for r in rows if r["spreader"] == one["spreader"]]
        assert one["sites"] == len(mine)
        assert one["overthrow_kg"] == pytest.approx(sum(float(r["overthrow_kg"]) for r in mine))
        assert one["least_strip_width_m"] == min(float(r["strip_width_m"]) for r in mine)


def test_a_site_that_does_not_close_says_nothing_of_its_spreader():
    """By hand: 30 kg of 400 kg, u 5 kg; the third site claims 200 kg more than it spread."""
    rows = [
        {"spread_kg": 100.0, "overthrow_kg": 10.0, "u_overthrow_kg": 3.0, "edge_kg_m": 20.0,
         "overthrow_high_kg": 16.0, "strip_width_m": 0.5, "not_closing": 0, "dressings": 2},
        {"spread_kg": 300.0, "overthrow_kg": 20.0, "u_overthrow_kg": 4.0, "edge_kg_m": 80.0,
         "overthrow_high_kg": 28.0, "strip_width_m": 0.25, "not_closing": 1, "dressings": 5},
        {"spread_kg": 500.0, "overthrow_kg": -200.0, "u_overthrow_kg": 9.0, "edge_kg_m": 90.0,
         "overthrow_high_kg": -182.0, "strip_width_m": -2.2, "not_closing": 4, "dressings": 4},
    ]  # fmt: skip
    (one,) = by_spreader([{"spreader": "disc", **row} for row in rows])
    assert (one["sites"], one["left_out"], one["dressings"], one["not_closing"]) == (3, 1, 7, 5)
    assert (one["spread_kg"], one["overthrow_kg"], one["u_overthrow_kg"]) == (400.0, 30.0, 5.0)
    assert (one["fraction"], one["u_fraction"]) == (0.075, 0.0125)
    assert (one["strip_width_m"], one["u_strip_width_m"]) == (0.3, 0.05)
    assert (one["least_strip_width_m"], one["most_strip_width_m"]) == (0.25, 0.5)
    (alone,) = by_spreader([{"spreader": "disc", **rows[2]}])
    assert (alone["sites"], alone["left_out"]) == (1, 1)
    assert {alone[k] for k in ("fraction", "strip_width_m", "most_strip_width_m")} == {None}


def test_a_refused_site_is_a_row_and_the_others_are_done(folders, tmp_path):
    root = shutil.copytree(folders, tmp_path / "sites")
    with (root / "site-00002" / "catches.csv").open("a") as file:
        file.write("x1,D1,g1,,,400,250,50,140\n")
    (root / "site-00004" / "surfaces.geojson").write_text("{")
    done = run_many(root, tmp_path / "out")
    (second, fourth) = done.comparison.refused
    assert second["faults"] == (
        "catches.csv, row 866, lon, lat: the catch has no position. Give lon and lat."
    )
    assert fourth["faults"].startswith("surfaces.geojson: is not JSON")
    rows = rows_of(tmp_path / "out" / "sites.csv")
    assert [r["status"] for r in rows] == [
        *("worked out", "refused", "worked out", "refused", "worked out")
    ]
    assert "site-00002" not in (tmp_path / "out" / "areas.csv").read_text()


def test_where_all_are_refused_no_older_table_stays(folders, tmp_path):
    root, out = tmp_path / "sites", tmp_path / "out"
    shutil.copytree(folders / "site-00001", root / "a")
    run_many(root, out)
    (root / "a" / "site.toml").write_text("")
    run_many(root, out)
    assert not (out / "balances.csv").exists()
    assert (out / "sites.csv").exists()


def test_no_site_is_told(tmp_path):
    with pytest.raises(Refused, match="no site is here; allowed: folders with a site"):
        find_sites(tmp_path, tmp_path / "out")


@pytest.mark.parametrize("records", ["dressings.csv", "records.xlsx"])
def test_a_site_that_lost_its_settings_is_told(folders, tmp_path, records):
    root = shutil.copytree(folders, tmp_path / "sites")
    (root / "site-00003" / "site.toml").unlink()
    (root / "site-00003" / "dressings.csv").rename(root / "site-00003" / records)
    (root / "drawings").mkdir()
    shutil.copy(root / "site-00001" / "surfaces.geojson", root / "drawings")
    (refused,) = run_many(root, tmp_path / "out").comparison.refused
    assert refused["site"] == "site-00003"
    assert "site.toml: the file is missing." in refused["faults"]


def test_copies_kept_within_a_site_are_no_sites(folders, tmp_path):
    root = shutil.copytree(folders, tmp_path / "sites")
    kept = root / "site-00003" / "backup" / "spring"
    kept.mkdir(parents=True)
    for name in ("surfaces.geojson", "dressings.csv"):
        shutil.copy(root / "site-00003" / name, kept)
    assert not run_many(root, tmp_path / "out").comparison.refused


def test_results_are_not_searched_for_sites(folders, tmp_path):
    root = shutil.copytree(folders, tmp_path / "sites")
    shutil.copytree(root / "site-00001", root / "out" / "copy")
    assert len(find_sites(root, root / "out").keys()) == SITES


def test_rounding_keeps_nine_digits_and_what_is_no_number():
    given = np.array([123.4567891234, -1.5e-7, 9.9999999999e20, 0.0, np.nan, np.inf])
    wanted = [float(f"{v:.9g}") for v in given]
    assert np.array_equal(rounded(given), wanted, equal_nan=True)


def test_a_sketch_is_true_to_shape_and_state(whole):
    """18 greens in 6 columns 160 m apart and 3 rows 190 m apart, north up, whatever the place."""
    from geosand.portfolio.site_rows import LETTERS, STATES

    value = {chr(letter): k for k, letter in enumerate(LETTERS)}
    for row in whole[1].comparison.sites:
        numbers = np.array([value[c] for c in row["sketch"]]).reshape(-1, 4)
        assert len(numbers) == 72
        counted = np.bincount(numbers[:, 3], minlength=4)[1:]
        assert counted.tolist() == [row[s.replace("-", "_").replace(" ", "_")] for s in STATES[1:]]
        width, height = np.ptp(numbers[:, :2], axis=0)
        assert width == 56  # the larger of the two fills the sheet
        ends = numbers[:, :2].min(axis=0), numbers[:, :2].max(axis=0)
        assert np.mean(ends, axis=0) == pytest.approx([32, 32], abs=1)  # of 64: in its middle
        # greens to tees: 3 rows of 190 m, of which the tees lie 80 m south of the lowest greens
        assert height == pytest.approx(56 * (2 * 190 + 80) / (5 * 160), abs=2)
        assert len(set(numbers[:, 0])) <= 6 * 3  # upright columns: not skewed


def test_a_site_that_was_not_dressed_yet_has_no_coloured_dot(tmp_path):
    from geosand.portfolio.site_rows import LETTERS
    from tests.sites import write_site

    empty = "dressing,date,surfaces,planned_depth_mm\n"
    write_site(tmp_path / "sites" / "fresh", dressings=empty, loads=None, catches=None)
    (row,) = run_many(tmp_path / "sites", tmp_path / "out").comparison.sites
    assert row["on_target"] == 3  # for programs: one of the fixed states
    assert {row["sketch"][k] for k in range(3, len(row["sketch"]), 4)} == {chr(LETTERS[0])}
