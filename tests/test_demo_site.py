"""The demo site's files are what its script makes of the dressings that were planned."""

from __future__ import annotations

import re
import runpy
import shutil
from pathlib import Path

import numpy as np

from tests.sites import DEMO

GIVEN = ("make_demo_site.py", "dressings.csv")
MADE = ("surfaces.geojson", "catches.geojson", "loads.csv", "deliveries.csv", "truth.json")
NUMBER = r"-?\d+\.?\d*(?:e-?\d+)?"


def test_the_script_makes_the_files_beside_it(tmp_path: Path) -> None:
    """All numbers too, but for what the last digit of a sine may do."""
    for name in GIVEN:
        shutil.copy(DEMO / name, tmp_path)
    runpy.run_path(str(tmp_path / "make_demo_site.py"), run_name="__main__")
    for name in MADE:
        made, kept = (folder.joinpath(name).read_text("utf-8") for folder in (tmp_path, DEMO))
        assert re.sub(NUMBER, "#", made) == re.sub(NUMBER, "#", kept), name
        numbers = (np.array(re.findall(NUMBER, text), dtype=float) for text in (made, kept))
        np.testing.assert_allclose(*numbers, rtol=1e-9, atol=1e-8, err_msg=name)
    assert {path.name for path in tmp_path.iterdir()} == {*GIVEN, *MADE}
