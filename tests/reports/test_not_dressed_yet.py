"""What people are told of a surface that had no dressing and was to have none so far."""

from __future__ import annotations

import numpy as np
import pytest
from click.testing import CliRunner

from geosand.cli import main
from geosand.formats.site_folder import read_site
from geosand.mapping.fill import map_view
from geosand.reports.console import season_table
from geosand.reports.printable.content import Table
from geosand.reports.printable.season_report import season_report
from geosand.reports.printable.surfaces_section import surfaces_section
from geosand.reports.season_document import season_document
from geosand.reports.words import NO_DRESSING
from geosand.results import Results, work_out
from tests.sites import TOML, write_site


@pytest.fixture
def fresh(tmp_path) -> Results:
    empty = "dressing,date,surfaces,planned_depth_mm\n"
    folder = write_site(tmp_path / "site", dressings=empty, loads=None, catches=None)
    return work_out(read_site(folder))


def test_it_is_on_target_for_programs_and_not_dressed_yet_for_people(fresh):
    document = season_document(fresh)
    states = {row["state"] for row in document["surfaces"]}
    assert states == {"on target"}  # other programs read one of the fixed states
    assert {row["basis"] for row in document["surfaces"]} == {None}  # no catches speak of it
    assert set(fresh.ledger.told.tolist()) == {"not dressed yet"}
    printed = " ".join(map(str, season_table(fresh, "metric").rows))
    assert "not dressed yet" in printed and "on target" not in printed and "99 %" not in printed
    shown = [
        one for period in map_view(fresh, "metric").periods for one in period.surfaces.values()
    ]
    assert {(one.state, one.probability) for one in shown} == {("not dressed yet", None)}


def test_a_season_without_surfaces_to_show_has_no_table(tmp_path):
    empty = "dressing,date,surfaces\n"
    toml = TOML.partition("[targets_mm]")[0]
    folder = write_site(tmp_path / "site", toml=toml, dressings=empty, loads=None, catches=None)
    result = CliRunner().invoke(main, ["season", str(folder)])
    assert (result.exit_code, result.output) == (0, f"{NO_DRESSING}\n")


def test_in_a_report_too(fresh):
    depths = season_document(fresh)["surfaces"]
    section = surfaces_section(fresh, depths, "metric")
    (table,) = (part for part in section.blocks if isinstance(part, Table))
    assert {row.cells[-1] for row in table.rows if row.tone != "group"} == {"not dressed yet"}


def test_where_sand_was_due_it_is_under_dressed(fresh):
    later = work_out(fresh.site, as_of=fresh.site.season_start + np.timedelta64(200, "D"))
    assert set(later.ledger.told.tolist()) == {"under-dressed"}


def test_a_report_shows_no_table_of_zeros_and_no_scale_of_depths(fresh):
    titles = [section.title for section in season_report(fresh, "metric").sections]
    assert "Map" in titles and "Surface by surface" not in titles
    later = work_out(fresh.site, as_of=fresh.site.season_start + np.timedelta64(200, "D"))
    titles = [section.title for section in season_report(later, "metric").sections]
    assert "Map" in titles and "Surface by surface" in titles
