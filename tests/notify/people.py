"""Somebody who is told of alarms, scan by scan, with a clock that a test moves."""

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime

from controller.adapters.clocks import ManualClock
from controller.adapters.notify.memory import Item, Memory
from controller.adapters.notify.tell import Moment, tell
from controller.core.alarm_rules import RULES, Priority
from controller.core.decisions import AlarmKind
from controller.core.state import Alarm
from controller.wiring import NotifyWire

MIN_S = 60
H_S = 3_600
HOT, COLD, LOST = AlarmKind.TRIP, AlarmKind.NO_DRIVING_READING, AlarmKind.PROBE_LOST

HIGH = frozenset(kind for kind in AlarmKind if RULES[kind].priority is Priority.HIGH)
ALL = frozenset(AlarmKind)


def a_wire(**changes: object) -> NotifyWire:
    """Return somebody who is told everything, and woken by what is hot."""
    return replace(
        NotifyWire(name="phone", url="mqtt", tells=ALL, wakes=HIGH), **changes
    )


def instant(text: str) -> int:
    """Return an instant [ms] such as "2027-02-01T21:00:00Z"."""
    return int(datetime.fromisoformat(text).astimezone(UTC).timestamp()) * 1000


@dataclass
class Person:
    """One target, told by `tell`.

    Attributes:
        wire: What it wants to be told.
        at: The wall clock at the beginning.
        zone: The bench's time zone.
        clock_ok: Whether the wall clock is right.
        blocked: Whether the target is out of reach.
        cold: Mats that stay cold while any alarm lasts.
    """

    wire: NotifyWire = field(default_factory=a_wire)
    at: str = "2027-02-01T12:00:00Z"
    zone: str = "UTC"
    clock_ok: bool = True
    blocked: bool = False
    cold: frozenset[str] = frozenset()
    memory: Memory = field(default_factory=Memory)
    alarms: dict[tuple[AlarmKind, str], Alarm] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Set the clock."""
        self.clock = ManualClock(self.zone, 1_000_000, instant(self.at))

    def raise_(self, kind: AlarmKind, subject: str = "north", **more: object) -> None:
        """Let an alarm come, or come again."""
        now = self.clock.now()
        alarm = Alarm(kind, subject, now.run_ms, now.utc_ms)
        self.alarms[kind, subject] = replace(alarm, **more)

    def change(
        self, kind: AlarmKind, subject: str = "north", **changes: object
    ) -> None:
        """Change how an alarm stands."""
        self.alarms[kind, subject] = replace(self.alarms[kind, subject], **changes)

    def clear(self, kind: AlarmKind, subject: str = "north") -> None:
        """Let an alarm go."""
        del self.alarms[kind, subject]

    def scan(self, after_s: float = 5, *dealt_with: AlarmKind) -> list[Item]:
        """Scan once, after some seconds; return what is told."""
        self.clock.advance(round(after_s * 1000))
        self.clock.clock_ok = self.clock_ok
        now = self.clock.now()
        moment = Moment(
            run_ms=now.run_ms,
            utc_ms=now.utc_ms,
            clock_ok=now.clock_ok,
            local_day=now.local_day,
            local_minute=now.local_minute,
            alarms=tuple(self.alarms.values()),
            dealt_with=frozenset((kind, "north") for kind in dealt_with),
            blocked=self.blocked,
            sentence=lambda alarm: f"{alarm.kind.value} {alarm.subject}.",
            cold_of=lambda _: self.cold,
        )
        self.memory, items = tell(self.wire, self.memory, moment)
        return list(items)

    def scans(self, lasting_s: float, every_s: float = MIN_S) -> list[Item]:
        """Scan for a time; return all that is told in it."""
        items = []
        for _ in range(round(lasting_s / every_s)):
            items += self.scan(every_s)
        return items

    def local(self) -> str:
        """Return the local time, such as "07:00"."""
        minute = self.clock.now().local_minute
        return f"{minute // 60:02}:{minute % 60:02}"


def kinds(items: list[Item]) -> list[AlarmKind]:
    """Return what a message is about, in its order."""
    return [item.kind for item in items]
