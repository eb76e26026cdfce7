"""The invented bench of the shown season: simulated, then asked through the API.

What may live here: the log and the true root zones, and the API over the log.
"""

import asyncio
import json
from dataclasses import dataclass, field, replace

from api.app import create_app
from api.record_book import Records
from controller.adapters.clocks import utc_ms_of
from controller.adapters.season_log import (
    DirectRecords,
    DirectSeasonLog,
    SeasonLogReader,
)
from controller.adapters.settings import load
from controller.cli.asking import _in_process, told
from controller.cli.beginning import run_header
from controller.cli.local_time import LocalTime
from controller.cli.log_bench import LogBench
from controller.cli.paths import config_dir
from controller.cli.simulate import FIRST_DAY, FIRST_MINUTE, START_C
from controller.cli.virtual_time import simulated
from controller.cli.world_words import world_options
from controller.core.plan import all_trays
from controller.core.state import fresh_state
from controller.core.units import DAY_MS, HOUR_MS
from sim.world import World, WorldOptions

ZONE = "UTC"
BEGIN_MS = utc_ms_of(FIRST_DAY, FIRST_MINUTE, ZONE)
SCAN_MS = 60_000
"""Not the bench's 5 s: a season in a minute."""

WATERS = (
    "N1, N2, N3: every 3 days 08:00 3 mm 14 °C",
    "S1, S2: every 2 days 08:00 3 mm 16 °C",
)
"""What the grower waters, and then tells of."""


@dataclass
class TrueHours:
    """A season log that also notes how warm each root zone truly was.

    Attributes:
        log: Where scans go.
        world: The simulated bench.
        hours: Of each tray, by hour of UTC since 1970: sum [°C] and count.
    """

    log: DirectSeasonLog
    world: World
    hours: dict[str, dict[int, list[float]]] = field(default_factory=dict)

    def begin(self, header):
        """Begin a run."""
        self.log.begin(header)

    def append(self, scan, decisions, state):
        """Take a scan."""
        self.log.append(scan, decisions, state)
        for tray, known in self.hours.items():
            of = known.setdefault(scan.utc_ms // HOUR_MS, [0.0, 0.0])
            of[0] += self.world.truth(tray)
            of[1] += 1

    def means(self):
        """Return the true mean of each hour [°C], by tray."""
        return {
            tray: {hour: total / n for hour, (total, n) in known.items()}
            for tray, known in self.hours.items()
        }


def simulate(path, days, seed):
    """Simulate the demo bench into a log; return the true hourly means by tray."""
    plan = replace(load(config_dir() / "bench.toml", {}).plan, scan_ms=SCAN_MS)
    common = WorldOptions(
        seed=seed, start_minute_of_day=FIRST_MINUTE, start_temp_c=START_C
    )
    world = World(plan, world_options("plain", WATERS, common))
    state = fresh_state(plan)
    started = LocalTime(ZONE).instant(0, BEGIN_MS)
    header = run_header("simulate", plan, state, started, ZONE)
    log = DirectSeasonLog(path)
    watched = TrueHours(log, world, {tray.name: {} for tray in all_trays(plan)})
    try:
        simulated(header, world, watched, round(days * DAY_MS))
    finally:
        log.close()
    return watched.means()


class _AtRest(LogBench):
    """The bench as its log left it, on a clock that the script sets."""

    at_ms = BEGIN_MS

    def now(self):
        """Return the moment that the season has come to."""
        return replace(super().now(), utc_ms=self.at_ms, clock_ok=True)


class Api:
    """The real API over a log at rest; what is told goes through its routes."""

    def __init__(self, log):
        """Open a season log, alone."""
        reader = SeasonLogReader(log)
        self._log, self._keeper = log, DirectRecords(log)
        self._bench = _AtRest(log, reader)
        records = Records(self._keeper, lambda: reader)
        self._app = create_app(self._bench, lambda: reader, self._bench, records)
        self._loop = asyncio.Runner()

    def __enter__(self):
        """Be used in a with statement."""
        return self

    def __exit__(self, *_):
        """Give the log up."""
        self._loop.close()
        self._keeper.close()

    def at(self, utc_ms):
        """Let it be that moment."""
        self._bench.at_ms = utc_ms

    def ask(self, method, path, body=None):
        """Return what the API answers; raise AskError when it refuses."""
        text = b"" if body is None else json.dumps(body).encode()
        request = _in_process(self._app, method, path, text, "application/json")
        return told(str(self._log), self._loop.run(request))
