"""Witnesses of the loads: the yard's stock and the scale, read from the files and by hand."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from geosand.balance.stock import StockWitness, stock_on_hand, stock_witness, weighings
from geosand.formats.site_folder import read_site
from geosand.site.tables import Site
from tests.sites import TOML, refusal, write_site

LOADS = "load,dressing,count,unit_mass_kg,u_unit_mass_kg,u_label_percent,returned_kg\n" + "".join(
    f"L{k},D{k},100,25,0.25,1,{back}\n" for k, back in ((1, 0), (2, 100), (3, 0))
)
DRESSINGS = "dressing,date,surfaces\n" + "".join(
    f"D{k},2026-0{3 + k}-10,green\n" for k in (1, 2, 3)
)
HEAD = "date,kind,mass_kg,u_mass_kg\n"
TICKETS = "2026-03-20,,5000,25\n2026-05-02,delivery,4000,20\n"


def stocked(folder: Path, deliveries: str, **files: Any) -> Site:
    files = {"dressings": DRESSINGS, "loads": LOADS, "catches": None} | files
    return read_site(write_site(folder, deliveries=deliveries, **files))


def witness(folder: Path, rows: str) -> StockWitness:
    return stock_witness(stocked(folder, HEAD + rows))


def test_stock_by_hand(tmp_path: Path) -> None:
    """(1000 + 9000) − (7400 + 2000) = 600 kg missing: equation (2) of US AEC Regulatory Guide 5.33
    with opening stock, receipts, removals and closing stock (arithmetic by hand).

    u: tickets √(5000² + 4000²)·0.5 % = 32.0; label 75 (1 % of 7500, shared by three loads: trap, as
    independent it would be 43.3); bags √300·0.25 = 4.3; counts 30 and 60. Together 105.7.
    """
    stock = witness(tmp_path, TICKETS + "2026-03-01,count,1000,30\n2026-08-01,count,2000,60\n")
    assert stock.bought.value.tolist() == [9000]
    assert stock.taken.value.tolist() == [7400]
    assert stock.missing.value.tolist() == [600]
    assert stock.missing.u()[0] == pytest.approx(105.7, abs=0.1)
    assert "600 ± 106 kg were bought and are neither in the loads" in stock.findings[0].text


@pytest.mark.parametrize(
    ("left", "told"), [(2389, False), (2388, True), (2811, False), (2812, True)]
)
def test_what_is_within_two_u_is_not_told(tmp_path: Path, left: int, told: bool) -> None:
    """The same stock, u 105.68 kg: 211 kg missing or too many are nothing yet, 212 kg are."""
    count = f"2026-03-01,count,1000,30\n2026-08-01,count,{left},60\n"
    assert bool(witness(tmp_path, TICKETS + count).findings) == told


def test_labels_as_if_independent_would_look_too_sure(tmp_path: Path) -> None:
    """The covariances of what is shared (Jaech, INMM 1(2), p. 14), left out on purpose."""
    stock = witness(tmp_path, TICKETS + "2026-08-01,count,2000,60\n")
    each = stock.missing.effects["label: dried 25 kg"][0]
    assert each == pytest.approx(-75.0)
    wrong = np.sqrt(stock.missing.u()[0] ** 2 - each**2 + 3 * 25.0**2)
    assert stock.missing.u()[0] > 1.2 * wrong


def test_only_what_happened_between_the_counts(tmp_path: Path) -> None:
    """Opening count after the first load and ticket, closing before the last load."""
    stock = witness(tmp_path, TICKETS + "2026-04-20,count,2500,\n2026-05-20,count,4100,\n")
    assert stock.loads.tolist() == [[False, True, False]]
    assert stock.bought.value.tolist() == [4000]
    assert stock.missing.value.tolist() == [0]  # 2500 + 4000 − 2400 − 4100
    assert stock.missing.effects["closing count"][0] == pytest.approx(-0.03 * 4100)
    assert not stock.findings


def test_what_comes_and_goes_on_the_day_of_a_count_was_before_it(tmp_path: Path) -> None:
    """Counted on the days of the first ticket and load, and of the second load and its ticket."""
    rows = "2026-04-10,,5000,25\n2026-05-10,delivery,4000,20\n2026-06-10,,700,3\n"
    stock = witness(tmp_path, rows + "2026-04-10,count,2500,\n2026-05-10,count,4100,\n")
    assert stock.loads.tolist() == [[False, True, False]]
    assert stock.bought.value.tolist() == [4000]
    assert stock.missing.value.tolist() == [0]  # 2500 + 4000 − 2400 − 4100
    site = stocked(tmp_path / "on", HEAD + rows + "2026-05-10,count,4100,50\n")
    days = [np.datetime64(day) for day in ("2026-05-09", "2026-05-10", "2026-06-09", "2026-06-10")]
    on_hand = [stock_on_hand(site, 0, day) for day in days]
    # before the count the first ticket less the first load; with the third load its ticket
    assert [one.mass_kg for one in on_hand] == [2500, 4100, 4100, 4100 + 700 - 2500]
    assert [one.since for one in on_hand] == [True, False, False, True]
    assert on_hand[1].u_kg == 50


def test_more_taken_than_bought(tmp_path: Path) -> None:
    """Planted: a delivery without a ticket. One count: the yard began empty."""
    stock = witness(tmp_path, "2026-03-20,,5000,25\n2026-08-01,count,600,20\n")
    assert np.isnat(stock.opened[0])
    assert stock.missing.value[0] == 5000 - 7400 - 600
    assert "a delivery without a ticket" in stock.findings[0].text


@pytest.mark.parametrize(("u", "said"), [("", True), ("25", False)])
def test_a_ticket_without_u_is_told_beside_a_count_that_has_one(
    tmp_path: Path, u: str, said: bool
) -> None:
    site = stocked(tmp_path, HEAD + f"2026-03-20,,5000,{u}\n2026-08-01,count,600,20\n")
    assert site.deliveries.u_mass_kg.tolist() == [25]  # 0.5 % of 5000 kg
    assert any("0.5 % of a ticket are used" in str(f) for f in site.findings) is said


def test_each_sand_has_its_own_stock(tmp_path: Path) -> None:
    """Rows in any order; a yard may be empty."""
    toml = TOML.replace("[catches]", "[sands.coarse]\nkiln_dried = true\n\n[catches]")
    rows = [
        *("2026-08-01,count,0,,coarse", "2026-08-01,count,2000,,dried", "2026-03-20,,9000,,dried"),
        *("2026-03-21,,2600,,coarse", "2026-03-01,count,500,,dried"),
    ]
    site = stocked(
        tmp_path,
        "date,kind,mass_kg,u_mass_kg,sand\n" + "\n".join(rows) + "\n",
        toml=toml,
        dressings="dressing,date,surfaces,sand\nD1,2026-04-10,green,dried\n"
        "D2,2026-05-10,green,coarse\nD3,2026-06-10,green,dried\n",
    )
    stock = stock_witness(site)
    assert site.sands.name[stock.sand].tolist() == ["dried", "coarse"]
    assert stock.missing.value.tolist() == [500 + 9000 - 5000 - 2000, 2600 - 2400]
    assert stock.closing_kg.tolist() == [2000, 0]


def test_a_scale_beside_the_label(tmp_path: Path) -> None:
    """2500 kg ± √(25² + 2.5²) by label and bags: 2650 ± 10 kg is 5.5 of the u of the difference."""
    loads = (
        "load,dressing,count,unit_mass_kg,u_unit_mass_kg,u_label_percent,weighed_kg,u_weighed_kg\n"
        "L1,D1,100,25,0.25,1,2650,10\nL2,D2,100,25,0.25,1,2510,\nL3,D3,100,25,0.25,1,,\n"
    )
    site = stocked(tmp_path, HEAD + TICKETS, loads=loads)
    found = weighings(site)
    assert found.load.tolist() == ["L1", "L2"]
    assert found.sigmas[0] == pytest.approx(150 / np.sqrt(25**2 + 2.5**2 + 10**2), rel=1e-9)
    assert found.u_weighed_kg.tolist() == [10, pytest.approx(0.005 * 2510)]
    (finding,) = found.findings
    assert "its units hold 6.0 % more than said" in finding.text
    assert any("0.5 % is used where it is not said" in str(f) for f in site.findings)


def test_loads_by_volume_weigh_more_with_their_water(tmp_path: Path) -> None:
    """Two hoppers of 1000 kg dry at 5 ± 0.5 % of water: 2100 kg, ± 10 kg for it."""
    loads = (
        "load,dressing,count,unit_volume_m3,loose_bulk_density_kg_m3,u_unit_mass_kg,u_label_percent,"
        "moisture_dry_basis_percent,u_moisture_percent,weighed_kg,u_weighed_kg\n"
        "L1,D1,2,0.8,1250,0,1,5,0.5,2150,5\n"
    )
    site = stocked(tmp_path, HEAD + TICKETS + "2026-08-01,count,6900,60\n", loads=loads)
    found, stock = weighings(site), stock_witness(site)
    assert found.stated_kg[0] == pytest.approx(2100)
    assert found.u_stated_kg[0] == pytest.approx(np.hypot(21, 10))
    assert stock.missing.value[0] == pytest.approx(0)
    assert stock.missing.u()[0] == pytest.approx(np.sqrt(21**2 + 10**2 + 25**2 + 20**2 + 60**2))


def test_a_site_in_us_units_reads_pounds_too(tmp_path: Path) -> None:
    toml = TOML.replace("season_start", 'units = "us"\nseason_start', 1)
    site = stocked(tmp_path, HEAD + TICKETS + "2026-08-01,count,100,30\n", toml=toml)
    assert "(3307 ± 192 lb)" in stock_witness(site).findings[0].text


@pytest.mark.parametrize(
    ("deliveries", "told"),
    [
        (
            TICKETS.replace(",,5000", ",stock,5000"),
            "'stock' is not known; allowed: delivery, count",
        ),
        (
            TICKETS.replace("5000", "0"),
            "a count of an empty yard says kind = count",
        ),
        (
            "2026-08-01,count,5,1\n2026-08-01,count,6,1\n",
            "counted on that day in row 2 already. Add up what lies in different places",
        ),
        ("2026-08-01,count,-5,1\n", "-5 can not be right; allowed: at least 0"),
    ],
)
def test_refused_deliveries(tmp_path: Path, deliveries: str, told: str) -> None:
    (text,) = refusal(write_site(tmp_path, deliveries=HEAD + deliveries))
    assert told in text


def test_refused_weighings(tmp_path: Path) -> None:
    loads = (
        "load,dressing,count,unit_mass_kg,weighed_kg,u_weighed_kg\n"
        "L1,D1,52,25,,10\nL2,D1,52,25,0,10\n"
    )
    texts = refusal(write_site(tmp_path, loads=loads))
    assert "row 2, u_weighed_kg: an uncertainty of a weighing without the weighing" in texts[0]
    assert "row 3, weighed_kg: 0 can not be right; allowed: more than 0" in texts[1]


def test_a_weighing_far_from_its_label_is_told(tmp_path: Path) -> None:
    loads = "load,dressing,count,unit_mass_kg,weighed_kg\nL1,D1,52,25,650\n"
    site = read_site(write_site(tmp_path, loads=loads))
    assert any(
        "row 2 weighs 650 kg where count and unit mass say 1300 kg" in str(f) for f in site.findings
    )


def test_stock_on_hand_begins_with_the_last_count(tmp_path: Path) -> None:
    """2500 counted on 20 April, 4000 bought and 2400 taken since; on 1 May only the count."""
    rows = TICKETS + "2026-04-20,count,2500,\n2026-03-01,count,9000,\n"
    site = stocked(tmp_path, HEAD + rows)
    assert stock_on_hand(site, 0, np.datetime64("2026-05-01")).mass_kg == 2500
    assert stock_on_hand(site, 0, np.datetime64("2026-05-31")).mass_kg == 2500 + 4000 - 2400


def test_stock_on_hand_has_the_u_of_what_went_in_and_out(tmp_path: Path) -> None:
    """Tickets 25 and 20 kg; 25 kg bags share one label, tonne bags another."""
    loads = LOADS.replace("L2,D2,100,25,0.25,1,100\n", "L2,D2,4,1000,5,1,100\n")
    stock = stock_on_hand(
        stocked(tmp_path, HEAD + TICKETS, loads=loads), 0, np.datetime64("2026-08-01")
    )
    assert stock.mass_kg == 9000 - (2500 + 3900 + 2500)
    bags = 200 * 0.25**2 + 4 * 5.0**2
    assert stock.u_kg == pytest.approx(np.sqrt(25**2 + 20**2 + 50**2 + 40**2 + bags))
    assert (stock.counted, stock.since) == (None, True)
