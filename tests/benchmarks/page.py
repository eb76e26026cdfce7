"""The page with a whole season behind it: weight, first paint, and a season drawn.

A log of 120 days is made first (invented/season.py), which takes some minutes;
--days 10 is done sooner, and --log FILE takes a log that is there already. The
server runs in a thread of this process, Chromium on the same machine, so that they
share its cores. A figure is the middle one of several loads, with the slowest.
"""

import argparse
import sys
import tempfile
import time
from dataclasses import dataclass, replace
from pathlib import Path
from statistics import median

sys.path.insert(0, str(Path(__file__).parents[2]))

from playwright.sync_api import Page, sync_playwright

from api.page_files import page_files
from controller.adapters.season_log import DirectSeasonLog, SeasonLogReader
from controller.core.units import HOUR_MS, Millis
from controller.ports import Instant
from tests.api.conftest import SCAN_MS
from tests.benchmarks.invented.season import write
from tests.page.served import LiveBench, Served

CHROMIUM = "/usr/bin/chromium"
LOADS = 5

_FIRST_PAINT = """() => performance.getEntriesByType('paint')
    .find((one) => one.name === 'first-contentful-paint')?.startTime"""
_SENT = """() => [...performance.getEntriesByType('navigation'),
        ...performance.getEntriesByType('resource')]
    .filter((one) => !one.name.includes('/v1/'))
    .reduce((sum, one) => sum + one.transferSize, 0)"""
_DRAWN = """() => performance.getEntriesByName('strip chart').at(-1)?.duration"""


@dataclass
class SeasonBench(LiveBench):
    """A bench that lives on from the end of a log."""

    end_ms: int = 0

    def now(self) -> Instant:
        instant = super().now()
        return replace(instant, utc_ms=self.end_ms + instant.run_ms - self.base_ms)


def season_bench(path: Path) -> tuple[SeasonBench, SeasonLogReader]:
    """Return a bench with the plan of a log's last run, at its end, and its reader."""
    reader = SeasonLogReader(path)
    header = reader.runs()[-1]
    _, state = reader.last_state(header.run)
    end_ms = header.started_utc_ms + state.run_ms - header.started_run_ms
    plan = replace(header.plan, scan_ms=Millis(1_000))
    names = {
        probe.name for mat in plan.mats for tray in mat.trays for probe in tray.probes
    }
    bench = SeasonBench(
        plan=plan,
        temps=dict.fromkeys(names, 21.0),
        end_ms=end_ms,
        state=state,
        base_ms=state.run_ms + SCAN_MS,
    )
    return bench, reader


def seconds(page: Page, tray: str) -> dict[str, float]:
    """Load the page anew, and look at a season of a tray; return what took how long."""
    page.wait_for_selector(f"#plan [data-tray={tray}]")
    found = {"paint_s": page.evaluate(_FIRST_PAINT) / 1000}
    found["sent_b"] = page.evaluate(_SENT)
    page.click(f"#plan [data-tray={tray}]")
    page.wait_for_function(_DRAWN)
    page.wait_for_timeout(1_500)  # until the length of the season is known
    page.evaluate("() => performance.clearMeasures('strip chart')")
    page.click("[data-do=chart][data-span=season]")
    page.wait_for_function(_DRAWN)
    found["drawn_ms"] = page.evaluate(_DRAWN)
    return found


def measured(served: Served, tray: str) -> list[dict[str, float]]:
    """Return the figures of some loads, each by a browser that knows nothing yet."""
    found = []
    with sync_playwright() as started:
        browser = started.chromium.launch(
            executable_path=CHROMIUM, args=["--no-sandbox"]
        )
        for _ in range(LOADS):
            context = browser.new_context(viewport={"width": 1280, "height": 900})
            page = context.new_page()
            page.goto(served.url)
            found.append(seconds(page, tray))
            context.close()
        browser.close()
    return found


def told(name: str, values: list[float], unit: str, aim: float) -> None:
    """Print a figure beside what is aimed at."""
    middle, worst = median(values), max(values)
    mark = "" if middle <= aim else "   *"
    print(f"{name:34} {middle:8.3g} {unit:3} (slowest {worst:.3g}), aim {aim:g}{mark}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--days", type=int, default=120)
    parser.add_argument("--log", type=Path, help="a season log that is there already")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        path = args.log or made(Path(folder), args.days)
        bench, reader = season_bench(path)
        served = Served(bench=bench, reader=reader)
        tray = bench.plan.mats[0].trays[0].name
        try:
            begun = time.perf_counter()
            figures = measured(served, tray)
            print(f"{LOADS} loads in {time.perf_counter() - begun:.0f} s")
        finally:
            served.stop()
    files = page_files().values()
    told("files, packed", [sum(len(file.packed) for file in files) / 1000], "kB", 200)
    told(
        "page sent, headers included", [f["sent_b"] / 1000 for f in figures], "kB", 200
    )
    told("first contentful paint", [f["paint_s"] for f in figures], "s", 1)
    told(
        "season of a tray asked and drawn", [f["drawn_ms"] for f in figures], "ms", 300
    )


def made(folder: Path, days: int) -> Path:
    """Make an invented season."""
    path = folder / "season.db"
    log = DirectSeasonLog(path, fold_after_ms=6 * HOUR_MS)
    write(log, days)
    log.close()
    return path


if __name__ == "__main__":
    main()
