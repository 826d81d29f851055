"""``geosand new`` and ``geosand bring``, from a boundary file to a site that can be measured."""

from __future__ import annotations

import itertools
import json
import re
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from geosand.cli import main
from tests.sites import DEMO


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(a) for a in arguments], catch_exceptions=False)


def snapshot(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def test_new_sets_up_a_site_that_check_and_areas_read(tmp_path: Path) -> None:
    site = tmp_path / "site"
    made = run("new", site, "--boundaries", DEMO / "surfaces.geojson")
    assert made.exit_code == 0, made.output
    assert "61 read, 61 became surfaces" in made.output
    assert run("check", site).exit_code == 0
    old = json.loads(run("areas", DEMO, "--json").stdout)["surfaces"]
    new = json.loads(run("areas", site, "--json").stdout)["surfaces"]
    drawn = {s["id"]: s["equal_area_m2"] for s in old}
    for surface in new:
        assert surface["equal_area_m2"] == pytest.approx(drawn[surface["id"]], abs=0.01)


def test_a_site_without_records_says_what_comes_next(tmp_path: Path) -> None:
    bare, site = tmp_path / "bare", tmp_path / "site"
    said = run("new", bare).stdout
    assert f"Next: draw surfaces.geojson, or geosand bring FILE --into {bare}; fill in" in said
    told = json.loads(run("new", tmp_path / "empty", "--json").stdout)
    empty = {"read": 0, "surfaces": [], "left_out": [], "findings": []}
    del told["made_with"]
    assert told == {"folder": str(tmp_path / "empty"), **empty}
    said = run("new", site, "--boundaries", DEMO / "surfaces.geojson").stdout
    assert f"Next: fill in site.toml, then geosand check {site}" in said
    told = "No dressing is recorded yet: they go into dressings.csv, or into records.xlsx.\n"
    assert run("balance", site).stdout == told
    assert run("season", site).stdout.startswith(told)
    account = run("account", site, "--out", tmp_path / "map.html").stdout
    assert told in account and "balance of each dressing" not in account


def test_new_does_not_touch_a_folder_that_holds_something(tmp_path: Path) -> None:
    (tmp_path / "site").mkdir()
    (tmp_path / "site" / "notes.txt").write_text("mine")
    before = snapshot(tmp_path)
    made = run("new", tmp_path / "site", "--boundaries", DEMO / "surfaces.geojson")
    assert made.exit_code == 1
    assert snapshot(tmp_path) == before


@pytest.mark.parametrize(
    ("words", "found"),
    [
        ("--season-start 1.3.2026", "--season-start: '1.3.2026' is not a date"),
        ("--season-end 2026-02-30", "--season-end: '2026-02-30' is not a date"),
        (
            "--season-start 2026-09-01 --season-end 2026-01-01",
            "--season-end: the season would end (2026-01-01) before it starts (2026-09-01)",
        ),
    ],
)
def test_new_refuses_a_season_that_check_would_refuse(
    tmp_path: Path, words: str, found: str
) -> None:
    end = run("new", tmp_path / "site", *words.split())
    assert end.exit_code == 1
    assert found in end.stderr
    assert not list(tmp_path.iterdir())


def test_bring_keeps_the_old_survey_and_says_what_became_of_each_surface(tmp_path: Path) -> None:
    site = tmp_path / "site"
    shutil.copytree(DEMO, site)
    survey = json.loads((DEMO / "surfaces.geojson").read_text())
    survey["features"] = [f for f in survey["features"] if f["properties"]["id"] != "b9b"]
    file = tmp_path / "survey.geojson"
    file.write_text(json.dumps(survey))
    words = ("bring", file, "--into", site, "--valid-from", "2026-07-01")
    before_bytes = snapshot(site)
    asked = run(*words)
    assert asked.exit_code == 1 and snapshot(site) == before_bytes
    assert asked.stderr == (
        "Nothing was written: 1 thing is to be decided first.\n"
        "  - survey.geojson: 1 of the site's 61 surfaces is not in it: b9b. With --partial it goes"
        " on as it is, with --accept it ends when this survey begins.\n"
    )
    brought = run(*words, "--accept", "--json")
    assert brought.exit_code == 0, brought.output
    document = json.loads(brought.stdout)
    assert document["gone"] == ["b9b"]
    assert (site / document["edition"]).is_file()
    before = json.loads(run("balance", DEMO, "--json").stdout)["dressings"]
    after = json.loads(run("balance", site, "--json").stdout)["dressings"]
    for old, new in zip(before, after, strict=True):
        assert new["spread"] == old["spread"]
        assert new["dressed_area_m2"] == pytest.approx(old["dressed_area_m2"], abs=0.05)


def test_a_refused_survey_leaves_the_site_as_it_was(tmp_path: Path) -> None:
    site = tmp_path / "site"
    shutil.copytree(DEMO, site)
    before = snapshot(site)
    (tmp_path / "page.geojson").write_text("<!DOCTYPE html><html></html>")
    brought = run("bring", tmp_path / "page.geojson", "--into", site, "--valid-from", "2026-07-01")
    assert brought.exit_code == 1
    assert "page.geojson" in brought.stderr
    assert snapshot(site) == before


def test_bring_needs_a_site_and_a_day(tmp_path: Path) -> None:
    file = DEMO / "surfaces.geojson"
    assert run("bring", file, "--into", tmp_path).exit_code == 2
    brought = run("bring", file, "--into", tmp_path, "--valid-from", "2026-07-01")
    assert brought.exit_code == 1
    assert "no site folder" in brought.stderr


def square(lon: float, lat: float, size: float = 2e-4) -> list[list[float]]:
    return [
        *([lon, lat], [lon + size, lat], [lon + size, lat + size], [lon, lat + size], [lon, lat])
    ]


def write(path: Path, **rings: list[list[float]]) -> Path:
    features = [
        {
            "type": "Feature",
            "properties": {"id": name, "kind": "green"},
            "geometry": {"type": "Polygon", "coordinates": [ring]},
        }
        for name, ring in rings.items()
    ]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    return path


def bow(lon: float, lat: float, size: float = 2e-4) -> list[list[float]]:
    a, b, c, d, _ = square(lon, lat, size)
    return [a, c, b, d, a]


def test_new_asks_repairs_and_accepts(tmp_path: Path) -> None:
    file = write(tmp_path / "b.geojson", g1=square(9.9, 53.3), tied=bow(9.901, 53.3))
    site = tmp_path / "site"
    asked = run("new", site, "--boundaries", file)
    assert asked.exit_code == 1 and not site.exists()
    assert asked.stderr.startswith(
        "Nothing was written: 1 thing is to be decided first.\n  - b.geojson, feature 2: tied: the"
        " boundary crosses itself at lon 9.9011000, lat 53.3001000: 148.4 m² by loops or even-odd,"
        " 74.2 m² by largest, 296.8 m² by uncrossed."
    )
    left = run("new", tmp_path / "accepted", "--boundaries", file, "--accept")
    assert left.exit_code == 0
    assert "Accepted (1):\n  - feature 2: tied: the boundary crosses itself" in left.stdout
    assert "2 read, 1 became a surface (1 green), 1 left out: 1 × its outline" in left.stdout
    mended = run(
        "new", site, "--boundaries", file, "--repair", "--crossings", "uncrossed", "--json"
    )
    document = json.loads(mended.stdout)
    (mend,) = document["repaired"]
    assert (mend["id"], mend["after_m2"]) == ("tied", pytest.approx(296.8, abs=0.1))
    assert {remark["sort"] for remark in document["remarks"]} == {"few decimals"}
    told = json.loads(
        run("new", tmp_path / "told", "--boundaries", file, "--accept", "--json").stdout
    )
    (crossing,) = (r for r in told["remarks"] if r["sort"] == "crossing")
    assert crossing["surface"] == "tied" and crossing["must_be_decided"] is True
    assert (crossing["lon"], crossing["lat"]) == pytest.approx((9.9011, 53.3001))
    assert crossing["size_m2"] == pytest.approx(296.8 - 74.2, abs=0.1)
    assert document["place"] == pytest.approx({"lon": 9.9006, "lat": 53.3001}, abs=1e-4)
    areas = json.loads(run("areas", site, "--json").stdout)["surfaces"]
    by_id = {surface["id"]: surface["area_m2"] for surface in areas}
    assert by_id["tied"] == pytest.approx(by_id["g1"], rel=1e-4)


def test_what_is_to_be_decided_shows_us_units_where_they_are_asked_for(tmp_path: Path) -> None:
    file = write(tmp_path / "b.geojson", g1=square(9.9, 53.3), tied=bow(9.901, 53.3))
    asked = run("new", tmp_path / "site", "--boundaries", file, "--units", "us")
    assert asked.exit_code == 1
    assert "1\u202f597 ft² (148.4 m²) by loops or even-odd, 799 ft² (74.2 m²)" in asked.stderr


def test_bring_shows_the_units_of_its_site(tmp_path: Path) -> None:
    file = write(tmp_path / "b.geojson", g1=square(9.9, 53.3))
    tied = write(tmp_path / "c.geojson", g1=square(9.9, 53.3), tied=bow(9.901, 53.3))
    site = tmp_path / "site"
    assert run("new", site, "--boundaries", file, "--units", "us").exit_code == 0
    words = ("--into", site, "--valid-from", "2026-06-01")
    asked = run("bring", tied, *words)
    assert asked.exit_code == 1 and "1\u202f597 ft² (148.4 m²)" in asked.stderr
    assert "1\u202f597 ft²" not in run("bring", tied, *words, "--units", "metric").stderr
    brought = run("bring", tied, *words, "--accept", "--edge-accuracy", "0.05m")
    assert brought.exit_code == 0, brought.output
    assert "standard uncertainty: edge 0.16 ft (0.05 m)" in brought.stdout


def test_a_site_that_can_not_be_read_is_told_in_metric(tmp_path: Path) -> None:
    (tmp_path / "site.toml").mkdir()
    told = run("bring", DEMO / "surfaces.geojson", "--into", tmp_path, "--valid-from", "2026-06-01")
    assert told.exit_code == 1 and "is no site folder" in told.stderr


def test_what_is_left_out_is_counted_and_the_first_few_are_named(tmp_path: Path) -> None:
    """Markers of a tracing program do not push what matters off the screen."""
    path = write(tmp_path / "traced.geojson", g1=square(9.9, 53.3))
    document = json.loads(path.read_text())
    pin = {"type": "Point", "coordinates": [9.9, 53.3]}
    document["features"] += [{"type": "Feature", "properties": {}, "geometry": pin}] * 100
    pair = {"type": "GeometryCollection", "geometries": [pin, document["features"][0]["geometry"]]}
    document["features"][0]["geometry"] = pair
    path.write_text(json.dumps(document))
    said = run("new", tmp_path / "site", "--boundaries", path)
    assert said.exit_code == 0, said.output
    lines = said.output.splitlines()
    assert "101 read, 1 became a surface" in lines[0] and "100 left out: 100 × a point" in lines[0]
    first = lines.index("Left out (100):")
    assert lines[first + 1] == "  - feature 2: a point"
    assert lines[first + 13] == "  - and 88 more: a point (all with --json)"
    assert lines[first + 14] == "Left out in part (1):"
    assert lines[first + 15] == "  - feature 1: 1 point beside its polygons"


def test_accuracies_are_written_and_read_back(tmp_path: Path) -> None:
    file = write(tmp_path / "b.geojson", g1=square(9.9, 53.3))
    site = tmp_path / "site"
    said = ("--edge-accuracy", "5cm", "--edge-bias", "1in", "--boundary-accuracy", "0.01m")
    assert run("new", site, "--boundaries", file, *said).exit_code == 0
    text = (site / "site.toml").read_text()
    assert "\nedge_accuracy_m = 0.05 " in text
    assert "\nedge_bias_m = 0.0254 " in text
    assert "\nboundary_accuracy_m = 0.01 " in text
    findings = json.loads(run("areas", site, "--json").stdout)["findings"]
    assert not [f for f in findings if "is not said" in f["text"]]
    brought = run("bring", file, "--into", site, "--valid-from", "2026-06-01", *said[:2])
    assert (
        "It holds from 2026-06-01; standard uncertainty: edge 0.05 m, edge bias 0.0254 m (as for"
        " the site), vertex 0.01 m (as for the site)\n"
    ) in brought.stdout
    for wrong, words in (("5", "is not a number with a unit"), ("90m", "allowed: 0 to 20 m")):
        bad = run("new", tmp_path / "n", "--boundaries", file, "--edge-bias", wrong)
        assert bad.exit_code == 2 and words in bad.stderr


def test_options_without_a_use_are_wrong_usage(tmp_path: Path) -> None:
    alone = run("new", tmp_path / "n", "--crs", "EPSG:25832")
    assert alone.exit_code == 2
    assert "--crs is about a boundary file: give one with --boundaries" in alone.stderr
    file = write(tmp_path / "b.geojson", g1=square(9.9, 53.3))
    method = run("new", tmp_path / "n", "--boundaries", file, "--crossings", "largest")
    assert method.exit_code == 2 and "--crossings says how --repair mends" in method.stderr
    assert not (tmp_path / "n").exists()


def test_surfaces_whose_area_changed_are_named(tmp_path: Path) -> None:
    """Sides of 13 by 22 m that grow by a twentieth and more, where edges are known to 5 cm."""
    greens = {f"g{k}": (9.9 + k / 500, 53.3) for k in range(1, 8)}
    first = write(tmp_path / "a.geojson", **{k: square(*at) for k, at in greens.items()})
    grown = {k: square(*at, 2e-4 + 1e-5 * (int(k[1]) % 6)) for k, at in greens.items()}
    second = write(tmp_path / "b.geojson", **grown)
    site = tmp_path / "site"
    said = ("--edge-accuracy", "0.05m", "--edge-bias", "0.02m")
    assert run("new", site, "--boundaries", first, *said).exit_code == 0
    words = ("--into", site, *said, "--valid-from")
    done = run("bring", second, *words, "2026-06-01")
    assert done.exit_code == 0, done.output
    (line,) = [line for line in done.stdout.splitlines() if "area changed" in line]
    told = re.findall(r"(g\d) (\+\d+\.\d) ± \d+\.\d", line)
    assert [name for name, _ in told] == ["g5", "g4", "g3", "g2"]
    document = json.loads(run("areas", site, "--against", "first-survey", "--json").stdout)
    larger = {r["id"]: r["difference_m2"] for r in document["against"]["surfaces"]}
    assert [float(figure) for _, figure in told] == [round(larger[name], 1) for name, _ in told]
    assert line.startswith("  area changed by more than 2 u: 6 (")
    assert line.endswith(f" m² and 2 more); geosand areas {site} --against first-survey shows all")
    again = run("bring", second, *words, "2026-07-01")
    assert "no area changed by more than 2 u; geosand areas" in again.stdout
    last = json.loads(run("bring", first, *words, "2026-08-01", "--json").stdout)
    assert [row["id"] for row in last["areas_changed"][:2]] == ["g5", "g4"]
    assert {row["verdict"] for row in last["areas_changed"]} == {"smaller"}


def test_partial_survey_on_the_console(tmp_path: Path) -> None:
    first = write(tmp_path / "a.geojson", g1=square(9.9, 53.3), g2=square(9.901, 53.3))
    second = write(tmp_path / "b.geojson", g2=square(9.901, 53.3, 2.1e-4))
    site = tmp_path / "site"
    run("new", site, "--boundaries", first)
    words = ("bring", second, "--into", site, "--valid-from", "2026-06-01")
    done = run(*words, "--partial")
    assert done.exit_code == 0, done.output
    assert "  same id: 1 (g2)\n  carried on: 1 (g1)\n" in done.stdout
    assert "gone" not in done.stdout
    assert len(json.loads(run("areas", site, "--json").stdout)["surfaces"]) == 2


def test_no_text_names_the_machine(tmp_path: Path) -> None:
    """No temporary folder, no layer that only a reader knows, no option of a library."""
    file = write(tmp_path / "b.geojson", g1=square(9.9, 53.3), g2=square(9.9, 53.3))
    broken = write(tmp_path / "bow.geojson", g1=bow(9.9, 53.3))
    (tmp_path / "cut.gpkg").write_bytes(b"SQLite format 3\0" + b"x" * 200)
    (tmp_path / "no.shp").write_bytes(b"\0" * 300)
    for name in (file, broken, tmp_path / "cut.gpkg", tmp_path / "no.shp"):
        for more in ((), ("--accept",), ("--repair",)):
            done = run("new", tmp_path / "n", "--boundaries", name, *more)
            text = done.output.replace(str(tmp_path), "")
            assert "/tmp" not in text and "layer 'read'" not in text, text
            assert "SHAPE_RESTORE" not in text and "GDAL_" not in text, text
            shutil.rmtree(tmp_path / "n", ignore_errors=True)


def test_check_tells_what_the_import_told(tmp_path: Path) -> None:
    file = tmp_path / "b.geojson"
    rings = {
        "g1": (square(9.9, 53.3), "green"),
        "c1": (square(9.89999, 53.29999, 2.2e-4), "collar"),
    }
    features = [
        {
            "type": "Feature",
            "properties": {"id": i, "kind": kind, **({"around": "g1"} if i == "c1" else {})},
            "geometry": {"type": "Polygon", "coordinates": [ring]},
        }
        for i, (ring, kind) in rings.items()
    ]
    file.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    site = tmp_path / "site"
    told = run("new", site, "--boundaries", file).stdout
    text = "c1: it is drawn as a filled disc over g1: "
    assert text in told and "--repair cuts g1 out of it" in told
    checked = run("check", site).stdout
    assert text in checked and "--repair" not in checked


def test_new_with_holes_and_a_place_that_is_asked_about_in_miles(tmp_path: Path) -> None:
    """A lawn of 100 m by 100 m with an island of 20 m by 20 m, in one layer of a drawing."""
    import ezdxf

    drawing = ezdxf.new("R2010", units=6)
    for start, size in ((0, 100), (40, 20)):
        x, y = 560_000 + start, 5_906_000 + start
        corners = [(x, y), (x + size, y), (x + size, y + size), (x, y + size)]
        drawing.modelspace().add_lwpolyline(corners, close=True, dxfattribs={"layer": "LAWN"})
    drawing.saveas(tmp_path / "plan.dxf")
    options = ("--boundaries", tmp_path / "plan.dxf", "--crs", "EPSG:25832", "--holes")
    told = run("new", tmp_path / "far", *options, "--near", 8, 53, "--units", "us")
    assert told.exit_code == 1 and "81.4 mi (131 km) from 53.0000° N, 8.0000° E" in told.stderr
    made = run("new", tmp_path / "site", *options)
    assert "2 read, 1 became a surface (1 lawn), 1 line was joined to others" in made.stdout
    (lawn,) = json.loads(run("areas", tmp_path / "site", "--json").stdout)["surfaces"]
    # the grid's scale is 0.9996 about the middle of its zone: areas are 0.08 % small, less beside
    assert lawn["area_m2"] == pytest.approx(9600 / 0.9996**2, rel=1e-4)
    unused = run("new", tmp_path / "demo", "--boundaries", DEMO / "surfaces.geojson", "--holes")
    assert "--holes is not used: it is for drawings" in unused.stdout


def test_findings_that_differ_in_names_and_figures_are_counted(tmp_path: Path) -> None:
    """A drawing whose outlines were taken apart said a line for each of them."""
    ezdxf = pytest.importorskip("ezdxf")
    document = ezdxf.new("R2010")
    document.header["$INSUNITS"] = 6
    for k in range(30):
        corners = [(x + 40 * k, y) for x, y in ((0, 0), (9, 0), (9 + k % 7, 9), (0, 9), (0, 0))]
        for a, b in itertools.pairwise(corners):
            ends = [(560_000 + x, 5_906_000 + y) for x, y in (a, b)]
            document.modelspace().add_line(*ends, dxfattribs={"layer": "TEE"})
    document.saveas(tmp_path / "plan.dxf")
    told = ("--boundaries", tmp_path / "plan.dxf", "--crs", "EPSG:25832")
    said = run("new", tmp_path / "site", *told).stdout
    assert said.count("lines that meet are one outline") <= 5
    assert re.search(r"  - and \d+ more like these \(all with --json\)", said)
    document = json.loads(run("new", tmp_path / "other", *told, "--json").stdout)
    assert sum("lines that meet" in text for text in document["findings"]) == 30
