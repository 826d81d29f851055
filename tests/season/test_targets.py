"""A surface that a survey brings in during the season is due only what comes after that day.

Worked by hand; that a new surface owes nothing from before it was there is common practice, no
published source.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from geosand.formats.site_folder import read_site
from geosand.results import Results, work_out
from geosand.site.stack import stacked
from tests.sites import LAT, LON, SURFACES, TOML, catch, collection, square, surface

NEW = surface("g3", "green", square(LON + 0.004, LAT + 0.003, 20.0))
NO_END = TOML.replace("season_end = 2026-11-30\n", "")
PLANS = """\
dressing,date,surfaces,planned_depth_mm
D1,2026-04-10,green,0.6
D2,2026-08-10,g1 g2,0.8
"""
Run = Callable[..., Results]


@pytest.fixture
def run(site_folder: Callable[..., Path]) -> Run:
    def results(as_of: str, toml: str = TOML, dressings: str = PLANS) -> Results:
        folder = site_folder(
            f"s{as_of}{len(toml)}{len(dressings)}",
            toml=toml,
            surfaces=collection([*SURFACES, NEW], valid_from="2026-07-16"),
            files={"editions/2025.geojson": collection(SURFACES, valid_from="2025-01-01")},
            dressings=dressings,
            catches=[catch(1, gross_g=143), catch(2, gross_g=143)],
            loads=None,
        )
        return work_out(read_site(folder), as_of=np.datetime64(as_of))

    return results


def due_mm(results: Results) -> dict[str, float]:
    names = results.site.surfaces.id[results.ledger.row].tolist()
    return dict(zip(names, (results.ledger.target_so_far_m * 1000).tolist(), strict=True))


@pytest.mark.parametrize(
    ("day", "old", "new"),
    [
        ("2026-07-01", 9 * 122 / 274, 0.0),  # before it is there
        ("2026-07-16", 4.5, 0.0),  # 137 of the 274 days from 1 March to 30 November
        ("2026-08-15", 9 * 167 / 274, 9 * 30 / 274),
        ("2026-11-30", 9.0, 4.5),
    ],
)
def test_with_an_end_its_days_count_from_its_first(
    run: Run, day: str, old: float, new: float
) -> None:
    so_far = due_mm(run(day))
    assert [so_far["g1"], so_far["g2"]] == pytest.approx([old, old], rel=1e-12)
    assert so_far["g3"] == pytest.approx(new, rel=1e-12)


def test_without_an_end_the_plans_count_from_its_first_day(run: Run) -> None:
    """D1 was before it; D2 left it out, so that it falls behind by what D2 planned for greens."""
    so_far = due_mm(run("2026-09-01", NO_END))
    assert so_far["g1"] == pytest.approx(1.4, rel=1e-12)
    assert so_far["g3"] == pytest.approx(0.8, rel=1e-12)
    assert due_mm(run("2026-08-01", NO_END))["g3"] == 0.0


@pytest.mark.parametrize("day", ["2026-07-16", "2026-08-15"])
def test_it_is_told_from_its_first_day(run: Run, day: str) -> None:
    told = [f for f in run(day).ledger.findings if "new in the survey" in f.text]
    assert [(f.about, f.topic, f.text) for f in told] == [
        ("g3", "season", "new in the survey of 2026-07-16: the target so far counts from that day")
    ]


@pytest.mark.parametrize(("off", "same"), [(0.0, True), (2e-5, True), (1.3e-4, False)])
def test_a_surface_that_a_survey_calls_otherwise_is_told_with_its_old_id(
    site_folder: Callable[..., Path], off: float, same: bool
) -> None:
    """g1 (20 m) comes back as north, shifted by 0, 1.5 or 9.9 m: of a union of 20 + off all,
    18.5 of 21.5, or 10.1 of 29.9 is common ground."""
    moved = surface("north", "green", square(LON + off, LAT, 20.0))
    folder = site_folder(
        surfaces=collection([moved, *SURFACES[1:]], valid_from="2026-07-16"),
        files={"editions/2025.geojson": collection(SURFACES, valid_from="2025-01-01")},
        dressings="dressing,date,surfaces\nD1,2026-04-10,green\nD2,2026-08-10,north g2\n",
        catches=[catch(1, gross_g=143), catch(2, gross_g=143), catch(4, dressing="D2")],
        loads=None,
    )
    results = work_out(read_site(folder))
    for of in (results, work_out(stacked([results.site, results.site]))):
        told = [f for f in of.ledger.findings if "new in the survey" in f.text]
        assert {f.about for f in told} == {"north"}
        assert all(("write g1 as its id in surfaces.geojson" in f.text) is same for f in told)
        assert [f.member for f in told] == list(range(len(of.site.members)))


def test_it_is_told_of_plans_without_a_target_and_not_where_nothing_is_due(run: Run) -> None:
    bare = NO_END.split("[targets_mm]")[0]
    unplanned = "dressing,date,surfaces\nD1,2026-04-10,green\nD2,2026-08-10,green\n"
    for toml, dressings, about in (
        (bare, PLANS.replace("g1 g2", "green"), ["g3"]),
        (NO_END, unplanned, []),  # no target so far can be told of any
    ):
        told = run("2026-09-01", toml, dressings).ledger.findings
        assert [f.about for f in told if "new in the survey" in f.text] == about


def test_of_sites_laid_end_to_end_each_keeps_its_own(run: Run) -> None:
    alone = [run("2026-09-01", toml) for toml in (TOML, NO_END)]
    twice = [one.site for one in alone] * 2  # more sites than kinds
    both = work_out(stacked(twice), as_of=np.datetime64("2026-09-01"))
    expected = np.concatenate([one.ledger.target_so_far_m for one in alone] * 2)
    np.testing.assert_array_equal(both.ledger.target_so_far_m, expected)


def test_pitches_and_lawns_have_programmes_of_their_own(site_folder: Callable[..., Path]) -> None:
    """100 t/ha on the rugby pitch are none of the football pitch's debt; by hand, sums of rows."""
    places = {"football": 0.001, "rugby": 0.003, "spare": 0.005}
    drawn = [surface(name, "pitch", square(LON + east, LAT, 20.0)) for name, east in places.items()]
    folder = site_folder(
        "grounds",
        toml=NO_END.replace("green = 9.0\ntee = 4.0", "pitch = 8.0"),
        surfaces=collection(drawn),
        dressings="dressing,date,surfaces,planned_depth_mm\nD1,2026-04-10,football,4\n"
        "D2,2026-04-20,rugby,6\nD3,2026-05-20,football,1\n",
        catches=None,
        loads=None,
    )
    results = work_out(read_site(folder), as_of=np.datetime64("2026-06-01"))
    due = due_mm(results)
    assert (due["football"], due["rugby"]) == (pytest.approx(5.0), pytest.approx(6.0))
    assert np.isnan(due["spare"])
    told = {f.about: f.text for f in results.ledger.findings}
    assert told["spare"].startswith("no target so far can be told")
