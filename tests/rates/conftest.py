"""Fixtures of these tests."""

from __future__ import annotations

from collections.abc import Callable
from itertools import count
from pathlib import Path
from typing import Any

import pytest

from geosand.areas.register import area_register
from geosand.formats.site_folder import read_site
from geosand.rates.surface_rates import Rates, site_rates

Run = Callable[..., Rates]


@pytest.fixture
def run(site_folder: Callable[..., Path]) -> Run:
    number = count()

    def rates(**overrides: Any) -> Rates:
        site = read_site(site_folder(f"site{next(number)}", **overrides))
        return site_rates(site, area_register(site.surfaces))

    return rates
