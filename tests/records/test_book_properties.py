"""The fold: in one go or in pieces, with nothing left out and nothing changed."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.record_wire import decode_value, encode_value
from controller.records.book import Book, BookError, events, fold
from controller.records.changes import Change
from controller.records.events import BenchEvent, EventKind
from controller.wire import from_text, to_text

NAMES = st.from_regex(r"[A-Za-z0-9_-]{1,32}", fullmatch=True)
EVENTS = st.builds(
    BenchEvent,
    kind=st.sampled_from(EventKind),
    utc_ms=st.integers(0, 2**53),
    who=st.text(max_size=20),
    trays=st.lists(NAMES, max_size=3).map(tuple),
    water_ml=st.none() | st.floats(0, 50_000),
    text=st.text(max_size=40),
    withdrawn=st.booleans(),
)


@st.composite
def some_changes(draw) -> list[Change]:
    """Changes that follow: new events, and corrections of some of them."""
    changes: list[Change] = []
    for number, value in enumerate(draw(st.lists(EVENTS, max_size=12)), 1):
        known = sorted({change.subject for change in changes})
        subject = draw(st.sampled_from([str(number), *known]))
        changes.append(Change(number, number * 1_000, "somebody", subject, value))
    return changes


@given(changes=some_changes(), cut=st.integers(0, 12))
def test_some_and_then_some_more_is_the_same_as_all_at_once(changes, cut):
    whole = fold(Book(), changes)
    assert fold(fold(Book(), changes[:cut]), changes[cut:]) == whole
    assert whole.newest == len(changes)


@given(changes=some_changes())
def test_no_change_is_ever_lost_and_the_last_one_holds(changes):
    book = fold(Book(), changes)
    kept = [change for history in book.histories.values() for change in history]
    assert sorted(kept, key=lambda change: change.id) == changes
    last = {change.subject: change.value for change in changes}
    assert dict(events(book, withdrawn=True)) == last
    assert dict(events(book)) == {
        subject: value for subject, value in last.items() if not value.withdrawn
    }


@given(changes=some_changes())
def test_a_book_that_was_folded_is_not_changed_by_what_comes_after(changes):
    before = fold(Book(), changes)
    kept = dict(before.histories)
    value = BenchEvent(kind=EventKind.NOTE, utc_ms=1, text="more")
    number = len(changes) + 1
    fold(before, [Change(number, 0, "", str(number), value)])
    assert before.histories == kept


@given(changes=some_changes(), place=st.integers(0, 11))
def test_a_change_that_is_missing_or_comes_twice_is_an_error(changes, place):
    if place >= len(changes):
        return
    without = changes[:place] + changes[place + 1 :]
    if place + 1 < len(changes):
        with pytest.raises(BookError, match="comes after"):
            fold(Book(), without)
    with pytest.raises(BookError, match="comes after"):
        fold(Book(), [*changes[: place + 1], *changes[place:]])


@given(value=EVENTS)
def test_every_event_comes_back_from_text_exactly(value):
    found = decode_value("event", from_text(to_text(encode_value(value))))
    assert found == value


def test_a_correction_of_what_was_never_told_is_an_error():
    value = BenchEvent(kind=EventKind.NOTE, utc_ms=1, text="x")
    change = Change(1, 0, "", "7", value)
    with pytest.raises(BookError, match="event 7, which is not there"):
        fold(Book(), [change])
    assert fold(Book(), [replace(change, subject="1")]).newest == 1
