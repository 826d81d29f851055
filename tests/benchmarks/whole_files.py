"""Reading sites and sets, and writing a map, beside what a notebook does for it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas
import pandas as pd
import shapely

from geosand.formats.result_files import write_result
from geosand.formats.site_folder import read_site
from geosand.mapping.fill import map_view
from geosand.mapping.page import map_page
from geosand.portfolio.folders import find_sites
from geosand.results import Results
from tests.benchmarks import notebook
from tests.benchmarks.case import Case
from tests.benchmarks.scale import decoded


def reading(folder: Path) -> Case:
    """A site folder with its checks, beside reading the files with none."""
    from pyarrow import csv

    def mine(_: int) -> Any:
        return read_site(folder)

    def unchecked(_: int) -> Any:
        tables = [pd.read_csv(folder / f"{n}.csv") for n in ("catches", "dressings", "loads")]
        return geopandas.read_file(folder / "surfaces.geojson"), tables

    def decode(_: int) -> Any:
        tables = [csv.read_csv(folder / f"{n}.csv") for n in ("catches", "dressings", "loads")]
        return shapely.from_geojson((folder / "surfaces.geojson").read_bytes()), tables

    site, (frame, (catches, *_)) = mine(0), unchecked(0)
    return Case(
        what="reading a site folder",
        size=f"{len(site.surfaces)} surfaces, {len(site.catches)} catches",
        mine=mine,
        others=(("geopandas and pandas, nothing checked", unchecked, 1.0, None),),
        limit=("decoding by GEOS and Arrow", decode, 1.0),
        difference="geosand checks every cell and outline",
        agree=site.surfaces.id.tolist() == frame.id.tolist() and len(site.catches) == len(catches),
    )


def reading_a_set(folder: Path, sites: int) -> Case:
    """All sites of a set of Parquet files with their checks, beside reading the files with none."""
    source = find_sites(folder, folder / "out")
    keys = source.keys()

    def mine(_: int) -> Any:
        return [one.site for one in source.read(keys, {})]

    def unchecked(_: int) -> Any:
        return notebook.read_set(folder)

    read, (frame, *_) = mine(0), unchecked(0)
    return Case(
        what="reading a set of files",
        size=f"{sites} sites, GeoParquet and Parquet",
        mine=mine,
        others=(("geopandas.read_parquet and pandas, nothing checked", unchecked, 1.0, 1.7),),
        limit=("decoding by Arrow and GEOS", lambda _: decoded(folder), 1.0),
        difference="geosand checks every cell and outline, and makes each site's tables",
        agree=sum(len(site.surfaces) for site in read if site is not None) == len(frame),
    )


def a_map(result: Results, folder: Path) -> Case:
    """The page, written to a file."""
    ours, other = folder / "ours.html", folder / "other.html"

    def mine(_: int) -> Any:
        write_result(ours, map_page(map_view(result, "metric")).encode())

    def plain(_: int) -> Any:
        other.write_text(notebook.plain_map(result), encoding="utf-8")

    def write(_: int) -> Any:
        write_result(ours, page)

    mine(0)
    plain(0)
    page = ours.read_bytes()
    return Case(
        what="map written to a file",
        size="1 site, 12 dressings",
        mine=mine,
        others=(("folium, one GeoJson layer a dressing", plain, 1.0, None),),
        limit=("writing the page that is there", write, 1.0),
        difference=f"{len(page) / 1e3:.0f} kB against {other.stat().st_size / 1e3:.0f} kB; that of"
        " geosand is whole or not there at any moment",
    )
