"""Surveys of which too many surfaces lie on each other are refused, with the limit."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from geosand.areas.crowds import MOST_PAIRS, refuse_crowds
from geosand.areas.near_pairs import beside, near_each_other
from geosand.errors import Refused


def heap(count: int, edition: int = 0) -> tuple[np.ndarray, np.ndarray]:
    """Boxes that all meet each other."""
    shift = np.linspace(0, 0.5, count)[:, None]
    return np.array([0.0, 0.0, 1.0, 1.0]) + shift, np.full(count, edition)


def test_as_many_as_are_allowed_and_one_more():
    refuse_crowds(*heap(1000), "surfaces.geojson")  # 499,500 pairs
    with pytest.raises(Refused) as refusal:
        refuse_crowds(*heap(1001), "surfaces.geojson")
    (fault,) = refusal.value.faults
    assert str(fault) == (
        "surfaces.geojson: 1,001 surfaces lie so that more than 500,000 pairs of them can overlap;"
        " allowed: 500,000 pairs, as of 1,000 surfaces on the same ground. Look for surfaces that"
        " were brought in many times, and keep each once."
    )


def test_surveys_are_counted_each_by_itself():
    tables = [heap(900, edition) for edition in range(3)]
    bounds, edition = (np.concatenate(column) for column in zip(*tables, strict=True))
    refuse_crowds(bounds, edition, "surfaces.geojson")


def test_boxes_that_only_lie_beside_each_other_in_one_direction_are_no_crowd():
    """1,500 in a row from south to north: a million pairs share a longitude, none a place."""
    south = 2.0 * np.arange(1500)
    bounds = np.column_stack([0 * south, south, 0 * south + 1, south + 1])
    assert beside(bounds, np.zeros(1500, dtype=int)).sum() > MOST_PAIRS
    refuse_crowds(bounds, np.zeros(1500, dtype=int), "surfaces.geojson")


def test_boxes_beside_each_other_are_counted_once():
    random = np.random.default_rng(3)
    low = random.uniform(0, 30, (200, 2))
    bounds = np.hstack([low, low + random.uniform(1, 4, (200, 2))])
    bounds[17] = np.nan
    key = random.integers(0, 3, 200)
    flat = bounds * np.array([1, 0, 1, 0])  # in longitude alone
    assert beside(bounds, key).sum() == len(near_each_other(flat, key)[0])
    assert beside(bounds, key)[17] == 0


def test_a_crowd_in_a_file_is_refused_before_anything_is_drawn(monkeypatch):
    from geosand.areas.register import area_register
    from tests.stack_sites import various_sites

    site = various_sites()[0]
    monkeypatch.setattr("geosand.areas.crowds.MOST_PAIRS", 0)
    assert len(near_each_other(shapely.bounds(site.surfaces.geometry), site.surfaces.edition)[0])
    with pytest.raises(Refused, match="pairs of them can overlap"):
        area_register(site.surfaces)
