"""What the documents are made of."""

from types import SimpleNamespace

import numpy as np

from geosand.estimates import Estimates
from geosand.reports.documents import budgets, columns_of, rows_of


def test_what_is_left_of_a_source_that_cancels_is_no_source():
    rate = Estimates(value=np.array([0.5]), effects={"moisture": np.array([0.1 + 0.2])})
    density = Estimates(
        value=np.array([0.1]),
        effects={"moisture": np.array([0.3]), "bulk density": np.array([0.02])},
    )
    (rows,) = budgets(rate.minus(density))
    assert [(row["source"], row["share"]) for row in rows] == [("bulk density", 1.0)]


def test_columns_are_told_in_the_unit_that_their_key_ends_in():
    """8 km/h is 2.2222… m/s; what is not finite is null; whole numbers stay whole."""
    table = SimpleNamespace(
        low_m=np.array([0.00125, np.inf]),
        cv=np.array([0.125, np.nan]),
        speed_m_s=np.array([20 / 9, 0.0]),
        catches=np.array([3, 0]),
        mass_kg=np.array([12.5, -0.5]),
    )
    keys = ("low_mm", "cv_percent", "speed_kmh", "catches", "mass_kg")
    days = np.array(["2026-04-02", "2026-04-30"], dtype="datetime64[D]")
    first, second = rows_of({"date": days, "own": [True, None], **columns_of(table, *keys)})
    assert first == {
        "date": "2026-04-02",
        "own": True,
        "low_mm": 1.25,
        "cv_percent": 12.5,
        "speed_kmh": 8.0,
        "catches": 3,
        "mass_kg": 12.5,
    }
    assert [second[key] for key in keys] == [None, None, 0.0, 0, -0.5]
    assert rows_of(columns_of(table, *keys, rows=np.array([1])))[0]["mass_kg"] == -0.5
