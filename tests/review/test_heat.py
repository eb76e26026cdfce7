"""Heat in buckets: what a mat was told, and how near a tray was to what was wanted."""

import pytest

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
