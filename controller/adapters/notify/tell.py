"""What to tell whom, and when: values in, values out.

One step for each scan: `tell(wire, memory, moment)` says what a target is told
now, if anything, and what is remembered of it. It looks at the alarms as they
stand and not only at what has just changed: what was missed while the daemon
was away, or was silenced for a while, is told all the same. What may live here:
that judgement. No clock, no file, no connection.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

from controller.adapters.notify.memory import Item, Key, Memory, Told, key_of
from controller.core.alarm_rules import RULES, Priority
from controller.core.decisions import AlarmChange, AlarmTurn
from controller.core.state import Alarm
from controller.core.units import HOUR_MS, MINUTE_MS
from controller.wiring import NotifyWire

SETTLED_MS = 10 * MINUTE_MS
"""Chosen: an alarm is over when it has been gone for this long. One that comes
back before is the same one and not told again, unless it is urgent [ms]."""

REPEATED_MS = HOUR_MS
"""Chosen: an urgent alarm that comes again within this time of being told waits
for its turn like the others [ms]."""

DEALT_WITH = (AlarmTurn.ACKNOWLEDGED, AlarmTurn.SHELVED)


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """What a scan leaves to be told of.

    Attributes:
        run_ms: Run clock [ms].
        utc_ms: Wall clock [ms].
        clock_ok: Whether the wall clock is known to be right. While it is not,
            local time is a guess, and nothing waits for it.
        local_day: Days since 1970-01-01 in the bench's time zone.
        local_minute: Minute of the local day.
        alarms: The alarms as they stand.
        dealt_with: Alarms that a person acknowledged or silenced in this scan.
        blocked: The target cannot be reached at present: what comes meanwhile
            is told in one message when it can.
        sentence: Puts an alarm into words.
        mat_of: Tells which mat an alarm is about; "" for the whole bench.
        cold_of: Tells which mats stay cold while an alarm lasts.
    """

    run_ms: int
    utc_ms: int
    clock_ok: bool
    local_day: int
    local_minute: int
    alarms: tuple[Alarm, ...]
    dealt_with: frozenset[Key] = frozenset()
    blocked: bool = False
    sentence: Callable[[Alarm], str]
    mat_of: Callable[[Alarm], str] = lambda alarm: alarm.subject
    cold_of: Callable[[Alarm], frozenset[str]] = lambda _: frozenset()


def dealt_with(changes: Iterable[AlarmChange]) -> frozenset[Key]:
    """Return the alarms that a person has taken in hand."""
    return frozenset((c.kind, c.subject) for c in changes if c.turn in DEALT_WITH)


def tell(
    wire: NotifyWire, memory: Memory, moment: Moment
) -> tuple[Memory, tuple[Item, ...]]:
    """Return what is remembered of a target, and what it is told now.

    What is told belongs into one message, the most urgent first.
    """
    active = {key_of(a): a for a in moment.alarms if a.active and a.kind in wire.tells}

    def counts(known: Item | Told) -> bool:
        return known.kind in wire.tells and key_of(known) not in moment.dealt_with

    told = {key_of(t): t for t in memory.told if counts(t)}
    held = {(key_of(i), i.over): i for i in memory.held if counts(i)}
    if active or told or held:
        notes = _Notes(wire, moment, told, held)
        for alarm in active.values():
            notes.stands(alarm)
        for key in told.keys() - active.keys():
            notes.gone(key)
    return _released(
        wire,
        replace(memory, told=tuple(told.values()), held=tuple(held.values())),
        moment,
    )


@dataclass(frozen=True, slots=True)
class _Notes:
    """A target's memory while one scan is taken into it."""

    wire: NotifyWire
    moment: Moment
    told: dict[Key, Told]
    held: dict[tuple[Key, bool], Item]

    def stands(self, alarm: Alarm) -> None:
        """Take up an alarm that is active."""
        key = key_of(alarm)
        if alarm.rings:
            if self._is_new(alarm, self.told.get(key)):
                self._take_up(alarm, self.told.get(key))
            else:
                self._goes_on(key, alarm)
            self.held.pop((key, True), None)
        elif not alarm.suppressed or (key, False) in self.held:
            # Silenced by a person, or explained by another before it was told:
            # if it ever rings again, it is new.
            self.told.pop(key, None)
            self.held.pop((key, False), None)

    def _goes_on(self, key: Key, alarm: Alarm) -> None:
        """Take note of an alarm that is the same, or the same come back."""
        known, waits = self.told[key], self.held.get((key, False))
        self.told[key] = replace(known, since_ms=alarm.since_ms, gone_ms=None)
        if waits is not None and waits.over_utc_ms is not None:
            self.held[key, False] = replace(
                waits, over_utc_ms=None, times=waits.times + 1
            )

    def _is_new(self, alarm: Alarm, known: Told | None) -> bool:
        if known is None:
            return True
        if known.since_ms is None:  # known from an earlier run, and still there
            return known.over
        if known.since_ms == alarm.since_ms:
            return False
        return known.over or RULES[alarm.kind].priority is Priority.HIGH

    def _take_up(self, alarm: Alarm, known: Told | None) -> None:
        key, now_ms = key_of(alarm), self.moment.run_ms
        last_ms = known.told_ms if known else None
        waits = self.held.get((key, False))
        fresh = last_ms is None or not 0 <= now_ms - last_ms < REPEATED_MS
        urgent = RULES[alarm.kind].priority is Priority.HIGH and fresh
        mat, sentence = self.moment.mat_of(alarm), self.moment.sentence(alarm)
        self.told[key] = Told(*key, mat, sentence, alarm.since_ms, told_ms=last_ms)
        item = Item(
            *key,
            mat=mat,
            sentence=sentence,
            utc_ms=self.moment.utc_ms,
            wakes=self._wakes(alarm),
            urgent=urgent,
        )
        if waits is not None:
            item = replace(
                item,
                utc_ms=waits.utc_ms,
                times=waits.times + 1,
                urgent=urgent or waits.urgent,
            )
        self.held[key, False] = item

    def _wakes(self, alarm: Alarm) -> bool:
        cold = self.moment.cold_of(alarm) & self.wire.cold_wakes
        return alarm.kind in self.wire.wakes or bool(cold)

    def gone(self, key: Key) -> None:
        """Take note of an alarm that was told, or is to be, and is not active."""
        now_ms, known = self.moment.run_ms, self.told[key]
        gone_ms = known.gone_ms
        if gone_ms is None or gone_ms > now_ms:
            gone_ms = now_ms
        waits = self.held.get((key, False))
        if waits is not None and waits.over_utc_ms is None:
            self.held[key, False] = replace(waits, over_utc_ms=self.moment.utc_ms)
        over = known.over or now_ms - gone_ms >= SETTLED_MS
        if over and not known.over and self.wire.cleared and waits is None:
            self.held[key, True] = self._over(known, gone_ms)
        self.told[key] = replace(known, gone_ms=gone_ms, over=over)
        if now_ms - gone_ms >= max(SETTLED_MS, REPEATED_MS):
            del self.told[key]

    def _over(self, known: Told, gone_ms: int) -> Item:
        over_utc_ms = self.moment.utc_ms - (self.moment.run_ms - gone_ms)
        return Item(
            known.kind,
            known.subject,
            mat=known.mat,
            sentence=known.sentence,
            utc_ms=over_utc_ms,
            over=True,
            over_utc_ms=over_utc_ms,
            wakes=self.wire.cleared_wakes,
        )


def _released(
    wire: NotifyWire, memory: Memory, moment: Moment
) -> tuple[Memory, tuple[Item, ...]]:
    """Return what is told now, and the memory without it."""
    quiet = is_quiet(wire, moment)
    ready = [item for item in memory.held if item.wakes or not quiet]
    if not ready:
        return memory, ()
    now_ms = moment.run_ms
    sent_ms = [t for t in memory.sent_ms if 0 <= now_ms - t < wire.per_ms]
    urgent = any(item.urgent for item in ready)
    if not urgent and (moment.blocked or len(sent_ms) >= wire.at_most):
        return memory, ()
    keys = {key_of(item) for item in ready}
    memory = replace(
        memory,
        told=tuple(
            replace(t, told_ms=now_ms) if key_of(t) in keys else t for t in memory.told
        ),
        held=tuple(item for item in memory.held if item not in ready),
        sent_ms=(*sent_ms, now_ms),
    )
    return memory, tuple(sorted(ready, key=_most_urgent_first))


def _most_urgent_first(item: Item) -> tuple[bool, int, int]:
    return item.over, -RULES[item.kind].priority, item.utc_ms


def is_quiet(wire: NotifyWire, moment: Moment) -> bool:
    """Whether it is a time in which what can wait waits."""
    if wire.quiet is None or not moment.clock_ok:
        return False
    from_minute, to_minute = wire.quiet
    if from_minute < to_minute:
        return from_minute <= moment.local_minute < to_minute
    return moment.local_minute >= from_minute or moment.local_minute < to_minute


def all_is_well_due(
    wire: NotifyWire, memory: Memory, moment: Moment
) -> tuple[Memory, bool]:
    """Return whether the daily word is due, and the memory of having given it.

    It needs a clock that is right, and is given once a day, late rather than
    not at all; on the day on which it was first asked for, only in time.
    """
    if wire.all_is_well is None or not moment.clock_ok:
        return memory, False
    past = moment.local_minute >= wire.all_is_well
    if memory.well_day is None:
        known = moment.local_day if past else moment.local_day - 1
        return replace(memory, well_day=known), False
    if not past or memory.well_day == moment.local_day:
        return memory, False
    return replace(memory, well_day=moment.local_day), True
