"""What becomes of a probe's words on their way: stuck, drifting, late, lost.

Each kind is a function of one reading, its fault and what the probe said
before; the world below is left as it is. What may live here: such functions
and the memory they need. No physics.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np

from controller.core.scan import Quality, Reading, Refusal
from controller.core.units import Millis
from controller.ports import Arrivals
from sim.faults import DAY_MS, Fault
from sim.kinds import Kind

WET_MS = 2 * 3_600_000
WET_NOISE_K = 0.5
"""Chosen: water creeps into a sleeve within hours, and its reading is unsteady."""


@dataclass(slots=True)
class Memory:
    """What must be known of one fault of one probe.

    Attributes:
        last: What the probe last said before the fault.
        waiting: What is on its way.
        done: Whether what happens once has happened.
    """

    last: Reading | None = None
    waiting: list[Reading] = field(default_factory=list)
    done: bool = False


class Signals:
    """Alters readings by the faults that are in force.

    Args:
        seed: Of noise.
    """

    def __init__(self, seed: int) -> None:
        self._noise = np.random.default_rng([seed, 5])
        self._memory: dict[int, Memory] = {}
        self._last: dict[str, Reading] = {}

    def passed(
        self, arrived: Arrivals, faults: Mapping[int, Fault], now_ms: int
    ) -> Arrivals:
        """Return what arrives of what was said, by the faults now in force.

        Args:
            arrived: What the probes said.
            now_ms: When it arrives [ms].
            faults: Faults in force, by a number that stays theirs.
        """
        readings, refusals = list(arrived.readings), list(arrived.refusals)
        for number, fault in faults.items():
            memory = self._memory.setdefault(number, Memory())
            if fault.kind is Kind.PROBE_REFUSED:
                mine = [r for r in readings if r.probe == fault.subject]
                refusals += [_refusal(reading) for reading in mine]
            elif fault.kind is Kind.PROBE_LATE:
                readings = self._late(readings, fault, memory, now_ms)
                continue
            readings = [
                after
                for reading in readings
                for after in self._one(reading, fault, memory)
            ]
        return replace(arrived, readings=tuple(readings), refusals=tuple(refusals))

    def note(self, readings: Iterable[Reading]) -> None:
        """Remember what probes said, before any fault alters it."""
        for reading in readings:
            self._last[reading.probe] = reading

    def released(self, number: int) -> tuple[Reading, ...]:
        """Return what was still on its way when a fault ended, and forget it."""
        memory = self._memory.pop(number, None)
        return tuple(memory.waiting) if memory else ()

    def last(self, probe: str) -> Reading | None:
        """Return what a probe itself last said."""
        return self._last.get(probe)

    def _late(
        self, readings: list[Reading], fault: Fault, memory: Memory, now_ms: int
    ) -> list[Reading]:
        mine = [reading for reading in readings if reading.probe == fault.subject]
        rest = [reading for reading in readings if reading.probe != fault.subject]
        memory.waiting += mine
        by_ms = round(fault.size("by") * 1000)
        come = [r for r in memory.waiting if r.at_ms + by_ms <= now_ms]
        memory.waiting = [r for r in memory.waiting if r.at_ms + by_ms > now_ms]
        if not fault.flag("stamped"):
            come = [replace(r, at_ms=Millis(r.at_ms + by_ms)) for r in come]
        return rest + come

    def _one(
        self, reading: Reading, fault: Fault, memory: Memory
    ) -> tuple[Reading, ...]:
        if reading.probe not in {fault.subject, fault.other}:
            return (reading,)
        if fault.kind is Kind.PROBES_SWAPPED:
            swapped = fault.other if reading.probe == fault.subject else fault.subject
            return (replace(reading, probe=swapped),)
        return _ALTERED[fault.kind](Said(self, reading, fault, memory))

    def noise(self) -> float:
        """Return a normal deviate."""
        return float(self._noise.standard_normal())


def _refusal(reading: Reading) -> Refusal:
    reason = "'nan': must be a finite number"
    return Refusal(reading.probe, reading.at_ms, reason, "nan")


class Said(NamedTuple):
    """One reading on its way through one fault.

    Attributes:
        signals: Whose faults they are.
        reading: The reading.
        fault: The fault.
        memory: What must be known of that fault.
    """

    signals: Signals
    reading: Reading
    fault: Fault
    memory: Memory

    def more(self, by_k: float) -> tuple[Reading, ...]:
        """Return the reading, so much higher."""
        milli = self.reading.milli
        if milli is None:
            return (self.reading,)
        return (replace(self.reading, milli=milli + round(1000 * by_k)),)

    def since_ms(self) -> int:
        """Return since when the fault is in force, at the reading's time [ms]."""
        return self.reading.at_ms - self.fault.at_ms

    def noise(self) -> float:
        """Return a normal deviate."""
        return self.signals.noise()

    def value(self) -> int:
        """Return the value that the fault names [m°C]."""
        return round(1000 * self.fault.size("value"))


def _stuck(said: Said) -> tuple[Reading, ...]:
    memory, reading = said.memory, said.reading
    if memory.last is None:
        memory.last = said.signals.last(reading.probe) or reading
    return (replace(reading, milli=memory.last.milli),)


def _wet(said: Said) -> tuple[Reading, ...]:
    share = min(1.0, said.since_ms() / WET_MS)
    return said.more(share * (said.fault.size("by") + WET_NOISE_K * said.noise()))


def _in_fahrenheit(said: Said) -> tuple[Reading, ...]:
    milli = said.reading.milli
    in_f = None if milli is None else milli * 9 // 5 + 32_000
    return (replace(said.reading, milli=in_f),)


def _reordered(said: Said) -> tuple[Reading, ...]:
    memory, reading = said.memory, said.reading
    if not memory.waiting:
        memory.waiting.append(reading)
        return ()
    first = memory.waiting.pop()
    if not said.fault.flag("stamped"):
        first = replace(first, at_ms=reading.at_ms)
    return reading, first


def _retained(said: Said) -> tuple[Reading, ...]:
    if said.memory.done:
        return (said.reading,)
    said.memory.done = True
    return kept_reading(said.reading, said.value()), said.reading


def _no_value(said: Said) -> tuple[Reading, ...]:
    return (replace(said.reading, milli=None, quality=Quality.BAD, note="no value"),)


def kept_reading(reading: Reading, milli: int | None) -> Reading:
    """Return what the broker had kept of a probe, come just before a reading."""
    return replace(
        reading,
        at_ms=Millis(reading.at_ms - 1),
        milli=milli,
        quality=Quality.UNCERTAIN,
        note="the broker had kept it",
    )


_ALTERED: Mapping[Kind, Callable[[Said], tuple[Reading, ...]]] = {
    Kind.PROBE_STUCK: _stuck,
    Kind.PROBE_JUMPS: lambda said: said.more(said.fault.size("by")),
    Kind.PROBE_DRIFTS: lambda said: said.more(
        said.fault.size("by") * said.since_ms() / DAY_MS
    ),
    Kind.PROBE_NOISY: lambda said: said.more(said.fault.size("by") * said.noise()),
    Kind.PROBE_WET: _wet,
    Kind.PROBE_SAYS: lambda said: (replace(said.reading, milli=said.value()),),
    Kind.PROBE_NO_VALUE: _no_value,
    Kind.PROBE_REFUSED: lambda _: (),
    Kind.PROBE_FAHRENHEIT: _in_fahrenheit,
    Kind.PROBE_SILENT: lambda _: (),
    Kind.PROBE_DOUBLED: lambda said: (said.reading, said.reading),
    Kind.PROBE_REORDERED: _reordered,
    Kind.PROBE_RETAINED: _retained,
}
"""What each kind does to one reading."""

SIGNALS = frozenset({*_ALTERED, Kind.PROBE_LATE, Kind.PROBES_SWAPPED})
