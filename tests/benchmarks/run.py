"""Times beside those of other libraries, measured in one run; prints them and asserts nothing.

    python tests/benchmarks/run.py --rounds 9 --out benchmarks.json

Whole processes: CPU time (user and system) of the child, the commands taking turns, so that a busy
machine slows all alike; the first round only warms up caches and does not count. Computations: CPU
time of calls in this process in the same manner, on seeded synthetic sites, beside what a notebook
does and beside the nearest physical limit, with how far the results differ.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
HEAVY = ("pandas", "geopandas", "folium", "scipy", "pyproj")

NOTEBOOK, NOTEBOOK_MAP = "a notebook's script", "the same with a map"
#: command, what it is held against, how much of it is aimed at
AIMS = (
    ("geosand --help", "python", None),
    ("geosand balance", "import numpy", None),
    ("geosand balance", "import geopandas", 0.45),
    ("geosand balance --json", "import geopandas", 0.45),
    ("geosand balance", NOTEBOOK, None),
    ("geosand account", "import folium", 1.3),
    ("geosand account", NOTEBOOK_MAP, None),
)


def commands(site: Path, folder: Path) -> dict[str, list[str]]:
    """The processes that are measured, by name."""
    geosand = [sys.executable, "-m", "geosand"]
    page, script = str(folder / "map.html"), str(Path(__file__).with_name("notebook_script.py"))
    notebook = [sys.executable, "-W", "ignore", script, str(site)]
    return {
        "python": [sys.executable, "-c", "pass"],
        "import numpy": [sys.executable, "-c", "import numpy"],
        "import geopandas": [sys.executable, "-c", "import geopandas"],
        "import folium": [sys.executable, "-c", "import folium"],
        NOTEBOOK: notebook,
        NOTEBOOK_MAP: [*notebook, str(folder / "notebook.html")],
        "geosand --help": [*geosand, "--help"],
        "geosand balance": [*geosand, "balance", str(site)],
        "geosand balance --json": [*geosand, "balance", str(site), "--json"],
        "geosand account": [*geosand, "account", str(site), "--out", page],
    }


def environment(folder: Path) -> dict[str, str]:
    """That of this process; all commands keep compiled modules in one new folder.

    Where writing them is switched off, a package that was installed with them would be held against
    one that is compiled anew each time.
    """
    kept = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    path = os.pathsep.join([str(ROOT), *filter(None, [kept.get("PYTHONPATH", "")])])
    return kept | {"PYTHONPYCACHEPREFIX": str(folder / "compiled"), "PYTHONPATH": path}


def cpu_ms(command: list[str], environ: dict[str, str]) -> float:
    """User and system time of one run of a command; SystemExit where it fails."""
    with subprocess.Popen(
        command, env=environ, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE
    ) as child:
        complaint = child.stderr.read().decode() if child.stderr else ""
        _, status, used = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode:
        raise SystemExit(f"{' '.join(command)} ended with {child.returncode}:\n{complaint}")
    return (used.ru_utime + used.ru_stime) * 1000


def processes(site: Path, rounds: int) -> dict[str, Any]:
    """Median CPU time of each command, and the ratios with their aims."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        environ, named = environment(folder), commands(site, folder)
        times: dict[str, list[float]] = {key: [] for key in named}
        for _ in range(rounds + 1):
            for key, command in named.items():
                times[key].append(cpu_ms(command, environ))
        loaded = loaded_by_help(environ)
    median = {key: statistics.median(column[1:]) for key, column in times.items()}
    ratios = [
        {"command": mine, "beside": peer, "ratio": median[mine] / median[peer], "at_most": aim}
        for mine, peer, aim in AIMS
    ]
    for row in ratios:
        row["reached"] = None if row["at_most"] is None else row["ratio"] <= row["at_most"]
    return {"cpu_ms": median, "ratios": ratios, "heavy_modules_loaded_by_help": loaded}


def loaded_by_help(environ: dict[str, str]) -> list[str]:
    """Which of the heavy packages ``geosand --help`` loads."""
    code = (
        "import sys, contextlib, io\nfrom geosand.cli import main\n"
        "with contextlib.redirect_stdout(io.StringIO()), contextlib.suppress(SystemExit):\n"
        "    main(['--help'])\n"
        f"print(*[name for name in {HEAVY!r} if name in sys.modules])"
    )
    found = subprocess.run(
        [sys.executable, "-c", code], env=environ, check=True, capture_output=True, text=True
    )
    return found.stdout.split()


def print_processes(result: dict[str, Any]) -> None:
    """One line a command, then one a ratio."""
    print("Whole processes, median CPU time of user and system")
    for name, ms in result["cpu_ms"].items():
        print(f"  {name:<26}{ms:8.0f} ms")
    for row in result["ratios"]:
        against = f"{row['command']} / {row['beside']}"
        print(
            f"  {against:<44}{row['ratio']:7.2f}{told('at most', row['at_most'], row['reached'])}"
        )
    heavy = ", ".join(result["heavy_modules_loaded_by_help"]) or "none"
    print(f"  heavy packages that --help loads: {heavy}   aim none")


def told(words: str, value: float | None, reached: bool | None) -> str:
    """The end of a line; nothing without an aim."""
    return "" if value is None else f"   aim {words} {value:g}: {'' if reached else 'NOT '}reached"


def judged(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Comparisons with whether what is aimed at is reached; None without an aim."""
    return [
        row
        | {"reached": None if row["at_least"] is None else bool(row["ratio"] >= row["at_least"])}
        for row in rows
    ]


def print_computations(rows: list[dict[str, Any]], title: str) -> None:
    """What is compared, then a line for each other way."""
    print(f"{title}; how many times as long the other way takes")
    before = None
    for row in rows:
        if row["what"] != before:
            print(f"  {row['what']}: {row['size']}; geosand {row['geosand_ms']:.2f} ms")
            before = row["what"]
        end = told("at least", row["at_least"], row["reached"])
        print(
            f"    beside {row['beside']}: {row['ratio']:.3g} times ({row['other_ms']:.3g} ms){end}"
        )
        if row["difference"]:
            print(f"      {row['difference']}{'' if row.get('agree', True) else ': NOT the same'}")


def main() -> None:
    """Measure, print, and write JSON where asked."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--site", type=Path, default=ROOT / "data" / "demo_site")
    parser.add_argument("--rounds", type=int, default=7, help="rounds that count [7]")
    parser.add_argument("--sites", type=int, default=10, help="synthetic sites [10]")
    parser.add_argument("--only", choices=["processes", "workloads", "areas"])
    parser.add_argument("--polygons", type=int, default=100_000, help="of the areas [100000]")
    parser.add_argument("--out", type=Path, help="write all figures here, as JSON")
    asked = parser.parse_args()
    figures: dict[str, Any] = {"python": sys.version.split()[0], "processors": os.cpu_count()}
    figures |= {"rounds": asked.rounds, "sites": asked.sites, "polygons": asked.polygons}
    if asked.only in (None, "processes"):
        figures["processes"] = processes(asked.site.resolve(), asked.rounds)
        print_processes(figures["processes"])
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    sys.path.insert(0, str(ROOT))
    if asked.only in (None, "areas"):
        from tests.benchmarks import areas

        figures["areas"] = judged(areas.comparisons(asked.polygons, asked.rounds))
        print_computations(figures["areas"], "Areas, median CPU time of rounds in turn")
    if asked.only in (None, "workloads"):
        from tests.benchmarks import workloads

        figures["workloads"] = judged(workloads.comparisons(asked.sites, asked.rounds))
        print_computations(figures["workloads"], "Workloads, median CPU time of rounds in turn")
    if asked.out:
        asked.out.write_text(json.dumps(figures, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
