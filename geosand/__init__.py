"""Sand accounting on turf: surfaces, catches and loads to areas, rates, balance, season and map."""

from __future__ import annotations

from typing import Any

__version__ = "0.7.0"

__all__ = ["Refused", "__version__", "read_site", "work_out"]

_HOMES = {
    "read_site": "geosand.formats.site_folder",
    "work_out": "geosand.notebook",
    "Refused": "geosand.errors",
}


def __getattr__(name: str) -> Any:
    """Public names are loaded at first use, so that ``import geosand`` costs nothing."""
    if name in _HOMES:
        from importlib import import_module

        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'geosand' has no attribute {name!r}")
