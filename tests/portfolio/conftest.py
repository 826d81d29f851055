"""A small portfolio, made once."""

from __future__ import annotations

import json
import re
import shutil
from dataclasses import dataclass

import pytest

from geosand.site.tables import Site
from tests.benchmarks.portfolio_generator import BINARY, write_folders, write_set

SITES = 5


@pytest.fixture(scope="session")
def folders(tmp_path_factory):
    return write_folders(tmp_path_factory.mktemp("portfolio") / "north", SITES)


@pytest.fixture(scope="session")
def site_set(tmp_path_factory):
    root = tmp_path_factory.mktemp("portfolio") / "set"
    return write_set(root, SITES, chunk=2, encoding=BINARY)


@pytest.fixture(scope="session")
def whole(folders, tmp_path_factory):
    """Results of the plainest run: this process, all sites in one chunk."""
    out = tmp_path_factory.mktemp("results")
    return out, run_many(folders, out)


def run_many(root, out, *, as_of=None, maps=False, **settings):
    from geosand.portfolio.account import account_portfolio
    from geosand.portfolio.chunk import Options
    from geosand.portfolio.folders import find_sites

    options = Options(as_of=as_of, maps=maps)
    return account_portfolio(find_sites(root, out), out, options, **settings)


@dataclass(frozen=True)
class Given:
    """A source of sites that are read already."""

    sites: dict[str, Site]

    def keys(self):
        return list(self.sites)

    def as_they_stand(self):
        return dict.fromkeys(reversed(self.sites), 0)

    def changed(self):
        return []

    def not_read(self):
        return []

    def read(self, keys, known):
        from geosand.portfolio.site_read import SiteRead

        for key in keys:
            site = None if known.get(key) == f"as {key}" else self.sites[key]
            yield SiteRead(key=key, fingerprint=f"as {key}", site=site)


def run_sites(sites, out, **settings):
    """The same for sites that are read already, by key."""
    from geosand.portfolio.account import account_portfolio
    from geosand.portfolio.chunk import Options

    return account_portfolio(Given(sites), out, Options(), **settings)


EVIL = '</script><img src=x onerror="window.hit=1"><script>window.hit=1</script>'


@pytest.fixture(scope="module")
def evil(folders, tmp_path_factory):
    """A run whose names would run code if they were put into a page as they are, with one map."""
    root = tmp_path_factory.mktemp("evil") / "sites"
    for k in (1, 2, 3):
        shutil.copytree(folders / f"site-0000{k}", root / f"site-0000{k}")
    toml = root / "site-00002" / "site.toml"
    name = json.dumps(EVIL)
    toml.write_text(re.sub(r"(?m)^name = .*$", lambda _: f"name = {name}", toml.read_text()))
    dressings = root / "site-00002" / "dressings.csv"
    dressings.write_text(re.sub("(twin|belt|single) d[a-z]+", "<b>x</b>", dressings.read_text()))
    (root / "site-00003" / "loads.csv").write_text("<script>window.hit=1</script>\n1\n")
    out = root.parent / "out"
    return out, run_many(root, out, maps=True)


@pytest.fixture(scope="module")
def unmeasured(tmp_path_factory):
    """Two sites in July whose two greens had sand without trays; that with a target has a tee."""
    from tests.sites import SURFACES, TOML, write_site

    root = tmp_path_factory.mktemp("unmeasured") / "sites"
    write_site(root / "behind", catches=None)
    write_site(root / "unknown", toml=TOML.replace("tee", "lawn"), catches=None)
    assert [one["properties"]["kind"] for one in SURFACES] == ["green", "green", "tee"]
    return root, run_many(root, root.parent / "out", as_of="2026-07-16")
