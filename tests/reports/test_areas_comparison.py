"""Documents of two surveys side by side and of claimed areas."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import openpyxl
import pytest
import shapely

from geosand.errors import Refused
from geosand.formats.claimed_areas import read_claimed_areas
from geosand.formats.other_survey import read_other_survey, survey_in_force
from geosand.formats.site_folder import read_site
from geosand.reports.area_comparison import against_document, change_features
from geosand.reports.claimed_areas import claimed_document
from geosand.reports.compared import compared, datum_between_m
from geosand.reports.comparison_console import (
    against_head,
    against_lines,
    against_table,
    claimed_lines,
    claimed_table,
)
from geosand.reports.register import register_document
from tests.sites import G2, LAT, LON, SURFACES, TOML, collection, square, surface

OLD = [
    surface("g1", "green", square(LON, LAT, 22.0)),
    SURFACES[1],
    surface("gone", "tee", square(LON, LAT - 0.002, 8.0)),
]


@pytest.fixture
def folder(site_folder):
    old = collection(OLD, valid_from="2020-01-01", edge_accuracy_m=0.3)
    new = collection(SURFACES, valid_from="2026-01-01")
    return site_folder(surfaces=new, files={"editions/first.geojson": old})


def against(folder: Path, named: str):
    site = read_site(folder)
    old, new = read_other_survey(folder, site, named), survey_in_force(site)
    found = compared(old, new)
    return against_document(old, new, found), change_features(old, new, found)


def test_an_edition_by_its_name_its_file_and_its_day_are_the_same(folder):
    names = ["first", "first.geojson", str(folder / "editions" / "first.geojson"), "2020-01-01"]
    documents = [against(folder, name)[0] for name in names]
    labels = [document.pop("old") for document in documents]
    assert [d["old_survey"].pop("label") for d in documents] == labels
    assert labels == ["edition first", "edition first", "first.geojson", "edition of 2020-01-01"]
    assert all(document == documents[0] for document in documents)


def test_the_change_of_a_green(folder):
    document, _ = against(folder, "first")
    row = document["surfaces"][0]
    assert row["id"] == "g1" and row["verdict"] == "smaller"
    # edges of 88 m (0.3 and its bias 0.05) and 80 m (0.1 and 0.05), vertices 0.05·sqrt(2)·side
    vertices = 0.05 * 2**0.5 * np.hypot(22, 20)
    expected = np.sqrt((88 * 0.3) ** 2 + (88 * 0.05) ** 2 + (80 * 0.1) ** 2 + 16 + vertices**2)
    assert row["u_difference_m2"] == pytest.approx(expected, rel=1e-3)
    assert row["difference_m2"] == pytest.approx(-84.0, rel=1e-4)
    assert row["lost_m2"] == pytest.approx(84.0, rel=1e-4)
    assert row["gained_m2"] == 0
    assert row["edge_maximum_m"] == pytest.approx(2**0.5, rel=1e-4)
    assert document["surfaces"][1]["verdict"] == "unchanged"
    assert document["surfaces"][1]["edge_maximum_at"] is None


def test_surfaces_of_one_survey_only(folder):
    document, _ = against(folder, "first")
    assert [row["id"] for row in document["only_in_old"]] == ["gone"]
    assert [row["id"] for row in document["only_in_new"]] == ["t1"]
    totals = {row["kind"]: row for row in document["totals"]}
    assert totals["tee"]["difference_m2"] == pytest.approx(36.0, rel=1e-4)
    assert (totals["tee"]["old_surfaces"], totals["tee"]["new_surfaces"]) == (1, 1)
    assert totals["all"]["difference_m2"] == pytest.approx(-48.0, rel=1e-4)


def test_the_map_layer_adds_up_to_the_change(folder):
    document, features = against(folder, "first")
    signed = {"gained": 1, "lost": -1}
    sums = sum(f["properties"]["area_m2"] * signed[f["properties"]["change"]] for f in features)
    totals = {row["kind"]: row for row in document["totals"]}
    assert sums == pytest.approx(totals["all"]["difference_m2"], abs=1e-4)
    assert {f["properties"]["surface"] for f in features} == {"g1", "gone", "t1"}
    for feature in features:
        assert feature["properties"]["old_survey"] == "edition first (2020-01-01)"
        assert feature["properties"]["new_survey"] == "boundaries in force (2026-01-01)"
    assert all(shapely.is_valid(f["geometry"]) for f in features)


@pytest.fixture
def regrouped(site_folder):
    """g1 was split, t1 and t2 were merged into t1, everything else lies 0.4 m farther east."""
    shift = 0.4 / 111_320 / np.cos(np.radians(LAT))
    old = [
        surface("g1", "green", square(LON, LAT, 20.0)),
        surface("g2", "green", square(*G2, 30.0)),
        *(surface(f"p{k}", "green", square(LON + 0.002, LAT + 0.001 * k, 15.0)) for k in (1, 2, 3)),
        *(surface(f"t{k}", "tee", half(k)) for k in (1, 2)),
    ]
    new = [
        surface("g1a", "green", part(0.0, 0.4)),
        surface("g1b", "green", part(0.4, 1.0)),
        surface("g2", "green", square(G2[0] + shift, G2[1], 30.0)),
        *(
            surface(f"p{k}", "green", square(LON + 0.002 + shift, LAT + 0.001 * k, 15.0))
            for k in (1, 2, 3)
        ),
        surface("t1", "tee", square(LON, LAT + 0.005, 10.0)),
    ]
    head = {"source": "new.gpkg", "source_crs": "EPSG:32631", "datum_accuracy_m": 1.0}
    return site_folder(
        surfaces=collection(new, valid_from="2026-01-01", **head),
        catches=None,
        loads=None,
        dressings=None,
        files={"editions/first.geojson": collection(old, valid_from="2020-01-01")},
    )


def part(begin: float, end: float) -> dict:
    """A part of the square of 20 m of g1, from west to east."""
    west, south, east, north = shapely.geometry.shape(square(LON, LAT, 20.0)).bounds
    box = shapely.box(west + begin * (east - west), south, west + end * (east - west), north)
    return shapely.geometry.mapping(box)


def half(k: int) -> dict:
    west, south, east, north = shapely.geometry.shape(square(LON, LAT + 0.005, 10.0)).bounds
    middle = (west + east) / 2
    sides = shapely.box(west, south, middle, north), shapely.box(middle, south, east, north)
    return shapely.geometry.mapping(sides[k - 1])


def test_split_and_merged_surfaces_are_told_as_such(regrouped):
    document, features = against(regrouped, "first")
    told = [(row["change"], row["old_ids"], row["new_ids"]) for row in document["regrouped"]]
    assert told == [("split", ["g1"], ["g1a", "g1b"]), ("merged", ["t1", "t2"], ["t1"])]
    for row in document["regrouped"]:
        assert row["difference_m2"] == pytest.approx(0.0, abs=0.01)
        assert row["verdict"] == "within uncertainty"
    assert document["only_in_old"] == [] and document["only_in_new"] == []
    assert [row["id"] for row in document["surfaces"]] == ["g2", "p1", "p2", "p3", "t1"]
    # ground that only changed its name is neither gained nor lost
    assert {f["properties"]["surface"] for f in features} == {"g2", "p1", "p2", "p3"}
    totals = {row["kind"]: row for row in document["totals"]}
    assert totals["tee"]["difference_m2"] == pytest.approx(0.0, abs=0.01)
    lines = against_lines(document, "metric")
    assert "g1 was split into g1a and g1b; together the same ground as before." in lines
    assert "t1 and t2 were merged into t1; together the same ground as before." in lines
    document["regrouped"][0].update(difference_m2=-12.0, u_difference_m2=3.1, verdict="smaller")
    changed = "g1 was split into g1a and g1b; together −12.0 ± 3.1 m², smaller."
    assert changed in against_lines(document, "metric")


def test_a_shift_of_the_whole_survey_is_told_first(regrouped):
    document, _ = against(regrouped, "first")
    assert document["offset"]["east_m"] == pytest.approx(0.4, abs=0.002)
    assert document["offset"]["north_m"] == pytest.approx(0.0, abs=0.002)
    first = against_lines(document, "metric")[0]
    assert first.startswith("All surfaces lie 0.40 m farther east in the new survey (median of 5)")
    assert first.endswith("The shift to WGS 84 is good to 1.00 m only.")
    assert "that moved. It changes no area, but is in what was gained and lost. The" in first
    # edges so far apart are no sign of a change where the reference systems lie so unsurely
    assert {row["verdict"] for row in document["surfaces"][:4]} == {"within uncertainty"}


def test_what_one_survey_has_alone_and_what_all_of_a_kind_did(folder):
    """Greens lost 84 m² and tees gained 36 m², each beyond 2 u; both together lost 48 ± 31 m²."""
    document, _ = against(folder, "first")
    lines = [line.replace("\u202f", " ") for line in against_lines(document, "metric")]
    assert "Only in the old survey: gone (64.0 m²)." in lines
    assert "New: t1 (100.0 m²)." in lines
    assert "Drawn the same in both: g2." in lines
    kinds = {row["kind"]: row["u_difference_m2"] for row in document["totals"]}
    assert 2 * kinds["green"] < 84 and 2 * kinds["tee"] < 36 and 2 * kinds["all"] > 48
    told = {line.partition(":")[0]: line for line in lines if line.startswith("All ")}
    assert told["All of kind green"].endswith(" m², larger than its uncertainty.")
    assert told["All of kind tee"].endswith(" m², larger than its uncertainty.")
    assert told["All surfaces"].endswith(" m², within its uncertainty (2 u).")
    assert "−48.0 ± " in told["All surfaces"]
    assert not [line for line in lines if "lie" in line and "farther" in line]


def test_a_kind_that_only_rounding_moved_did_nothing(folder):
    """Ground written anew to nine decimals differs by 1e-6 m² and has no u of a change."""
    document, _ = against(folder, "first")
    tees = next(row for row in document["totals"] if row["kind"] == "tee")
    tees.update(difference_m2=1e-6, u_difference_m2=0.0)
    assert not [one for one in against_lines(document, "metric") if "All of kind tee" in one]


@pytest.mark.parametrize(
    ("count", "said"),
    [
        (5, "Drawn the same in both: g0, g1, g2, g3, g4."),
        (6, "All 6 surfaces that both have are drawn the same."),
    ],
)
def test_surveys_that_are_the_same_say_so(site_folder, count, said):
    greens = [surface(f"g{k}", "green", square(LON + 0.001 * k, LAT, 20.0)) for k in range(count)]
    folder = site_folder(
        surfaces=collection(greens, valid_from="2026-01-01"),
        catches=None,
        loads=None,
        dressings=None,
        files={"editions/first.geojson": collection(greens, valid_from="2020-01-01")},
    )
    lines = against_lines(against(folder, "first")[0], "metric")
    assert lines[0] == said
    assert not [line for line in lines if line.startswith(("Only in", "New:", "The edge moved"))]


def test_ground_that_was_divided_anew(site_folder):
    """Two halves of a square became four fifths and one, so that most of the second is in both."""
    west, south, east, north = shapely.geometry.shape(square(LON, LAT + 0.005, 10.0)).bounds
    cut = west + 0.8 * (east - west)
    parts = shapely.box(west, south, cut, north), shapely.box(cut, south, east, north)
    new = [surface(f"n{k}", "tee", shapely.geometry.mapping(p)) for k, p in enumerate(parts)]
    old = [surface(f"t{k}", "tee", half(k)) for k in (1, 2)]
    folder = site_folder(
        surfaces=collection([SURFACES[0], *new], valid_from="2026-01-01"),
        catches=None,
        loads=None,
        dressings=None,
        files={"editions/first.geojson": collection([SURFACES[0], *old], valid_from="2020-01-01")},
    )
    lines = against_lines(against(folder, "first")[0], "metric")
    words = "t1 and t2 are now divided into n0 and n1; together the same ground as before."
    assert words in lines
    assert not [line for line in lines if line.startswith(("Only in", "New:"))]


def test_claims_outside_that_our_own_uncertainty_could_explain_are_told_apart(folder):
    """g1 is 400 m² with u near 9 m²: 410 m² are 1.1 u away, 440 m² 4.5 u, 401 m² are allowed."""
    apart = "outside, but not told apart from our own uncertainty (2 u)."
    for area, outside, told in ((410, 1, True), (440, 1, False), (401, 0, False)):
        rows = f"id,area_m2,tolerance_percent\ng1,{area},1\n"
        lines = claimed_lines(claimed(folder, rows)[0])
        assert lines[0] == f"1 claim compared: {1 - outside} within, {outside} outside."
        assert (f"g1: {apart}" in lines) is told
        assert any(apart in line for line in lines) is told


def round_green(corners, radius=13.0, name="g1", arc=None):
    """A green of so many corners round the place; of its corners only those of ``arc``."""
    t = 2 * np.pi * np.arange(corners)[arc or slice(None)] / corners
    north, east = radius / 111_180.0, radius / 111_320.0 / np.cos(np.radians(LAT))
    places = np.column_stack([LON + east * np.cos(t), LAT + north * np.sin(t)]).tolist()
    return surface(name, "green", {"type": "Polygon", "coordinates": [[*places, places[0]]]})


def two_surveys(site_folder, before, after):
    sure = {"edge_accuracy_m": 0.05, "edge_bias_m": 0.02}
    old = collection(before, valid_from="2020-01-01", **sure)
    new = collection(after, valid_from="2026-01-01", **sure)
    plain = {"dressings": None, "loads": None, "catches": None}
    return site_folder(surfaces=new, files={"editions/first.geojson": old}, **plain)


def test_corners_farther_apart_in_one_survey_are_told(site_folder):
    """A round green of 13 m, 16 corners before and 72 now: 2.4 % more, and nothing changed."""
    for before, after, who, which in ((16, 72, "old", "gained"), (72, 16, "new", "lost")):
        old, new = [round_green(before)], [round_green(after)]
        document, _ = against(two_surveys(site_folder, old, new), "first")
        (text,) = [f["text"] for f in document["findings"]]
        assert text.startswith(f"its corners lie farther apart on its bends in the {who} survey:")
        assert text.endswith(f" m² of what it {which} is no change")
        told = float(text.split("about ")[1].split(" m²")[0])
        assert told == pytest.approx(abs(document["surfaces"][0]["difference_m2"]), rel=0.08)


@pytest.mark.parametrize(
    "after",
    [
        [round_green(16, arc=slice(9))],  # half was given up, the other half has the same corners
        [round_green(16, arc=slice(9)), round_green(16, name="g2", arc=[*range(8, 16), 0])],
        [round_green(72, radius=12.0)],  # it only lost ground: there is nothing gained to explain
    ],
    ids=["cut", "split", "smaller"],
)
def test_corners_explain_nothing_that_is_not_in_the_table(site_folder, after):
    document, _ = against(two_surveys(site_folder, [round_green(16)], after), "first")
    assert document["surfaces"][0]["gained_m2"] == pytest.approx(0.0, abs=1e-3)
    assert document["surfaces"][0]["lost_m2"] > 60
    assert document["findings"] == []


def test_corners_that_both_surveys_have_explain_nothing(site_folder):
    """Beside a half disc a strip gave way to a tongue: its bends end in corners now."""
    half = round_green(16, radius=40.0, arc=[*range(12, 16), *range(5)])
    (ring,) = half["geometry"]["coordinates"]
    east, north = 1 / 111_320.0 / np.cos(np.radians(LAT)), 1 / 111_180.0

    def with_west(*corners):
        more = [[LON + x * east, LAT + y * north] for x, y in corners]
        coordinates = [[*ring[:-1], *more, ring[0]]]
        return surface("g1", "green", {"type": "Polygon", "coordinates": coordinates})

    old = with_west((-12, 40), (-12, -40))
    new = with_west((0, 5), (-24, 5), (-24, -5), (0, -5))
    document, _ = against(two_surveys(site_folder, [old], [new]), "first")
    (row,) = document["surfaces"]
    assert row["gained_m2"] == pytest.approx(120.0, abs=0.5)
    assert row["lost_m2"] == pytest.approx(840.0, abs=2.0)
    assert document["findings"] == []


def test_corners_of_what_was_split_are_not_held_against_a_part_of_it(site_folder):
    parts = [round_green(72, arc=slice(37)), round_green(72, name="g2", arc=[*range(36, 72), 0])]
    document, _ = against(two_surveys(site_folder, [round_green(16)], parts), "first")
    assert [row["change"] for row in document["regrouped"]] == ["split"]
    assert document["surfaces"][0]["gained_m2"] > 5 and document["findings"] == []


def test_no_more_is_no_change_than_was_gained(site_folder):
    """Half of a green of 16 corners was given up; the other half was drawn anew with 72."""
    cut = round_green(72, arc=slice(37))
    document, _ = against(two_surveys(site_folder, [round_green(16)], [cut]), "first")
    gained = document["surfaces"][0]["gained_m2"]
    (text,) = [f["text"] for f in document["findings"]]
    assert 5 < gained < 8 and f"about {gained:.2f} m² of what it gained" in text


def test_datums_that_are_known_to_each_other_explain_a_shift(folder):
    """GDA94 and GDA2020 in one zone, 144.95° E, 37.82° S: 0.52 m east and 1.46 m north."""
    site = read_site(folder)
    new = survey_in_force(site)
    metre = 1 / 111_320.0
    lon, lat = 144.95 - LON, -37.82 - LAT

    def there(survey, crs, east=0.0, north=0.0):
        place = [lon + east * metre / np.cos(np.radians(37.82)), lat + north * metre]
        shapes = shapely.transform(survey.surfaces.geometry, lambda points: points + place)
        surfaces = replace(survey.surfaces, geometry=shapes)
        return replace(survey, surfaces=surfaces, source_crs=crs, datum_accuracy_m=3.0)

    old = there(new, "EPSG:28355")
    for east, explained in ((0.52, True), (2.52, False)):
        moved = there(new, "EPSG:7855", east, 1.46)
        document = against_document(old, moved, compared(old, moved))
        assert document["datum_gap"]["is_offset"] is explained
        assert document["datum_gap"]["north_m"] == pytest.approx(1.46, abs=0.01)
        first, second = against_lines(document, "metric")[:2]
        assert first.startswith("The old survey came in GDA94, the new one in GDA2020: ground that")
        assert second.startswith("All surfaces lie") is not explained
    alone = replace(old, source_crs="EPSG:7855")
    assert against_document(alone, moved, compared(alone, moved))["datum_gap"] is None


def test_a_datum_shift_that_both_surveys_went_through_is_no_difference(regrouped):
    site = read_site(regrouped)
    new, old = survey_in_force(site), read_other_survey(regrouped, site, "first")
    assert (old.source_crs, new.source_crs) == ("", "EPSG:32631")
    assert datum_between_m(old, new) == 1.0
    assert datum_between_m(new, replace(new, datum_accuracy_m=2.0)) == 0.0
    other = replace(new, source_crs="EPSG:27700", datum_accuracy_m=2.0)
    assert datum_between_m(new, other) == pytest.approx(5**0.5)


def test_the_heading_says_which_surveys_and_their_days(regrouped):
    document, _ = against(regrouped, "first")
    assert against_head(document) == [
        "Two surveys side by side",
        "  old: edition first, from 1 January 2020",
        "  new: boundaries in force, from 1 January 2026 (new.gpkg, EPSG:32631)",
    ]
    assert document["old_survey"]["valid_from"] == "2020-01-01"
    assert document["new_survey"]["datum_accuracy_m"] == 1.0


@pytest.mark.parametrize("units", ["metric", "us"])
def test_tables_fit_a_window_of_80_columns(regrouped, folder, units):
    claims = claimed(folder, "id,area_m2\ng1,440\ngreen,13000\n")[0]
    for table in (
        against_table(against(regrouped, "first")[0], units),
        against_table(against(folder, "first")[0], units),
        claimed_table(claims, units),
    ):
        lines = table.lines(80)
        assert max(map(len, lines)) <= 80
        heads = max(head.count("\n") + 1 for head in table.heads)
        assert len([line for line in lines if line.strip()]) == 2 + heads + len(table.rows)


def test_another_site_folder(folder, site_folder):
    other = site_folder("other", surfaces=OLD, catches=None, loads=None, dressings=None)
    document, _ = against(folder, str(other))
    assert document["old"] == f"Test site ({other.name})"
    assert document["surfaces"][0]["lost_m2"] == pytest.approx(84.0, rel=1e-4)


@pytest.mark.parametrize("ending", ["gpkg", "shp"])
def test_a_boundary_file_of_another_format(folder, tmp_path, ending):
    """The old survey as its maker handed it over, in a projected CRS."""
    import geopandas

    names = [f["properties"]["id"] for f in OLD]
    kinds = [f["properties"]["kind"] for f in OLD]
    shapes = [shapely.geometry.shape(f["geometry"]) for f in OLD]
    frame = geopandas.GeoDataFrame({"id": names, "kind": kinds}, geometry=shapes, crs=4326)
    path = tmp_path / f"old.{ending}"
    frame.to_crs(32626).to_file(path)
    document, _ = against(folder, str(path))
    assert document["old_survey"]["source_crs"] == "EPSG:32626"
    assert document["old_survey"]["label"] == f"old.{ending}"
    assert document["surfaces"][0]["lost_m2"] == pytest.approx(84.0, abs=0.02)
    assert [row["id"] for row in document["only_in_old"]] == ["gone"]


def test_height_and_kind_that_changed_are_said(folder, site_folder):
    changed = [
        surface("g1", "lawn", square(LON, LAT, 20.0), elevation_m=1000),
        surface("second", "green", square(*G2, 30.0)),
    ]
    other = site_folder("other", surfaces=changed, catches=None, loads=None, dressings=None)
    texts = {f["about"]: f["text"] for f in against(folder, str(other))[0]["findings"]}
    assert texts["g2"] == "was called second: paired by the ground they share"
    said = [f["text"] for f in against(folder, str(other))[0]["findings"] if f["about"] == "g1"]
    assert said == [
        "was of kind lawn, is now green",
        "−0.13 m² of it is another height or slope, not boundary",
    ]


def test_refusals_of_the_other_survey(folder, tmp_path, site_folder):
    with pytest.raises(Refused) as none:
        against(folder, "third")
    assert str(none.value) == (
        "third: there is no such survey. Name a site folder, a boundary file or an edition; "
        "the site's editions are 'first', '2020-01-01', '2026-01-01'."
    )
    plan = tmp_path / "plan.dxf"
    plan.write_text("0")
    with pytest.raises(Refused, match=r"plan\.dxf: .*not a DXF file.*Save it as DXF R2010 again"):
        against(folder, str(plan))  # nothing that `new` could decide
    asked = tmp_path / "asked.csv"  # says no CRS
    asked.write_text('id,kind,wkt\ng1,green,"POLYGON((10 50, 10.001 50, 10.001 50.001, 10 50))"\n')
    with pytest.raises(Refused, match=r"asked\.csv: .*Set up a site of its own with geosand new"):
        against(folder, str(asked))
    broken = tmp_path / "broken.geojson"
    broken.write_text('{"type": "FeatureCollection", "features": [')
    with pytest.raises(Refused, match=r"broken\.geojson: is not JSON"):
        against(folder, str(broken))
    away = [surface(i, "green", square(LON + 0.5, LAT, 20.0)) for i in ("g1", "g2", "t1")]
    other = site_folder("away", surfaces=away[:1], catches=None, loads=None, dressings=None)
    with pytest.raises(Refused, match=r"its surfaces lie about 38 km from those of the same ids"):
        against(folder, str(other))
    strange = [surface("x", "green", square(LON + 0.5, LAT, 20.0))]
    other = site_folder("strange", surfaces=strange, catches=None, loads=None, dressings=None)
    with pytest.raises(Refused, match="no surface of it has an id of this site, or lies where"):
        against(folder, str(other))


def test_all_faults_of_the_other_survey_are_told(folder, tmp_path):
    bad = tmp_path / "bad.geojson"
    features = [surface("a b", "green", square(LON, LAT, 9)), surface(None, None, None)]
    bad.write_bytes(json.dumps(collection(features)).encode())
    with pytest.raises(Refused) as refusal:
        against(folder, str(bad))
    assert len(refusal.value.faults) >= 3


def claimed(folder: Path, text: str, tolerance: float | None = None, name: str = "list.csv"):
    path = folder / name
    path.write_bytes(text.encode())
    site = read_site(folder)
    claims, findings = read_claimed_areas(path)
    document = claimed_document(claims, site, register_document(site), name, tolerance)
    return document, findings


def test_a_number_in_another_unit_than_the_column_says(folder):
    text = "id,area_ft2\ng1,400\ng2,0.22\ngreen,13993\n"  # m², acres, and right
    rows = claimed(folder, text)[0]["surfaces"]
    assert [row["hint"] for row in rows] == [
        "the number looks like square metres",
        "the number looks like acres",
        None,
    ]
    assert [row["verdict"] for row in rows] == ["outside", "outside", "within"]


def test_all_of_a_kind_as_drawn(folder, site_folder):
    """The claim of a kind is held against its sum as drawn too."""
    over = surface("w", "fairway", square(LON, LAT, 60.0))
    site = site_folder("over", surfaces=[*SURFACES, over])
    rows = claimed(site, "name,area_m2\nfairway,3600\n")[0]["surfaces"]
    assert rows[0]["hint"] == "it agrees with the area as drawn, before what lies on top is cut out"


def test_claims_by_id_name_and_kind(folder):
    text = "id,name,area_m2\ng1,,440\n,second  GREEN,900\ngreen,,1300\nnowhere,,5\n"
    document, findings = claimed(folder, text)
    rows = document["surfaces"]
    assert [row["id"] for row in rows] == ["g1", "g2", None]
    assert [row["verdict"] for row in rows] == ["within", "within", "within"]
    assert rows[0]["difference_percent"] == pytest.approx(10.0, abs=1e-3)
    assert document["unmatched_claims"] == ["nowhere"]
    assert document["unmatched_surfaces"] == ["t1"]
    assert findings == []


def test_a_list_may_head_its_surfaces_as_the_register_does(folder):
    """The column ``surface`` of what ``areas`` prints; beside an id it is a note."""
    document, _ = claimed(folder, "surface,area_m2\ng1,400\nSecond green,900\n")
    assert [row["id"] for row in document["surfaces"]] == ["g1", "g2"]
    document, _ = claimed(folder, "id,surface,area_m2\ng1,rough,400\n")
    assert [row["id"] for row in document["surfaces"]] == ["g1"]


def test_a_claim_is_known_by_the_id_that_its_name_makes(folder):
    """A plan's "(G1)" is no id and no name of the site; the import would have made g1 of it."""
    document, _ = claimed(folder, "name,area_sqft\n(G1),4305.564\n")
    assert [row["id"] for row in document["surfaces"]] == ["g1"]
    assert document["surfaces"][0]["difference_percent"] == pytest.approx(0.0, abs=1e-2)


def test_kinds_in_the_plural_are_sums_by_kind_and_totals_are_told(folder):
    """As architects close their lists: sums by kind with how many they are, subtotals, a total."""
    text = "name,area_m2\nGreens (2),1300\nSubtotal,1300\nTEES,100\nSubtotal,100\nGrand total,9\n"
    document, _ = claimed(folder, text)
    assert [(r["claim"], r["kind"], r["verdict"]) for r in document["surfaces"]] == [
        ("Greens (2)", "green", "within"),
        ("TEES", "tee", "within"),
    ]
    assert claimed_lines(document)[-1] == (
        "Sums, not compared: Subtotal, Grand total; a kind's name stands for all of that kind, all"
        " for the whole site."
    )


def test_surfaces_that_no_claim_names_are_counted_once(site_folder):
    """105 in all: 12 runs and names, and the rest of them, not twice the rest."""
    ids = [f"b{k}{side}" for k in range(1, 16) for side in "lr"]
    more = [surface(one, "bunker", square(LON + k / 90, LAT, 5.0)) for k, one in enumerate(ids, 9)]
    site = site_folder("many", surfaces=[*SURFACES, *more])
    last = claimed_lines(claimed(site, "name,area_m2\nnone,5\n")[0])[-1]
    assert last.startswith("On the site but not in list.csv (33): b1l, b1r, b2l, ")
    assert last.endswith(", b6l, b6r and 21 more.")


def test_a_kind_of_which_no_surface_is_claimed_stays_unmatched(folder):
    document, _ = claimed(folder, "name,area_m2\nFirst tee,100\n")
    assert document["unmatched_surfaces"] == ["g1", "g2"]
    document, _ = claimed(folder, "name,area_m2\nall,1400\n")
    assert document["unmatched_surfaces"] == []


def test_the_row_s_tolerance_before_the_stated_one_before_the_site_s(folder):
    text = "id,area_m2,tolerance_percent\ng1,412,2\ng2,927,\n"
    plain, _ = claimed(folder, text)
    stated, _ = claimed(folder, text, tolerance=0.01)
    assert [r["tolerance_percent"] for r in plain["surfaces"]] == [2, 10]
    assert [r["verdict"] for r in plain["surfaces"]] == ["outside", "within"]
    assert [r["tolerance_percent"] for r in stated["surfaces"]] == [2, 1]
    assert [r["verdict"] for r in stated["surfaces"]] == ["outside", "outside"]


@pytest.mark.parametrize(
    ("column", "number"),
    [  # 400 m² in other units: NIST SP 811, B.8
        ("area_ft2", 4305.56417),
        ("area_ha", 0.04),
        ("area_acre", 0.098842153),
        ("area_yd2", 478.396019),
    ],
)
def test_units_at_the_door(folder, column, number):
    document, _ = claimed(folder, f"id;{column}\ng1;{number}\n")
    assert document["surfaces"][0]["claimed_m2"] == pytest.approx(400.0, rel=1e-8)


def test_all_faults_of_a_list_at_once(folder):
    text = "id,area_m2,tolerance_percent\ng1,abc,1\n,5,1\ng2,-3,1\nG1,400,200\nt1,,1\n"
    with pytest.raises(Refused) as refusal:
        claimed(folder, text)
    lines = str(refusal.value).splitlines()
    assert sorted(lines) == sorted(
        [
            "list.csv, row 2, area_m2: 'abc' is not a number; allowed: digits, with a point as the"
            " decimal mark and nothing between thousands.",
            "list.csv, row 6, area_m2: no number is written here. Fill it in.",
            "list.csv, row 3, id: no id and no name is written here. Name the surface.",
            "list.csv, row 5, id: 'G1' is there already (row 2). Give each surface one row.",
            "list.csv, row 4, area_m2: -3 can not be right; allowed: more than 0.",
            "list.csv, row 5, tolerance_percent: 200 can not be right; allowed: at most 100.",
        ]
    )


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "list.csv: is empty. Its first line names the columns."),
        ("id,area_m2\n", "list.csv: holds no claims. Give a row for each surface."),
        ("PK\x03\x04x", "list.csv: is not a workbook that can be read"),
        ("name,Area (ha)\ng1,1\n", "the areas are headed 'Area (ha)'. Call that column area_ha."),
        ("name,Area sq ft\ng1,1\n", "headed 'Area sq ft'. Call that column area_ft2."),
        ("id,area\ng1,400\n", "list.csv, area: area does not say its unit. Call it area_m2"),
        ("id,area_kg\ng1,400\n", "'kg' is no area: use one of"),
        ("plot,area_m2\ng1,400\n", "list.csv: there is no id and no name. Add id or name."),
        ("id,size\ng1,400\n", "there is no area_m2 or area_… with another unit."),
        ("id,area_m2,area_ft2\ng1,400,4305\n", "area_m2 and area_ft2 say the same thing."),
        ("id,area_m2\ng1,inf\n", "'inf' is not a number"),
        ('id,area_m2\n"g1,400\n', "is not CSV"),
    ],
)
def test_refusals_of_a_list(folder, text, said):
    with pytest.raises(Refused) as refusal:
        claimed(folder, text)
    assert said in str(refusal.value)


def test_a_list_in_a_workbook_is_read_as_the_same_list_in_text(folder):
    """With a title above its heads, a sheet of notes beside it and areas that a formula made."""
    book = openpyxl.Workbook()
    book.active.append(["Audit of areas"])
    book.active.append(["as agreed in autumn", 3])
    notes = book.create_sheet("Areas", 0)
    for row in ([], ["What we claim"], ["name", "area_m2"], [], ["Green 1", 400], ["g2", "abc"]):
        notes.append(row)
    book.save(folder / "list.xlsx")
    with pytest.raises(Refused, match=r"list\.xlsx, row 6, area_m2: 'abc' is not a number"):
        read_claimed_areas(folder / "list.xlsx")
    notes["B6"] = 380.5
    book.save(folder / "list.xlsx")
    claims, _ = read_claimed_areas(folder / "list.xlsx")
    assert claims.label.tolist() == ["Green 1", "g2"]
    assert claims.area_m2.tolist() == [400.0, 380.5]
    assert claims.row.tolist() == [5, 6]
    book.copy_worksheet(notes)
    book.save(folder / "list.xlsx")
    with pytest.raises(Refused, match=r"has 2 sheets .* Keep the one that is meant"):
        read_claimed_areas(folder / "list.xlsx")
    openpyxl.Workbook().save(folder / "list.xlsx")
    with pytest.raises(Refused, match=r"has 0 sheets .* Name the columns of one so"):
        read_claimed_areas(folder / "list.xlsx")


def test_a_missing_list(folder):
    with pytest.raises(Refused, match=r"there is no such file\. Name a CSV file"):
        read_claimed_areas(folder / "none.csv")


def test_a_name_that_two_surfaces_have(site_folder):
    twins = [
        surface("g1", "green", square(LON, LAT, 20.0), name="Green"),
        surface("g2", "green", square(*G2, 30.0), name="green "),
    ]
    folder = site_folder(surfaces=twins, catches=None, loads=None, dressings=None)
    with pytest.raises(Refused) as refusal:
        claimed(folder, "name,area_m2\nGREEN,400\n")
    assert str(refusal.value) == (
        "list.csv, row 2: 'GREEN' is the name of g1, g2. Give the id instead."
    )
    with pytest.raises(Refused, match="'Practice' and 'g1' are the same surface"):
        twins[0]["properties"]["name"] = "practice"
        folder = site_folder("two", surfaces=twins, catches=None, loads=None, dressings=None)
        claimed(folder, "name,area_m2\ng1,400\nPractice,400\n")


def test_the_other_survey_takes_accuracies_from_the_site(site_folder, tmp_path):
    plain = collection(OLD)
    path = tmp_path / "plain.geojson"
    path.write_bytes(json.dumps(plain).encode())
    rough = TOML.replace("edge_accuracy_m = 0.10", "edge_accuracy_m = 0.40")
    u = []
    for name, toml in (("fine", TOML), ("rough", rough)):
        folder = site_folder(name, toml=toml)
        u.append(against(folder, str(path))[0]["surfaces"][0]["u_difference_m2"])
    lengths = np.hypot(80, 88)
    assert u[1] ** 2 - u[0] ** 2 == pytest.approx((0.4**2 - 0.1**2) * lengths**2, rel=1e-3)
