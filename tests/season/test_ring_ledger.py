"""Collars and surrounds over a season: what lies there, and how sure that is."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from geosand.results import Results
from tests.season.conftest import D1, HEAD, Run
from tests.sites import TOML, catch


def test_sand_builds_up_in_the_rings(run: Run) -> None:
    loads = "load,dressing,count,unit_mass_kg\nL1,D1,56,25\nL2,D2,22.4,25\n"
    results = run(loads=loads)
    rings, throw = results.ledger.rings, results.balance.throw
    assert set(rings.id.tolist()) == {
        f"{g}/{z}" for g in ("g1", "g2") for z in ("collar", "surrounds")
    }
    owners = results.site.ids[rings.ground].tolist()
    assert [name.partition("/")[0] for name in rings.id.tolist()] == owners
    kg = dict(zip(rings.id.tolist(), rings.mass_kg.tolist(), strict=True))
    # g1 was dressed twice (rows 0 and 2), g2 once
    assert kg["g1/collar"] == pytest.approx(throw.collar_kg[0] + throw.collar_kg[2])
    assert kg["g2/collar"] == pytest.approx(throw.collar_kg[1])
    depth = dict(zip(rings.id.tolist(), rings.depth_m.tolist(), strict=True))
    assert depth["g2/collar"] == pytest.approx(
        throw.collar_kg[1] / throw.collar_area_m2[1] / 1550, rel=1e-9
    )


def test_of_a_mix_only_its_sand_lies_in_the_rings(run: Run) -> None:
    """80 % sand by mass: 0.8 of every kilogram, millimetre and error."""
    mix = TOML.replace("[catches]", "sand_mass_fraction = 0.8\n\n[catches]")
    whole, sand = (run(toml=toml).ledger.rings for toml in (TOML, mix))
    assert (whole.mass_kg > 0).all()
    for figure in ("mass_kg", "depth_m", "u_depth_m"):
        assert getattr(sand, figure) == pytest.approx(0.8 * getattr(whole, figure), rel=1e-9)


def test_what_all_dressings_share_adds_up_in_the_rings(run: Run) -> None:
    """Twice the same dressing: the trays' efficiency twice, single bags √2 times (GUM 5.2).

    As if all were independent, u would come out √2 times and not twice: the trap.
    """
    head = f"{HEAD}\nD1,2026-04-10,green,0.6\n"
    loads = "load,dressing,count,unit_mass_kg,u_unit_mass_kg,u_label_percent\nL1,D1,60,25,0.25,1\n"
    one = run(dressings=head, catches=D1, loads=loads).ledger.rings
    twice = [catch(k, dressing="D2", gross_g=143) for k in range(1, 7)]
    two = run(
        dressings=f"{head}D2,2026-06-10,green,0.6\n",
        catches=[*D1, *twice],
        loads=f"{loads}L2,D2,60,25,0.25,1\n",
    ).ledger.rings
    assert two.depth_m == pytest.approx(2 * one.depth_m)
    first, both = one.depth.by_category(), two.depth.by_category()
    for source in ("catch efficiency", "label", "edge bias", "bulk density"):
        assert both[source] == pytest.approx(2 * first[source], rel=1e-9), source
    assert both["bags"] == pytest.approx(np.sqrt(2) * first["bags"], rel=1e-9)
    assert (two.u_depth_m > 1.6 * one.u_depth_m).all()
    assert sum(two.depth.shares().values()) == pytest.approx(np.ones(len(two.id)))


def test_a_rings_error_is_that_of_its_share_of_the_overthrow(run: Run) -> None:
    """Independent route: bags that hold 1 % more, worked out again."""
    loads = "load,dressing,count,unit_mass_kg,u_unit_mass_kg,u_label_percent\nL1,D1,{},25,0,1\n"
    made = {"dressings": f"{HEAD}\nD1,2026-04-10,green,0.6\n", "catches": D1}
    stated, heavier = (run(loads=loads.format(bags), **made).ledger.rings for bags in (60, 60.6))
    both = np.add.reduceat(stated.mass_kg, [0, 2]), np.add.reduceat(heavier.mass_kg, [0, 2])
    kg = stated.depth.effects["label: dried 25 kg"] * stated.mass_kg / stated.depth_m
    gain = both[1].sum() - both[0].sum()
    # some may lie farther out than the surrounds: the reach is not known well here; these count
    # as filling as fast as towards the upper limit
    assert 0.8 * gain < kg.sum() < 1.1 * gain


def test_surrounds_that_the_reach_does_not_get_to_are_not_sure_to_be_bare(run: Run) -> None:
    loads = "load,dressing,count,unit_mass_kg\nL1,D1,50.6,25\nL2,D2,20.4,25\n"
    results = run(loads=loads)
    rings = results.ledger.rings
    outer = np.flatnonzero((rings.zone == "surrounds") & (rings.depth_m == 0))
    assert len(outer)
    assert (rings.u_depth_m[outer] > 0).all()
    shares = rings.depth.shares()
    assert (shares["throw shape"][outer] > 0).all()


def test_what_the_shape_of_the_throw_moves_out_of_collars_lies_farther_out(run: Run) -> None:
    loads = "load,dressing,count,unit_mass_kg\nL1,D1,53.2,25\nL2,D2,21.4,25\n"
    rings = run(loads=loads).ledger.rings
    moved = rings.depth.effects["throw shape"] * rings.mass_kg / rings.depth_m
    collar, outer = moved[rings.zone == "collar"], moved[rings.zone == "surrounds"]
    assert (collar < 0).all()
    assert (outer > 0).all()
    assert (outer <= -collar * (1 + 1e-12)).all()


def test_what_moves_sand_beside_is_the_same_just_above_and_just_below_zero(run: Run) -> None:
    """50 g of 1300 kg more or less, where its u is a thousand times that."""
    even = [catch(k, gross_g=150) for k in range(1, 7)]
    head = f"{HEAD}\nD1,2026-04-10,green,0.6\n"
    above, below = (
        run(
            dressings=head,
            catches=even,
            loads=f"load,dressing,count,unit_mass_kg\nL1,D1,{bags},25\n",
        )
        for bags in (52.002, 51.998)
    )
    over = [results.balance.overthrow.value[0] for results in (above, below)]
    assert over == pytest.approx([0.05, -0.05], abs=0.02)
    assert above.balance.overthrow.u()[0] > 40
    one, other = above.ledger.rings.depth.effects, below.ledger.rings.depth.effects
    for source in ("label: dried 25 kg", "catch efficiency", "throw shape"):
        assert abs(one[source]).min() > 0, source
        assert other[source] == pytest.approx(one[source], rel=0.02), source


def test_collars_are_as_sure_whatever_is_told_of_the_ground_beyond(run: Run) -> None:
    """Surrounds of 4 m hold all that went past the collars, surrounds of 0.3 m a part of it."""
    loads = "load,dressing,count,unit_mass_kg\nL1,D1,68,25\nL2,D2,27,25\n"
    wide, narrow = (
        run(loads=loads, toml=TOML.replace("width_m = 4.0", f"width_m = {width}"))
        for width in (4.0, 0.3)
    )
    assert (wide.balance.throw.farther_kg == 0).all()
    assert (narrow.balance.throw.farther_kg > narrow.balance.throw.surrounds_kg).all()
    one, other = (
        results.ledger.rings.depth.rows(np.flatnonzero(results.ledger.rings.zone == "collar"))
        for results in (wide, narrow)
    )
    assert other.value == pytest.approx(one.value, rel=1e-6)
    for source, effect in one.effects.items():
        assert other.effects[source] == pytest.approx(effect, rel=1e-6, abs=1e-12), source


def test_an_overthrow_clearly_below_zero_leaves_little_beside(run: Run) -> None:
    """None, and the less sure not to be some the nearer it is to zero."""
    head = "load,dressing,count,unit_mass_kg\n"
    far, near = (
        run(loads=f"{head}L1,D1,{one},25\nL2,D2,{other},25\n").ledger.rings
        for one, other in ((20, 10), (45, 17))
    )
    assert (far.depth_m == 0).all()
    assert (near.depth_m == 0).all()
    assert (far.u_depth_m > 0).all()
    assert (far.u_depth_m < 0.4 * near.u_depth_m).all()


@pytest.fixture
def by_parts(run: Run) -> Callable[..., Results]:
    """Each load names its surface; every tray caught 1 kg/m², which is 400 kg on g1, 900 on g2."""
    head = "load,dressing,count,unit_mass_kg,u_unit_mass_kg,u_label_percent,surfaces\n"

    def results(*bags: tuple[float, float]) -> Results:
        days = range(1, len(bags) + 1)
        return run(
            dressings=f"{HEAD}\n" + "".join(f"D{d},2026-04-{9 + d},g1 g2,0.6\n" for d in days),
            catches=[
                catch(k, gross_g=150, dressing=f"D{d}") | {"catch": f"c{d}-{k}"}
                for d in days
                for k in range(1, 7)
            ],
            loads=head
            + "".join(
                f"L{d}{s},D{d},{count},25,0.25,1,{s}\n"
                for d, pair in zip(days, bags, strict=True)
                for s, count in zip(("g1", "g2"), pair, strict=True)
            ),
        )

    return results


def test_a_ring_beside_a_part_is_as_sure_whatever_the_other_part_did(by_parts: Any) -> None:
    """50 kg over g1's edges; the dressing as a whole: 100 kg, -50 kg, -350 kg."""
    each = [by_parts((18, other)) for other in (38, 32, 20)]
    over = [results.balance.overthrow.value[0] for results in each]
    assert over == pytest.approx([100, -50, -350], rel=1e-3)
    mine = [results.ledger.rings for results in each]
    for rings in mine:
        assert rings.id[[0, 2]].tolist() == ["g1/collar", "g1/surrounds"]
        for column in ("mass_kg", "depth_m", "u_depth_m"):
            kept = getattr(mine[0], column)[[0, 2]]
            assert getattr(rings, column)[[0, 2]] == pytest.approx(kept, rel=1e-9), column
    assert mine[0].u_depth_m[0] > 0.1e-3
    # 400 kg less than the catches claim, of which u is far below: hardly anything lies there
    assert (mine[2].mass_kg[[1, 3]] == 0).all()
    assert (mine[2].u_depth_m[[1, 3]] < 0.5 * mine[1].u_depth_m[[1, 3]]).all()


def test_a_ring_s_error_is_that_of_its_share_of_its_parts_overthrow(by_parts: Any) -> None:
    """Independent route: bags of that part that hold 1 % more, worked out again."""
    stated, heavier = (by_parts((bags, 20)).ledger.rings for bags in (20, 20.2))
    mine = [0, 2]
    gain = (heavier.mass_kg - stated.mass_kg)[mine].sum()
    per_m = stated.mass_kg[mine] / stated.depth_m[mine]
    kg = stated.depth.effects["label: dried 25 kg"][mine] * per_m
    assert gain == pytest.approx(5.0, rel=0.01)
    # surrounds count as filling as fast as towards the upper limit
    assert 0.9 * gain < kg.sum() < 1.1 * gain


def test_what_parts_of_two_dressings_share_adds_up_in_their_rings(by_parts: Any) -> None:
    one, two = by_parts((18, 20)).ledger.rings, by_parts((18, 20), (18, 20)).ledger.rings
    assert two.mass_kg[[0, 2]] == pytest.approx(2 * one.mass_kg[[0, 2]], rel=1e-6)
    assert (two.u_depth_m[[0, 2]] > 1.41 * one.u_depth_m[[0, 2]]).all()
    assert (two.u_depth_m[[0, 2]] < 2 * one.u_depth_m[[0, 2]]).all()
