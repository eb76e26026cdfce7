"""Daily degree-day methods against published tables, examples and quadrature."""

import math
import random
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from controller.review.daily_degree_days import (
    ABBREVIATIONS,
    NEEDS_NEXT_DAY,
    SOURCES,
    TAKES_CUTOFF,
    DailyMethod,
    degree_days,
    mcmaster_wilhelm_method_1,
    mcmaster_wilhelm_method_2,
    met_service,
)
from controller.review.day_shapes import Cutoff, sine, triangle

pytestmark = pytest.mark.oracle

MAX_C = [20, 10, 8, 6, 10, 5, -2, -5, 10, 15]
MIN_C = [10, 1, -2, 0, 5, -5, -7, -10, -2, 2]
METHOD_1 = [15, 5.5, 3, 3, 7.5, 0, 0, 0, 4, 8.5]
METHOD_2 = [15, 5.5, 4, 3, 7.5, 2.5, 0, 0, 5, 8.5]
"""McMaster and Wilhelm 1997, "Growing degree-days: one equation, two
interpretations", Agric. For. Meteorol. 87:291-300, Table 1 (base 0 °C), as
coded in the test data of the R package degday (mcmaster97_tbl1)."""


@pytest.mark.parametrize(
    ("method", "days", "total"),
    [
        (DailyMethod.AVERAGE_1, METHOD_1, 46.5),
        (DailyMethod.AVERAGE_2, METHOD_2, 51.0),
    ],
    ids=["method-1", "method-2"],
)
def test_days_and_sum_are_those_of_table_1(method, days, total):
    found = [
        degree_days(method, hi, lo, 0) for hi, lo in zip(MAX_C, MIN_C, strict=True)
    ]
    assert found == days
    assert sum(found) == total


@pytest.mark.parametrize("base_c", [-5.0, 4.0, 10.0])
def test_methods_differ_only_where_the_base_lies_between_the_readings(base_c):
    """McMaster and Wilhelm 1997, abstract: Method 1 gives less where the lowest
    temperature alone is below the base; else they agree.
    """
    for hi, lo in zip(MAX_C, MIN_C, strict=True):
        first = mcmaster_wilhelm_method_1(hi, lo, base_c)
        second = mcmaster_wilhelm_method_2(hi, lo, base_c)
        assert (first < second) is (lo < base_c < hi)
        assert first <= second


# ----------------------------------------------------------- Zalom 1983, Table 7

ZALOM_TABLE_7 = [
    (96, 110, 91, 35, 35, 35, 35),
    (91, 105, 96, 35, 35, 35, 35),
    (45, 54, 38, 0, 0, 0, 0),
    (38, 50, 45, 0, 0, 0, 0),
    (60, 80, 75, 15, 18.75, 15, 18.75),
    (75, 88, 60, 26.5, 22.75, 26.5, 22.75),
    (50, 82, 45, 11.39, 10.62, 11.85, 11.31),
    (45, 70, 50, 4.5, 5.06, 5.31, 5.70),
    (60, 100, 75, 23.75, 24.88, 22.82, 26.26),
    (75, 95, 60, 29.38, 25.76, 28.91, 25.30),
    (50, 101, 48, 19.56, 19.19, 18.95, 18.69),
    (48, 95, 50, 16.76, 17.13, 16.96, 17.23),
]
"""Zalom et al. 1983, UC Leaflet 21373, Table 7, °F with thresholds 55 and 90 and
a horizontal cut-off: lowest, highest, next lowest; single triangle, double
triangle, single sine, double sine; as coded in the test data of the R package
degday (zalom83_tbl7)."""

MISPRINT = (8, DailyMethod.DOUBLE_TRIANGLE)
"""Row 9 prints 24.88. The mean of its half-days is 27.125: 23.75, as the row's own
single triangle, and 87.5 - 55 - (100 - 90)² / (2 · 25) = 30.5. degday's tests leave
the value out as well, suspecting an error of the table."""

PRINTED = (
    DailyMethod.SINGLE_TRIANGLE,
    DailyMethod.DOUBLE_TRIANGLE,
    DailyMethod.SINGLE_SINE,
    DailyMethod.DOUBLE_SINE,
)


@pytest.mark.parametrize("row", range(12))
@pytest.mark.parametrize("method", PRINTED)
def test_all_values_of_table_7_to_the_last_printed_digit(row, method):
    """The leaflet rounds halves as it likes: 10.625 is 10.62, 29.375 is 29.38."""
    low, high, next_low, *printed = ZALOM_TABLE_7[row]
    found = degree_days(method, high, low, 55, upper=90, next_low=next_low)
    if (row, method) == MISPRINT:
        assert found == 27.125
        assert abs(found - 24.88) > 2
    else:
        rounding = 0.005 + 1e-9
        assert found == pytest.approx(printed[PRINTED.index(method)], abs=rounding)


# ------------------------------------------------------------- 86/50 and the rest


@pytest.mark.parametrize(
    ("high", "low", "corn"),
    [
        # A county extension column of 2018-04-25: three days, 43 in total.
        (90, 65, 25.5),
        (72, 46, 11),
        (63, 42, 6.5),
        # Ohio State University Extension, 2023-06-12.
        (87, 63, 24.5),
        # Iowa State University, Agronomy 541, lesson 2b; and the most there can be.
        (70, 50, 10),
        (99, 88, 36),
        # A worked example of a calculator's page.
        (92, 44, 18),
    ],
)
def test_method_2_with_both_thresholds_is_the_86_50_of_corn(high, low, corn):
    """Iowa State University, Agronomy 541 lesson 2b, rules 1 and 2."""
    assert degree_days(DailyMethod.AVERAGE_2, high, low, 50, upper=86) == corn


@pytest.mark.parametrize(
    ("high", "low", "expected"),
    [
        (20, 12, 6),  # I: the mean of 16 less 10
        (16, 8, 2.5),  # III: 6 / 2 - 2 / 4
        (14, 2, 1),  # IV: 4 / 4
        (12, 8, 0.5),  # mean at the base: 2 / 4, as 2 / 2 - 2 / 4 is
        (10, 2, 0),  # II
        (9, 2, 0),
    ],
)
def test_four_cases_of_met_services(high, low, expected):
    """met.ie/climate/data03.asp, worked by hand with base 10."""
    assert met_service(high, low, 10) == expected
    assert degree_days(DailyMethod.MET_SERVICE, high, low, 10) == expected


# ------------------------------------------------------- shapes against quadrature

DAYS = [
    tuple(map(float, random.Random(seed).sample(range(-50, 400), 2)))  # noqa: S311
    for seed in range(40)
]


def drawn(shape, low, high, at):
    """Return a shape's temperature at a share of the day, coldest at 0 and 1."""
    if shape is sine:
        return (low + high) / 2 - (high - low) / 2 * np.cos(2 * np.pi * at)
    return low + (high - low) * (1 - abs(2 * at - 1))


@pytest.mark.parametrize("shape", [sine, triangle])
@pytest.mark.parametrize("cutoff", list(Cutoff))
def test_single_shapes_are_the_integral_of_the_rate_that_uc_ipm_describes(
    shape, cutoff
):
    """UC IPM (ipm.ucdavis.edu/WEATHER/ddmoreinfo.html): above the upper threshold
    development goes on as at it (horizontal), slows down (intermediate, by as
    much as it is above), or stops (vertical). scipy's quadrature of that rate
    along the shape, split where it meets a threshold.
    """
    rates = {
        Cutoff.HORIZONTAL: lambda t: min(t, 20.0) - 10.0,
        Cutoff.INTERMEDIATE: lambda t: t - 10.0 - 2 * max(0.0, t - 20.0),
        Cutoff.VERTICAL: lambda t: t - 10.0 if t <= 20.0 else 0.0,
    }
    method = DailyMethod.SINGLE_SINE if shape is sine else DailyMethod.SINGLE_TRIANGLE
    for tenths in DAYS:
        low, high = sorted(temp / 10 for temp in tenths)
        breaks = [0.0, 0.25, 0.5]
        for threshold in (10.0, 20.0):
            if low < threshold < high:
                share = (threshold - low) / (high - low)
                half = math.acos(1 - 2 * share) / (2 * math.pi)
                breaks.append(half if shape is sine else share / 2)

        def rate(at, low=low, high=high):
            temp = drawn(shape, low, high, at)
            return rates[cutoff](temp) if temp > 10.0 else 0.0

        breaks.sort()
        expected = 2 * sum(quad(rate, *pair)[0] for pair in pairwise(breaks))
        found = degree_days(method, high, low, 10, upper=20, cutoff=cutoff)
        if cutoff is Cutoff.INTERMEDIATE and shape is sine:
            stops = degree_days(method, high, low, 10, upper=20, cutoff=Cutoff.VERTICAL)
            assert found == pytest.approx(max(expected, stops), abs=1e-6)
        else:
            assert found == pytest.approx(expected, abs=1e-6)


# --------------------------------------------------------------- what always holds

TEMP = st.integers(-400, 900).map(lambda tenths: tenths / 10)
MORE = st.integers(1, 400).map(lambda tenths: tenths / 10)


@given(st.sampled_from(DailyMethod), TEMP, TEMP, TEMP, TEMP, MORE)
def test_a_higher_base_never_gives_more_and_nothing_is_below_zero(
    method, one, other, next_low, base, more
):
    high, low = max(one, other), min(one, other)
    next_low = min(high, next_low)
    found = degree_days(method, high, low, base, next_low=next_low)
    higher = degree_days(method, high, low, base + more, next_low=next_low)
    assert 0 <= higher <= found + 1e-9
    assert found <= max(0.0, high - base) + 1e-9


@given(st.sampled_from(sorted(TAKES_CUTOFF, key=str)), TEMP, TEMP, TEMP, TEMP, MORE)
def test_cutoffs_take_off_in_this_order(method, one, other, next_low, base, more):
    """Horizontal takes least. Vertical and intermediate have no fixed order: a
    short time far above takes more off by intermediate, a long time just above
    more by vertical; a sine's intermediate is held at the vertical.
    """
    high, low = max(one, other), min(one, other)
    given_day = {"upper": base + more, "next_low": min(high, next_low)}
    none = degree_days(method, high, low, base, next_low=given_day["next_low"])
    cut = {
        cutoff: degree_days(method, high, low, base, cutoff=cutoff, **given_day)
        for cutoff in Cutoff
    }
    assert cut[Cutoff.HORIZONTAL] <= none + 1e-9
    assert cut[Cutoff.INTERMEDIATE] <= cut[Cutoff.HORIZONTAL] + 1e-9
    assert 0 <= cut[Cutoff.VERTICAL] <= cut[Cutoff.HORIZONTAL] + 1e-9
    assert cut[Cutoff.HORIZONTAL] <= more + 1e-9
    if method in {DailyMethod.SINGLE_SINE, DailyMethod.DOUBLE_SINE}:
        assert cut[Cutoff.INTERMEDIATE] >= cut[Cutoff.VERTICAL]
    if high <= base + more:
        assert len({round(value, 9) for value in cut.values()}) == 1


@given(st.sampled_from(DailyMethod), TEMP, TEMP, TEMP, TEMP)
def test_fahrenheit_in_is_fahrenheit_out(method, one, other, next_low, base):
    high, low = max(one, other), min(one, other)
    next_low = min(high, next_low)
    in_k = degree_days(method, high, low, base, next_low=next_low)
    high, low, base, next_low = (t * 1.8 + 32 for t in (high, low, base, next_low))
    in_f = degree_days(method, high, low, base, next_low=next_low)
    assert in_f == pytest.approx(in_k * 1.8, abs=1e-6)


@pytest.mark.parametrize("method", [m for m in DailyMethod if m not in NEEDS_NEXT_DAY])
def test_a_level_day_counts_its_height_by_every_method(method):
    assert degree_days(method, 17, 17, 10) == 7
    assert degree_days(method, 7, 7, 10) == 0


def test_intermediate_of_a_triangle_far_above_the_upper_is_below_zero():
    """B - 2 U by hand: 30 - 10 - 2 · (30 - 12) = -16, whole day at 30 to 30.0."""
    found = degree_days(
        DailyMethod.SINGLE_TRIANGLE, 30, 30, 10, upper=12, cutoff=Cutoff.INTERMEDIATE
    )
    assert found == -16


# ------------------------------------------------------------------ what is refused


def test_readings_that_cannot_be_are_refused_with_their_name():
    with pytest.raises(ValueError, match=r"^high = 4: at least low, which is 5$"):
        mcmaster_wilhelm_method_1(4, 5, 0)
    for method in DailyMethod:
        for at, name in enumerate(("high", "low", "base")):
            for value in (math.nan, math.inf, -math.inf):
                readings = [20.0, 10.0, 0.0]
                readings[at] = value
                with pytest.raises(ValueError, match=f"^{name} = {value}: a temp"):
                    degree_days(method, *readings, next_low=10)


@pytest.mark.parametrize(
    ("method", "more", "words"),
    [
        ("single-sine", {"upper": 10}, "upper = 10: a temperature above base"),
        ("single-sine", {"upper": math.nan}, "upper = nan: a temperature above base"),
        ("double-sine", {}, "double-sine needs next_low"),
        ("double-triangle", {"next_low": 21}, "high = 20: at least next_low"),
        ("double-sine", {"next_low": math.inf}, "next_low = inf: a temperature is"),
        ("met-service", {"upper": 30}, "met-service knows no upper threshold"),
        (
            "average-2",
            {"upper": 30, "cutoff": Cutoff.VERTICAL},
            "average-2 knows only a horizontal one",
        ),
    ],
)
def test_what_a_method_does_not_know_is_refused(method, more, words):
    with pytest.raises(ValueError, match=words):
        degree_days(DailyMethod(method), 20, 12, 10, **more)


def test_every_method_has_a_source_and_a_short_name_of_its_own():
    assert set(SOURCES) == set(ABBREVIATIONS) == set(DailyMethod)
    assert len(set(ABBREVIATIONS.values())) == len(DailyMethod)
