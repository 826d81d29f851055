"""Where the sites of a portfolio are: a set of files with a column site, or folders beneath one."""

from __future__ import annotations

from pathlib import Path

from geosand.errors import Fault, Refused
from geosand.portfolio.folders import site_folders
from geosand.portfolio.site_read import Source
from geosand.portfolio.site_set import find_set


def find_sites(root: Path, outside: Path) -> Source:
    """The sites in ``root``; ``outside`` (results) is not searched.

    Raises Refused where there is none.
    """
    sites = find_set(root.resolve())  # other processes have their own working folder
    if sites is not None:
        return sites
    if not root.is_dir():
        raise Refused(
            Fault(file=str(root), found="there is no such folder", remedy="name a folder")
        )
    folders = site_folders(root, outside)
    if folders is None:
        raise Refused(
            Fault(
                file=str(root),
                found="no site is here",
                allowed="folders with a site.toml, or surfaces.parquet (or .gpkg) with a column"
                " site and its companions",
                remedy="name the folder that holds the sites",
            )
        )
    return folders
