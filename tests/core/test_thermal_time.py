"""Degree-hours: exact along straight lines, rounded once, never over a gap."""

from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.core.state import ThermalAccount
from controller.core.thermal_time import add_sample, heat_along
from controller.core.units import (
    DAY_MS,
    HOUR_MS,
    MINUTE_MS,
    SECOND_MS,
    celsius,
    kelvin,
    kelvin_hours,
    watt_hours,
)

STALE_MS = 120_000

temps = st.integers(-30_000, 70_000)
uppers = st.none() | st.integers(1, 40_000)
spans = st.integers(1, 3 * HOUR_MS)


def account(base_mc=10_000, upper_mc=None):
    return ThermalAccount(base_mc, upper_mc)


def fed(samples, known=None, stale_ms=STALE_MS):
    known = account() if known is None else known
    for at_ms, temp_mc in samples:
        known = add_sample(known, at_ms, temp_mc, stale_ms)
    return known


# ------------------------------------------------------------------------ units


def test_units_are_what_their_names_say():
    assert (SECOND_MS, MINUTE_MS, HOUR_MS, DAY_MS) == (1e3, 60e3, 3600e3, 86400e3)
    assert celsius(-1_500) == kelvin(-1_500) == -1.5
    assert kelvin_hours(12_000 * 2 * HOUR_MS) == 24.0
    assert watt_hours(100_000, HOUR_MS // 2) == 50.0


# --------------------------------------------------------------------- one line


def by_pieces(from_mc, to_mc, base_mc, upper_mc, lasting_ms):
    """Integrate by cutting the line where it crosses, and trapezia in between."""
    cuts = {Fraction(0), Fraction(1)}
    for threshold in (base_mc, upper_mc):
        if threshold is not None and from_mc != to_mc:
            cuts.add(Fraction(threshold - from_mc, to_mc - from_mc))

    def height(share):
        temp = from_mc + share * (to_mc - from_mc)
        return max(0, (temp if upper_mc is None else min(temp, upper_mc)) - base_mc)

    shares = sorted(share for share in cuts if 0 <= share <= 1)
    return sum(
        (height(a) + height(b)) / 2 * (b - a) * lasting_ms for a, b in pairwise(shares)
    )


@settings(deadline=None, max_examples=300)
@given(temps, temps, st.integers(0, 30_000), uppers, spans)
def test_line_is_integrated_exactly_and_rounded_once(start, end, base, above, lasting):
    upper = None if above is None else base + above
    exact = by_pieces(start, end, base, upper, lasting)
    assert heat_along(start, end, base, upper, lasting) == round(exact)
    assert heat_along(end, start, base, upper, lasting) == round(exact)


@pytest.mark.parametrize(
    ("start", "end", "upper", "heat"),
    [
        (10_000, 10_000, None, 0),
        (9_999, 9_999, None, 0),
        (10_001, 10_001, None, 1_000),
        (8_000, 10_000, None, 0),
        (10_000, 12_000, None, 1_000_000),
        (9_000, 11_000, None, 250_000),  # a triangle: 1 K high, half the time
        (12_000, 12_000, 12_000, 2_000_000),
        (12_001, 12_001, 12_000, 2_000_000),
        (11_999, 11_999, 12_000, 1_999_000),
        (30_000, 50_000, 12_000, 2_000_000),
        (11_000, 13_000, 12_000, 1_750_000),
        (9_000, 13_000, 12_000, 1_000_000),  # base and upper both crossed
    ],
)
def test_a_second_above_base_and_below_upper(start, end, upper, heat):
    assert heat_along(start, end, 10_000, upper, 1_000) == heat
    assert heat_along(end, start, 10_000, upper, 1_000) == heat


@pytest.mark.parametrize(
    ("start", "end", "heat"), [(0, 1, 0), (1, 2, 2), (2, 3, 2), (3, 4, 4), (0, 3, 2)]
)
def test_halves_are_rounded_to_even(start, end, heat):
    assert heat_along(start, end, 0, None, 1) == heat


def test_thirds_are_rounded_to_the_nearest():
    # A triangle of height h and rise h + l over 1 ms holds h² / (2 (h + l)).
    assert heat_along(-1, 2, 0, None, 1) == 1  # 4/6
    assert heat_along(-2, 1, 0, None, 2) == 0  # 2/6
    assert heat_along(-4, 2, 0, None, 4) == 1  # 16/12


@settings(deadline=None)
@given(
    temps,
    st.integers(-500, 500),
    st.tuples(st.integers(1, 40), st.integers(1, 40)),
    st.integers(1, 60_000),
    st.integers(0, 30_000),
    uppers,
)
def test_a_sample_on_the_line_changes_the_sum_by_a_unit_at_most(
    start, rise, pieces, piece_ms, base, above
):
    upper = None if above is None else base + above
    (first, second), middle = pieces, start + rise * pieces[0]
    end = middle + rise * second
    whole = heat_along(start, end, base, upper, (first + second) * piece_ms)
    halves = heat_along(start, middle, base, upper, first * piece_ms)
    halves += heat_along(middle, end, base, upper, second * piece_ms)
    assert abs(whole - halves) <= 1


# ------------------------------------------------------------------ the account


def test_first_sample_only_begins_an_account():
    assert fed([(5_000, 25_000)]) == ThermalAccount(10_000, None, 5_000, 25_000)


def test_account_carries_heat_warmth_and_the_time_measured():
    assert fed([(0, 20_000), (60_000, 22_000), (90_000, 22_000)]) == ThermalAccount(
        base_mc=10_000,
        last_ms=90_000,
        last_mc=22_000,
        heat_mk_ms=11_000 * 60_000 + 12_000 * 30_000,
        warmth_mk_ms=21_000 * 60_000 + 22_000 * 30_000,
        measured_ms=90_000,
    )


def test_base_and_upper_of_an_account_are_the_ones_that_count():
    known = account(base_mc=12_000, upper_mc=20_000)
    known = fed([(0, 25_000), (1_000, 25_000), (400_000, 15_000)], known)
    known = fed([(401_000, 15_000)], known)
    assert (known.base_mc, known.upper_mc) == (12_000, 20_000)
    assert known.heat_mk_ms == 8_000 * 1_000 + 3_000 * 1_000
    assert known.warmth_mk_ms == 25_000 * 1_000 + 15_000 * 1_000


def test_warmth_below_zero_is_rounded_like_the_rest():
    assert fed([(0, -1), (1, 0)]).warmth_mk_ms == 0  # -1/2
    assert fed([(0, -2), (1, -1)]).warmth_mk_ms == -2  # -3/2
    assert fed([(0, -3), (1, -3)]).warmth_mk_ms == -3


def test_interval_longer_than_the_stale_time_is_a_gap_and_one_as_long_is_not():
    known = fed([(0, 20_000), (STALE_MS, 20_000)])
    assert (known.measured_ms, known.gap_ms, known.gaps) == (STALE_MS, 0, 0)
    late = fed([(2 * STALE_MS + 1, 30_000)], known)
    assert late == ThermalAccount(
        base_mc=10_000,
        last_ms=2 * STALE_MS + 1,
        last_mc=30_000,
        heat_mk_ms=known.heat_mk_ms,
        warmth_mk_ms=known.warmth_mk_ms,
        measured_ms=STALE_MS,
        gap_ms=STALE_MS + 1,
        gaps=1,
    )


def test_gaps_are_added_up_and_counting_goes_on_after_each():
    known = fed([(0, 20_000), (200_000, 20_000), (201_000, 20_000), (400_000, 0)])
    known = fed([(401_000, 10_000)], known)
    assert (known.gap_ms, known.gaps, known.measured_ms) == (399_000, 2, 2_000)
    assert known.heat_mk_ms == 10_000 * 1_000


@pytest.mark.parametrize("at_ms", [0, 59_999, 60_000])
def test_sample_that_is_not_newer_changes_nothing(at_ms):
    known = fed([(0, 20_000), (60_000, 22_000)])
    assert add_sample(known, at_ms, 40_000, STALE_MS) is known


def test_sample_a_millisecond_newer_counts():
    assert fed([(0, 20_000), (1, 20_000)]).heat_mk_ms == 10_000


@settings(deadline=None, max_examples=50)
@given(st.lists(st.tuples(st.integers(1, 200_000), temps), max_size=30), uppers)
def test_every_moment_is_measured_or_gap_and_each_stretch_counts_alone(steps, above):
    """Days add up to the season, to the last digit."""
    upper = None if above is None else 10_000 + above
    samples, at_ms = [(0, 15_000)], 0
    for step_ms, temp_mc in steps:
        at_ms += step_ms
        samples.append((at_ms, temp_mc))
    known = fed(samples, account(upper_mc=upper))
    assert known.measured_ms + known.gap_ms == at_ms
    alone = [fed(pair, account(upper_mc=upper)) for pair in pairwise(samples)]
    assert known.heat_mk_ms == sum(part.heat_mk_ms for part in alone)
    assert known.warmth_mk_ms == sum(part.warmth_mk_ms for part in alone)
    assert known.gaps == sum(part.gaps for part in alone)
    assert known.heat_mk_ms >= 0
    if upper is not None:
        assert known.heat_mk_ms <= (upper - 10_000) * known.measured_ms
