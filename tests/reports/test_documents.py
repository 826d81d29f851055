"""What the documents are made of."""

import numpy as np

from geosand.estimates import Estimates
from geosand.reports.documents import budgets


def test_what_is_left_of_a_source_that_cancels_is_no_source():
    rate = Estimates(value=np.array([0.5]), effects={"moisture": np.array([0.1 + 0.2])})
    density = Estimates(
        value=np.array([0.1]),
        effects={"moisture": np.array([0.3]), "bulk density": np.array([0.02])},
    )
    (rows,) = budgets(rate.minus(density))
    assert [(row["source"], row["share"]) for row in rows] == [("bulk density", 1.0)]
