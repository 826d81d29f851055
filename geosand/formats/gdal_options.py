"""Options of GDAL for a while."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def gdal_options(**options: str) -> Iterator[None]:
    """Sets options of GDAL, and sets them back."""
    import pyogrio

    before = {name: pyogrio.get_gdal_config_option(name) for name in options}
    pyogrio.set_gdal_config_options(options)
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options(before)
