"""``geosand many`` on portfolios of several sizes: time, memory, slope; each run is a process.

    python tests/benchmarks/scale.py --sites 1 100 1000 10000 --workers 2

The portfolio is a set of Parquet files, made anew for each size and not counted. CPU time is that
of the whole run, with the start of Python and of its libraries; memory is the largest of any one
process. Beside it stand

- the decode: all columns of the set read with pyarrow, its polygons made by shapely, on one core,
  a row group at a time, and nothing else; without the start of the libraries;
- a notebook: what it takes for a few of the sites, scaled up to all of them. It does not read the
  files, and is given the rates of the catches and how far sand was thrown;
- a notebook that also works out how far sand was thrown and keeps the season's depths, as the
  portfolio's tables need.

The slope is that of the logarithms of sites and CPU time from 100 sites up, the time of a run on
one site, which is nearly all start, taken off.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
BLAS = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1", "MKL_NUM_THREADS": "1"}
LAUNCHER = """
import json, os, sys, time
begun = time.perf_counter()
quiet = [(os.POSIX_SPAWN_OPEN, 1, os.devnull, os.O_WRONLY, 0)]
child = os.posix_spawn(sys.argv[1], sys.argv[1:], os.environ, file_actions=quiet)
_, status, used = os.wait4(child, 0)
print(json.dumps({
    "status": os.waitstatus_to_exitcode(status),
    "wall_s": time.perf_counter() - begun,
    "cpu_s": used.ru_utime + used.ru_stime,
    "peak_mb": used.ru_maxrss / 1024,
}))
"""
NOTEBOOK_SITES = 3
AIMS = {"notebook": 400.0, "decode": 3.5, "peak_mb": 750.0, "exponent": 1.0}


def measured(sites: int, workers: int, notebooks_s: tuple[float, float]) -> dict[str, Any]:
    """One portfolio of this size: made, decoded, worked out, and what that took."""
    from tests.benchmarks.portfolio_generator import write_set

    with tempfile.TemporaryDirectory() as name:
        folder = write_set(Path(name) / "set", sites)
        decode = statistics.median(decoded(folder) for _ in range(3 if sites <= 1000 else 1))
        out = Path(name) / "out"
        asked = ["many", str(folder), "--out", str(out), "--workers", str(workers), "--json"]
        used = spent([sys.executable, "-m", "geosand", *asked])
        if used["status"]:
            raise SystemExit(f"the run on {sites} sites failed")
        size = sum(path.stat().st_size for path in out.glob("*.parquet"))
    cpu = used["cpu_s"]
    notebook_s, season_s = (one * sites for one in notebooks_s)
    return {
        "sites": sites,
        "workers": workers,
        "wall_s": used["wall_s"],
        "cpu_s": cpu,
        "cpu_ms_per_site": cpu / sites * 1000,
        "decode_s": decode,
        "decode_ms_per_site": decode / sites * 1000,
        "times_decode": cpu / decode,
        "notebook_s": notebook_s,
        "notebook_over_cpu": notebook_s / cpu,
        "season_notebook_s": season_s,
        "season_notebook_over_cpu": season_s / cpu,
        "peak_mb": used["peak_mb"],
        "parquet_mb": size / 1e6,
    }


def spent(command: list[str]) -> dict[str, float]:
    """Time and memory of a process and those that it starts; nothing that it prints is kept.

    A small process starts it, as a new process is told the peak of the one that it comes from.
    """
    told = subprocess.run(
        [sys.executable, "-c", LAUNCHER, *command],
        env=os.environ | BLAS | {"PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE,
        check=True,
    )
    return json.loads(told.stdout)


def decoded(folder: Path) -> float:
    """CPU seconds of reading every column of a set, on one core, polygons to shapely."""
    import pyarrow.parquet as pq

    begun = time.process_time()
    for path in sorted(folder.glob("*.parquet")):
        with pq.ParquetFile(path) as file:
            for group in range(file.num_row_groups):
                outlines(file.read_row_group(group, use_threads=False))
    return time.process_time() - begun


def outlines(table: Any) -> Any:
    """The polygons of a row group, encoded natively or not, by shapely alone; None without."""
    import pyarrow as pa
    import shapely

    if "geometry" not in table.column_names:
        return None
    column = table["geometry"].combine_chunks()
    if pa.types.is_binary(column.type):
        return shapely.from_wkb(column.to_numpy(zero_copy_only=False))
    corners = np.column_stack([axis.to_numpy() for axis in column.values.values.flatten()])
    ends, rings = column.values.offsets.to_numpy(), column.offsets.to_numpy()
    return shapely.from_ragged_array(shapely.GeometryType.POLYGON, corners, (ends, rings))


def notebook_seconds() -> tuple[float, float]:
    """CPU seconds of both notebooks for one site: medians of a few."""
    from geosand.portfolio.folders import find_sites
    from geosand.results import work_out
    from tests.benchmarks import notebook
    from tests.benchmarks.portfolio_generator import write_set

    ways = (notebook.whole_account, notebook.season_account)
    taken: tuple[list[float], list[float]] = ([], [])
    with tempfile.TemporaryDirectory() as name:
        source = find_sites(write_set(Path(name) / "set", NOTEBOOK_SITES), Path(name) / "out")
        sites = [read.site for read in source.read(source.keys(), {})]
        for number, site in enumerate([sites[0], *sites]):
            assert site is not None
            result = work_out(site)
            for way, seconds in zip(ways, taken, strict=True):
                begun = time.process_time()
                way(site, result)
                if number:  # the first one also starts its libraries
                    seconds.append(time.process_time() - begun)
    return statistics.median(taken[0]), statistics.median(taken[1])


def slope(rows: list[dict[str, Any]]) -> float | None:
    """Exponent of CPU time in the number of sites, from 100 sites up; None from one size."""
    start = min((row["cpu_s"] for row in rows if row["sites"] == 1), default=0.0)
    known = [row for row in rows if row["sites"] >= 100]
    if len(known) < 2:
        return None
    sites, cpu = np.log([[row["sites"], row["cpu_s"] - start] for row in known]).T
    return float(np.polyfit(sites, cpu, 1)[0])


def print_row(row: dict[str, Any]) -> None:
    """One size, its figures below the headings."""
    print(
        f"{row['sites']:>7}{row['wall_s']:>9.1f}{row['cpu_s']:>9.1f}"
        f"{row['cpu_ms_per_site']:>9.2f}{row['decode_ms_per_site']:>12.2f}"
        f"{row['times_decode']:>9.1f}{row['notebook_s']:>12.0f}"
        f"{row['notebook_over_cpu']:>9.0f}{row['peak_mb']:>9.0f}",
        flush=True,
    )


def print_end(
    rows: list[dict[str, Any]], exponent: float | None, notebooks_s: tuple[float, float]
) -> None:
    """The largest size held against the aims."""
    last = max(rows, key=lambda row: row["sites"])
    thin_s, season_s = notebooks_s
    print(f"notebook: {thin_s:.2f} s a site, measured on {NOTEBOOK_SITES}, times the sites;")
    print(f"with the throw worked out and the season kept: {season_s:.2f} s")
    print(f"{last['sites']} sites:")
    beside = last["notebook_over_cpu"]
    print(f"  notebook / geosand {beside:.0f}   aim at least {AIMS['notebook']:g}")
    print(f"  with throw and season / geosand {last['season_notebook_over_cpu']:.0f}")
    print(f"  geosand / decode {last['times_decode']:.1f}   aim at most {AIMS['decode']:g}")
    print(f"  memory {last['peak_mb']:.0f} MB   aim at most {AIMS['peak_mb']:g}")
    if exponent is not None:
        print(f"  exponent {exponent:.2f}   aim {AIMS['exponent']:.1f} ± 0.1")


def main() -> None:
    """Measure, print, and write JSON where asked."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sites", type=int, nargs="+", default=[1, 100, 1000])
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--out", type=Path)
    asked = parser.parse_args()
    os.environ |= {name: os.environ.get(name, value) for name, value in BLAS.items()}
    sys.path.insert(0, str(ROOT))
    notebooks_s = notebook_seconds()
    heads = (("sites", 7), ("wall s", 9), ("CPU s", 9), ("ms/site", 9), ("decode ms", 12))
    heads += (("times", 9), ("notebook s", 12), ("times", 9), ("peak MB", 9))
    print("".join(f"{head:>{width}}" for head, width in heads))
    rows = []
    for sites in asked.sites:
        rows.append(measured(sites, asked.workers, notebooks_s))
        print_row(rows[-1])
    exponent = slope(rows)
    print_end(rows, exponent, notebooks_s)
    if asked.out:
        figures = {
            "processors": os.cpu_count(),
            "rows": rows,
            "exponent": exponent,
            "notebook_s_per_site": notebooks_s[0],
            "season_notebook_s_per_site": notebooks_s[1],
            "notebook_sites": NOTEBOOK_SITES,
            "aims": AIMS,
        }
        asked.out.write_text(json.dumps(figures, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
