"""The simulated bench: mats, trays, a room and probes, in virtual time.

Deterministic from its seed, however its time is cut into steps: rooms change
at whole minutes, probes speak at their own times, and between those the
network is stepped exactly. No I/O; nothing here waits.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from controller.core.plan import Plan, ProbePlan, TrayPlan, all_probes, all_trays
from controller.core.scan import Reading
from controller.core.units import MINUTE_MS, SECOND_MS, Millis
from controller.ports import Arrivals
from sim.bench import (
    MatNetwork,
    evaporation_w_m2,
    mat_network,
    probe_weights,
    tray_alone,
)
from sim.room import DayAndNight, Room, room_table
from sim.thermal import Vector

STEPS_PER_K = 16
"""A 12-bit digital thermometer counts in sixteenths of a kelvin (its data
sheet, from memory)."""

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


@dataclass(slots=True)
class _Block:
    """One mat with its trays, or one tray alone, in modal coordinates."""

    net: MatNetwork
    mat: str | None
    modes: Vector
    by_room: Vector
    by_mat: Vector
    constant: Vector
    room_part: Vector


@dataclass(slots=True)
class _Probe:
    """A probe: where it looks, when it speaks next, what its body's warmth is."""

    plan: ProbePlan
    block: _Block | None
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
        ValueError: The room's table or a tray's medium is not understood.
    """

    def __init__(self, plan: Plan, options: WorldOptions) -> None:
        self._options = options
        self._start_ms = self._now_ms = options.start_ms
        self._room: Room = (
            DayAndNight(options.seed, options.start_minute_of_day)
            if options.room_csv is None
            else room_table(options.room_csv)
        )
        self._unlike = np.random.default_rng([options.seed, 3])
        self._minute = -1
        self._room_c = 0.0
        self._blocks = [
            self._block(mat_network(mat), mat.name, mat.power_mw / 1000)
            for mat in plan.mats
        ]
        self._blocks += [self._block(tray_alone(t), None, 0.0) for t in plan.trays]
        self._enter_minute(0)
        self._trays = {tray.name: self._view(tray) for tray in all_trays(plan)}
        self._probes = [
            probe
            for number, each in enumerate(all_probes(plan))
            if (probe := self._probe(plan, each, number)) is not None
        ]

    # ------------------------------------------------------------------ asking

    def truth(self, tray: str) -> float:
        """Return a tray's true temperature, where its probe is or halfway down."""
        block, weights = self._trays[tray]
        return float(weights @ block.modes)

    def surface(self, mat: str) -> float:
        """Return the true temperature of a mat under its middle tray [°C]."""
        block = next(block for block in self._blocks if block.mat == mat)
        return float(block.net.network.temps_of(block.modes)[block.net.surface])

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
        drives = self._drives(energised)
        readings: list[Reading] = []
        while self._now_ms < to_ms:
            due_ms = (
                min(probe.next_ms for probe in self._probes) if self._probes else to_ms
            )
            minute_ms = self._start_ms + (self._minute + 1) * MINUTE_MS
            until_ms = min(to_ms, due_ms, minute_ms)
            for block, drive in zip(self._blocks, drives, strict=True):
                block.modes = block.net.network.step(
                    block.modes, drive, until_ms - self._now_ms
                )
            self._now_ms = until_ms
            if until_ms == minute_ms:
                self._enter_minute(self._minute + 1)
                drives = self._drives(energised)
            if until_ms == due_ms:
                readings += [
                    self._speak(p) for p in self._probes if p.next_ms == due_ms
                ]
        return Arrivals(tuple(readings))

    def _drives(self, energised: Mapping[str, bool]) -> list[Vector]:
        return [
            block.room_part + block.by_mat
            if block.mat is not None and energised.get(block.mat, False)
            else block.room_part
            for block in self._blocks
        ]

    def _enter_minute(self, minute: int) -> None:
        self._minute = minute
        self._room_c = self._room.at(minute)
        for block in self._blocks:
            block.room_part = block.constant + self._room_c * block.by_room

    def _speak(self, probe: _Probe) -> Reading:
        """Return what a probe says now, and set when it speaks again.

        Its body follows the medium with a lag, from turn to turn.
        """
        lag_s, now_ms = self._options.lag_s, self._now_ms
        follow = 1.0
        if lag_s > 0:
            follow = 1.0 - float(np.exp(-(now_ms - probe.heard_ms) / 1000 / lag_s))
        true_c = self._seen_c(probe)
        probe.body_c += (true_c - probe.body_c) * follow
        probe.heard_ms, probe.next_ms = now_ms, now_ms + probe.plan.every_ms
        noise_k = self._options.noise_k * float(probe.noise.standard_normal())
        shown_c = probe.body_c - probe.plan.offset_mk / 1000 + noise_k
        steps = round(shown_c * STEPS_PER_K)
        return Reading(probe.plan.name, Millis(now_ms), steps * 1000 // STEPS_PER_K)

    def _seen_c(self, probe: _Probe) -> float:
        if probe.block is None or probe.weights is None:
            return self._room_c
        return float(probe.weights @ probe.block.modes)

    # ---------------------------------------------------------------- building

    def _block(self, net: MatNetwork, mat: str | None, power_w: float) -> _Block:
        network, options = net.network, self._options
        start = np.full(len(network.capacity), options.start_temp_c)
        mm = np.full(len(network.capacity), options.evaporation_mm)
        for name, tray in net.trays.items():
            if name in options.evaporation_by_tray:
                mm[tray.layers[-1]] = options.evaporation_by_tray[name]
        shares = net.heat_share * self._unlike.normal(
            1.0, options.unevenness, len(net.heat_share)
        )
        heat = shares * (power_w / shares.sum() if mat is not None else 0.0)
        evaporated = network.drive(-net.top_m2 * evaporation_w_m2(1.0) * mm)
        return _Block(
            net=net,
            mat=mat,
            modes=network.modes_of(start),
            by_room=network.drive(network.ground),
            by_mat=network.drive(heat),
            constant=evaporated,
            room_part=evaporated,
        )

    def _view(self, tray: TrayPlan) -> tuple[_Block, Vector]:
        block = next(b for b in self._blocks if tray.name in b.net.trays)
        depth_mm = tray.probes[0].depth_mm if tray.probes else None
        return block, self._weights(block, tray.name, depth_mm)

    def _weights(self, block: _Block, tray: str, depth_mm: int | None) -> Vector:
        network = block.net.network
        nodes = block.net.trays[tray]
        return network.output(probe_weights(nodes, depth_mm, len(network.capacity)))

    def _probe(self, plan: Plan, probe: ProbePlan, number: int) -> _Probe | None:
        if probe in plan.witnesses:
            return None
        block, weights = self._place(plan, probe)
        noise = np.random.default_rng([self._options.seed, 2, number])
        every_s = max(1, probe.every_ms // SECOND_MS)
        first_ms = self._start_ms + int(noise.integers(1, every_s + 1)) * SECOND_MS
        made = _Probe(
            probe, block, weights, first_ms, self._room_c, self._start_ms, noise
        )
        made.body_c = self._seen_c(made)
        return made

    def _place(
        self, plan: Plan, probe: ProbePlan
    ) -> tuple[_Block | None, Vector | None]:
        for mat in plan.mats:
            if probe in mat.surface:
                block = next(b for b in self._blocks if b.mat == mat.name)
                weights = np.zeros(len(block.net.network.capacity))
                weights[block.net.surface] = 1.0
                return block, block.net.network.output(weights)
        for tray in [t for mat in plan.mats for t in mat.trays] + list(plan.trays):
            if probe in tray.probes:
                block, _ = self._trays[tray.name]
                return block, self._weights(block, tray.name, probe.depth_mm)
        return None, None
