"""The job sheet: figures of the plan in their order, cautions, hostile names as text."""

from __future__ import annotations

import json
import re

from click.testing import CliRunner

from geosand.cli.plan import command
from tests.reports.test_field_sheet import HOSTILE
from tests.sites import DRESSINGS, SURFACES, surface


def written(folder, tmp_path, *options):
    out = tmp_path / "job.html"
    arguments = [str(folder), "--depth", "0.5mm", "--job-sheet", str(out), "--json", *options]
    result = CliRunner().invoke(command, arguments, catch_exceptions=False)
    assert result.exit_code == 0, result.stderr
    return out.read_text(), json.loads(result.stdout)


def rows_of(page):
    """Cells of the table's body, without markup."""
    body = re.search(r"<tbody>(.*?)</tbody>", page, re.DOTALL)[1]
    return [
        [re.sub("<.*?>", "", c) for c in re.findall(r"<t[dh].*?>(.*?)</t[dh]>", row)]
        for row in body.split("</tr>")[:-1]
    ]


def test_surfaces_stand_in_the_order_of_work_with_their_figures(site_folder, tmp_path):
    page, plan = written(site_folder(), tmp_path, "--surfaces", "t1 g2 g1")
    rows = rows_of(page)
    assert [row[1] for row in rows] == ["First teet1", "Second greeng2", "First greeng1"]
    # 0.5 mm of 1550 kg/m3: 0.775 kg/m2
    assert [row[2:4] for row in rows] == [["0.50", "0.775"]] * 3
    for row, planned in zip(rows, plan["surfaces"], strict=True):
        assert float(row[4]) == round(planned["mass_kg"] + planned["overthrow_kg"])
        assert float(row[5]) == round(planned["units"], 1)


def test_cautions_are_there_and_defer_to_local_codes(site_folder, tmp_path):
    page, _ = written(site_folder(), tmp_path)
    for word in ("crystalline silica", "respirator", "Bulk bags", "Stop the engine", "Heat"):
        assert word in page
    assert "Local codes and the makers' instructions" in page.replace("&#x27;", "'")


def test_hostile_names_are_text_and_nothing_runs(site_folder, tmp_path):
    first = surface("g1", "green", SURFACES[0]["geometry"], name=HOSTILE)
    dressings = DRESSINGS.replace("swath_m\n", "swath_m,spreader\n")
    dressings = dressings.replace("0.6,4", '0.6,4,"<b onclick=x>disc</b>"')
    folder = site_folder(surfaces=[first, *SURFACES[1:]], dressings=dressings)
    page, _ = written(folder, tmp_path)
    assert "<img" not in page
    assert "<b onclick" not in page
    assert "<script" not in page
    assert "script-src 'none'" in page


def test_units_and_holes(site_folder, tmp_path):
    options = ("--units", "us", "--holes", "12.7mm,50mm,75mm")
    page, _ = written(site_folder(), tmp_path, *options)
    assert "lb/1000 ft²" in page
    assert "kg" not in re.sub("<style>.*?</style>", "", page, flags=re.DOTALL)
    assert "goes into the holes: brush it in first" in page
