"""The index: what it lists, safe with hostile names; the verb's summary and document."""

from __future__ import annotations

import errno
import json
import os
import shutil
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
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
from tests.portfolio.conftest import EVIL, SITES, run_many


def many(*options):
    return CliRunner().invoke(main, ["many", *map(str, options)])


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
    assert thrown.sites[0][1].replace(" kg", "\u00a0kg").replace(" %", "\u00a0%") in page
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
    assert len(listed) == 10 < len(behind)  # no more of one site
    np.testing.assert_allclose(listed, np.sort(short)[::-1][:10], rtol=1e-6)
    more = f"The furthest behind, at most 10 of a site; ledger.csv has {len(behind) - 10} more."
    assert more in index_page("five", done, "metric")


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
    assert "dressings whose catches claim more than was spread" in page
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
    assert "surfaces: 1 under-dressed, 2 not measured" in summary(results, "metric")
    page = report_page(season_report(results, "metric"))
    assert "1 of 3" in page and "the depth of 2 is not known" in page
