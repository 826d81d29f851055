"""New folders and new surveys into old ones: whole or not at all, and ids that stay."""

import hashlib
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import textwrap
import time
from pathlib import Path

import numpy as np
import openpyxl
import pytest
import shapely

from geosand.errors import Refused
from geosand.formats.boundaries import bring, bring_into, new_site, place_of, read_boundaries
from geosand.formats.boundaries.questions import Choice
from geosand.formats.boundaries.site_text import RECORD_COLUMNS, record_columns
from geosand.formats.site_folder import read_site
from geosand.results import work_out
from tests import sites

from .conftest import LAT, LON, feature

ACCEPT = Choice(accept=True)


def square(k, size=0.0004, shift=0.0):
    west = LON + k * 0.001 + shift
    return shapely.box(west, LAT, west + size, LAT + size)


def survey(write_geojson, rows, name="survey.geojson"):
    return read_boundaries(write_geojson(rows, name=name))


def digest(folder):
    """Every file below a folder with its content."""
    return {
        str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in sorted(Path(folder).rglob("*"))
        if p.is_file()
    }


FIRST = [
    feature(square(0), id="g1", name="Green 1", kind="green", target_mm=9.5),
    feature(square(1), id="g2", name="Green 2", kind="green"),
    feature(square(2), id="t1", name="Tee 1", kind="tee"),
]


@pytest.fixture
def site(tmp_path, write_geojson):
    folder = tmp_path / "site"
    new_site(folder, survey(write_geojson, FIRST), name="Invented", season_start="2026-03-01")
    return folder


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
    with pytest.raises(Refused, match=r"there is something in it already \(catches.csv"):
        new_site(site, survey(write_geojson, FIRST), name="x")
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


def test_a_new_survey_keeps_the_old_one_and_the_ids(site, write_geojson):
    again = [
        feature(square(0, shift=2e-5), name="renamed"),  # no id: matched by ground
        feature(square(1, size=0.0005), id="g2", name="Green 2", kind="green"),
        feature(square(9), id="g9", name="Green 9", kind="green"),
    ]
    boundaries = survey(write_geojson, again)
    said = {"edge_accuracy_m": 0.05, "edge_bias_m": 0.02, "boundary_accuracy_m": 0.01}
    done = bring_into(site, boundaries, valid_from="2026-06-01", accuracies=said, choice=ACCEPT)
    assert done.edition == "editions/first-survey.geojson"
    assert (done.by_id, done.by_overlap) == (("g2",), ("g1",))
    assert (done.new, done.gone) == (("g9",), ("t1",))
    read = read_site(site)
    assert read.valid_from.astype(str).tolist() == ["0001-01-01", "2026-06-01"]
    rows = read.in_force()
    assert sorted(read.surfaces.id[rows]) == ["g1", "g2", "g9"]
    one = rows[read.surfaces.id[rows] == "g1"][0]
    assert read.surfaces.kind[one] == "green"  # the survey did not say it
    kinds = {f.about: f.text for f in done.findings if "in the new survey:" in f.text}
    assert kinds == {"g1": "was green and is other in the new survey: the old kind is kept"}
    assert read.surfaces.target_m[one] == pytest.approx(0.0095)
    assert read.surfaces.edge_accuracy_m[rows].tolist() == [0.05] * 3
    assert read.surfaces.edge_bias_m[rows].tolist() == [0.02] * 3
    assert read.surfaces.boundary_accuracy_m[rows].tolist() == [0.01] * 3
    assert read.surfaces.edge_accuracy_m[0] == 0.3  # as it was when the old one was in force
    assert read.surfaces.edge_bias_m[0] == 0.15
    # every survey says its own, so no default is used and none is told
    assert not [f for f in read.findings if "edge" in f.text]
    head = json.loads((site / "editions/first-survey.geojson").read_text())
    assert (head["source_crs"], head["edge_accuracy_m"]) == ("", 0.3)
    texts = {f.about: f.text for f in done.findings}
    # 0.0004 wide and moved by 0.00002: 38 of 42 parts are common
    assert texts["t1"] == "is not in the new survey any more"
    assert any("matched by ground, 90 % in common" in f.text for f in done.findings)


def test_a_third_survey_is_named_by_its_day(site, write_geojson):
    boundaries = survey(write_geojson, FIRST)
    bring_into(site, boundaries, valid_from="2026-05-01")
    done = bring_into(site, boundaries, valid_from="2026-07-01")
    assert done.edition == "editions/2026-05-01.geojson"
    days = read_site(site).valid_from.astype(str).tolist()
    assert days == ["0001-01-01", "2026-05-01", "2026-07-01"]


def test_made_up_numbers_never_match_by_id(tmp_path, write_geojson):
    """Two greens numbered the other way round keep their ground, not their numbers."""
    unnamed = [feature(square(k), kind="green") for k in (0, 1)]
    new_site(tmp_path / "s", survey(write_geojson, unnamed), name="x", season_start="2026-03-01")
    swapped = [feature(square(k), kind="green") for k in (5, 1, 0)]
    done = bring_into(tmp_path / "s", survey(write_geojson, swapped), valid_from="2026-06-01")
    assert done.by_overlap == ("green-2", "green-1")
    assert done.new == ("green-3",)
    read = read_site(tmp_path / "s")
    rows = read.in_force()
    west = dict(
        zip(read.surfaces.id[rows], shapely.bounds(read.surfaces.geometry[rows])[:, 0], strict=True)
    )
    assert west["green-1"] == pytest.approx(LON)
    assert west["green-3"] == pytest.approx(LON + 0.005)


def test_a_target_that_is_no_number_is_told_and_left_out(write_geojson):
    targets = {"g1": "thick", "g2": "9.5", "g3": 9.5, "g4": " ", "g5": None}
    rows = [
        feature(square(k), id=name, kind="green", target_mm=target)
        for k, (name, target) in enumerate(targets.items())
    ]
    told = [f for f in survey(write_geojson, rows).findings if "number" in f.text]
    assert [(f.about, f.text) for f in told] == [
        ("g1", "its target_mm 'thick' is not a number: it is left out")
    ]


def test_exchanged_ids_are_told(site, write_geojson):
    rows = [
        feature(square(1), id="g1", kind="green"),
        feature(square(0), id="g2", kind="green"),
        feature(square(2), id="t1", kind="green"),
    ]
    with pytest.raises(Refused) as asked:
        bring_into(site, survey(write_geojson, rows), valid_from="2026-06-01")
    assert str(asked.value).splitlines()[0] == (
        "survey.geojson, feature 1: g1: has the id of a surface of the site, but 0 % of the ground"
        " is common to both; it lies where g2 was, as if ids were exchanged. Check the ids in the"
        " file, or --accept keeps to them."
    )
    done = bring_into(site, survey(write_geojson, rows), valid_from="2026-06-01", choice=ACCEPT)
    assert [f.row for f in done.accepted] == ["feature 1", "feature 2"]
    texts = [f.text for f in done.findings if f.about == "t1"]
    assert "was tee and is green in the new survey: the new kind holds from now on" in texts


@pytest.mark.parametrize(
    ("day", "text"),
    [
        ("2026-06-31", "'2026-06-31' is not a date"),
        ("2026-05-01", "is not later than 2026-05-01"),
        ("3026-05-01", "3026-05-01 can not be right; allowed: 1950-01-01 to 2149-12-31"),
    ],
)
def test_days_that_can_not_be(site, write_geojson, day, text):
    boundaries = survey(write_geojson, FIRST)
    bring_into(site, boundaries, valid_from="2026-05-01")
    before = digest(site)
    with pytest.raises(Refused, match=text):
        bring_into(site, boundaries, valid_from=day)
    assert digest(site) == before


def test_a_survey_that_leaves_catches_on_nothing_is_refused(site, write_geojson):
    """A catch declared on a surface that its day's survey lacks: no verb could read the site."""
    text = (site / "site.toml").read_text().replace("# kiln_dried", "kiln_dried")
    (site / "site.toml").write_text(text)
    (site / "dressings.csv").write_text("dressing,date,surfaces\nD1,2026-07-01,green\n")
    tray = "tray_length_mm,tray_width_mm,tare_g,gross_g\n"
    (site / "catches.csv").write_text(
        f"catch,dressing,lon,lat,surface,{tray}"
        f"c1,D1,{LON + 0.0002},{LAT + 0.0002},g1,500,500,100,480\n"
        f"c2,D1,{LON + 0.0012},{LAT + 0.0002},g2,500,500,100,480\n"
    )
    before = digest(site)
    without = [row for row in FIRST if row["properties"]["id"] != "g2"]
    with pytest.raises(Refused, match=r"catches.csv, row 3, surface: 'g2' is no surface in the"):
        bring_into(site, survey(write_geojson, without), valid_from="2026-06-01", choice=ACCEPT)
    assert digest(site) == before
    bring_into(site, survey(write_geojson, without), valid_from="2026-08-01", choice=ACCEPT)


def test_a_failed_import_leaves_the_folder_untouched(site, write_geojson, monkeypatch):
    (site / "dressings.csv").write_text(
        "dressing,date,surfaces\nD1,2026-04-01,t1\nD2,2026-07-01,t1\n"
    )
    (site / "site.toml").write_text(
        (site / "site.toml").read_text().replace("# kiln_dried", "kiln_dried")
    )
    read_site(site)
    before = digest(site)
    without = [row for row in FIRST if row["properties"]["id"] != "t1"]
    # D2 dresses a surface that the survey of its day would not have any more
    with pytest.raises(Refused, match=r"dressings.csv, row 3.*t1"):
        bring_into(site, survey(write_geojson, without), valid_from="2026-06-01", choice=ACCEPT)
    assert digest(site) == before
    far = [feature(shapely.box(30, 12, 30.0004, 12.0004), id="g1", kind="green")]
    with pytest.raises(Refused, match=r"km from the site at 53.3002° N, 9.9012° E"):
        bring_into(site, survey(write_geojson, far), valid_from="2026-06-01")
    assert digest(site) == before
    with pytest.raises(Refused, match=r"there is no such folder"):
        bring_into(site.parent / "none", survey(write_geojson, FIRST), valid_from="2026-06-01")

    def full(path, content):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(bring, "write_whole", full)
    with pytest.raises(Refused, match="No space left on device"):
        bring_into(site, survey(write_geojson, FIRST), valid_from="2026-08-01")
    assert digest(site) == before


def test_a_broken_survey_in_force_is_told(site, write_geojson):
    (site / "surfaces.geojson").write_text("{")
    with pytest.raises(Refused, match="the survey in force can not be read"):
        bring_into(site, survey(write_geojson, FIRST), valid_from="2026-06-01")


def outlines(geometry):
    return [shapely.to_wkt(g.normalize(), rounding_precision=8) for g in geometry]


def _in_force(folder):
    read = read_site(folder)
    rows = read.in_force()
    return outlines(read.surfaces.geometry[rows])


@pytest.mark.parametrize("moment", range(14))
def test_killed_at_any_moment_the_old_or_the_new_survey_is_in_force(
    site, write_geojson, tmp_path, moment
):
    """A real kill -9 after so many of the calls that change the disk; then the import again."""
    moved = [feature(square(k, size=0.00045), id=i, kind="green") for k, i in
             enumerate(("g1", "g2", "t1"))]  # fmt: skip
    path = write_geojson(moved, name="moved.geojson")
    old = _in_force(site)
    program = textwrap.dedent(
        f"""
        import os, signal
        left = {moment}
        def counted(name):
            real = getattr(os, name)
            def call(*a, **k):
                global left
                if left == 0:
                    os.kill(os.getpid(), signal.SIGKILL)
                left -= 1
                return real(*a, **k)
            setattr(os, name, call)
        from geosand.formats.boundaries import bring_into, read_boundaries
        import geosand.formats.boundaries.bring as bring
        found = read_boundaries({str(path)!r})
        real_check = bring._check_readable
        def check(*a):
            real_check(*a)
            for name in ("replace", "fsync", "fdopen", "chmod", "open", "close"):
                counted(name)
        bring._check_readable = check
        bring_into({str(site)!r}, found, valid_from="2026-06-01")
        """
    )
    done = subprocess.run([sys.executable, "-c", program], cwd=os.getcwd(), check=False)
    assert done.returncode in (0, -signal.SIGKILL)
    new = outlines(read_boundaries(path).features.geometry)
    now = _in_force(site)
    assert now in (old, new)
    if done.returncode == 0:
        assert now == new
        return
    if now == old:
        bring_into(site, read_boundaries(path), valid_from="2026-06-01")
    assert _in_force(site) == new
    assert sorted(p.name for p in (site / "editions").glob("*.geojson")) == ["first-survey.geojson"]


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


def test_bulk_import_and_new_survey(tmp_path, write_geojson):
    """3,600 surfaces without ids, in another order: each keeps its ground."""
    rng = np.random.default_rng(5)
    shapes = [square(k % 60, size=3e-4, shift=0.0) for k in range(60)]
    shapes = [shapely.transform(s, lambda p, r=r: p + np.array([0, r * 0.001])) for r in range(60)
              for s in shapes]  # fmt: skip
    rows = [feature(shape, kind="green") for shape in shapes]
    first = survey(write_geojson, rows)
    new_site(tmp_path / "s", first, name="x", season_start="2026-03-01")
    order = rng.permutation(len(rows))
    second = survey(write_geojson, [rows[k] for k in order])
    done = bring_into(tmp_path / "s", second, valid_from="2026-06-01")
    assert len(done.by_overlap) == 3600
    assert not done.new
    assert list(done.by_overlap) == [str(first.features.id[k]) for k in order]
