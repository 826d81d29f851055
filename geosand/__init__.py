"""Sand accounting on turf: surfaces, catches and loads to areas, rates, balance, season and map.

In a notebook ``geosand.work_out(geosand.read_site("my_site"))`` shows the map of a site, and has
its tables as frames.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from geosand.errors import Refused
    from geosand.formats.site_folder import read_site
    from geosand.notebook import work_out

__version__ = "0.19.0"

__all__ = ["Refused", "__version__", "read_site", "work_out"]

_HOMES = {
    "read_site": "geosand.formats.site_folder",
    "work_out": "geosand.notebook",
    "Refused": "geosand.errors",
}


if not TYPE_CHECKING:  # a type checker would take any name for one of ours

    def __getattr__(name: str) -> Any:
        """Public names are loaded at first use, so that ``import geosand`` costs nothing."""
        if name in _HOMES:
            from importlib import import_module

            return getattr(import_module(_HOMES[name]), name)
        raise AttributeError(f"module 'geosand' has no attribute {name!r}")


def __dir__() -> list[str]:
    """The public names too, so that a notebook completes them before their first use."""
    return sorted({*globals(), *__all__})
