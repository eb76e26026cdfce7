"""The room: a model of day and night, or a table that somebody made."""

from datetime import UTC, datetime

import pytest

from sim.room import COLDEST_C, WARMEST_C, DayAndNight, room_table

HEAD = "time,temp_c\n"
NINE = 9 * 60


def test_the_model_stays_between_its_coldest_and_warmest():
    room = DayAndNight(seed=4, start_minute=NINE)
    temps = [room.at(minute) for minute in range(0, 60 * 1440, 7)]
    assert COLDEST_C <= min(temps) < COLDEST_C + 1
    assert WARMEST_C - 1 < max(temps) <= WARMEST_C


@pytest.mark.parametrize("seed", range(5))
def test_nights_before_dawn_are_colder_than_afternoons(seed):
    room = DayAndNight(seed, start_minute=0)
    for day in range(20):
        assert room.at(day * 1440 + 4 * 60) < room.at(day * 1440 + 15 * 60) - 1


def test_the_model_is_warmest_in_mid_afternoon_and_coldest_before_dawn():
    room = DayAndNight(seed=2, start_minute=0)
    by_hour = [
        sum(room.at(day * 1440 + hour * 60) for day in range(100)) for hour in range(24)
    ]
    assert by_hour.index(max(by_hour)) in (14, 15, 16)
    assert by_hour.index(min(by_hour)) in range(2, 7)


def test_the_model_starts_at_the_time_of_day_it_is_told():
    early, late = DayAndNight(1, start_minute=4 * 60), DayAndNight(1, start_minute=900)
    assert early.at(0) < late.at(0) - 2


def test_weather_follows_the_seed_and_not_the_order_of_asking():
    def asked(seed, minutes):
        room = DayAndNight(seed, NINE)
        return {minute: room.at(minute) for minute in minutes}

    minutes = [0, 90, 1440, 5000, 20_000]
    assert asked(1, minutes) == asked(1, reversed(minutes))
    assert asked(1, minutes) != asked(2, minutes)


def test_weather_changes_from_day_to_day():
    room = DayAndNight(3, start_minute=0)
    mornings = {round(room.at(day * 1440 + 600), 1) for day in range(20)}
    assert len(mornings) > 5


def test_a_table_is_joined_by_straight_lines_and_held_at_its_ends():
    room = room_table(HEAD + "0,10\n2,14\n3,11\n")
    wanted = {-30: 10, 0: 10, 30: 11, 60: 12, 120: 14, 150: 12.5, 180: 11, 9999: 11}
    assert {minute: room.at(minute) for minute in wanted} == pytest.approx(wanted)


def test_a_table_of_moments_begins_with_its_first_row_in_any_offset():
    text = HEAD + "2027-02-01T09:00:00Z,10\n2027-02-01T11:30:00+01:00,16\n"
    assert room_table(text).at(45) == pytest.approx(13)


def test_blank_lines_and_spaces_do_not_matter():
    assert room_table("time, temp_c\n\n0, 12\n\n1 ,13\n").at(60) == 13


def test_a_table_of_one_row_holds_for_ever():
    room = room_table(HEAD + "5,12.5\n")
    assert room.at(0) == room.at(10_000) == 12.5


@pytest.mark.parametrize(
    ("rows", "line", "found"),
    [
        ("0,warm\n", 2, "warm"),
        ("0,12\n1,nan\n", 3, "nan"),
        ("0,12\n1,inf\n", 3, "inf"),
        ("0,12\n1,1e308\n", 3, "1e308"),
        ("0,12\n1,-41\n", 3, "-41"),
        ("0,12\n1,\n", 3, "''"),
        ("0,12\n\n1,61\n", 4, "61"),
        ("0,12\n0,13\n", 3, "'0'"),
        ("0,12\n2,13\n1,13\n", 4, "'1'"),
        ("0;12\n", 2, "1 column"),
        ("0,12,13\n", 2, "3 columns"),
        ("0,12,5\n", 2, "3 columns"),
        ("nan,12\n", 2, "nan"),
        ("-inf,12\n", 2, "-inf"),
        ("noon,12\n", 2, "noon"),
        ("2027-02-01T09:00:00,12\n", 2, "2027-02-01T09:00:00"),
        ("2027-02-30T09:00:00Z,12\n", 2, "2027-02-30"),
        ("0,12\x00\n", 2, "12"),
        ("", 2, "nothing"),
    ],
    ids=[
        "word", "nan", "inf", "huge", "too-cold", "empty-cell", "after-a-blank",
        "same-time", "backwards", "semicolon", "three", "decimal-comma",
        "time-nan", "time-inf", "time-word", "no-offset", "no-such-day", "nul",
        "no-rows",
    ],
)  # fmt: skip
def test_a_malformed_row_is_refused_with_its_line_and_what_was_found(rows, line, found):
    with pytest.raises(ValueError, match=f"line {line}:") as error:
        room_table(HEAD + rows)
    assert found in str(error.value)


@pytest.mark.parametrize("head", ["", "hour,temp\n", "temp_c,time\n", "0,12\n"])
def test_a_table_without_its_head_is_refused_with_the_head_it_needs(head):
    with pytest.raises(ValueError, match=r"line 1: .*time,temp_c"):
        room_table(head + "0,12\n")


@pytest.mark.parametrize("text", [HEAD + '0,"12\n', HEAD + "0,12\r1,13"])
def test_what_is_not_csv_is_refused(text):
    with pytest.raises(ValueError, match="not readable as CSV"):
        room_table(text)


@pytest.mark.parametrize(
    "rows",
    [
        "0,12\n2027-02-01T09:00:00Z,13\n",
        "0,12\n2027-02-01 09:00:00Z,13\n",
        "2027-02-01 09:00:00Z,13\n500000,12\n",
    ],
)
def test_hours_and_moments_in_one_table_are_refused(rows):
    with pytest.raises(ValueError, match=r"line 3: .*hours in one row, a moment in"):
        room_table(HEAD + rows)


def test_a_table_of_moments_says_when_it_begins_and_one_of_hours_does_not():
    row = "2027-03-28T03:00:00+02:00,12\n"
    assert room_table(HEAD + row).starts == datetime(2027, 3, 28, 1, tzinfo=UTC)
    assert room_table(HEAD + "3,12\n").starts is None


def test_a_time_beyond_all_bounds_is_refused():
    with pytest.raises(ValueError, match="line 3:"):
        room_table(HEAD + "0,12\n1e308,13\n")
