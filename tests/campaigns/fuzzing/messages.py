"""Targets that read what probes say.

Each check knows the rule from outside: what a reading may be at all, whatever
bytes came. It does not repeat how the parser works.
"""

import math
from decimal import Decimal
from random import Random

from controller.adapters import json_pointer, senml, strict_json
from controller.adapters.one_wire import parse_frame
from controller.adapters.payloads import parse
from controller.core.scan import Quality, Reading, Refusal
from controller.ports import Instant
from controller.wiring import (
    NumberPayload,
    PointerPayload,
    ProbeWire,
    SenmlPayload,
    TemperatureUnit,
)
from tests.campaigns.fuzzing.mutator import NASTY, NUMBERS, Mutator
from tests.campaigns.fuzzing.target import Target

NOW = Instant(
    run_ms=50_000_000,
    utc_ms=1_800_000_000_000,
    clock_ok=True,
    local_day=20_833,
    local_minute=480,
)
WIRES = {
    "number": ProbeWire(probe="N1"),
    "fahrenheit": ProbeWire(probe="N1", unit=TemperatureUnit.FAHRENHEIT),
    "kelvin": ProbeWire(probe="N1", unit=TemperatureUnit.KELVIN),
    "moisture": ProbeWire(probe="wet", is_temperature=False),
    "pointer": ProbeWire(probe="N1", payload=PointerPayload("/soil/0/t")),
    "whole": ProbeWire(probe="N1", payload=PointerPayload("")),
    "senml": ProbeWire(probe="N1", payload=SenmlPayload()),
    "named": ProbeWire(probe="N1", payload=SenmlPayload("bench/N1")),
    "humidity": ProbeWire(probe="air", payload=SenmlPayload(), is_temperature=False),
}
LONGEST_SENTENCE = 1_000
"""A person reads it, and the season log keeps it for ever."""

_PACKS = (
    b'[{"bn":"bench/","n":"N1","u":"Cel","v":21.5}]',
    b'[{"bn":"bench/N1","bt":1.8e+09,"bu":"Cel","bver":10,"bv":20,"v":1.5,"t":-3}]',
    b'[{"n":"bench/N1","u":"K","v":294.65,"t":-1.5},{"n":"bench/N1","u":"Cel","v":2}]',
    b'[{"n":"a","u":"%RH","v":61,"s":3,"ut":60},{"n":"b","vs":"x"},{"n":"b","vb":true}]',
    b'[{"bn":"urn:dev:ow:28","bs":5,"s":1.5,"bu":"J"},{"n":"1","vd":"aGk"}]',
)
_DOCUMENTS = (
    b'{"soil":[{"t":21.5,"name":"a"},{"t":null}],"a/b":{"m~n":3},"":{"":1}}',
    b'{"soil":[{"t":"21.5"}],"t":21.5,"rssi":-70}',
    b"[1,2.5,[3e0,[]],{}]",
    b"21.5",
    b'"21.5"',
)
_KEYS = (
    *(b'"n"', b'"bn"', b'"v"', b'"bv"', b'"t"', b'"bt"', b'"u"', b'"bu"', b'"s"'),
    *(b'"bs"', b'"ut"', b'"vs"', b'"vb"', b'"vd"', b'"bver"', b'"x_"', b"Cel", b"K"),
    *(b"bench/N1", b"soil", b"/soil/0/t", b"%RH", b"-", b"0", b"00", b"1", b"t"),
)
_NUMBER_SEEDS = (b"21.5", b" 21.5\r\n", b"-0.0625", b"2150E-2", b"85", b"1e3", b"75")

SAYS_NUMBER = Mutator(_NUMBER_SEEDS, (*NUMBERS, *NASTY), longest=200)
SAYS_JSON = Mutator(_DOCUMENTS, _KEYS)
SAYS_SENML = Mutator(_PACKS, _KEYS)
SPEAKS = {
    name: SAYS_NUMBER
    if isinstance(wire.payload, NumberPayload)
    else SAYS_SENML
    if isinstance(wire.payload, SenmlPayload)
    else SAYS_JSON
    for name, wire in WIRES.items()
}
Payload = tuple[str, bool, bool, bytes]


def _payload(rng: Random) -> Payload:
    name = rng.choice(list(WIRES))
    speaker = SPEAKS[name] if rng.random() < 0.95 else rng.choice(list(SPEAKS.values()))
    return name, rng.random() < 0.1, rng.random() < 0.9, speaker.made(rng)


def check_payload(given: Payload) -> bool:
    """A probe's message is a reading within all bounds, or a refusal in words."""
    name, retained, clock_ok, payload = given
    now = Instant(NOW.run_ms, NOW.utc_ms, clock_ok, NOW.local_day, NOW.local_minute)
    found = parse(payload, WIRES[name], now, retained=retained)
    if isinstance(found, Refusal):
        is_told(found)
        return False
    assert type(found) is Reading
    assert type(found.milli) is int
    assert abs(found.milli) <= (10**6 if WIRES[name].is_temperature else 10**9)
    assert type(found.at_ms) is int
    assert -(2**62) < found.at_ms <= NOW.run_ms
    assert (found.quality is Quality.GOOD) is (found.note == "")
    assert not (retained and found.quality is Quality.GOOD)
    assert len(found.note) < LONGEST_SENTENCE
    if name == "number":  # a double of the language itself, read another way
        assert math.isclose(found.milli, 1000 * float(payload.decode()), abs_tol=0.51)
    return True


def is_told(found: Refusal) -> None:
    """A refusal says something, in bounds, that can be shown and kept."""
    assert 0 < len(found.reason) < LONGEST_SENTENCE, found.reason
    assert found.reason.encode() and found.reason.isprintable(), found.reason
    assert len(found.raw) <= 10 * strict_json.RAW_BYTES
    assert found.raw.isascii() and (found.raw.isprintable() or not found.raw)


def check_senml(payload: bytes) -> bool:
    """A pack is resolved as RFC 8428 says, or refused; nothing in between."""
    try:
        records = senml.resolve(strict_json.document(payload))
    except ValueError as error:
        assert str(error)
        return False
    for record in records:
        assert record.name[0].isalnum() and record.name.isascii()
        values = [v for v in (record.value, record.text, record.flag) if v is not None]
        assert len(values) == 1 or (not values and record.sum is not None)
        for number in (record.value, record.sum, record.time_s):
            assert number is None or (type(number) is Decimal and number.is_finite())
    return True


Pointed = tuple[str, bytes]


def _pointed(rng: Random) -> Pointed:
    pointer = POINTERS.made(rng).decode("utf-8", "replace")
    return pointer, rng.choice((rng.choice(_DOCUMENTS), SAYS_JSON.made(rng)))


POINTERS = Mutator(
    (b"/soil/0/t", b"/a~1b/m~0n", b"", b"/", b"//", b"/soil/-", b"/soil/01"),
    (*_KEYS, b"~0", b"~1", b"~", b"~2", b"/", b"999999999999"),
    longest=300,
    unspoiled=0.4,
)


def check_pointer(given: Pointed) -> bool:
    """A pointer leads to what is there, or is refused; it is its tokens, escaped."""
    pointer, payload = given
    try:
        document = strict_json.document(payload)
        tokens = json_pointer.tokens(pointer)
        found = json_pointer.resolve(document, pointer)
    except ValueError as error:
        assert str(error)
        return False
    escaped = ("/" + t.replace("~", "~0").replace("/", "~1") for t in tokens)
    assert "".join(escaped) == pointer
    step = document
    for token in tokens:
        step = step[token] if isinstance(step, dict) else step[int(token)]  # type: ignore[index]
    assert step is found
    return True


_SCRATCHPADS = (
    (b"50 05 4b 46 7f ff 0c 10 1c", b"1c", b"85000"),
    (b"00 00 00 00 00 00 00 00 00", b"00", b"0"),
    (b"72 01 4b 46 7f ff 0e 10 57", b"57", b"23125"),
)
FRAMES = Mutator(
    [b"%b : crc=%b YES\n%b t=%b\n" % (p, c, p, t) for p, c, t in _SCRATCHPADS],
    (b"YES", b"NO", b"crc=", b"t=", b"ff ", b"00 ", b"\n", b"-", b": "),
    longest=300,
)


def check_frame(payload: bytes) -> bool:
    """A probe's file is a whole frame with a checksum, or refused."""
    try:
        milli = parse_frame(payload.decode("ascii"))
    except ValueError as error:
        assert str(error)
        return False
    assert type(milli) is int
    assert b"YES" in payload
    return True


TARGETS = (
    Target("payload", 450, _payload, check_payload),
    Target("senml", 120, SAYS_SENML.made, check_senml),
    Target("pointer", 100, _pointed, check_pointer),
    Target("frame", 60, FRAMES.made, check_frame),
)
