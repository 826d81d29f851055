"""All that is worked out for sites, beside the same in notebooks."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import shapely

from geosand.formats.site_folder import read_site
from geosand.results import work_out
from geosand.site.stack import stacked
from geosand.site.tables import Site
from tests.benchmarks import notebook
from tests.benchmarks.case import Case


def one_site(folder: Path) -> Case:
    """All that is worked out for a site that is already read."""
    return _worked_out([read_site(folder)], "a whole site without reading", None)


def all_sites(folders: list[Path]) -> Case:
    """The same for many sites in one call, as in a portfolio."""
    sites = [read_site(folder) for folder in folders]
    return _worked_out(sites, "whole sites in one call, without reading", 400.0)


def _worked_out(sites: list[Site], what: str, aim: float | None) -> Case:
    site = sites[0]
    given = work_out(site)  # the notebooks start from rates, and the thin one from reaches

    def mine(_: int) -> Any:
        return work_out(stacked(sites) if len(sites) > 1 else site)

    def by_hand(_: int) -> Any:
        return notebook.whole_account(site, given)

    def season_by_hand(_: int) -> Any:
        return notebook.season_account(site, given)

    shapes = np.concatenate([s.surfaces.geometry[s.dressed.surface] for s in sites])

    def buffers(_: int) -> Any:
        return shapely.buffer(shapes, 1e-5), shapely.buffer(shapes, 5e-5)

    thin = "a notebook: the ways above one after the other, reaches given, no season"
    full = "a notebook that also solves the reach and keeps the season"
    depths, ledger = season_by_hand(0)[-1].set_index("id"), given.ledger
    theirs = depths.loc[site.surfaces.id[ledger.row]]
    off = np.abs(ledger.depth.value - theirs.depth_m.to_numpy()).max()
    u = np.median(theirs.u_depth_m.to_numpy() / ledger.depth.u())
    return Case(
        what=what,
        size=f"{len(sites)} of {len(site.surfaces)} surfaces, {len(site.dressings)} dressings,"
        f" {len(site.catches)} catches",
        mine=mine,
        others=(
            (thin, by_hand, float(len(sites)), aim),
            (full, season_by_hand, float(len(sites)), None),
        ),
        limit=("two buffers a dressed surface", buffers, 1.0),
        difference=f"depths up to {off * 1000:.1g} mm, their u {100 * u:.0f} % of geosand's, which"
        " knows that surfaces keep their deviations",
        agree=bool(off < 1e-9),
    )
