"""What is accepted: valid input of every form, and input that is accepted with a finding."""

from __future__ import annotations

import numpy as np
import pytest

from geosand.areas.ellipsoid import ellipsoid_areas_m2
from geosand.formats.site_folder import read_site
from tests.sites import (
    CATCHES,
    DRESSINGS,
    LAT,
    LOADS,
    LON,
    TOML,
    catch,
    collection,
    points,
    square,
    surface,
)

HEAD = "dressing,date,surfaces"
LOAD = "load,dressing,count,unit_mass_kg"
MOIST = TOML.replace("moisture_dry_basis_percent = 0.0", "moisture_dry_basis_percent = 4.0")


def findings(folder) -> list[str]:
    return [str(f) for f in read_site(folder).findings]


def test_the_valid_site_has_no_finding_and_the_right_numbers(site):
    assert site.findings == ()
    assert site.ids.tolist() == ["g1", "g2", "t1"]
    assert site.surfaces.target_m == pytest.approx([0.009, 0.009, 0.004])
    assert ellipsoid_areas_m2(site.surfaces.geometry) == pytest.approx([400, 900, 100], rel=1e-5)
    assert site.dressings.date.tolist() == [np.datetime64("2026-04-10").item()]
    assert site.dressed.surface.tolist() == [0, 1]
    assert site.dressed.planned_m == pytest.approx([0.0006, 0.0006])
    assert site.loads.count.tolist() == [52.0]
    assert site.loads.u_label.tolist() == [0.01]
    assert site.catches.tray_area_m2 == pytest.approx(np.full(6, 0.1))
    assert site.catches.half_diagonal_m[0] == pytest.approx(0.235849528)  # √(0.4² + 0.25²)/2
    assert site.catches.caught_kg == pytest.approx([0.092, 0.097, 0.088, 0.090, 0.095, 0.086])
    assert site.catches.place.tolist() == list(range(2, 8))
    assert site.moistures.ratio[site.catches.moisture].tolist() == [0.0] * 6
    assert len(site.inputs["site.toml"]) == 64


def test_a_target_in_quotes_is_a_number_like_all_settings(site_folder):
    toml = TOML.replace("green = 9.0", 'green = "9.0"').replace(
        "nce_percent = 10", 'nce_percent = "10"'
    )
    site = read_site(site_folder(toml=toml))
    assert site.findings == ()
    assert site.surfaces.target_m == pytest.approx([0.009, 0.009, 0.004])


def same(one, other, skip=()):
    """Assert that two tables are equal in all columns."""
    for name in one.__dataclass_fields__:
        if name not in skip:
            a, b = getattr(one, name), getattr(other, name)
            assert np.array_equal(a, b, equal_nan=a.dtype.kind == "f"), name


def test_catches_as_geojson_and_as_csv_are_the_same(site_folder):
    rows = [
        row | {"surface": "g1" if k < 3 else "", "note": f"n{k}"} for k, row in enumerate(CATCHES)
    ]
    one = read_site(site_folder("a", catches=rows))
    other = read_site(site_folder("b", catches=points(rows)))
    same(one.catches, other.catches, skip=("place",))
    assert other.catches.place.tolist() == [-k for k in range(1, 7)]  # features


@pytest.mark.parametrize(
    "encode",
    [
        lambda t: t.encode("utf-8-sig"),
        lambda t: t.encode("utf-16"),
        lambda t: t.encode().replace(b"\n", b"\r\n"),
        lambda t: t.encode().replace(b"\n", b"\r"),
        lambda t: t.replace(",", ";").encode(),
        lambda t: t.replace(",", "\t").encode(),
        lambda t: b"sep=;\r\n" + t.replace(",", ";").encode(),
        lambda t: t.replace(",", ", ").encode(),
        lambda t: b"\n\n" + t.replace("\n", "\n,,,\n").encode(),
        lambda t: ('"' + t.strip().replace(",", '","').replace("\n", '"\n"') + '"').encode(),
        lambda t: t.replace("\n", ",,\n").encode(),
    ],
    ids=[
        "bom",
        "utf-16",
        "crlf",
        "cr",
        "semicolon",
        "tab",
        "sep",
        "spaces",
        "blanks",
        "quotes",
        "wide",
    ],
)
def test_forms_of_csv_give_the_same_site(site_folder, site, encode):
    files = {"dressings": encode(DRESSINGS), "loads": encode(LOADS)}
    other = read_site(site_folder("other", **files))
    same(site.dressings, other.dressings)
    same(site.dressed, other.dressed)
    same(site.loads, other.loads)
    assert other.findings == ()


@pytest.mark.parametrize(
    "days",
    [
        ("2026-04-10", "2026-07-12", "2026-06-03", "2026-06-20"),  # no change about mends it
        ("2026-04-10", "2026-07-07", "2026-06-18"),  # which stays what it is, or is no day
        ("2026-08-05", "2026-05-28"),  # the one or the other
        ("2026-08-05", "2026-05-28", "2026-09-05", "2026-06-20"),  # two are out of order
    ],
)
def test_no_day_and_month_are_doubted_that_would_not_be_in_order_changed_about(site_folder, days):
    head, first = DRESSINGS.splitlines()
    rows = [first.replace("D1,2026-04-10", f"D{k},{day}") for k, day in enumerate(days, start=1)]
    site = read_site(site_folder(dressings="\n".join([head, *rows, ""])))
    assert site.dressings.date.astype(str).tolist() == sorted(days)
    assert not [str(found) for found in site.findings if "out of the order" in found.text]


def test_windows_1252_is_read_with_a_finding(site_folder):
    text = "dressing,date,surfaces,note\nD1,2026-04-10,green,Grün\n".encode("cp1252")
    site = read_site(site_folder(dressings=text))
    assert site.dressings.note.tolist() == ["Grün"]
    assert [str(f) for f in site.findings] == [
        "dressings.csv: is not UTF-8; it is read as Windows-1252: look at names with accents"
    ]


def test_further_columns_of_the_users_own_are_left_alone(site_folder):
    row = catch(
        1, volume_cm3=60, volume_state="dry", volume_method="jug", tare_checked="yes", wind="W"
    ) | {"gross_bags": 3}
    site = read_site(site_folder(catches=[row]))
    assert site.catches.volume_m3[0] == pytest.approx(6e-5)
    assert [str(f).partition(";")[0] for f in site.findings] == [
        "catches.csv: column 'volume_method' is not read",
        "catches.csv: column 'tare_checked' is not read",
        "catches.csv: column 'wind' is not read",
        "catches.csv: column 'gross_bags' is not read (did you mean gross_g?)",
    ]


def test_words_for_nothing_name_no_pool_no_spreader_and_no_ticket(site_folder):
    catches = [c | {"pool": "-" if k else "n/a"} for k, c in enumerate(CATCHES)]
    site = read_site(
        site_folder(
            catches=catches,
            dressings=f"{HEAD},spreader,setting\nD1,2026-04-10,green,None,-\n",
            loads=f"{LOAD},ticket\nL1,D1,52,25,?\n",
        )
    )
    assert site.catches.mass_pool.tolist() == [-1] * 6
    assert site.dressings.spreader.tolist() == [""]
    assert site.dressed.setting.tolist() == ["", ""]
    assert site.loads.ticket.tolist() == [""]


def test_marks_that_are_no_ditto_marks_name_a_pool_a_setting_and_a_ticket(site_folder):
    """As where a ticket is ticked off, or the trays that were weighed together get a star."""
    both = [c | {"pool": "*" if k < 2 else ""} for k, c in enumerate(CATCHES)]
    both[1] |= {"gross_g": "", "tare_g": ""}
    site = read_site(
        site_folder(
            catches=both,
            dressings=f"{HEAD},setting\nD1,2026-04-10,green,+\n",
            loads=f"{LOAD},ticket\nL1,D1,52,25,\u2713\n",
        )
    )
    assert site.catches.mass_pool.tolist() == [0, 0, -1, -1, -1, -1]
    assert site.dressed.setting.tolist() == ["+", "+"]
    assert site.loads.ticket.tolist() == ["\u2713"]


def test_a_setting_that_a_spreadsheet_made_a_day_is_told(site_folder):
    """Of 5-3, or of 5.3 where points part days from months; common practice, no source."""
    rows = [("g1", "2026-03-05"), ("g2", "5-Mar"), ("t1", "5-3")]
    dressings = "\n".join(f"D1,2026-04-10,{surface},{said}" for surface, said in rows)
    told = findings(site_folder(dressings=f"{HEAD},setting\n{dressings}\n"))
    (told,) = [text for text in told if "setting" in text]
    assert told.startswith("dressings.csv: rows 2, 3: setting is a day, as spreadsheets make of")


def test_what_site_toml_says_in_vain_is_a_finding(site_folder):
    toml = TOML.replace("green = 9.0", "green = 9.0\ngren = 5").replace(
        "[catches]", "tolerance_percent = 5\n[sandz.fine]\nx = 1\n[catches]"
    )
    assert findings(site_folder(toml=toml)) == [
        "site.toml: key 'tolerance_percent' is not read",
        "site.toml: 'sandz' is not read; tables are [sands.…], [catches], [targets_mm]",
        "site.toml: a target for 'gren', but no surface is of this kind: did you mean green?",
    ]


def test_hostile_text_is_shown_without_its_controls(site_folder):
    rows = [catch(1, **{"wind\x1b[31m\u202e": 3})]
    said = findings(site_folder(catches=rows))
    assert len(said) == 1
    assert said[0].isprintable()
    assert "'wind·[31m·'" in said[0]


def test_tables_can_not_be_changed(site):
    with pytest.raises(ValueError, match="read-only"):
        site.catches.caught_kg[0] = 1.0


def test_frames_at_the_edge(site):
    surfaces, catches = site.surfaces.to_frame(), site.catches.to_frame()
    assert surfaces.crs.to_string() == "OGC:CRS84"
    assert list(surfaces["id"]) == ["g1", "g2", "t1"]
    assert catches.geometry.x.tolist() == site.catches.lon_degree.tolist()
    assert catches["place"].tolist()[:2] == ["row 2", "row 3"]


def test_frames_name_features(demo):
    assert demo.site.catches.to_frame()["place"].tolist()[:2] == ["feature 1", "feature 2"]


def test_a_dressing_may_name_all_surfaces_of_a_large_site(site_folder):
    """A list is no text: 62 ids of 15 letters are more than the 1,000 characters of a note."""
    ids = [f"hole-{k:03d}-approach" for k in range(70)]
    shapes = [
        surface(name, "approach", square(LON + k * 1e-3, LAT, 20.0)) for k, name in enumerate(ids)
    ]
    folder = site_folder(
        surfaces=collection(shapes),
        dressings=f"{HEAD}\nD1,2026-04-10,{' '.join(ids)}\n",
        loads=f"load,dressing,count,unit_mass_kg,surfaces\nL1,D1,9,25,{' '.join(ids[:65])}\n",
        catches=None,
    )
    site = read_site(folder)
    assert len(site.dressed.surface) == 70
    assert [len(group) for group in site.group_surfaces] == [65]
