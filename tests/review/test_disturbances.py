"""What a model that is fitted to readings is told of hands and water."""

from dataclasses import replace

from controller.adapters.memory_records import MemoryRecords
from controller.core.plan import MatPlan, OnOff, Plan, ProbePlan, StepPlan, TrayPlan
from controller.core.state import fresh_state
from controller.core.units import MilliC
from controller.ports import RunHeader
from controller.records.changes import Change
from controller.records.events import BenchEvent, EventKind
from controller.review.disturbances import Disturbance, disturbances

BEGUN_MS = 1_800_000_000_000
HOUR_MS = 3_600_000


def a_mat(name: str, *trays: str) -> MatPlan:
    return MatPlan(
        name=name,
        power_mw=100_000,
        length_mm=1_000,
        width_mm=500,
        policy=OnOff(),
        programme=(StepPlan(MilliC(21_000)),),
        trays=tuple(
            TrayPlan(name=tray, probes=(ProbePlan(name=tray.lower()),))
            for tray in trays
        ),
    )


class Log(MemoryRecords):
    """Two runs; in the second the tray N2 stands on the other mat."""

    def runs(self):
        first = Plan(bench="x", mats=(a_mat("north", "N1", "N2"), a_mat("south", "S1")))
        second = replace(first, mats=(a_mat("north", "N1"), a_mat("south", "S1", "N2")))
        return [
            RunHeader(
                run=f"run-{number}",
                origin="live",
                started_run_ms=run_ms,
                started_utc_ms=BEGUN_MS + number * 100 * HOUR_MS,
                plan=plan,
                state=fresh_state(plan),
                timezone="UTC",
                decisions_version=1,
                versions={},
            )
            for number, (run_ms, plan) in enumerate(((7, first), (5_000, second)))
        ]


async def log_with(*told: BenchEvent) -> Log:
    log = Log()
    for number, event in enumerate(told, 1):
        await log.keep([Change(number, 0, "", str(number), event)])
    return log


def at(hours: int, kind: EventKind = EventKind.WATERED, **fields) -> BenchEvent:
    return BenchEvent(kind=kind, utc_ms=BEGUN_MS + hours * HOUR_MS, **fields)


async def test_waterings_come_with_the_bench_clock_of_their_run():
    log = await log_with(at(2, trays=("N1", "S1")), at(101, trays=("N1",)))
    assert disturbances(log, "north") == [
        Disturbance(7 + 2 * HOUR_MS, BEGUN_MS + 2 * HOUR_MS, "watered", "N1"),
        Disturbance(5_000 + HOUR_MS, BEGUN_MS + 101 * HOUR_MS, "watered", "N1"),
    ]


async def test_a_tray_counts_where_it_stood_then():
    log = await log_with(at(2, trays=("N2",)), at(101, trays=("N2",)))
    assert [one.utc_ms for one in disturbances(log, "north")] == [
        BEGUN_MS + 2 * HOUR_MS
    ]
    assert [one.utc_ms for one in disturbances(log, "south")] == [
        BEGUN_MS + 101 * HOUR_MS
    ]


async def test_a_probe_stands_for_its_tray_and_a_mat_for_all_of_its_trays():
    log = await log_with(
        at(1, EventKind.PROBE_MOVED, probes=("n2",)),
        at(2, EventKind.COVER_OFF, mats=("north",), trays=("N1",)),
    )
    found = [(one.why, one.tray) for one in disturbances(log, "north")]
    assert found == [("probe-moved", "N2"), ("cover-off", "")]
    assert disturbances(log, "south") == []


async def test_what_disturbs_nothing_was_withdrawn_or_came_before_is_left_out():
    log = await log_with(
        at(1, EventKind.NOTE, text="cold"),
        at(2, trays=("N1",), withdrawn=True),
        at(-1, trays=("N1",)),
    )
    assert disturbances(log, "north") == []
