"""Fixtures of these tests."""

from __future__ import annotations

from collections.abc import Callable
from itertools import count
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from geosand.formats.site_folder import read_site
from geosand.results import Results, work_out
from tests.sites import catch

HEAD = "dressing,date,surfaces,planned_depth_mm"
TWO = f"{HEAD}\nD1,2026-04-10,green,0.6\nD2,2026-06-10,g1,0.8\n"
LOADS = "load,dressing,count,unit_mass_kg\nL1,D1,56,25\n"
#: 0.93 kg/m² in every tray, 0.6 mm; in D2 1.24 kg/m² on g1, 0.8 mm
D1 = [catch(k, gross_g=143) for k in range(1, 7)]
D2 = [catch(k, dressing="D2", gross_g=174) for k in (1, 2, 3)]
Run = Callable[..., Results]


@pytest.fixture
def run(site_folder: Callable[..., Path]) -> Run:
    number = count()

    def results(as_of: str | None = None, **overrides: Any) -> Results:
        made = {"dressings": TWO, "catches": [*D1, *D2], "loads": LOADS, **overrides}
        site = read_site(site_folder(f"site{next(number)}", **made))
        return work_out(site, as_of=None if as_of is None else np.datetime64(as_of))

    return results
