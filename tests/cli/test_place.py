"""``geosand place`` as a person or a program calls it."""

from __future__ import annotations

import json
from xml.etree import ElementTree

import numpy as np
import pytest
from click.testing import CliRunner, Result

from geosand.cli.place import command
from geosand.errors import Refused
from geosand.formats.site_folder import read_site
from geosand.results import work_out
from tests.sites import CATCHES, DEMO, G2, LAT, LON, SURFACES, TOML, square, surface


def run(*arguments: str) -> Result:
    return CliRunner().invoke(command, list(arguments), catch_exceptions=False)


def test_geojson_is_filled_with_readings_and_read_back(site_folder, tmp_path):
    out = tmp_path / "places.geojson"
    result = run(
        *(str(site_folder()), "--catches", "3", "--surfaces", "green", "--ring", "0.3m,1.0m"),
        *("--dressing", "D1", "--out", str(out)),
    )
    assert result.exit_code == 0, result.stderr
    assert result.stdout.startswith(
        "10 points on 2 surfaces, drawn with seed 2, in the order of walking: "
    )
    document = json.loads(out.read_text())
    for feature in document["features"]:
        feature["properties"] |= {"tray_length_mm": 400, "tray_width_mm": 250}
        feature["properties"] |= {"tare_g": 50, "gross_g": 140}
    results = work_out(read_site(site_folder("back", catches=document)))
    assert results.rates.catches.tolist() == [3, 3]
    assert len(results.site.catches) == 10


def test_without_a_file_the_points_are_listed(site_folder):
    folder = str(site_folder())
    result = run(folder, "--catches", "2", "--ring", "0.5m", "--surfaces", "green")
    assert result.exit_code == 0, result.stderr
    lines = [x.split() for x in result.stdout.splitlines() if x.strip().startswith(("g1 ", "g2 "))]
    points = json.loads(
        run(folder, "--catches", "2", "--ring", "0.5m", "--surfaces", "green", "--json").stdout
    )
    assert points["written"] is None
    assert [x[:2] for x in lines] == [[p["surface"], p["label"]] for p in points["points"]]
    for line, point in zip(lines, points["points"], strict=True):
        assert f"{point['lat']:.6f}" in line  # a number, as in every document
        taped = 0.5 if point["zone"] == "outside" else None
        assert point["edge_distance_m"] == taped
    assert "0.50 m outside the edge, by tape" in result.stdout


def test_sheets_of_two_seeds_do_not_share_a_name(site_folder, tmp_path):
    """Rows of one name in one dressing would be read as parts of one catch."""
    features = []
    for seed in ("3", "4"):
        out = tmp_path / f"{seed}.geojson"
        run(
            *(str(site_folder(seed)), "--catches", "3", "--surfaces", "green"),
            *("--dressing", "D1", "--seed", seed, "--out", str(out)),
        )
        features += json.loads(out.read_text())["features"]
    for feature in features:
        feature["properties"] |= {"tray_length_mm": 400, "tray_width_mm": 250}
        feature["properties"] |= {"tare_g": 50, "gross_g": 140}
    both = {"type": "FeatureCollection", "features": features}
    results = work_out(read_site(site_folder("both", catches=both)))
    assert results.rates.catches.tolist() == [6, 6]
    assert set(results.site.catches.caught_kg.round(6).tolist()) == {0.09}


def test_one_name_at_two_places_far_apart_is_refused(site_folder):
    rows = [CATCHES[0], CATCHES[1] | {"catch": CATCHES[0]["catch"], "lon": G2[0], "lat": G2[1]}]
    with pytest.raises(Refused) as refusal:
        read_site(site_folder(catches=rows))
    assert "'c1' is already in row 2, with another place" in str(refusal.value)
    assert "a catch of its own needs a name of its own" in str(refusal.value)


def test_gpx_has_a_waypoint_a_tray(site_folder, tmp_path):
    out = tmp_path / "places.gpx"
    assert run(str(site_folder()), "--catches", "2", "--out", str(out)).exit_code == 0
    points = ElementTree.parse(out).getroot().findall("{http://www.topografix.com/GPX/1/1}wpt")
    assert len(points) == 6
    assert {p[0].text for p in points} == {f"{s}-2-{k}" for s in ("g1", "g2", "t1") for k in (1, 2)}
    assert abs(float(points[0].get("lon")) + 30.0) < 0.001


def test_html_is_a_field_sheet_with_the_last_tray(site_folder, tmp_path):
    out = tmp_path / "sheet.html"
    assert run(str(site_folder()), "--catches", "2", "--out", str(out)).exit_code == 0
    text = out.read_text()
    assert 'data-all="length" inputmode="decimal" autocomplete="off" value="400"' in text
    assert text.count('class="point"') == 6


def test_same_seed_same_bytes(site_folder, tmp_path):
    folder, texts = site_folder(), []
    for k, seed in enumerate(("5", "5", "6")):
        out = tmp_path / str(k) / "trays.geojson"
        out.parent.mkdir()
        run(str(folder), "--catches", "4", "--seed", seed, "--out", str(out))
        texts.append(out.read_text())
    assert texts[0] == texts[1] != texts[2]


def test_without_past_catches_the_margin_is_told(site_folder, tmp_path):
    folder = site_folder(catches=None)
    out = tmp_path / "x.html"
    result = run(str(folder), "--catches", "2", "--out", str(out))
    assert "no past catch tells the tray" in result.stdout
    assert 'data-all="length" inputmode="decimal" autocomplete="off" value=""' in out.read_text()
    told = run(str(folder), "--catches", "2", "--tray", "300mm", "--out", str(out))
    assert "no past catch" not in told.stdout
    assert (
        'data-all="diameter" inputmode="decimal" autocomplete="off" value="300"' in out.read_text()
    )


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ([], "give --catches, as in --catches 4"),
        (["--catches", "4", "--out", "x.csv"], "must end in .geojson or .gpx or .html"),
        (["--catches", "0", "--out", "x.gpx"], "0 is not in the range"),
        (["--catches", "4", "--out", "x.gpx", "--ring", "0.3"], "is not a number with a unit"),
        (["--catches", "4", "--out", "x.gpx", "--ring", "-1m"], "allowed is above 0"),
        (["--catches", "4", "--out", "x.gpx", "--tray", "1m,2m,3m"], "write 400mm,250mm or 300mm"),
        (["--catches", "4", "--out", "x.gpx", "--surfaces", "zz"], "'zz': no surface's id"),
        (
            ["--show-power", "--out", "x.gpx"],
            "--out with --show-power: 'x.gpx': its name must end in .html",
        ),
        (["--show-power", "--surfaces", "zz"], "'zz': no surface's id"),
        (["--show-power", "--seed", "0"], "--show-power lays no trays: leave --seed out"),
        (["--catches", "4", "--know-depth", "5%"], "--know-depth goes with --show-power"),
        (["--show-power", "--see-overthrow", "nan"], "allowed is above 0 and at most 100%"),
        (["--show-power", "--know-depth", "0"], "allowed is above 0 and at most 100%"),
        (["--catches", "2", "--tray", "9m,9m"], "allowed is above 0 and at most 5 m"),
    ],
)
def test_wrong_usage_ends_with_two(site_folder, arguments, said):
    result = run(str(site_folder()), *arguments)
    assert result.exit_code == 2
    assert said in " ".join(result.stderr.split())


def test_a_place_that_can_not_be_written_is_refused(site_folder, tmp_path):
    (tmp_path / "file").write_text("")
    result = run(str(site_folder()), "--catches", "1", "--out", str(tmp_path / "file" / "x.gpx"))
    assert result.exit_code == 1
    assert "can not be written" in result.stderr


def test_power_says_what_would_be_seen():
    options = [
        "--show-power",
        "--surfaces",
        "green",
        "--see-overthrow",
        "15%",
        "--know-depth",
        "5%",
    ]
    result = run(str(DEMO), *options, "--json")
    document = json.loads(result.stdout, parse_constant=pytest.fail)
    assert document["from_dressings"] == 9
    assert document["dressed_surfaces"] == 10
    overthrow, depth = document["asked"]
    assert all(d["surfaces"] * d["catches_on_each"] == d["catches"] for d in document["designs"])
    assert overthrow["design"]["overthrow_percent"] <= 15
    fewer = [d for d in document["designs"] if d["catches"] < overthrow["design"]["catches"]]
    assert all(d["overthrow_percent"] > 15 for d in fewer)
    # catch efficiency alone is 3 %, so that no number of trays gives a depth to 5 %
    assert depth["design"] is None
    words = run(str(DEMO), *options).stdout
    assert "no design of this table will do" in words
    assert "from 9 dressings of this site" in words


def test_power_is_written_as_a_page_with_plots(tmp_path):
    out = tmp_path / "power.html"
    result = run(str(DEMO), "--show-power", "--see-overthrow", "15%", "--out", str(out))
    assert f"Written: {out}" in result.stdout
    text = out.read_text("utf-8")
    assert text.count("<svg") == 2
    document = json.loads(run(str(DEMO), "--show-power", "--out", str(out), "--json").stdout)
    assert document["written"] == str(out)


def ids_of(out):
    return [f["properties"]["catch"] for f in json.loads(out.read_text())["features"]]


def test_a_second_draw_for_a_dressing_names_no_tray_twice(site_folder, tmp_path):
    """Three trays were measured; two more are laid for the same dressing and brought back."""
    first, second = tmp_path / "1.geojson", tmp_path / "2.geojson"
    options = ["--surfaces", "green", "--dressing", "D1", "--seed", "2", "--ring", "0.3m"]
    run(str(site_folder()), "--catches", "3", *options, "--out", str(first))
    measured = json.loads(first.read_text())
    reading = {"tray_length_mm": 400, "tray_width_mm": 250, "tare_g": 50, "gross_g": 140}
    for feature in measured["features"]:
        feature["properties"] |= reading
    folder = site_folder("measured", catches=measured)
    run(str(folder), "--catches", "2", *options, "--out", str(second))
    assert not set(ids_of(first)) & set(ids_of(second))
    more = json.loads(second.read_text())["features"]
    for feature in more:
        feature["properties"] |= reading
    both = {"type": "FeatureCollection", "features": measured["features"] + more}
    results = work_out(read_site(site_folder("both", catches=both)))
    assert results.rates.catches.tolist() == [5, 5]
    assert len(results.site.catches) == 3 * 2 + 2 * 2 + 2 * 2
    # for another dressing the same names are free
    run(
        str(folder),
        "--catches",
        "3",
        *options[:2],
        "--dressing",
        "D2",
        "--seed",
        "2",
        "--ring",
        "0.3m",
        "--out",
        str(second),
    )
    assert set(ids_of(second)) == set(ids_of(first))


def test_the_tray_and_swath_that_the_points_rest_on_are_told(site_folder, tmp_path):
    out = str(tmp_path / "x.gpx")
    told = run(str(site_folder()), "--catches", "1", "--surfaces", "g1", "--out", out).stdout
    assert told.startswith("1 point on 1 surface, drawn with seed 2, in the order of walking: ")
    assert "Drawn for a tray of 400 × 250 mm and a swath of 4.00 m; where yours differs" in told
    us = run(str(site_folder()), "--catches", "1", "--out", out, "--units", "us").stdout
    assert "a tray of 15.75 × 9.84 in and a swath of 13.1 ft; where" in us
    bare = site_folder(
        "bare", catches=None, dressings="dressing,date,surfaces\nD1,2026-04-10,green\n"
    )
    told = run(str(bare), "--catches", "1", "--out", out).stdout
    assert "Drawn for a tray that is not known and a swath that is not known;" in told
    told = run(str(bare), "--catches", "1", "--tray", "300mm", "--out", out).stdout
    assert "Drawn for a tray 300 mm across and a swath that" in told


def test_no_surface_to_choose_from_is_told(site_folder, tmp_path):
    toml = TOML[: TOML.index("[targets_mm]")]
    folder = site_folder(toml=toml, catches=None, loads=None, dressings="dressing,date,surfaces\n")
    result = run(str(folder), "--catches", "2", "--out", str(tmp_path / "x.gpx"))
    assert result.exit_code == 2
    assert "no surface is dressed or has a target: name some with --surfaces" in result.stderr


def test_trays_are_walked_to_hole_by_hole_from_a_start(site_folder, tmp_path):
    out = tmp_path / "x.geojson"
    arguments = [str(site_folder()), "--catches", "1", "--out", str(out)]
    run(*arguments)
    assert [i.split("-")[0] for i in ids_of(out)] == ["g1", "g2", "t1"]
    run(*arguments, "--start", "t1")
    assert [i.split("-")[0] for i in ids_of(out)] == ["t1", "g1", "g2"]
    run(*arguments, "--surfaces", "g2 t1 g1")
    assert [i.split("-")[0] for i in ids_of(out)] == ["g2", "t1", "g1"]


def test_trays_move_on_so_that_each_surface_gets_its_own_in_turn(site_folder):
    """Two of six greens a dressing: after three all have been caught once, after six twice."""
    greens = [surface(f"g{k}", "green", square(LON + k * 0.001, LAT, 20.0)) for k in range(1, 7)]
    dressings, rows, met = "dressing,date,surfaces\n", [], []
    for day in range(1, 7):
        dressings += f"D{day},2026-04-{day:02d},green\n"
        folder = site_folder(
            str(day), surfaces=greens, dressings=dressings, catches=rows or None, loads=None
        )
        asked = (str(folder), "--catches", "1", "--on", "2", "--json", "--dressing", f"D{day}")
        found = json.loads(run(*asked).stdout)["points"]
        rows += [
            {"catch": p["catch"], "dressing": f"D{day}", "lon": p["lon"], "lat": p["lat"]}
            | {"tray_length_mm": 400, "tray_width_mm": 250, "tare_g": 50, "gross_g": 140}
            for p in found
        ]
        met += sorted(p["surface"] for p in found)
    every = [f"g{k}" for k in range(1, 7)]
    assert sorted(met[:6]) == sorted(met[6:]) == every
    assert met[:6] != met[6:] != every  # in an order that is drawn anew
    all_of_them = json.loads(run(*asked[:4], "99", "--json").stdout)["points"]
    assert {p["surface"] for p in all_of_them} == set(every)


def test_without_names_trays_go_on_surfaces_that_are_dressed(site_folder):
    """The tee has a target and no dressing; it gets a tray where it is named."""
    dressings = "dressing,date,surfaces\nD1,2026-04-10,green\n"
    folder = str(site_folder(catches=None, loads=None, dressings=dressings))
    for seed in map(str, range(8)):
        asked = (folder, "--catches", "1", "--on", "1", "--seed", seed, "--json")
        found = json.loads(run(*asked).stdout)["points"]
        assert {p["surface"] for p in found} <= {"g1", "g2"}
        named = json.loads(run(*asked, "--surfaces", "tee").stdout)["points"]
        assert {p["surface"] for p in named} == {"t1"}


def test_what_few_catches_found_unlike_the_others_comes_after_what_had_none(site_folder):
    """g4 had a tray of 30 g beside 90 g in one dressing of two; g5 never had one."""
    greens = [surface(f"g{k}", "green", square(LON + k * 0.001, LAT, 20.0)) for k in range(1, 6)]
    tray = {"tray_length_mm": 400, "tray_width_mm": 250, "tare_g": 50}
    rows = [
        {"catch": f"{day}{k}{n}", "dressing": day, "lon": LON + k * 0.001, "lat": LAT + n * 2e-5}
        | tray
        | {"gross_g": 50 + (30 if k == 4 else 90) + n}
        for day, caught in (("D1", (1, 2, 3, 4)), ("D2", (1, 2, 3)))
        for k in caught
        for n in (-2, 0, 2)
    ]
    days = "dressing,date,surfaces\nD1,2026-04-01,green\nD2,2026-05-01,green\n"
    folder = site_folder(surfaces=greens, dressings=days, catches=rows, loads=None)
    results = work_out(read_site(folder))
    unlike = np.isfinite(results.ledger.unlike.depth_m)
    assert results.site.surfaces.id[results.ledger.row[unlike]].tolist() == ["g4"]
    for on, first in (("1", {"g5"}), ("2", {"g4", "g5"})):
        for seed in ("1", "2", "3"):
            asked = ("--catches", "1", "--on", on, "--seed", seed, "--json")
            found = json.loads(run(str(folder), *asked).stdout)["points"]
            assert {p["surface"] for p in found} == first


def test_a_surface_never_caught_that_gets_no_tray_is_told(site_folder):
    """g1 was caught; g2 and the tee were dressed with it and were not."""
    days = "dressing,date,surfaces\nD1,2026-04-10,green tee\n"
    folder = str(site_folder(catches=CATCHES[:3], dressings=days))
    told = "g2: never caught this season and without a tray here: --on takes such surfaces first"
    without = run(folder, "--catches", "1", "--surfaces", "g1", "--json")
    assert told in json.loads(without.stdout)["findings"]  # the tee may have its own day
    assert f"  - {told}" in run(folder, "--catches", "1", "--surfaces", "g1").stdout
    assert "never caught" not in run(folder, "--catches", "1", "--surfaces", "green").stdout
    more = [*SURFACES, surface("g3", "green", square(LON + 0.01, LAT, 20.0))]
    days += "D0,2026-04-01,green\n"
    rows = [*CATCHES[:3], {**CATCHES[0], "dressing": "D0"}]
    folder = str(site_folder("three", surfaces=more, catches=rows, dressings=days))
    one = run(folder, "--catches", "1", "--surfaces", "green", "--on", "1", "--json")
    (told,) = json.loads(one.stdout)["findings"]
    assert told.endswith(": never caught this season and without a tray here: --on takes them next")
    # with none named all that was dressed is chosen from, so that the tee is told as well
    # also for a dressing to come; those of one on record have theirs
    for dressing, count in (("", 2), ("D2", 2), ("D0", 1)):
        asked = ("--catches", "1", "--on", "1", "--dressing", dressing, "--json")
        (told,) = json.loads(run(folder, *asked).stdout)["findings"]
        assert len({"g2", "g3", "t1"} & set(told.partition(":")[0].split(", "))) == count
