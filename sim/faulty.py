"""A simulated bench with relays of its own, on which things go wrong in time.

It stands between the world and the controller: readings pass through it, and
commands reach the relays through it. What may live here: when each fault
begins and ends, and what it does to world, relays and link. The kinds are in
faults; what befalls the daemon is in closed_loop.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace

import numpy as np

from controller.core.decisions import Command
from controller.core.plan import Plan, all_probes
from controller.core.scan import PowerReport, Quality, Reading, Refusal, RelayReport
from controller.core.units import Millis
from controller.ports import Arrivals
from sim.contacts import WILL_MS, Contacts
from sim.faults import Fault
from sim.kinds import Kind
from sim.probes import IN_PLACE, ON_MAT, in_air
from sim.signals import SIGNALS, Signals, kept_reading
from sim.world import FRESHLY_WET_MM, World

POWER_EVERY_MS = 30_000
"""Chosen: how often a wattmeter speaks, as probes do; it also speaks when the
power changes."""

POWER_SPREAD = 0.02
"""Chosen: mats differ from what is printed on them, and mains from day to day."""

_LINKLESS = (Kind.BROKER_LOST, Kind.BROKER_RESTARTS)
_RELAYS = {
    Kind.RELAY_STUCK_ON,
    Kind.RELAY_STUCK_OFF,
    Kind.RELAY_LOST,
    Kind.RELAY_CUT_OFF,
    Kind.RELAY_SILENT,
}


class FaultyBench:
    """The bench that the controller has to do with.

    Args:
        plan: The bench.
        world: Its physics.
        faults: What happens, at times of the world's clock.
        seed: Of noise.
    """

    def __init__(
        self,
        plan: Plan,
        world: World,
        faults: Iterable[Fault] = (),
        *,
        seed: int = 1,
    ) -> None:
        self.world = world
        self._probes = tuple(probe.name for probe in all_probes(plan))
        self._contacts = Contacts(plan)
        self._signals = Signals(seed)
        self._noise = np.random.default_rng([seed, 7])
        self._watts = {mat.name: mat.power_mw for mat in plan.mats if mat.wattmeter}
        self._drawn: dict[str, bool] = {}
        self._power_due_ms = 0
        self._now_ms = world.now_ms
        self._faults: dict[int, Fault] = {}
        self._edges: list[tuple[int, int, bool]] = []
        self._will_ms = 2**62
        self._awaited: set[str] = set()
        self.in_force: dict[int, Fault] = {}
        self._altering: dict[int, Fault] = {}
        self.befall(faults)

    def befall(self, faults: Iterable[Fault]) -> None:
        """Let more faults happen, each at its time, which is still to come."""
        for fault in faults:
            number = len(self._faults)
            self._faults[number] = fault
            self._edges.append((fault.at_ms, number, True))
            if fault.ends_ms is not None:
                self._edges.append((fault.ends_ms, number, False))
        self._edges.sort(reverse=True)

    # ------------------------------------------------------------------ asking

    def link_up(self) -> bool:
        """Whether the broker can be reached, as far as the daemon knows."""
        return not any(fault.kind in _LINKLESS for fault in self.in_force.values())

    def fault(self, number: int) -> Fault:
        """Return a fault by its number."""
        return self._faults[number]

    def happening(self, kind: Kind) -> Fault | None:
        """Return a fault of some kind that is in force now."""
        return next((f for f in self.in_force.values() if f.kind is kind), None)

    def closed(self) -> Mapping[str, bool]:
        """Return which contacts are closed."""
        return {name: c.closed() for name, c in self._contacts.of.items()}

    def heats(self) -> dict[str, bool]:
        """Return which mats give heat."""
        dead = {
            fault.subject
            for fault in self.in_force.values()
            if fault.kind is Kind.MAT_DEAD
        }
        closed = {name: c.closed() for name, c in self._contacts.of.items()}
        if not dead:
            return closed
        return {name: on and name not in dead for name, on in closed.items()}

    # ----------------------------------------------------------------- running

    def advance(self, to_ms: int) -> Arrivals:
        """Let time pass; return what arrives of all that is said."""
        readings: list[Reading] = []
        reports: list[RelayReport] = []
        refusals: list[Refusal] = []
        while self._now_ms < to_ms:
            until_ms = min(to_ms, self._next_ms())
            said = self.world.advance(until_ms, self.heats())
            self._now_ms = until_ms
            came = said
            if self._altering:
                came = self._signals.passed(said, self._altering, until_ms)
            if self.link_up():
                readings += self._heard(came.readings)
                refusals += came.refusals
            self._signals.note(said.readings)
            self._pass_time(readings, reports)
        if self.link_up():
            reports += self._contacts.report(to_ms)
        powers = self._measured() if self._watts else ()
        return Arrivals(tuple(readings), tuple(refusals), tuple(reports), powers)

    def obey(self, commands: tuple[Command, ...], seq: int) -> None:
        """Take the commands of a scan, if they reach the relays."""
        if self.link_up() and self.happening(Kind.NETWORK_SPLIT) is None:
            self._contacts.obey(commands, seq, self._now_ms)

    def daemon_gone(self, *, at_once: bool) -> None:
        """The daemon is gone, and its last will goes out."""
        if self.link_up():
            self._will_ms = self._now_ms + (0 if at_once else WILL_MS)

    def daemon_back(self) -> None:
        """The daemon is there again; what it hears first may be old."""
        self._will_ms = 2**62
        self._awaited = set(self._probes)

    def _next_ms(self) -> int:
        edge_ms = self._edges[-1][0] if self._edges else 2**62
        return max(
            self._now_ms + 1,
            min(edge_ms, self._contacts.leases_end_ms(), self._will_ms),
        )

    def _pass_time(self, readings: list[Reading], reports: list[RelayReport]) -> None:
        now_ms = self._now_ms
        self._contacts.pass_time(now_ms)
        if now_ms >= self._will_ms:
            self._will_ms = 2**62
            self._contacts.will()
        while self._edges and self._edges[-1][0] <= now_ms:
            _, number, begins = self._edges.pop()
            fault = self._faults[number]
            if begins:
                self.in_force[number] = fault
            elif number in self.in_force:
                del self.in_force[number]
                readings += self._signals.released(number)
                if fault.kind in _LINKLESS:
                    reports += self._reconnect(fault)
            self._turn(fault, begins=begins)
            self._altering = {
                n: f for n, f in self.in_force.items() if f.kind in SIGNALS
            }

    def _reconnect(self, fault: Fault) -> Iterable[RelayReport]:
        self._awaited = set(self._probes)
        if fault.kind is Kind.BROKER_RESTARTS:
            yield from self._contacts.kept(self._now_ms)

    def _heard(self, said: Iterable[Reading]) -> Iterable[Reading]:
        """Yield readings, the first of a probe after a reconnect as uncertain."""
        for reading in said:
            if reading.probe not in self._awaited:
                yield reading
                continue
            self._awaited.discard(reading.probe)
            if self._signals.last(reading.probe) is not None:
                yield kept_reading(reading, reading.milli)
            note = "first after a reconnect"
            yield replace(reading, quality=Quality.UNCERTAIN, note=note)

    def _measured(self) -> tuple[PowerReport, ...]:
        heats = self.heats()
        due = self._now_ms >= self._power_due_ms
        if due:
            self._power_due_ms = self._now_ms + POWER_EVERY_MS
        powers = []
        for mat, full_mw in self._watts.items():
            if due or heats[mat] != self._drawn.get(mat):
                self._drawn[mat] = heats[mat]
                spread = 1 + POWER_SPREAD * float(self._noise.standard_normal())
                drawn_mw = round(full_mw * spread) if heats[mat] else 0
                powers.append(PowerReport(mat, Millis(self._now_ms), drawn_mw))
        return tuple(powers) if self.link_up() else ()

    # ------------------------------------------------------------------ faults

    def _turn(self, fault: Fault, *, begins: bool) -> None:
        """Let a fault begin or end."""
        if fault.kind in _RELAYS:
            self._contacts.break_down(fault.subject, fault if begins else None)
        act = _THINGS.get(fault.kind)
        if act is not None:
            act(self.world, fault, begins)


def _watered(world: World, fault: Fault, begins: bool) -> None:  # noqa: FBT001
    if begins:
        world.pour(fault.subject, fault.size("water"), fault.size("temperature"))
    world.evaporate(fault.subject, FRESHLY_WET_MM if begins else None)


_THINGS: Mapping[Kind, Callable[[World, Fault, bool], None]] = {
    Kind.PROBE_SLIPS_OUT: lambda w, f, on: w.move_probe(
        f.subject, in_air(f.size("above_room")) if on else IN_PLACE
    ),
    Kind.PROBE_ON_MAT: lambda w, f, on: w.move_probe(
        f.subject, ON_MAT if on else IN_PLACE
    ),
    Kind.TRAY_LIFTED: lambda w, f, on: (w.lift if on else w.put_back)(f.subject),
    Kind.TRAY_WATERED: _watered,
    Kind.MEDIUM_DRIES: lambda w, f, on: w.dry(f.subject, f.size("left") if on else 1.0),
    Kind.SUN: lambda w, f, on: w.shine(f.subject, f.size("gives") if on else 0.0),
    Kind.ROOM_SHIFTS: lambda w, f, on: w.shift_room(f.size("by") if on else 0.0),
}
"""What each kind does to the world when it begins and when it ends."""
