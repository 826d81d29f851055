"""The order in which a plan serves its surfaces."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geosand.formats.site_folder import read_site
from geosand.planning.choosing import (
    chosen_sand,
    chosen_spreader,
    chosen_surfaces,
    in_order_of_need,
    last_figure,
    last_figures,
)
from geosand.results import work_out
from tests.sites import SURFACES, T1, TOML, square, surface


def test_greens_first_then_by_need_and_the_unmeasured_last(site_folder):
    results = work_out(read_site(site_folder()))
    site, ledger = results.site, results.ledger
    row = chosen_surfaces(site, ledger, [])
    ids = site.surfaces.id

    def served(**short):
        need = np.array([short[str(i)] for i in ids[ledger.row]])
        return ids[in_order_of_need(site, replace(ledger, shortfall_m=need), row)].tolist()

    assert served(g1=1.0, g2=2.0, t1=9.0) == ["g2", "g1", "t1"]
    assert served(g1=1.0, g2=-2.0, t1=9.0) == ["g1", "g2", "t1"]
    assert served(g1=np.nan, g2=-2.0, t1=9.0) == ["g2", "g1", "t1"]
    # equals stay in the order of the file
    assert served(g1=1.0, g2=1.0, t1=1.0) == ["g1", "g2", "t1"]


@pytest.mark.parametrize(
    ("day", "last"), [("2026-05-09", 0), ("2026-05-10", 1), ("2026-06-09", 1), ("2026-06-10", 2)]
)
def test_sand_spreader_and_figures_are_those_of_the_last_dressing(site_folder, day, last):
    """Rows are not in order of date; what says no speed is passed over."""
    sands = TOML.replace("[catches]", "[sands.coarse]\nkiln_dried = true\n\n[catches]")
    head = "dressing,date,surfaces,sand,spreader,speed_kmh\n"
    rows = [
        "D3,2026-06-10,g1,dried,disc,",
        "D2,2026-05-10,g1,coarse,belt,9",
        "D1,2026-04-10,g1,dried,disc,7.2",
        "D1,2026-04-10,g2,dried,disc,10.8",
    ]
    folder = site_folder(toml=sands, dressings=head + "\n".join(rows) + "\n", catches=None)
    site = read_site(folder)
    ledger = work_out(site, as_of=np.datetime64(day)).ledger
    sand, spreader = [("dried", "disc"), ("coarse", "belt"), ("dried", "disc")][last]
    number, told = chosen_sand(site, ledger, None)
    assert site.sands.name[number] == sand
    assert told == f"the sand is that of the last dressing, D{last + 1}: {sand}"
    assert chosen_sand(site, ledger, "coarse") == (site.sands.name.tolist().index("coarse"), "")
    found, told = chosen_spreader(site, ledger, None)
    assert (found, told) == (spreader, f"the spreader is that of the last dressing: {spreader}")
    assert chosen_spreader(site, ledger, "disc") == ("disc", "")
    speeds = last_figures(site, site.dressed.speed_m_s, "disc", np.datetime64(day))
    np.testing.assert_allclose(speeds, [2.0, 3.0])
    belt = last_figures(site, site.dressed.speed_m_s, "belt", np.datetime64(day))
    np.testing.assert_allclose(belt, [2.5] if last else [])


def test_before_any_dressing_the_sand_must_be_named(site_folder):
    sands = TOML.replace("[catches]", "[sands.coarse]\nkiln_dried = true\n\n[catches]")
    rows = "dressing,date,surfaces,sand\nD1,2026-04-10,g1,dried\n"
    site = read_site(site_folder(toml=sands, dressings=rows, catches=None, loads=None))
    ledger = work_out(site, as_of=np.datetime64("2026-04-01")).ledger
    with pytest.raises(ValueError, match="which sand is meant; choose of: dried, coarse"):
        chosen_sand(site, ledger, None)


def test_the_last_figure_is_that_of_most_surfaces():
    assert last_figure(np.array([6.0, 5.0, 6.0])) == 6.0
    assert np.isnan(last_figure(np.zeros(0)))


def test_hazards_get_no_sand(site_folder):
    """Bunkers and water with a target are left out, and refused where they are named."""
    pond = surface("w1", "water", square(T1[0] + 0.002, T1[1], 20.0), target_mm=3)
    results = work_out(read_site(site_folder(surfaces=[pond, *SURFACES])))
    site, ledger = results.site, results.ledger
    assert site.surfaces.id[chosen_surfaces(site, ledger, [])].tolist() == ["g1", "g2", "t1"]
    for words in (["w1"], ["green", "water"]):
        with pytest.raises(ValueError, match=r"^w1: no turf \(.*water.*\): name turf$"):
            chosen_surfaces(site, ledger, words)
    assert "w1" not in site.surfaces.id[ledger.row].tolist()
