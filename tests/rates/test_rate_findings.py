"""What is told of catches that are far from others, near each other or set aside."""

from __future__ import annotations

import pytest

from tests.rates.conftest import Run
from tests.rates.test_surface_rates import EVEN, HEAD, findings, near
from tests.sites import G1, SURFACES, catch, square, surface


def test_a_reading_of_trays_on_several_surfaces_is_told(run: Run) -> None:
    pool = {"pool": "p", "volume_state": "dry", "tare_g": None, "gross_g": None}
    rates = run(catches=[catch(1, **pool, volume_cm3=120), catch(4, **pool)])
    assert rates.volume_rate_kg_m2 == pytest.approx([0.93, 0.93], rel=1e-9)
    assert rates.catches.tolist() == [1, 0]
    assert "counts as one catch, that of c1" in findings(rates)


def test_an_empty_tray_on_dressed_ground_is_told(run: Run) -> None:
    """Gross equal to tare: it counts as 0 until somebody says that it was never weighed."""
    rates = run(catches=[catch(1, gross_g=50), *EVEN[1:]])
    assert rates.rate.value[0] < 0.8
    assert "D1: catch c1 holds no sand on dressed ground and counts as 0" in findings(rates)
    assert "holds no sand" not in findings(run(catches=EVEN))


@pytest.mark.parametrize(("gross_g", "times"), [(455, "4.5"), (70, "0.22")])
def test_a_catch_far_from_the_others_is_named(run: Run, gross_g: float, times: str) -> None:
    # the median of 92, 97, 88, 90, 86 g and this one is 91 or 89 g
    odd = [*(catch(k) for k in range(1, 5)), catch(5, gross_g=gross_g), catch(6)]
    assert (
        f"D1: catch c5 ({times} times) lies far from the median of the dressing's catches: check"
        " readings, tray sizes and their units; a spoiled catch gets a reject_reason"
    ) in findings(run(catches=odd))
    assert "far from" not in findings(run(catches=odd[2:]))  # three others are too few to tell
    assert "far from" not in findings(run(catches=[*odd[:4], catch(5, gross_g=400), odd[5]]))


def test_a_tray_weighed_with_another_one_is_named_where_the_others_agree(run: Run) -> None:
    """12 catches of 86 to 97 g: 2.9 times as much is no scatter, twice as much may be overlap."""
    more = [catch(k, catch=f"d{k}") for k in range(1, 7)]
    odd = [*EVEN[:4], catch(5, gross_g=50 + 273), EVEN[5]]
    assert "D1: catch c5 (2.9 times) lies far from the median" in findings(
        run(catches=[*odd, *more])
    )
    assert "far from" not in findings(run(catches=odd))  # five others do not tell how they scatter
    lapped = [*EVEN[:4], catch(5, gross_g=50 + 200), EVEN[5]]
    assert "far from" not in findings(run(catches=[*lapped, *more]))
    apart = [catch(k, catch=f"d{k}", gross_g=50 + 45 * k) for k in range(1, 7)]
    assert "far from" not in findings(run(catches=[*odd, *apart]))
    # all trays of one surface agree that it was to get more, and no plan says so
    meant = [catch(k, gross_g=50 + (270 if k > 3 else 92)) for k in range(1, 7)]
    of_g1 = [catch(k, catch=f"d{k}") for k in (1, 2, 3)] + [
        catch(k, catch=f"e{k}") for k in (1, 2, 3)
    ]
    assert "far from" not in findings(run(catches=[*meant, *of_g1]))


def test_other_planned_depths_and_other_ground_are_not_far(run: Run) -> None:
    dressings = f"{HEAD}D1,2026-04-10,g1,0.3,4\nD1,2026-04-10,g2,1.5,4\n"
    five_fold = [catch(k, gross_g=50 + (50 if k < 4 else 250)) for k in range(1, 7)]
    near_each = [catch(k, catch=f"d{k}", gross_g=51) | {"lat": 47.003} for k in (1, 2)]
    rates = run(dressings=dressings, catches=five_fold)
    assert "far from" not in findings(rates)
    assert "far from" not in findings(run(catches=[*EVEN, *near_each]))


def test_two_catches_far_from_the_others_are_told_at_once(run: Run) -> None:
    more = [catch(k, catch=f"d{k}") for k in range(1, 7)]
    odd = [catch(1, gross_g=1000), catch(2, gross_g=60), *(catch(k) for k in range(3, 7))]
    text = findings(run(catches=[*odd, *more]))
    assert "D1: catches c1 (11 times), c2 (0.11 times) lie far from the median" in text


def test_rejected_catches_are_listed_with_their_reason(run: Run) -> None:
    rates = run(catches=[catch(1) | {"reject_reason": "kicked over"}, *EVEN[1:]])
    assert "D1: set aside and not used: c1 (kicked over)" in findings(rates)


def test_surfaces_that_differ_much_make_the_others_doubtful(run: Run) -> None:
    """30 % between g1 and g2, and a tee without catches: the default of 8 % is too sure of it."""
    dressings = f"{HEAD}D1,2026-04-10,green tee,0.6,4\n"
    apart = [catch(k, gross_g=143 if k < 4 else 200) for k in range(1, 7)]
    told = findings(run(dressings=dressings, catches=apart))
    assert "the 1 surface without catches may lie outside the interval" in told
    assert "much more than usual" not in findings(run(dressings=dressings, catches=EVEN))
    # of a single surface with catches nothing differs, and where all have some none is in doubt
    assert "much more than usual" not in findings(run(dressings=dressings, catches=apart[:3]))
    assert "much more than usual" not in findings(run(catches=apart))


def test_trays_within_one_swath_are_told(run: Run) -> None:
    """A degree of longitude is 75.9 km there; the swath is 4 m, the greens are 20 and 30 m long."""
    tight = "all catches on {} lie within a swath of each other"
    assert tight.format("g1") in findings(run(catches=near(1, 0, 1.5, 3.5) + near(2, -5, 0, 5)))
    assert tight.format("g1, g2") in findings(run(catches=near(1, 0, 1) + near(2, 3, 3)))
    far = "within a swath of each other"
    assert far not in findings(run(catches=near(1, -2, 2.5) + near(2, -5, 5)))
    assert far not in findings(run(catches=near(1, 0) + near(2, 1)))  # one tray has no other
    # on a surface of two swaths there is little more room
    small = [surface("g1", "green", square(*G1, 7.5)), *SURFACES[1:]]
    assert far not in findings(run(surfaces=small, catches=near(1, 0, 1) + near(2, -5, 5)))


def test_surfaces_set_unlike_without_a_plan_are_told(run: Run) -> None:
    """t1 has no catch: with planned depths its rate follows the plan, without it that of others."""
    rows = "D1,2026-04-10,g1 g2,{},4,3\nD1,2026-04-10,t1,{},4,6\n"
    head = HEAD.replace("\n", ",setting\n")
    text = "its surfaces were not all set and driven alike"
    bare = run(dressings=head + rows.format("", ""))
    assert text in findings(bare)
    assert bare.rate.value[2] == pytest.approx(bare.rate.value[:2].mean(), rel=0.02)
    planned = run(dressings=head + rows.format(0.6, 1.2))
    assert text not in findings(planned)
    assert planned.rate.value[2] == pytest.approx(2 * planned.rate.value[:2].mean(), rel=0.02)
    alike = run(dressings=head + rows.format("", "").replace(",6\n", ",3\n"))
    assert text not in findings(alike)
    # where each has catches of its own no rate is taken from others
    unlike = "D1,2026-04-10,g1,,4,3\nD1,2026-04-10,g2,,4,6\n"
    assert text not in findings(run(dressings=head + unlike))


def _of_chosen(run: Run, grams: list[float], reasons: list[str]) -> str:
    rows = [
        catch(1 + k % 6, catch=f"n{k}", gross_g=50 + g, reject_reason=why)
        for k, (g, why) in enumerate(zip(grams, reasons, strict=True))
    ]
    return findings(run(catches=rows))


def test_what_is_set_aside_for_what_it_holds_is_told(run: Run) -> None:
    """The fuller half of 16 alike trays left out: U = 64 of 64 pairs, 3.36 sd (Mann, Whitney)."""
    grams = [90.0 + k for k in range(16)]
    fuller = ["too much"] * 8
    told = _of_chosen(run, grams, ["", *[""] * 7, *fuller])
    # the mean of 90 to 105 is 97.5, that of 90 to 97 is 93.5
    assert "holds more than what counts" in told
    assert "would average +4 %" in told
    assert "holds less than what counts" in _of_chosen(run, grams, [*fuller, *[""] * 8])


def test_what_is_set_aside_whatever_it_holds_is_not_told(run: Run) -> None:
    grams = [90.0 + k for k in range(16)]
    every_other = ["spoiled" if k % 2 else "" for k in range(16)]
    assert "than what counts" not in _of_chosen(run, grams, every_other)
    # equal readings, those set aside stand last: chance, and no order of the file
    assert "than what counts" not in _of_chosen(run, [92.0] * 16, [""] * 8 + ["spoiled"] * 8)
    assert "than what counts" not in _of_chosen(run, [90.0] * 5 + [200.0], [""] * 5 + ["spilt"])


def test_trays_that_were_lost_are_no_choice(run: Run) -> None:
    """Empty ones get a reject_reason, as the finding about empty trays asks for; spilt ones do."""
    grams = [90.0 + k for k in range(16)]
    lost = ["no reading"] * 8
    assert "than what counts" not in _of_chosen(run, [*[0.0] * 8, *grams[8:]], [*lost, *[""] * 8])
    told = _of_chosen(run, grams, [*["spilt"] * 8, *[""] * 8])
    assert "Spilt trays do; if others were set aside" in told


def test_a_reading_of_many_trays_that_was_set_aside_is_no_choice(run: Run) -> None:
    """Eight trays of one reading are not eight that were chosen."""
    rows = [catch(1 + k % 6, catch=f"n{k}", gross_g=140.0 + k) for k in range(8)]
    shared = {"pool": "p", "reject_reason": "wet", "gross_g": None, "tare_g": None}
    rows += [catch(1 + k % 6, catch=f"p{k}", **shared) for k in range(8)]
    rows[8] |= {"gross_g": 1500.0, "tare_g": 400.0}
    assert "than what counts" not in findings(run(catches=rows))
