"""Envelopes: plain arithmetic on samples."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.units import DAY_MS, HOUR_MS
from controller.ports import Bucket
from controller.review.envelopes import (
    Figures,
    Gathered,
    bucket_of,
    bucket_width_ms,
    envelope,
    together,
)

SAMPLES = st.lists(st.tuples(st.integers(-500, 1_500), st.integers(-30_000, 70_000)))


def test_buckets_are_of_one_width_and_empty_ones_are_left_out():
    samples = [(0, 10), (9_999, 20), (10_000, 5), (35_000, 7)]
    assert envelope(samples, 0, 40_000, 4) == [
        Bucket(0, 2, 10, 20, 30),
        Bucket(10_000, 1, 5, 5, 5),
        Bucket(30_000, 1, 7, 7, 7),
    ]


def test_buckets_stay_where_they_are_whoever_asks():
    """The window moves by less than a bucket: its whole buckets are the same."""
    samples = [(at_ms, at_ms) for at_ms in range(0, 600_000, 1_000)]
    first = envelope(samples, 0, 300_000, 30)
    later = envelope(samples, 3_000, 303_000, 31)
    assert first[1:] == later[1:30]


@pytest.mark.parametrize(
    ("lasting_ms", "points", "width_ms"),
    [
        (HOUR_MS, 1_000, 4_000),
        (120 * DAY_MS, 1_000, 3 * HOUR_MS),
        (120 * DAY_MS, 120, DAY_MS),
        (120 * DAY_MS, 60, 2 * DAY_MS),
    ],
)
def test_widths_are_those_of_a_clock(lasting_ms, points, width_ms):
    assert bucket_width_ms(0, lasting_ms, points) == width_ms


def test_the_end_is_not_part_of_the_stretch_and_the_start_is():
    samples = [(-1, 1), (0, 2), (99, 3), (100, 4)]
    assert sum(bucket.n for bucket in envelope(samples, 0, 100, 7)) == 2


@given(SAMPLES, st.integers(-500, 1_500), st.integers(1, 1_000), st.integers(1, 60))
def test_nothing_is_lost_and_nothing_invented(samples, from_ms, lasting_ms, points):
    to_ms = from_ms + lasting_ms
    buckets = envelope(samples, from_ms, to_ms, points)
    inside = [temp for at, temp in samples if from_ms <= at < to_ms]
    width_ms = bucket_width_ms(from_ms, to_ms, points)
    assert len(buckets) <= points
    assert sum(bucket.n for bucket in buckets) == len(inside)
    assert sum(bucket.sum_mc for bucket in buckets) == sum(inside)
    if inside:
        assert min(bucket.min_mc for bucket in buckets) == min(inside)
        assert max(bucket.max_mc for bucket in buckets) == max(inside)
    for bucket in buckets:
        end_ms = bucket.start_ms + width_ms
        own = [temp for at, temp in samples if bucket.start_ms <= at < end_ms]
        own = [temp for temp in own if temp in inside]
        assert bucket.n >= 1
        assert bucket.min_mc in own
        assert bucket.max_mc in own
        assert bucket.min_mc * bucket.n <= bucket.sum_mc <= bucket.max_mc * bucket.n


@given(SAMPLES)
def test_the_order_in_which_readings_come_does_not_matter(samples):
    there = envelope(samples, 0, 1_000, 10)
    assert envelope(reversed(samples), 0, 1_000, 10) == there


@given(SAMPLES, st.integers(-500, 1_500), st.integers(1, 1_000), st.integers(1, 60))
def test_in_columns_the_same_comes_out(samples, from_ms, lasting_ms, points):
    to_ms = from_ms + lasting_ms
    width_ms = bucket_width_ms(from_ms, to_ms, points)
    found = Gathered(from_ms, to_ms, width_ms)
    for at_ms, temp in samples:
        if from_ms <= at_ms < to_ms:
            found.add(bucket_of(at_ms, width_ms), Figures(1, temp, temp, temp))
    buckets, truth = found.buckets(), envelope(samples, from_ms, to_ms, points)
    assert list(buckets) == truth
    assert [buckets[n] for n in range(len(buckets))] == truth
    assert buckets[1:] == truth[1:]
    assert buckets == found.buckets()
    inside = [temp for at, temp in samples if from_ms <= at < to_ms]
    whole = (len(inside), min(inside), max(inside), sum(inside)) if inside else None
    assert together(buckets) == whole


@pytest.mark.parametrize("at_ms", [-1, 4_000])
def test_what_lies_outside_of_a_stretch_finds_no_bucket(at_ms):
    found = Gathered(0, 4_000, 1_000)
    with pytest.raises(IndexError):
        found.add(bucket_of(at_ms, 1_000), Figures(1, 5, 5, 5))


@pytest.mark.parametrize(
    ("from_ms", "to_ms", "points"), [(5, 5, 3), (6, 5, 3), (0, 9, 0)]
)
def test_an_empty_stretch_is_an_error(from_ms, to_ms, points):
    with pytest.raises(ValueError, match=r"must lie after|at least 1"):
        envelope([], from_ms, to_ms, points)
