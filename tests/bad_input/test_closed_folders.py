"""Folders of a site that are closed: to those who would write there, or who would look there."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.bad_input.faults import in_child, no_rights
from tests.bad_input.test_corpus import digests
from tests.bad_input.test_writes import verb
from tests.sites import SURFACES, collection, write_site

pytestmark = pytest.mark.filterwarnings("ignore:.*fork.*:DeprecationWarning")


def test_earlier_surveys_that_can_not_be_written_to(tmp_path: Path) -> None:
    """An archive is often closed: its rights must not stop the copy that is read beforehand."""
    site, survey = write_site(tmp_path / "site"), tmp_path / "survey.geojson"
    survey.write_text(json.dumps(collection(SURFACES)))
    (site / "editions").mkdir(mode=0o555)
    before = digests(site)
    act = verb("bring", survey, "--into", site, "--valid-from", "2026-06-01")
    assert in_child(act, no_rights, tmp_path / "said") == 1
    assert "site: can not be written: Permission denied" in (tmp_path / "said").read_text()
    assert digests(site) == before


def test_a_folder_that_can_be_listed_and_not_entered_is_told_as_that(tmp_path: Path) -> None:
    site = write_site(tmp_path / "site")
    site.chmod(0o444)
    assert in_child(verb("check", site), no_rights, tmp_path / "said") == 1
    site.chmod(0o755)
    said = (tmp_path / "said").read_text()
    assert "site: can not be looked into: Permission denied. Look at its rights." in said


@pytest.mark.parametrize("rights", [0o555, 0o000])
def test_a_result_in_a_closed_folder_is_not_said_to_be_open(tmp_path: Path, rights: int) -> None:
    """Of a folder that can not be entered not even asked whether the file is there."""
    site, shut = write_site(tmp_path / "site"), tmp_path / "shut"
    shut.mkdir()
    (shut / "m.html").write_text("last week's\n")
    shut.chmod(rights)
    act = verb("account", site, "--out", shut / "m.html", "--report", tmp_path / "r.html")
    assert in_child(act, no_rights, tmp_path / "said") == 1
    shut.chmod(0o755)
    told = "m.html: can not be written: Permission denied. Name another place"
    assert told in " ".join((tmp_path / "said").read_text().split())
