"""Text with a unit becomes whole milli units, exactly."""

import string
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.adapters.settings import quantities

TEMPERATURE = 'write a temperature with its unit, such as "75 °F" or "24 °C"'
DIFFERENCE = 'write a temperature difference with its unit, such as "0.25 K" or "1 °F"'
DURATION = 'write a time span with its unit, such as "30 s", "10 min" or "2 h"'


@pytest.mark.parametrize(
    ("text", "milli", "echo"),
    [
        ("75 °F", 23_889, "75 °F"),
        ("75F", 23_889, "75 °F"),
        ("75 degF", 23_889, "75 °F"),
        ("24 °C", 24_000, "24 °C"),
        ("24.5C", 24_500, "24.5 °C"),
        ("  24 degC ", 24_000, "24 °C"),
        ("21℃", 21_000, "21 °C"),
        ("-40 °F", -40_000, "-40 °F"),
        ("-40 °C", -40_000, "-40 °C"),
        ("+1 °C", 1_000, "1 °C"),
        ("\N{MINUS SIGN}5 °C", -5_000, "-5 °C"),
        ("32 °F", 0, "32 °F"),
        ("212 °F", 100_000, "212 °F"),
        ("0.0005 °C", 0, "0.0005 °C"),
        ("0.0015 °C", 2, "0.0015 °C"),
    ],
)
def test_a_temperature_is_kept_exactly_and_in_the_writers_unit(text, milli, echo):
    said = quantities.temperature(text)
    assert (said.milli, said.text) == (milli, echo)


@pytest.mark.parametrize(
    ("parse", "text", "milli"),
    [
        (quantities.difference, "0.25 K", 250),
        (quantities.difference, "1 °F", 556),
        (quantities.difference, "9 F", 5_000),
        (quantities.difference, "4 °C", 4_000),
        (quantities.difference, "-0.3 K", -300),
        (quantities.rate, "3 K/h", 3_000),
        (quantities.rate, "9 °F/h", 5_000),
        (quantities.duration, "500 ms", 500),
        (quantities.duration, "5 s", 5_000),
        (quantities.duration, "10 min", 600_000),
        (quantities.duration, "2.5 h", 9_000_000),
        (quantities.duration, "3 d", 259_200_000),
        (quantities.duration, "10 days", 864_000_000),
        (quantities.power, "100 W", 100_000),
        (quantities.power, "0.1 kW", 100_000),
        (quantities.length, "60 mm", 60),
        (quantities.length, "6 cm", 60),
        (quantities.length, "10 in", 254),
    ],
)
def test_each_kind_has_its_units(parse, text, milli):
    assert parse(text).milli == milli


@pytest.mark.parametrize(
    ("text", "sides"),
    [
        ("1.2 m x 0.53 m", (1_200, 530)),
        ("0.53 m x 1.2 m", (1_200, 530)),
        ("120 cm × 53 cm", (1_200, 530)),  # noqa: RUF001
        ("1200mm x 530mm", (1_200, 530)),
        ("48 in x 21 in", (1_219, 533)),
    ],
)
def test_an_area_has_two_sides_the_longer_first(text, sides):
    said = quantities.area(text)
    assert (said.length_mm, said.width_mm) == sides


@pytest.mark.parametrize("number", [75, 75.5, "75.0", " 75 ", "-3"])
def test_a_bare_temperature_is_refused_with_the_reason(number):
    with pytest.raises(ValueError, match="cook cuttings") as caught:
        quantities.temperature(number)
    assert str(caught.value) == f"{TEMPERATURE}; a bare number could cook cuttings"


@pytest.mark.parametrize(
    "rubbish",
    [
        "24 s",
        "24 K",
        "297 K",
        "nan °C",
        "inf °C",
        "-inf °F",
        "1e308 °C",
        "1e3 °C",
        "12345678901 °C",
        "24,5 °C",
        "2 4 °C",
        "°C",
        "",
        "24 °C 24 °C",
        "24 °C" + " " * 100,
        "٢٤ °C",
        True,
        None,
        [24],
        {"value": 24},
    ],
)
def test_what_is_no_temperature_is_refused_with_what_would_be_right(rubbish):
    with pytest.raises(ValueError, match="temperature") as caught:
        quantities.temperature(rubbish)
    assert str(caught.value) == TEMPERATURE


@pytest.mark.parametrize("nan", [float("nan"), float("inf"), -1e308])
def test_a_float_is_refused_however_odd(nan):
    with pytest.raises(ValueError, match="cook cuttings"):
        quantities.temperature(nan)


@pytest.mark.parametrize(
    ("parse", "rubbish", "sentence"),
    [
        (
            quantities.difference,
            0.25,
            f"{DIFFERENCE}; a bare number could be kelvin or degrees Fahrenheit",
        ),
        (quantities.difference, "4 s", DIFFERENCE),
        (quantities.duration, "24 °C", DURATION),
        (
            quantities.duration,
            120,
            f"{DURATION}; a bare number could be seconds or minutes",
        ),
        (quantities.duration, "-5 s", f"{DURATION}; it cannot be negative"),
        (
            quantities.power,
            100,
            'write a power with its unit, such as "100 W"; '
            "a bare number could be watts or kilowatts",
        ),
        (
            quantities.length,
            "-6 cm",
            'write a length with its unit, such as "60 mm" or "6 cm"; '
            "it cannot be negative",
        ),
        (
            quantities.rate,
            "3 K",
            'write a change per hour with its unit, such as "3 K/h" or "5 °F/h"',
        ),
        (
            quantities.area,
            "1.2 m",
            'write both sides with their units, such as "1.2 m x 0.53 m"',
        ),
        (
            quantities.area,
            "1.2 m x 0.53",
            'write both sides with their units, such as "1.2 m x 0.53 m"',
        ),
        (
            quantities.area,
            0.64,
            'write both sides with their units, such as "1.2 m x 0.53 m"; '
            "a bare number could be millimetres or inches",
        ),
    ],
)
def test_the_wrong_unit_or_none_is_refused_in_whole_sentences(parse, rubbish, sentence):
    with pytest.raises(ValueError, match="write") as caught:
        parse(rubbish)
    assert str(caught.value) == sentence


def _decimal(thousandths: int) -> str:
    """Return a number of thousandths as decimal text, by whole numbers only."""
    sign = "-" if thousandths < 0 else ""
    whole, rest = divmod(abs(thousandths), 1000)
    return f"{sign}{whole}.{rest:03}"


@given(st.integers(-100_000, 200_000))
def test_every_thousandth_of_a_degree_celsius_comes_back(milli):
    assert quantities.temperature(f"{_decimal(milli)} °C").milli == milli


@given(st.integers(-20_000, 40_000))
def test_every_temperature_that_both_scales_can_write_comes_back(fives):
    """5 m°C are 9 thousandths of a degree Fahrenheit, exactly."""
    text = f"{_decimal(fives * 9 + 32_000)} °F"
    assert quantities.temperature(text).milli == fives * 5


@given(st.integers(-200_000, 400_000))
def test_fahrenheit_is_rounded_once_and_half_to_even(thousandths):
    exact = Fraction(thousandths - 32_000) * 5 / 9
    milli = quantities.temperature(f"{_decimal(thousandths)} °F").milli
    assert abs(milli - exact) < Fraction(1, 2)  # ninths never lie half-way


@given(st.integers(0, 10**6))
def test_halves_are_rounded_to_even(number):
    milli = quantities.temperature(f"{number}.0005 °C").milli
    assert milli == number * 1000  # an even number of thousandths below
    milli = quantities.temperature(f"{number}.0015 °C").milli
    assert milli == number * 1000 + 2


@given(st.text() | st.text(string.digits + " .-+°CFKxms"))
def test_any_text_is_taken_or_refused_with_a_sentence(text):
    for parse in (quantities.temperature, quantities.duration, quantities.area):
        try:
            parse(text)
        except ValueError as error:
            assert str(error).startswith("write ")
