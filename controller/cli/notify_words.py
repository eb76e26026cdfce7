"""Who is told of alarms, of which and when, in words."""

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

from controller.core.units import HOUR_MS

if TYPE_CHECKING:
    from controller.adapters.settings import Settings
    from controller.wiring import NotifyWire

NOBODY = "Nobody is told of alarms: a table [[notify]] would name somebody"

_PRIORITIES = ("high", "medium", "low")
_CLEARED = "cleared"


def told_in_words(settings: "Settings", shown: Mapping[str, str]) -> Iterator[str]:
    """Yield who is told, and when.

    Args:
        settings: The bench.
        shown: Each target's address as people may see it, by name.
    """
    wires = settings.wiring.notify
    if not wires:
        yield NOBODY
        return
    yield "Who is told of alarms"
    for wire in wires:
        lines = list(target_in_words(wire, shown[wire.name]))
        yield f"  {lines[0]}"
        yield from (f"    {line}" for line in lines[1:])


def target_in_words(wire: "NotifyWire", shown: str) -> Iterator[str]:
    """Yield what one target is told, and when."""
    yield f"{wire.name} ({shown}): {_alarms(wire.for_words) or 'no alarm'}"
    if wire.quiet is not None:
        begins, ends = (_time(minute) for minute in wire.quiet)
        waking = _waking(wire)
        told = f"only {waking}; the rest waits" if waking else "nothing; all waits"
        yield f"{begins} to {ends}: {told} until {ends}"
    if wire.tells:
        per = "an hour" if wire.per_ms == HOUR_MS else "a day"
        messages = "1 message" if wire.at_most == 1 else f"{wire.at_most} messages"
        yield f"at most {messages} {per}, the rest summed up; high alarms at once"
    if wire.all_is_well is not None:
        yield f"every day at {_time(wire.all_is_well)}: how the bench is"


def _alarms(said: Sequence[str]) -> str:
    priorities = [word for word in _PRIORITIES if word in said]
    kinds = [word for word in said if word not in {*_PRIORITIES, _CLEARED}]
    parts = [f"{_and(priorities)} alarms"] if priorities else []
    parts += kinds
    if _CLEARED in said:
        parts.append("when one is over")
    return _and(parts)


def _waking(wire: "NotifyWire") -> str:
    parts = [_alarms(wire.wake_words)] if wire.wake_words else []
    if wire.cold_wakes:
        parts.append(f"what lets {_and(sorted(wire.cold_wakes))} get cold")
    return _and(parts)


def _and(parts: Sequence[str]) -> str:
    if len(parts) <= 1:
        return "".join(parts)
    return f"{', '.join(parts[:-1])} and {parts[-1]}"


def _time(minute: int) -> str:
    return f"{minute // 60:02}:{minute % 60:02}"
