"""A survey that names a part of a site, or was damaged on its way: nothing ends in silence."""

from __future__ import annotations

import json

import numpy as np
import pytest
import shapely

from geosand.errors import Refused, Undecided
from geosand.formats.boundaries import bring_into, new_site, place_of, read_boundaries
from geosand.formats.boundaries.sites.questions import Choice
from geosand.formats.site_folder import read_site
from tests.formats.boundaries.sites.test_settling import FAILURES
from tests.formats.boundaries.sites.test_site_folders import digest, square

from .conftest import LAT, LON, feature

ACCEPT = Choice(accept=True)


def disc(k):
    west, south, east, north = square(k).bounds
    return shapely.box(west - 1e-5, south - 1e-5, east + 1e-5, north + 1e-5)


def ring(k):
    return disc(k).difference(square(k))


FIRST = [
    feature(square(0), id="g1", name="Green 1", kind="green", target_mm=9.5, slope_percent=2),
    feature(square(1), id="g2", name="Green 2", kind="green"),
    feature(square(2), id="t1", name="Tee 1", kind="tee"),
    feature(ring(0), id="c1", kind="collar", around="g1"),
    feature(ring(1), id="c2", kind="collar", around="g2"),
]
SECOND = [feature(square(1, size=0.00041), id="g2", kind="green")]


@pytest.fixture
def site(tmp_path, write_geojson):
    folder = tmp_path / "site"
    first = read_boundaries(write_geojson(FIRST, name="first.geojson"))
    said = {"edge_accuracy_m": 0.3}
    new_site(folder, first, name="Invented", season_start="2026-03-01", accuracies=said)
    return folder


def bring(site, write_geojson, rows, **wishes):
    found = read_boundaries(write_geojson(rows, name="second.geojson"))
    return bring_into(site, found, valid_from="2026-06-01", **wishes)


def test_surfaces_that_are_not_in_the_file_hold_it_up(site, write_geojson):
    before = digest(site)
    with pytest.raises(Undecided) as asked:
        bring(site, write_geojson, SECOND)
    assert str(asked.value) == (
        "second.geojson: 4 of the site's 5 surfaces are not in it: g1, t1, c1, c2. With --partial"
        " they go on as they are, with --accept they end when this survey begins."
    )
    assert digest(site) == before


def test_what_the_file_draws_in_vain_is_named_beside_what_it_lacks(tmp_path, site):
    """A green as an open line is not gone: --partial or --accept would be the wrong answer."""
    rows = ["point,lat,lon,code"]
    for k, code, corners in ((0, "GRN1", 3), (1, "GRN2", 5), (2, "TEE1", 5)):
        ring = shapely.get_coordinates(square(k)).tolist()[:corners]
        rows += [f"{k}{n},{lat:.9f},{lon:.9f},{code}" for n, (lon, lat) in enumerate(ring, 1)]
    (tmp_path / "walk.csv").write_text("\n".join(rows), encoding="utf-8")
    found = read_boundaries(tmp_path / "walk.csv", crs="EPSG:4326")
    with pytest.raises(Undecided) as asked:
        bring_into(site, found, valid_from="2026-06-01")
    (text,) = [line for line in str(asked.value).splitlines() if "surfaces are not in it" in line]
    assert text == (
        "walk.csv: 3 of the site's 5 surfaces are not in it: g1, c1, c2; code 'GRN1', points 01 to"
        " 03 of the file became no surface. Close or mend what is meant to be one; with --partial"
        " they go on as they are, with --accept they end when this survey begins."
    )


def test_accepted_they_end(site, write_geojson):
    done = bring(site, write_geojson, SECOND, choice=ACCEPT)
    assert done.gone == ("g1", "t1", "c1", "c2") and done.carried_on == ()
    read = read_site(site)
    assert read.surfaces.id[read.in_force()].tolist() == ["g2"]


def test_of_a_partial_survey_they_go_on_unchanged(site, write_geojson):
    old = read_site(site).surfaces
    done = bring(site, write_geojson, SECOND, partial=True, accuracies={"edge_accuracy_m": 0.05})
    assert (done.by_id, done.gone) == (("g2",), ())
    assert done.carried_on == ("g1", "t1", "c1", "c2")
    read = read_site(site)
    rows = read.in_force()
    now = read.surfaces
    assert now.id[rows].tolist() == ["g2", "g1", "t1", "c1", "c2"]
    for name in ("g1", "t1", "c1", "c2"):
        before, after = np.flatnonzero(old.id == name)[0], rows[now.id[rows] == name][0]
        assert now.geometry[after].equals(old.geometry[before])
        for column in ("name", "kind", "target_m", "slope"):
            assert str(getattr(now, column)[after]) == str(getattr(old, column)[before]), column
        assert read.ids[now.around[after]] == read.ids[old.around[before]]
    # what was traced does not become better by a new survey of something else
    accuracy = dict(zip(now.id[rows].tolist(), now.edge_accuracy_m[rows].tolist(), strict=True))
    assert accuracy == {"g2": 0.05, "g1": 0.3, "t1": 0.3, "c1": 0.3, "c2": 0.3}
    assert not [f for f in done.findings if "not in the new survey" in f.text]


def test_a_partial_survey_over_a_surface_that_goes_on(site, write_geojson):
    """The file's g9 is the site's g1 under another id that the site has elsewhere."""
    rows = [feature(square(0, size=0.000401), id="t1", kind="green")]
    with pytest.raises(Undecided) as asked:
        bring(site, write_geojson, rows, partial=True)
    texts = [str(fault) for fault in asked.value.faults]
    assert any(
        "g1, which goes on as it is: it is nearly the same polygon as t1" in t for t in texts
    )
    assert any(
        "t1: has the id of a surface of the site, but 0 % of the ground is common to both; it lies"
        " where g1 was, as if ids were exchanged" in t
        for t in texts
    )


def test_a_collar_drawn_as_a_ring_now_and_a_disc_before_is_the_same(tmp_path, write_geojson):
    filled = feature(disc(0), id="c1", kind="collar", around="g1")
    rows = [*FIRST[:3], filled, FIRST[4]]
    first = read_boundaries(write_geojson(rows, name="first.geojson"))
    new_site(tmp_path / "s", first, name="x", season_start="2026-03-01")
    done = bring(tmp_path / "s", write_geojson, FIRST)
    assert done.by_id == ("g1", "g2", "t1", "c1", "c2")


def test_around_may_name_a_surface_of_the_site(site, write_geojson):
    rows = [
        feature(ring(0), id="c1", kind="collar", around="g1"),  # g1 goes on
        feature(ring(1), id="c2", kind="collar", around="g7"),
    ]
    done = bring(site, write_geojson, rows, partial=True)
    written = json.loads((site / "surfaces.geojson").read_text())["features"]
    around = {f["properties"]["id"]: f["properties"].get("around") for f in written}
    assert (around["c1"], around["c2"]) == ("g1", None)
    texts = [f.text for f in done.findings if f.about == "c2"]
    assert "its column around names 'g7', which is no surface here: it is written without" in texts


def test_a_collar_whose_green_ends_says_so(site, write_geojson):
    rows = [*FIRST[1:3], feature(ring(0), id="c1", kind="collar"), FIRST[4]]
    done = bring(site, write_geojson, rows, choice=ACCEPT)
    texts = [f.text for f in done.findings if f.about == "c1"]
    assert "it was around g1, which is not in the new survey" in texts


def test_accuracies_come_from_the_head_of_each_survey(site, write_geojson):
    said = {"edge_accuracy_m": 0.05, "edge_bias_m": 0.02, "boundary_accuracy_m": 0.01}
    done = bring(site, write_geojson, FIRST, accuracies=said)
    assert done.accuracies == said
    head = json.loads((site / "surfaces.geojson").read_text())
    kept = json.loads((site / done.edition).read_text())
    assert {key: head[key] for key in said} == said
    assert {key: kept[key] for key in said} == {
        "edge_accuracy_m": 0.3,
        "edge_bias_m": 0.15,
        "boundary_accuracy_m": 0.05,
    }
    (site / "surfaces.geojson").write_text(
        json.dumps({**head, "edge_bias_m": "wide", "boundary_accuracy_m": -1})
    )
    with pytest.raises(Refused) as refused:
        read_site(site)
    assert "surfaces.geojson, edge_bias_m: 'wide' can not be right; allowed: 0 to 20 m" in str(
        refused.value
    )
    assert "boundary_accuracy_m" in str(refused.value)


def test_a_surface_may_say_its_own_accuracy(tmp_path, write_geojson):
    first = read_boundaries(write_geojson(FIRST, name="first.geojson"))
    new_site(tmp_path / "s", first, name="x", season_start="2026-03-01")
    document = json.loads((tmp_path / "s/surfaces.geojson").read_text())
    document["features"][0]["properties"]["edge_accuracy_mm"] = 40
    (tmp_path / "s/surfaces.geojson").write_text(json.dumps(document))
    read = read_site(tmp_path / "s")
    assert read.surfaces.edge_accuracy_m.tolist() == [0.04, 0.3, 0.3, 0.3, 0.3]
    assert [f.text for f in read.findings if f.text.startswith("edge accuracy")] == [
        "edge accuracy is not said: 0.3 m is used"
    ]


def test_round_trip_through_a_site_changes_nothing(site, write_geojson):
    """The site's own file brought again: the same ids, nothing asked, the same outlines."""
    before = read_site(site).surfaces
    found = read_boundaries(site / "surfaces.geojson")
    done = bring_into(site, found, valid_from="2026-06-01")
    assert done.accepted == () and done.by_id == tuple(before.id)
    read = read_site(site)
    now = read.surfaces.geometry[read.in_force()]
    assert all(a.equals(b) for a, b in zip(now, before.geometry, strict=True))


BROKEN_ROWS = {
    "crosses itself": shapely.Polygon(
        [(LON, LAT), (LON + 4e-4, LAT + 4e-4), (LON + 4e-4, LAT), (LON, LAT + 4e-4)]
    ),
    "somewhere else": shapely.box(30, 12, 30.0004, 12.0004),
    "sliver": shapely.box(LON, LAT, LON + 4e-6, LAT + 4e-6),
    "no ground": shapely.box(LON + 1e-5, LAT + 1e-5, LON + 2e-5, LAT + 2e-5),
}


@pytest.mark.parametrize("case", [*FAILURES, *BROKEN_ROWS])
def test_a_failed_bring_leaves_every_byte(site, tmp_path, write_geojson, case):
    before = digest(site)
    if case in FAILURES:
        (tmp_path / "second.geojson").write_bytes(FAILURES[case])
    else:
        kind = "lawn" if case == "no ground" else "green"
        write_geojson([*FIRST, feature(BROKEN_ROWS[case], id="x1", kind=kind)], "second.geojson")
    with pytest.raises(Refused) as refused:
        found = read_boundaries(tmp_path / "second.geojson")
        bring_into(site, found, valid_from="2026-06-01")
    assert all(fault.file.startswith("second.geojson") for fault in refused.value.faults)
    assert digest(site) == before


def test_swapped_axes_are_seen_by_the_catches_of_a_site_without_surfaces(tmp_path, write_geojson):
    """Both 40 N 30 E and 30 N 40 E are on land: only the catches tell."""
    folder = tmp_path / "s"
    new_site(folder, None, name="x", season_start="2026-03-01")
    assert place_of(folder) is None
    (folder / "catches.csv").write_text("catch,dressing,lon\nC1,D1,30.0002\n")
    assert place_of(folder) is None  # what is missing is told when the site is read
    (folder / "catches.csv").write_text(
        "catch,dressing,lon,lat\nC1,D1,30.0002,40.0001\nC2,D1,,\nC3,D1,30.0004,40.0003\n"
    )
    assert place_of(folder) == pytest.approx((30.0003, 40.0002))
    green = shapely.box(40, 30, 40.0002, 30.0002)
    path = write_geojson([feature(green, id="g", kind="green")])
    assert len(read_boundaries(path).features) == 1
    with pytest.raises(
        Refused, match=r"km from 40.0002° N, 30.0003° E, where it should be; with t"
    ):
        read_boundaries(path, near=place_of(folder))


def shifted(rows, metres):
    """The features that much farther north."""
    up = metres / 111_000
    return [
        feature(shapely.affinity.translate(shapely.from_geojson(json.dumps(r["geometry"])), 0, up),
                **r["properties"])
        for r in rows
    ]  # fmt: skip


def test_a_survey_of_which_everything_is_shifted_is_told(site, write_geojson):
    """1.8 m north is what two epochs of one datum lie apart on a plate that drifts."""
    brought = bring(site, write_geojson, shifted(FIRST, 1.8))
    (told,) = [f.text for f in brought.findings if "another zone, datum or epoch" in f.text]
    assert "1.80 m north of the same ones in the survey in force (median of 5)" in told
    same = bring_into(
        site,
        read_boundaries(write_geojson(shifted(FIRST, 1.8), name="third.geojson")),
        valid_from="2026-07-01",
    )
    assert not any("datum or epoch" in f.text for f in same.findings)


def test_a_shift_by_more_than_a_surface_is_told_beside_the_ids_that_lie_elsewhere(
    site, write_geojson
):
    with pytest.raises(Undecided) as asked:
        bring(site, write_geojson, shifted(FIRST, 150))
    text = str(asked.value)
    assert "has the id of a surface of the site, but 0 % of the ground is common" in text
    assert "m north of the same ones in the survey in force (median of 5)" in text
