"""Degree-hours of a season counted again: how long it takes, and in what memory.

A million readings of one probe, and two million of two, 120 days at 10 s, from
memory: what the log itself takes to be read is not in it.
"""

import random
import sys
import time
import tracemalloc
from array import array
from bisect import bisect_left
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from controller.core.plan import Plan, ProbePlan, TrayPlan
from controller.core.state import fresh_state
from controller.core.units import DAY_MS
from controller.ports import Columns, RunHeader
from controller.review.degree_hours import recount
from controller.review.recounted import Span

START_MS = 1_800_000_000_000
EVERY_MS = 10_000
DAYS = 120
READINGS = DAYS * DAY_MS // EVERY_MS


class Season:
    """A season log in memory."""

    def __init__(self) -> None:
        """Let two probes wander about 20 °C."""
        one, two = (ProbePlan(name=name) for name in ("a", "b"))
        trays = (
            TrayPlan(name="one probe", probes=(one,)),
            TrayPlan(name="two probes", probes=(one, two)),
        )
        self.plan = Plan(bench="invented", trays=trays)
        self.series = {"a": _series(1), "b": _series(2)}

    def runs(self) -> list[RunHeader]:
        """Return its one run."""
        header = RunHeader(
            run="run-1",
            origin="simulate",
            started_run_ms=0,
            started_utc_ms=START_MS,
            plan=self.plan,
            state=fresh_state(self.plan),
            timezone="Europe/Paris",
            decisions_version=0,
            versions={},
        )
        return [header]

    def first_order(self, _run: str) -> int:
        """Return what the order of its readings is at least."""
        return 0

    def samples(self, probe: str, start: int, end: int, *, untaken: bool) -> Columns:
        """Return a piece of it."""
        found = self.series[probe]
        cut = slice(bisect_left(found.utc_ms, start), bisect_left(found.utc_ms, end))
        columns = (found.order, found.run_ms, found.utc_ms, found.temp_mc)
        return Columns(*(column[cut] for column in columns))


def _series(seed: int) -> Columns:
    wander = random.Random(seed)  # noqa: S311
    temps, temp_mc = array("q"), 20_000
    for _ in range(READINGS):
        temp_mc += wander.randint(-63, 63)
        temps.append(temp_mc)
    run_ms = array("q", (seed + n * EVERY_MS for n in range(READINGS)))
    return Columns(
        array("q", (2 * n + seed for n in range(READINGS))),
        run_ms,
        array("q", (START_MS + at_ms for at_ms in run_ms)),
        temps,
    )


def main() -> int:
    """Measure and print; return 0."""
    season = Season()
    span = Span(newest_utc_ms=START_MS + DAYS * DAY_MS)
    for tray in season.plan.trays:
        began = time.perf_counter()
        counted = recount(season, tray.name, span=span)
        took_s = time.perf_counter() - began
        per_s = counted.readings / took_s
        print(f"{tray.name}: {counted.readings:,} readings in {took_s:.2f} s", end="")
        print(f", {per_s:,.0f}/s")
    tracemalloc.start()
    recount(season, "one probe", span=span)
    print(f"most memory at once: {tracemalloc.get_traced_memory()[1] / 2**20:.0f} MiB")
    return 0


if __name__ == "__main__":
    sys.exit(main())
