"""Messages in words and in JSON, their way, and the book that remembers them."""

import json
from dataclasses import replace
from itertools import count

import pytest

from controller.adapters.notify.book import BookFile, book_beside
from controller.adapters.notify.letters import Paper, alarm_letter, plain_letter
from controller.adapters.notify.mail import (
    GIVEN_UP_MS,
    LONGEST_WAIT_MS,
    MOST_LETTERS,
    is_blocked,
    knocked,
    lost,
    next_letter,
    tried_in_vain,
    without,
)
from controller.adapters.notify.memory import Book, Item, Letter, Memory, Told, resumed
from controller.core.decisions import AlarmKind
from tests.notify.people import COLD, HOT, LOST, instant

NOW_MS = instant("2027-02-01T03:15:00Z")


def paper(**changes) -> Paper:
    numbers = count(1)
    made = Paper(
        bench="lean-to",
        run_ms=5_000,
        utc_ms=NOW_MS,
        clock_ok=True,
        clock=lambda utc_ms: f"{(NOW_MS - utc_ms) // 60_000} min ago",
        new_id=lambda: f"id-{next(numbers)}",
    )
    return replace(made, **changes)


def item(kind=COLD, subject="north", **changes) -> Item:
    made = Item(kind, subject, "north", f"{kind.value} {subject}.", NOW_MS)
    return replace(made, **changes)


def letter(name="a", **changes) -> Letter:
    made = Letter(
        id=name,
        target="phone",
        title="Bench lean-to",
        text="Words.",
        priority="medium",
        body="{}",
        made_ms=0,
    )
    return replace(made, **changes)


# -------------------------------------------------------------------------- words


@pytest.mark.parametrize(
    ("changes", "line"),
    [
        ({}, "no-driving-reading north."),
        (
            {"utc_ms": NOW_MS - 120_000},
            "At 2 min ago: no-driving-reading north.",
        ),
        (
            {"utc_ms": NOW_MS - 180_000, "times": 3},
            "3 times since 3 min ago: no-driving-reading north.",
        ),
        (
            {"utc_ms": NOW_MS - 180_000, "over_utc_ms": NOW_MS - 60_000},
            "At 3 min ago: no-driving-reading north. Over since 1 min ago.",
        ),
        (
            {"utc_ms": NOW_MS - 60_000, "over": True, "over_utc_ms": NOW_MS - 60_000},
            "Over since 1 min ago: no-driving-reading north.",
        ),
    ],
)
def test_an_alarm_in_words(changes, line):
    assert alarm_letter("phone", [item(**changes)], paper()).text == line


def test_many_alarms_are_five_lines_and_a_number():
    items = [item(LOST, f"n{number}") for number in range(19)]
    lines = alarm_letter("phone", items, paper()).text.splitlines()
    assert len(lines) == 6
    assert lines[-1] == "And 14 more."


def test_urgent_alarms_are_always_told_in_full():
    items = [item(HOT, f"m{number}") for number in range(9)]
    lines = alarm_letter("phone", [*items, item(LOST, "n1")], paper()).text.splitlines()
    assert len(lines) == 10
    assert lines[-1] == "And 1 more."


def test_the_body_of_one_alarm():
    sent = alarm_letter("phone", [item(over_utc_ms=NOW_MS)], paper())
    assert (sent.title, sent.priority) == ("Bench lean-to", "medium")
    assert json.loads(sent.body) == {
        "id": "id-1",
        "bench": "lean-to",
        "clock_ok": True,
        "kind": "no-driving-reading",
        "subject": "north",
        "priority": "medium",
        "turn": "raised",
        "at": "2027-02-01T03:15:00Z",
        "times": 1,
        "sentence": sent.text,
        "over_at": "2027-02-01T03:15:00Z",
        "mat": "north",
    }


def test_the_body_of_several_is_that_of_the_first_and_more():
    items = [item(HOT), item(LOST, "n1", over=True), item(AlarmKind.LINK_DOWN, mat="")]
    body = json.loads(alarm_letter("phone", items, paper()).body)
    assert (body["kind"], body["priority"]) == ("trip", "high")
    assert [(m["kind"], m["turn"], m.get("mat")) for m in body["more"]] == [
        ("probe-lost", "cleared", "north"),
        ("link-down", "raised", None),
    ]
    assert body["more"][0]["sentence"] == "probe-lost n1."


def test_the_body_of_a_word_that_no_alarm_made():
    sent = plain_letter("phone", "all-is-well", "All is well: 21 °C.", paper())
    assert sent.body.count("°C") == 1
    assert json.loads(sent.body) == {
        "id": "id-1",
        "bench": "lean-to",
        "clock_ok": True,
        "kind": "all-is-well",
        "subject": "",
        "priority": "low",
        "turn": "",
        "at": "2027-02-01T03:15:00Z",
        "sentence": "All is well: 21 °C.",
    }


# ------------------------------------------------------------------------ the way


def test_waits_double_from_ten_seconds_to_half_an_hour():
    waits, tried = [], letter()
    for _ in range(12):
        tried = tried_in_vain(tried, now_ms=7)
        waits.append((tried.next_ms - 7) // 1000)
    assert waits == [10, 20, 40, 80, 160, 320, 640, 1280, 1800, 1800, 1800, 1800]
    assert tried_in_vain(letter(tries=10**6), 0).next_ms == LONGEST_WAIT_MS


def test_one_attempt_at_a_time_while_a_target_is_out_of_reach():
    letters = [letter("a", tries=1, next_ms=10_000), letter("b"), letter("c")]
    assert next_letter(letters, "phone", 9_999) is None
    assert next_letter(letters, "phone", 10_000) == letters[1]
    assert next_letter(letters, "mail", 10_000) is None


def test_an_urgent_one_knocks_once_all_the_same():
    letters = [
        letter("a", tries=1, next_ms=10_000),
        letter("b"),
        letter("c", priority="high"),
    ]
    assert next_letter(letters, "phone", 0) == letters[2]
    tried = [*letters[:2], tried_in_vain(letters[2], 0)]
    assert next_letter(tried, "phone", 0) is None


def test_one_that_is_always_refused_does_not_stand_in_the_way():
    letters = [letter("refused", tries=5, next_ms=0), letter("b", made_ms=9)]
    assert next_letter(letters, "phone", 0) == letters[1]
    assert not is_blocked(letters[:1], "phone")
    assert is_blocked(letters, "phone")
    assert not is_blocked(letters, "mail")


def test_when_one_got_through_the_others_need_not_wait():
    letters = [letter("a", tries=3, next_ms=10**6), letter("b", target="mail", tries=1)]
    after = knocked(letters, "phone", 50)
    assert [x.next_ms for x in after] == [50, 0]
    assert [x.id for x in without(after, letters[0])] == ["b"]


def test_letters_that_are_of_no_use_any_more():
    old = letter("old", made_ms=5)
    strange = letter("strange", target="pager")
    young = letter("young", made_ms=6)
    gone = lost([old, strange, young], ["phone"], 5 + GIVEN_UP_MS)
    assert [(x.id, why) for x, why in gone] == [
        ("strange", "the configuration does not name it any more"),
        ("old", "not delivered within 24 h, and given up"),
    ]


def test_no_more_than_so_many_letters_wait_and_urgent_ones_go_last():
    letters = [letter("h", priority="high")]
    letters += [letter(str(n), made_ms=n) for n in range(1, MOST_LETTERS + 2)]
    assert [x.id for x, _ in lost(letters, ["phone"], 1_000)] == ["1", "2"]


# ----------------------------------------------------------------------- the book


BOOK = Book(
    {
        "phone": Memory(
            told=(Told(HOT, "north", "north", "Words.", 5, 7, told_ms=6),),
            held=(item(over_utc_ms=9, wakes=True),),
            sent_ms=(1, 2),
            well_day=20_000,
        )
    },
    (letter(text="21 °C", tries=2),),
)


def test_the_book_is_read_as_it_was_written(tmp_path):
    file = BookFile(book_beside(tmp_path / "season.db"))
    assert file.load() == (Book(), None)
    file.save(BOOK)
    assert file.load() == (BOOK, None)
    assert [path.name for path in tmp_path.iterdir()] == ["season.notices.json"]


@pytest.mark.parametrize(
    "content",
    [b"", b"{", b"\xff", b"[]", b'{"targets": {"a": {"told": 5}}}', b"9" * 10],
    ids=repr,
)
def test_a_damaged_book_is_set_aside_with_a_sentence(tmp_path, content):
    path = tmp_path / "season.notices.json"
    path.write_bytes(content)
    book, problem = BookFile(path).load()
    assert book == Book()
    assert problem is not None
    assert problem.startswith(f"{path} is damaged: ")
    assert problem.endswith(
        "; it was set aside as season.notices.json.damaged, and messages in it are lost"
    )
    assert (tmp_path / "season.notices.json.damaged").read_bytes() == content
    assert BookFile(path).load() == (Book(), None)


def test_a_damaged_book_that_cannot_be_set_aside(tmp_path):
    path = tmp_path / "season.notices.json"
    path.write_bytes(b"{")
    (tmp_path / "season.notices.json.damaged" / "x").mkdir(parents=True)
    book, problem = BookFile(path).load()
    assert book == Book()
    assert "it could not be set aside" in (problem or "")


def test_a_book_that_cannot_be_read_is_said(tmp_path):
    book, problem = BookFile(tmp_path).load()
    assert (book, problem) == (Book(), f"{tmp_path}: cannot be read: Is a directory")


def test_letters_of_an_earlier_run_are_tried_at_once():
    """A clock that was set back must not make them wait, or live, for ever."""
    book = Book({}, (letter(made_ms=10**9, next_ms=10**9, tries=3),))
    (again,) = resumed(book, 50).letters
    assert (again.made_ms, again.next_ms, again.tries) == (50, 50, 3)
