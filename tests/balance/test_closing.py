"""What would have to be true for a balance to close: each change put back closes it."""

from __future__ import annotations

from typing import Any

import pytest

from geosand.results import Results
from tests.balance.even_greens import EVEN, HEAD, Run
from tests.sites import SURFACES, TOML, catch, square, surface

PARTS = ("catches", "total area")


@pytest.fixture
def run(run: Run) -> Run:
    """With trays that all caught the same, unless others are given: 1300 kg claimed."""
    return lambda **overrides: run(**{"catches": EVEN, **overrides})


def closing(results: Results) -> dict[str, tuple[float, float | None]]:
    return {c.input: (c.change_percent, c.sigmas) for c in results.balance.closing[0]}


def test_changes_worked_by_hand(run: Run) -> None:
    # 48 × 25 = 1200 kg spread, 1300 kg claimed: catches and area −100/1300, bags +100/1200
    found = closing(run(loads=f"{HEAD}\nL1,D1,48,25,0.25,1\n"))
    assert found["catches"][0] == pytest.approx(-100 / 13, rel=1e-4)
    assert found["total area"][0] == pytest.approx(-100 / 13, rel=1e-4)
    assert found["unit mass"][0] == pytest.approx(100 / 12, rel=1e-4)
    # label 1 % and bags 1 %/√48: 1.0104 %
    assert found["unit mass"][1] == pytest.approx(100 / 12 / 1.0104, rel=1e-3)
    assert "moisture" not in found  # the catches hold the same water: it falls out
    assert "returned sand" not in found
    # twelve bags more, and their sand brought back: each of the 60 need hold less more
    found = closing(run(loads=f"{HEAD},returned_kg\nL1,D1,60,25,0.25,1,300\n"))
    assert found["unit mass"][0] == pytest.approx(100 / 15, rel=1e-4)
    assert found["unit mass"][1] == pytest.approx(100 / 15 / 1.0083, rel=1e-3)


def test_what_landed_is_as_unsure_as_catches_ground_and_water_together(run: Run) -> None:
    results = run(loads=f"{HEAD}\nL1,D1,48,25,0.25,1\n")
    on, found = results.balance.on_surfaces, closing(results)
    squares = [(change / (100 * (sigmas or 0))) ** 2 for change, sigmas in map(found.get, PARTS)]
    water = on.by_category()["moisture"][0] / on.value[0]
    assert sum(squares) + water**2 == pytest.approx((on.u()[0] / on.value[0]) ** 2, rel=1e-9)


def test_the_most_easily_explained_comes_first_and_what_has_no_u_last(run: Run) -> None:
    loads = f"{HEAD},returned_kg\nL1,D1,52.4,25,0.25,1,130\n"
    results = run(loads=loads)
    order = [c.input for c in results.balance.closing[0]]
    sigmas = [c.sigmas for c in results.balance.closing[0]]
    assert order[-1] == "returned sand"
    assert sigmas[-1] is None
    known = [abs(s) for s in sigmas[:-1] if s is not None]
    assert known == sorted(known)
    assert order[0] == "catches"


def test_returned_sand_can_not_be_less_than_none(run: Run) -> None:
    # 120 kg too little: 130 kg returned can be at fault (−92.3 %), 110 kg can not
    able = closing(run(loads=f"{HEAD},returned_kg\nL1,D1,52.4,25,0.25,1,130\n"))
    assert able["returned sand"][0] == pytest.approx(-120 / 130 * 100, rel=1e-3)
    unable = closing(run(loads=f"{HEAD},returned_kg\nL1,D1,51.6,25,0.25,1,110\n"))
    assert "returned sand" not in unable


def test_moisture_of_the_loads_alone_is_in_points(run: Run) -> None:
    # 1326 kg with 6 % of water are 1250.94 kg dry; 1300 kg need 2 %: −4 points, 8 of 0.5
    loads = f"{HEAD},moisture_dry_basis_percent,u_moisture_percent\nL1,D1,53.04,25,0.25,1,6,0.5\n"
    dry = [{**row, "moisture_dry_basis_percent": 0, "u_moisture_percent": 0.1} for row in EVEN]
    found = closing(run(loads=loads, catches=dry))
    points, sigmas = found["moisture"]
    assert points == pytest.approx(-4.0, abs=0.01)
    assert sigmas == pytest.approx(-8.0, abs=0.02)
    assert found["unit mass"][0] == pytest.approx(100 * (1300 / 1250.94 - 1), rel=1e-3)


def test_water_that_catches_have_as_the_mean_of_their_loads_falls_out(run: Run) -> None:
    """Bags at 6 % and 4 %; beside catches that were dried they close it with 2 points less."""

    def found(bags: float, catches: list[dict[str, Any]]) -> dict[str, tuple[float, float | None]]:
        rows = "".join(f"L{k},D1,{bags},25,0.25,1,{water}\n" for k, water in enumerate((6, 4)))
        head = f"{HEAD},moisture_dry_basis_percent"
        return closing(run(loads=f"{head}\n{rows}", catches=catches))

    assert set(found(25.5, EVEN)) == {"catches", "total area", "unit mass"}
    dry = [{**row, "moisture_dry_basis_percent": 0} for row in EVEN]
    assert found(26.78, dry)["moisture"][0] == pytest.approx(-2.0, abs=0.01)


def test_the_water_in_catches_of_another_dressing_does_not_matter(run: Run) -> None:
    """D1 closes, and its catches hold the water of D2's loads; those of D2 were dried."""
    wet = TOML.replace("moisture_dry_basis_percent = 0.0", "moisture_dry_basis_percent = 6.0")
    dry = {"moisture_dry_basis_percent": 0, "u_moisture_percent": 0.1}
    catches = [
        row | {"catch": f"{row['catch']}-{d}", "dressing": d} for row in EVEN for d in ("D1", "D2")
    ]
    results = run(
        toml=wet,
        dressings="dressing,date,surfaces\nD1,2026-04-10,green\nD2,2026-05-10,green\n",
        loads=f"{HEAD}\nL1,D1,60,25,0.25,1\nL2,D2,53.04,25,0.25,1\n",
        catches=[row | (dry if row["dressing"] == "D2" else {}) for row in catches],
    )
    closed, short = results.balance.closing
    assert not closed
    (points,) = [one.change_percent for one in short if one.input == "moisture"]
    assert points == pytest.approx(-4.0, abs=0.01)


def test_sand_can_not_be_drier_than_dry(run: Run) -> None:
    loads = f"{HEAD},moisture_dry_basis_percent\nL1,D1,48,25,0.25,1,3\n"
    dry = [{**row, "moisture_dry_basis_percent": 0} for row in EVEN]
    assert "moisture" not in closing(run(loads=loads, catches=dry))


@pytest.mark.parametrize("spilled", [0, 40])
def test_a_moisture_put_back_closes_the_balance(run: Run, spilled: int) -> None:
    """Two loads, each of a water of its own, with and without spilled sand."""
    dry = [{**row, "moisture_dry_basis_percent": 2, "u_moisture_percent": 0.1} for row in EVEN]
    head = f"{HEAD},spilled_kg,moisture_dry_basis_percent,u_moisture_percent"
    bags = (26 + spilled / 25, 27 + spilled / 25)

    def with_water(first: float, second: float) -> Results:
        rows = "".join(
            f"L{k},D1,{bags[k]},25,0.25,1,{spilled},{water},0.5\n"
            for k, water in enumerate((first, second))
        )
        return run(loads=f"{head}\n{rows}", catches=dry)

    points = closing(with_water(8.0, 7.0))["moisture"][0]
    assert -7.0 < points < -1.0
    after = with_water(8.0 + points, 7.0 + points)
    assert after.balance.overthrow.value[0] == pytest.approx(0.0, abs=1e-6)


def test_only_the_water_of_loads_by_mass_can_close_it(run: Run) -> None:
    """A hopper of 600 kg dry, whatever its water; 725 kg of bags must hold 700 kg dry, not 671."""
    dry = [{**row, "moisture_dry_basis_percent": 0, "u_moisture_percent": 0.1} for row in EVEN]
    head = "load,dressing,count,unit_volume_m3,loose_bulk_density_kg_m3,unit_mass_kg"

    def with_water(bags: float) -> Results:
        rows = f"L1,D1,1,0.4,1500,,5,0.5\nL2,D1,29,,,25,{bags},0.5\n"
        head_of_water = f"{head},moisture_dry_basis_percent,u_moisture_percent"
        return run(loads=f"{head_of_water}\n{rows}", catches=dry)

    points, sigmas = closing(with_water(8.0))["moisture"]
    assert points == pytest.approx(100 * (725 / 700 - 1) - 8, abs=0.01)
    assert sigmas == pytest.approx(points / 0.5, rel=1e-9)
    after = with_water(8.0 + points)
    assert after.balance.overthrow.value[0] == pytest.approx(0.0, abs=1e-6)


def test_water_can_close_it_where_the_trays_were_measured_by_dry_volume(run: Run) -> None:
    """1325 kg of bags must hold 1300 kg dry, not 1274: 1.9 % of water and not 4 %."""
    volume = {"tare_g": None, "gross_g": None, "volume_cm3": 100 / 1.55, "volume_state": "dry"}
    dry = [catch(k, **volume) for k in range(1, 7)]
    wet = TOML.replace("moisture_dry_basis_percent = 0.0", "moisture_dry_basis_percent = 4.0")
    found = closing(run(toml=wet, loads=f"{HEAD}\nL1,D1,53,25,0.25,1\n", catches=dry))
    assert found["moisture"][0] == pytest.approx(100 * (1325 / 1300 - 1) - 4, abs=0.01)
    weighed = closing(run(toml=wet, loads=f"{HEAD}\nL1,D1,50,25,0.25,1\n"))
    assert "catches" in weighed
    assert "moisture" not in weighed


def test_the_catches_put_back_close_the_balance(run: Run) -> None:
    loads = f"{HEAD}\nL1,D1,48,25,0.25,1\n"
    change = closing(run(loads=loads))["catches"][0]
    less = [catch(k, gross_g=50 + 100 * (1 + change / 100)) for k in range(1, 7)]
    after = run(loads=loads, catches=less)
    assert after.balance.overthrow.value[0] == pytest.approx(0.0, abs=1e-3)


def test_a_balance_that_does_not_lack_sand_lists_nothing(run: Run) -> None:
    assert closing(run(loads=f"{HEAD}\nL1,D1,60,25,0.25,1\n")) == {}
    assert closing(run(loads=f"{HEAD}\n")) == {}
    assert closing(run(loads=f"{HEAD}\nL1,D1,48,25,0.25,1\n", catches=None)) == {}


def test_all_sand_brought_back_still_says_what_it_can(run: Run) -> None:
    found = closing(run(loads=f"{HEAD},returned_kg\nL1,D1,48,25,0.25,1,1200\n"))
    assert found["catches"][0] == pytest.approx(-100.0)
    assert found["unit mass"][0] == pytest.approx(1300 / 12, rel=1e-3)


def test_a_larger_site_needs_the_same_shares(run: Run) -> None:
    """Ten greens more with the same rate and as much sand more: the percents stay."""
    more = [surface(f"h{k}", "green", square(-30.0 + 0.002 * k, 47.01, 20.0)) for k in range(10)]
    small = closing(run(loads=f"{HEAD}\nL1,D1,48,25,0.25,1\n"))
    loads = f"{HEAD}\nL1,D1,{48 * 5300 / 1300},25,0.25,1\n"
    large = closing(run(surfaces=[*SURFACES, *more], loads=loads))
    assert large["catches"][0] == pytest.approx(small["catches"][0], rel=1e-3)
