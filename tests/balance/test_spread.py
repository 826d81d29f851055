"""Loads to the dry product that left the spreader, worked by hand."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from geosand.balance.spread import load_groups, load_masses, spread_of
from geosand.estimates import Estimates
from geosand.formats.site_folder import read_site
from geosand.site.sand_tables import Moistures
from geosand.site.tables import Site
from tests.sites import SURFACES, TOML

HEAD = "load,dressing,count,unit_mass_kg,u_unit_mass_kg,u_label_percent"
MOIST = TOML.replace("moisture_dry_basis_percent = 0.0", "moisture_dry_basis_percent = 5.0")
Read = Callable[..., Site]


@pytest.fixture
def read(site_folder: Callable[..., Path]) -> Read:
    def site(loads: str, name: str = "site", **overrides: Any) -> Site:
        return read_site(site_folder(name, loads=loads, **overrides))

    return site


def spread(site: Site) -> Estimates:
    masses = load_masses(site.loads, site.moistures)
    return spread_of(masses, site.loads.dressing, len(site.dressings))


def test_bags_scatter_as_the_root_and_labels_as_the_whole(read: Read) -> None:
    # 64 bags of 25 kg ± 0.25 kg each and ± 1 % all: √64·0.25 = 2 kg and 16 kg; water 0.2 %: 3.2 kg
    found = spread(read(f"{HEAD}\nL1,D1,64,25,0.25,1\n"))
    assert found.value.tolist() == [1600.0]
    parts = {name: float(part[0]) for name, part in found.by_category().items()}
    assert parts == pytest.approx({"label": 16.0, "moisture": 3.2, "bags": 2.0}, rel=1e-9)


def test_returned_and_spilled_come_off_moist_before_drying(read: Read) -> None:
    # (42 × 25 − 15 − 5)/1.05 = 1030/1.05
    loads = f"{HEAD},returned_kg,spilled_kg\nL1,D1,42,25,0.25,1,15,5\n"
    found = spread(read(loads, toml=MOIST))
    assert found.value == pytest.approx([1030 / 1.05], rel=1e-12)
    # ± 0.2 points of water: 1030/1.05² × 0.002
    assert found.by_category()["moisture"] == pytest.approx([1.86848], rel=1e-5)


def test_splitting_a_load_changes_nothing(read: Read) -> None:
    one = spread(read(f"{HEAD}\nL1,D1,52,25,0.25,1\n", "one"))
    two = spread(read(f"{HEAD}\nL1,D1,20,25,0.25,1\nL2,D1,32,25,0.25,1\n", "two"))
    assert two.value == pytest.approx(one.value, rel=1e-12)
    assert two.u() == pytest.approx(one.u(), rel=1e-12)


def test_two_kinds_of_bags_have_labels_of_their_own(read: Read) -> None:
    one = spread(read(f"{HEAD}\nL1,D1,40,25,0,1\nL2,D1,40,25,0,1\n", "one"))
    two = spread(read(f"{HEAD}\nL1,D1,40,25,0,1\nL2,D1,1,1000,0,1\n", "two"))
    assert one.by_category()["label"] == pytest.approx([20.0])
    assert two.by_category()["label"] == pytest.approx([200**0.5])


def test_a_hopper_by_volume_states_its_dry_mass(read: Read) -> None:
    # 4 × 0.5 m³ × 1400 kg/m³ dry, whatever the water; 105 kg came back moist: 100 kg dry
    loads = (
        "load,dressing,count,unit_volume_m3,loose_bulk_density_kg_m3,returned_kg,"
        "u_unit_mass_kg,u_label_percent\nL1,D1,4,0.5,1400,105,5,1\n"
    )
    found = spread(read(loads, toml=MOIST))
    assert found.value == pytest.approx([2700.0], rel=1e-12)
    # wetter sand: less of what came back was sand, so more was spread: +105/1.05² × 0.002
    assert found.effects["moisture: dried"] == pytest.approx([0.190476], rel=1e-5)


def test_units_of_the_columns_do_not_matter(read: Read) -> None:
    metric = spread(read("load,dressing,count,unit_mass_kg\nL1,D1,10,45.359237\n", "metric"))
    us = spread(read("load,dressing,count,unit_mass_lb\nL1,D1,10,100\n", "us"))
    assert us.value == pytest.approx(metric.value, rel=1e-9)
    assert us.u() == pytest.approx(metric.u(), rel=1e-9)


def test_a_dressing_without_loads_is_unknown_not_zero(read: Read) -> None:
    found = spread(read(f"{HEAD}\n"))
    assert np.isnan(found.value).tolist() == [True]


def test_a_load_of_a_mean_of_water_contents_has_the_sources_of_its_parts(read: Read) -> None:
    # 1200 kg at 4 %, the mean of 2 ± 0.3 and 6 ± 0.4 %: 1200/1.04² · 0.5 · 0.003 and · 0.004
    site = read(f"{HEAD}\nL1,D1,48,25,0,0\n")
    mean = Moistures(
        label=np.array(["moisture: a", "moisture: b", "moisture: mean"]),
        ratio=np.array([0.02, 0.06, 0.04]),
        u_ratio=np.array([0.003, 0.004, 0.0025]),
        mixtures={2: [(0, 0.5), (1, 0.5)]},
    )
    found = load_masses(replace(site.loads, moisture=np.array([2])), mean)
    waters = {k: v for k, v in found.effects.items() if k.startswith("moisture")}
    assert sorted(waters) == ["moisture: a", "moisture: b"]
    assert waters["moisture: a"] == pytest.approx([-1200 / 1.04**2 * 0.0015], rel=1e-12)
    assert waters["moisture: b"] == pytest.approx([-1200 / 1.04**2 * 0.002], rel=1e-12)
    assert found.u() == pytest.approx([1200 / 1.04**2 * 0.0025], rel=1e-12)


def groups(read: Read, *named: str) -> tuple[int, list[float]]:
    """How many groups, and for three dressed surfaces what was spread on their group."""
    rows = "".join(f"L{k},D1,1,10,{n}\n" for k, n in enumerate(named))
    site = read(
        f"load,dressing,count,unit_mass_kg,surfaces\n{rows}",
        surfaces=SURFACES,
        dressings="dressing,date,surfaces\nD1,2026-04-10,g1 g2 t1\n",
    )
    rows_of, dressing, mass = load_groups(site, load_masses(site.loads, site.moistures))
    assert set(dressing.tolist()) == {0}
    return len(dressing), mass.value[rows_of].tolist()


@pytest.mark.parametrize(
    "named, parts, kg",
    [
        (("g1", "g2", "t1"), 3, [10, 10, 10]),
        (("g1", "g2 t1", "g1"), 2, [20, 10, 10]),
        (("g1", "g2", "t1 g1"), 2, [20, 10, 20]),
        (("g1 g2", "g2 t1"), 1, [20, 20, 20]),
        (("g1", "g2", ""), 1, [30, 30, 30]),  # one went anywhere
        (("g1", "g2 t1", ""), 1, [30, 30, 30]),
        (("", "g2 t1", "g1"), 1, [30, 30, 30]),
        (("g1", "g2"), 1, [20, 20, 20]),  # none went to t1
        (("green", "tee"), 2, [10, 10, 10]),
        ((), 1, [float("nan")] * 3),
    ],
)
def test_loads_divide_a_dressing_only_where_all_name_all(
    read: Read, named: tuple[str, ...], parts: int, kg: list[float]
) -> None:
    found, mass = groups(read, *named)
    assert found == parts
    assert mass == pytest.approx(kg, nan_ok=True)
