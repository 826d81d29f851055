"""Which catches of a dressing have one position, against a plain count of equal rows."""

from __future__ import annotations

from collections import Counter

import numpy as np

from geosand.site.catch_places import _met_twice


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
