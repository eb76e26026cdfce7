"""Of two controllers of one bench at least one ends, and the older one stays."""

import json
from itertools import product

import pytest

from controller.adapters.clocks import ManualClock
from controller.adapters.presence import AnotherControllerError, Presence


class Pair:
    """Two controllers whose runs began some time apart."""

    def __init__(self, runs: tuple[str, str], apart_ms: int) -> None:
        self.clock = ManualClock()
        self.older = Presence("lean-to", runs[0], self.clock)
        self.clock.advance(apart_ms)
        self.younger = Presence("lean-to", runs[1], self.clock)
        self.clock.advance(500)

    def ends(self, one: Presence, other: Presence, *delays_ms: int) -> bool:
        """Ask and be answered, each message late; return whether one must end."""
        question = one.word()
        self.clock.advance(delays_ms[0])
        answer = other.heard(question.encode(), retained=False)
        assert answer is not None
        self.clock.advance(delays_ms[1])
        try:
            assert one.heard(answer.encode(), retained=False) is None
        except AnotherControllerError:
            return True
        return False


def test_the_younger_one_ends_and_is_told_what_to_do():
    pair = Pair(("r1", "r2"), 90_000)
    answer = pair.older.heard(pair.younger.word().encode(), retained=False)
    with pytest.raises(
        AnotherControllerError,
        match=r"run r1\) has kept bench lean-to on this broker for 90 s.*stop the ot",
    ):
        pair.younger.heard(answer.encode(), retained=False)


def test_the_older_one_stays():
    pair = Pair(("r2", "r1"), 90_000)
    assert not pair.ends(pair.older, pair.younger, 0, 0)


@pytest.mark.parametrize("runs", [("a", "b"), ("b", "a")])
@pytest.mark.parametrize(
    "apart_ms", [0, 1, 900, 999, 1_000, 1_001, 1_500, 1_999, 2_000, 2_001, 2_600]
)
def test_never_both_stay_however_close_and_however_late_the_answers(runs, apart_ms):
    for late in product((0, 1, 250, 499), repeat=4):
        pair = Pair(runs, apart_ms)
        ended = pair.ends(pair.younger, pair.older, *late[:2])
        assert pair.ends(pair.older, pair.younger, *late[2:]) or ended


@pytest.mark.parametrize("runs", [("a", "b"), ("b", "a")])
def test_two_of_the_same_moment_do_not_both_end(runs):
    pair = Pair(runs, 0)
    ends = [
        pair.ends(pair.older, pair.younger, 0, 0),
        pair.ends(pair.younger, pair.older, 0, 0),
    ]
    assert sum(ends) == 1


def test_what_a_dead_run_left_behind_ends_nobody():
    """It names nobody, or somebody else, or the broker has kept it."""
    pair = Pair(("dead", "r2"), 90_000)
    left = [
        pair.older.word().encode(),
        pair.older.word(hears="r1").encode(),
    ]
    assert pair.younger.heard(left[0], retained=False) is not None  # a question back
    assert pair.younger.heard(left[1], retained=False) is None
    kept = pair.older.word(hears="r2").encode()
    assert pair.younger.heard(kept, retained=True) is None


def test_one_does_not_answer_itself():
    alone = Presence("lean-to", "r1", ManualClock())
    assert alone.heard(alone.word().encode(), retained=False) is None


@pytest.mark.parametrize(
    "junk",
    [
        b"",
        b"\xff",
        b"true",
        b"[]",
        b"{}",
        b'{"run": 7, "held_ms": 1}',
        b'{"run": "x"}',
        b'{"run": "x", "held_ms": -1}',
        b'{"run": "x", "held_ms": 1e99, "hears": "r1"}',
        b'{"run": "x", "held_ms": "old", "hears": "r1"}',
    ],
)
def test_rubbish_says_nothing(junk):
    alone = Presence("lean-to", "r1", ManualClock())
    assert alone.heard(junk, retained=False) is None


def test_an_answer_is_itself_not_answered():
    pair = Pair(("r1", "r2"), 90_000)
    answer = json.dumps({"run": "r3", "held_ms": 5, "hears": "r2"}).encode()
    assert pair.older.heard(answer, retained=False) is None
