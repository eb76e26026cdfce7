"""What may be told of a bench event, and what is refused."""

import math
from dataclasses import replace

import pytest

from controller.record_wire import decode_value, encode_value, event_of, fields_of
from controller.records.book import Book, NoSuchRecordError, events, fold
from controller.records.desk import ANY_BENCH, add_event, revise_event
from controller.records.events import (
    DISTURBING,
    BenchEvent,
    EventKind,
    check_event,
)
from controller.records.faults import RecordError
from controller.wire import WireError, from_text, to_text
from tests.records.conftest import NOW_MS


def event(kind: EventKind, **fields: object) -> BenchEvent:
    return BenchEvent(kind=kind, utc_ms=NOW_MS, **fields)  # type: ignore[arg-type]


def test_what_is_right_is_taken(watered):
    check_event(watered)
    check_event(event(EventKind.SWAPPED, trays=("N1", "N2")))
    check_event(event(EventKind.SWAPPED, probes=("n1", "n2")))
    check_event(event(EventKind.PROBE_MOVED, probes=("n1",), trays=("N2",)))
    check_event(event(EventKind.COVER_ON, mats=("north",)))
    check_event(event(EventKind.PHOTO, photo="north bench 3.jpg"))
    check_event(event(EventKind.NOTE, text="two lines\nof text"))


@pytest.mark.parametrize(
    ("wrong", "field", "words"),
    [
        (event(EventKind.WATERED, water_ml=200), "trays", "were watered"),
        (event(EventKind.PROBE_MOVED, trays=("N1",)), "probes", "the probe that was"),
        (event(EventKind.SWAPPED, trays=("N1",)), "trays", "the two trays"),
        (event(EventKind.NOTE), "text", "what is to be noted"),
        (event(EventKind.PHOTO), "photo", "name of the photo's file"),
        (event(EventKind.PHOTO, photo="../x.jpg"), "photo", "without a folder"),
        (event(EventKind.PHOTO, photo=".hidden"), "photo", "without a folder"),
        (event(EventKind.NOTE, text="\x1b[31m"), "text", "control characters"),
        (event(EventKind.NOTE, text="x" * 2_001), "text", "at most 2000"),
        (event(EventKind.TURNED, trays=("N 1",)), "trays", "1 to 32 of letters"),
        (event(EventKind.TURNED, trays=("N1", "N1")), "trays", "named twice"),
        (event(EventKind.TURNED, trays=("N1",), water_ml=5), "water_ml", "watered"),
        (
            event(EventKind.WATERED, trays=("N1",), water_ml=math.nan),
            "water_ml",
            "0 to 50000 ml",
        ),
        (
            event(
                EventKind.WATERED,
                trays=("N1",),
                weight_before_g=900,
                weight_after_g=800,
            ),
            "weight_after_g",
            "not be less than before the water, 900 g",
        ),
        (
            event(
                EventKind.WATERED,
                trays=("N1",),
                water_ml=1,
                weight_before_g=1,
                weight_after_g=2,
            ),
            "water_ml",
            "not both",
        ),
        (
            replace(event(EventKind.NOTE, text="x"), utc_ms=0),
            "utc_ms",
            "after 2000",
        ),
    ],
)
def test_what_is_wrong_is_refused_with_its_place_and_what_is_right(wrong, field, words):
    with pytest.raises(RecordError) as refused:
        check_event(wrong)
    (found,) = refused.value.faults
    assert found.field == field
    assert words in found.right
    assert str(found) == f"{field}: found {found.found}: {found.right}"


def test_water_is_known_from_a_jug_or_from_scales(watered):
    assert watered.given_ml == 200
    weighed = replace(
        watered, water_ml=None, weight_before_g=810.5, weight_after_g=1010.5
    )
    assert weighed.given_ml == 200.0
    assert replace(weighed, weight_after_g=None).given_ml is None


def test_a_note_a_photo_and_mould_do_not_disturb_readings():
    assert set(EventKind) - DISTURBING == {
        EventKind.NOTE,
        EventKind.PHOTO,
        EventKind.MOULD_REMOVED,
    }


# ------------------------------------------------------------------- at the desk


def test_an_event_may_be_told_later_and_be_corrected_with_all_that_was_kept(
    watered, stamp
):
    late = replace(watered, utc_ms=NOW_MS - 86_400_000)
    book = fold(Book(), add_event(Book(), late, stamp))
    book = fold(book, add_event(book, watered, stamp))
    less = replace(late, water_ml=150)
    book = fold(book, revise_event(book, "1", less, stamp))
    assert events(book) == [("1", less), ("2", watered)]
    kept = [change.value.water_ml for change in book.histories["event", "1"]]
    assert kept == [200, 150]


def test_events_stand_in_the_order_in_which_they_happened(watered, stamp):
    earlier = replace(watered, utc_ms=watered.utc_ms - 1)
    book = fold(Book(), add_event(Book(), watered, stamp))
    book = fold(book, add_event(book, earlier, stamp))
    assert [number for number, _ in events(book)] == ["2", "1"]


def test_what_was_told_by_mistake_counts_no_longer_and_stays_to_be_seen(watered, stamp):
    book = fold(Book(), add_event(Book(), watered, stamp))
    gone = replace(watered, withdrawn=True)
    book = fold(book, revise_event(book, "1", gone, stamp))
    assert events(book) == []
    assert events(book, withdrawn=True) == [("1", gone)]


def test_a_correction_that_changes_nothing_is_not_written(watered, stamp):
    book = fold(Book(), add_event(Book(), watered, stamp))
    assert revise_event(book, "1", watered, stamp) == ()


def test_an_event_that_is_not_there_is_named(watered, stamp):
    with pytest.raises(NoSuchRecordError, match="no event 7"):
        revise_event(Book(), "7", watered, stamp)


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"trays": ("N9",)}, "trays: found 'N9': there is no such tray; there are"),
        ({"mats": ("south",)}, "there is no such mat; there are: north"),
        ({"probes": ("x",)}, "there is no such probe; there are: n1"),
        ({"utc_ms": NOW_MS + 600_000}, "must not lie in the future"),
    ],
)
def test_what_the_bench_does_not_have_is_refused(watered, stamp, fields, words):
    with pytest.raises(RecordError, match=words):
        add_event(Book(), replace(watered, **fields), stamp)


def test_without_a_clock_or_a_bench_nobody_knows_better(watered, stamp):
    later = replace(watered, utc_ms=NOW_MS + 600_000, trays=("N9",))
    blind = replace(stamp, clock_ok=False, bench=ANY_BENCH)
    assert add_event(Book(), later, blind)[0].value == later


# ----------------------------------------------------------------------- as JSON


def test_an_event_comes_back_from_json_exactly(watered):
    text = to_text(encode_value(watered))
    assert decode_value("event", from_text(text)) == watered
    assert event_of(fields_of(watered)) == watered


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"kind": "drowned"}, "event.kind: found 'drowned'"),
        ({"water_ml": "200"}, "event.water_ml: found '200'"),
        ({"wet": True}, "event.wet"),
    ],
)
def test_json_that_is_not_an_event_is_refused_with_its_place(watered, change, words):
    with pytest.raises(WireError, match=words):
        event_of({**fields_of(watered), **change})
