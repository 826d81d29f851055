"""The valid test site with a second dressing, worked out."""

from __future__ import annotations

import pytest

from geosand.formats.site_folder import read_site
from geosand.results import work_out


@pytest.fixture
def worked(site_folder):
    """Writes a site with overrides, reads it and works it out as of a day."""

    def make(name="site", *, as_of=None, **overrides):
        import numpy as np

        day = None if as_of is None else np.datetime64(as_of)
        return work_out(read_site(site_folder(name, **overrides)), as_of=day)

    return make
