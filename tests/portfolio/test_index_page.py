"""The index: sorted, filtered, safe with hostile names; the verb's summary and document."""

from __future__ import annotations

import errno
import json
import os
import re
import shutil
import sys
from dataclasses import replace
from pathlib import Path

import axe_playwright_python.base
import numpy as np
import pandas as pd
import pypdfium2
import pytest
from click.testing import CliRunner

from geosand.cli import main
from geosand.formats.site_folder import read_site
from geosand.portfolio.index_page import index_page
from geosand.portfolio.site_maps import map_name
from geosand.portfolio.summary import first_lines, last_days
from geosand.reports.console import summary
from geosand.reports.printable.html_writer import report_page
from geosand.reports.printable.season_report import season_report
from geosand.results import work_out
from tests.portfolio.conftest import SITES, run_many

EVIL = '</script><img src=x onerror="window.hit=1"><script>window.hit=1</script>'


def many(*options):
    return CliRunner().invoke(main, ["many", *map(str, options)])


@pytest.fixture(scope="module")
def evil(folders, tmp_path_factory):
    """A run whose names would run code if they were put into a page as they are, with one map."""
    root = tmp_path_factory.mktemp("evil") / "sites"
    for k in (1, 2, 3):
        shutil.copytree(folders / f"site-0000{k}", root / f"site-0000{k}")
    toml = root / "site-00002" / "site.toml"
    name = json.dumps(EVIL)
    toml.write_text(re.sub(r"(?m)^name = .*$", lambda _: f"name = {name}", toml.read_text()))
    dressings = root / "site-00002" / "dressings.csv"
    dressings.write_text(re.sub("(twin|belt|single) d[a-z]+", "<b>x</b>", dressings.read_text()))
    (root / "site-00003" / "loads.csv").write_text("<script>window.hit=1</script>\n1\n")
    out = root.parent / "out"
    return out, run_many(root, out, maps=True)


def test_hostile_names_stay_text(evil):
    page = index_page(EVIL, evil[1], "metric")
    assert EVIL not in page
    assert "<b>x" not in page
    assert page.count("<script") == 2  # the data and the page's own
    assert "<img" not in page
    assert "default-src 'none'" in page


def test_the_page_is_the_same_each_time(whole):
    assert index_page("a", whole[1], "metric") == index_page("a", whole[1], "metric")


def test_maps_are_linked_and_file_names_are_plain(evil):
    out, done = evil
    assert set(done.maps) == {"site-00001", "site-00002"}
    assert all((out / name).is_file() for name in done.maps.values())
    assert map_name('a/../"<b>') == "maps/a~2f..~2f~22~3cb~3e.html"


def test_a_map_goes_with_its_site(folders, tmp_path):
    root, out = tmp_path / "sites", tmp_path / "out"
    for k in (1, 2, 3):
        shutil.copytree(folders / f"site-0000{k}", root / f"site-0000{k}")
    assert len(run_many(root, out, maps=True).maps) == 3
    (root / "site-00001" / "loads.csv").write_text("no,such,columns\n1,2,3\n")
    shutil.rmtree(root / "site-00002")
    done = run_many(root, out, maps=True)
    assert done.maps == {"site-00003": "maps/site-00003.html"}
    assert [path.name for path in (out / "maps").iterdir()] == ["site-00003.html"]


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere they are one folder")
def test_maps_of_sites_that_differ_in_capitals_differ_everywhere(folders, tmp_path):
    """Results go to disks that take capitals for small letters, as files in a zip archive do."""
    root, out = tmp_path / "sites", tmp_path / "out"
    shutil.copytree(folders / "site-00001", root / "oak")
    assert run_many(root, out, maps=True).maps == {"oak": "maps/oak.html"}
    shutil.copytree(folders / "site-00002", root / "Oak")
    done = run_many(root, out, maps=True)
    assert (done.computed, len(done.maps)) == (2, 2)
    names = sorted(path.name for path in (out / "maps").iterdir())
    assert names == sorted(Path(name).name for name in done.maps.values())
    assert len({name.lower() for name in names}) == 2
    for key, name in done.maps.items():
        title = next(row["name"] for row in done.comparison.sites if row["site"] == key)
        assert title in (out / name).read_text(encoding="utf-8")
    shutil.rmtree(root / "Oak")
    assert run_many(root, out, maps=True).maps == {"oak": "maps/oak.html"}
    assert [path.name for path in (out / "maps").iterdir()] == ["oak.html"]


def test_sites_of_one_name_are_told_apart_and_what_is_not_measured_is_said(folders, tmp_path):
    root = tmp_path / "sites"
    for name in ("north", "south"):
        site = shutil.copytree(folders / "site-00001", root / name)
    (site / "loads.csv").unlink()
    done = run_many(root, tmp_path / "out")
    lines = [
        line.in_words(done.comparison.labels) for line in first_lines(done.comparison, "metric")
    ]
    assert (
        "12 dressings not measured, at 1 site: site-00001 (invented) (south) (12 of 12); there are"
        " no catches or no loads"
    ) in lines
    page = index_page("two", done, "metric")
    assert "<td>site-00001 (invented) (north)</td>" in page
    assert "<td>site-00001 (invented) (south)</td>" in page
    assert last_days(done.comparison) == f"Account to {done.comparison.sites[0]['as_of']}."
    assert last_days(done.comparison) in page


def test_the_first_lines_name_the_sites_to_ask_first(folders, tmp_path):
    root, out = tmp_path / "sites", tmp_path / "out"
    for k in range(1, 6):
        shutil.copytree(folders / f"site-0000{k}", root / f"site-0000{k}")
    settings = root / "site-00001" / "site.toml"
    settings.write_text(settings.read_text().replace("season_start", "begin"))
    path = root / "site-00004" / "loads.csv"
    loads = pd.read_csv(path)
    loads["count"] *= 0.6
    loads.to_csv(path, index=False)
    done = run_many(root, out, maps=True)
    found = done.comparison
    first, open_ones, *_, thrown = first_lines(found, "metric")
    assert first.in_words(found.labels) == "4 sites worked out, 1 refused: site-00001"
    assert open_ones.in_words(found.labels).startswith(
        "12 balances do not close, at 1 site: site-00004 (invented) (12 of 12); there the catches"
    )
    spreader = {row["spreader"]: row for row in found.spreaders}
    (left_out,) = [row for row in found.spreaders if row["left_out"]]
    assert left_out["spreader"] == next(
        row["spreader"] for row in found.spreader_sites if row["site"] == "site-00004"
    )
    kilograms = sum(row["overthrow_kg"] for row in spreader.values())
    assert f" {kilograms:,.0f} kg (".replace(",", "\u202f") in thrown.text
    assert "spread and measured where balances close, " in thrown.text
    over = [row for row in found.sites if (row["overthrow_low_kg"] or 0) > 0]
    assert [key for key, _ in thrown.sites] == [
        row["site"] for row in sorted(over, key=lambda row: -row["overthrow_kg"])
    ]
    page = index_page("five", done, "metric")
    assert '<a href="maps/site-00004.html">site-00004 (invented)</a> (12 of 12); there' in page
    assert "refused: <b>site-00001</b>.</li>" in page
    assert page.count('<circle class="ring"') == 1
    assert "<td>site-00004 (invented)</td><td>12 of 12: " in page


def test_the_surface_furthest_behind_is_that_of_the_ledger(whole):
    out, done = whole
    ledger = pd.read_csv(out / "ledger.csv")
    behind = ledger[ledger["state"] == "under-dressed"]
    short = behind["target_so_far_mm"] - behind["depth_mm"]
    worst = behind.loc[short.idxmax()]
    assert len(behind) < len(ledger)
    assert behind["site"].nunique() == 1
    mine = (ledger["site"] == worst["site"]).sum()
    for units, shown in (
        ("metric", f"{short.max():.2f} mm"),
        ("us", f"{short.max() / 25.4:.3f} in"),
    ):
        lines = [
            line.in_words(done.comparison.labels) for line in first_lines(done.comparison, units)
        ]
        assert (
            f"{len(behind)} surfaces under-dressed, at 1 site: {worst['site']} (invented)"
            f" ({len(behind)} of {mine}); furthest behind is {worst['surface']} of {worst['site']}"
            f" (invented), {shown}"
        ) in lines
    listed = [row["shortfall_mm"] for row in done.comparison.under_dressed]
    np.testing.assert_allclose(listed, np.sort(short)[::-1][: len(listed)], rtol=1e-6)


def test_days_of_account_that_differ_are_a_span(whole):
    sites = [dict(row) for row in whole[1].comparison.sites]
    sites[2] |= {"as_of": None}
    sites[3] |= {"as_of": "2026-04-30"}
    found = replace(whole[1].comparison, sites=sites)
    last = sites[0]["as_of"]
    assert last_days(found) == (
        f"Each site's account runs to its last record, 2026-04-30 to {last}."
    )


def test_a_run_that_is_stopped_says_what_to_do(folders, tmp_path, monkeypatch):
    def stopped(*arguments, **options):
        raise KeyboardInterrupt

    monkeypatch.setattr("geosand.portfolio.account.account_portfolio", stopped)
    told = many(folders, "--out", tmp_path)
    assert told.exit_code == 130
    assert "Stopped. What is finished is kept; say the same again to go on." in told.stderr


def test_a_place_that_can_not_be_written_is_told(folders, tmp_path):
    (tmp_path / "taken").write_text("a file")
    told = many(folders, "--out", tmp_path / "taken")
    assert told.exit_code == 1
    assert "taken: can not be written: File exists. Name another place with --out." in told.stderr


def test_a_full_disk_is_told_in_the_words_of_the_system(folders, tmp_path, monkeypatch):
    def full(*arguments, **options):
        raise OSError(errno.ENOSPC, "Error writing bytes to file. Detail: [errno 28] No space")

    monkeypatch.setattr("geosand.portfolio.account.write_tables", full)
    told = many(folders, "--out", tmp_path / "out")
    assert told.exit_code == 1
    assert (
        f"out: can not be written: {os.strerror(errno.ENOSPC)}. Make room, or name another place"
        " with --out; what is finished there is kept."
    ) in told.stderr


def test_the_summary_says_the_important_first(folders, tmp_path):
    told = many(folders, "--out", tmp_path)
    assert told.exit_code == 0, told.output
    lines = told.output.splitlines()
    assert lines[0] == f"{SITES} sites worked out."
    assert "Overthrow by spreader, ± u" in told.output
    assert f"Index: {tmp_path / 'index.html'}; tables beside it." in told.output
    again = many(folders, "--out", tmp_path)
    assert f"{SITES} sites were kept from an earlier run." in again.output


def test_a_dressing_of_which_all_sand_came_back_is_told(folders, tmp_path):
    """Nothing was spread, though trays hold sand: no share of the spread can be given."""
    root = tmp_path / "sites"
    for k in (1, 2):
        shutil.copytree(folders / f"site-0000{k}", root / f"site-0000{k}")
    path = root / "site-00001" / "loads.csv"
    loads = pd.read_csv(path)
    first = loads["dressing"] == loads["dressing"][0]
    loads.loc[first, "returned_kg"] = (loads["count"] * loads["unit_mass_kg"])[first]
    loads.to_csv(path, index=False)
    told = many(root, "--out", tmp_path / "out")
    assert told.exit_code == 0, told.output
    assert f", {loads['dressing'][0]}: nothing was spread\n" in told.output
    page = (tmp_path / "out" / "index.html").read_text(encoding="utf-8")
    assert "<td>–</td>" in page
    document = json.loads(many(root, "--out", tmp_path / "out", "--json").stdout)
    worst = document["not_closing"][0]
    assert (worst["site"], worst["spread_kg"], worst["fraction"]) == ("site-00001", 0.0, None)


def test_the_document_has_sites_spreaders_and_files(folders, tmp_path):
    told = many(folders, "--out", tmp_path, "--json")
    document = json.loads(told.stdout)
    assert [row["site"] for row in document["sites"]] == [f"site-{k:05d}" for k in range(1, 6)]
    assert document["computed"] == SITES
    assert document["refused"] == []
    assert list(document["inputs_by_site"]) == [row["site"] for row in document["sites"]]
    assert document["made_with"]["verb"] == "many"
    assert all("sketch" not in row for row in document["sites"])
    under = sum(row["under_dressed"] for row in document["sites"])
    assert document["under_dressed_count"] == under
    shortfalls = [row["shortfall_mm"] for row in document["under_dressed"]]
    assert shortfalls == sorted(shortfalls, reverse=True)


def test_wrong_use_and_refused_data_end_as_everywhere(tmp_path):
    nothing = many(tmp_path)
    assert nothing.exit_code == 1
    assert "no site is here" in nothing.stderr
    assert many(tmp_path, "--as-of", "soon").exit_code == 2
    assert many(tmp_path, "--workers", "0").exit_code == 2


@pytest.mark.browser
def test_the_list_sorts_filters_and_runs_nothing_of_a_name(evil, chromium, tmp_path):
    out, done = evil
    (out / "index.html").write_text(index_page("three", done, "metric"), encoding="utf-8")
    page = chromium.new_page()
    complaints = []
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda problem: complaints.append(str(problem)))
    page.goto((out / "index.html").as_uri())
    rows = page.locator("#list tr")
    assert rows.count() == 3
    assert not page.locator(".pages").is_visible()
    assert "refused: see below" in rows.first.inner_text()
    assert page.locator(rows.first.locator("a").get_attribute("href")).count() == 1
    assert page.locator("#list svg circle").count() == 2 * 72
    page.get_by_role("button", name="overthrow, %").click()
    texts = page.locator("#list tr td:nth-child(3).number").all_inner_texts()
    shown = [float(text.replace("−", "-").split(" ±")[0]) for text in texts]
    assert shown == sorted(shown, reverse=True)
    page.get_by_role("button", name="overthrow, %").click()
    assert page.locator("th[aria-sort=ascending]").count() == 1
    page.locator("#find").fill("onerror")
    assert rows.count() == 1
    assert rows.first.locator("a").get_attribute("href") == "maps/site-00002.html"
    assert rows.first.locator("a").inner_text() == EVIL
    page.locator("#find").fill("")
    page.locator("#which").select_option("refused")
    assert page.locator("#told").inner_text() == "1 of 3 sites"
    assert page.evaluate("window.hit") is None
    assert complaints == []
    page.close()


@pytest.fixture(scope="module")
def unmeasured(tmp_path_factory):
    """Two sites in July whose two greens had sand without trays; that with a target has a tee."""
    from tests.sites import SURFACES, TOML, write_site

    root = tmp_path_factory.mktemp("unmeasured") / "sites"
    write_site(root / "behind", catches=None)
    write_site(root / "unknown", toml=TOML.replace("tee", "lawn"), catches=None)
    assert [one["properties"]["kind"] for one in SURFACES] == ["green", "green", "tee"]
    return root, run_many(root, root.parent / "out", as_of="2026-07-16")


def test_surfaces_behind_are_counted_as_in_account_and_report(unmeasured):
    """The tee is behind, the depth of both greens is not known: 1 of 3 everywhere."""
    root, done = unmeasured
    first, second = done.comparison.sites
    states = ("under_dressed", "on_target", "over_dressed", "depth_not_known", "no_target")
    assert [first[state] for state in states] == [1, 0, 0, 2, 0]
    assert [second[state] for state in states] == [0, 0, 0, 2, 0]
    told = [line.in_words(done.comparison.labels) for line in first_lines(done.comparison, "us")]
    assert any("(behind) (1 of 3, the depth of 2 not known); " in line for line in told)
    results = work_out(read_site(root / "behind"), as_of=np.datetime64("2026-07-16"))
    assert "surfaces: 2 not measured, 1 under-dressed" in summary(results, "metric")
    page = report_page(season_report(results, "metric"))
    assert "1 of 3" in page and "the depth of 2 is not known" in page


@pytest.mark.browser
def test_the_list_says_how_many_depths_are_not_known(unmeasured, chromium, tmp_path):
    path = tmp_path / "index.html"
    path.write_text(index_page("two", unmeasured[1], "metric"), encoding="utf-8")
    page = chromium.new_page(viewport={"width": 320, "height": 800})
    page.goto(path.as_uri())
    cells = page.locator("#list tr td:nth-child(7)").all_inner_texts()
    assert [text.split("\n") for text in cells] == [["1 of 3", "2 not known"], ["–", "2 not known"]]
    list_ = page.locator(".wide:has(.list)")
    assert list_.evaluate("(e) => e.scrollWidth <= e.clientWidth")
    page.close()


def made_sites(found, count):
    """So many sites after the first of a run, all alike but for their names."""
    blank = {"measured": 3, "dressings": 3, "not_closing": 0, "thrown_over": 0, "findings": 9}
    blank |= {"on_target": 4, "under_dressed": 0, "over_dressed": 1, "depth_not_known": 0}
    blank |= {"spreaders": "drop", "fraction": 0.1, "u_fraction": 0.02, "strip_width_m": 0.5}
    blank |= {"u_strip_width_m": 0.25, "largest_shortfall_mm": None, "furthest_behind": ""}
    blank |= {"no_target": 0, "sketch": ""}
    names = [{"site": f"key{k}", "name": f"Course {k}"} for k in range(count)]
    return [{**found.sites[0], **blank, **name} for name in names]


def sites_page(run, sites, page, place, units="metric"):
    """The index of given sites, open in a browser."""
    labels = run.comparison.labels | {row["site"]: row["name"] for row in sites}
    found = replace(run.comparison, sites=sites, labels=labels)
    path = place / "index.html"
    path.write_text(index_page("made", replace(run, comparison=found), units), "utf-8")
    page.goto(path.as_uri())


@pytest.mark.browser
def test_the_list_is_turned_page_by_page_sorted_and_filtered(whole, chromium, tmp_path):
    sites = made_sites(whole[1].comparison, 120)
    sites[3] |= {"status": "failed"}
    sites[9] |= {"not_closing": 2}
    sites[8] |= {"not_closing": 3}
    sites[7] |= {"under_dressed": 1, "largest_shortfall_mm": 2.0, "furthest_behind": "g7"}
    sites[6] |= {"under_dressed": 2, "largest_shortfall_mm": 1.0, "furthest_behind": "g1"}
    sites[5] |= {"measured": 2}
    sites[4] |= {"thrown_over": 1, "fraction": None, "spreaders": "disc", "strip_width_m": None}
    page = chromium.new_page()
    sites_page(whole[1], sites, page, tmp_path)
    first = page.locator("#list tr td:nth-child(2)").first
    told, shown = page.locator("#told"), page.locator("#page")
    before, after = page.locator("#before"), page.locator("#after")

    def head(key):
        return page.locator(f"[data-key={key}]")

    def names(most=9):
        texts = page.locator("#list tr td:nth-child(2) :first-child").all_inner_texts()
        return [int(text.split()[1]) for text in texts[:most] if text.startswith("Course")]

    pressing = [3, 8, 9, 6, 7, 5, 0, 1, 2]  # failed, open balances, behind, not measured, the rest
    assert names() == pressing
    assert (told.inner_text(), shown.inner_text()) == ("120 of 120 sites", "1 to 50")
    assert before.is_disabled()
    for last in ("51 to 100", "101 to 120"):
        assert after.is_enabled()
        after.click()
        assert shown.inner_text() == last
    assert after.is_disabled() and page.locator("#list tr").count() == 20
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    assert names() == pressing and page.locator("#list tr").count() == 120
    page.evaluate("dispatchEvent(new Event('afterprint'))")
    assert shown.inner_text() == "1 to 50" and page.locator("#list tr").count() == 50
    after.click()
    after.click()
    before.click()
    assert shown.inner_text() == "51 to 100"
    head("name").click()
    assert shown.inner_text() == "1 to 50"  # a new order begins at its beginning
    assert names(12) == list(range(12))  # 9 before 10
    assert page.locator("th[aria-sort]").get_attribute("aria-sort") == "ascending"
    head("name").click()
    assert names(3) == [119, 118, 117]
    head("spreaders").click()
    assert names(3) == [4, 0, 1]  # alike ones stay in their order
    assert page.locator("#list tr").first.inner_text().split("\t")[2:4] == ["–", "–"]
    assert page.locator("th[aria-sort]").count() == 1
    head("spreaders").click()
    assert names(2) == [0, 1]
    head("fraction").click()
    after.click()
    after.click()
    assert names(20)[-1] == 4  # none stands last, whichever way
    head("fraction").click()
    after.click()
    after.click()
    assert names(20)[-1] == 4
    page.locator("#plain").click()
    assert names() == pressing and page.locator("th[aria-sort]").count() == 0
    choices = {"not_closing": [8, 9], "under_dressed": [6, 7], "thrown_over": [4]}
    for choice, wanted in (choices | {"unmeasured": [5], "refused": [3]}).items():
        page.locator("#which").select_option(choice)
        assert names() == wanted, choice
        assert not page.locator(".pages").is_visible()
    page.locator("#which").select_option("all")
    find = page.locator("#find")
    for words, wanted in (("course DISC", [4]), ("key117", [117]), ("disc drop", [])):
        find.fill(words)
        assert names() == wanted, words
    assert shown.text_content() == "none"
    find.fill("")
    assert first.inner_text().startswith("Course 3")
    page.close()


@pytest.mark.browser
def test_a_line_of_the_list_has_the_figures_of_its_site(whole, chromium, tmp_path):
    run, tall = whole[1], {"fraction": -0.0004, "u_fraction": None, "findings": 1234}
    sites = made_sites(run.comparison, 4)
    sites[0] |= {"strip_width_m": 0.3048, "u_strip_width_m": 0.1524}
    sites[1] |= {"under_dressed": 1, "largest_shortfall_mm": 2.54, "furthest_behind": "g7"}
    sites[1] |= {"depth_not_known": 2, "sketch": "0AK0KA41zzL2AAY3"}
    sites[2] |= {"measured": 0, "dressings": 2, "fraction": -0.123}
    sites[3] |= {"measured": 0, "dressings": 0, "fraction": 12.34567, "u_fraction": 0}
    sites.append({**sites[0], "site": "key9", "name": "Course 9"} | tall)
    page = chromium.new_page(viewport={"width": 1280, "height": 800})
    sites_page(run, sites, page, tmp_path, units="us")
    head = page.get_by_role("button", name="site", exact=True)
    head.click()
    assert head.is_visible()  # its arrow is no part of its name: aria-sort tells the order
    lines = [row.split("\t") for row in page.locator("#list tr").all_inner_texts()]
    cells = [[text.replace("\n", " ").strip() for text in line] for line in lines]
    assert cells[0][2:] == ["10.0 ± 2.0", "1.0 ± 0.5", "drop", "0 of 3", "0 of 5", "–", "9"]
    assert cells[1][6:8] == ["1 of 8 2 not known", "0.100 g7"]
    assert cells[2][2] == "−12.3 ± 2.0"
    assert cells[2][5] == "not measured" and cells[3][5] == "0 of 0"
    assert cells[3][2] == "1\u202f234.6 ± 0.0"
    assert cells[4][2] == "0.0"  # what is nought to a tenth has no sign, and no u none
    colour = "(e) => getComputedStyle(e).color"
    rows = page.locator("#list tr")
    plain = rows.nth(0).locator("td").nth(5).evaluate(colour)
    assert rows.nth(1).locator("td").nth(6).evaluate(colour) != plain
    assert rows.nth(2).locator("td").nth(5).evaluate(colour) != plain
    dots = rows.nth(1).locator("circle")
    drawn = [[dot.get_attribute(name) for name in ("cx", "cy", "r", "class")] for dot in dots.all()]
    # digits, capitals, small letters: 0 to 61; what has a state is drawn a little larger
    assert drawn[:2] == [["0", "10", "5", "s0"], ["20", "10", "2.2", "s1"]]
    assert [dot[3] for dot in drawn] == ["s0", "s1", "s2", "s3"]
    assert drawn[3][:2] == ["10", "10"] and float(drawn[3][2]) == 8.5
    page.close()


@pytest.mark.browser
def test_a_sheet_of_paper_has_all_sites_and_a_phone_all_that_matters(whole, chromium, tmp_path):
    sites = [dict(whole[1].comparison.sites[k % SITES]) for k in range(60)]
    for k, row in enumerate(sites):
        row |= {"site": f"s{k}", "name": f"Course {k}"}
    sites[7] |= {"measured": 0, "not_closing": 0, "under_dressed": 0}
    names = {row["site"]: row["name"] for row in sites}
    found = replace(whole[1].comparison, sites=sites, labels=whole[1].comparison.labels | names)
    path = tmp_path / "index.html"
    path.write_text(index_page("sixty", replace(whole[1], comparison=found), "metric"), "utf-8")
    page = chromium.new_page(viewport={"width": 390, "height": 800})
    page.goto(path.as_uri())
    rows = page.locator("#list tr")
    assert rows.count() == 50
    list_ = page.locator(".wide:has(.list)")
    assert list_.evaluate("(e) => e.scrollWidth <= e.clientWidth")
    assert rows.first.locator("td:visible").count() == 4
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    assert rows.count() == 60
    page.evaluate("dispatchEvent(new Event('afterprint'))")
    assert rows.count() == 50
    paper = pypdfium2.PdfDocument(page.pdf(format="A4"))
    texts = [sheet.get_textpage().get_text_range() for sheet in paper]
    listed = [text for text in texts if re.search(r"(?m)^s\d+\s*$", text)]  # keys of sites
    assert len(listed) > 1
    assert all("findings" in text for text in listed)  # each sheet with the headings
    assert page.get_by_role("button", name="overthrow").is_visible()
    page.locator("#find").fill("Course 7")
    assert rows.first.locator("td").nth(5).inner_text() == "not measured"
    page.close()


@pytest.mark.browser
@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize("width", [320, 390])
def test_no_table_of_a_phone_needs_a_sideways_scroll(whole, chromium, tmp_path, units, width):
    site = whole[1].comparison.sites[0]["site"]
    open_ = {"site": site, "dressing": "D1", "spread_kg": 15_500.0, "overthrow_kg": -2930.0}
    found = replace(whole[1].comparison, not_closing=[open_])
    path = tmp_path / "index.html"
    path.write_text(index_page("clubs", replace(whole[1], comparison=found), units), "utf-8")
    page = chromium.new_page(viewport={"width": width, "height": 800})
    page.goto(path.as_uri())
    tables = page.locator(".wide").all()
    assert len(tables) == 4
    for table in tables:
        name = table.get_attribute("aria-label")
        assert table.evaluate("(e) => e.scrollWidth <= e.clientWidth"), name
    assert page.evaluate("document.documentElement.scrollWidth") == width
    page.close()


@pytest.mark.browser
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_page_has_no_violation(evil, chromium, tmp_path, scheme):
    path = tmp_path / "index.html"
    path.write_text(index_page("three", evil[1], "metric"), encoding="utf-8")
    page = chromium.new_page(color_scheme=scheme)
    page.goto(path.as_uri())
    page.evaluate(Path(axe_playwright_python.base.AXE_FILE_PATH).read_text(encoding="utf-8"))
    found = page.evaluate("axe.run({resultTypes: ['violations']})")
    assert found["violations"] == []
    assert len(found["passes"]) > 15
    shown = "getComputedStyle(document.body).backgroundColor"
    assert (
        page.evaluate(shown) == {"light": "rgb(251, 249, 243)", "dark": "rgb(27, 26, 23)"}[scheme]
    )
    page.close()


@pytest.mark.browser
def test_nothing_is_cut_off_on_paper(evil, chromium, tmp_path):
    out, done = evil
    (out / "paper.html").write_text(index_page("three", done, "metric"), encoding="utf-8")
    page = chromium.new_page(viewport={"width": 703, "height": 900})  # A4 less its margins
    page.emulate_media(media="print")
    page.goto((out / "paper.html").as_uri())
    wide = page.evaluate(
        "[...document.querySelectorAll('.wide')].map((e) => [e.scrollWidth, e.clientWidth])"
    )
    assert wide
    assert all(inside <= room for inside, room in wide), wide
    page.close()
