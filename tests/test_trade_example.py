"""One round as it is done in the trade, from a site folder to its verdict.

Common practice, no published source: three cloths of 27 × 39 cm with 45 g tare weighed 181, 185
and 183 g; the sand of all three measured 265 cm³; 17 bags of 1,000 kg went over 14,000 m²; sand of
1.56 g/cm³. By hand: 138 g a cloth, 1.31 kg/m², 0.84 mm by mass and by volume, 1.21 kg/m² and
0.78 mm by bulk. Two methods within 10 % count as agreeing.
"""

from __future__ import annotations

import json
from typing import Any

import pytest

from geosand.formats.site_folder import read_site
from geosand.reports.balance_document import balance_document
from geosand.reports.documents import to_json
from geosand.results import Results, work_out
from tests.sites import LAT, LON, square, surface, write_site

TOML = """\
name = "One round"
season_start = 2026-03-01
boundary_accuracy_m = 0.05
edge_accuracy_m = 0.30
edge_bias_m = 0.15

[sand]
bulk_density_g_cm3 = 1.56
u_bulk_density_g_cm3 = 0.03
kiln_dried = true

[catches]
u_tray_percent = 0.5
catch_efficiency_percent = 100
u_catch_efficiency_percent = 3.0
"""
# twenty squares of 700 m² are 14 000 m²
GREENS = [surface(f"g{k + 1}", "green", square(LON + 0.001 * k, LAT, 700**0.5)) for k in range(20)]
CLOTH = {"dressing": "R1", "tray_length_mm": 270, "tray_width_mm": 390, "tare_g": 45, "pool": "all"}
CLOTHS = [
    {"catch": f"cloth{k + 1}", "lon": LON + 3e-5 * k, "lat": LAT, "surface": "g1", **CLOTH}
    | {"gross_g": gross, "volume_cm3": volume, "volume_state": "dry"}
    for k, (gross, volume) in enumerate([(181, 265), (185, ""), (183, "")])
]


@pytest.fixture(scope="module")
def results(tmp_path_factory: pytest.TempPathFactory) -> Results:
    folder = write_site(
        tmp_path_factory.mktemp("round") / "site",
        toml=TOML,
        surfaces=GREENS,
        dressings="dressing,date,surfaces\nR1,2026-04-10,green\n",
        loads="load,dressing,count,unit_mass_kg\nL1,R1,17,1000\n",
        catches=CLOTHS,
    )
    return work_out(read_site(folder))


@pytest.fixture(scope="module")
def dressing(results: Results) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(to_json(balance_document(results)))["dressings"][0]
    return found


def test_the_cloths(results: Results) -> None:
    caught = results.site.catches.caught_kg
    assert caught == pytest.approx([0.136, 0.140, 0.138])
    assert caught.mean() == pytest.approx(0.138)
    assert results.site.catches.tray_area_m2 == pytest.approx([0.1053] * 3)
    assert results.areas.area_m2.sum() == pytest.approx(14_000, rel=1e-5)


def test_the_three_methods(dressing: dict[str, Any]) -> None:
    methods = dressing["methods"]
    assert methods["by_mass"]["rate_kg_m2"] == pytest.approx(1.31, abs=0.005)
    assert methods["by_mass"]["depth_mm"] == pytest.approx(0.84, abs=0.005)
    assert methods["by_volume"]["depth_mm"] == pytest.approx(0.84, abs=0.005)
    assert methods["by_bulk"]["rate_kg_m2"] == pytest.approx(1.21, abs=0.005)
    assert methods["by_bulk"]["depth_mm"] == pytest.approx(0.78, abs=0.005)
    assert methods["agree"] is True


def test_the_bulk_density_is_borne_out_by_the_pool(results: Results) -> None:
    # 414 g in 265 cm³ are 1.562 g/cm³: no reason to doubt 1.56
    assert not any("check which is right" in str(f) for f in results.findings)


def test_it_is_not_called_overthrow(dressing: dict[str, Any]) -> None:
    # 17 000 kg less 0.138 kg / 0.1053 m² × 14 000 m² = 18 347.6 kg
    overthrow = dressing["overthrow"]
    assert overthrow["mass_kg"] == pytest.approx(-1347.6, abs=1)
    assert overthrow["fraction"] < 0
    assert overthrow["verdict"] in ("undecided", "does not close")
    assert overthrow["reach_m"] is None
    assert overthrow["collar_kg"] is None


def test_it_says_that_the_catches_claim_more_than_was_spread(results: Results) -> None:
    told = [f.text for f in results.findings if f.topic == "balance"]
    assert len(told) == 1
    assert "the catches claim 1348 kg more sand than was spread" in told[0]
    assert "overthrow can not be the reason" in told[0]
    assert "one dressing can not prove" in told[0]
    # no finding calls it overthrow
    others = [str(f) for f in results.findings if f.text != told[0]]
    assert not any("overthrow" in text for text in others)


def test_what_would_close_it(dressing: dict[str, Any]) -> None:
    """In percent and in each input's own u, the most easily explained first."""
    closing = {c["input"]: c for c in dressing["closing"]}
    assert set(closing) == {"catches", "total area", "unit mass"}
    # 17 000/18 347.6 − 1 and 1 347.6/17 000
    assert closing["catches"]["change_percent"] == pytest.approx(-7.345, abs=0.01)
    assert closing["total area"]["change_percent"] == pytest.approx(-7.345, abs=0.01)
    assert closing["unit mass"]["change_percent"] == pytest.approx(7.927, abs=0.01)
    # bags 1 % each, 17 of them, and 1 % in all of them: 1.029 %
    assert closing["unit mass"]["sigmas"] == pytest.approx(7.927 / 1.029, rel=1e-3)
    # 20 edges of 105.8 m: 0.30 m each by itself, 0.15 m all together; vertices matter little:
    # √(20·(105.8·0.30)² + (20·105.8·0.15)²) = 347.7 m² of 14 000
    assert closing["total area"]["sigmas"] == pytest.approx(-7.345 / 2.484, rel=5e-3)
    sizes = [abs(c["sigmas"]) for c in dressing["closing"]]
    assert sizes == sorted(sizes)
    assert dressing["closing"][0]["input"] == "catches"


def test_three_cloths_on_one_green_do_not_know_the_other_nineteen(
    dressing: dict[str, Any], results: Results
) -> None:
    basis = [row["basis"] for row in dressing["surfaces"]]
    assert basis.count("own catches") == 1
    assert basis.count("other surfaces") == 19
    assert any("not the other 19" in str(f) for f in results.findings)
    assert sum(part["share"] for part in dressing["budget"]) == pytest.approx(1.0)
    assert dressing["uniformity"]["cv_percent"] is None  # fewer than four catches
