"""Survey-controller text, written and read."""

import pytest

from geosand.formats.boundaries import read_boundaries
from tests.formats.boundaries.conftest import UTM


@pytest.fixture
def read_rows(tmp_path):
    def reading(lines, name="walk.txt", **wishes):
        text = lines if isinstance(lines, str) else "\n".join(lines)
        (tmp_path / name).write_text(text, encoding="utf-8")
        return read_boundaries(tmp_path / name, **{"crs": UTM, **wishes})

    return reading
