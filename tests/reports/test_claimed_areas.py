"""A list of claimed areas held against the site's own."""

from __future__ import annotations

import openpyxl
import pytest

from geosand.errors import Refused
from geosand.formats.claimed_areas import read_claimed_areas
from geosand.reports.comparison_console import (
    claimed_lines,
)
from tests.reports.conftest import claimed
from tests.sites import G2, LAT, LON, SURFACES, square, surface


def test_claims_outside_that_our_own_uncertainty_could_explain_are_told_apart(folder):
    """g1 is 400 m² with u near 9 m²: 410 m² are 1.1 u away, 440 m² 4.5 u, 401 m² are allowed."""
    apart = "outside, but not told apart from our own uncertainty (2 u)."
    for area, outside, told in ((410, 1, True), (440, 1, False), (401, 0, False)):
        rows = f"id,area_m2,tolerance_percent\ng1,{area},1\n"
        lines = claimed_lines(claimed(folder, rows)[0])
        assert lines[0] == f"1 claim compared: {1 - outside} within, {outside} outside."
        assert (f"g1: {apart}" in lines) is told
        assert any(apart in line for line in lines) is told


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
