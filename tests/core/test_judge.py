"""Single readings: which are taken, which are doubted, and what that changes."""

import pytest

from controller.core.decisions import Doubted
from controller.core.judge import judge, silent, usable
from controller.core.plan import ProbePlan, Quantity
from controller.core.scan import Quality, Reading
from controller.core.state import ProbeState

PROBE = ProbePlan(name="n1")  # speaks every 30 s, lost after 120 s
CUTOUT_MC = 33_000
T_MS = 1_000_000
EVERY_MS = 30_000
AT_20 = ProbeState(good_at_ms=T_MS, good_mc=20_000)


def said(milli, at_ms=T_MS, quality=Quality.GOOD):
    return Reading("n1", at_ms, milli, quality)


def judged(milli, at_ms=T_MS, *, before=None, plan=PROBE, **more):
    """Judge one reading; the scan comes as the reading is made, unless told."""
    now_ms = more.pop("now_ms", at_ms)
    cutout_mc = more.pop("cutout_mc", CUTOUT_MC)
    reading = said(milli, at_ms, **more)
    return judge(plan, cutout_mc, before or ProbeState(), reading, now_ms)


def series(*readings, plan=PROBE, before=None):
    """Judge readings 30 s apart; return what is known and the last doubt."""
    known, doubt = before or ProbeState(), None
    for n, milli in enumerate(readings):
        quality = Quality.GOOD
        if isinstance(milli, tuple):
            milli, quality = milli
        at_ms = T_MS + n * EVERY_MS
        known, doubt = judge(plan, CUTOUT_MC, known, said(milli, at_ms, quality), at_ms)
    return known, doubt


def test_good_reading_is_taken_as_it_came():
    known, doubt = judged(21_375)
    assert doubt is None
    assert known == ProbeState(T_MS, 21_375, same_since_ms=T_MS)


@pytest.mark.parametrize(("offset_mk", "temp_mc"), [(250, 20_250), (-1_500, 18_500)])
def test_offset_is_added_to_a_reading(offset_mk, temp_mc):
    known, _ = judged(20_000, plan=ProbePlan(name="n1", offset_mk=offset_mk))
    assert known.good_mc == temp_mc


SENTINELS = [
    (85_000, Doubted.POWER_UP),
    (127_937, Doubted.LOW_POWER),
    (127_940, Doubted.LOW_POWER),
    (-127_000, Doubted.DISCONNECTED),
]


@pytest.mark.parametrize("offset_mk", [0, 300])
@pytest.mark.parametrize(("milli", "why"), SENTINELS)
def test_one_wire_probes_way_of_saying_no_is_no_temperature(milli, why, offset_mk):
    plan = ProbePlan(name="n1", offset_mk=offset_mk)
    known, doubt = judged(milli, T_MS + 1, before=AT_20, plan=plan)
    assert (doubt.probe, doubt.at_ms, doubt.temp_mc, doubt.quality, doubt.why) == (
        "n1",
        T_MS + 1,
        milli + offset_mk,
        Quality.BAD,
        why,
    )
    assert (known.doubt, known.doubt_quality) == (why, Quality.BAD)
    assert known.doubt_hottest_mc is None, "it is not a hot reading either"
    assert not usable(plan, known, T_MS + 1)


@pytest.mark.parametrize("milli", [milli for milli, _ in SENTINELS])
def test_other_probes_that_say_so_are_out_of_range(milli):
    _, doubt = judged(milli, plan=ProbePlan(name="n1", one_wire=False))
    assert (doubt.why, doubt.quality) == (Doubted.OUT_OF_RANGE, Quality.BAD)


@pytest.mark.parametrize("milli", [84_999, 85_001, 84_938, -126_999, 127_938])
def test_one_wire_value_beside_a_sentinel_is_merely_out_of_range(milli):
    _, doubt = judged(milli)
    assert doubt.why is Doubted.OUT_OF_RANGE


@pytest.mark.parametrize("milli", [-30_000, 70_000])
def test_last_values_within_range_are_taken(milli):
    assert judged(milli)[1] is None


@pytest.mark.parametrize("milli", [-30_001, 70_001, -(10**9), 10**9])
def test_values_out_of_range_are_bad(milli):
    known, doubt = judged(milli)
    assert (doubt.why, doubt.quality) == (Doubted.OUT_OF_RANGE, Quality.BAD)
    assert known.good_at_ms is None


def test_range_is_that_of_the_corrected_temperature():
    plan = ProbePlan(name="n1", offset_mk=-1_000)
    assert judged(71_000, plan=plan)[1] is None
    assert judged(-29_001, plan=plan)[1].why is Doubted.OUT_OF_RANGE


@pytest.mark.parametrize(
    ("milli", "quality"),
    [(None, Quality.GOOD), (None, Quality.BAD), (20_000, Quality.BAD)],
)
def test_reading_without_a_usable_value_is_doubted(milli, quality):
    known, doubt = judged(milli, T_MS + 1, before=AT_20, quality=quality)
    assert (doubt.why, doubt.quality) == (Doubted.NO_VALUE, Quality.BAD)
    assert (known.good_at_ms, known.good_mc) == (T_MS, 20_000), "what was good stays"
    assert not usable(PROBE, known, T_MS + 1)


def test_uncertain_from_the_door_stays_uncertain():
    known, doubt = judged(20_500, T_MS + 1, before=AT_20, quality=Quality.UNCERTAIN)
    assert (doubt.why, doubt.quality) == (Doubted.UNCERTAIN, Quality.UNCERTAIN)
    assert (known.doubt_at_ms, known.doubt_mc) == (T_MS + 1, 20_500)
    assert known.good_mc == 20_000


def test_good_reading_of_long_ago_is_late_hence_uncertain():
    late_ms = T_MS + PROBE.stale_after_ms
    assert judged(20_000, now_ms=late_ms)[1] is None
    known, doubt = judged(20_000, now_ms=late_ms + 1)
    assert (doubt.why, doubt.quality) == (Doubted.UNCERTAIN, Quality.UNCERTAIN)
    assert known.good_at_ms is None


@pytest.mark.parametrize("at_ms", [T_MS, T_MS - 1, T_MS - 10**9])
@pytest.mark.parametrize("quality", [Quality.GOOD, Quality.UNCERTAIN])
def test_reading_not_after_the_last_good_one_changes_nothing(at_ms, quality):
    known, doubt = judged(45_000, at_ms, before=AT_20, now_ms=T_MS, quality=quality)
    assert known is AT_20
    assert (doubt.why, doubt.quality) == (Doubted.OUT_OF_ORDER, Quality.UNCERTAIN)


@pytest.mark.parametrize("milli", [20_000, None])
def test_reading_from_the_future_changes_nothing(milli):
    before = ProbeState()
    known, doubt = judged(milli, T_MS + 1, before=before, now_ms=T_MS)
    assert known is before
    assert doubt.why is Doubted.OUT_OF_ORDER
    assert judged(20_000, T_MS, now_ms=T_MS)[1] is None


@pytest.mark.parametrize("direction", [1, -1])
def test_fastest_possible_change_is_taken_and_a_faster_one_doubted(direction):
    """Chosen limit: 3 K at once and 0.2 K more each second."""
    most_mk = 3_000 + 200 * 30
    inside = judged(20_000 + direction * most_mk, T_MS + EVERY_MS, before=AT_20)
    assert inside[1] is None
    beyond = 20_000 + direction * (most_mk + 1)
    known, doubt = judged(beyond, T_MS + EVERY_MS, before=AT_20)
    assert (doubt.why, doubt.quality) == (Doubted.IMPOSSIBLE_RATE, Quality.UNCERTAIN)
    assert (known.good_mc, known.doubt_mc) == (20_000, beyond)


def test_rate_is_held_against_the_time_between_readings_to_the_millisecond():
    assert judged(23_000, T_MS + 1, before=AT_20)[1] is None
    assert judged(23_001, T_MS + 4, before=AT_20)[1].why is Doubted.IMPOSSIBLE_RATE
    assert judged(23_001, T_MS + 5, before=AT_20)[1] is None


def test_jump_is_taken_when_the_next_reading_confirms_it():
    known, doubt = series(20_000, 36_000)
    assert doubt.why is Doubted.IMPOSSIBLE_RATE
    known, doubt = series(20_000, 36_000, 36_200)
    assert doubt is None
    assert known == ProbeState(
        good_at_ms=T_MS + 60_000,
        good_mc=36_200,
        over_cutout=1,
        same_since_ms=T_MS + 60_000,
    ), "confirmed, and from here it counts"


def test_jump_is_forgotten_when_the_next_reading_is_as_before():
    known, doubt = series(20_000, 36_000, 20_100)
    assert doubt is None
    assert known == ProbeState(
        good_at_ms=T_MS + 60_000, good_mc=20_100, same_since_ms=T_MS + 60_000
    )


def test_wild_readings_confirm_nothing():
    _, doubt = series(20_000, 36_000, 60_000)
    assert doubt.why is Doubted.IMPOSSIBLE_RATE
    _, doubt = series(20_000, 36_000, 60_000, 45_000)
    assert doubt.why is Doubted.IMPOSSIBLE_RATE


def test_same_message_twice_does_not_confirm_itself():
    jumped, _ = judged(36_000, T_MS + EVERY_MS, before=AT_20)
    again, doubt = judged(36_000, T_MS + EVERY_MS, before=jumped)
    assert doubt.why is Doubted.IMPOSSIBLE_RATE
    assert again.good_mc == 20_000


def test_uncertain_jump_does_not_confirm_the_next_one():
    _, doubt = series(20_000, (36_000, Quality.UNCERTAIN), 36_000)
    assert doubt.why is Doubted.IMPOSSIBLE_RATE
    known, doubt = series(20_000, (36_000, Quality.UNCERTAIN), 36_000, 36_000)
    assert doubt is None
    assert known.good_mc == 36_000


def test_rate_is_not_asked_across_a_silence():
    stale_ms = PROBE.stale_after_ms
    # at a distance of exactly the stale time 3 K + 24 K are possible
    assert judged(47_001, T_MS + stale_ms, before=AT_20)[1].why is (
        Doubted.IMPOSSIBLE_RATE
    )
    assert judged(47_001, T_MS + stale_ms + 1, before=AT_20)[1] is None


def test_good_reading_older_than_the_doubtful_one_clears_nothing():
    before, _ = judged(36_000, T_MS + 10_000, before=AT_20, quality=Quality.UNCERTAIN)
    known, doubt = judged(20_100, T_MS + 9_999, before=before, now_ms=T_MS + 11_000)
    assert doubt is None
    assert (known.good_at_ms, known.good_mc) == (T_MS + 9_999, 20_100)
    assert (known.doubt, known.doubt_hottest_mc) == (Doubted.UNCERTAIN, 36_000)
    assert not usable(PROBE, known, T_MS + 11_000)
    known, _ = judged(20_100, T_MS + 10_000, before=before, now_ms=T_MS + 11_000)
    assert known == ProbeState(
        good_at_ms=T_MS + 10_000, good_mc=20_100, same_since_ms=T_MS + 10_000
    )


def test_good_reading_older_than_the_doubtful_one_still_counts_against_the_cut_out():
    hot = ProbeState(good_at_ms=T_MS, good_mc=33_500, over_cutout=1)
    before, _ = judged(33_500, T_MS + 10_000, before=hot, quality=Quality.UNCERTAIN)
    known, _ = judged(33_500, T_MS + 9_000, before=before, now_ms=T_MS + 11_000)
    assert known.over_cutout == 2


@pytest.mark.parametrize(
    ("temps", "count"),
    [
        ((32_999,), 0),
        ((33_000,), 1),
        ((33_000, 33_100), 2),
        ((33_000, 33_100, 33_000), 3),
        ((33_000, 32_999), 0),
        ((33_000, 32_999, 33_000), 1),
        ((33_000, (33_500, Quality.UNCERTAIN)), 1),
        ((33_000, (None, Quality.BAD), 33_000), 2),
        (((33_000, Quality.UNCERTAIN), (34_000, Quality.UNCERTAIN)), 0),
        ((33_000, 85_000), 1),
    ],
)
def test_cut_out_counts_good_readings_in_a_row(temps, count):
    assert series(*temps)[0].over_cutout == count


def test_probe_that_guards_no_cut_out_counts_nothing():
    known, _ = judged(45_000, cutout_mc=None)
    assert (known.good_mc, known.over_cutout) == (45_000, 0)


def test_hottest_doubtful_reading_is_kept_until_a_good_one():
    hot = (36_000, Quality.UNCERTAIN)
    assert series(20_000, hot)[0].doubt_hottest_mc == 36_000
    cooler = (20_500, Quality.UNCERTAIN)
    known, _ = series(20_000, hot, cooler)
    assert (known.doubt_mc, known.doubt_hottest_mc) == (20_500, 36_000)
    known, _ = series(20_000, cooler, hot)
    assert known.doubt_hottest_mc == 36_000
    known, _ = series(20_000, hot, (None, Quality.BAD))
    assert (known.doubt_mc, known.doubt_hottest_mc) == (None, 36_000)
    known, _ = series(20_000, hot, cooler, 20_600)
    assert known.doubt_hottest_mc is None


def test_out_of_range_reading_may_be_a_hot_one():
    assert judged(70_500)[0].doubt_hottest_mc == 70_500


def test_bad_value_from_the_door_is_no_hot_reading():
    assert judged(45_000, quality=Quality.BAD)[0].doubt_hottest_mc is None


WITNESS = ProbePlan(name="n1", quantity=Quantity.LIGHT)


def test_witness_of_another_quantity_may_say_any_number_and_jump():
    for milli in (85_000, -127_000, 10**9):
        known, doubt = judged(milli, T_MS + 1, before=AT_20, plan=WITNESS)
        assert (doubt, known.good_mc) == (None, milli)


def test_witness_of_another_quantity_is_still_judged_by_the_door_and_the_clock():
    uncertain = judged(1, T_MS + 1, plan=WITNESS, quality=Quality.UNCERTAIN)
    assert uncertain[1].why is Doubted.UNCERTAIN
    assert judged(None, plan=WITNESS)[1].why is Doubted.NO_VALUE
    assert judged(1, plan=WITNESS, before=AT_20)[1].why is Doubted.OUT_OF_ORDER
    late = judged(1, plan=WITNESS, now_ms=T_MS + 120_001)
    assert late[1].why is Doubted.UNCERTAIN


def test_probe_is_usable_until_its_stale_time_is_over():
    last_ms = T_MS + PROBE.stale_after_ms
    assert usable(PROBE, AT_20, last_ms)
    assert not silent(PROBE, AT_20, last_ms)
    assert not usable(PROBE, AT_20, last_ms + 1)
    assert silent(PROBE, AT_20, last_ms + 1)


def test_probe_that_never_spoke_is_silent():
    assert silent(PROBE, ProbeState(), 0)
    assert not usable(PROBE, ProbeState(), 0)


# --------------------------------------------------------- the very same for long

STUCK_MS = PROBE.stuck_after_ms


def unmoved(since_ms=T_MS):
    """Return what is known of a probe that has said 20 °C ever since."""
    return ProbeState(T_MS, 20_000, same_since_ms=since_ms)


@pytest.mark.parametrize(("late_ms", "stuck"), [(0, False), (1, True)])
def test_probe_of_a_mat_that_says_the_same_for_too_long_is_doubted(late_ms, stuck):
    at_ms = T_MS + EVERY_MS
    before = unmoved(since_ms=at_ms - STUCK_MS - late_ms)
    known, doubt = judged(20_000, at_ms, before=before)
    assert (doubt is not None) is stuck
    if stuck:
        assert (doubt.why, doubt.quality) == (Doubted.STUCK, Quality.UNCERTAIN)
        assert (doubt.at_ms, doubt.temp_mc) == (at_ms, 20_000)
        assert known.good_at_ms == T_MS
    else:
        assert known.good_at_ms == at_ms
    _, doubt = judged(20_000, at_ms, before=before, cutout_mc=None)
    assert doubt is None, "where it guards no mat it may"
    _, doubt = judged(20_001, at_ms, before=before)
    assert doubt is None, "it has moved"


def test_value_is_the_same_since_it_was_first_said():
    at_ms = T_MS + EVERY_MS
    known, _ = judged(20_000, at_ms, before=unmoved(since_ms=77))
    assert known.same_since_ms == 77
    known, _ = judged(20_001, at_ms, before=unmoved(since_ms=77))
    assert known.same_since_ms == at_ms
    known, _ = judged(0, at_ms, before=ProbeState(same_since_ms=77))
    assert known.same_since_ms == at_ms, "nothing was said before"


def test_late_reading_keeps_since_when_it_is_the_same():
    doubted = ProbeState(
        T_MS,
        20_000,
        doubt=Doubted.UNCERTAIN,
        doubt_at_ms=T_MS + 20_000,
        same_since_ms=77,
    )
    now_ms = T_MS + EVERY_MS
    known, _ = judged(20_000, T_MS + 10_000, before=doubted, now_ms=now_ms)
    assert (known.good_at_ms, known.same_since_ms) == (T_MS + 10_000, 77)
    known, _ = judged(20_500, T_MS + 10_000, before=doubted, now_ms=now_ms)
    assert known.same_since_ms == T_MS + 10_000
