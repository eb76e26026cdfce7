"""Every cause, doubt and alarm has its sentence, whatever numbers come along."""

from string import Formatter

import pytest

from api import sentences
from api.sentences import Reader, alarm_sentence, cause_sentence, doubt_sentence
from controller.core.decisions import AlarmKind, Cause, Doubted

READER = Reader("°C", 0, 1_771_059_600_000)
NAMES = ("temp", "limit", "root", "setpoint", "low", "high", "last")
TIMES = ("left", "down", "waited", "silent", "unheated", "on", "cycle", "lasting")
NUMBERS = (
    *((f"{name}_mc", 21_500) for name in NAMES),
    *((f"{name}_ms", 185_000) for name in TIMES),
    ("duty", 0.4),
    ("heard", 1),
)


def whole(sentence):
    """Whether it is one or two sentences with nothing left open."""
    closed = "{" not in sentence and "}" not in sentence and "  " not in sentence
    return closed and sentence[0].isupper() and sentence.endswith((".", "?"))


@pytest.mark.parametrize("numbers", [NUMBERS, (), (("odd_thing", 3.0),)])
@pytest.mark.parametrize("cause", list(Cause))
def test_every_cause_has_a_sentence(cause, numbers):
    for energised in (True, False):
        assert whole(cause_sentence(cause, numbers, READER, energised=energised))


@pytest.mark.parametrize("temp_mc", [85_000, None])
@pytest.mark.parametrize("doubted", list(Doubted))
def test_every_doubt_has_a_sentence(doubted, temp_mc):
    assert whole(doubt_sentence(doubted, temp_mc, READER))


@pytest.mark.parametrize("numbers", [NUMBERS, ()])
@pytest.mark.parametrize("kind", list(AlarmKind))
def test_every_alarm_has_a_sentence(kind, numbers):
    assert whole(alarm_sentence(kind, "north", numbers, READER))


@pytest.mark.parametrize(
    "templates",
    [
        *sentences.CAUSES.values(),
        *sentences.DOUBTS.values(),
        *sentences.ALARMS.values(),
    ],
)
def test_the_last_way_to_say_it_needs_no_number(templates):
    fields = {name for _, name, _, _ in Formatter().parse(templates[-1]) if name}
    assert fields <= {"subject", "switch"}


def test_all_numbers_that_a_sentence_may_name_are_shown_with_their_units():
    numbers = (("temp_mc", 20_500), ("limit_mc", 20_000))
    text = cause_sentence(Cause.OVER_TRAY_LIMIT, numbers, READER, energised=False)
    assert "20.50 °C" in text
    assert "20.00 °C" in text


def test_a_number_that_is_missing_costs_detail_and_not_the_sentence():
    numbers = (("temp_mc", 31_000),)
    text = cause_sentence(Cause.HEAT_FROM_ABOVE, numbers, READER, energised=False)
    assert text.startswith("A probe reads 31.00 °C though the mat has not heated")


@pytest.mark.parametrize(("energised", "word"), [(True, "on"), (False, "off")])
def test_within_the_band_the_mat_stays_as_it_is(energised, word):
    text = cause_sentence(Cause.WITHIN_BAND, (), READER, energised=energised)
    assert text.endswith(f"stays {word}.")


def test_numbers_change_to_celsius_kelvin_and_seconds_with_the_unit_in_the_key():
    numbers = (
        ("root_mc", 21_437),
        ("gap_mk", 250),
        ("left_ms", 1_500),
        ("duty", 0.25),
        ("until_ms", 60_000),
    )
    assert sentences.shown_numbers(numbers, READER) == {
        "root_c": 21.437,
        "gap_k": 0.25,
        "left_s": 1.5,
        "duty": 0.25,
        "until": "2026-02-14T09:01:00.000Z",
    }
