"""A small invented season on disk, and what is typed at a terminal about it."""

import resource
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest

from controller import cli
from controller.adapters.season_log import DirectSeasonLog
from controller.core.plan import Plan, ProbePlan, Quantity
from controller.core.scan import Quality, Reading, Scan
from controller.core.state import fresh_state
from controller.core.step import DECISIONS_VERSION
from controller.core.units import MilliK
from controller.ports import RunHeader
from tests.builders import UTC_MS, Bench, a_mat, a_plan, a_tray, ms, surface_probe

SCANS = 240
EVERY_S = 600


def season_plan() -> Plan:
    """Return two trays on a mat, a windowsill tray, a room probe and a witness."""
    offset = ProbePlan(name="n1", offset_mk=MilliK(-125))
    trays = (a_tray("N1", probes=(offset,)), a_tray("N2", "n2"))
    return a_plan(
        a_mat(trays=trays, surface=surface_probe()),
        trays=(a_tray("sill", "w1"),),
        room=(ProbePlan(name="air"),),
        witnesses=(ProbePlan(name="wet", quantity=Quantity.HUMIDITY),),
    )


def header_of(plan: Plan, **changes: object) -> RunHeader:
    whole = RunHeader(
        run="run-1",
        origin="live",
        started_run_ms=0,
        started_utc_ms=UTC_MS,
        plan=plan,
        state=fresh_state(plan),
        timezone="Europe/Paris",
        decisions_version=DECISIONS_VERSION,
        versions={"python": "3.11.7"},
    )
    return replace(whole, **changes)


def write_season(path: Path) -> Path:
    """Write scans ten minutes apart, more than a day, with readings of all sorts."""
    bench = Bench(season_plan())
    log = DirectSeasonLog(path)
    log.begin(header_of(bench.plan))
    for number in range(SCANS):
        bench.now_s = number * EVERY_S
        now = ms(bench.now_s + EVERY_S)
        said = [
            Reading("n1", now - 1_234, 20_000 + number),
            Reading("n2", now, 85_000 if number == 7 else 21_000 - number),
            Reading("wet", now, 61_500),
            Reading("air", now, -1_005),
        ]
        if number == 9:
            said.append(Reading("n1", now, None, Quality.BAD, "no answer"))
        bench.scan(said, after_s=EVERY_S)
        scan_of = replace(_scan(bench, said), seq=number + 1)
        log.append(scan_of, bench.decisions, bench.state)
    log.close()
    return path


def _scan(bench: Bench, said: list[Reading]):
    now_ms = ms(bench.now_s)
    return Scan(
        seq=bench.seq,
        run_ms=now_ms,
        utc_ms=UTC_MS + now_ms,
        clock_ok=True,
        local_day=20_000,
        local_minute=720,
        readings=tuple(said),
    )


@pytest.fixture(scope="session")
def season(tmp_path_factory) -> Path:
    """Return a log that no test writes to."""
    return write_season(tmp_path_factory.mktemp("season") / "season.db")


Typed = Callable[..., int]


@pytest.fixture
def typed() -> Typed:
    """Return what runs a command and returns its exit status."""
    return lambda *words: cli.main([str(word) for word in words])


@contextmanager
def files_no_larger_than(size: int) -> Iterator[None]:
    """Let the kernel refuse what is longer, as a full disk does (setrlimit(2))."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
