"""Whatever the wall clock does, heat, hours and patience go by the run clock."""

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from controller.adapters.clocks import ManualClock, utc_ms_of
from controller.adapters.season_log import SeasonLogReader, SeasonLogWriter
from controller.cli import main
from controller.core.decisions import AlarmKind, Cause
from controller.core.step import DECISIONS_VERSION
from controller.core.units import DAY_MS
from controller.daemon import Daemon
from tests.daemon.test_daemon import Stage, a_plan

PARIS = "Europe/Paris"
TEMPS_C = (16.0, 16.5, 17.0, 19.0, 20.5, 21.0, 21.5, 21.3, 21.0, 20.5, 20.0, 20.5) * 2
"""Twenty-four scans that switch on, off and on again."""


class Clocked(Stage):
    """A daemon with minimum times, a clock of the test's choice and a real log."""

    def __init__(self, path, clock):
        plan = a_plan()
        north = replace(plan.mats[0], min_on_ms=15_000, min_off_ms=20_000)
        super().__init__(replace(plan, mats=(north, *plan.mats[1:])))
        self.clock, self.path = clock, path
        parts = self.daemon._parts
        header = replace(
            parts.header,
            started_utc_ms=clock.now().utc_ms,
            decisions_version=DECISIONS_VERSION,
        )
        log = SeasonLogWriter(path)
        self.daemon = Daemon(replace(parts, clock=clock, header=header, log=log))

    async def run_through(self, *temps_c, jumps_ms=None):
        """Scan by scan; before some of them the wall clock is set."""
        for n, temp_c in enumerate(temps_c):
            self.clock.step_wall_clock((jumps_ms or {}).get(n, 0))
            await self.next_scan(temp_c)
        return self

    def outcome(self):
        """Return all that must not depend on the wall clock."""
        state = self.announced[-1].state
        return (
            self.sent(),
            state.accounts,
            {n: (p.good_at_ms, p.good_mc) for n, p in state.probes.items()},
            {n: (m.mode, m.relay) for n, m in state.mats.items()},
        )


def a_clock(utc_ms=1_800_000_000_000, zone="UTC"):
    return ManualClock(zone, run_ms=1_000_000, utc_ms=utc_ms)


async def undisturbed(tmp_path):
    async with Clocked(tmp_path / "plain.db", a_clock()) as stage:
        await stage.run_through(*TEMPS_C)
    return stage.outcome()


JUMPS = {
    "an hour on": {4: 3_600_000},
    "an hour back": {4: -3_600_000},
    "ten years on, then back": {3: 3_650 * DAY_MS, 9: -3_650 * DAY_MS},
    "before 1970": {2: -21_000 * DAY_MS},
    "to and fro with every scan": {n: (-1) ** n * 7_777_777 for n in range(24)},
}


@pytest.mark.parametrize("jumps", JUMPS)
async def test_a_wall_clock_that_is_set_changes_nothing(tmp_path, jumps):
    """Degree-hours, minimum times, ages of readings and every command."""
    path = tmp_path / "season.db"
    async with Clocked(path, a_clock()) as stage:
        await stage.run_through(*TEMPS_C, jumps_ms=JUMPS[jumps])
    expected = await undisturbed(tmp_path)
    assert stage.outcome() == expected
    words = [line.split()[0] for line in expected[0]]
    assert "onoff" in "".join(words)
    assert "offon" in "".join(words[words.index("on") :])
    assert sum(a.heat_mk_ms for a in expected[1].values()) > 0
    assert main(["audit", str(path)]) == 0


async def test_a_reading_does_not_grow_stale_when_the_wall_clock_leaps(tmp_path):
    """Nor does it stay fresh when the wall clock is set back."""
    async with Clocked(tmp_path / "a.db", a_clock()) as stage:
        await stage.run_through(*[16.0] * 5)
        stage.clock.step_wall_clock(DAY_MS)
        await stage.next_scan()
        assert stage.sent()[-1].startswith("on")
        for _ in range(30):
            stage.clock.step_wall_clock(-5_000)  # it stands still
            await stage.next_scan()
        assert stage.sent()[-1].startswith("off")
        causes = [a.decisions.commands[0].cause for a in stage.announced]
        assert causes[-1] is Cause.NO_DRIVING_READING
        kinds = {alarm.kind for alarm in stage.announced[-1].state.alarms}
        assert kinds & {AlarmKind.NO_DRIVING_READING, AlarmKind.PROBE_LOST}


@pytest.mark.parametrize(
    ("day", "minutes"),
    [
        # The last Sundays of March and October, at 01:00 UTC: Directive
        # 2000/84/EC, articles 2 and 3.
        (date(2027, 3, 28), (119, 180)),
        (date(2027, 10, 31), (179, 120)),
    ],
)
async def test_summer_time_begins_and_ends_and_changes_nothing(tmp_path, day, minutes):
    path = tmp_path / "season.db"
    at = datetime(day.year, day.month, day.day, 1, tzinfo=UTC)
    utc_ms = int(at.timestamp() * 1000) - 60_000
    async with Clocked(path, a_clock(utc_ms, PARIS)) as stage:
        await stage.run_through(*TEMPS_C)
    assert stage.outcome() == await undisturbed(tmp_path)
    scans = [r.scan for r in SeasonLogReader(path).scans("r1")]
    seen = list(dict.fromkeys(scan.local_minute for scan in scans))
    assert seen[:2] == list(minutes)
    assert {scan.local_day for scan in scans} == {(day - date(1970, 1, 1)).days}
    assert main(["audit", str(path)]) == 0
    assert utc_ms_of(day, 0, PARIS) < utc_ms


async def test_a_board_without_a_clock_heats_and_counts_and_is_set_right_later(
    tmp_path,
):
    """It starts in 1970, and a time server finds it after a while."""
    path = tmp_path / "season.db"
    clock = a_clock(utc_ms=0, zone=PARIS)
    clock.clock_ok = False
    async with Clocked(path, clock) as stage:
        await stage.run_through(*TEMPS_C[:10])
        assert not stage.announced[-1].scan.clock_ok
        clock.clock_ok = True
        clock.step_wall_clock(1_800_000_000_000)
        await stage.run_through(*TEMPS_C[10:])
    assert stage.outcome() == await undisturbed(tmp_path)
    recorded = [r.scan for r in SeasonLogReader(path).scans("r1")]
    assert [scan.clock_ok for scan in recorded] == [False] * 11 + [True] * 14
    assert recorded[10].utc_ms == 50_000
    assert recorded[11].utc_ms == 1_800_000_055_000
    assert main(["audit", str(path)]) == 0
