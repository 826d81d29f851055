"""Orders of simulated sites against what the next dressing really took."""

import numpy as np

from geosand.formats.site_folder import read_site
from geosand.planning.choosing import Request, chosen_surfaces
from geosand.planning.dressing import next_dressing
from geosand.results import work_out
from tests.simulation import simulate


def test_the_order_is_enough_about_as_often_as_it_says(tmp_path):
    """Three dressings are known, the fourth is ordered for with 90 %.

    Truth from outside the model: the crew is off by up to 20 % either way, 12 % goes over the edge.
    (Over 200 sites 0.96, 0.92 and 0.90 had enough after one, three and six dressings.)
    """
    enough, spare = [], []
    for seed in range(24):
        folder = tmp_path / str(seed)
        truth = simulate(
            folder, seed, surfaces=6, dressings=4, caught=4, catches_each=3, overthrow=0.12
        )
        site = read_site(folder)
        day = site.dressings.date[-1] - np.timedelta64(1, "D")
        one = work_out(site, as_of=day)
        request = Request(
            row=chosen_surfaces(site, one.ledger, ["green"]),
            sand=0,
            spreader="",
            depth_m=0.00065,  # as the simulated crew plans
            assurance=0.9,
        )
        plan = next_dressing(one.balance, one.ledger, request)
        if (plan.rates.depth_m == 0).any():  # an over-dressed green gets none
            continue
        took = (truth.on_surfaces_kg[-1] + truth.overthrow_kg[-1]) * 1.03
        enough.append(plan.order.need_assured_kg >= took)
        spare.append(plan.order.need_assured_kg / plan.order.need.value[0] - 1)
    assert len(enough) > 12
    assert np.mean(enough) >= 0.75
    # and it is not bought with an order beyond all measure
    assert np.mean(spare) < 0.30
