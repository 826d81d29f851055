"""Documents of two surveys side by side and of claimed areas."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import shapely

from geosand.errors import Refused
from geosand.formats.claimed_areas import read_claimed_areas
from geosand.formats.other_survey import read_other_survey, surfaces_in_force
from geosand.formats.site_folder import read_site
from geosand.reports.area_comparison import against_document, claimed_document
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
    label, old = read_other_survey(folder, site, named)
    return against_document(label, old, surfaces_in_force(site))


def test_an_edition_by_its_name_its_file_and_its_day_are_the_same(folder):
    names = ["first", "first.geojson", str(folder / "editions" / "first.geojson"), "2020-01-01"]
    documents = [against(folder, name)[0] for name in names]
    labels = [document.pop("old") for document in documents]
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
    assert all(shapely.is_valid(f["geometry"]) for f in features)


def test_another_site_folder(folder, site_folder):
    other = site_folder("other", surfaces=OLD, catches=None, loads=None, dressings=None)
    document, _ = against(folder, str(other))
    assert document["old"] == f"Test site ({other})"
    assert document["surfaces"][0]["lost_m2"] == pytest.approx(84.0, rel=1e-4)


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
        "-0.13 m² of it is another height or slope, not boundary",
    ]


def test_refusals_of_the_other_survey(folder, tmp_path, site_folder):
    with pytest.raises(Refused) as none:
        against(folder, "third")
    assert str(none.value) == (
        "third: there is no such survey. Name a site folder, a .geojson file or an edition; "
        "the site's editions are 'first', '2020-01-01', '2026-01-01'."
    )
    plan = tmp_path / "plan.dxf"
    plan.write_text("0")
    with pytest.raises(Refused, match=r"is no GeoJSON file; allowed: a site folder, a \.geojson"):
        against(folder, str(plan))
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
        ("id,area\ng1,400\n", "list.csv, area: area does not say its unit. Call it area_m2"),
        ("id,area_kg\ng1,400\n", "'kg' is no area: use one of"),
        ("surface,area_m2\ng1,400\n", "list.csv: there is no id and no name. Add id or name."),
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
