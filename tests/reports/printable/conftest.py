"""Reports of the demo site and of a large one with hostile names, made once."""

from __future__ import annotations

import pytest

from geosand.formats.site_folder import read_site
from geosand.reports.printable.html_writer import report_page
from geosand.reports.printable.season_report import season_report
from geosand.results import work_out
from tests.reports.printable.large_site import large_site


@pytest.fixture(scope="session")
def large(tmp_path_factory):
    return work_out(read_site(large_site(tmp_path_factory.mktemp("large") / "site")))


@pytest.fixture(scope="session")
def demo_report(demo):
    return season_report(demo, "metric")


@pytest.fixture(scope="session")
def large_report(large):
    return season_report(large, "us")


@pytest.fixture(scope="session")
def large_page(large_report):
    return report_page(large_report)
