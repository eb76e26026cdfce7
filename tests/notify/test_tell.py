"""What is told, and when: the judgement, with a clock that the test moves."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.adapters.notify.memory import Book, Memory, resumed
from controller.adapters.notify.tell import (
    Moment,
    all_is_well_due,
    dealt_with,
    is_quiet,
)
from controller.core.decisions import AlarmChange, AlarmKind, AlarmTurn
from controller.core.units import Millis
from tests.notify.people import (
    COLD,
    H_S,
    HOT,
    LOST,
    MIN_S,
    Person,
    a_wire,
    instant,
    kinds,
)

NIGHT = (22 * 60, 7 * 60)


def test_an_alarm_is_told_once_while_it_stands():
    person = Person()
    person.raise_(COLD)
    (item,) = person.scan()
    assert (item.kind, item.subject, item.sentence) == (
        COLD,
        "north",
        "no-driving-reading north.",
    )
    assert person.scans(2 * H_S) == []


def test_what_comes_together_is_one_message_the_most_urgent_first():
    person = Person()
    person.raise_(LOST, "n1")
    person.raise_(HOT)
    person.raise_(COLD)
    assert kinds(person.scan()) == [HOT, LOST, COLD]


def test_nothing_is_told_that_was_not_asked_for():
    person = Person(a_wire(tells=frozenset({HOT})))
    person.raise_(COLD)
    assert person.scan() == []
    person.raise_(HOT)
    assert kinds(person.scan()) == [HOT]


@pytest.mark.parametrize(
    "silenced",
    [
        {"acknowledged": True},
        {"suppressed": True},
        {"shelved_until_ms": Millis(10**12)},
        {"active": False},
    ],
)
def test_an_alarm_that_does_not_ring_is_not_told_until_it_does(silenced):
    person = Person()
    person.raise_(COLD, **silenced)
    assert person.scans(H_S) == []
    person.raise_(COLD)
    assert kinds(person.scan()) == [COLD]


def test_one_that_rings_again_after_it_was_silenced_is_told_again():
    person = Person()
    person.raise_(COLD)
    person.scan()
    person.change(COLD, shelved_until_ms=Millis(10**12))
    assert person.scans(H_S) == []
    person.change(COLD, shelved_until_ms=None)
    assert kinds(person.scan()) == [COLD]


def test_one_that_was_explained_for_a_while_is_not_told_again():
    person = Person()
    person.raise_(LOST, "n1")
    person.scan()
    person.change(LOST, "n1", suppressed=True)
    person.scans(H_S)
    person.change(LOST, "n1", suppressed=False)
    assert person.scans(H_S) == []


# ---------------------------------------------------------------- coming and going


def test_an_alarm_that_is_over_is_told_where_that_was_asked_for():
    person = Person(a_wire(cleared=True))
    person.raise_(COLD)
    person.scan()
    person.clear(COLD)
    gone_utc_ms = person.clock.now().utc_ms + 5_000
    assert person.scan() == []
    items = person.scans(10 * MIN_S)
    assert [(i.kind, i.over, i.utc_ms) for i in items] == [(COLD, True, gone_utc_ms)]
    assert person.scans(3 * H_S) == []


def test_what_is_not_asked_for_any_more_is_forgotten():
    person = Person(a_wire(cleared=True, quiet=NIGHT), at="2027-02-01T23:00:00Z")
    person.raise_(COLD)
    person.raise_(HOT)
    assert kinds(person.scan()) == [HOT]
    person.wire = a_wire(cleared=True, tells=frozenset({LOST}))
    person.alarms.clear()
    assert person.scans(12 * H_S) == []
    assert (person.memory.told, person.memory.held) == ((), ())


def test_nobody_is_told_that_it_is_over_who_did_not_ask():
    person = Person()
    person.raise_(COLD)
    person.scan()
    person.clear(COLD)
    assert person.scans(3 * H_S) == []


def test_one_that_a_person_acknowledged_is_not_told_to_be_over():
    person = Person(a_wire(cleared=True))
    person.raise_(COLD)
    person.scan()
    person.change(COLD, acknowledged=True)
    person.scan(5, COLD)
    person.clear(COLD)
    assert person.scans(3 * H_S) == []


def test_an_alarm_that_flaps_is_told_once():
    person = Person(a_wire(cleared=True))
    told = []
    for _ in range(100):
        person.raise_(COLD)
        told += person.scans(2 * MIN_S)
        person.clear(COLD)
        told += person.scans(9 * MIN_S)
    assert kinds(told) == [COLD]
    assert [i.over for i in person.scans(H_S)] == [True]


def test_one_that_comes_again_after_it_was_over_is_told_again():
    person = Person()
    person.raise_(COLD)
    person.scan()
    person.clear(COLD)
    person.scans(11 * MIN_S)
    person.raise_(COLD)
    assert kinds(person.scan()) == [COLD]


def test_a_high_one_that_comes_again_is_told_again_at_once():
    """A person reset the mat, and it tripped once more."""
    person = Person()
    person.raise_(HOT)
    assert [i.urgent for i in person.scan()] == [True]
    person.clear(HOT)
    person.scans(2 * MIN_S)
    person.raise_(HOT)
    (again,) = person.scan()
    assert (again.kind, again.urgent) == (HOT, False)


# -------------------------------------------------------------------- quiet hours


QUIET_CASES = [
    # quiet, local time, is it quiet?
    (NIGHT, "21:59", False),
    (NIGHT, "22:00", True),
    (NIGHT, "00:00", True),
    (NIGHT, "06:59", True),
    (NIGHT, "07:00", False),
    ((13 * 60, 15 * 60), "12:59", False),
    ((13 * 60, 15 * 60), "13:00", True),
    ((13 * 60, 15 * 60), "15:00", False),
    (None, "03:00", False),
]


@pytest.mark.parametrize("clock_ok", [True, False])
@pytest.mark.parametrize(("quiet", "local", "expected"), QUIET_CASES)
def test_when_it_is_quiet(quiet, local, expected, clock_ok):
    """With a clock that is not right nothing waits: nobody knows for what."""
    hour, minute = map(int, local.split(":"))
    moment = Moment(
        run_ms=0,
        utc_ms=0,
        clock_ok=clock_ok,
        local_day=0,
        local_minute=60 * hour + minute,
        alarms=(),
        sentence=str,
    )
    assert is_quiet(a_wire(quiet=quiet), moment) is (expected and clock_ok)


def test_what_can_wait_waits_for_the_morning_and_what_is_hot_does_not():
    person = Person(a_wire(quiet=NIGHT), at="2027-02-01T23:00:00Z")
    person.raise_(COLD)
    person.raise_(LOST, "n1")
    assert person.scans(H_S) == []
    person.raise_(HOT)
    assert kinds(person.scan()) == [HOT]
    assert person.scans(6 * H_S + 55 * MIN_S) == []
    assert person.local() == "06:55"
    items = person.scans(5 * MIN_S)
    assert (person.local(), kinds(items)) == ("07:00", [COLD, LOST])
    assert items[0].utc_ms == instant("2027-02-01T23:00:05Z") + 55_000


def test_cold_wakes_for_chilli_and_not_for_hardwood():
    wire = a_wire(quiet=NIGHT, cold_wakes=frozenset({"south"}))
    hardwood = Person(wire, at="2027-02-01T23:00:00Z", cold=frozenset({"north"}))
    hardwood.raise_(COLD)
    assert hardwood.scan() == []
    both = frozenset({"north", "south"})
    chilli = Person(wire, at="2027-02-01T23:00:00Z", cold=both)
    chilli.raise_(COLD, "south")
    assert kinds(chilli.scan()) == [COLD]


def test_one_that_went_in_the_night_is_told_in_the_morning_with_when():
    person = Person(a_wire(quiet=NIGHT, cleared=True), at="2027-02-01T23:00:00Z")
    person.raise_(COLD)
    person.scan()
    person.clear(COLD)
    person.scan(H_S)
    items = person.scans(9 * H_S)
    assert [(i.kind, i.over, i.times) for i in items] == [(COLD, False, 1)]
    assert items[0].over_utc_ms == instant("2027-02-02T00:00:05Z")


def test_one_that_came_and_went_all_night_is_one_line_in_the_morning():
    person = Person(a_wire(quiet=NIGHT), at="2027-02-01T22:30:00Z")
    for _ in range(4):
        person.raise_(COLD)
        assert person.scans(5 * MIN_S) == []
        person.clear(COLD)
        assert person.scans(55 * MIN_S) == []
    person.raise_(COLD)
    (item,) = person.scans(6 * H_S)
    assert (item.times, item.over_utc_ms) == (5, None)


def test_one_that_comes_back_within_minutes_by_night_counts_too():
    person = Person(a_wire(quiet=NIGHT), at="2027-02-01T22:30:00Z")
    person.raise_(COLD)
    person.scan()
    person.clear(COLD)
    person.scan()
    person.raise_(COLD)
    (item,) = person.scans(9 * H_S)
    assert (item.times, item.over_utc_ms) == (2, None)


@pytest.mark.parametrize("turn", ["acknowledged", "shelved", "suppressed"])
def test_what_a_person_saw_by_night_is_not_told_in_the_morning(turn):
    person = Person(a_wire(quiet=NIGHT), at="2027-02-01T23:00:00Z")
    person.raise_(COLD)
    person.scan()
    if turn == "suppressed":
        person.change(COLD, suppressed=True)
        person.scan()
    else:
        changed = {"acknowledged": {"acknowledged": True}}
        person.change(COLD, **changed.get(turn, {"shelved_until_ms": Millis(10**12)}))
        person.scan(5, COLD)
        person.clear(COLD)
    assert person.scans(12 * H_S) == []


def test_a_person_is_told_that_it_is_over_in_the_morning_or_at_once_if_asked():
    for wakes, expected in ((False, "07:00"), (True, "23:10")):
        wire = a_wire(quiet=NIGHT, cleared=True, cleared_wakes=wakes)
        person = Person(wire, at="2027-02-01T22:59:55Z")
        person.raise_(HOT)
        person.scan()
        person.clear(HOT)
        person.scan()
        while not (items := person.scan(5)):
            pass
        assert [i.over for i in items] == [True]
        assert person.local() == expected


def test_with_a_clock_that_is_not_right_nothing_waits():
    person = Person(a_wire(quiet=NIGHT), at="2027-02-01T23:00:00Z")
    person.raise_(COLD)
    assert person.scan() == []
    person.clock_ok = False
    assert kinds(person.scan()) == [COLD]


@pytest.mark.parametrize(
    ("begins", "hours"),
    [
        # In Europe/Berlin clocks go on at 2027-03-28T01:00Z and back at
        # 2027-10-31T01:00Z (the tz database): a night of 8 and one of 10 hours.
        ("2027-03-27T21:00:00Z", 8),
        ("2027-10-30T20:00:00Z", 10),
        ("2027-02-01T21:00:00Z", 9),
    ],
)
def test_quiet_hours_go_by_the_benchs_own_clock(begins, hours):
    person = Person(a_wire(quiet=NIGHT), at=begins, zone="Europe/Berlin")
    assert person.local() == "22:00"
    person.raise_(COLD)
    assert person.scans(hours * H_S - MIN_S) == []
    assert kinds(person.scan(MIN_S)) == [COLD]
    assert person.local() == "07:00"


# ---------------------------------------------------------------------- the limit


def test_no_more_than_so_many_messages_and_the_rest_in_one():
    person = Person(a_wire(at_most=2))
    messages = []
    for number in range(9):
        person.raise_(LOST, f"n{number}")
        messages.append(person.scan(MIN_S))
    assert [len(m) for m in messages] == [1, 1, 0, 0, 0, 0, 0, 0, 0]
    assert person.scans(51 * MIN_S) == []
    assert len(person.scan(MIN_S)) == 7


def test_an_urgent_one_does_not_wait_and_takes_the_others_along():
    person = Person(a_wire(at_most=1))
    person.raise_(LOST, "n1")
    person.scan()
    person.raise_(LOST, "n2")
    assert person.scan() == []
    person.raise_(HOT)
    assert kinds(person.scan()) == [HOT, LOST]


def test_an_urgent_one_that_flaps_is_held_to_the_limit_and_never_lost():
    person = Person(a_wire(at_most=3))
    messages = 0
    times = 0
    for _ in range(60):
        person.raise_(HOT)
        for items in (person.scan(30), person.scan(30)):
            messages += bool(items)
            times += sum(item.times for item in items)
        person.clear(HOT)
        messages += bool(person.scan(MIN_S))
    assert times + person.memory.held[0].times == 60
    assert messages <= 6  # two hours


def test_while_the_target_is_out_of_reach_only_urgent_ones_go_their_way():
    person = Person(blocked=True)
    person.raise_(COLD)
    assert person.scans(H_S) == []
    person.raise_(HOT)
    assert kinds(person.scan()) == [HOT, COLD]


ACTS = st.lists(
    st.tuples(
        st.sampled_from(["raise", "clear", "ack", "shelve", "hide", "show", "wait"]),
        st.sampled_from([HOT, COLD, LOST]),
        st.sampled_from([5, 60, 700, 4_000, 40_000]),
        st.booleans(),
    ),
    max_size=40,
)


@given(ACTS)
@settings(max_examples=200, deadline=None)
def test_whatever_happens_what_rings_is_told_or_waits(acts):
    """And an urgent one is told in the very scan in which it first rings."""
    person = Person(a_wire(quiet=NIGHT, cleared=True, at_most=2))
    seen: set[AlarmKind] = set()
    for act, kind, after_s, person.blocked in acts:
        alarm = person.alarms.get((kind, "north"))
        if act == "raise" and alarm is None:
            person.raise_(kind)
        elif act == "clear" and alarm is not None:
            person.clear(kind)
        elif alarm is not None:
            person.change(kind, **CHANGES.get(act, {}))
        items = person.scan(after_s)
        seen |= set(kinds(items))
        ringing = {a.kind for a in person.alarms.values() if a.rings}
        waiting = {item.kind for item in person.memory.held}
        assert ringing <= {told.kind for told in person.memory.told}
        assert ringing <= seen | waiting
        assert not (HOT in ringing and HOT not in seen)
        assert len(waiting) == len({(i.kind, i.over) for i in person.memory.held})


CHANGES = {
    "ack": {"acknowledged": True},
    "shelve": {"shelved_until_ms": Millis(10**12)},
    "hide": {"suppressed": True},
    "show": {"suppressed": False, "shelved_until_ms": None},
}


# --------------------------------------------------------------------- a restart


def restarted(person: Person, run_ms: int | None = None, **more) -> Person:
    """Return the same person in a new run, in which alarms are raised anew."""
    now = person.clock.now()
    begins_ms = now.run_ms if run_ms is None else run_ms
    book = resumed(Book({"phone": person.memory}), begins_ms)
    after = replace(person, alarms={}, memory=book.targets["phone"], **more)
    after.clock = person.clock
    return after


@pytest.mark.parametrize("kind", [COLD, HOT])
def test_what_was_told_before_a_restart_is_not_told_after_it(kind):
    person = Person(a_wire(cleared=True))
    person.raise_(kind)
    person.scan()
    person = restarted(person)
    person.scans(2 * MIN_S)
    person.raise_(kind)
    assert person.scans(H_S) == []


def test_what_waited_before_a_restart_is_told_after_it():
    person = Person(a_wire(quiet=NIGHT), at="2027-02-01T23:00:00Z")
    person.raise_(COLD)
    person.scan()
    person = restarted(person)
    assert kinds(person.scans(9 * H_S)) == [COLD]


def test_one_that_did_not_come_back_after_a_restart_is_over():
    person = Person(a_wire(cleared=True))
    person.raise_(COLD)
    person.scan()
    person = restarted(person)
    assert [i.over for i in person.scans(H_S)] == [True]
    person.raise_(COLD)
    assert kinds(person.scan()) == [COLD]


def test_a_run_clock_that_was_set_back_does_not_silence_anybody():
    person = Person(a_wire(at_most=1, cleared=True))
    person.raise_(LOST, "n1")
    person.scan()
    memory = resumed(Book({"phone": person.memory}), 0).targets["phone"]
    later = replace(person, alarms={}, memory=memory)
    later.clock._run_ms = 0
    later.raise_(LOST, "n2")
    assert kinds(later.scan()) == [LOST]
    assert [i.over for i in later.scans(2 * H_S)] == [True]


# ------------------------------------------------------------------ the daily word


def days_told(wire, at, hours, zone="UTC", memory=None, *, clock_ok=True):
    """Return the local times at which the daily word is given, and the memory."""
    person = Person(wire, at=at, zone=zone)
    memory, told = memory or Memory(), []
    for _ in range(hours * 12):
        now = person.clock.now()
        moment = Moment(
            run_ms=now.run_ms,
            utc_ms=now.utc_ms,
            clock_ok=clock_ok,
            local_day=now.local_day,
            local_minute=now.local_minute,
            alarms=(),
            sentence=str,
        )
        memory, due = all_is_well_due(wire, memory, moment)
        told += [person.local()] if due else []
        person.clock.advance(300_000)
    return told, memory


@pytest.mark.parametrize(
    ("minute", "at", "hours", "zone", "expected"),
    [
        (8 * 60, "2027-02-01T06:00:00Z", 48, "UTC", ["08:00", "08:00"]),
        (8 * 60, "2027-02-01T09:00:00Z", 24, "UTC", ["08:00"]),
        (0, "2027-02-01T12:00:00Z", 36, "UTC", ["00:00"]),
        # 02:30 does not exist in Berlin on the first of these, and is there twice
        # on the second.
        (150, "2027-03-27T12:00:00Z", 24, "Europe/Berlin", ["03:00"]),
        (150, "2027-10-30T12:00:00Z", 24, "Europe/Berlin", ["02:30"]),
        (None, "2027-02-01T06:00:00Z", 48, "UTC", []),
    ],
)
def test_the_daily_word_comes_once_a_day(minute, at, hours, zone, expected):
    assert days_told(a_wire(all_is_well=minute), at, hours, zone)[0] == expected


def test_the_daily_word_is_late_rather_than_missing():
    wire = a_wire(all_is_well=8 * 60)
    _, memory = days_told(wire, "2027-02-01T06:00:00Z", 4)
    told, _ = days_told(wire, "2027-02-02T15:00:00Z", 4, memory=memory)
    assert told == ["15:00"]


def test_the_daily_word_needs_a_clock_that_is_right():
    wire = a_wire(all_is_well=8 * 60)
    assert days_told(wire, "2027-02-01T06:00:00Z", 48, clock_ok=False)[0] == []


def test_what_a_person_took_in_hand_is_known_by_its_turn():
    changes = [AlarmChange(AlarmKind.TRIP, turn.value, turn) for turn in AlarmTurn]
    assert {subject for _, subject in dealt_with(changes)} == {
        "acknowledged",
        "shelved",
    }
