"""Numbers and times of other recorders, against definitions and published dates."""

from datetime import UTC, datetime
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.constants import convert_temperature

from controller.adapters.exchange import (
    ExchangeError,
    NoTimeError,
    reader_of_times,
)
from controller.review.other_recorders import (
    Found,
    NoReadingError,
    gaps,
    in_order,
    milli_celsius,
    usual_interval_ms,
)


@pytest.mark.oracle
@pytest.mark.parametrize(
    ("text", "unit", "milli"),
    [
        ("32", "°F", 0),
        ("86", "°F", 30_000),
        ("-22", "°F", -30_000),
        ("75", "°F", 23_889),  # 23.888…
        ("273.15", "K", 0),
        ("300", "K", 26_850),
        ("24", "°C", 24_000),
    ],
)
def test_units_as_they_are_defined(text, unit, milli):
    """NIST SP 811 (2008), B.8: t/°C = (t/°F - 32)/1.8, t/°C = T/K - 273.15."""
    assert milli_celsius(text, unit) == milli


@pytest.mark.oracle
@given(st.integers(-2_200, 15_700), st.sampled_from(["°F", "K"]))
def test_conversions_agree_with_scipy_s(hundredths, unit):
    """scipy.constants.convert_temperature, to the last thousandth but for halves."""
    text = str(Decimal(hundredths if unit == "°F" else hundredths + 26_000) / 100)
    name = {"°F": "Fahrenheit", "K": "Kelvin"}[unit]
    theirs = float(convert_temperature(float(text), name, "Celsius")) * 1000
    try:
        ours = milli_celsius(text, unit)
    except NoReadingError:
        assert not -30_000.5 < theirs < 70_000.5
    else:
        assert abs(ours - theirs) <= 0.5 + 1e-6


@given(st.integers(-30_000, 70_000))
def test_celsius_comes_back_to_the_thousandth(milli):
    assert milli_celsius(f"{Decimal(milli) / 1000}", "°C") == milli


@pytest.mark.parametrize(
    ("text", "decimal", "milli"),
    [
        (" 21.5 ", ".", 21_500),
        ("+21,5", ",", 21_500),
        ("\N{MINUS SIGN}2.5", ".", -2_500),
        ("2.15e1", ".", 21_500),
        ("21.0005", ".", 21_000),  # halves go to the even neighbour
        ("21.0015", ".", 21_002),
    ],
)
def test_numbers_as_people_write_them(text, decimal, milli):
    assert milli_celsius(text, "°C", decimal) == milli


@pytest.mark.parametrize(
    ("text", "decimal", "reason"),
    [
        ("", ".", "empty"),
        ("   ", ".", "empty"),
        ("NaN", ".", "no number"),
        ("inf", ".", "no number"),
        ("---", ".", "no number"),
        ("OL", ".", "no number"),
        ("21,5", ".", "no number"),
        ("1.021,5", ",", "no number"),
        ("21.5", ",", "no number"),
        ("2_1", ".", "no number"),
        ("٢١", ".", "no number"),
        ("1" * 4_000, ".", "no number"),
        ("9e99", ".", "outside -30 to 70 °C"),
        ("-127", ".", "outside -30 to 70 °C"),
        ("85", ".", "outside -30 to 70 °C"),
        ("70.001", ".", "outside -30 to 70 °C"),
    ],
)
def test_what_is_no_temperature_is_refused_with_the_reason(text, decimal, reason):
    with pytest.raises(NoReadingError, match=reason):
        milli_celsius(text, "°C", decimal)


def utc(*parts: int) -> int:
    return round(datetime(*parts, tzinfo=UTC).timestamp() * 1000)


@pytest.mark.oracle
@pytest.mark.parametrize(
    ("text", "fold", "instant"),
    [
        # Directive 2000/84/EC: clocks change at 01:00 UTC on the last Sundays of
        # March and October: 28 March and 31 October in 2027.
        ("2027-03-28 01:59:59", None, utc(2027, 3, 28, 0, 59, 59)),
        ("2027-03-28 03:00", None, utc(2027, 3, 28, 1)),
        ("2027-10-31 01:59:59", None, utc(2027, 10, 30, 23, 59, 59)),
        ("2027-10-31 02:30", "earlier", utc(2027, 10, 31, 0, 30)),
        ("2027-10-31 02:30", "later", utc(2027, 10, 31, 1, 30)),
        ("2027-10-31 03:00", None, utc(2027, 10, 31, 2)),
        # 02:30 never comes: one hour ahead it is 01:30 UTC, two hours 00:30 UTC.
        ("2027-03-28 02:30", "earlier", utc(2027, 3, 28, 0, 30)),
        ("2027-03-28 02:30", "later", utc(2027, 3, 28, 1, 30)),
        ("2027-10-31T02:30+01:00", None, utc(2027, 10, 31, 1, 30)),
        ("2027-10-31T02:30Z", None, utc(2027, 10, 31, 2, 30)),
        ("2027-02-01T09:00:00.1239", None, utc(2027, 2, 1, 8) + 123),
    ],
)
def test_local_times_about_the_change_of_clocks(text, fold, instant):
    assert reader_of_times("iso", "Europe/Paris", fold)(text) == instant


@pytest.mark.parametrize(
    ("written", "text", "reason"),
    [
        ("iso", "2027-10-31 02:30", "comes twice"),
        ("iso", "2027-03-28 02:30", "never comes"),
        ("iso", "", "no time"),
        ("iso", "2027-02-30", "no time"),
        ("iso", "1969-12-31 12:00", "not between 1970"),
        ("iso", "9999-12-31 23:59", "not between 1970"),
        ("iso", "0001-01-01 00:00", "not between 1970"),
        ("unix", "nan", "no time"),
        ("unix", "1e300", "no time"),
        ("unix", "-1", "not between 1970"),
        ("%d.%m.%Y %H:%M", "31.02.2027 01:00", "no time"),
    ],
)
def test_what_is_no_instant_is_refused_with_the_reason(written, text, reason):
    with pytest.raises(NoTimeError, match=reason):
        reader_of_times(written, "Europe/Paris", None)(text)


@pytest.mark.parametrize(
    ("written", "text"),
    [
        ("%d.%m.%Y %H:%M", "01.02.2027 09:00"),
        ("%m/%d/%y %I:%M %p", "02/01/27 09:00 AM"),
        ("unix", "1801468800"),
        ("unix-ms", "1801468800000"),
    ],
)
def test_patterns_and_counted_seconds(written, text):
    zone = "UTC" if written.startswith("unix") else "Europe/Paris"
    assert reader_of_times(written, zone, None)(text) == utc(2027, 2, 1, 8)


@pytest.mark.parametrize(
    ("written", "zone", "told"),
    [
        ("iso", "Europe/Nowhere", "there is none of that name"),
        ("iso", "../etc/passwd", "there is none of that name"),
        ("%H:%M", "UTC", "tells no day"),
        ("%d.%m.%Y %I:%M", "UTC", "tells morning and evening not apart"),
        ("%Y-%m-%Q", "UTC", "--time-format"),
    ],
)
def test_zones_and_patterns_that_are_none(written, zone, told):
    with pytest.raises(ExchangeError, match=told):
        reader_of_times(written, zone, None)


@given(
    st.lists(
        st.tuples(st.integers(0, 3), st.integers(0, 20), st.integers(0, 2)), max_size=60
    )
)
def test_order_and_repetitions_are_those_of_a_plain_dictionary(rows):
    found, wanted = Found(), {}
    for line, (probe, utc_ms, milli) in enumerate(rows):
        found.add(probe, utc_ms, milli, line)
        wanted.setdefault((utc_ms, probe), []).append((milli, line))
    once = list(in_order(found))
    assert [((one.utc_ms, one.probe), list(one.said)) for one in once] == sorted(
        wanted.items()
    )
    assert [one.agreed for one in once] == [
        len({milli for milli, _ in said}) == 1 for _, said in sorted(wanted.items())
    ]


def test_a_gap_is_longer_than_two_and_a_half_times_the_usual_interval():
    times = [0, 600, 1_200, 2_700, 3_300, 4_801]
    assert usual_interval_ms(times) == 600
    assert gaps(times, 600) == [(3_300, 4_801)]
    assert usual_interval_ms([5]) is None
    assert usual_interval_ms([]) is None
