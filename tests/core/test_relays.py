"""What is believed of the relays: commands, reports, leases, time and energy."""

from dataclasses import replace

import pytest

from controller.core.decisions import AlarmKind, Cause
from controller.core.plan import RelayKind
from controller.core.relays import (
    DUTY_MEMORY_MS,
    mean_duty,
    on_time_ms,
    switched,
    unheated_ms,
)
from controller.core.state import RelayState
from controller.core.units import watt_hours
from tests.builders import Bench, a_mat, a_plan, ms

HOUR_MS = 3_600_000
DISAGREES = (AlarmKind.RELAY_DISAGREES, "north")
COLD = {"n1": 20.0, "n2": 20.0}
WARM = {"n1": 22.0, "n2": 22.0}


def bench_with(**changes):
    return Bench(a_plan(a_mat(**changes)))


# -------------------------------------------------------- time, energy, operations


def test_switching_on_and_off_counts_time_and_operations():
    relay = RelayState(energised=False, since_ms=0)
    relay = switched(relay, energised=True, at_ms=1_000, seq=7)
    assert (relay.energised, relay.since_ms, relay.on_seq) == (True, 1_000, 7)
    assert (relay.on_ms, relay.operations, relay.heated_ms) == (0, 1, None)
    assert on_time_ms(relay, 4_000) == 3_000
    relay = switched(relay, energised=False, at_ms=61_000, seq=19)
    assert (relay.energised, relay.since_ms, relay.heated_ms) == (False, 61_000, 61_000)
    assert (relay.on_ms, relay.operations, relay.on_seq) == (60_000, 1, 7)
    assert on_time_ms(relay, 10**9) == 60_000
    relay = switched(relay, energised=True, at_ms=100_000, seq=20)
    relay = switched(relay, energised=False, at_ms=130_000)
    assert (relay.on_ms, relay.operations) == (90_000, 2)


def test_switching_keeps_what_the_relay_said_of_itself():
    relay = RelayState(energised=False, since_ms=0, said=True)
    on = switched(relay, energised=True, at_ms=5)
    assert (on.said, on.on_seq) == (True, 0)
    assert switched(on, energised=False, at_ms=9).said


@pytest.mark.parametrize("energised", [True, False])
def test_relay_that_is_told_what_it_does_already_is_the_same(energised):
    relay = RelayState(energised=energised, since_ms=5)
    assert switched(relay, energised=energised, at_ms=9, seq=9) is relay


def test_energy_of_a_bench_is_its_power_times_the_time_on():
    """100 W for 60 minutes are 100 W·h."""
    bench = bench_with(relay=RelayKind.PIN).heating(**COLD)
    for _ in range(3):
        bench.scan(**COLD, after_s=1_195).scan(**WARM).scan(**COLD, after_s=60)
    on_ms = on_time_ms(bench.relay, ms(bench.now_s))
    assert bench.relay.operations == 4
    assert watt_hours(100_000, on_ms) == pytest.approx(100.0)


def test_mean_duty_of_a_relay_that_never_changes_goes_to_what_it_does():
    on = RelayState(energised=True, since_ms=0)
    assert mean_duty(on, 0) == 0.0
    assert mean_duty(on, DUTY_MEMORY_MS) == 0.5
    assert mean_duty(on, 99 * DUTY_MEMORY_MS) == pytest.approx(0.99)
    off = RelayState(energised=False, since_ms=0, mean_duty=0.8)
    assert mean_duty(off, 3 * DUTY_MEMORY_MS) == pytest.approx(0.2)


@pytest.mark.parametrize("share", [0.1, 0.25, 0.5, 0.9])
def test_mean_duty_of_a_cycling_relay_is_its_share_of_time_on(share):
    relay = RelayState(energised=False, since_ms=0)
    cycle_ms = 600_000
    for start_ms in range(0, 5 * 24 * HOUR_MS, cycle_ms):
        relay = switched(relay, energised=True, at_ms=start_ms)
        relay = switched(relay, energised=False, at_ms=start_ms + int(share * cycle_ms))
    assert relay.mean_duty == pytest.approx(share, abs=0.02)


def test_unheated_time_runs_from_the_last_heat_that_is_known():
    assert unheated_ms(RelayState(energised=True, since_ms=0), 9_000) == 0
    heated = RelayState(energised=False, since_ms=5_000, heated_ms=4_000)
    assert unheated_ms(heated, 9_000) == 5_000
    assert unheated_ms(RelayState(energised=False, since_ms=2_000), 9_000) == 7_000


# ------------------------------------------------------------- reported off


def test_report_of_off_while_on_counts_as_off_since_then():
    bench = bench_with(min_off_ms=ms(120)).run(120, **COLD)
    assert bench.on, bench.command
    bench.run(60, **COLD)
    on_since_ms = bench.relay.since_ms
    bench.scan(**COLD, reports=[bench.report(on=False, ago_s=2)])
    off_ms = ms(bench.now_s - 2)
    assert (bench.relay.energised, bench.relay.since_ms) == (False, off_ms)
    assert bench.relay.on_ms == off_ms - on_since_ms
    assert (bench.on, bench.cause) == (False, Cause.MIN_OFF), "its time off begins"
    assert bench.numbers["lasting_ms"] == 2_000
    bench.run(115, **COLD)
    assert not bench.on
    assert bench.scan(**COLD).on
    assert bench.relay.operations == 2


def test_switch_on_after_a_report_of_off_is_a_switch_on():
    bench = bench_with().heating(**COLD).run(60, **COLD)
    assert not bench.decisions.flush
    bench.scan(**COLD, reports=[bench.report(on=False)])
    assert (bench.on, bench.decisions.flush) == (True, True)
    assert (bench.relay.operations, bench.relay.on_seq) == (2, bench.seq)


@pytest.mark.parametrize(("behind", "believed_on"), [(1, True), (0, False)])
def test_report_that_answers_a_command_of_before_the_present_on_is_late(
    behind, believed_on
):
    bench = bench_with(min_off_ms=ms(60)).run(60, **COLD)
    on_seq = bench.seq
    assert (bench.on, bench.relay.on_seq) == (True, on_seq)
    bench.run(60, **COLD)
    bench.scan(**COLD, reports=[bench.report(on=False, seq=on_seq - behind)])
    assert bench.relay.energised is believed_on


@pytest.mark.parametrize(("after_s", "believed_on"), [(10, True), (10.001, False)])
def test_report_without_a_number_may_lag_two_scans_behind_a_switch_on(
    after_s, believed_on
):
    bench = bench_with(min_off_ms=ms(60)).run(60, **COLD)
    assert bench.relay.since_ms == ms(60)
    bench.scan(**COLD)
    report = bench.report(on=False, ago_s=70 - 60 - after_s)
    bench.scan(**COLD, reports=[report])
    assert bench.relay.energised is believed_on


def test_retained_report_of_off_is_believed_too():
    bench = bench_with(min_off_ms=ms(60)).run(120, **COLD)
    bench.scan(**COLD, reports=[bench.report(on=False, retained=True)])
    assert not bench.relay.energised


@pytest.mark.parametrize(("ago_s", "since_s"), [(1_000, 60), (-1_000, 75)])
def test_report_with_an_impossible_time_cannot_bend_the_account(ago_s, since_s):
    bench = bench_with(min_off_ms=ms(60)).run(60, **COLD).scan(**COLD).scan(**COLD)
    bench.scan(**COLD, reports=[bench.report(on=False, ago_s=ago_s, seq=bench.seq)])
    assert (bench.now_s, bench.relay.since_ms) == (75, ms(since_s))
    assert bench.relay.on_ms == ms(since_s - 60)
    bench.scan(**COLD)


def test_report_that_agrees_changes_nothing():
    bench = bench_with().heating(**COLD)
    relay = bench.relay
    bench.scan(**COLD, reports=[bench.report(on=True)])
    assert bench.relay == replace(relay, said=True)


def test_reports_of_other_mats_and_of_watched_ones_are_passed_over():
    watched = a_mat("shelf", relay=None, trays=())
    bench = Bench(a_plan(a_mat(), watched)).heating(**COLD)
    mats = bench.state.mats
    for name in ("south", "shelf"):
        report = bench.report(on=name == "shelf", mat=name, seq=bench.seq)
        bench.scan(**COLD, reports=[report])
    assert bench.state.mats["north"] is mats["north"]
    assert bench.state.mats["shelf"].relay is mats["shelf"].relay


def test_reports_count_in_the_order_of_their_arrival():
    bench = bench_with(min_off_ms=ms(60)).run(120, **COLD)
    reports = [bench.report(on=False, ago_s=2), bench.report(on=True, ago_s=1)]
    bench.scan(**COLD, reports=reports)
    assert not bench.relay.energised
    assert bench.relay.disagrees_ms == ms(bench.now_s - 1)
    bench = bench_with(min_off_ms=ms(60)).run(120, **COLD)
    bench.scan(**COLD, reports=reversed(reports))
    assert (bench.relay.energised, bench.relay.disagrees_ms) == (False, None)


# --------------------------------------------------------------- reported on


def test_report_of_on_while_off_rings_when_it_lasts():
    bench = bench_with().heating(**COLD).scan(**WARM)
    bench.scan(**WARM, reports=[bench.report(on=True)])
    assert bench.relay.disagrees_ms == ms(bench.now_s)
    assert not bench.relay.energised, "what was commanded goes on being believed"
    bench.run(10, **WARM)
    assert DISAGREES not in bench.alarms
    bench.scan(**WARM, reports=[bench.report(on=True)])
    assert DISAGREES in bench.alarms
    assert bench.decisions.alarm_changes[0].numbers == (("lasting_ms", 15_000),)
    bench.run(600, **WARM)
    assert DISAGREES in bench.alarms


def test_report_of_off_ends_the_disagreement():
    bench = bench_with().heating(**COLD).scan(**WARM)
    bench.scan(**WARM, reports=[bench.report(on=True)]).run(60, **WARM)
    bench.scan(**WARM, reports=[bench.report(on=False, ago_s=1)])
    assert DISAGREES not in bench.alarms
    assert bench.relay.disagrees_ms is None
    assert bench.relay.heated_ms == ms(bench.now_s - 1), "it may have heated until then"


def test_report_that_merely_lags_behind_its_command_rings_nothing():
    bench = bench_with().heating(**COLD).scan(**WARM)
    bench.scan(**WARM, reports=[bench.report(on=True, ago_s=4)])
    bench.scan(**WARM, reports=[bench.report(on=False, ago_s=4)])
    bench.run(60, **WARM)
    assert DISAGREES not in bench.alarms


def test_retained_report_of_on_that_nothing_corrects_rings():
    """The relay's last word was "on", perhaps in another run: someone should look."""
    bench = Bench()
    bench.scan(**WARM, reports=[bench.report(on=True, retained=True)]).run(15, **WARM)
    assert DISAGREES in bench.alarms


def test_switching_on_ends_a_disagreement():
    bench = bench_with().heating(**COLD).scan(**WARM)
    bench.scan(**WARM, reports=[bench.report(on=True)]).run(60, **WARM)
    bench.scan(**COLD)
    assert bench.on
    assert bench.relay.disagrees_ms is None
    assert DISAGREES not in bench.alarms


@pytest.mark.parametrize(("ago_s", "at_s"), [(100, 10), (-100, 15)])
def test_disagreement_begins_neither_before_the_off_nor_in_the_future(ago_s, at_s):
    bench = bench_with().heating(**COLD).scan(**WARM)
    bench.scan(**WARM, reports=[bench.report(on=True, ago_s=ago_s)])
    assert (bench.now_s, bench.relay.disagrees_ms) == (15, ms(at_s))


# ------------------------------------------------------------------ the lease


def test_renewals_unsent_for_longer_than_a_lease_count_as_off_since_then():
    bench = bench_with().heating(**COLD)
    bench.link_up = False
    bench.run(15, **COLD)
    assert bench.relay.energised, "the last one went out at 5 s and holds until 20 s"
    bench.scan(**COLD)
    assert (bench.relay.energised, bench.relay.since_ms) == (False, ms(20))
    assert bench.relay.on_ms == ms(15)


def test_scan_that_comes_too_late_ends_the_lease():
    bench = bench_with(min_off_ms=ms(120)).run(120, **COLD)
    bench.scan(**COLD, after_s=15)
    assert (bench.on, bench.relay.since_ms) == (True, ms(120))
    bench.scan(**COLD, after_s=15.001)
    assert (bench.on, bench.relay.since_ms) == (False, ms(150))
    assert bench.cause is Cause.MIN_OFF


def test_lease_holds_to_its_last_moment_whatever_is_reported_meanwhile():
    bench = bench_with(min_off_ms=ms(60)).run(60, **COLD)
    report = bench.report(on=True)
    bench.scan(**COLD, after_s=15, reports=[report])
    assert (bench.on, bench.relay.since_ms) == (True, ms(60))


def test_link_that_returns_after_the_lease_ended_does_not_undo_that():
    bench = bench_with(min_off_ms=ms(60)).run(60, **COLD)
    bench.link_up = False
    bench.run(15, **COLD)
    bench.link_up = True
    bench.scan(**COLD)
    assert (bench.relay.energised, bench.relay.since_ms) == (False, ms(75))
    assert bench.cause is Cause.MIN_OFF


def test_link_that_returns_in_time_saves_the_lease():
    bench = bench_with().heating(**COLD)
    bench.link_up = False
    bench.run(10, **COLD)
    bench.link_up = True
    bench.run(60, **COLD)
    assert (bench.on, bench.relay.operations) == (True, 1)


def test_lease_that_was_given_while_the_link_was_down_ends_no_earlier_than_it_began():
    bench = bench_with().scan(**WARM)
    bench.link_up = False
    bench.scan(**WARM, after_s=10).scan(**COLD)
    assert bench.relay.since_ms == ms(20)
    bench.scan(**COLD)
    assert (bench.relay.energised, bench.relay.since_ms) == (False, ms(20))
    assert bench.relay.on_ms == 0


@pytest.mark.parametrize("kind", [RelayKind.PLAIN, RelayKind.PIN])
def test_relay_that_cannot_count_is_believed_to_stay_as_it_is(kind):
    bench = bench_with(relay=kind).heating(**COLD)
    bench.scan(**COLD, after_s=100)
    assert (bench.relay.energised, bench.relay.since_ms) == (True, ms(5))
