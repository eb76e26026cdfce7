"""What protect says of a mat, from facts that are put together by hand."""

from dataclasses import replace

import pytest

from controller.core.decisions import Cause
from controller.core.guard_state import Climb, GuardState, Uptake
from controller.core.protect import CLEAR, Facts, verdict
from controller.core.root_zone import driving_temp, observe
from controller.core.scan import Scan
from controller.core.state import Condition, PowerState, Trip
from tests.builders import UTC_MS, Bench, a_mat, a_plan, a_tray, mc, ms, n2_drives


def facts_of(bench, **changes):
    """Return the facts of a bench at its last scan, some of them changed."""
    mat, now_ms = bench.plan.mats[0], ms(bench.now_s)
    observed = observe(mat, bench.state.probes, now_ms)
    driven = driving_temp(mat, observed)
    root_mc = None if driven is None else driven[0]
    scan = Scan(bench.seq, now_ms, UTC_MS, True, 0, 0)
    known = replace(bench.mat, **changes)
    return Facts(bench.plan, mat, known, observed, root_mc, bench.state, scan, now_ms)


def guarded(bench, **remembered):
    return verdict(facts_of(bench, guard=GuardState(**remembered)))


def test_bench_of_these_facts_may_heat():
    assert verdict(facts_of(Bench().heating())) is CLEAR


@pytest.mark.parametrize(("left_ms", "held"), [(1, True), (0, False)])
def test_hold_ends_at_its_very_moment(left_ms, held):
    bench = Bench().heating()
    found = verdict(facts_of(bench, hold_until_ms=ms(bench.now_s) + left_ms))
    assert (found.condition is Condition.HOLD) is held
    assert found.numbers == ((("left_ms", 1),) if held else ())


def test_start_says_what_it_waits_for():
    found = verdict(facts_of(Bench().scan(n1=20.0)))
    assert (found.condition, found.cause) == (
        Condition.UNREADY,
        Cause.AWAITING_READINGS,
    )
    assert found.numbers == (("heard", 1), ("waited_ms", 5_000))


def test_start_without_the_probe_that_drives_says_so():
    bench = Bench(a_plan(n2_drives())).scan(n1=20.0).run(125, n1=20.0)
    found = verdict(facts_of(bench))
    assert (found.condition, found.cause) == (
        Condition.UNREADY,
        Cause.NO_DRIVING_READING,
    )
    assert found.numbers == (("heard", 1), ("waited_ms", 130_000))


def test_watched_mat_is_told_to_be_watched():
    found = verdict(facts_of(Bench(a_plan(a_mat(relay=None))).scan(n1=20.0)))
    assert (found.condition, found.cause) == (Condition.INHIBIT, Cause.WATCH_ONLY)


def test_power_that_comes_unasked_rules_out_sun_and_lamp():
    bench = Bench().scan(n1=22.0, n2=22.0).run(4_000, n1=22.0, n2=22.0)
    bench.scan(n1=24.8, n2=22.0).scan(n1=25.2, n2=22.0)
    now_ms = ms(bench.now_s)
    assert verdict(facts_of(bench)).cause is Cause.HEAT_FROM_ABOVE
    drawing = PowerState(now_ms - ms(120), True, ms(0))
    assert verdict(facts_of(bench, power=drawing)).cause is Cause.OVER_TRAY_LIMIT
    long_ago = replace(drawing, at_ms=drawing.at_ms - 1)
    assert verdict(facts_of(bench, power=long_ago)).cause is Cause.HEAT_FROM_ABOVE


# ------------------------------------------------------------- heat not felt


def unfelt(missed_c=19.0):
    return Uptake(
        since_ms=ms(0),
        from_mc=mc(18),
        proven=True,
        on_ms=0,
        lowest_mc=mc(18),
        cooled_mc=mc(18),
        mark_ms=ms(0),
        mark_mc=mc(18),
        missed_mc=None if missed_c is None else mc(missed_c),
    )


def test_heat_that_was_not_felt_locks_off_with_the_probe_that_drives():
    bench = Bench(a_plan(n2_drives())).heating(n1=20.0, n2=18.1)
    found = guarded(bench, uptake=unfelt())
    now_ms = ms(bench.now_s)
    assert found.trip == Trip(
        Cause.HEAT_NOT_FELT, "n2", mc(18.1), mc(19), now_ms, UTC_MS
    )
    assert (found.condition, found.cause) == (Condition.TRIP, Cause.HEAT_NOT_FELT)
    assert found.numbers == (("temp_mc", 18_100), ("limit_mc", 19_000))
    assert guarded(bench, uptake=unfelt(None)) is CLEAR


def test_mean_that_no_probe_reads_is_told_of_the_first():
    trays = (a_tray("N1", "n1", "n3"), a_tray("N2", "n2"))
    bench = Bench(a_plan(a_mat(trays=trays)))
    bench.heating(n1=18.0, n3=18.2, n2=20.0)
    assert guarded(bench, uptake=unfelt()).trip.probe == "n1"


def test_probe_that_fell_silent_is_not_the_one_that_drives():
    bench = Bench(a_plan(n2_drives())).heating(n1=18.1, n2=18.1)
    bench.run(125, n2=18.1)
    assert guarded(bench, uptake=unfelt()).trip.probe == "n2"


def test_nothing_is_missed_while_nothing_drives():
    bench = Bench(a_plan(n2_drives())).heating().run(125, n1=20.0)
    assert guarded(bench, uptake=unfelt()).condition is not Condition.TRIP


# ------------------------------------------------------------- other responses


def test_response_that_holds_heat_back_says_its_numbers():
    bench = Bench().heating()
    now_ms = ms(bench.now_s)
    found = guarded(bench, climb=Climb(now_ms, mc(20), now_ms + 1))
    assert (found.condition, found.cause, found.numbers) == (
        Condition.INHIBIT,
        Cause.RISES_TOO_FAST,
        (("from_mc", 20_000), ("limit_mk", 3_000)),
    )
    assert guarded(bench, climb=Climb(now_ms, mc(20))) is CLEAR


def test_mat_that_rests_says_for_how_long():
    bench = Bench(a_plan(a_mat(longest_on_ms=ms(7_200)))).heating()
    now_ms = ms(bench.now_s)
    found = guarded(bench, rest_until_ms=now_ms + 1)
    assert (found.condition, found.cause, found.numbers) == (
        Condition.INHIBIT,
        Cause.HEATED_TOO_LONG,
        (("longest_ms", 7_200_000), ("left_ms", 1)),
    )
    assert guarded(bench, rest_until_ms=now_ms) is CLEAR


def test_day_whose_heat_is_spent_says_of_how_much():
    bench = Bench(a_plan(a_mat(daily_on_ms=ms(36_000)))).heating()
    found = guarded(bench, spent=True)
    assert (found.condition, found.cause, found.numbers) == (
        Condition.INHIBIT,
        Cause.DAILY_HEAT_SPENT,
        (("daily_ms", 36_000_000),),
    )
