"""Block kriging of a green beside kriging at points by another library."""

from __future__ import annotations

from typing import Any

import numpy as np

from geosand.columns import take
from geosand.rates.kriging import Lattices, Variogram, lattice_kriging, systems
from tests.benchmarks.case import Case


def kriging() -> Case:
    """Means of surfaces from four catches each, and their variances."""
    from pykrige.ok import OrdinaryKriging

    rng = np.random.default_rng(3)
    surfaces, dressings, catches, side = 18, 12, 4, 12
    blocks, share = surfaces * dressings, 20  # of the blocks PyKrige does so many in a round
    places = rng.uniform(0, 25, (blocks, catches, 2))
    values = rng.normal(1, 0.1, (blocks, catches))
    line = np.tile(np.linspace(1, 24, side), (surfaces, 1))
    ground = Lattices(line, line, np.full((surfaces, side, side), side**-2))
    of_block = np.tile(np.arange(surfaces), dressings)
    grid = [column.ravel() for column in np.meshgrid(line[0], line[0])]
    model = Variogram(model="exponential", nugget=0.002, sill=0.008, range_m=12.0)

    def mine(_: int) -> Any:
        within = ground.within(model)[of_block]
        return lattice_kriging(places, values, take(ground, of_block), model, within=within)

    def theirs(_: int) -> Any:
        found = []
        for k in range(share):
            known = OrdinaryKriging(
                *places[k].T,
                values[k],
                variogram_model="exponential",
                variogram_parameters={"psill": 0.008, "range": 36.0, "nugget": 0.002},
            )
            found.append([column.mean() for column in known.execute("points", *grid)])
        return np.array(found)

    def solve(_: int) -> Any:
        return np.linalg.solve(matrices, right)

    matrices = systems(places, model)
    right = rng.normal(size=(blocks, catches + 1, 1))
    ours, other = mine(0), theirs(0)
    off = np.abs(ours.mean[:share] - other[:, 0]).max()
    times = other[:, 1] / ours.variance[:share]
    return Case(
        what="block-kriged means and variances",
        size=f"{surfaces} surfaces of {side * side} points, {dressings} dressings",
        mine=mine,
        others=(("PyKrige at the points of each, averaged", theirs, blocks / share, 60.0),),
        limit=("solving the systems", solve, 1.0),
        difference=f"means up to {off:.1g}; PyKrige knows no blocks: the mean of its variances is"
        f" {times.min():.0f} to {times.max():.0f} times that of the block",
        agree=bool(off < 1e-9 and times.min() > 1),
    )
