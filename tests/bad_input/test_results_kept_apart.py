"""No result takes the place of what was measured, nor of a device, nor of another result."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.bad_input.spoiled import in_workbook
from tests.bad_input.test_corpus import digests, run
from tests.sites import CATCHES, SURFACES, collection, points, write_site

Record = Callable[[str, object], None]
MEASURED = "is one of the files that a site is read from. Name another file for the result"
READ = ("site.toml", "surfaces.geojson", "dressings.csv", "loads.csv", "catches.csv")
OVER = {
    **{f"map over {name}": ("map", "{site}", "--out", f"{{site}}/{name}") for name in READ},
    "map over loads, by another path": ("map", "{site}", "--out", "{site}/../site/loads.csv"),
    "map over Loads.CSV": ("map", "{site}", "--out", "{site}/Loads.CSV"),
    "account over loads": ("account", "{site}", "--out", "{site}/loads.csv"),
    "report over another site's": ("areas", "{site}", "--out", "{other}/deliveries.csv"),
    "areas as a survey": ("areas", "{site}", "--out", "{site}/surfaces.geojson"),
    "areas as records": ("areas", "{site}", "--out", "{site}/records.xlsx"),
    "trays as a survey": ("place", "{site}", "--catches", "2", "--out", "{site}/surfaces.geojson"),
    "trays as catches": ("place", "{site}", "--catches", "2", "--out", "{site}/catches.geojson"),
    "passes": ("plan", "{site}", "--to-target", "--passes", "{site}/surfaces.geojson"),
    "a field of depths": ("balance", "{site}", "--field", "{site}/surfaces.geojson"),
}


@pytest.fixture
def words(tmp_path: Path) -> dict[str, Path]:
    return {"site": write_site(tmp_path / "site"), "other": write_site(tmp_path / "other")}


@pytest.mark.parametrize("name", OVER)
def test_a_result_over_a_record_is_refused(
    name: str, words: dict[str, Path], tmp_path: Path, record_property: Record
) -> None:
    before = digests(tmp_path)
    end = run(*(word.format(**words) for word in OVER[name]))
    assert end.exit_code == 1, end.output
    # on a system with one name for Loads.CSV and loads.csv the text is the same
    assert MEASURED in end.stderr or "one of the files that are read here" in end.stderr
    assert digests(tmp_path) == before
    record_property("bad input", "result over a record")


def test_a_workbook_of_results_over_the_workbook_of_records(tmp_path: Path) -> None:
    site = write_site(tmp_path / "site", **in_workbook())
    before = digests(tmp_path)
    end = run("account", site, "--out", tmp_path / "m.html", "--workbook", site / "records.xlsx")
    assert end.exit_code == 1
    assert MEASURED in end.stderr
    assert digests(tmp_path) == before


def test_trays_over_catches_that_are_points(tmp_path: Path) -> None:
    site = write_site(tmp_path / "site", catches=points(CATCHES))
    before = digests(tmp_path)
    end = run("place", site, "--catches", "2", "--out", site / "catches.geojson")
    assert end.exit_code == 1
    assert digests(tmp_path) == before


def test_a_result_is_no_edition(tmp_path: Path) -> None:
    site = write_site(tmp_path / "site")
    end = run("areas", site, "--out", site / "editions" / "areas.geojson")
    assert end.exit_code == 1
    assert "would be read as an edition of the site's boundaries" in end.stderr
    assert not (site / "editions").exists()


def test_a_link_to_a_record_is_the_record(tmp_path: Path) -> None:
    site = write_site(tmp_path / "site")
    (tmp_path / "map.html").symlink_to(site / "loads.csv")
    before = digests(tmp_path)
    end = run("map", site, "--out", tmp_path / "map.html")
    assert end.exit_code == 1
    assert MEASURED in end.stderr
    assert digests(tmp_path) == before


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_devices_and_pipes_are_no_places(tmp_path: Path) -> None:
    site = write_site(tmp_path / "site")
    os.mkfifo(tmp_path / "pipe.html")
    for place in (tmp_path / "pipe.html", Path(os.devnull)):
        end = run("map", site, "--out", place)
        assert end.exit_code == 1
        assert "is no plain file" in end.stderr
    assert Path(os.devnull).is_char_device()


def test_two_results_of_a_plan_need_two_names(tmp_path: Path) -> None:
    site = write_site(tmp_path / "site")
    out = tmp_path / "out.html"
    end = run("plan", site, "--to-target", "--map", out, "--job-sheet", out)
    assert end.exit_code == 2
    assert "is named for two results" in end.stderr
    assert not out.exists()


def test_results_beside_the_records_are_fine(tmp_path: Path) -> None:
    site = write_site(tmp_path / "site")
    before = digests(site)
    assert run("areas", site, "--out", site / "areas.csv").exit_code == 0
    assert run("map", site, "--out", site / "map.html").exit_code == 0
    assert {k: v for k, v in digests(site).items() if k in before} == before


def test_a_replaced_file_keeps_its_rights(tmp_path: Path) -> None:
    from geosand.formats.writing import write_whole

    path = tmp_path / "private.html"
    path.write_text("old")
    path.chmod(0o600)
    write_whole(path, b"new")
    assert (path.read_bytes(), path.stat().st_mode & 0o777) == (b"new", 0o600)


# what is read -------------------------------------------------------------------------------


@pytest.mark.parametrize("name", READ)
@pytest.mark.parametrize("kind", ["link to nowhere", "link to itself", "folder", "pipe"])
def test_what_is_no_file_is_refused_not_missing(
    name: str, kind: str, tmp_path: Path, record_property: Record
) -> None:
    """A lost link to the loads is no season without loads."""
    site = write_site(tmp_path / "site")
    path = site / name
    path.unlink()
    if kind == "folder":
        path.mkdir()
    elif kind == "pipe":
        os.mkfifo(path)
    else:
        path.symlink_to(path if kind == "link to itself" else site / "gone")
    end = run("check", site)
    assert end.exit_code == 1
    assert f"{name}: is " in end.stderr
    assert "no file" in end.stderr
    record_property("bad input", "refused")


def test_editions_that_are_no_folder(tmp_path: Path) -> None:
    site = write_site(tmp_path / "site", files={"editions": collection(SURFACES)})
    end = run("check", site)
    assert end.exit_code == 1
    assert "editions: is no folder that can be read" in end.stderr


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")
def test_pipes_beside_a_site_are_not_waited_for(tmp_path: Path) -> None:
    site = write_site(tmp_path / "site")
    pipe = tmp_path / "pipe.csv"
    os.mkfifo(pipe)
    for words in (
        ("check", site, "--since", pipe),
        ("areas", site, "--claimed", pipe),
        ("new", tmp_path / "new", "--boundaries", site / "surfaces.geojson", "--kinds", pipe),
    ):
        end = run(*words)
        assert end.exit_code in (1, 2), end.output
        assert "plain file" in end.stderr or "is a directory" in end.stderr or "pipe" in end.stderr


NAMING = {
    "check": ("check", "{site}"),
    "areas": ("areas", "{site}"),
    "balance": ("balance", "{site}"),
    "season": ("season", "{site}"),
    "plan": ("plan", "{site}", "--to-target"),
    "place": ("place", "{site}", "--catches", "2"),
    "map": ("map", "{site}", "--out", "{out}/m.html"),
    "account": ("account", "{site}", "--out", "{out}/a.html"),
}


@pytest.mark.parametrize("name", NAMING)
def test_every_document_names_its_inputs(name: str, tmp_path: Path) -> None:
    site = write_site(tmp_path / "site")
    end = run(*(w.format(site=site, out=tmp_path) for w in NAMING[name]), "--json")
    (tmp_path / "result.json").write_text(end.stdout)
    (site / "loads.csv").write_text((site / "loads.csv").read_text() + "\n")
    said = run("check", site, "--since", tmp_path / "result.json")
    assert (said.exit_code, said.stdout.splitlines()[0]) == (0, "changed: loads.csv")
