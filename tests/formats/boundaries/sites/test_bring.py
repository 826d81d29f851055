"""A further survey of a site that is there: matched, kept apart, never half written."""

import json
import os
import signal
import subprocess
import sys
import textwrap

import numpy as np
import pytest
import shapely

from geosand.errors import Refused
from geosand.formats.boundaries import bring_into, new_site, read_boundaries
from geosand.formats.boundaries.sites import bring
from geosand.formats.site_folder import read_site
from tests.formats.boundaries.conftest import FIRST, LAT, LON, feature, square, survey
from tests.formats.boundaries.sites.test_site_folders import ACCEPT, digest


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


@pytest.mark.parametrize("moved", [0.0, 3.0])
def test_surfaces_of_one_name_keep_their_ids_in_a_survey_of_another_order(
    moved, tmp_path, write_geojson
):
    """The number behind a name that two bear says only which of them stands first in the file.

    Where one lies elsewhere now it is asked about.
    """
    both = [feature(square(k), name="Red 7", kind=kind) for k, kind in enumerate(("green", "tee"))]
    new_site(tmp_path / "s", survey(write_geojson, both), name="x", season_start="2026-03-01")
    both[1]["geometry"] = feature(square(1 + moved))["geometry"]
    again = survey(write_geojson, both[::-1])
    if moved:
        with pytest.raises(Refused, match="1 of the site's 2 surfaces is not in it: red-7-2"):
            bring_into(tmp_path / "s", again, valid_from="2026-06-01")
        return
    bring_into(tmp_path / "s", again, valid_from="2026-06-01")
    read = read_site(tmp_path / "s")
    rows = read.in_force()
    kinds = dict(zip(read.surfaces.id[rows], read.surfaces.kind[rows], strict=True))
    assert kinds == {"red-7": "green", "red-7-2": "tee"}


def test_a_collar_of_its_greens_name_does_not_take_its_id(tmp_path, write_geojson):
    """Both have grown: the green lies now where the collar, drawn as a disc, was."""

    def discs(*sizes):
        kinds = ("green", "collar")
        shapes = [shapely.Point(LON, LAT).buffer(size) for size in sizes]
        return [
            feature(shape, name="Red 7", kind=kind)
            for shape, kind in zip(shapes, kinds, strict=True)
        ]

    first = survey(write_geojson, discs(13e-5, 14e-5))
    new_site(tmp_path / "s", first, name="x", season_start="2026-03-01")
    bring_into(tmp_path / "s", survey(write_geojson, discs(14e-5, 15e-5)), valid_from="2026-06-01")
    read = read_site(tmp_path / "s")
    rows = read.in_force()
    kinds = dict(zip(read.surfaces.id[rows], read.surfaces.kind[rows], strict=True))
    assert kinds == {"red-7": "green", "red-7-2": "collar"}


def test_what_has_no_name_does_not_take_the_id_of_one_that_moved(tmp_path, write_geojson):
    """It lies where the first of two of one name was, which lies elsewhere now: asked about."""
    both = [feature(square(k), name="Red 7", kind="green") for k in (0, 1)]
    new_site(tmp_path / "s", survey(write_geojson, both), name="x", season_start="2026-03-01")
    moved = [feature(square(3), name="Red 7", kind="green"), both[1]]
    again = survey(write_geojson, [*moved, feature(square(0), kind="green")])
    with pytest.raises(Refused, match="red-7: has the id of a surface of the site, but 0 %"):
        bring_into(tmp_path / "s", again, valid_from="2026-06-01")


def test_a_match_by_little_ground_says_only(tmp_path, write_geojson):
    """Moved by a quarter of its width: 3 of 5 parts are common. It stands apart from whole ones."""
    unnamed = [feature(square(k), kind="green") for k in (0, 1)]
    new_site(tmp_path / "s", survey(write_geojson, unnamed), name="x", season_start="2026-03-01")
    again = [feature(square(0, shift=1e-4), kind="green"), unnamed[1]]
    done = bring_into(tmp_path / "s", survey(write_geojson, again), valid_from="2026-06-01")
    told = {f.about: f.text for f in done.findings if "by ground" in f.text}
    assert told == {
        "green-1": "matched by ground, only 60 % in common",
        "green-2": "matched by ground, 100 % in common",
    }


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
        import geosand.formats.boundaries.sites.bring as bring
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
