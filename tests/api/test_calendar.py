"""The calendar's form, with icalendar (which is not ours) as the judge."""

from datetime import UTC, date, datetime, timedelta, timezone

import icalendar
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.calendar import Entry, calendar_text

AT = datetime(2027, 2, 1, 9, tzinfo=UTC)


def read(text):
    found = icalendar.Calendar.from_ical(text)
    assert not any(part.errors for part in found.walk())
    return found


def test_a_day_and_an_instant_come_back_from_another_reader():
    lisbon = timezone(timedelta(hours=1))
    entries = [
        Entry("a@lean-to", date(2027, 2, 1), "Stuck: 24 gooseberry", "Tray N1."),
        Entry("b@lean-to", datetime(2027, 2, 3, 10, tzinfo=lisbon), "Mat north"),
    ]
    found = read(calendar_text("Bench lean-to", entries, AT))
    day, hour = found.events
    assert found["version"] == "2.0"
    assert found["name"] == found["x-wr-calname"] == "Bench lean-to"
    assert (day["uid"], day["summary"]) == ("a@lean-to", "Stuck: 24 gooseberry")
    assert day["description"] == "Tray N1."
    assert day.start == date(2027, 2, 1)
    assert day.end == date(2027, 2, 2)
    assert hour.start == datetime(2027, 2, 3, 9, tzinfo=UTC)
    assert "description" not in hour
    assert {event["dtstamp"].dt for event in found.events} == {AT}
    assert {event["transp"] for event in found.events} == {"TRANSPARENT"}


def test_days_last_up_to_the_one_that_is_told():
    """RFC 5545, section 3.6.1: the end is the first day that is no part of it."""
    window = Entry("w", date(2027, 2, 27), "Half rooted", last=date(2027, 3, 2))
    one = Entry("o", date(2027, 2, 27), "A day", last=date(2027, 2, 27))
    days, single = read(calendar_text("b", [window, one], AT)).events
    assert (days.start, days.end) == (date(2027, 2, 27), date(2027, 3, 3))
    assert single.end == date(2027, 2, 28)


@pytest.mark.parametrize(
    "start", [date(2027, 3, 3), datetime(2027, 2, 1, 9, tzinfo=UTC)]
)
def test_a_last_day_that_cannot_be_is_a_mistake(start):
    entry = Entry("u", start, "x", last=date(2027, 3, 2))
    with pytest.raises(ValueError, match="cannot last from"):
        calendar_text("b", [entry], AT)


def test_an_empty_calendar_is_one():
    assert read(calendar_text("Bench", [], AT)).events == []


@given(st.text(max_size=300), st.text(max_size=300))
def test_any_text_comes_back_but_for_what_no_calendar_can_hold(summary, description):
    text = calendar_text("b", [Entry("u", date(2027, 2, 1), summary, description)], AT)
    (event,) = read(text).events
    assert event["summary"] == kept(summary)
    assert event.get("description", "") == kept(description)


def kept(text):
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    return "\n".join(
        "".join(c for c in x if c.isprintable() or c == "\t") for x in lines
    )


@given(st.text(alphabet="aä€😀,;\\\n ", max_size=400))
def test_lines_have_at_most_75_octets_and_no_character_is_cut(text):
    """RFC 5545, section 3.1."""
    made = calendar_text(text, [Entry("u", date(2027, 2, 1), text)], AT).encode()
    assert made.endswith(b"END:VCALENDAR\r\n")
    for line in made.split(b"\r\n"):
        assert len(line) <= 75
        line.decode()
        assert b"\n" not in line


def test_the_same_entries_make_the_same_bytes():
    entries = [Entry("u", date(2027, 2, 1), "x")]
    assert calendar_text("b", entries, AT) == calendar_text("b", entries, AT)


def test_a_uid_that_comes_twice_is_a_mistake():
    entries = [Entry("u", date(2027, 2, 1), "x"), Entry("u", date(2027, 2, 2), "y")]
    with pytest.raises(ValueError, match="'u' comes twice"):
        calendar_text("b", entries, AT)


def test_an_instant_without_its_time_zone_is_a_mistake():
    naive = Entry("u", datetime(2027, 2, 1, 9), "x")  # noqa: DTZ001
    with pytest.raises(ValueError, match="has no time zone"):
        calendar_text("b", [naive], AT)
