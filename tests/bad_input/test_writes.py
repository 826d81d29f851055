"""What is written is whole or not there: killed at every step, disk full, no rights, two at once"""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

import pytest

from geosand.cli import main
from geosand.formats import site_folder
from geosand.formats.locking import held
from geosand.formats.site_folder import read_site
from geosand.formats.writing import write_whole
from tests.bad_input.faults import (
    KILLED,
    disk_full,
    in_child,
    kill_at,
    no_rights,
    steps_until_done,
)
from tests.bad_input.test_corpus import digests
from tests.sites import G1, SURFACES, collection, square, surface, write_site

pytestmark = pytest.mark.filterwarnings("ignore:.*fork.*:DeprecationWarning")
Record = Callable[[str, object], None]


def verb(*words: object) -> Callable[[], None]:
    """A verb as an act of a process of its own."""

    def act() -> None:
        # the test runner replaces sys.stdout by an object of its own
        sys.stdout = open(1, "w", closefd=False)  # noqa: SIM115 the process ends with it
        sys.stderr = open(2, "w", closefd=False)  # noqa: SIM115
        main([str(word) for word in words], prog_name="geosand")

    return act


@pytest.fixture
def survey(tmp_path: Path) -> Path:
    """The valid site's surfaces with a first green one metre wider."""
    wider = surface("g1", "green", square(*G1, 21.0), name="First green")
    path = tmp_path / "survey.geojson"
    path.write_text(json.dumps(collection([wider, *SURFACES[1:]])))
    return path


def visible(folder: Path) -> dict[str, str]:
    """Digests of a folder's files without the hidden ones that a killed process leaves."""
    return {k: v for k, v in digests(folder).items() if not Path(k).name.startswith(".")}


@pytest.mark.parametrize("earlier", [None, "2026-05-01"])
def test_bring_killed_at_every_step(
    earlier: str | None, tmp_path: Path, survey: Path, record_property: Record
) -> None:
    """Killed as the first survey after the one drawn, or as a later one, any site can be read."""
    site, finished = write_site(tmp_path / "site"), write_site(tmp_path / "finished")
    for folder in (site, finished) if earlier else ():
        first = tmp_path / "first.geojson"
        first.write_text(json.dumps(collection(SURFACES)))
        words = ("bring", first, "--into", folder, "--valid-from", earlier)
        assert in_child(verb(*words), list, tmp_path / "said") == 0
    act = verb("bring", survey, "--into", site, "--valid-from", "2026-06-01")
    old = visible(site)
    assert (
        in_child(
            verb("bring", survey, "--into", finished, "--valid-from", "2026-06-01"),
            list,
            tmp_path / "said",
        )
        == 0
    )
    new = visible(finished)
    states = []
    for _ in steps_until_done(act, site, tmp_path / "said"):
        now = visible(site)
        records = {k: v for k, v in now.items() if k in old and k != "surfaces.geojson"}
        assert records == {k: v for k, v in old.items() if k != "surfaces.geojson"}
        assert now["surfaces.geojson"] in (old["surfaces.geojson"], new["surfaces.geojson"])
        if now["surfaces.geojson"] == new["surfaces.geojson"]:
            assert now == new
        read_site(site)
        states.append(now["surfaces.geojson"] == new["surfaces.geojson"])
        record_property("fault injected", "killed")
        if states[-1]:
            break
    else:
        assert visible(site) == new
    assert len(states) > 10
    assert in_child(act, list, tmp_path / "said") == 1  # the survey is in force already
    assert visible(site) == new


@pytest.mark.parametrize("moment", ["before", "after"])
def test_a_site_read_while_a_survey_comes_in(
    moment: str, tmp_path: Path, survey: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A bring that runs before or after the editions are listed costs no edition."""
    site = write_site(tmp_path / "site")
    first = tmp_path / "first.geojson"
    first.write_text(json.dumps(collection(SURFACES)))
    words = ("--into", site, "--valid-from")
    act = verb("bring", first, *words, "2026-05-01")
    assert in_child(act, list, tmp_path / "said") == 0
    before = read_site(site)
    plain = site_folder._edition_names

    def listed(files: site_folder._Files) -> list[str]:
        monkeypatch.undo()  # the other process reads the site, too
        names = plain(files)
        assert in_child(verb("bring", survey, *words, "2026-06-01"), list, tmp_path / "said") == 0
        return names if moment == "after" else plain(files)

    monkeypatch.setattr(site_folder, "_edition_names", listed)
    now = read_site(site)

    assert now.valid_from.tolist() == before.valid_from.tolist()
    assert now.surfaces.geometry.tolist() == before.surfaces.geometry.tolist()
    left_out = [f.about for f in now.findings if "once more, and left out" in f.text]
    assert left_out == (["editions/2026-05-01.geojson"] if moment == "before" else [])


def test_a_stopped_run_says_what_it_has_written(
    tmp_path: Path, survey: Path, record_property: Record
) -> None:
    """Stopped at every step of a bring: it names what was done, all of it and no more."""
    plain, said, told = write_site(tmp_path / "plain"), tmp_path / "said", set()
    old = visible(plain)
    for step in range(15, 1000):  # what comes before only reads
        site = tmp_path / "site"
        shutil.rmtree(site, ignore_errors=True)
        shutil.copytree(plain, site)
        act = verb("bring", survey, "--into", site, "--valid-from", "2026-06-01")
        by = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)[step % 3]
        code = in_child(act, kill_at(step, site, by), said)
        if code == 0:
            break
        assert code == 128 + by, said.read_text()
        end = said.read_text().splitlines()[-1]
        new = {name for name, digest in visible(site).items() if old.get(name) != digest}
        told.add(len(new))
        if not new:
            assert end == "Stopped. Nothing was written."
        else:
            start, _, places = end.partition(": ")
            assert start == "Stopped. Written before that, and whole"
            assert set(places.split(", ")) == {str(site / name) for name in new}
        record_property("fault injected", "stopped")
    assert told == {0, 1, 2}
    assert new == {"editions/first-survey.geojson", "surfaces.geojson"}


def test_an_account_that_can_not_write_its_second_file_names_the_first(
    tmp_path: Path, record_property: Record
) -> None:
    site, shut = write_site(tmp_path / "site"), tmp_path / "shut"
    shut.mkdir()
    shut.chmod(0o555)
    words = ("account", site, "--out", tmp_path / "m.html", "--report", shut / "r.html")
    assert in_child(verb(*words), no_rights, tmp_path / "said") == 1
    said = (tmp_path / "said").read_text()
    assert "r.html: can not be written" in said
    assert said.rstrip().endswith(f"Written before that, and whole: {tmp_path / 'm.html'}")
    assert (tmp_path / "m.html").is_file()
    record_property("fault injected", "no right to write")


def test_new_killed_at_every_step(tmp_path: Path, survey: Path, record_property: Record) -> None:
    target = tmp_path / "place" / "site"
    target.parent.mkdir()
    words = ("--boundaries", survey, "--season-start", "2026-03-01", "--believe-place")
    act = verb("new", target, *words)
    for _ in steps_until_done(act, target.parent, tmp_path / "said"):
        record_property("fault injected", "killed")
        if target.exists():
            read_site(target)
            break
    assert "surfaces.geojson" in visible(target)
    read_site(target)


def test_a_file_killed_at_every_step_is_old_or_new(tmp_path: Path, record_property: Record) -> None:
    path = tmp_path / "out" / "page.html"
    write_whole(path, b"old" * 50_000)
    kept = set()
    for _ in steps_until_done(
        lambda: write_whole(path, b"new!" * 50_000), path.parent, tmp_path / "said"
    ):
        kept.add(path.read_bytes())
        record_property("fault injected", "killed")
    assert path.read_bytes() == b"new!" * 50_000
    assert kept <= {b"old" * 50_000, b"new!" * 50_000}


WRITING = {
    "bring": ("bring", "{survey}", "--into", "{site}", "--valid-from", "2026-06-01"),
    "new": ("new", "{out}/site", "--boundaries", "{survey}", "--believe-place"),
    "account": ("account", "{site}", "--out", "{out}/map.html"),
    "account, PDF": ("account", "{site}", "--out", "{out}/m.html", "--report", "{out}/r.pdf"),
    "account, workbook": (
        "account",
        "{site}",
        "--out",
        "{out}/m.html",
        "--workbook",
        "{out}/a.xlsx",
    ),
    "plan, job sheet": ("plan", "{site}", "--to-target", "--job-sheet", "{out}/job.html"),
    "plan, map": ("plan", "{site}", "--to-target", "--map", "{out}/map.html"),
    "plan, passes": ("plan", "{site}", "--to-target", "--passes", "{out}/passes.geojson"),
    "plan, passes for a receiver": ("plan", "{site}", "--to-target", "--passes", "{out}/p.gpx"),
    "place, power": ("place", "{site}", "--show-power", "--out", "{out}/power.html"),
    "place, receiver": ("place", "{site}", "--catches", "5", "--out", "{out}/trays.gpx"),
    "many": ("many", "{site}", "--out", "{out}/all"),
    "map": ("map", "{site}", "--out", "{out}/map.html"),
    "areas, GeoJSON": ("areas", "{site}", "--out", "{out}/areas.geojson"),
    "areas, GeoPackage": ("areas", "{site}", "--out", "{out}/areas.gpkg"),
    "areas, workbook": ("areas", "{site}", "--out", "{out}/areas.xlsx"),
    "areas, CSV": ("areas", "{site}", "--out", "{out}/areas.csv"),
    "place": ("place", "{site}", "--catches", "3", "--out", "{out}/trays.html"),
}


@pytest.mark.parametrize("name", WRITING)
def test_disk_full(name: str, tmp_path: Path, survey: Path, record_property: Record) -> None:
    site, out = write_site(tmp_path / "site"), tmp_path / "out"
    out.mkdir()
    words = [word.format(site=site, out=out, survey=survey) for word in WRITING[name]]
    before = digests(site)

    code = in_child(verb(*words), disk_full(300), tmp_path / "said")

    said = (tmp_path / "said").read_text()
    assert code == 1, said
    assert "Traceback" not in said
    assert digests(site) == before
    assert digests(out) == {}
    record_property("fault injected", "disk full")


@pytest.mark.parametrize("name", WRITING)
def test_read_only_folder(name: str, tmp_path: Path, survey: Path, record_property: Record) -> None:
    site, out = write_site(tmp_path / "site"), tmp_path / "out"
    out.mkdir()
    for folder in (site, out):
        folder.chmod(0o555)
    words = [word.format(site=site, out=out, survey=survey) for word in WRITING[name]]
    before = digests(site)

    code = in_child(verb(*words), no_rights, tmp_path / "said")

    said = (tmp_path / "said").read_text()
    assert code == 1, said
    assert "can not be written" in said
    assert digests(site) == before
    assert digests(out) == {}
    record_property("fault injected", "no right to write")


def test_a_second_process_is_told_so(tmp_path: Path, survey: Path, record_property: Record) -> None:
    site = write_site(tmp_path / "site")
    act = verb("bring", survey, "--into", site, "--valid-from", "2026-06-01")
    before = digests(site)
    with held(site):
        assert in_child(act, list, tmp_path / "said") == 1
    assert "another geosand is changing this site just now" in (tmp_path / "said").read_text()
    assert digests(site) == before
    assert in_child(act, list, tmp_path / "said") == 0
    record_property("fault injected", "two at once")


def test_a_killed_process_lets_go(tmp_path: Path) -> None:
    site = write_site(tmp_path / "site")

    def hold() -> None:
        with held(site):
            os.kill(os.getpid(), 9)

    assert in_child(hold, list, tmp_path / "said") == -9
    with held(site):
        pass


def test_account_killed_at_every_step(tmp_path: Path, record_property: Record) -> None:
    """Each of its three files is whole or not there, and the site is never touched."""
    site, out = write_site(tmp_path / "site"), tmp_path / "out"
    words = ("account", site, "--out", out / "m.html", "--workbook", out / "a.xlsx")
    assert in_child(verb(*words), list, tmp_path / "said") == 0, (tmp_path / "said").read_text()
    whole, before, seen = visible(out), digests(site), set()
    for path in out.iterdir():
        path.unlink()
    for step in range(1, 1000, 4):
        code = in_child(verb(*words), kill_at(step, out), tmp_path / "said")
        now = visible(out)
        assert now.items() <= whole.items()
        if code == 0:
            break
        assert code == KILLED
        seen.add(len(now))
        record_property("fault injected", "killed")
    assert visible(out) == whole
    assert seen >= {0, 2}
    assert digests(site) == before


def test_many_killed_at_many_steps_goes_on(tmp_path: Path, record_property: Record) -> None:
    """Killed again and again, the last run gives the bytes of a run that was left alone."""
    pytest.importorskip("pyarrow")
    root = tmp_path / "sites"
    for name in ("a", "b"):
        write_site(root / name)
    before = digests(root)
    words = ("many", root, "--chunk", "1", "--out")
    assert in_child(verb(*words, tmp_path / "plain"), list, tmp_path / "said") == 0
    out, said = tmp_path / "out", tmp_path / "said"
    for step in range(1, 1000, 11):
        code = in_child(verb(*words, out), kill_at(step, out), said)
        if code == 0:
            break
        assert code == KILLED, said.read_text()
        record_property("fault injected", "killed")
    assert step > 40
    tables = [p.name for p in (tmp_path / "plain").glob("*.csv")]
    assert len(tables) >= 4
    for name in tables:
        assert (out / name).read_bytes() == (tmp_path / "plain" / name).read_bytes()
    assert in_child(verb(*words, out), list, said) == 0
    assert "2 sites were kept from an earlier run" in said.read_text()
    assert digests(root) == before


def test_two_runs_into_one_folder_of_results(tmp_path: Path, record_property: Record) -> None:
    pytest.importorskip("pyarrow")
    site, out = write_site(tmp_path / "site"), tmp_path / "out"
    out.mkdir()
    with held(out):
        assert in_child(verb("many", site, "--out", out), list, tmp_path / "said") == 1
    said = (tmp_path / "said").read_text()
    assert "another geosand is changing this folder of results just now" in said
    assert digests(out) == {}
    record_property("fault injected", "two at once")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no /dev/full")
def test_output_to_a_full_disk(tmp_path: Path, record_property: Record) -> None:
    words = [sys.executable, "-m", "geosand", "check", str(write_site(tmp_path / "site")), "--json"]
    with open("/dev/full", "w") as full:
        end = subprocess.run(words, stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert end.returncode != 0
    assert "No room to write the output" in end.stderr
    assert "Traceback" not in end.stderr
    record_property("fault injected", "disk full")


NEEDS_TEMPORARY = ("new", "bring", "account, workbook", "areas, workbook")


@pytest.mark.parametrize("name", NEEDS_TEMPORARY)
def test_no_folder_for_temporary_files(
    name: str, tmp_path: Path, survey: Path, record_property: Record
) -> None:
    """Read-only systems have none; Python raises what looks like a missing file of the user's."""
    site, out = write_site(tmp_path / "site"), tmp_path / "out"
    words = [word.format(site=site, out=out, survey=survey) for word in WRITING[name]]

    def none() -> None:
        tempfile.tempdir = None
        tempfile._candidate_tempdir_list = lambda: [str(tmp_path / "none")]  # type: ignore[attr-defined]

    assert in_child(verb(*words), none, tmp_path / "said") == 1
    said = (tmp_path / "said").read_text()
    assert said == (
        "No folder for temporary files can be written, or all are full: make room there, or name"
        " another folder in TMPDIR. Nothing was written.\n"
    )
    record_property("fault injected", "no folder for temporary files")


@pytest.mark.parametrize("name", NEEDS_TEMPORARY)
def test_a_full_folder_for_temporary_files_is_named(
    name: str, tmp_path: Path, survey: Path, record_property: Record
) -> None:
    """Else a sound survey "can not be read", and room is made where the results go."""
    site, out = write_site(tmp_path / "site"), tmp_path / "out"
    words = [word.format(site=site, out=out, survey=survey) for word in WRITING[name]]
    # what Python tries a folder with has room, a survey or a sheet has none
    assert in_child(verb(*words), disk_full(300), tmp_path / "said") == 1
    said = (tmp_path / "said").read_text()
    assert said == (
        f"The folder for temporary files, {tempfile.gettempdir()}, is full: make room there, or"
        " name another folder in TMPDIR. Nothing was written.\n"
    )
    record_property("fault injected", "disk full")


def test_a_result_that_can_not_be_written_is_not_called_a_fault_of_the_data(
    tmp_path: Path, record_property: Record
) -> None:
    site = write_site(tmp_path / "site")
    words = ("map", site, "--out", site / "loads.csv")
    assert in_child(verb(*words), list, tmp_path / "said") == 1
    said = (tmp_path / "said").read_text()
    assert said.startswith("The result can not be written.\n  - ")
    assert "data were refused" not in said
    record_property("fault injected", "a result in place of records")


def test_a_folder_that_is_gone_is_told(tmp_path: Path, record_property: Record) -> None:
    site, gone = write_site(tmp_path / "site"), tmp_path / "gone"
    gone.mkdir()

    def leave() -> None:
        os.chdir(gone)
        gone.rmdir()

    assert in_child(verb("account", site), leave, tmp_path / "said") == 1
    assert (tmp_path / "said").read_text() == (
        "The folder that you are in is no more: change into another one. Nothing was written.\n"
    )
    record_property("fault injected", "a folder that is gone")
