"""What a stack of sites gives, row by row beside what each of them gives alone."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np

from geosand.columns import take
from geosand.errors import Finding
from geosand.estimates import Estimates
from geosand.results import Results, work_out
from geosand.site.stack import sand_names, stacked
from geosand.site.tables import Site
from tests.stack_sites import various_sites


@dataclass(frozen=True, kw_only=True)
class Beside:
    """Sites (all metric, as a stack is), the results of their stack, and those of each alone."""

    sites: list[Site]
    together: Results
    alone: list[Results]

    def names(self, member: int) -> dict[str, str]:
        """The stack's name of each of the sources that a site names its own way."""
        site, stack = self.sites[member], self.together.site
        loads = stack.of_dressing[stack.loads.dressing] == member
        names = dict(zip(site.loads.label.tolist(), stack.loads.label[loads].tolist(), strict=True))
        begin = sum(len(s.moistures.label) for s in self.sites[:member])
        end = begin + len(site.moistures.label)
        mine = stack.moistures.label[begin:end].tolist()
        names |= dict(zip(site.moistures.label.tolist(), mine, strict=True))
        sands = np.flatnonzero(stack.of_sand == member)
        own = sand_names(self.sites)[sands].tolist()
        number = stack.sands.name[sands].tolist()
        return names | {
            f"bulk density: {a}": f"bulk density: {b}" for a, b in zip(own, number, strict=True)
        }


@cache
def worked() -> Beside:
    """The various sites, one of them a second time without its loads, together and one by one."""
    sites = [replace(site, units="metric") for site in various_sites()]
    (one,) = [site for site in sites if site.name.startswith("Far north")]
    sites.append(replace(one, loads=take(one.loads, slice(0))))
    return Beside(
        sites=sites, together=work_out(stacked(sites)), alone=[work_out(site) for site in sites]
    )


def assert_same(found: Any, rows: Any, alone: Any, names: dict[str, str] | None = None) -> None:
    """``rows`` (mask or numbers) of a table or column of the stack are those of the site alone."""
    if isinstance(alone, Estimates):
        assert_same(found.value, rows, alone.value)
        known = {(names or {}).get(name, name): effect for name, effect in alone.effects.items()}
        for name in found.effects.keys() | known.keys():
            there = found.effects.get(name, np.zeros(len(found)))[rows]
            expected = known.get(name, np.zeros(len(alone)))
            measured = np.isfinite(alone.value)
            np.testing.assert_allclose(there[measured], expected[measured], rtol=1e-12, atol=1e-15)
            assert np.isnan(there[~measured] + found.value[rows][~measured]).all()
        assert_same(found.interval(), rows, alone.interval())
    elif hasattr(alone, "_fields"):
        for one, other in zip(found, alone, strict=True):
            assert_same(one, rows, other)
    elif isinstance(alone, list):
        numbers = np.arange(len(found))[rows].tolist()
        assert [found[k] for k in numbers] == alone
    elif alone.dtype.kind == "f":
        np.testing.assert_allclose(found[rows], alone, rtol=1e-12, atol=1e-15)
    else:
        np.testing.assert_array_equal(found[rows], alone)


def told(findings: tuple[Finding, ...], member: int = 0) -> list[tuple[str, str, str]]:
    """What the findings of one site say, in order."""
    return [(f.about, f.text, f.topic) for f in findings if f.member == member]
