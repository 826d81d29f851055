"""``geosand areas`` as a person or a program calls it."""

from __future__ import annotations

import json
import re

import pytest
from click.testing import CliRunner

from geosand.cli import main
from tests.sites import LAT, LON, SURFACES, collection, square, surface

NO_RECORDS = {"dressings": None, "loads": None, "catches": None}
OLD = [surface("g1", "green", square(LON, LAT, 22.0)), SURFACES[1]]


@pytest.fixture
def folder(site_folder):
    old = collection(OLD, valid_from="2020-01-01")
    fairway = surface("f", "fairway", square(LON, LAT, 60.0))
    new = collection([*SURFACES, fairway], valid_from="2026-01-01", source_crs="EPSG:32626")
    return site_folder(surfaces=new, files={"editions/first.geojson": old})


def run(*arguments: object, code: int = 0):
    result = CliRunner().invoke(main, ["areas", *map(str, arguments)])
    assert result.exit_code == code, result.output + result.stderr
    return result


def before(folder) -> dict[str, bytes]:
    return {str(p): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def test_json_has_the_fixed_keys_and_the_additions(folder):
    claims = folder.parent / "claims.csv"
    claims.write_text("id,area_m2\ng1,410\n")
    text = run(folder, "--json", "--against", "first", "--claimed", claims).stdout
    assert "NaN" not in text
    document = json.loads(text)
    keys = {"id", "name", "kind", "area_m2", "u_area_m2", "perimeter_m", "drawn_area_m2"}
    keys |= {"geodesic_area_m2", "equal_area_m2", "grid_area_m2", "findings"}
    assert all(keys <= set(row) for row in document["surfaces"])
    assert {"site", "surfaces", "totals", "against", "claimed"} <= set(document)
    assert document["claimed"]["surfaces"][0]["verdict"] == "within"
    assert document["against"]["only_in_new"][0]["id"] == "t1"


def test_the_text_says_what_a_person_needs(folder):
    text = run(folder).stdout
    assert "400.0" in text and "Totals" in text
    assert (
        "Other surfaces lie on top of some, which own less than was drawn, in m²: f 400.0." in text
    )
    assert "Why grid and ground differ: a plan in WGS 84 / UTM zone 26N shows" in text
    assert "boundary and title work needs a licensed surveyor" in text
    assert "Traceback" not in text


def test_us_units_show_square_feet_and_acres(folder):
    text = run(folder, "--units", "us").stdout
    # 400 m² = 4306 ft², 1300 m² = 0.3212 acre (43 560 square international feet)
    assert "4\u202f306" in text and "0.3212" in text and "acres" in text and "ft²" in text


def test_without_a_grid_nothing_is_said_of_one(site_folder):
    text = run(site_folder()).stdout
    assert "grid" not in text


def test_narrow_windows_keep_every_line_whole(folder):
    from geosand.formats.site_folder import read_site
    from geosand.reports.areas_console import areas_table, findings_lines, totals_table
    from geosand.reports.register import register_document

    document = register_document(read_site(folder))
    for units in ("metric", "us"):
        for width in (80, 120):
            tables = areas_table(document, units, width), totals_table(document, units)
            text = "\n".join(line for table in tables for line in table.lines(width))
            assert max(map(len, text.splitlines())) <= width
            assert "…" not in text
            assert ("geodesic" in text) == (width == 120)
            rows = [line for line in text.splitlines() if re.match(r" (g1|g2|t1|f) ", line)]
            assert len(rows) == 4
        assert any("wider window" in line for line in findings_lines(document, units, 80))
        assert not any("wider window" in line for line in findings_lines(document, units, 120))


def test_alike_findings_are_one_line(site_folder):
    """Six decimals on every surface: one line, not three."""
    rounded = json.loads(json.dumps(SURFACES))
    for feature in rounded:
        ring = feature["geometry"]["coordinates"][0]
        feature["geometry"]["coordinates"][0] = [[round(x, 6), round(y, 6)] for x, y in ring]
    text = run(site_folder(surfaces=rounded)).stdout
    lines = [line for line in text.splitlines() if "decimals" in line]
    assert len(lines) == 1
    assert lines[0].startswith("g1, g2, t1: its coordinates have 6 decimals: ")
    assert lines[0].endswith("Export it with 9 decimals of a degree (figures of g1).")


def test_findings_about_one_file_are_told_once_and_counted():
    from geosand.reports.words import merged_findings

    texts = [f"LINE {k}: 4 lines that meet are one outline" for k in (38, 52)]
    found = [{"about": "draw.dxf", "text": text} for text in texts]
    (line,) = merged_findings(found)
    assert line == "draw.dxf: LINE 38: 4 lines that meet are one outline, and 1 more like it."


def test_findings_show_feet_where_us_units_are_asked_for(site_folder):
    outer, inner = square(LON, LAT, 30.0), square(LON, LAT, 10.0)
    outer["coordinates"].append(inner["coordinates"][0][::-1])
    site = site_folder(surfaces=[surface("g1", "green", outer)], **NO_RECORDS)
    (line,) = [line for line in run(site, "--units", "us").stdout.splitlines() if "1 hole" in line]
    # 10 m × 10 m = 100 m² = 1076 ft²
    assert "g1: 1 hole that no surface fills, 1\u202f076 ft² (100.0 m²), at lon" in line
    assert "ft²" not in run(site).stdout
    checked = CliRunner().invoke(main, ["check", str(site), "--units", "us"]).stdout
    assert "1\u202f076 ft² (100.0 m²), at lon" in checked


def test_against_tells_the_change_in_words(folder):
    text = run(folder, "--against", "first").stdout
    assert "  old: edition first, from 1 January 2020\n" in text
    assert "  new: boundaries in force, from 1 January 2026 (EPSG:32626)\n" in text
    assert "−84.0 ± " in text and "smaller" in text
    assert "Drawn the same in both: g2." in text
    assert "New: t1 (100.0 m²), f (3" in text
    assert "All of kind green: −84.0 ± " in text
    assert "The edge moved farthest on g1: 1.41 m at lon " in text
    assert "count as one measurement" in text


def test_against_asks_about_ids_that_changed_places(site_folder):
    first, second, *rest = SURFACES
    kept = [f | {"geometry": g["geometry"]} for f, g in ((first, second), (second, first))]
    old = collection([*kept, *rest], valid_from="2020-01-01")
    new = collection(SURFACES, valid_from="2026-01-01")
    site = site_folder(surfaces=new, files={"editions/first.geojson": old})
    text = run(site, "--against", "first").stdout
    assert "g1, g2: have no ground in common with before: were ids exchanged?" in text
    assert "in common" not in run(site, "--against", site).stdout


def test_claimed_tells_both_sides(folder):
    claims = folder.parent / "claims.csv"
    claims.write_text("name,area_m2,note\nfirst green,480,x\nf,3600,\nNo. 9,5,\nGreen 2,9,\n")
    text = run(folder, "--claimed", claims, "--tolerance", "5").stdout
    assert re.search(r"first green +480\.0 +400\.0 .* \+20\.0 +\+\d+\.\d +5 outside", text)
    assert "3 claims" not in text and "2 claims compared: 0 within, 2 outside." in text
    assert "f: it agrees with the area as drawn, before what lies on top is cut out." in text
    assert "In claims.csv but not on the site (2): No. 9, Green 2 (g2?)." in text
    assert "On the site but not in claims.csv (2): g2, t1." in text
    assert "column 'note' is not read" in text


def test_a_comparison_does_not_begin_with_the_whole_register(folder):
    claims = folder.parent / "claims.csv"
    claims.write_text("id,area_m2\ng1,410\n")
    assert "perimeter" in run(folder).stdout
    for options in (("--claimed", claims), ("--against", "first")):
        text = run(folder, *options).stdout
        assert "perimeter" not in text and "Totals" in text


def test_files_are_written_and_named(folder, tmp_path):
    paths = [tmp_path / f"a.{e}" for e in ("csv", "geojson", "gpkg", "xlsx")]
    arguments = [word for path in paths for word in ("--out", path)]
    changes = tmp_path / "changes.geojson"
    inputs = before(folder)
    text = run(folder, "--against", "first", *arguments, "--changes", changes).stdout
    for path in [*paths, changes]:
        assert path.stat().st_size > 100
        assert f"Written: {path}" in text
    kinds = {f["properties"]["change"] for f in json.loads(changes.read_text())["features"]}
    assert kinds == {"gained", "lost"}
    import openpyxl

    sheets = ["areas", "totals", "against", "only in one", "surveys", "inputs", "notes"]
    assert openpyxl.load_workbook(paths[3]).sheetnames == sheets
    assert before(folder) == inputs


def test_an_exported_register_is_a_boundary_file_again(folder, site_folder, tmp_path):
    path = tmp_path / "a.geojson"
    run(folder, "--out", path)
    again = site_folder("again", surfaces=path.read_text(encoding="utf-8"))
    first, second = (json.loads(run(f, "--json").stdout)["surfaces"] for f in (folder, again))
    for old, new in zip(first, second, strict=True):
        # nine decimals move a corner by up to 0.06 mm, on edges of 20 to 60 m
        assert new["area_m2"] == pytest.approx(old["area_m2"], abs=6e-3)
        assert new["u_area_m2"] == pytest.approx(old["u_area_m2"], rel=1e-3)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--out", "areas.pdf"], "its name must end in .csv or .geojson or .gpkg or .xlsx"),
        (["--changes", "c.geojson"], "--changes needs --against: with what shall it be compared?"),
        (
            ["--against", "first", "--changes", "c.csv"],
            "'c.csv': its name must end in .geojson or .gpkg",
        ),
        (["--tolerance", "5"], "--tolerance needs --claimed: a list of claimed areas"),
        (["--claimed", "x.csv", "--tolerance", "-1"], "is not in the range 0<=x<=100"),
    ],
)
def test_wrong_usage_ends_with_2(folder, arguments, said):
    result = run(folder, *arguments, code=2)
    assert said in result.stderr
    assert result.stdout == ""


def test_refusals_end_with_1_and_say_the_remedy(folder, tmp_path):
    result = run(folder, "--against", "never", code=1)
    assert "there is no such survey" in result.stderr and "'first'" in result.stderr
    result = run(folder, "--claimed", tmp_path / "none.csv", code=1)
    assert "there is no such file. Name a CSV file." in result.stderr
    assert result.stdout == ""


def test_results_never_replace_what_was_measured(folder):
    inputs = before(folder)
    for arguments in (
        ["--out", folder / "surfaces.geojson"],
        ["--out", folder / "." / "loads.csv"],
        ["--against", "first", "--changes", folder / "editions" / "first.geojson"],
    ):
        result = run(folder, *arguments, code=1)
        assert "is one of the files that are read here" in result.stderr
        assert "Name another file for the result." in result.stderr
    assert before(folder) == inputs


def test_a_place_that_can_not_be_written(folder, tmp_path):
    (tmp_path / "file").write_text("")
    result = run(folder, "--out", tmp_path / "file" / "a.csv", code=1)
    assert "can not be written" in result.stderr and "Name another place." in result.stderr
