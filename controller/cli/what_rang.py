"""What rang in a simulation, for people.

What may live here: when an alarm was raised and how that is said. No judgement.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from api.formats import duration_text
from api.sentences import Reader, alarm_sentence
from controller.core.decisions import AlarmChange

MOST = 40
"""Lines that a person reads; the season log has them all."""

_WIDE = 10


@dataclass(frozen=True, slots=True)
class Rung:
    """An alarm was raised.

    Attributes:
        after_ms: How long after the beginning [ms].
        change: What was raised.
    """

    after_ms: int
    change: AlarmChange


def what_rang(rung: Sequence[Rung], display_unit: str) -> str:
    """Return every alarm that was raised, with the time since the beginning."""
    if not rung:
        return "Nothing rang."
    reader = Reader(display_unit, 0, 0)
    lines = ["What rang, and how long after the beginning:"]
    for one in rung[:MOST]:
        after = duration_text(one.after_ms)
        lines.append(f"{after:>{_WIDE}}  {_sentence(one.change, reader)}")
    if len(rung) > MOST:
        lines.append(f"and {len(rung) - MOST} more, in the log.")
    return "\n".join(lines)


def _sentence(change: AlarmChange, reader: Reader) -> str:
    return alarm_sentence(change.kind, change.subject, change.numbers, reader)
