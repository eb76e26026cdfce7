"""Readings out of a stored series: with numpy and without, the very same."""

from array import array

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.adapters.season_log import (
    Asked,
    Frame,
    LogFile,
    SeasonLogReader,
    decoded,
)
from controller.adapters.season_log.rows import header_row
from controller.adapters.season_log.series import Series, packed, raw
from controller.cli.arrays import with_numpy
from controller.core.scan import Quality, Reading
from controller.core.units import HOUR_MS
from controller.ports import UNTAKEN_MC

UTC_MS = 1_760_000_000_000

# Such that columns are one to eight bytes wide, or too wide for eight.
SMALL = st.integers(-200, 200)
ANY = SMALL | st.integers(-(2**17), 2**17) | st.integers(-(2**40), 2**40)
HUGE = ANY | st.integers(-(2**62), 2**62)


@st.composite
def a_series(draw: st.DrawFn) -> Series:
    n = draw(st.integers(1, 40))
    slots = sorted(draw(st.lists(st.integers(0, 400), min_size=n, max_size=n)))
    places = draw(st.lists(st.integers(0, 4095), min_size=n, max_size=n))
    numbers = HUGE if draw(st.booleans()) else ANY
    at_ms = draw(st.lists(numbers, min_size=n, max_size=n))
    milli = draw(st.lists(numbers, min_size=n, max_size=n))
    codes = draw(st.lists(st.just(0) | st.integers(0, 15), min_size=n, max_size=n))
    return Series(slots, places, at_ms, milli, codes)


def a_frame(skew_ms: int = 0, offset_mk: int = 0) -> Frame:
    skews = array("h", [(skew_ms * slot) % 2_000 for slot in range(401)])
    return Frame(7, 50_000, UTC_MS, skews, offset_mk)


def outcome(decode, *asked) -> list[list[int]] | type[Exception]:
    try:
        parts = decode(*asked)
    except OverflowError:
        return OverflowError
    return [list(memoryview(part).cast("B").cast("q")) for part in parts]


@given(
    series=a_series(),
    skew_ms=SMALL,
    offset_mk=SMALL,
    span=st.tuples(ANY, ANY),
    untaken=st.booleans(),
)
def test_both_decoders_agree_to_the_last_number(
    series, skew_ms, offset_mk, span, untaken
):
    frame = a_frame(skew_ms, offset_mk)
    asked = Asked(UTC_MS + span[0], UTC_MS + span[1], untaken)
    stored = raw(packed(series))
    found = outcome(with_numpy, stored, frame, asked)
    assert found == outcome(decoded, stored, frame, asked)


@given(series=a_series(), skew_ms=SMALL, offset_mk=SMALL)
def test_a_decoder_gives_back_what_was_packed(series, skew_ms, offset_mk):
    frame = a_frame(skew_ms, offset_mk)
    order, run_ms, utc_ms, temp_mc = decoded(
        raw(packed(series)), frame, Asked(-(2**63), 2**63, untaken=True)
    )
    assert [divmod(number, 4096) for number in order] == [
        (7 + slot, place)
        for slot, place in zip(series.slots, series.places, strict=True)
    ]
    assert list(run_ms) == [50_000 + at_ms for at_ms in series.at_ms]
    assert list(utc_ms) == [
        UTC_MS + at_ms + frame.skew_ms[slot]
        for at_ms, slot in zip(series.at_ms, series.slots, strict=True)
    ]
    assert list(temp_mc) == [
        UNTAKEN_MC if code else milli + offset_mk
        for milli, code in zip(series.milli, series.codes, strict=True)
    ]


@pytest.mark.parametrize("decode", [decoded, with_numpy])
@pytest.mark.parametrize("milli", [2**63 - 1, -(2**63)])
def test_a_value_that_an_offset_takes_beyond_64_bits_is_an_error(decode, milli):
    series = Series([0], [0], [0], [milli], [0])
    frame = a_frame(offset_mk=1 if milli > 0 else -1)
    with pytest.raises(OverflowError):
        decode(raw(packed(series)), frame, Asked(0, 2**62, untaken=True))


@pytest.mark.parametrize("untaken", [False, True])
def test_a_reader_returns_the_same_with_either(path, samples, untaken):
    odd = Reading("n1", 3 * HOUR_MS - 9, 85_000, Quality.BAD, "power-up value")
    log = LogFile(path)
    log.begin(header_row(samples.header()))
    many = list(samples.many(1, 4_000))
    many[2_159] = samples.taken(2_160, readings=(odd,))
    log.write(many)
    log.commit()
    while log.fold_some(HOUR_MS, many[-1][0].run_ms):
        pass
    log.close()
    hour_ms = UTC_MS + HOUR_MS
    for span in ((0, 2**60), (hour_ms, hour_ms + 3 * HOUR_MS), (hour_ms, hour_ms)):
        found, other = (
            SeasonLogReader(path, decode=decode).samples("n1", *span, untaken=untaken)
            for decode in (decoded, with_numpy)
        )
        assert found == other
    assert len(SeasonLogReader(path).samples("n1", 0, 2**60).order) == 3_999
