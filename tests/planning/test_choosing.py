"""The order in which a plan serves its surfaces."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from geosand.formats.site_folder import read_site
from geosand.planning.choosing import chosen_surfaces, in_order_of_need
from geosand.results import work_out


def test_greens_first_then_by_need_and_the_unmeasured_last(site_folder):
    results = work_out(read_site(site_folder()))
    site, ledger = results.site, results.ledger
    row = chosen_surfaces(site, ledger, [])
    ids = site.surfaces.id

    def served(**short):
        need = np.array([short[str(i)] for i in ids[ledger.row]])
        return ids[in_order_of_need(site, replace(ledger, shortfall_m=need), row)].tolist()

    assert served(g1=1.0, g2=2.0, t1=9.0) == ["g2", "g1", "t1"]
    assert served(g1=1.0, g2=-2.0, t1=9.0) == ["g1", "g2", "t1"]
    assert served(g1=np.nan, g2=-2.0, t1=9.0) == ["g2", "g1", "t1"]
    # equals stay in the order of the file
    assert served(g1=1.0, g2=1.0, t1=1.0) == ["g1", "g2", "t1"]
