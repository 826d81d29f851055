"""Water of catches: of a pool's one reading, and where only some of a dressing state theirs."""

from __future__ import annotations

import pytest

from geosand.formats.site_folder import read_site
from geosand.results import work_out
from tests.site.test_accepted import MOIST
from tests.site.test_refused_catches import refusal
from tests.sites import CATCHES, catch

DRY = {"moisture_dry_basis_percent": 0}
NO_READING = {"gross_g": "", "tare_g": ""}


@pytest.mark.parametrize(
    ("one", "other", "water"),
    [
        (NO_READING, DRY, 0.0),  # stated where the reading stands, which is not the first tray
        (NO_READING | DRY, {}, 0.0),  # stated at the first tray, the reading stands at another
        (DRY, NO_READING, 0.0),
        (DRY, NO_READING | DRY, 0.0),
        ({}, NO_READING, 0.04),  # stated nowhere
        (DRY, {}, 0.0),  # a reading for each, in one bucket
        (DRY, {"moisture_dry_basis_percent": 3}, None),  # a reading and a water for each
    ],
)
def test_trays_of_a_pool_have_the_water_of_their_reading(site_folder, one, other, water):
    """184 g on two trays of 0.1 m² are 0.92 kg/m² where that sand was weighed dry."""
    rows = [catch(1, pool="p", **one), catch(2, pool="p", **other), catch(4)]
    for row in rows[:2]:
        if row["gross_g"] != "":
            row["gross_g"] = row["tare_g"] + 184
    site = read_site(site_folder(toml=MOIST, catches=rows))
    ratio = site.moistures.ratio[site.catches.moisture[:2]]
    if water is None:
        assert ratio.tolist() == [0.0, 0.03]
        return
    assert ratio.tolist() == [water, water]
    if NO_READING.items() <= one.items() or NO_READING.items() <= other.items():
        rate = work_out(site).rates.each.rate_kg_m2[:2]
        assert rate == pytest.approx([0.92 / (1 + water)] * 2, rel=1e-12)


@pytest.mark.parametrize(("returned", "spilled"), [(900, 0), (0, 900), (500, 400), (0, 0)])
def test_loads_of_unlike_water_count_by_what_was_spread_of_them(site_folder, returned, spilled):
    """1,000 kg of 1 % and 1,000 kg of 5 %, of which some did not go out: worked by hand."""
    head = "load,dressing,count,unit_mass_kg,moisture_dry_basis_percent,returned_kg,spilled_kg"
    loads = f"{head}\nL1,D1,40,25,1,,\nL2,D1,40,25,5,{returned},{spilled}\n"
    site = read_site(site_folder(toml=MOIST, loads=loads, catches=[catch(1)]))
    left = 1000 - returned - spilled
    water = (1000 * 0.01 + left * 0.05) / (1000 + left)
    assert site.moistures.ratio[site.catches.moisture] == pytest.approx([water], rel=1e-12)


def test_a_pool_with_two_waters_for_one_reading_is_refused(site_folder):
    rows = [
        catch(1, pool="p", **NO_READING, moisture_dry_basis_percent=3),
        catch(2, pool="p", **DRY),
        catch(4),
    ]
    assert refusal(site_folder(toml=MOIST, catches=rows)) == [
        "catches.csv, row 2, moisture_…: another moisture than in row 3 of the same pool. Give one"
        " for all trays of a pool: their sand was weighed together."
    ]


def test_the_first_row_with_another_water_is_named(site_folder):
    wet = NO_READING | {"moisture_dry_basis_percent": 3}
    rows = [catch(k, pool="p", **one) for k, one in enumerate((NO_READING | DRY, wet, {}), 1)]
    (fault,) = refusal(site_folder(toml=MOIST, catches=[*rows, catch(4)]))
    assert fault.startswith("catches.csv, row 3, moisture_…: another moisture than in row 2 ")


def test_pools_of_other_dressings_have_their_own_water(site_folder):
    """Of the same name; with the u that the row with the reading states."""
    head = "dressing,date,surfaces\nD1,2026-04-10,green\nD2,2026-05-10,green\n"
    wet = {"moisture_dry_basis_percent": 1, "u_moisture_percent": 0.3}
    rows = [
        catch(k, dressing=name, pool="p", **one)
        for name, reading in (("D1", DRY), ("D2", wet), ("D3", {}))
        for k, one in ((1, NO_READING), (2, reading))
    ]
    days = f"{head}D3,2026-06-10,green\n"
    site = read_site(site_folder(toml=MOIST, dressings=days, catches=rows))
    assert site.moistures.ratio[site.catches.moisture].tolist() == [0, 0, 0.01, 0.01, 0.04, 0.04]
    u = site.moistures.u_ratio[site.catches.moisture]
    assert u[:4] == pytest.approx([0.002, 0.002, 0.003, 0.003], rel=1e-12)


def test_a_catch_of_no_dressing_is_all_that_is_refused(site_folder):
    rows = [catch(1, **DRY), catch(2), catch(4, dressing="D9")]
    (fault,) = refusal(site_folder(toml=MOIST, catches=rows))
    assert "D9" in fault


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        (
            [DRY, {"moisture_dry_basis_percent": 1}, {}, {}],
            "D1: 2 of its 4 weighed catches do not state their moisture and are dried by that of"
            " the sand as spread, 4 % (dry basis), where the others state 0 to 1 %: state it for"
            " all of them",
        ),
        (
            [DRY, DRY, {}],
            "D1: 1 of its 3 weighed catches does not state its moisture and is dried by that of the"
            " sand as spread, 4 % (dry basis), where the others state 0 %: state it for all of"
            " them",
        ),
        ([{"moisture_dry_basis_percent": 3.2}, {}], None),  # less than a percent of a depth
        ([DRY, DRY], None),
        ([{}, {}], None),
        ([DRY, {"reject_reason": "kicked over"}], None),
        ([DRY, {**NO_READING, "volume_cm3": 60, "volume_state": "dry"}], None),
        ([DRY, NO_READING | {"pool": "p"}, DRY | {"pool": "p"}], None),
    ],
)
def test_catches_that_state_no_moisture_beside_some_that_do_are_told(site_folder, changes, told):
    """Sand of 4 % that dries before it is weighed: the silent ones would be 4 % too low."""
    rows = [catch(k, **change) for k, change in enumerate(changes, 1)]
    found = [str(f) for f in read_site(site_folder(toml=MOIST, catches=rows)).findings]
    assert [text for text in found if "not state" in text] == ([told] if told else [])


def test_dressings_are_told_each_by_itself(site_folder):
    """One whose catches all state theirs beside one whose catches state none."""
    head = "dressing,date,surfaces\nD1,2026-04-10,green\nD2,2026-05-10,green\n"
    rows = [catch(1, **DRY), catch(4, **DRY), catch(2, dressing="D2"), catch(5, dressing="D2")]
    site = read_site(site_folder(toml=MOIST, dressings=head, catches=rows))
    assert not [f for f in site.findings if "not state" in f.text]


def test_parts_of_a_catch_are_counted_once(site_folder):
    rows = [catch(1, **DRY), catch(1, **DRY, gross_g=95), catch(4), catch(4, gross_g=96), catch(5)]
    site = read_site(site_folder(toml=MOIST, catches=rows))
    (text,) = [f.text for f in site.findings if "not state" in f.text]
    assert text.startswith("2 of its 3 weighed catches do not state their moisture")


def test_each_catch_has_the_water_that_it_states_in_a_dressing_of_its_own(site_folder):
    """Four dressings, three water contents in each, one of them with a u of its own."""
    percent, u, ids = [1.0, 5.0, 2.0, 5.0], [0.2, 0.2, 0.2, 0.4], ("D1", "D2", "D3", "D4")
    rows = [
        c
        | {"catch": f"{d}{k}", "dressing": d, "moisture_dry_basis_percent": percent[k]}
        | {"u_moisture_percent": u[k]}
        for d in ids
        for k, c in enumerate(CATCHES[:4])
    ]
    dressings = "".join(f"{d},2026-0{k}-10,green\n" for k, d in enumerate(ids, start=4))
    site = read_site(site_folder(dressings=f"dressing,date,surfaces\n{dressings}", catches=rows))
    own = site.catches.moisture
    assert site.moistures.ratio[own] == pytest.approx([x / 100 for x in percent] * 4)
    assert site.moistures.u_ratio[own] == pytest.approx([x / 100 for x in u] * 4)
    assert len(set(own.tolist())) == 16
