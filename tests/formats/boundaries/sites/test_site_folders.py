"""New folders: whole or not at all, their settings and records in the units of the site."""

import hashlib
import os
import re
import shutil
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import openpyxl
import pytest
import shapely

from geosand.errors import Refused
from geosand.formats.boundaries import bring_into, new_site, place_of, read_boundaries
from geosand.formats.boundaries.sites.questions import Choice
from geosand.formats.boundaries.sites.site_text import RECORD_COLUMNS, record_columns
from geosand.formats.site_folder import read_site
from geosand.results import work_out
from tests import sites
from tests.formats.boundaries.conftest import FIRST, LAT, LON, feature, square, survey

ACCEPT = Choice(accept=True)


def digest(folder):
    """Every file below a folder with its content."""
    return {
        str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in sorted(Path(folder).rglob("*"))
        if p.is_file()
    }


def test_a_new_folder_is_complete_and_readable(site):
    assert sorted(os.listdir(site)) == [
        *("catches.csv", "deliveries.csv", "dressings.csv", "loads.csv"),
        *("site.toml", "surfaces.geojson"),
    ]
    read = read_site(site)
    assert read.name == "Invented"
    assert read.surfaces.id.tolist() == ["g1", "g2", "t1"]
    assert read.surfaces.target_m[0] == pytest.approx(0.0095)
    assert str(read.season_start) == "2026-03-01"
    # no record column that the reader does not know, no setting that it does not understand
    assert not [f for f in read.findings if "is not read" in f.text]


def test_a_new_workbook_has_every_sheet_and_drop_downs(tmp_path, write_geojson):
    new_site(tmp_path / "s", survey(write_geojson, FIRST), name="x", workbook=True)
    assert len(read_site(tmp_path / "s").surfaces) == 3
    book = openpyxl.load_workbook(tmp_path / "s/records.xlsx")
    for name, columns in RECORD_COLUMNS.items():
        assert tuple(c.value for c in book[name][1]) == columns
    rules = {
        (sheet.title, str(rule.sqref)): rule
        for sheet in book.worksheets
        for rule in sheet.data_validations.dataValidation
    }
    assert rules["loads", "B2:B500"].formula1 == "dressings!$A$2:$A$500"
    assert rules["catches", "E2:E500"].formula1 == "lists!$A$2:$A$4"
    assert [c.value for c in book["lists"]["A"] if c.value] == ["surface", "g1", "g2", "t1"]
    assert rules["catches", "K2:K500"].formula1 == '"dry,moist,tapped"'
    assert not rules["dressings", "C2:C500"].showErrorMessage  # several may stand in one cell
    assert rules["catches", "E2:E500"].showErrorMessage


#: Exact: NIST SP 811 (2008), Appendix B.8; a pound has 16 ounces, a short ton 2000 pounds.
US = {
    "_in": ("_mm", 25.4),
    "_ft": ("_m", 0.3048),
    "_mph": ("_kmh", 1.609344),
    "_lb": ("_kg", 0.45359237),
    "_oz": ("_g", 453.59237 / 16),
    "_short_ton": ("_kg", 0.45359237 * 2000),
    "_ml": ("_cm3", 1.0),
}
RECORDS = {
    "dressings": [
        {"dressing": "D1", "date": "2026-04-10", "surfaces": "green", "planned_depth_mm": 0.6}
        | {"speed_kmh": 6, "swath_m": 4, "heading_deg": 30, "spreader": "disc", "setting": 3}
        | {"hole_diameter_mm": 12.7, "hole_spacing_mm": 50, "hole_depth_mm": 75}
    ],
    "loads": [
        {"load": "L1", "dressing": "D1", "count": 52, "unit_mass_kg": 25, "u_unit_mass_kg": 0.25}
        | {"u_label_percent": 1, "moisture_dry_basis_percent": 2, "returned_kg": 12}
        | {"spilled_kg": 1.5, "weighed_kg": 1330, "u_weighed_kg": 5}
    ],
    "catches": [
        {**row, "volume_cm3": 60, "volume_state": "dry", "position_accuracy_m": 1.5}
        for row in sites.CATCHES
    ],
    "deliveries": [{"date": "2026-04-01", "mass_kg": 4000, "u_mass_kg": 40}],
}


def in_us(column, metric):
    """What a US scale or tape would say for a column of a metric record; "" where it says none."""
    ends = [end for end in US if column.endswith(end)]
    if not ends:
        return metric.get(column, "")
    other, factor = US[max(ends, key=len)]
    value = metric.get(column.removesuffix(max(ends, key=len)) + other, "")
    return value / factor if isinstance(value, (int, float)) else value


@pytest.mark.parametrize("workbook", [False, True])
def test_records_in_us_units_give_what_metric_ones_give(
    tmp_path, write_geojson, site_folder, workbook
):
    """Each column that ``new --units us`` offers, filled with the metric figures as US ones."""
    metric = {f"{name}.csv": sites.table(rows) for name, rows in RECORDS.items()}
    there = site_folder("metric", catches=None, dressings=None, loads=None, files=metric)
    folder = tmp_path / "us"
    new_site(folder, survey(write_geojson, FIRST), name="x", workbook=workbook, units="us")
    shutil.copy(there / "surfaces.geojson", folder)
    shutil.copy(there / "site.toml", folder)
    if workbook:
        book = openpyxl.load_workbook(folder / "records.xlsx")
    for name, rows in RECORDS.items():
        if workbook:
            heads = [cell.value for cell in book[name][1]]
        else:
            heads = (folder / f"{name}.csv").read_text().strip().split(",")
        assert heads == list(record_columns("us")[name])
        assert not [h for h in heads if h.endswith(("_mm", "_m", "_kg", "_g", "_kmh", "_cm3"))]
        cells = [[in_us(head, row) for head in heads] for row in rows]
        if workbook:
            [book[name].append([c if c != "" else None for c in line]) for line in cells]
        else:
            lines = [",".join(map(str, line)) for line in cells]
            (folder / f"{name}.csv").write_text("\n".join([",".join(heads), *lines]) + "\n")
    if workbook:
        book.save(folder / "records.xlsx")
    one, other = work_out(read_site(there)), work_out(read_site(folder))
    assert np.isfinite(one.balance.overthrow.value).all()
    for estimates in ("spread", "on_surfaces", "overthrow"):
        mine, its = getattr(one.balance, estimates), getattr(other.balance, estimates)
        np.testing.assert_allclose(its.value, mine.value, rtol=1e-9)
        np.testing.assert_allclose(its.u(), mine.u(), rtol=1e-9)
    np.testing.assert_allclose(other.ledger.depth.value, one.ledger.depth.value, rtol=1e-9)
    for column in ("planned_m", "hole_depth_m", "hole_diameter_m", "hole_spacing_m"):
        mine, its = getattr(one.site.dressed, column), getattr(other.site.dressed, column)
        np.testing.assert_allclose(its, mine, rtol=1e-12)


@pytest.mark.parametrize("units", ["metric", "us"])
def test_every_setting_that_a_new_site_shows_is_read_and_is_the_default(
    tmp_path, write_geojson, units
):
    """All marks taken away: nothing unread, and to three digits what is taken without them."""
    folder = tmp_path / "s"
    new_site(folder, survey(write_geojson, FIRST), name="x", units=units)
    text = (folder / "site.toml").read_text()
    unset = read_site(folder)
    assert unset.units == units
    assert text.count("_ft = ") == (7 if units == "us" else 0)
    shown = re.sub(r"^# (?=\w+ = )(?!kiln)", "", text, flags=re.MULTILINE)
    (folder / "site.toml").write_text(shown)
    read = read_site(folder)
    told = [f.text for f in read.findings if "is not read" in f.text or f.topic == "default"]
    assert [text.partition(" is not")[0] for text in told] == [
        "standard uncertainty of the moisture of dried"  # comes with a measured moisture only
    ]
    for name in ("collar_width_m", "surrounds_width_m", "tolerance", "agreement", "u_tray"):
        assert getattr(read.settings, name) == pytest.approx(
            getattr(unset.settings, name), rel=0.005
        )
    accuracies = {"edge_accuracy_m": 0.30, "edge_bias_m": 0.15, "boundary_accuracy_m": 0.05}
    for name, value in accuracies.items():
        assert getattr(read.surfaces, name) == pytest.approx(value, rel=0.005)
    assert read.sands.bulk_density_kg_m3[0] == pytest.approx(1550, rel=0.005)
    # 9 mm, or 0.35 in, for greens without a target of their own
    assert read.surfaces.target_m[1] == pytest.approx(0.009, rel=0.02)


def test_accuracies_and_heights_are_written_in_the_sites_units(tmp_path, write_geojson):
    drawn = survey(
        write_geojson, [{**FIRST[1], "properties": FIRST[1]["properties"] | {"elevation_m": 42.0}}]
    )
    new_site(tmp_path / "s", drawn, name="x", units="us", accuracies={"edge_accuracy_m": 0.1524})
    text = (tmp_path / "s/site.toml").read_text()
    assert "\nedge_accuracy_ft = 0.5 " in text
    assert "\nelevation_ft = 137.8 " in text


@pytest.mark.parametrize(
    ("kinds", "units", "line"),
    [
        (("pitch", "lawn", "path"), "metric", "collar_width_m = 0 "),
        (("pitch",), "us", "collar_width_ft = 0 "),
        (("pitch", "green"), "metric", "# collar_width_m = 0.9 "),
        (("other",), "metric", "# collar_width_m = 0.9 "),
    ],
)
def test_a_ground_of_pitches_and_lawns_has_no_collars(tmp_path, write_geojson, kinds, units, line):
    rows = [feature(square(k), id=f"s{k}", kind=kind) for k, kind in enumerate(kinds)]
    new_site(tmp_path / "new", survey(write_geojson, rows), name="N", units=units, choice=ACCEPT)
    text = (tmp_path / "new" / "site.toml").read_text(encoding="utf-8")
    assert f"\n{line}" in text


def test_a_new_folder_without_boundaries_waits_for_them(tmp_path, write_geojson):
    new_site(tmp_path / "s", None, name="x", season_start="2026-03-01")
    with pytest.raises(Refused, match="there is no surface in it"):
        read_site(tmp_path / "s")
    assert place_of(tmp_path / "s") is None
    done = bring_into(tmp_path / "s", survey(write_geojson, FIRST), valid_from="2026-04-01")
    assert (done.edition, len(done.new)) == ("", 3)
    assert len(read_site(tmp_path / "s").surfaces) == 3


def test_a_folder_with_something_in_it_is_refused_and_untouched(site, write_geojson, tmp_path):
    before = digest(tmp_path)
    with pytest.raises(Refused, match=r"there is something in it already \(catches.csv") as told:
        new_site(site, survey(write_geojson, FIRST), name="x")
    assert told.value.faults[0].remedy.startswith("delete it first where nothing is recorded in it")
    (tmp_path / "file").write_text("")
    with pytest.raises(Refused, match="file: is a file"):
        new_site(tmp_path / "file", None, name="x")
    with pytest.raises(Refused, match="there is no such folder"):
        new_site(tmp_path / "none/deeper", None, name="x")
    with pytest.raises(Refused, match="'2026-13-01' is not a date"):
        new_site(tmp_path / "n", None, name="x", season_start="2026-13-01")
    with pytest.raises(Refused, match="0206-03-01 can not be right"):
        new_site(tmp_path / "n", None, name="x", season_start="0206-03-01")
    with pytest.raises(Refused, match="no surface in it: 1 read, 0 became surfaces, 1 left out"):
        nothing = survey(write_geojson, [feature(shapely.Point(LON, LAT))])
        new_site(tmp_path / "n", nothing, name="x")
    with pytest.raises(Refused, match=r"1 × a closed line of no known kind.* with --kind, or say"):
        untold = survey(write_geojson, [feature(square(0).exterior, label="Green 7")])
        new_site(tmp_path / "n", untold, name="x")
    corners = ["Part,Corner,Easting,Northing"]
    corners += [f"A,{k},{570000 + e},{5895000 + n}" for k, (e, n) in enumerate(((0, 0), (9, 0)))]
    (tmp_path / "file").write_text("\n".join(corners))
    (tmp_path / "file").rename(tmp_path / "file.csv")
    with pytest.raises(Refused, match="name in a column surface what each point is a corner of"):
        points = read_boundaries(tmp_path / "file.csv", crs="EPSG:25832")
        new_site(tmp_path / "n", points, name="x")
    (tmp_path / "file.csv").unlink()
    (tmp_path / "survey.geojson").unlink()
    before.pop("survey.geojson")
    assert digest(tmp_path) == before


def test_an_empty_folder_is_filled(tmp_path):
    (tmp_path / "s").mkdir()
    new_site(tmp_path / "s", None, name='quotes " and \\ and \u007f')
    assert 'quotes \\" and \\\\ and' in (tmp_path / "s/site.toml").read_text()


def test_a_disk_that_fails_leaves_nothing(tmp_path, write_geojson, monkeypatch):
    boundaries = survey(write_geojson, FIRST)
    before = digest(tmp_path)
    real, calls = os.replace, []

    def failing(source, target):
        calls.append(target)
        if len(calls) == 3:
            raise OSError(28, "No space left on device")
        real(source, target)

    monkeypatch.setattr("os.replace", failing)
    with pytest.raises(Refused, match="can not be written: No space left on device"):
        new_site(tmp_path / "s", boundaries, name="x")
    assert digest(tmp_path) == before
    assert not (tmp_path / "s").exists()
    assert not list(tmp_path.glob(".s.new-*"))


def test_killed_while_a_new_folder_is_made_there_is_none_or_a_whole_one(tmp_path, write_geojson):
    path = write_geojson(FIRST)
    program = (
        "from geosand.formats.boundaries import new_site, read_boundaries\n"
        f"b = read_boundaries({str(path)!r})\nprint('go', flush=True)\n"
        f"new_site({str(tmp_path / 's')!r}, b, name='x', season_start='2026-03-01')\n"
    )
    seen = set()
    for pause_ms in (0, 2, 4, 8, 16, 400, 20_000):  # the last is for a busy machine
        process = subprocess.Popen([sys.executable, "-c", program], stdout=subprocess.PIPE)
        assert process.stdout is not None
        process.stdout.readline()
        time.sleep(pause_ms / 1000)
        process.kill()
        process.communicate()
        whole = (tmp_path / "s").is_dir()
        seen.add(whole)
        if whole:
            assert len(read_site(tmp_path / "s").surfaces) == 3
            os.rename(tmp_path / "s", tmp_path / f"whole-{pause_ms}")
            if pause_ms >= 400:
                break
    assert True in seen
