"""Fixtures that every folder of tests may use."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.sites import write_site


@pytest.fixture
def site_folder(tmp_path: Path) -> Callable[..., Path]:
    """Writes the valid test site with overrides into a folder of its own and returns it."""

    def make(name: str = "site", **overrides: Any) -> Path:
        return write_site(tmp_path / name, **overrides)

    return make


@pytest.fixture
def site(site_folder: Callable[..., Path]) -> Any:
    """The valid test site, read."""
    from geosand.formats.site_folder import read_site

    return read_site(site_folder())
