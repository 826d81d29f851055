"""``geosand many`` on portfolios of several sizes: time, memory, slope; each run is a process.

    python tests/benchmarks/scale.py --sites 1 100 1000 10000 --workers 2

The portfolio is a set of Parquet files, made anew for each size and not counted. Memory is the
largest of any one process. The slope is that of the logarithms of CPU time and sites from 100 up.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
BLAS = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1", "MKL_NUM_THREADS": "1"}


def measured(sites: int, workers: int) -> dict[str, Any]:
    """One portfolio of this size: made, worked out, and what that took."""
    from tests.benchmarks.portfolio_generator import write_set

    with tempfile.TemporaryDirectory() as name:
        folder = write_set(Path(name) / "set", sites)
        out = Path(name) / "out"
        asked = ["many", str(folder), "--out", str(out), "--workers", str(workers), "--json"]
        begun = time.perf_counter()
        child = os.posix_spawn(
            sys.executable,
            [sys.executable, "-m", "geosand", *asked],
            os.environ | BLAS | {"PYTHONPATH": str(ROOT)},
            file_actions=[(os.POSIX_SPAWN_OPEN, 1, os.devnull, os.O_WRONLY, 0)],
        )
        _, status, used = os.wait4(child, 0)
        wall = time.perf_counter() - begun
        if os.waitstatus_to_exitcode(status):
            raise SystemExit(f"the run on {sites} sites failed")
        size = sum(path.stat().st_size for path in out.glob("*.parquet"))
    cpu = used.ru_utime + used.ru_stime
    return {
        "sites": sites,
        "workers": workers,
        "wall_s": wall,
        "cpu_s": cpu,
        "cpu_ms_per_site": cpu / sites * 1000,
        "peak_mb": used.ru_maxrss / 1024,
        "parquet_mb": size / 1e6,
    }


def slope(rows: list[dict[str, Any]]) -> float | None:
    """Exponent of CPU time in the number of sites, from 100 sites up; None from one size."""
    known = [row for row in rows if row["sites"] >= 100]
    if len(known) < 2:
        return None
    sites, cpu = (np.log([row[k] for row in known]) for k in ("sites", "cpu_s"))
    return float(np.polyfit(sites, cpu, 1)[0])


def main() -> None:
    """Measure, print, and write JSON where asked."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sites", type=int, nargs="+", default=[1, 100, 1000])
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--out", type=Path)
    asked = parser.parse_args()
    sys.path.insert(0, str(ROOT))
    print(f"{'sites':>7}{'wall s':>9}{'CPU s':>9}{'ms/site':>9}{'peak MB':>9}")
    rows = []
    for sites in asked.sites:
        row = measured(sites, asked.workers)
        rows.append(row)
        print(
            f"{sites:>7}{row['wall_s']:>9.1f}{row['cpu_s']:>9.1f}"
            f"{row['cpu_ms_per_site']:>9.1f}{row['peak_mb']:>9.0f}",
            flush=True,
        )
    exponent = slope(rows)
    if exponent is not None:
        print(f"exponent {exponent:.2f}   aim 1.0 ± 0.1; memory aim at most 750 MB")
    if asked.out:
        figures = {"processors": os.cpu_count(), "rows": rows, "exponent": exponent}
        asked.out.write_text(json.dumps(figures, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
