"""Letters on their way: which is tried next, when again, and which is lost.

What may live here: values in, values out. Sending itself is in notifier.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace

from controller.adapters.notify.memory import Letter
from controller.core.units import HOUR_MS, MINUTE_MS, SECOND_MS

FIRST_WAIT_MS = 10 * SECOND_MS
LONGEST_WAIT_MS = 30 * MINUTE_MS
"""Waits between attempts double from the one to the other."""

GIVEN_UP_MS = 24 * HOUR_MS
"""A message that could not be delivered for this long is of no use any more."""

MOST_LETTERS = 200
"""Chosen: more on their way are a fault, and a small board's disk is small."""

HIGH = "high"


def next_letter(letters: Iterable[Letter], target: str, now_ms: int) -> Letter | None:
    """Return the letter of a target that is to be tried now, if any.

    While one waits for its next attempt the target counts as out of reach, and
    only urgent letters that were never tried may knock. A letter that is
    refused again and again does not stand in the way of others.
    """
    own = [letter for letter in letters if letter.target == target]
    if any(letter.tries and letter.next_ms > now_ms for letter in own):
        own = [x for x in own if not x.tries and x.priority == HIGH]
    due = (letter for letter in own if letter.next_ms <= now_ms)
    return min(due, key=_order, default=None)


def _order(letter: Letter) -> tuple[int, bool, int]:
    return letter.tries, letter.priority != HIGH, letter.made_ms


def is_blocked(letters: Iterable[Letter], target: str) -> bool:
    """Whether a target seems out of reach: nothing more is sent after it."""
    own = [letter for letter in letters if letter.target == target]
    return len(own) > 1 and any(letter.tries for letter in own)


def tried_in_vain(letter: Letter, now_ms: int) -> Letter:
    """Return a letter after an attempt that failed."""
    wait_ms = min(FIRST_WAIT_MS * 2 ** min(letter.tries, 20), LONGEST_WAIT_MS)
    return replace(letter, tries=letter.tries + 1, next_ms=now_ms + wait_ms)


def without(letters: Iterable[Letter], letter: Letter) -> list[Letter]:
    """Return letters but for one."""
    return [other for other in letters if other.id != letter.id]


def knocked(letters: Iterable[Letter], target: str, now_ms: int) -> list[Letter]:
    """Return letters after a target took one: others need not wait any more."""
    return [
        replace(letter, next_ms=now_ms) if letter.target == target else letter
        for letter in letters
    ]


def lost(
    letters: Sequence[Letter], targets: Iterable[str], now_ms: int
) -> list[tuple[Letter, str]]:
    """Return the letters that are of no use any more, each with why."""
    known = set(targets)
    gone = [
        (letter, "the configuration does not name it any more")
        for letter in letters
        if letter.target not in known
    ]
    gone += [
        (letter, "not delivered within 24 h, and given up")
        for letter in letters
        if letter.target in known and now_ms - letter.made_ms >= GIVEN_UP_MS
    ]
    left = len(letters) - len(gone) - MOST_LETTERS
    if left > 0:
        ids = {letter.id for letter, _ in gone}
        rest = [letter for letter in letters if letter.id not in ids]
        rest.sort(key=lambda x: (x.priority == HIGH, x.made_ms))
        why = f"dropped, since more than {MOST_LETTERS} messages wait"
        gone += [(letter, why) for letter in rest[:left]]
    return gone
