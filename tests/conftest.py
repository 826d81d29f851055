"""Fixtures that every folder of tests may use."""

from __future__ import annotations

import os
import shutil
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.sites import DEMO, write_site


@pytest.fixture(autouse=True)
def unforeseen_errors_are_raised(monkeypatch: pytest.MonkeyPatch) -> None:
    """What a verb did not foresee fails a test instead of ending with a text for its user."""
    monkeypatch.setenv("GEOSAND_TRACEBACK", "1")


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


@pytest.fixture(scope="session")
def demo() -> Any:
    """The demo site, worked out once for all that only look at it."""
    from geosand.formats.site_folder import read_site
    from geosand.results import work_out

    return work_out(read_site(DEMO))


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """A running Chromium; tests skip where there is none, unless one is required."""
    path = os.environ.get("GEOSAND_CHROMIUM") or shutil.which("chromium")
    if not path:
        reason = "no Chromium: none on the path as 'chromium', none named by GEOSAND_CHROMIUM"
        if os.environ.get("GEOSAND_REQUIRE_BROWSER") == "1":
            pytest.fail(reason)
        pytest.skip(reason)
    from playwright.sync_api import sync_playwright

    arguments = ["--no-sandbox", "--headless=new", "--disable-gpu"]
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=arguments)
        yield browser
        browser.close()


def pytest_terminal_summary(terminalreporter: Any) -> None:
    """How many spoiled inputs and injected faults the passed tests tried, by what came of them."""
    tried = Counter(
        (kind, outcome)
        for report in terminalreporter.stats.get("passed", [])
        for kind, outcome in report.user_properties
        if kind in ("bad input", "fault injected")
    )
    for (kind, outcome), count in sorted(tried.items()):
        terminalreporter.write_line(f"{kind}, {outcome}: {count}")
    if tried:
        terminalreporter.write_line("in none of them was a record lost or changed")
