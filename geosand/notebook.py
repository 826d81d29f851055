"""Results as a notebook likes them: tables as frames, the map as what a cell shows.

``geosand.work_out`` is this module's: it returns the results with these ways to look at them.
Columns have the names and units of the JSON documents.
"""

from __future__ import annotations

from dataclasses import fields
from html import escape
from typing import TYPE_CHECKING, Any

import numpy as np

from geosand.columns import frozen
from geosand.results import Results
from geosand.results import work_out as plain_work_out
from geosand.site.tables import Site

if TYPE_CHECKING:
    from geopandas import GeoDataFrame
    from pandas import DataFrame

    from geosand.reports.documents import Document
    from geosand.reports.words import Units

WGS84 = "OGC:CRS84"
CELL_HEIGHT = 680  #: pixels of a map in a notebook


@frozen
class SiteResults(Results):
    """Everything that was worked out for one site, to look at in a notebook."""

    def to_frame(self) -> GeoDataFrame:
        """One row a surface in force: area, depth so far against its target, state, its ground.

        Surfaces that are neither dressed nor have a target have no depth.
        """
        import geopandas

        from geosand.reports.area_rows import area_rows
        from geosand.reports.season_document import season_document

        season = [r for r in season_document(self)["surfaces"] if "around" not in r]
        depths = {row["id"]: _flat(row) for row in season}
        rows = [{**row, **depths.get(row["id"], {})} for row in area_rows(self.site, self.areas)]
        columns = list(dict.fromkeys(key for row in rows for key in row)) or ["id"]
        owned = self.areas.owned[self.site.in_force()]
        return geopandas.GeoDataFrame(_frame(rows, columns), geometry=owned, crs=WGS84)

    def balance_frame(self) -> DataFrame:
        """One row a dressing: spread, on surfaces, overthrow with its interval and verdict."""
        from geosand.reports.balance_document import balance_document

        dressings = balance_document(self)["dressings"]
        rows = [_flat(dressing) for dressing in dressings]
        return _frame(rows, list(rows[0]) if rows else ["dressing", "date"])

    def surfaces_frame(self) -> DataFrame:
        """One row a surface of a dressing: catches, rate, depth and mass with their u."""
        from geosand.reports.balance_document import balance_document

        rows = [
            {"dressing": d["dressing"], "date": d["date"], **_flat(row)}
            for d in balance_document(self)["dressings"]
            for row in d["surfaces"]
        ]
        return _frame(rows, list(rows[0]) if rows else ["dressing", "date", "id"])

    def rings_frame(self) -> DataFrame:
        """One row a collar or surrounds: the sand built up there, if all overthrow landed there."""
        from geosand.reports.season_document import season_document

        names = ["id", "around", "kind", "depth_mm", "u_depth_mm", "mass_kg"]
        rows = [r for r in season_document(self)["surfaces"] if "around" in r]
        return _frame([{name: r[name] for name in names} for r in rows], names)

    def catches_frame(self) -> GeoDataFrame:
        """One row a catch, where it lay: its rate, and how far it is off its surface's."""
        import geopandas
        import shapely

        from geosand.reports.catch_rows import catch_rows

        rows, catches = catch_rows(self), self.site.catches
        places = shapely.points(catches.lon_degree, catches.lat_degree)
        columns = list(rows[0]) if rows else ["catch", "dressing", "date"]
        return geopandas.GeoDataFrame(_frame(rows, columns), geometry=places, crs=WGS84)

    def map_page(self, units: Units | None = None) -> str:
        """The map as one HTML page, as ``geosand map`` writes it."""
        from geosand.mapping.fill import map_view
        from geosand.mapping.page import map_page

        return map_page(map_view(self, self._units(units)))

    def report_page(self, units: Units | None = None) -> str:
        """The printable report as one HTML page, as ``geosand account`` writes it."""
        from geosand.reports.printable.html_writer import report_page
        from geosand.reports.printable.season_report import season_report

        return report_page(season_report(self, self._units(units)))

    def workbook(self, units: Units | None = None) -> bytes:
        """All ledgers as a workbook (.xlsx), to be written to a file."""
        from geosand.reports.workbook import results_workbook

        return results_workbook(self, self._units(units))

    def _repr_html_(self) -> str:
        """What a notebook shows of the results: the map, shut in a frame of its own."""
        page = escape(self.map_page())
        name = escape(f"Map of {self.site.name}")
        return (
            f'<iframe title="{name}" sandbox="allow-scripts" width="100%"'
            f' height="{CELL_HEIGHT}" style="border:0" srcdoc="{page}"></iframe>'
        )

    def _units(self, units: Units | None) -> Units:
        return "us" if (units or self.site.units) == "us" else "metric"


def work_out(site: Site, *, as_of: np.datetime64 | str | None = None) -> SiteResults:
    """Areas, rates, balance and ledger of a site, up to a day (such as "2026-06-30").

    Raises Refused for catches that can not be, and for a day before the season.
    """
    day = np.datetime64(as_of, "D") if isinstance(as_of, str) else as_of
    found = plain_work_out(site, as_of=day)
    return SiteResults(**{field.name: getattr(found, field.name) for field in fields(found)})


def _flat(document: Document, head: str = "") -> Document:
    """The figures of nested parts side by side, ``overthrow_mass_kg``; lists are left out."""
    flat: Document = {}
    for key, value in document.items():
        if isinstance(value, dict):
            flat.update(_flat(value, f"{head}{key}_"))
        elif not isinstance(value, list):
            flat[f"{head}{key}"] = value
    return flat


def _frame(rows: list[Document], columns: list[str]) -> DataFrame:
    """Rows as a frame: null as nan, dates as dates, yes and no as such also beside null."""
    import pandas

    frame = pandas.DataFrame(rows, columns=columns)
    if "date" in frame:
        frame["date"] = pandas.to_datetime(frame["date"])
    types = {c: _type_of(frame[c]) for c in frame if frame[c].dtype == object}
    return frame.astype({c: kind for c, kind in types.items() if kind})


def _type_of(column: Any) -> str:
    """Type of a column that holds null as well; "" where it is one of texts."""
    held = {type(value) for value in column.dropna()}
    return "boolean" if held == {bool} else "float" if held <= {float} else ""
