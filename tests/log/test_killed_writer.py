"""What was committed is there after kill -9, and nothing is there by halves."""

import signal
import subprocess
import sys
from pathlib import Path

import pytest

from controller.adapters.season_log import SeasonLogReader, SeasonLogWriter

WRITER = """
import asyncio, sys
from dataclasses import replace
from pathlib import Path

from controller.adapters.season_log import SeasonLogWriter
from controller.core.decisions import Cause, Command, Decisions
from controller.core.plan import Plan
from controller.core.scan import Reading, Scan
from controller.core.state import fresh_state
from controller.ports import RunHeader

plan = Plan(bench="lean-to")
state = fresh_state(plan)
header = RunHeader(run="run-1", origin="live", started_run_ms=0, started_utc_ms=0,
    plan=plan, state=state, timezone="UTC", decisions_version=1, versions={})

async def main():
    log = SeasonLogWriter(Path(sys.argv[1]))
    log.begin(header)
    for seq in range(1, 1_000_000):
        run_ms = seq * 5_000
        readings = tuple(Reading(f"p{n}", run_ms - n, n) for n in range(8))
        minute = run_ms // 60_000
        scan = Scan(seq, run_ms, run_ms, True, minute // 1440, minute % 1440, readings)
        command = Command("north", seq % 2 == 0, Cause.BELOW_BAND)
        log.append(scan, Decisions((command,), flush=seq % 3 == 0), state)
        if seq % 3 == 0 and await log.committed(seq):
            print(seq, flush=True)

asyncio.run(main())
"""


@pytest.mark.parametrize("commits", [1, 7, 40])
def test_every_scan_that_was_committed_survives_kill_9(path, samples, commits):
    with subprocess.Popen(
        [sys.executable, "-c", WRITER, str(path)],
        stdout=subprocess.PIPE,
        text=True,
        cwd=Path(__file__).parents[2],
    ) as writer:
        assert writer.stdout is not None
        told = [int(writer.stdout.readline()) for _ in range(commits)]
        writer.send_signal(signal.SIGKILL)
        told += [int(line) for line in writer.stdout.read().split()]
    assert writer.returncode == -signal.SIGKILL
    read = list(SeasonLogReader(path).scans("run-1"))
    assert [one.scan.seq for one in read] == list(range(1, len(read) + 1))
    assert len(read) >= told[-1]
    assert {len(one.scan.readings) for one in read} == {8}
    assert {len(one.commands) for one in read} == {1}

    again = SeasonLogWriter(path)
    again.begin(samples.header("run-2"))
    again.append(*samples.taken(1))
    again.close()
    reader = SeasonLogReader(path)
    assert [header.run for header in reader.runs()] == ["run-1", "run-2"]
    assert len(list(reader.scans("run-1"))) == len(read)
