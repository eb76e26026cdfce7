"""What each alarm is like: how urgent, how patient, and what explains it. Data.

The words are those of ISA-18.2 (and IEC 62682): priority, off-delay, suppressed
by design. Which conditions raise an alarm is in alarms.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import IntEnum

from controller.core.decisions import AlarmKind
from controller.core.units import MINUTE_MS, Millis


class Priority(IntEnum):
    """How soon a person should act; the larger, the sooner."""

    LOW = 1
    """Some day soon: nothing suffers yet."""
    MEDIUM = 2
    """Within hours: a limit holds heat back, the bench stays cold, or it is guarded
    less well."""
    HIGH = 3
    """Now: something is too hot, or heats though it should not."""


@dataclass(frozen=True, slots=True)
class AlarmRule:
    """What an alarm of one kind is like.

    Attributes:
        priority: How soon a person should act.
        off_delay_ms: Its condition must be gone for this long before it is
            over, so that one that comes and goes rings once [ms].
        explained_by: Alarms of the same subject or of the whole bench that
            say why: while one of them is active, this one does not ring.
    """

    priority: Priority
    off_delay_ms: Millis = Millis(0)
    explained_by: tuple[AlarmKind, ...] = ()


_STEADY = Millis(5 * MINUTE_MS)
"""Chosen: two scans of a flickering state are not two alarms [ms]."""

_CYCLING = Millis(30 * MINUTE_MS)
"""Chosen: a tray that is kept at its limit crosses it every quarter of an hour or
so, and that is one alarm [ms]."""

_BLIND = (AlarmKind.LINK_DOWN,)

RULES: Mapping[AlarmKind, AlarmRule] = {
    AlarmKind.TRIP: AlarmRule(Priority.HIGH),
    AlarmKind.HEAT_UNASKED: AlarmRule(Priority.HIGH, _STEADY),
    AlarmKind.POWER_UNASKED: AlarmRule(Priority.HIGH, _STEADY),
    AlarmKind.RELAY_DISAGREES: AlarmRule(Priority.HIGH, explained_by=_BLIND),
    AlarmKind.HEAT_FROM_ABOVE: AlarmRule(Priority.HIGH, _CYCLING),
    AlarmKind.OVER_LIMIT: AlarmRule(
        Priority.MEDIUM, _CYCLING, (AlarmKind.TRIP, AlarmKind.HEAT_FROM_ABOVE)
    ),
    AlarmKind.ROOT_ZONE_WARM: AlarmRule(Priority.MEDIUM),
    AlarmKind.HEAT_NOT_FELT: AlarmRule(
        Priority.MEDIUM, explained_by=(AlarmKind.MAT_DEAD,)
    ),
    AlarmKind.RISES_TOO_FAST: AlarmRule(Priority.MEDIUM, _STEADY),
    AlarmKind.HEATED_TOO_LONG: AlarmRule(Priority.MEDIUM, _STEADY),
    AlarmKind.DAILY_HEAT_SPENT: AlarmRule(Priority.MEDIUM, _STEADY),
    AlarmKind.MAT_DEAD: AlarmRule(Priority.MEDIUM, _STEADY),
    AlarmKind.RELAY_SILENT: AlarmRule(Priority.MEDIUM, _STEADY, _BLIND),
    AlarmKind.NO_DRIVING_READING: AlarmRule(Priority.MEDIUM, explained_by=_BLIND),
    AlarmKind.WARMEST_LOST: AlarmRule(Priority.MEDIUM, explained_by=_BLIND),
    AlarmKind.PROBE_LOST: AlarmRule(Priority.MEDIUM, explained_by=_BLIND),
    AlarmKind.PROBE_IMPLAUSIBLE: AlarmRule(Priority.MEDIUM),
    AlarmKind.PROBE_STUCK: AlarmRule(Priority.MEDIUM),
    AlarmKind.PROBE_DISAGREES: AlarmRule(Priority.MEDIUM, _STEADY),
    AlarmKind.LINK_DOWN: AlarmRule(Priority.MEDIUM),
    AlarmKind.LOG_FAILED: AlarmRule(Priority.MEDIUM, _STEADY),
    AlarmKind.LOG_SET_ASIDE: AlarmRule(Priority.MEDIUM),
}
"""Every kind of alarm, the most urgent first."""
