"""The index: sorted, filtered, safe with hostile names; the verb's summary and document."""

from __future__ import annotations

import json
import re
import shutil

import pytest
from click.testing import CliRunner

from geosand.cli import main
from geosand.portfolio.account import map_name
from geosand.portfolio.index_page import index_page
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


def test_the_summary_says_the_important_first(folders, tmp_path):
    told = many(folders, "--out", tmp_path)
    assert told.exit_code == 0, told.output
    lines = told.output.splitlines()
    assert lines[0] == f"{SITES} sites worked out."
    assert "Overthrow by spreader, ± u" in told.output
    assert f"Index: {tmp_path / 'index.html'}; tables beside it." in told.output
    again = many(folders, "--out", tmp_path)
    assert f"{SITES} sites were kept from an earlier run." in again.output


def test_the_document_has_sites_spreaders_and_files(folders, tmp_path):
    told = many(folders, "--out", tmp_path, "--json")
    document = json.loads(told.stdout)
    assert [row["site"] for row in document["sites"]] == [f"site-{k:05d}" for k in range(1, 6)]
    assert document["computed"] == SITES
    assert document["refused"] == []
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
    assert "refused: see below" in rows.first.inner_text()
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
