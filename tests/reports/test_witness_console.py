"""How the console tells what a season's balances say together."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from geosand.balance.reconciliation.reconcile import reconcile
from geosand.formats.site_folder import read_site
from geosand.reports.witness_console import _season_lines, witness_lines
from geosand.reports.witness_document import hear
from geosand.reports.words import Units
from geosand.results import work_out
from tests.balance.seasons import Plan, season
from tests.sites import CATCHES, LAT, LON, square, surface, write_site


@pytest.mark.parametrize(
    ("units", "changes"),
    # 0.155 g/cm³ are 155 · 0.3048³ / 0.45359237 lb/ft³
    [("metric", ("+0.155 g/cm³", "−0.155 g/cm³")), ("us", ("+9.68 lb/ft³", "−9.68 lb/ft³"))],
)
def test_changes_are_in_the_sites_units(
    tmp_path: Path, units: Units, changes: tuple[str, str]
) -> None:
    """Trays filled to a tenth more than the bulk density that is stated."""
    one = season(tmp_path, Plan(), 5)
    volume = one.site.catches.caught_kg / (1.1 * 1550.0)
    site = replace(one.site, catches=replace(one.site.catches, volume_m3=volume))
    first, *_ = _season_lines(reconcile(replace(one.balance, site=site)), units)
    stated, measured = changes
    assert first.endswith(
        f"one of bulk density: dried ({stated}), volumes of the catches: dried ({measured})"
    )
    assert "kg/m³" not in first


@pytest.mark.parametrize(("units", "mass"), [("metric", "kg"), ("us", "lb")])
def test_what_is_not_told_apart_is_said_once_and_then_what_would_tell(
    tmp_path: Path, units: Units, mass: str
) -> None:
    """Without trays beside the edges the strip hides bags, trays and edge of the one spreader."""
    one = season(tmp_path, Plan(bags=(25.0, 1000.0)), 5)
    found = reconcile(one.balance)
    lines = _season_lines(found, units)
    heads = [line for line in lines if line.startswith("can not be told apart by these data: ")]
    assert len(heads) == len(set(heads)) >= 1
    told = [line for line in lines if line.startswith("  ")]
    assert len(told) == len(found.would_tell) >= 2
    assert all(re.search(rf": leaves ± [\d\u202f]+ {mass} open(;|$)", line) for line in told)
    bag = {"metric": "1\u202f000 kg", "us": "2\u202f205 lb"}[units]
    assert any(bag in line for line in lines)
    other = {"metric": " lb", "us": " kg"}[units]
    assert not any(other in line for line in lines)  # all figures in one system
    assert not any(re.search(rf"\d{{4}} {mass}", line) for line in lines)


def test_what_would_tell_names_the_error_that_it_would_show(tmp_path: Path) -> None:
    """A weighing shows an error of the bags; trays beside the edges say nothing of one input."""
    one = season(tmp_path, Plan(bags=(20.0, 25.0), bag_error=0.05), 2)
    found = reconcile(one.balance)
    assert found is not None
    lines = [line.replace("\u202f", " ") for line in _season_lines(found, "metric")]
    for among in {each.among for each in found.would_tell}:
        head = f"can not be told apart by these data: {' / '.join(among)}; ± "
        (line,) = [line for line in lines if line.startswith(head)]
        assert re.fullmatch(r"[\d ]+ kg open\. What would tell:", line.removeprefix(head))
    told = {each.measurement: each.shown_percent for each in found.would_tell}
    assert any(told.values()) and not all(told.values())
    for measurement, percent in told.items():
        end = f" open; an error of {percent:.1f} % would show" if percent else " open"
        assert any(line.startswith(f"  {measurement}: ") and line.endswith(end) for line in lines)


def opinions(folder: Path, **files: object) -> str:
    results = work_out(read_site(write_site(folder, **files)))
    return "\n".join(witness_lines(results, hear(results), "metric")).replace("\u202f", " ")


def test_an_edge_that_two_dressed_surfaces_share_is_told_with_the_strip(tmp_path: Path) -> None:
    """Squares of 20 m side by side: of 80 m each shares 20 m and, within 0.3 m, 0.6 m more."""
    (corner, opposite, *_) = square(LON, LAT, 20.0)["coordinates"][0]
    side = opposite[0] - corner[0]  # degrees

    def told_of(name: str, apart: float) -> str:
        middles = [LON, LON + side + apart]
        greens = [
            surface(f"g{k}", "green", square(lon, LAT, 20.0)) for k, lon in enumerate(middles)
        ]
        rows = [
            c | {"lon": middles[k // 3] + side * (k % 3 - 1) / 5, "lat": LAT}
            for k, c in enumerate(CATCHES)
        ]
        loads = "load,dressing,count,unit_mass_kg\nL1,D1,36,25\n"
        return opinions(tmp_path / name, surfaces=greens, catches=rows, loads=loads)

    beside = told_of("beside", 0.0)
    told = re.search(
        r"strip width of the unnamed spreader: ([\d.]+) m .*; 26 % of that edge lies between two"
        r" dressed surfaces, where nothing is thrown over: ([\d.]+) m along the rest",
        beside,
    )
    assert told, beside
    width, rest = map(float, told.groups())
    assert rest == pytest.approx(width / (1 - 20.6 / 80), abs=0.01)
    apart = told_of("apart", 1e-3)
    assert "strip width of the unnamed spreader: " in apart
    assert "nothing is thrown over" not in apart


def test_a_load_on_the_scale_is_told_beside_its_label(tmp_path: Path) -> None:
    """20 bags of 25 kg, 1 % each and 1 % shared: 500 ± √(20 · 0.25² + 5²) = 5.1 kg."""
    head = "load,dressing,count,unit_mass_kg,u_unit_mass_kg,u_label_percent"
    weighed = f"{head},weighed_kg,u_weighed_kg\nL1,D1,20,25,0.25,1,504,2\nL2,D1,32,25,0.25,1,,\n"
    told = opinions(tmp_path / "weighed", loads=weighed)
    assert re.search(
        r"^load L1 on the scale: 504 kg ± 2 kg, by its label 500 kg ± 5 kg$", told, re.M
    )
    assert "load L2" not in told
    plain = opinions(tmp_path / "plain", loads=f"{head}\nL1,D1,52,25,0.25,1\n")
    assert "on the scale" not in plain
