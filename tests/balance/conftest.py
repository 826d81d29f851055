"""The test site with overrides, worked out."""

from __future__ import annotations

from collections.abc import Callable
from itertools import count
from pathlib import Path
from typing import Any

import pytest

from geosand.formats.site_folder import read_site
from geosand.results import Results, work_out
from tests.balance.even_greens import Run


@pytest.fixture
def run(site_folder: Callable[..., Path]) -> Run:
    """Writes the test site with overrides, reads it and works it out."""
    number = count()

    def results(**overrides: Any) -> Results:
        return work_out(read_site(site_folder(f"site{next(number)}", **overrides)))

    return results
