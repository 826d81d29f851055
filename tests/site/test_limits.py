"""Where a check begins to speak: each pair of sites lies just on either side of its limit."""

from __future__ import annotations

from typing import Any

import pytest

from geosand.errors import Refused
from geosand.formats.site_folder import read_site
from tests.sites import CATCHES, DRESSINGS, LAT, LOADS, LON, SURFACES, TOML, collection, write_site

Changes = dict[str, Any]


def said(folder: Any, changes: Changes) -> str:
    """All that is said of a site, be it refused or not."""
    try:
        site = read_site(write_site(folder, **changes))
    except Refused as refusal:
        return str(refusal)
    return "\n".join(map(str, site.findings))


def catches(number: int = 6, **of_the_first: Any) -> Changes:
    """Some of the catches, the first of them with changes."""
    return {"catches": [CATCHES[0] | of_the_first, *CATCHES[1:number]]}


def away(degree: float) -> Changes:
    """The first catch so far north of all surfaces: the tee ends at 47.003045°."""
    return catches(lat=LAT + 0.003045 + degree)


def rounded(number: int) -> Changes:
    return {"catches": [c | {"lon": LON, "lat": LAT} for c in CATCHES[:number]]}


def tares(usual: float, first: float, number: int = 6) -> Changes:
    """Trays that hold 90 g each."""
    rows = [c | {"tare_g": usual, "gross_g": usual + 90} for c in CATCHES[:number]]
    rows[0] |= {"tare_g": first, "gross_g": first + 90}
    return {"catches": rows}


def without_tares(least_g: float) -> Changes:
    """Three of six trays have no tare and others 50 g; the emptiest of the three holds so much."""
    rows = tares(50.0, 50.0)["catches"]
    for row, gross in zip(rows[:3], (140.0, least_g, 150.0), strict=True):
        row |= {"tare_g": 0, "gross_g": gross}
    return {"catches": rows}


def beside_a_larger(first: float) -> Changes:
    """The last tray is twice as large and weighs four times what the others do."""
    rows = tares(50.0, first)["catches"]
    rows[-1] |= {"tray_length_mm": 800, "tare_g": 200, "gross_g": 380}
    return {"catches": rows}


def twelve(gross_g: float) -> Changes:
    """Twelve trays of one reading, each 3 m from the next."""
    places = [{"catch": f"c{k}", "lon": LON + (k % 4 - 2) * 4e-5} for k in range(12)]
    rows = [CATCHES[0] | one | {"lat": LAT + k // 4 * 3e-5} for k, one in enumerate(places)]
    return {"catches": [row | {"gross_g": gross_g} for row in rows]}


def planned(target_mm: float) -> Changes:
    """Two dressings of 0.6 mm in the season, and one before it."""
    rows = "".join(f"D{k},2026-0{m},green,0.6,4\n" for k, m in ((0, "2-10"), (2, "5-10")))
    toml = TOML.replace("green = 9.0", f"green = {target_mm}")
    return {"toml": toml, "dressings": DRESSINGS + rows}


def sand(text: str) -> Changes:
    """A site whose sand's water content is said so."""
    lines = "moisture_dry_basis_percent = 0.0\nu_moisture_percent = 0.2\n"
    assert lines in TOML
    return {"toml": TOML.replace(lines, text)}


def load(columns: str, cells: str) -> Changes:
    """The load of 1300 kg with further columns."""
    head, row = LOADS.splitlines()
    return {"loads": f"{head},{columns}\n{row},{cells}\n"}


def surveyed(day: str, other_day: str) -> Changes:
    """The surfaces since a day, and fewer of them since another."""
    return {
        "surfaces": collection(SURFACES, valid_from=day),
        "files": {"editions/a.geojson": collection(SURFACES[:2], valid_from=other_day)},
    }


@pytest.mark.parametrize(
    ("within", "beyond", "text"),
    [
        (away(0.0999), away(0.1001), "from all surfaces"),
        (rounded(2), rounded(3), "all positions end at decimal 2 of a degree"),
        (tares(9.0, 4.6), tares(9.0, 4.4), "g where the other trays of this size have"),
        (tares(8.0, 3.9), tares(8.0, 3.4), "g where the other trays of this size have"),
        (tares(9.0, 17.9), tares(9.0, 18.1), "g where the other trays of this size have"),
        (tares(4.0, 8.4), tares(4.0, 8.6), "g where the other trays of this size have"),
        (tares(50.0, 5.0, 4), tares(50.0, 5.0, 5), "g where the other trays of this size have"),
        (beside_a_larger(99), beside_a_larger(101), "g where the other trays of this size have"),
        (beside_a_larger(26), beside_a_larger(24), "g where the other trays of this size have"),
        (without_tares(49), without_tares(51), "was the scale set to zero with the empty tray?"),
        (twelve(50.0), twelve(142.0), "was one reading copied down"),  # empty ones are alike
        (planned(1.05), planned(1.04), "mm were planned on g1, whose target for the whole season"),
        (
            {"loads": LOADS.replace("0.25", "5")},
            {"loads": LOADS.replace("0.25", "5.1")},
            "% of the mass: check it, and its unit",
        ),
        (surveyed("2026-05-02", "2026-05-01"), surveyed("2026-05-01", "2026-05-01"), "not before"),
        (
            sand("moisture_dry_basis_percent = 0.1\n"),
            sand("moisture_dry_basis_percent = 0.11\n"),
            "the moisture of dried is not said: 0.5 points",
        ),
        (
            sand("moisture_dry_basis_percent = 0.5\nkiln_dried = true\n"),
            sand("moisture_dry_basis_percent = 0.51\nkiln_dried = true\n"),
            "kiln_dried = true beside a moisture above 0.5 %",
        ),
        (
            sand("moisture_dry_basis_percent = 0.5\n") | catches(volume_cm3=60),
            sand("moisture_dry_basis_percent = 0.51\n") | catches(volume_cm3=60),
            "the sand is not dry: the volume is not used",
        ),
        (load("weighed_kg", "868"), load("weighed_kg", "865"), "check whether all of it was on"),
        (load("returned_kg", "1300"), load("returned_kg", "1300.1"), "more came back or was"),
        (catches(gross_g=15_600), catches(gross_g=15_700), "mm deep (poured at 1.56 g/cm³)"),
        (
            {"dressings": DRESSINGS.replace("0.6", "3.1")},
            {"dressings": DRESSINGS.replace("0.6", "3.12")},
            "mm were planned: check planned depth",
        ),
    ],
)
def test_a_check_speaks_from_its_limit_on(
    tmp_path: Any, within: Changes, beyond: Changes, text: str
) -> None:
    assert text not in said(tmp_path / "within", within)
    assert text in said(tmp_path / "beyond", beyond)


def test_spreaders_that_are_nearly_alike_are_told_once(tmp_path: Any) -> None:
    rows = [f"D{k},2026-05-{k:02},green,{'Disc' if k % 2 else 'disc'}" for k in range(1, 9)]
    text = "\n".join(["dressing,date,surfaces,spreader", *rows, ""])
    told = said(tmp_path / "site", {"dressings": text, "loads": None, "catches": None})
    assert told.count("the spreaders 'Disc' and 'disc' have nearly the same name") == 1
    assert "nearly" not in said(tmp_path / "other", {"dressings": text.replace("disc", "disc 2")})


def test_trays_without_tares_are_told_once_and_those_alone_of_their_size_never(
    tmp_path: Any,
) -> None:
    rows = tares(50.0, 50.0)["catches"]
    one = said(tmp_path / "one", {"catches": [rows[0] | {"tare_g": 0}, *rows[1:]]})
    assert one.count("g where") == one.count("a tare of 0 g where the other trays") == 1
    cloths = [c | {"tare_g": 0, "tray_length_mm": 800} for c in CATCHES[:3]]
    assert "0 g where" not in said(tmp_path / "cloths", {"catches": [*cloths, *CATCHES[3:]]})


@pytest.mark.parametrize("number", [1, 3])
def test_trays_without_tares_are_told_where_they_hold_an_empty_one_more(
    tmp_path: Any, number: int
) -> None:
    """90 g of sand in each tray of 50 g: the scale was set to zero, or the tare forgotten.

    Half a tray divides them, and trays that weigh less than a third of the sand tell nothing (own
    choices; common practice, no published source), nor does what other dressings laid.
    """
    rows = tares(50.0, 50.0)["catches"]
    for k, (sand, told) in enumerate([(90, False), (114, False), (116, True), (140, True)]):
        zeros = [row | {"tare_g": 0, "gross_g": sand} for row in rows[:number]]
        folder = tmp_path / str(k)
        assert ("0 g where" in said(folder, {"catches": [*zeros, *rows[number:]]})) == told
    for usual, told in ((31.0, False), (29.0, True)):  # a lighter tray is lost in the scatter
        light = tares(usual, usual)["catches"]
        zeros = [row | {"tare_g": 0, "gross_g": 90} for row in light[:number]]
        folder = tmp_path / str(usual)
        assert ("0 g where" in said(folder, {"catches": [*zeros, *light[number:]]})) == told
    zeros = [row | {"tare_g": 0, "gross_g": 90} for row in rows[:number]]
    alone = [row | {"dressing": "D2"} for row in zeros]
    two = {
        "catches": [*alone, *rows[number:]],
        "dressings": DRESSINGS + "D2,2026-05-10,green,0.6,4\n",
    }
    assert "0 g where" in said(tmp_path / "alone", two)


def test_of_trays_without_tares_those_that_may_lack_one_are_named(tmp_path: Any) -> None:
    """Three of six hold no more than the others in one dressing, and an empty tray more in D2."""
    rows = tares(50.0, 50.0)["catches"]
    one = [row | {"tare_g": 0, "gross_g": 90} for row in rows[:3]] + rows[3:]
    two = [
        row | {"dressing": "D2"} | ({"gross_g": 140} if k < 3 else {}) for k, row in enumerate(one)
    ]
    dressings = DRESSINGS + "D2,2026-05-10,green,0.6,4\n"
    told = said(tmp_path / "site", {"catches": one + two, "dressings": dressings})
    assert "rows 8, 9, 10: tares of 0 g where other trays of this size have 50 g" in told
