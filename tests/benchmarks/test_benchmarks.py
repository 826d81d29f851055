"""The benchmarks on a site or two, one round each: that they run, and that both sides agree.

What they measure is not looked at: nothing here depends on how fast a machine is.
"""

from __future__ import annotations

import json
import subprocess
import sys
from functools import partial

import numpy as np
import pytest

from geosand.mapping.fill import map_view
from geosand.mapping.page import map_page
from tests.benchmarks import (
    areas,
    map_views,
    polygons,
    portfolio_generator,
    run,
    scale,
    workloads,
)
from tests.benchmarks.portfolio_generator import Extent

SMALL = Extent(greens=2, dressings=3)  # tees are dressed every third time


@pytest.fixture(autouse=True)
def once(monkeypatch):
    """Each way is called once a round, on as little as shows whether it runs."""
    monkeypatch.setattr(areas, "TURN_S", 1e-9)
    monkeypatch.setattr(workloads, "DRAWS", 2000)
    monkeypatch.setattr(polygons, "SITES", 2)
    monkeypatch.setattr(scale, "NOTEBOOK_SITES", 1)
    small_set = partial(portfolio_generator.write_set, extent=SMALL)
    monkeypatch.setattr(portfolio_generator, "write_set", small_set)


def test_all_workloads_find_what_the_other_ways_find(capsys):
    rows = run.judged(workloads.comparisons(2, 1, SMALL))
    assert len({row["what"] for row in rows}) == 18
    assert [row for row in rows if not row["agree"]] == []
    run.print_computations(rows, "Workloads")
    assert "NOT the same" not in capsys.readouterr().out


def test_areas_are_those_of_the_other_ways():
    rows = areas.comparisons(2 * areas.SITE, 1)
    assert [row["agree"] for row in rows if "agree" in row] == [True] * 4


def test_ways_that_differ_are_told(capsys):
    row = {"what": "a", "size": "b", "beside": "c", "geosand_ms": 1, "other_ms": 2, "ratio": 2}
    row |= {"at_least": None, "difference": "by 3", "agree": False}
    run.print_computations(run.judged([row]), "Workloads")
    assert "by 3: NOT the same" in capsys.readouterr().out


def test_a_portfolio_is_made_worked_out_and_measured(tmp_path, monkeypatch, capsys):
    file = tmp_path / "scale.json"
    monkeypatch.setattr(sys, "argv", ["scale", "--sites", "1", "--out", str(file)])
    scale.main()
    (row,) = json.loads(file.read_text())["rows"]
    assert row["sites"] == 1
    assert row["parquet_mb"] > 0
    assert "1 sites:" in capsys.readouterr().out


def test_the_script_of_a_notebook_finds_the_overthrow_of_the_demo_site(demo, tmp_path):
    """It knows less, as of surfaces without catches: within 5 % of what was spread."""
    command = run.commands(run.ROOT / "data" / "demo_site", tmp_path)[run.NOTEBOOK_MAP]
    told = subprocess.run(command, capture_output=True, text=True, check=True).stdout.splitlines()
    theirs = {line.partition(":")[0]: float(line.split()[1].partition("+")[0]) for line in told}
    assert (tmp_path / "notebook.html").stat().st_size > 10_000
    assert list(theirs) == demo.site.dressings.id.tolist()
    apart = np.array(list(theirs.values())) - demo.balance.overthrow.value
    assert (np.abs(apart) < 0.05 * demo.balance.spread.value).all()


def test_a_page_tells_how_long_each_answer_takes(chromium, demo, tmp_path):
    page = tmp_path / "map.html"
    page.write_bytes(map_page(map_view(demo, "metric")).encode())
    times = map_views.answers(chromium, page, 0)
    assert len(times) == 1 + len(map_views.VIEWS) + 3
