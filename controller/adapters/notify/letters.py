"""A message: its words for a person, its JSON for a program.

The JSON is a contract with whoever receives it; keys may be added, and those
that are not known must be ignored:

    id        text: its own; one that comes twice has the same
    bench     text: name of the bench
    clock_ok  whether the bench's wall clock was right
    kind      kind of alarm, or "all-is-well" or "test"
    subject   name of the mat or probe; "" for the bench
    mat       name of the mat that it is about; left out if there is none
    priority  "high", "medium" or "low"
    turn      "raised" or "cleared"; "" if it is no alarm
    at        when it came, or was over: RFC 3339, UTC
    times     how often it came since then, before anybody was told
    over_at   when it was over; left out while it is not
    sentence  all that a person shall read, several lines if it is of several
    more      other alarms in the same message, the most urgent first, each with
              kind, subject, mat, priority, turn, at, times, over_at, sentence

What may live here: what a message looks like. What is told, and when, is
decided in tell; how it travels is in senders.
"""

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from controller.adapters.notify.memory import Item, Letter
from controller.core.alarm_rules import RULES, Priority
from controller.core.decisions import AlarmTurn
from controller.core.units import MINUTE_MS

MOST_LINES = 5
"""Chosen: what a telephone shows. Urgent alarms are always told in full."""

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True, kw_only=True)
class Paper:
    """What every message of a scan has.

    Attributes:
        bench: Name of the bench.
        run_ms: Run clock [ms].
        utc_ms: Wall clock [ms].
        clock_ok: Whether the wall clock is known to be right.
        clock: Puts an instant [ms] into words, by the bench's own clock.
        new_id: Makes an identity that no other message has.
    """

    bench: str
    run_ms: int
    utc_ms: int
    clock_ok: bool
    clock: Callable[[int], str]
    new_id: Callable[[], str]


def alarm_letter(target: str, items: Sequence[Item], paper: Paper) -> Letter:
    """Return one message of alarms, the most urgent first; at least one."""
    first, *others = items
    more = [_fields(item) for item in others]
    return _letter(target, _text(items, paper), _fields(first), paper, more)


def plain_letter(target: str, kind: str, sentence: str, paper: Paper) -> Letter:
    """Return a message that no alarm made: a daily word, or a test."""
    fields: dict[str, object] = {
        "kind": kind,
        "subject": "",
        "priority": "low",
        "turn": "",
        "at": utc_text(paper.utc_ms),
    }
    return _letter(target, sentence, fields, paper, [])


def _letter(
    target: str,
    text: str,
    fields: dict[str, object],
    paper: Paper,
    more: list[dict[str, object]],
) -> Letter:
    identity = paper.new_id()
    head = {"id": identity, "bench": paper.bench, "clock_ok": paper.clock_ok}
    body = head | fields | {"sentence": text} | ({"more": more} if more else {})
    return Letter(
        id=identity,
        target=target,
        title=f"Bench {paper.bench}",
        text=text,
        priority=str(fields["priority"]),
        body=json.dumps(body, ensure_ascii=False),
        made_ms=paper.run_ms,
        next_ms=paper.run_ms,
    )


def _fields(item: Item) -> dict[str, object]:
    fields: dict[str, object] = {
        "kind": item.kind.value,
        "subject": item.subject,
        "priority": RULES[item.kind].priority.name.lower(),
        "turn": (AlarmTurn.CLEARED if item.over else AlarmTurn.RAISED).value,
        "at": utc_text(item.utc_ms),
        "times": item.times,
        "sentence": item.sentence,
    }
    if item.over_utc_ms is not None:
        fields["over_at"] = utc_text(item.over_utc_ms)
    return fields | ({"mat": item.mat} if item.mat else {})


def _text(items: Sequence[Item], paper: Paper) -> str:
    lines: list[str] = []
    for item in items:
        high = RULES[item.kind].priority is Priority.HIGH
        if high or len(lines) < MOST_LINES:
            lines.append(_line(item, paper))
    left = len(items) - len(lines)
    return "\n".join(lines + ([f"And {left} more."] if left else []))


def _line(item: Item, paper: Paper) -> str:
    if item.over:
        return f"Over since {paper.clock(item.utc_ms)}: {item.sentence}"
    at, before, after = paper.clock(item.utc_ms), "", ""
    if item.times > 1:
        before = f"{item.times} times since {at}: "
    elif paper.utc_ms - item.utc_ms >= MINUTE_MS:
        before = f"At {at}: "
    if item.over_utc_ms is not None:
        after = f" Over since {paper.clock(item.over_utc_ms)}."
    return f"{before}{item.sentence}{after}"


def utc_text(utc_ms: int) -> str:
    """Return an instant [ms] as RFC 3339 in UTC."""
    moment = (_EPOCH + timedelta(milliseconds=utc_ms)).replace(tzinfo=None)
    return moment.isoformat(timespec="seconds") + "Z"
