"""Numbers as text."""

from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from api import formats

T_MS = 1_771_059_600_000


@given(st.integers(0, 253_402_300_799_999))
def test_an_instant_is_rfc_3339_and_reads_back_exactly(utc_ms):
    text = formats.utc_text(utc_ms)
    read = datetime.strptime(text, "%Y-%m-%dT%H:%M:%S.%fZ").replace(tzinfo=UTC)
    whole_s, rest_us = divmod(utc_ms * 1000, 1_000_000)
    assert (int(read.timestamp()), read.microsecond) == (whole_s, rest_us)


@pytest.mark.parametrize(
    ("temp_mc", "unit", "text"),
    [
        (23_889, "°C", "23.9 °C"),
        (23_889, "°F", "75.0 °F"),
        (0, "°F", "32.0 °F"),
        (-40_000, "°F", "-40.0 °F"),
        (-20, "°C", "0.0 °C"),
    ],
)
def test_a_temperature_is_in_the_display_unit(temp_mc, unit, text):
    assert formats.temp_text(temp_mc, unit) == text


@pytest.mark.parametrize(
    ("lasting_ms", "text"),
    [
        (-1, "0 s"),
        (0, "0 s"),
        (45_400, "45 s"),
        (59_999, "60 s"),
        (60_000, "1 min"),
        (3_599_999, "59 min"),
        (3_600_000, "1 h"),
        (7_500_000, "2 h 5 min"),
        (86_400_000, "1 d"),
        (270_000_000, "3 d 3 h"),
    ],
)
def test_a_duration_is_said_as_a_person_says_it(lasting_ms, text):
    assert formats.duration_text(lasting_ms) == text


@pytest.mark.parametrize(
    ("days", "text"),
    [
        (0, "0 days"),
        (1, "1 day"),
        (1.04, "1 day"),
        (3.25, "3.2 days"),
        (9.94, "9.9 days"),
        (12.4, "12 days"),
    ],
)
def test_days_have_one_decimal_below_ten(days, text):
    assert formats.days_text(days) == text


def test_the_benchs_own_clock_follows_its_time_zone():
    assert formats.local_text(T_MS, T_MS, "Europe/Lisbon") == "09:00"
    assert formats.local_text(T_MS, T_MS, "America/New_York") == "04:00"
    other_day = formats.local_text(T_MS, T_MS + 86_400_000, "Europe/Lisbon")
    assert other_day == "09:00 on 2026-02-14"
