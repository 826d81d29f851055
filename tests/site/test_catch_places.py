"""Positions of catches that are alike, coarse or far off; equal ones against a plain count."""

from __future__ import annotations

from collections import Counter
from dataclasses import fields
from typing import Any

import numpy as np

from geosand.columns import Floats, Ints
from geosand.errors import Faults, Finding
from geosand.site.catch_places import _met_twice, beside_surfaces, tell_coarse
from geosand.site.cells import RawTable
from geosand.site.outlines import Outlines
from geosand.site.reading import Reader
from geosand.site.tables import Catches


def test_rows_that_are_alike_are_all_among_those_compared() -> None:
    rng = np.random.default_rng(3)
    rows = np.stack([rng.integers(0, 20, 3000), *rng.integers(0, 14, (2, 3000))])
    dressing, lon, lat = rows[0], rows[1] / 7, rows[2] / 3
    lon[::5] = rng.normal(size=600)  # nobody else's
    lon[lon == 0] = np.where(np.arange((lon == 0).sum()) % 2, 0.0, -0.0)  # one place all the same
    places = list(zip(dressing.tolist(), lon.tolist(), lat.tolist(), strict=True))
    count = Counter(places)  # 0.0 and -0.0 are one key
    alike = [count[place] > 1 for place in places]
    found = _met_twice(lon, lat, dressing)
    assert 500 < sum(alike) < 2400
    assert found[alike].all()
    assert found.sum() - sum(alike) <= 1  # two that differ are mixed alike once in 10**12
    assert not _met_twice(lon[:1], lat[:1], dressing[:1]).any()
    assert not _met_twice(lon[:0], lat[:0], dressing[:0]).size


def placed(*sites: list[tuple[float, float]]) -> list[tuple[int, str]]:
    """What is told of the positions of some sites' catches, known to 1 cm: site and text."""
    findings: list[Finding] = []
    member = np.repeat(np.arange(len(sites)), [len(site) for site in sites])
    places = np.array([place for site in sites for place in site]).reshape(-1, 2)
    table = RawTable(
        file="catches.csv", rows=list(range(len(member))), member=member, members=len(sites)
    )
    reader = Reader(table, Faults(), findings)
    tell_coarse(reader, places[:, 0].copy(), places[:, 1].copy(), np.full(len(member), 0.01))
    return [(finding.member, finding.text) for finding in findings]


def test_positions_are_coarse_where_all_of_a_site_are() -> None:
    """Whichever of them stands first: 8.5, 47.25 may be a fine position that ends so by chance."""
    fine = [(8.512345, 47.123456), (8.512347, 47.123451), (8.512349, 47.123452)]
    coarse = [(8.512, 47.123), (8.513, 47.124), (8.514, 47.125)]
    for order in (1, -1):
        assert placed(fine, [(8.5, 47.25), *fine][::order], coarse[:2], []) == []
        ((member, text),) = placed(fine, [(8.5, 47.25), *coarse][::order], fine)
        assert member == 1
        assert text.startswith("all positions end at decimal 3 of a degree, steps of 111 m")
    nowhere = (float("nan"), float("nan"))
    assert [member for member, _ in placed([nowhere, *coarse], [*fine, nowhere])] == [0]
    assert placed([]) == []


def test_a_far_catch_is_told_among_sites_without_one() -> None:
    """0.1° is the limit; at 179.99° the next degree is at -179.99°, and no catch is far there."""
    boxes = np.array([(8.0, 47.0, 8.1, 47.1), (179.9, -17.1, 180.1, -17.0), (8.0, 47.0, 8.1, 47.1)])
    outlines = Outlines(geometry=np.full(3, None), bounds=boxes, solid=np.ones(3, dtype=np.bool_))
    near = [(8.05, 47.0), (180.05, -17.0), (8.0, 47.1)]
    for site, (lon, lat), told in (
        (0, (7.91, 47.0), False),
        (0, (7.89, 47.0), True),
        (1, (-179.95, -17.0), False),
        (2, (8.05, 47.21), True),
        (2, (8.05, 46.91), False),
    ):
        places = np.array([*near, (lon, lat)])
        dressing = np.array([0, 1, 2, site])
        order = np.argsort(dressing, kind="stable")
        faults = Faults()
        catches = _catches(places[order], dressing[order])
        found = beside_surfaces(
            catches, np.arange(3), outlines, np.arange(3), "catches.csv", faults
        )
        assert sorted(faults.members) == [site] * told
        west, _, east, _ = boxes[found.dressing].T
        away = np.maximum(west - found.lon_degree, found.lon_degree - east)
        assert (away <= 0.12).all()
        assert found.lat_degree.tolist() == places[order, 1].tolist()


def _catches(places: Floats, dressing: Ints) -> Catches:
    """Catches of which only dressing and place are told."""
    size = len(dressing)
    columns: dict[str, Any] = {field.name: np.zeros(size) for field in fields(Catches)}
    columns["id"] = np.array([f"c{k}" for k in range(size)])
    columns |= {"dressing": dressing, "lon_degree": places[:, 0].copy()}
    return Catches(**columns | {"lat_degree": places[:, 1].copy()})
