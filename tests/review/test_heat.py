"""Heat in buckets: what a mat was told, and how near a tray was to what was wanted."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.units import HOUR_MS, MINUTE_MS
from controller.ports import Bucket, Heated
from controller.review.heat import HeatBucket, heat_buckets, kept

T_MS = 1_771_059_600_000  # 2026-02-14T09:00:00Z, a whole hour


def told(*spells):
    return [
        Heated(T_MS + minute * MINUTE_MS, on, setpoint)
        for minute, on, setpoint in spells
    ]


def test_time_on_is_shared_out_between_buckets():
    found = heat_buckets(
        told((-30, False, 20_000), (50, True, 21_000), (80, False, None)),
        T_MS,
        T_MS + 2 * HOUR_MS,
        HOUR_MS,
    )
    first, second = found
    assert (first.start_ms, first.on_ms, first.known_ms) == (
        T_MS,
        10 * MINUTE_MS,
        HOUR_MS,
    )
    assert (first.low_mc, first.high_mc) == (20_000, 21_000)
    assert (second.on_ms, second.known_ms) == (20 * MINUTE_MS, HOUR_MS)
    # A command without a setpoint leaves the one before in force.
    assert (second.low_mc, second.high_mc) == (21_000, 21_000)
    assert first.wanted_mc_ms == MINUTE_MS * (50 * 20_000 + 10 * 21_000)


def test_what_nobody_told_is_not_known():
    found = heat_buckets(
        told((10, True, 21_000), (20, None, None), (100, False, None)),
        T_MS,
        T_MS + 3 * HOUR_MS,
        HOUR_MS,
    )
    assert [bucket.known_ms // MINUTE_MS for bucket in found] == [10, 20, 60]
    assert [bucket.on_ms // MINUTE_MS for bucket in found] == [10, 0, 0]
    # The setpoint of before the silence is not carried over it.
    assert [bucket.low_mc for bucket in found] == [21_000, None, None]


def test_a_bucket_of_which_nothing_is_known_is_left_out():
    found = heat_buckets(
        told((60, True, 21_000), (61, None, None)), T_MS, T_MS + 3 * HOUR_MS, HOUR_MS
    )
    assert [bucket.start_ms for bucket in found] == [T_MS + HOUR_MS]
    assert list(heat_buckets([], T_MS, T_MS + HOUR_MS, HOUR_MS)) == []


def by_the_second(spells, lasting_s, width_s):
    """Return known, on and wanted [ms] and setpoints of each bucket, told plainly."""
    found = {}
    for second in range(lasting_s):
        on = setpoint = None
        for at, told_on, wanted in spells:
            if at <= second:
                on = told_on
                setpoint = (
                    None if on is None else setpoint if wanted is None else wanted
                )
        if on is not None:
            bucket = found.setdefault(second // width_s, [])
            bucket.append((on, setpoint))
    return {
        number: (
            1_000 * len(seconds),
            1_000 * sum(on for on, _ in seconds),
            1_000 * sum(wanted is not None for _, wanted in seconds),
            1_000 * sum(wanted or 0 for _, wanted in seconds),
            min((wanted for _, wanted in seconds if wanted is not None), default=None),
            max((wanted for _, wanted in seconds if wanted is not None), default=None),
        )
        for number, seconds in found.items()
    }


SPELLS = st.lists(
    st.tuples(
        st.integers(-30, 90),
        st.sampled_from([True, False, None]),
        st.sampled_from([None, 0, -3_000, 21_000, 22_500]),
    ),
    unique_by=lambda spell: spell[0],
)


@given(SPELLS, st.integers(1, 70), st.sampled_from([1, 5, 30, 60]))
def test_buckets_are_what_counting_each_second_comes_to(spells, lasting_s, width_s):
    spells = sorted(spells)
    told = [Heated(T_MS + 1_000 * at, on, wanted) for at, on, wanted in spells]
    width_ms, to_ms = 1_000 * width_s, T_MS + 1_000 * lasting_s
    found = heat_buckets(told, T_MS, to_ms, width_ms)
    assert {
        (one.start_ms - T_MS) // width_ms: (
            one.known_ms,
            one.on_ms,
            one.wanted_ms,
            one.wanted_mc_ms,
            one.low_mc,
            one.high_mc,
        )
        for one in found
    } == by_the_second(spells, lasting_s, width_s)
    assert [one.start_ms for one in found] == sorted(one.start_ms for one in found)


def hour(n, mean_mc):
    return Bucket(T_MS + n * HOUR_MS, 60, mean_mc, mean_mc, 60 * mean_mc)


def wanted(n, setpoint_mc):
    return HeatBucket(
        T_MS + n * HOUR_MS, HOUR_MS, 0, HOUR_MS, HOUR_MS * setpoint_mc, None, None
    )


@pytest.mark.parametrize(("mean_mc", "within"), [(20_000, 1), (19_999, 0), (22_000, 1)])
def test_an_hour_at_the_very_edge_counts(mean_mc, within):
    found = kept([hour(0, mean_mc)], [wanted(0, 21_000)], 1_000)
    assert (found.hours, found.within) == (1, within)


def test_hours_without_a_setpoint_or_without_readings_are_not_compared():
    hours = [hour(0, 21_000), hour(1, 25_000), hour(3, 21_000)]
    heat = [wanted(0, 21_000), wanted(1, 21_000), wanted(2, 21_000)]
    heat.append(HeatBucket(T_MS + 3 * HOUR_MS, HOUR_MS))
    found = kept(hours, heat, 1_000)
    assert (found.hours, found.within) == (2, 1)
