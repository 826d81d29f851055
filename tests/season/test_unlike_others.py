"""A surface found light where it was caught, and taken for an average one where it was not.

Masses of trays are chosen so that the figures can be worked out by hand; that a surface which is
dressed lighter stays so is common practice, no published source.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from geosand.errors import Finding
from geosand.formats.site_folder import read_site
from geosand.reports.first import look_first, next_step
from geosand.results import Results, work_out
from geosand.season.ledger import OVER
from geosand.site.stack import stacked
from tests.sites import LAT, LON, TOML, TRAY, square, surface

GREENS = [surface(f"g{k}", "green", square(LON + k * 0.001, LAT, 20.0)) for k in range(1, 5)]
DRESSINGS = "dressing,date,surfaces,swath_m\n" + "".join(
    f"D{k},2026-0{k + 3}-10,green,4\n" for k in range(1, 6)
)
USUAL_G, SCATTER_G = 92.0, (-1.0, 1.0, -0.5, 0.5, -1.5, 1.5, 0.2, -0.2)
Season = Callable[..., Results]


def trays(dressing: int, green: int, mean_g: float, count: int = 8) -> list[dict[str, Any]]:
    """Trays within 8 m of the middle of a green, one of two near its edge."""
    return [
        {"catch": f"c{dressing}{green}{k}", "dressing": f"D{dressing}", **TRAY}
        | {"lon": LON + green * 0.001 + (k % 2 * 1.2e-4), "lat": LAT + (k - 3.5) * 1e-5}
        | {"surface": f"g{green}", "tare_g": 50, "gross_g": round(50 + mean_g + off, 3)}
        for k, off in enumerate(SCATTER_G[:count])
    ]


@pytest.fixture
def season(site_folder: Callable[..., Path]) -> Season:
    def results(
        caught: Sequence[int], mean_g: float, name: str = "site", toml: str = TOML
    ) -> Results:
        """Three greens caught each time at 92 g, the fourth in some dressings."""
        rows = [t for d in range(1, 6) for g in (1, 2, 3) for t in trays(d, g, USUAL_G)]
        rows += [t for d in caught for t in trays(d, 4, mean_g)]
        folder = site_folder(
            name, toml=toml, surfaces=GREENS, dressings=DRESSINGS, catches=rows, loads=None
        )
        return work_out(read_site(folder))

    return results


def told(results: Results) -> list[tuple[str, str]]:
    return [(f.about, f.text) for f in results.findings if "its own catches" in f.text]


def test_its_depth_is_told_as_it_is_if_it_stays_light(season: Season) -> None:
    """Caught twice at 55 g beside three of 92 g: 66.5 % of the mean of 82.75 g. Three dressings
    count 92 g for it, of which that share is 61.1 g: 293 g in all instead of 386 g."""
    results = season([1, 2], 55.0)
    ledger = results.ledger
    k = results.site.surfaces.id[ledger.row].tolist().index("g4")
    assert ledger.unlike.times[k] == pytest.approx(55 / 82.75, rel=0.01)
    assert (ledger.unlike.caught[k], ledger.unlike.others[k]) == (2, 3)
    share = (2 * 55 + 3 * 92 * 55 / 82.75) / (2 * 55 + 3 * 92)
    assert ledger.unlike.depth_m[k] == pytest.approx(ledger.depth.value[k] * share, rel=0.01)
    ((about, text),) = told(results)
    assert about == "g4"
    assert "in 2 dressings, found 67 % of what surfaces got on the average; in the 3 others" in text
    so_far, then = 1000 * ledger.depth.value[k], 1000 * ledger.unlike.depth_m[k]
    assert f"it has {then:.2f} mm so far, not {so_far:.2f} mm" in text
    assert f"g4: {text}" in look_first(results, "metric")
    assert "lay trays at the next dressing on g4, as its depth is hardly known" in next_step(
        results, "metric"
    )


@pytest.mark.parametrize(
    ("caught", "mean_g"),
    [
        ([1, 2], 92.0),  # as the others
        ([1, 2], 89.0),  # a little less, well within what is known
        ([1, 2, 3, 4, 5], 55.0),  # light, and caught each time
        ([], 55.0),  # nobody knows
    ],
)
def test_nothing_is_told_where_nothing_speaks_against_the_depth(
    season: Season, caught: list[int], mean_g: float
) -> None:
    results = season(caught, mean_g)
    assert told(results) == []
    assert np.isnan(results.ledger.unlike.depth_m).all()


def test_of_sites_laid_end_to_end_each_keeps_its_own(season: Season) -> None:
    alone = [season([1, 2], 55.0), season([1, 2], 92.0, "other"), season([3], 140.0, "third")]
    every = work_out(stacked([one.site for one in alone]))
    for name in ("times", "caught", "others", "depth_m"):
        expected = np.concatenate([getattr(one.ledger.unlike, name) for one in alone])
        np.testing.assert_array_equal(getattr(every.ledger.unlike, name), expected)
    assert [(f.member, f.about) for f in every.findings if "its own catches" in f.text] == [
        (0, "g4"),
        (2, "g4"),
    ]
    assert "in 1 dressing, found 1" in told(alone[2])[0][1]
    assert "in the 4 others" in told(alone[2])[0][1]


def test_in_us_units_all_of_it_is_in_inches(season: Season) -> None:
    (line,) = [one for one in look_first(season([1, 2], 55.0), "us") if "own catches" in one]
    assert " in so far, not " in line
    assert "mm" not in line


def test_what_is_left_out_next_time_gets_no_tray_then(season: Season) -> None:
    """Caught twice at 140 g, and over-dressed by that: there is no dressing to lay trays at."""
    results = season([1, 2], 140.0, toml=TOML.replace("green = 9.0", "green = 5.0"))
    k = results.site.surfaces.id[results.ledger.row].tolist().index("g4")
    assert (results.ledger.state[k], bool(results.ledger.unlike.told[k])) == (OVER, True)
    said = next_step(results, "metric")
    assert "leave out g4" in said
    assert "lay trays" not in said


def test_where_each_name_is_a_link_none_is_drawn_into_a_run(
    season: Season, monkeypatch: pytest.MonkeyPatch
) -> None:
    results = season([1, 2], 55.0)
    many = [Finding(about=f"g{k}", text="told", topic="season") for k in range(1, 13)]
    monkeypatch.setattr("geosand.reports.first.unlike_findings", lambda *_: many)
    for linked, names in ((True, "g4, g5, g6, g7, g8, g9 and 3 more"), (False, "g4–g12")):
        (line,) = [s for s in look_first(results, "metric", linked=linked) if "likewise" in s]
        assert line == f"{names}: likewise; geosand check tells by how much"
