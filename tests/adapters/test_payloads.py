"""The door: bytes become a reading or a refusal, and never an exception."""

import json
from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.adapters.payloads import parse
from controller.core.scan import Quality, Reading, Refusal
from controller.ports import Instant
from controller.wiring import (
    PointerPayload,
    ProbeWire,
    SenmlPayload,
    TemperatureUnit,
)

NOW = Instant(
    run_ms=50_000_000,
    utc_ms=1_800_000_000_000,
    clock_ok=True,
    local_day=20_833,
    local_minute=480,
)
WRONG_CLOCK = replace(NOW, clock_ok=False)
NUMBER = ProbeWire(probe="N1")
POINTER = ProbeWire(probe="N1", payload=PointerPayload("/soil/0/t"))
WHOLE = ProbeWire(probe="N1", payload=PointerPayload(""))
SENML = ProbeWire(probe="N1", payload=SenmlPayload())
NAMED = ProbeWire(probe="N1", payload=SenmlPayload("bench/N1"))
HUMIDITY = ProbeWire(probe="air", payload=SenmlPayload(), is_temperature=False)
ALL_WIRES = (NUMBER, POINTER, WHOLE, SENML, NAMED, HUMIDITY)


def read(payload: str | bytes, wire: ProbeWire = NUMBER, now: Instant = NOW) -> Reading:
    raw = payload if isinstance(payload, bytes) else payload.encode()
    found = parse(raw, wire, now, retained=False)
    assert isinstance(found, Reading), found
    return found


def refused(payload: str | bytes, wire: ProbeWire = NUMBER) -> Refusal:
    raw = payload if isinstance(payload, bytes) else payload.encode()
    found = parse(raw, wire, NOW, retained=False)
    assert isinstance(found, Refusal), found
    assert (found.source, found.at_ms) == (wire.probe, NOW.run_ms)
    return found


@pytest.mark.parametrize(
    ("payload", "milli"),
    [
        ("21.5", 21_500),
        (" 21.5\r\n", 21_500),
        ("21", 21_000),
        ("+21.", 21_000),
        (".5", 500),
        ("-0.0625", -62),
        ("0.0625", 62),
        ("2.15e1", 21_500),
        ("2150E-2", 21_500),
        ("0e999", 0),
        ("1e-400", 0),
        ("-127", -127_000),
        ("85", 85_000),
        ("1000", 1_000_000),
        ("-1000.000", -1_000_000),
    ],
)
def test_a_bare_number_is_rounded_to_thousandths_half_to_even(payload, milli):
    assert read(payload) == Reading("N1", NOW.run_ms, milli)


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        ("", "empty; a decimal number such as 21.5 is expected"),
        (" \n", "empty; a decimal number such as 21.5 is expected"),
        ("nan", "'nan'; a decimal number such as 21.5, alone, is expected"),
        ("NaN", "'NaN'; a decimal number such as 21.5, alone, is expected"),
        ("inf", "'inf'; a decimal number such as 21.5, alone, is expected"),
        ("-Infinity", "'-Infinity'; a decimal number such as 21.5, alone, is expected"),
        ("21,5", "'21,5'; a decimal number such as 21.5, alone, is expected"),
        ("21.5 C", "'21.5 C'; a decimal number such as 21.5, alone, is expected"),
        ("1_000", "'1_000'; a decimal number such as 21.5, alone, is expected"),
        ("0x15", "'0x15'; a decimal number such as 21.5, alone, is expected"),
        ("true", "'true'; a decimal number such as 21.5, alone, is expected"),
        ("٢١", "'\\u0662\\u0661'; a decimal number such as 21.5, alone, is expected"),
        ("21.5\0", "'21.5\\x00'; a decimal number such as 21.5, alone, is expected"),
        ("1e308", "1e+308 °C; at most 1000 °C up or down is possible"),
        ("9.99e308", "9.99e+308 °C; at most 1000 °C up or down is possible"),
        ("1000.0001", "1000.00 °C; at most 1000 °C up or down is possible"),
        ("-1001", "-1001 °C; at most 1000 °C up or down is possible"),
        ("1e309", "'1e309' is more than a double can hold"),
        ("1e9999999999999999999", "the exponent of '1e9999999999999999999' is out"),
        ("1e-99999999999999999999", "the exponent of '1e-99999999999999999999' is out"),
        ("7" * 3_000, "a number of 3000 characters; at most 64 are read"),
        ("1" + " " * 5_000, "5001 bytes; at most 4096 bytes are looked at"),
        (b"\xff\xfe2\x001\x00", "byte 0xff at 0 is not UTF-8; UTF-8 text is expected"),
        (b"21.5\xb0C", "byte 0xb0 at 4 is not UTF-8; UTF-8 text is expected"),
    ],
)
def test_what_is_no_bare_number_is_refused_with_what_was_found(payload, reason):
    assert refused(payload).reason.startswith(reason)


@pytest.mark.parametrize(
    ("unit", "payload", "milli"),
    [
        (TemperatureUnit.FAHRENHEIT, "32", 0),
        (TemperatureUnit.FAHRENHEIT, "212", 100_000),
        (TemperatureUnit.FAHRENHEIT, "75", 23_889),
        (TemperatureUnit.FAHRENHEIT, "-40", -40_000),
        (TemperatureUnit.KELVIN, "273.15", 0),
        (TemperatureUnit.KELVIN, "294.65", 21_500),
        (TemperatureUnit.KELVIN, "0", -273_150),
    ],
)
def test_fahrenheit_and_kelvin_become_thousandths_of_a_degree_celsius(
    unit, payload, milli
):
    assert read(payload, replace(NUMBER, unit=unit)).milli == milli


def test_the_range_is_judged_in_celsius_and_told_in_the_senders_unit():
    fahrenheit = replace(NUMBER, unit=TemperatureUnit.FAHRENHEIT)
    assert read("1832", fahrenheit).milli == 1_000_000
    assert refused("1833", fahrenheit).reason == (
        "1833 °F; at most 1000 °C up or down is possible"
    )


@given(st.integers(-1_000_000, 1_000_000), st.sampled_from(TemperatureUnit))
def test_every_thousandth_of_a_degree_comes_through_exactly(milli, unit):
    """A value written exactly in any unit is read back as it was."""
    celsius = Fraction(milli, 1000)
    exact = {
        TemperatureUnit.CELSIUS: celsius,
        TemperatureUnit.FAHRENHEIT: celsius * Fraction(9, 5) + 32,
        TemperatureUnit.KELVIN: celsius + Fraction(27315, 100),
    }[unit]
    text = f"{int(exact * 10_000)}e-4"
    assert read(text, replace(NUMBER, unit=unit)).milli == milli


def test_other_quantities_have_no_unit_and_a_wider_range():
    light = ProbeWire(probe="lux", is_temperature=False, unit=TemperatureUnit.KELVIN)
    assert read("98765.4321", light).milli == 98_765_432
    assert refused("1000001", light).reason == (
        "1.00000e+6; at most 1000000 up or down is possible"
    )


def test_a_json_pointer_leads_to_the_number():
    assert read('{"soil": [{"t": 21.0625, "h": 60}]}', POINTER).milli == 21_062
    assert read(" 21.5 ", WHOLE).milli == 21_500


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        ("", "Expecting value at character 0; a JSON document is expected"),
        ("21.5 C", "Extra data at character 5; a JSON document is expected"),
        ("true", "true as the whole document; a number is expected"),
        ("null", "null as the whole document; a number is expected"),
        ('"21.5"', "the string '21.5' as the whole document; a number is expected"),
        ("{}", "an object as the whole document; a number is expected"),
        ("[21.5]", "an array as the whole document; a number is expected"),
        ("NaN", "NaN; a finite number is expected"),
        ("-Infinity", "-Infinity; a finite number is expected"),
        ("1e400", "'1e400' is more than a double can hold"),
        ("-1E-99999999999999999999", "the exponent of '-1E-99999999999999999999' is"),
        ("8" * 3_000, "a number of 3000 characters; at most 64 are read"),
        ("021", "Extra data at character 1; a JSON document is expected"),
        ('{"a": 1, "a": 2}', "the key 'a' twice; each key once is expected"),
        ("\ufeff21", "Unexpected UTF-8 BOM"),
        (b'{"a": "\xff"}', "byte 0xff at 7 is not UTF-8; UTF-8 text is expected"),
    ],
)
def test_json_that_is_no_number_is_refused_with_what_was_found(payload, reason):
    assert refused(payload, WHOLE).reason.startswith(reason)


@pytest.mark.parametrize("payload", ["[" * 4_000, '{"":' * 1_000, "[" * 900])
def test_deeply_nested_json_is_refused(payload):
    """How deep is too deep differs between versions of Python; all refuse."""
    assert refused(payload, WHOLE).reason.endswith("JSON document is expected")


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        ('{"Soil": 1, "air": 2}', "no key 'soil'; found 'Soil', 'air'"),
        ("{}", "no key 'soil'; found no keys"),
        ('{"soil": []}', "no element '0'; the array has 0, counted from 0"),
        ('{"soil": [{"t": [1]}]}', "an array at /soil/0/t; a number is expected"),
        ('{"soil": [21]}', "nothing below a plain value, so no 't'"),
        ('{"soil": "x"}', "nothing below a plain value, so no '0'"),
    ],
)
def test_a_pointer_that_leads_nowhere_is_told_with_what_is_there(payload, reason):
    assert refused(payload, POINTER).reason == reason


def senml(*records: dict[str, object]) -> str:
    return json.dumps(records)


def test_senml_brings_its_own_unit():
    assert read(senml({"n": "a", "u": "Cel", "v": 21.5}), SENML).milli == 21_500
    assert read(senml({"n": "a", "u": "K", "v": 294.65}), SENML).milli == 21_500


def test_senml_takes_the_newest_of_several_records():
    pack = senml(
        {"bn": "a", "bu": "Cel", "t": -5, "v": 1},
        {"t": -1, "v": 2},
        {"t": -9, "v": 3},
    )
    assert read(pack, SENML) == Reading("N1", NOW.run_ms - 1_000, 2_000)


def test_senml_takes_the_last_of_records_of_the_same_time():
    pack = senml({"bn": "a", "bu": "Cel", "v": 1}, {"v": 2})
    assert read(pack, SENML).milli == 2_000


def test_senml_looks_only_at_the_record_of_the_configured_name():
    pack = senml(
        {"bn": "bench/", "bu": "Cel", "n": "N2", "v": 1},
        {"n": "N1", "v": 2, "t": -3},
        {"n": "S1", "v": 3},
    )
    assert read(pack, NAMED).milli == 2_000


def test_senml_passes_over_records_of_the_name_that_are_no_temperature():
    """A device may speak of its place or battery under the same name."""
    pack = senml(
        {"bn": "a", "u": "Cel", "v": 21.5, "t": -2},
        {"u": "lon", "v": 24.3},
        {"u": "Cel", "s": 12},
        {"vs": "hello"},
    )
    assert read(pack, SENML).milli == 21_500


def test_senml_of_other_quantities_needs_one_unit():
    assert read(senml({"n": "a", "u": "%RH", "v": 61.5}), HUMIDITY).milli == 61_500
    assert read(senml({"n": "a", "v": 61.5}), HUMIDITY).milli == 61_500
    assert (
        refused(
            senml({"bn": "a", "u": "%RH", "v": 1}, {"u": "lx", "v": 2}), HUMIDITY
        ).reason
        == "records with the units '%RH', 'lx'; a single unit is expected"
    )


@pytest.mark.parametrize(
    ("wire", "payload", "reason"),
    [
        (
            SENML,
            senml({"n": "b", "u": "Cel", "v": 1}, {"n": "a", "u": "Cel", "v": 1}),
            "2 names, 'a', 'b'; a single one is expected, or the name that counts in "
            "the probe's settings",
        ),
        (
            SENML,
            "[]",
            "0 names, none; a single one is expected, or the name that counts in the "
            "probe's settings",
        ),
        (
            NAMED,
            senml({"n": "bench/N2", "u": "Cel", "v": 1}),
            "the names 'bench/N2'; 'bench/N1' is expected",
        ),
        (
            SENML,
            senml({"n": "a", "v": 21.5}),
            'records with the units \'none\'; a number in "Cel" or "K" is expected',
        ),
        (
            SENML,
            senml({"n": "a", "u": "Far", "v": 75}),
            'records with the units \'Far\'; a number in "Cel" or "K" is expected',
        ),
        (
            HUMIDITY,
            senml({"n": "a", "u": "%RH", "vb": True}),
            "records with the units '%RH'; a number is expected",
        ),
        (SENML, "21.5", "the number 21.5; a JSON array of records is expected"),
        (
            SENML,
            senml({"n": "a", "u": "K", "v": 2000}),
            "2000 K; at most 1000 °C up or down is possible",
        ),
    ],
)
def test_senml_without_the_probes_value_is_refused(wire, payload, reason):
    assert refused(payload, wire).reason == reason


@pytest.mark.parametrize(
    ("time_s", "age_ms", "note"),
    [
        (0, 0, ""),
        (-120, 120_000, ""),
        (-120.001, 120_001, "late: measured 120 s before it came"),
        (1_800_000_000, 0, ""),
        (1_799_999_990, 10_000, ""),
        (1_799_999_000, 1_000_000, "late: measured 1000 s before it came"),
        (2, 0, ""),
        (1_800_000_002, 0, ""),
        (3, 0, "from the future: 3 s ahead of our clock"),
        (1_800_003_600, 0, "from the future: 3600 s ahead of our clock"),
    ],
)
def test_a_senders_own_time_makes_a_reading_older_and_maybe_late(time_s, age_ms, note):
    """Nothing is measured in the future: such a time is moved to now."""
    found = read(senml({"n": "a", "u": "Cel", "v": 21.5, "t": time_s}), SENML)
    assert (found.at_ms, found.milli, found.note) == (
        NOW.run_ms - age_ms,
        21_500,
        note,
    )
    assert found.quality is (Quality.UNCERTAIN if note else Quality.GOOD)


def test_an_absolute_time_says_nothing_while_our_own_clock_may_be_wrong():
    pack = senml({"n": "a", "u": "Cel", "v": 21.5, "t": 1_700_000_000})
    assert read(pack, SENML, WRONG_CLOCK) == Reading("N1", NOW.run_ms, 21_500)


def test_a_time_relative_to_now_needs_no_clock():
    pack = senml({"n": "a", "u": "Cel", "v": 21.5, "t": -300})
    found = read(pack, SENML, WRONG_CLOCK)
    assert (found.at_ms, found.quality) == (NOW.run_ms - 300_000, Quality.UNCERTAIN)


def test_a_retained_reading_is_uncertain():
    found = parse(b"21.5", NUMBER, NOW, retained=True)
    assert found == Reading(
        "N1", NOW.run_ms, 21_500, Quality.UNCERTAIN, "retained by the broker"
    )


def test_a_retained_and_late_reading_says_both():
    pack = senml({"n": "a", "u": "Cel", "v": 21.5, "t": -300}).encode()
    found = parse(pack, SENML, NOW, retained=True)
    assert isinstance(found, Reading)
    assert found.note == "retained by the broker; late: measured 300 s before it came"


def test_a_refusal_shows_the_first_eighty_bytes_printably():
    assert refused(b"\x00caf\xe9\n" + b"x" * 100).raw == ("\\x00caf\\xe9\\n" + "x" * 74)


# named one by one: the table of all characters takes seconds to build at first
LETTERS = st.text('naifCel09 .-+"\\/[]{}:,\n\x00\u00e9\u0660\U0001f33f', max_size=40)
ALMOST = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | LETTERS
    | st.sampled_from(["Cel", "K", "bench/N1"]),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(
                ["soil", "t", "n", "bn", "u", "v", "bt", "bv", "s", "bver"]
            ),
            inner,
            max_size=4,
        )
    ),
    max_leaves=8,
)


@given(
    st.binary(max_size=64)
    | LETTERS.map(str.encode)
    | st.text("0123456789.eE+-", max_size=12).map(str.encode)
    | ALMOST.map(lambda document: json.dumps(document).encode())
    | ALMOST.map(lambda document: json.dumps([document]).encode()),
    st.sampled_from(ALL_WIRES),
    st.booleans(),
)
def test_no_bytes_whatever_raise_or_pass_a_value_out_of_range(payload, wire, retained):
    found = parse(payload, wire, NOW, retained=retained)
    if isinstance(found, Refusal):
        assert found.reason
        assert found.raw.isascii()
        assert found.raw.isprintable()
        assert found.reason.encode()
    else:
        assert found.milli is not None
        assert abs(found.milli) <= 1_000_000_000
        assert found.at_ms <= NOW.run_ms
        assert (found.quality is Quality.GOOD) == (found.note == "")
