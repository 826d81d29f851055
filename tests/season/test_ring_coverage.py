"""Collars and surrounds of sites dressed pass by pass: how often the ledger holds the truth."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from geosand.formats.site_folder import read_site
from geosand.results import work_out
from geosand.season.ring_ledger import COLLAR
from geosand.season.ring_totals import ring_limits
from tests import calibration
from tests.pass_by_pass import CELL_M, Field

SITES = 40
COLLAR_M, OUTER_M = 0.9, 4.9  #: the collar's width by default, and with the surrounds
LEAST = 0.93  #: of 95 %


def beside_kg(field: Field) -> tuple[float, float]:
    """Sand that lies in the collar and in the surrounds of one surface."""
    off = field.sand_kg_m2 * (1 - field.on) * CELL_M**2
    out = np.maximum(-field.inside_m, 0.0)
    in_collar = out <= COLLAR_M
    return float(off[in_collar].sum()), float(off[~in_collar & (out <= OUTER_M)].sum())


def test_rings_hold_what_was_thrown_pass_by_pass(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """All that nobody knows at once: spreaders, swaths, edges, bags, trays, positions."""
    laid: list[Field] = []

    def dress(*given: Any) -> Field:
        laid.append(made := calibration_dress(*given))
        return made

    calibration_dress = calibration.dress
    monkeypatch.setattr(calibration, "dress", dress)
    held: dict[str, list[bool]] = {"collar": [], "surrounds": [], "collars of a dressing": []}
    for seed in range(2000, 2000 + 2 * SITES):
        plan = calibration.Plan.drawn(seed)
        if plan.masked:
            continue
        laid.clear()
        calibration.make_site(tmp_path / str(seed), seed, plan)
        site = read_site(tmp_path / str(seed))
        results = work_out(site)
        shape = (calibration.DRESSINGS, calibration.SURFACES, 2)
        each_time = np.reshape([beside_kg(field) for field in laid], shape)
        truth = each_time.sum(axis=0)
        rings, throw = results.ledger.rings, results.balance.throw
        lying, drawn = each_time[:, :, 0].sum(axis=1), np.isfinite(throw.reach_m)
        here = slice(calibration.DRESSINGS)
        limits = ring_limits(results.balance, site.dressed.dressing, calibration.DRESSINGS)
        inside = (limits.low[here] <= lying) & (lying <= limits.high[here])
        held["collars of a dressing"] += inside[drawn].tolist()
        number = np.array([int(str(name)[1:]) - 1 for name in site.ids[rings.ground]])
        for k, zone in enumerate(rings.zone.tolist()):
            of = site.surfaces.ground[site.dressed.surface] == rings.ground[k]
            area = throw.collar_area_m2 if zone == COLLAR else throw.surrounds_area_m2
            kg = truth[number[k], 0 if zone == COLLAR else 1]
            depth = kg / area[np.argmax(of)] / results.rates.density.value[0]
            # the printed interval: twice u either way
            held[zone].append(bool(abs(rings.depth_m[k] - depth) <= 2 * rings.u_depth_m[k] + 1e-9))
    for zone, each in held.items():
        assert len(each) > 100, zone
        assert np.mean(each) >= LEAST, (zone, np.mean(each))
