"""What is to be done next, in one sentence."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from geosand.formats.site_folder import read_site
from geosand.reports.first import look_first, next_step
from geosand.results import work_out
from geosand.season.ledger import OVER
from tests.sites import CATCHES, LAT, LON, SURFACES, TOML, catch, points, square, surface


def test_the_next_step_names_what_is_doubtful_and_then_the_sand(
    site_folder: Callable[..., Path],
) -> None:
    """Two greens caught at 0.59 mm (0.92 kg/m² of 1550 kg/m³); the season is half over."""
    late = np.datetime64("2026-07-16")  # 137 of 274 days: 4.5 mm of 9 are due, 2 of the tee's 4
    loads = "load,dressing,count,unit_mass_kg\nL1,D1,{},25\n"
    fits = work_out(read_site(site_folder(loads=loads.format(52))), as_of=late)
    short = 4.5 - 1000 * fits.ledger.depth.value
    low = 2.0  # the tee had none
    assert low < min(short[:2])
    ids = fits.site.surfaces.id[fits.ledger.row][np.argsort(-fits.ledger.shortfall_m)]
    assert next_step(fits, "metric") == (
        f"Next: dress {', '.join(ids)} ({low:.2f} to {max(short[:2]):.2f} mm behind the target so"
        " far); geosand plan tells with how much."
    )
    assert " in behind the target so far" in next_step(fits, "us")
    light = work_out(read_site(site_folder("light", loads=loads.format(30))), as_of=late)
    assert next_step(light, "metric").startswith(
        "Next: find out which figure of D1 is wrong, as it does not close; then dress "
    )


def test_a_surface_hardly_known_to_be_behind_gets_trays_before_sand(
    site_folder: Callable[..., Path],
) -> None:
    results = work_out(read_site(site_folder()), as_of=np.datetime64("2026-07-16"))
    ids = results.site.surfaces.id[results.ledger.row].tolist()

    def said(*probabilities: float) -> str:
        ledger = replace(results.ledger, probability=np.array(probabilities))
        return next_step(replace(results, ledger=ledger), "metric")

    trays = "lay trays at the next dressing on"
    where = "hardly known: geosand place draws where."
    assert said(0.9, 0.6, 0.49).endswith(
        f"how much; then {trays} {ids[2]}, as its depth is {where}"
    )
    assert f"dress {ids[2]}" not in said(0.9, 0.6, 0.49)
    assert said(0.4, 0.4, 0.4).endswith(f"{trays} {', '.join(ids)}, as their depths are {where}")
    assert "dress " not in said(0.4, 0.4, 0.4).replace("dressing", "")


def test_the_next_step_where_nothing_is_behind(site_folder: Callable[..., Path]) -> None:
    early = np.datetime64("2026-04-10")

    def said(name: str, toml: str, day: np.datetime64 = early, **changes: None) -> str:
        folder = site_folder(name, toml=toml, **changes)
        return next_step(work_out(read_site(folder), as_of=day), "metric")

    some = TOML.replace("green = 9.0\ntee = 4.0", "green = 4.0")  # 0.58 mm are due that day
    assert said("on", some) == "Next: nothing is due: no surface is behind its target so far."
    less = TOML.replace("green = 9.0\ntee = 4.0", "green = 1.0")
    assert said("over", less).startswith("Next: leave out g")
    assert "over-dressed so far" in said("over again", less)
    none = said("unknown", some, catches=None)
    assert none.startswith("Next: lay trays at the next dressing, as the depth of g1, g2 is not")
    empty = TOML.partition("[targets_mm]")[0].replace("season_end = 2026-11-30\n", "")
    without = "dressing,date,surfaces\nD1,2026-04-10,green\n"
    folder = site_folder("no targets", toml=empty, dressings=without)
    bare = work_out(read_site(folder))
    assert "write [targets_mm] or [targets_in]" in next_step(bare, "metric")
    assert "targets: no surface has one so far: write [targets_mm]" in look_first(bare, "us")[-1]
    endless = TOML.replace("season_end = 2026-11-30\n", "")
    folder = site_folder("no end", toml=endless, dressings=without, catches=None, loads=None)
    aimed = work_out(read_site(folder))  # each kind has its target, and none is due on a day
    assert look_first(aimed, "metric")[-1] == (
        "targets: no surface has one so far: write season_end into site.toml, or planned depths"
        " into the dressings, to see what is due"
    )


def test_unknown_depths_are_told_beside_what_is_behind_or_over(
    site_folder: Callable[..., Path],
) -> None:
    """The greens had sand without trays; the tee had none, or more than a target of nothing."""
    late = np.datetime64("2026-07-16")
    results = work_out(read_site(site_folder(catches=None)), as_of=late)
    clause = "then lay trays on g1, g2, whose depth is not known."
    assert next_step(results, "metric") == (
        "Next: dress t1 (2.00 mm behind the target so far); geosand plan tells with how much;"
        f" {clause}"
    )
    over = replace(results.ledger, state=np.where(results.ledger.dressings, "not measured", OVER))
    told = next_step(replace(results, ledger=over), "metric")
    assert told == f"Next: leave out t1, over-dressed so far; {clause}"


@pytest.mark.parametrize(
    ("loads", "said"),
    [
        ("L1,D1,20,25\nL2,D2,60,25\n", "which figure of D1 is wrong, as it does not close"),
        ("L1,D1,20,25\nL2,D2,20,25\n", "which figures of D1, D2 are wrong, as they do not close"),
    ],
)
def test_the_next_step_names_every_dressing_that_does_not_close(
    site_folder: Callable[..., Path], loads: str, said: str
) -> None:
    """Near 1190 kg lie on the greens each time; 500 kg can not have been all."""
    rows = "dressing,date,surfaces,planned_depth_mm\nD1,2026-04-10,green,0.6\n"
    catches = [
        c | {"catch": f"{c['catch']}{d}", "dressing": d} for d in ("D1", "D2") for c in CATCHES
    ]
    folder = site_folder(
        dressings=rows + "D2,2026-05-10,green,0.6\n",
        loads=f"load,dressing,count,unit_mass_kg\n{loads}",
        catches=catches,
    )
    assert said in next_step(work_out(read_site(folder)), "metric").partition(";")[0]


def test_surfaces_never_caught_get_trays_next_as_many_surfaces_as_last_time(
    site_folder: Callable[..., Path],
) -> None:
    """The tee and two of four greens had no tray; D2 was caught on one green, D1 on two."""
    more = [surface(f"g{k}", "green", square(LON + k / 300, LAT, 25.0)) for k in (3, 10)]
    rows = "dressing,date,surfaces\nD1,2026-04-10,green\nD2,2026-04-20,green{}\n"
    late = catch(4, catch="late", dressing="D2")
    easy = TOML.replace("green = 9.0\ntee = 4.0", "green = 6.4\ntee = 3.2")  # none has too much

    def said(name: str, dressings: str, *, trays: list[dict[str, object]]) -> str:
        folder = site_folder(
            name,
            toml=easy,
            surfaces=[*SURFACES, *more],
            dressings=dressings,
            catches=trays,
        )
        return next_step(work_out(read_site(folder)), "metric")

    lay = "lay trays at the next dressing on"
    assert said("greens", rows.format(""), trays=[*CATCHES, late]).endswith(
        f"{lay} g3, g10, never caught so far (geosand place --surfaces green --catches 1 --on 1)."
    )
    assert f"{lay} g3, g10, t1, never caught so far (geosand place --catches 1 --on 1)" in said(
        "both", rows.format(" tee"), trays=[*CATCHES, late]
    )
    assert (
        f"{lay} g3, g10, never caught so far (geosand place --surfaces green --catches 3 --on 2)"
        in said("one", rows.partition("D2")[0], trays=CATCHES)
    )


def test_whole_kinds_are_named_before_ids_where_many_are_behind(
    site_folder: Callable[..., Path],
) -> None:
    """All greens and tees are behind, the two of four lawns with a target, and the only pitch."""
    kinds = (("green", 5), ("tee", 3), ("lawn", 4), ("pitch", 1))
    made = [
        surface(f"{kind[0]}{k}", kind, square(LON + (k - 1) / 300, LAT + n / 300, 20.0))
        for n, (kind, count) in enumerate(kinds)
        for k in range(1, count + 1)
    ]
    for one in made[-3:]:
        one["properties"] |= {"target_mm": 9.0, "name": f"Far {one['properties']['id']}"}
    rows = "dressing,date,surfaces,swath_m\nD1,2026-04-10,green tee lawn pitch,4\n"
    folder = site_folder(
        surfaces=made,
        dressings=rows,
        loads="load,dressing,count,unit_mass_kg\nL1,D1,300,25\n",
        catches=points([catch(k) for k in (1, 2, 3)]),
    )
    results = work_out(read_site(folder), as_of=np.datetime64("2026-11-01"))
    assert "dress every green, every tee, l3, l4, p1 (" in next_step(results, "metric")
    called = next_step(results, "metric", linked=True)
    assert "dress every green, every tee, Far l3, Far l4, Far p1 (" in called
