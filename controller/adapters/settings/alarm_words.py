"""Words that say who is told of which alarms, and when; or a sentence why not.

What may live here: single values of [[notify]], checked. What they mean
together is in notices.
"""

import difflib
import re

from controller.adapters.settings import words
from controller.core.alarm_rules import RULES, Priority
from controller.core.decisions import AlarmKind
from controller.core.units import DAY_MS, HOUR_MS

PRIORITIES = {priority.name.lower(): priority for priority in reversed(Priority)}
CLEARED = "cleared"
ALARM_WORDS = (*PRIORITIES, CLEARED, *(kind.value for kind in AlarmKind))
"""What may be told: all alarms of a priority, that one is over, or one kind."""

_TIME_OF_DAY = re.compile(r"([01][0-9]|2[0-3]):([0-5][0-9])")
_AT_MOST = re.compile(r"([1-9][0-9]{0,2}) per (hour|day)")
_QUIET_ASK = 'write from when to when what can wait waits, such as "22:00-07:00"'


def quiet(value: object) -> tuple[int, int]:
    """Return the minutes of the day from which to which it is quiet."""
    try:
        from_minute, to_minute = words.night(value)
    except ValueError:
        raise ValueError(_QUIET_ASK) from None
    if from_minute == to_minute:
        message = f"{_QUIET_ASK}; these two are the same"
        raise ValueError(message)
    return from_minute, to_minute


def time_of_day(value: object) -> int:
    """Return the minute of the local day."""
    match = _TIME_OF_DAY.fullmatch(value) if isinstance(value, str) else None
    if match is None:
        message = 'write a time of day in quotes, such as "08:00"'
        raise ValueError(message)
    return int(match[1]) * 60 + int(match[2])


def at_most(value: object) -> tuple[int, int]:
    """Return how many messages a time may see, and that time [ms]."""
    match = _AT_MOST.fullmatch(value) if isinstance(value, str) else None
    if match is None:
        message = 'write how many messages, from 1 to 999: "6 per hour" or "9 per day"'
        raise ValueError(message)
    return int(match[1]), HOUR_MS if match[2] == "hour" else DAY_MS


def names(value: object) -> tuple[str, ...]:
    """Return names, each once."""
    found = value if isinstance(value, list) else [None]
    texts = [name for name in found if isinstance(name, str)]
    if len(texts) < len(found):
        message = 'write a list of words in quotes, such as ["north", "south"]'
        raise ValueError(message)
    return tuple(dict.fromkeys(texts))


def alarms(value: object) -> tuple[str, ...]:
    """Return words that say which alarms are meant."""
    try:
        found = names(value)
    except ValueError:
        message = 'write a list of words in quotes, such as ["high", "medium"]'
        raise ValueError(message) from None
    for word in found:
        if word not in ALARM_WORDS:
            raise ValueError(_no_such(word))
    return found


def _no_such(word: str) -> str:
    near = difflib.get_close_matches(word, ALARM_WORDS, n=1)
    if near:
        return f'there is no "{word}"; did you mean "{near[0]}"?'
    known = ", ".join(f'"{name}"' for name in (*PRIORITIES, CLEARED))
    return f'there is no "{word}"; write {known}, or a kind of alarm such as "trip"'


def kinds(said: tuple[str, ...]) -> frozenset[AlarmKind]:
    """Return the kinds of alarm that such words mean."""
    wanted = {PRIORITIES[word] for word in said if word in PRIORITIES}
    return frozenset(
        kind
        for kind in AlarmKind
        if kind.value in said or RULES[kind].priority in wanted
    )
