"""How long the map takes to answer a reader, from Chromium's own trace; prints, asserts nothing.

    python tests/benchmarks/map_views.py --rounds 7

Each answer is the time from the press to the next picture on the screen: the browser's event timing
(W3C Event Timing, https://www.w3.org/TR/event-timing/), read from a trace. The browser rounds it to
8 ms. The pages are made up; nothing in them was measured. Needs a Chromium on the path, or one
named by GEOSAND_CHROMIUM.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import statistics
import sys
import tempfile
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
AIM_MS = 100
#: copies of the made-up land, dressings
SIZES = ((1, 12), (10, 12))
VIEWS = ("Shortfall", "Overthrow", "Catches", "Areas", "Depth")


def pressed_ms(trace: bytes) -> list[float]:
    """Milliseconds of every click in the trace, from the press to the picture after it."""
    begun: dict[tuple[str, str], float] = {}
    found = []
    for event in json.loads(trace)["traceEvents"]:
        if event.get("name") != "EventTiming":
            continue
        key = (event.get("id2", {}).get("local", event.get("id", "")), event["cat"])
        if event["ph"] == "b" and event["args"].get("data", {}).get("type") == "click":
            begun[key] = event["ts"]
        elif event["ph"] == "e" and key in begun:
            found.append((event["ts"] - begun.pop(key)) / 1000)
    return found


def answers(browser: Any, file: Path, rounds: int) -> dict[str, float]:
    """Median milliseconds of each change on one page."""
    page = browser.new_page(viewport={"width": 1280, "height": 800})
    page.goto(file.as_uri())
    page.wait_for_selector("body[data-ready]")
    start = page.evaluate("performance.getEntriesByType('navigation')[0].domContentLoadedEventEnd")
    times: dict[str, list[float]] = {"page ready": [start]}
    for name in (*(f"view: {view}" for view in VIEWS), "units: US", "units: Metric", "row"):
        times[name] = []
    for turn in range(rounds + 1):
        for name, column in times.items():
            if name == "page ready":
                continue
            kind, _, value = name.partition(": ")
            if kind == "row":
                target = page.locator("tbody tr:visible th button").nth(turn)
            else:
                target = page.get_by_role("radio", name=value, exact=True)
            target.scroll_into_view_if_needed()
            browser.start_tracing(page=page, categories=["devtools.timeline"])
            target.click()
            page.wait_for_timeout(250)
            column.extend(pressed_ms(browser.stop_tracing())[:1])
            if kind == "row":
                page.keyboard.press("Escape")
                page.get_by_role("button", name="Whole site").click()
                page.wait_for_timeout(250)
    page.close()
    return {k: statistics.median(v[1:] or v) for k, v in times.items() if v}


def measure(rounds: int) -> list[dict[str, Any]]:
    """One entry a size of site."""
    from playwright.sync_api import sync_playwright

    from geosand.mapping.page import map_page
    from tests.mapping.sample_view import sample_view

    path = os.environ.get("GEOSAND_CHROMIUM") or shutil.which("chromium")
    if not path:
        raise SystemExit("no Chromium: none on the path as 'chromium', none by GEOSAND_CHROMIUM")
    rows = []
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        arguments = ["--no-sandbox", "--headless=new", "--disable-gpu"]
        browser = playwright.chromium.launch(executable_path=path, args=arguments)
        for copies, dressings in SIZES:
            view = sample_view(copies=copies, dressings=dressings)
            file = Path(folder) / f"map{copies}.html"
            file.write_text(map_page(view), encoding="utf-8")
            rows.append(
                {
                    "surfaces": len(view.surfaces),
                    "dressings": dressings,
                    "catches": len(view.catches),
                    "page_kb": file.stat().st_size / 1000,
                    "median_ms": answers(browser, file, rounds),
                }
            )
        browser.close()
    return rows


def main() -> None:
    """Measure, print, and write JSON where asked."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rounds", type=int, default=5, help="rounds that count [5]")
    parser.add_argument("--out", type=Path, help="write all figures here, as JSON")
    asked = parser.parse_args()
    sys.path.insert(0, str(ROOT))
    rows = measure(asked.rounds)
    print("Map page in Chromium: median from a press to the next picture (rounded to 8 ms)")
    for row in rows:
        print(
            f"  {row['surfaces']} surfaces, {row['dressings']} dressings, {row['catches']} catches:"
            f" page of {row['page_kb']:.0f} kB"
        )
        for name, ms in row["median_ms"].items():
            aim = f"   aim below {AIM_MS}" if name.startswith("view") else ""
            print(f"    {name:<18}{ms:6.0f} ms{aim}")
    if asked.out:
        asked.out.write_text(json.dumps(rows, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
