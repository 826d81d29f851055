"""Two surveys side by side: what changed and what explains it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from geosand.formats.other_survey import read_other_survey, survey_in_force
from geosand.formats.site_folder import read_site
from geosand.reports.area_comparison import against_document
from geosand.reports.compared import compared, datum_between_m
from geosand.reports.comparison_console import (
    against_head,
    against_lines,
    against_table,
    claimed_table,
)
from tests.reports.conftest import against, claimed
from tests.sites import G2, LAT, LON, SURFACES, collection, square, surface


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
