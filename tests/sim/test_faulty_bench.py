"""Relays that hold leases or do not, a link that breaks, a daemon that stops."""

from dataclasses import replace

import pytest

from controller.core.decisions import AlarmKind, AlarmTurn, Cause, Command
from controller.core.plan import RelayKind
from controller.core.scan import LogHealth, Quality
from controller.core.state import Mode, fresh_state
from sim.closed_loop import ClosedLoop
from sim.faults import Fault, names, problems
from sim.faulty import FaultyBench
from sim.kinds import SHAPES, About, Kind
from tests.sim.lean_to import DAY, HOUR, MINUTE, NORTH, PLAN, SOUTH, a_world

UTC_MS = 1_801_472_400_000


def with_relays(kind, *, wattmeter=False):
    mats = tuple(
        replace(mat, relay=kind, reports=True, wattmeter=wattmeter)
        for mat in (NORTH, SOUTH)
    )
    return replace(PLAN, mats=mats)


def a_bench(*faults, kind=RelayKind.LEASE, wattmeter=False):
    plan = with_relays(kind, wattmeter=wattmeter)
    return FaultyBench(plan, a_world(plan), faults)


def commands(north, *, south=False):
    cause = Cause.BELOW_BAND
    return (Command("north", north, cause), Command("south", south, cause))


def fault(kind, at_ms=MINUTE, lasts_ms=None, subject="north", **more):
    return Fault(kind=kind, at_ms=at_ms, lasts_ms=lasts_ms, subject=subject, **more)


def kept_on(bench, until_ms):
    """Renew "on" for north every 5 s until a time; return all that arrived."""
    arrived = []
    for seq, at_ms in enumerate(range(5_000, until_ms + 1, 5_000), start=1):
        arrived.append(bench.advance(at_ms))
        bench.obey(commands(True), seq)
    return arrived


def powers_of(arrived, mat):
    return [p for part in arrived for p in part.power_reports if p.mat == mat]


def reports(arrived):
    return [(r.mat, r.energised) for part in arrived for r in part.relay_reports]


# ---------------------------------------------------------------------- relays


@pytest.mark.parametrize(
    ("kind", "held"),
    [(RelayKind.LEASE, False), (RelayKind.PLAIN, True), (RelayKind.PIN, True)],
)
def test_on_runs_out_only_where_it_is_a_lease(kind, held):
    bench = a_bench(kind=kind)
    bench.advance(5_000)
    bench.obey(commands(True), 1)
    assert bench.closed() == {"north": True, "south": False}
    bench.advance(19_999)
    assert bench.closed()["north"] is True
    bench.advance(20_001)
    assert bench.closed()["north"] is held


def test_a_lease_ends_on_time_within_a_long_step():
    ended, told = a_bench(), a_bench()
    for bench in (ended, told):
        bench.advance(5_000)
        bench.obey(commands(True), 1)
    ended.advance(HOUR)
    told.advance(20_000)
    told.obey(commands(False), 2)
    told.advance(HOUR)
    assert ended.world.truth("N1") == pytest.approx(told.world.truth("N1"), abs=1e-9)


def test_a_relay_reports_what_changes_and_no_renewal():
    bench = a_bench()
    arrived = kept_on(bench, MINUTE)
    arrived.append(bench.advance(2 * MINUTE))
    assert reports(arrived) == [
        ("north", False),
        ("south", False),
        ("north", True),
        ("north", False),
    ]


@pytest.mark.parametrize("honest", [True, False])
def test_a_relay_that_sticks_tells_the_truth_or_what_it_was_told(honest):
    bench = a_bench(fault(Kind.RELAY_STUCK_ON, flags={"honest": honest}))
    arrived = [bench.advance(2 * MINUTE)]
    bench.obey(commands(False), 1)
    arrived.append(bench.advance(3 * MINUTE))
    assert bench.closed()["north"] is True
    assert (("north", True) in reports(arrived)) is honest


@pytest.mark.parametrize(
    ("kind", "closed", "heats"),
    [
        (Kind.RELAY_STUCK_OFF, False, False),
        (Kind.RELAY_LOST, False, False),
        (Kind.RELAY_CUT_OFF, False, False),
        (Kind.RELAY_SILENT, True, True),
        (Kind.MAT_DEAD, True, False),
    ],
)
def test_what_a_broken_relay_or_mat_does_while_it_is_told_to_heat(kind, closed, heats):
    bench = a_bench(fault(kind, lasts_ms=5 * MINUTE))
    kept_on(bench, 4 * MINUTE)
    assert bench.closed()["north"] is closed
    assert bench.heats()["north"] is heats
    kept_on_again = kept_on(bench, 8 * MINUTE)
    assert bench.heats()["north"] is True
    assert kept_on_again


def test_a_plain_relay_that_is_cut_off_stays_as_it_was():
    bench = a_bench(fault(Kind.RELAY_CUT_OFF), kind=RelayKind.PLAIN)
    kept_on(bench, 2 * MINUTE)
    bench.advance(HOUR)
    bench.obey(commands(False), 99)
    assert bench.closed()["north"] is True


def test_a_silent_relay_reports_nothing_until_it_speaks_again():
    bench = a_bench(fault(Kind.RELAY_SILENT, at_ms=1_000, lasts_ms=5 * MINUTE))
    assert reports(kept_on(bench, 4 * MINUTE)) == [("south", False)]
    assert ("north", True) in reports(kept_on(bench, 6 * MINUTE))


def test_a_wattmeter_says_at_once_when_power_goes_and_comes():
    bench = a_bench(fault(Kind.MAT_DEAD, at_ms=2 * MINUTE), wattmeter=True)
    arrived = kept_on(bench, 4 * MINUTE)
    powers = [(p.at_ms, p.power_mw) for p in powers_of(arrived, "north")]
    assert powers[0] == (5_000, 0)
    on = [power for at_ms, power in powers if 10_000 <= at_ms < 2 * MINUTE]
    assert min(on) > 90_000
    assert max(on) < 110_000
    assert (2 * MINUTE, 0) in powers


# -------------------------------------------------------------------- the link


def test_while_the_broker_is_lost_nothing_comes_and_nothing_goes():
    bench = a_bench(fault(Kind.BROKER_LOST, lasts_ms=5 * MINUTE, subject=""))
    kept_on(bench, MINUTE)
    assert bench.link_up() is False
    arrived = [bench.advance(2 * MINUTE)]
    bench.obey(commands(True), 50)
    arrived.append(bench.advance(6 * MINUTE - 1))
    assert all(not part.readings and not part.relay_reports for part in arrived)
    assert bench.closed()["north"] is False
    back = bench.advance(7 * MINUTE)
    assert bench.link_up() is True
    first = {reading.probe: reading for reading in reversed(back.readings)}
    assert {r.quality for r in first.values()} == {Quality.UNCERTAIN}
    assert reports([back]) == [("north", False)]


def test_in_a_split_readings_come_and_commands_do_not_arrive():
    bench = a_bench(fault(Kind.NETWORK_SPLIT, subject=""))
    arrived = kept_on(bench, 2 * MINUTE)
    assert bench.link_up() is True
    assert arrived[-1].readings or arrived[-2].readings
    assert bench.closed()["north"] is False


def test_a_broker_that_restarts_gives_out_old_reports_and_values():
    bench = a_bench(fault(Kind.BROKER_RESTARTS, lasts_ms=10_000, subject=""))
    kept_on(bench, MINUTE)
    back = bench.advance(2 * MINUTE)
    kept = [r for r in back.relay_reports if r.retained]
    assert [(r.mat, r.energised) for r in kept] == [("north", True), ("south", False)]
    notes = [r.note for r in back.readings if r.quality is Quality.UNCERTAIN]
    assert notes.count("the broker had kept it") == 8
    assert notes.count("first after a reconnect") == 8


# ---------------------------------------------------------- the loop as a whole


def calendar(utc_ms):
    return utc_ms // DAY, utc_ms % DAY // MINUTE


def a_loop(*faults, kind=RelayKind.LEASE):
    plan = with_relays(kind)
    bench = FaultyBench(plan, a_world(plan), faults)
    return ClosedLoop(plan, fresh_state(plan), bench, UTC_MS, calendar)


def turns(loop, until_ms):
    made = []
    while loop.now_ms < until_ms:
        made.append(loop.turn())
    return made


def test_the_loop_heats_a_cold_bench_and_is_the_same_each_time():
    one, other = a_loop(), a_loop()
    first, second = turns(one, 2 * HOUR), turns(other, 2 * HOUR)
    assert first == second
    assert one.state.mats["north"].relay.operations > 0
    assert one.bench.world.truth("N2") > 18


def test_faults_that_happen_later_change_nothing_before():
    quiet = a_loop()
    later = a_loop(fault(Kind.RELAY_STUCK_ON, at_ms=HOUR))
    assert turns(quiet, HOUR - 5_000) == turns(later, HOUR - 5_000)
    assert turns(quiet, 3 * HOUR) != turns(later, 3 * HOUR)


@pytest.mark.parametrize("clock_known", [True, False])
def test_a_daemon_that_restarts_begins_a_new_run_cold(clock_known):
    away = fault(
        Kind.DAEMON_RESTARTS,
        at_ms=HOUR,
        lasts_ms=10 * MINUTE,
        subject="",
        flags={"clock_known": clock_known},
    )
    loop = a_loop(away)
    made = turns(loop, HOUR + 15 * MINUTE)
    runs = [turn for turn in made if turn is not None]
    assert made.count(None) == 10 * MINUTE // 5_000
    first = next(turn for turn in runs if turn.resumed is not None)
    before = runs[runs.index(first) - 1]
    assert first.scan.seq == 1
    assert first.resumed.mats["north"].mode is Mode.STARTING
    assert not any(command.energised for command in first.decisions.commands)
    gone_ms = first.scan.run_ms - before.scan.run_ms
    assert gone_ms == (10 * MINUTE + 5_000 if clock_known else 5_000)
    assert first.scan.utc_ms - before.scan.utc_ms == 10 * MINUTE + 5_000
    late = runs[-1].scan
    assert all(reading.at_ms <= late.run_ms for reading in late.readings)


@pytest.mark.parametrize("by_ms", [-20 * MINUTE, 7 * MINUTE])
def test_a_clock_that_was_set_during_an_outage_is_believed_unless_it_went_back(by_ms):
    loop = a_loop(
        fault(Kind.DAEMON_RESTARTS, HOUR, 10 * MINUTE, ""),
        fault(Kind.CLOCK_JUMPS, HOUR + MINUTE, None, "", sizes={"by": by_ms}),
    )
    runs = [turn for turn in turns(loop, HOUR + 12 * MINUTE) if turn is not None]
    first = next(turn for turn in runs if turn.resumed is not None)
    gone_ms = first.resumed.run_ms - runs[runs.index(first) - 1].scan.run_ms
    assert gone_ms == (0 if by_ms < 0 else 10 * MINUTE + by_ms)


@pytest.mark.parametrize(
    ("kind", "after_ms"), [(Kind.DAEMON_RESTARTS, 5_000), (Kind.DAEMON_HANGS, 20_000)]
)
def test_the_last_will_switches_a_plain_relay_off(kind, after_ms):
    loop = a_loop(fault(kind, HOUR, HOUR, ""), kind=RelayKind.PLAIN)
    turns(loop, HOUR - 5_000)
    loop.bench.obey(commands(True, south=True), 9_999)
    turns(loop, HOUR)
    turns(loop, HOUR + after_ms)
    assert loop.bench.closed() == {"north": False, "south": False}


def test_a_daemon_that_hung_finds_what_was_said_meanwhile():
    loop = a_loop(fault(Kind.DAEMON_HANGS, HOUR, 2 * MINUTE, ""))
    made = turns(loop, HOUR + 3 * MINUTE)
    woken = made[made.index(None) + made.count(None)]
    assert woken.resumed is None
    assert len(woken.scan.readings) > 30
    times = [reading.at_ms for reading in woken.scan.readings]
    assert times == sorted(set(times))
    assert times[-1] < woken.scan.run_ms


def test_clocks_and_log_are_told_in_the_scan():
    loop = a_loop(
        fault(Kind.CLOCK_JUMPS, HOUR, None, "", sizes={"by": DAY}),
        fault(Kind.SUMMER_TIME, 2 * HOUR, None, "", sizes={"by": HOUR}),
        fault(Kind.CLOCK_UNKNOWN, 3 * HOUR, HOUR, ""),
        fault(Kind.LOG_FAILS, 4 * HOUR, HOUR, ""),
    )
    scans = {turn.scan.run_ms: turn.scan for turn in turns(loop, 6 * HOUR)}
    before, jumped = scans[HOUR - 5_000], scans[HOUR]
    assert jumped.utc_ms - before.utc_ms == DAY + 5_000
    assert jumped.local_day - before.local_day == 1
    early, late = scans[2 * HOUR - 5_000], scans[2 * HOUR]
    assert late.local_minute - early.local_minute == 61
    assert late.utc_ms - early.utc_ms == 5_000
    assert [scans[h * HOUR].clock_ok for h in (2, 3, 4)] == [True, False, True]
    health = [scans[h * HOUR].log_health for h in (3, 4, 5)]
    assert health == [LogHealth.OK, LogHealth.FAILED, LogHealth.OK]


def test_people_ask_and_are_answered():
    loop = a_loop(
        fault(Kind.HOLD, HOUR, 10 * MINUTE),
        fault(Kind.SETPOINT, 2 * HOUR, HOUR, sizes={"to": 19_000}),
        fault(Kind.SWITCHED_OFF, 4 * HOUR, HOUR),
        fault(Kind.RESET, 6 * HOUR),
    )
    modes, answers = {}, []
    for turn in turns(loop, 7 * HOUR):
        answers += turn.decisions.answers
        modes[turn.scan.run_ms] = turn.state.mats["north"].mode
    assert modes[HOUR + MINUTE] is Mode.HELD
    assert modes[HOUR + 11 * MINUTE] in {Mode.STARTING, Mode.REGULATING}
    assert modes[4 * HOUR + MINUTE] is Mode.OFF
    assert modes[5 * HOUR + MINUTE] in {Mode.STARTING, Mode.REGULATING}
    said = [answer.sentence for answer in answers]
    assert [answer.accepted for answer in answers] == [True] * 4 + [False]
    assert "19.00 °C" in said[1]
    assert [answer.request_id for answer in answers] == [1, 2, 3, 4, 5]


def test_a_probe_that_slipped_out_makes_its_neighbour_reach_a_limit():
    slip = fault(Kind.PROBE_SLIPS_OUT, 12 * HOUR, 6 * HOUR, "S1")
    loop = a_loop(slip)
    rang = {
        change.kind
        for turn in turns(loop, 18 * HOUR)
        for change in turn.decisions.alarm_changes
        if change.turn is AlarmTurn.RAISED and change.subject == "south"
    }
    assert rang & {AlarmKind.OVER_LIMIT, AlarmKind.TRIP}


# -------------------------------------------------------------------- the table


def test_every_kind_has_a_shape_and_a_name_of_its_own():
    assert set(SHAPES) == set(Kind)


@pytest.mark.parametrize("kind", Kind, ids=lambda kind: kind.value)
def test_every_kind_happens_on_a_bench_and_the_loop_goes_on(kind):
    shape = SHAPES[kind]
    subjects = names(PLAN, shape.about)
    sizes = {
        key: size.usual if size.usual is not None else min(size.high, 2_000)
        for key, size in shape.sizes.items()
    }
    made = Fault(
        kind=kind,
        at_ms=MINUTE,
        lasts_ms=10 * MINUTE if shape.lasts else None,
        subject=subjects[0] if subjects else "",
        other=subjects[1] if shape.other else "",
        sizes=sizes,
    )
    assert list(problems(PLAN, made)) == []
    loop = a_loop(made)
    made_turns = turns(loop, 20 * MINUTE)
    assert made_turns[-1] is not None
    if shape.lasts:
        assert loop.bench.happening(kind) is None


def test_what_is_wrong_with_a_fault_is_named():
    wrong = Fault(kind=Kind.PROBE_SLIPS_OUT, at_ms=0, subject="N9")
    assert [key for key, _, _ in problems(PLAN, wrong)] == ["probe"]
    missing = Fault(kind=Kind.PROBE_JUMPS, at_ms=0, subject="N1")
    assert [key for key, _, _ in problems(PLAN, missing)] == ["by"]
    huge = replace(missing, sizes={"by": 1_000_000})
    assert [value for _, value, _ in problems(PLAN, huge)] == ["1000"]
    alone = Fault(kind=Kind.PROBES_SWAPPED, at_ms=0, subject="N1", other="N1")
    assert [key for key, _, _ in problems(PLAN, alone)] == ["with"]
    assert names(PLAN, About.BENCH) == ()
