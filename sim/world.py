"""The simulated bench: mats, trays, a room and probes, in virtual time.

Deterministic from its seed, however its time is cut into steps: rooms change
at whole minutes, probes speak at their own times, and between those the
network is stepped exactly. No I/O; nothing here waits.
"""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from controller.core.plan import Plan, ProbePlan, TrayPlan, all_probes, all_trays
from controller.core.scan import Reading
from controller.core.units import MINUTE_MS, Millis
from controller.ports import Arrivals
from sim.bench import (
    MatNetwork,
    evaporation_w_m2,
    mat_network,
    probe_weights,
    tray_alone,
)
from sim.room import DayAndNight, Room, room_table
from sim.thermal import Decays, Vector

STEPS_PER_K = 16
"""A 12-bit digital thermometer counts in sixteenths of a kelvin (its data
sheet, from memory)."""

TURN_MS = 5_000
"""Chosen: probes first speak at whole multiples of this, each at its own; the
fewer stops the network makes, the faster a season passes."""

COVERED_MM = 0.3
DRY_CRUST_MM = 1.0
FRESHLY_WET_MM = 3.0
"""Evaporation [mm/day] under a cover, from a dry crust, from a wet surface."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WorldOptions:
    """What the weather and the instruments are like.

    Attributes:
        seed: Of weather, noise and the probes' turns.
        start_ms: Run clock at the beginning [ms].
        start_minute_of_day: What the clock on the wall shows then.
        start_temp_c: Temperature of everything on the bench [°C].
        room_csv: A table of room temperatures instead of the model.
        evaporation_mm: From every tray [mm/day].
        evaporation_by_tray: For trays that differ, by name [mm/day].
        unevenness: Standard deviation of the heat per area between the parts
            of a mat, as a share (chosen: wires are not laid to the millimetre).
        noise_k: Standard deviation of a probe's noise [K].
        lag_s: Time constant of a probe in its medium [s].
    """

    seed: int = 1
    start_ms: int = 0
    start_minute_of_day: int = 9 * 60
    start_temp_c: float = 16.0
    room_csv: str | None = None
    evaporation_mm: float = DRY_CRUST_MM
    evaporation_by_tray: Mapping[str, float] = field(default_factory=dict)
    unevenness: float = 0.05
    noise_k: float = 0.03
    lag_s: float = 30.0


@dataclass(frozen=True, slots=True)
class _Block:
    """One mat with its trays, or one tray alone, and where its modes are."""

    net: MatNetwork
    first: int

    def weights(self, of_nodes: Vector, count: int) -> Vector:
        """Return the weights of all modes that give a weighted node temperature."""
        weights = np.zeros(count)
        modes = self.net.network.output(of_nodes)
        weights[self.first : self.first + len(modes)] = modes
        return weights


@dataclass(slots=True)
class _Probe:
    """A probe: where it looks, when it speaks next, what its body's warmth is."""

    plan: ProbePlan
    weights: Vector | None
    next_ms: int
    body_c: float
    heard_ms: int
    noise: np.random.Generator


class World:
    """Implements ports.Plant by physics.

    Args:
        plan: The bench.
        options: Weather and instruments.

    Raises:
        ValueError: The room's table, a tray's medium or its place is of no use.
    """

    def __init__(self, plan: Plan, options: WorldOptions) -> None:
        self._options = options
        for name in options.evaporation_by_tray:
            if name not in {tray.name for tray in all_trays(plan)}:
                message = f"evaporation of tray {name}: there is no such tray"
                raise ValueError(message)
        self._start_ms = self._now_ms = options.start_ms
        self._room: Room = (
            DayAndNight(options.seed, options.start_minute_of_day)
            if options.room_csv is None
            else room_table(options.room_csv)
        )
        self._unlike = np.random.default_rng([options.seed, 3])
        self._minute = -1
        self._minute_ms = options.start_ms
        self._room_c = 0.0
        self._blocks: dict[str, _Block] = {}
        self._modes = np.zeros(0)
        self._by_room = np.zeros(0)
        self._constant = np.zeros(0)
        by_mat: dict[str, tuple[int, Vector]] = {}
        rates = np.zeros(0)
        for name, net, power_w in _parts(plan):
            first = len(self._modes)
            self._blocks[name] = _Block(net, first)
            by_mat[name] = first, net.network.drive(self._heat(net, power_w))
            rates = np.append(rates, net.network.rates)
            self._add(net)
        self._decays = Decays(rates)
        self._by_mat = {
            name: np.concatenate(
                [np.zeros(first), drive, np.zeros(len(rates) - first - len(drive))]
            )
            for name, (first, drive) in by_mat.items()
        }
        self._room_part = self._constant
        self._drives: dict[tuple[str, ...], Vector] = {}
        self._enter_minute(0)
        self._trays = {tray.name: self._view(tray) for tray in all_trays(plan)}
        self._probes = [
            self._probe(plan, probe, number)
            for number, probe in enumerate(all_probes(replace(plan, witnesses=())))
        ]
        self._due_ms = self._next_turn()

    # ------------------------------------------------------------------ asking

    def truth(self, tray: str) -> float:
        """Return a tray's true temperature, where its probe is or halfway down."""
        return float(self._trays[tray] @ self._modes)

    def surface(self, mat: str) -> float:
        """Return the true temperature of a mat under its middle tray [°C]."""
        return float(self._surface_weights(mat) @ self._modes)

    def room_c(self) -> float:
        """Return the room's temperature [°C]."""
        return self._room_c

    # ----------------------------------------------------------------- running

    def advance(self, to_ms: int, energised: Mapping[str, bool]) -> Arrivals:
        """Let time pass, each mat on or off as given; return what probes said.

        Raises:
            ValueError: to_ms lies in the past.
        """
        if to_ms < self._now_ms:
            message = f"the bench is at {self._now_ms} ms and cannot go to {to_ms} ms"
            raise ValueError(message)
        on = tuple([name for name, state in energised.items() if state])
        readings: list[Reading] = []
        while self._now_ms < to_ms:
            until_ms = min(to_ms, self._due_ms, self._minute_ms)
            self._modes = self._decays.step(
                self._modes, self._drive(on), until_ms - self._now_ms
            )
            self._now_ms = until_ms
            if until_ms == self._minute_ms:
                self._enter_minute(self._minute + 1)
            if until_ms == self._due_ms:
                due = [p for p in self._probes if p.next_ms == until_ms]
                readings += [self._speak(probe) for probe in due]
                self._due_ms = self._next_turn()
        return Arrivals(tuple(readings))

    def _drive(self, on: tuple[str, ...]) -> Vector:
        """Return what moves the modes while these mats are on."""
        found = self._drives.get(on)
        if found is None:
            found = self._room_part
            for name in on:
                found = found + self._by_mat[name]
            self._drives[on] = found
        return found

    def _enter_minute(self, minute: int) -> None:
        self._minute = minute
        self._minute_ms = self._start_ms + (minute + 1) * MINUTE_MS
        self._room_c = self._room.at(minute)
        self._room_part = self._constant + self._room_c * self._by_room
        self._drives.clear()

    def _next_turn(self) -> int:
        return min([probe.next_ms for probe in self._probes], default=2**62)

    def _speak(self, probe: _Probe) -> Reading:
        """Return what a probe says now, and set when it speaks again.

        Its body follows the medium with a lag, from turn to turn.
        """
        lag_s, now_ms = self._options.lag_s, self._now_ms
        follow = 1.0
        if lag_s > 0:
            follow = -math.expm1(-(now_ms - probe.heard_ms) / 1000 / lag_s)
        probe.body_c += (self._seen_c(probe) - probe.body_c) * follow
        probe.heard_ms, probe.next_ms = now_ms, now_ms + probe.plan.every_ms
        noise_k = self._options.noise_k * probe.noise.standard_normal()
        shown_c = probe.body_c - probe.plan.offset_mk / 1000 + noise_k
        steps = round(shown_c * STEPS_PER_K)
        return Reading(probe.plan.name, Millis(now_ms), steps * 1000 // STEPS_PER_K)

    def _seen_c(self, probe: _Probe) -> float:
        if probe.weights is None:
            return self._room_c
        return float(probe.weights @ self._modes)

    # ---------------------------------------------------------------- building

    def _heat(self, net: MatNetwork, power_w: float) -> Vector:
        """Return the heat into each node at full power [W], a little uneven."""
        uneven = self._unlike.normal(1.0, self._options.unevenness, len(net.heat_share))
        shares: Vector = net.heat_share * uneven
        whole = float(shares.sum())
        return shares * (power_w / whole) if whole else shares

    def _add(self, net: MatNetwork) -> None:
        network, options = net.network, self._options
        mm = np.full(len(network.capacity), options.evaporation_mm)
        for name, tray in net.trays.items():
            if name in options.evaporation_by_tray:
                mm[tray.layers[-1]] = options.evaporation_by_tray[name]
        evaporated = network.drive(-net.top_m2 * evaporation_w_m2(1.0) * mm)
        start = np.full(len(network.capacity), options.start_temp_c)
        self._modes = np.append(self._modes, network.modes_of(start))
        self._by_room = np.append(self._by_room, network.drive(network.ground))
        self._constant = np.append(self._constant, evaporated)

    def _view(self, tray: TrayPlan) -> Vector:
        depth_mm = tray.probes[0].depth_mm if tray.probes else None
        return self._weights(tray.name, depth_mm)

    def _weights(self, tray: str, depth_mm: int | None) -> Vector:
        block = next(b for b in self._blocks.values() if tray in b.net.trays)
        count = len(block.net.network.capacity)
        nodes = probe_weights(block.net.trays[tray], depth_mm, count)
        return block.weights(nodes, len(self._modes))

    def _surface_weights(self, mat: str) -> Vector:
        block = self._blocks[mat]
        nodes = np.zeros(len(block.net.network.capacity))
        nodes[block.net.surface] = 1.0
        return block.weights(nodes, len(self._modes))

    def _probe(self, plan: Plan, probe: ProbePlan, number: int) -> _Probe:
        noise = np.random.default_rng([self._options.seed, 2, number])
        turns = max(1, probe.every_ms // TURN_MS)
        first_ms = self._start_ms + int(noise.integers(1, turns + 1)) * TURN_MS
        weights = self._place(plan, probe)
        made = _Probe(probe, weights, first_ms, 0.0, self._start_ms, noise)
        made.body_c = self._seen_c(made)
        return made

    def _place(self, plan: Plan, probe: ProbePlan) -> Vector | None:
        """Return how a probe sees the modes; None: it is in the room."""
        for mat in plan.mats:
            if probe in mat.surface:
                return self._surface_weights(mat.name)
        for tray in all_trays(plan):
            if probe in tray.probes:
                return self._weights(tray.name, probe.depth_mm)
        return None


def _parts(plan: Plan) -> Iterator[tuple[str, MatNetwork, float]]:
    """Yield every part of the bench that no heat joins to another."""
    for mat in plan.mats:
        yield mat.name, mat_network(mat), mat.power_mw / 1000
    for tray in plan.trays:
        yield f"tray {tray.name}", tray_alone(tray), 0.0
