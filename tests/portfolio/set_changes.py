"""Sets with one table changed, and the refusal of a set."""

from __future__ import annotations

import shutil

import pytest

from geosand.errors import Refused
from geosand.portfolio.folders import find_sites

pq = pytest.importorskip("pyarrow.parquet")


def changed(site_set, tmp_path, name, change):
    """A copy of the set with one table changed."""
    root = shutil.copytree(site_set, tmp_path / "set")
    path = root / f"{name}.parquet"
    pq.write_table(change(pq.read_table(path)), path)
    return root


def refusal(root):
    with pytest.raises(Refused) as told:
        find_sites(root, root / "out")
    return str(told.value)
