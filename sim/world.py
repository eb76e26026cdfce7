"""The simulated bench: mats, trays, a room and probes, in virtual time.

Deterministic from its seed, however its time is cut into steps: rooms change
at whole minutes, probes speak at their own times, and between those the
network is stepped exactly. What happens to a bench (a tray lifted, water, sun)
happens at the moment at which its method is called. No I/O; nothing here waits.
"""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from controller.core.plan import (
    MatPlan,
    Plan,
    ProbePlan,
    TrayPlan,
    all_probes,
    all_trays,
)
from controller.core.scan import Reading
from controller.core.units import MINUTE_MS, Millis
from controller.ports import Arrivals
from sim.bench import (
    MatNetwork,
    Standing,
    TrayNodes,
    evaporation_w_m2,
    mat_network,
    probe_weights,
    tray_alone,
)
from sim.joined import Joined
from sim.media import WATER_J_M3K
from sim.room import DayAndNight, Room, room_table
from sim.thermal import Vector
from sim.whereabouts import IN_PLACE, Seen, Whereabouts

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


@dataclass(slots=True)
class Probe:
    """A probe: when it speaks next, what its body's warmth is, where it looks."""

    plan: ProbePlan
    next_ms: int
    noise: np.random.Generator
    body_c: float = 0.0
    heard_ms: int = 0
    where: Whereabouts = IN_PLACE
    seen: Seen = field(default_factory=Seen)


class World:
    """Implements ports.Plant by physics.

    Args:
        plan: The bench.
        options: Weather and instruments.

    Raises:
        ValueError: The room's table, a tray's medium or its place is of no use.
    """

    def __init__(self, plan: Plan, options: WorldOptions) -> None:
        self._options, self._plan = options, plan
        for name in options.evaporation_by_tray:
            if name not in {tray.name for tray in all_trays(plan)}:
                message = f"evaporation of tray {name}: there is no such tray"
                raise ValueError(message)
        self._start_ms = self.now_ms = options.start_ms
        self._room: Room = (
            DayAndNight(options.seed, options.start_minute_of_day)
            if options.room_csv is None
            else room_table(options.room_csv)
        )
        self._room_shift_k = 0.0
        parts = dict(_parts(plan))
        uneven = np.random.default_rng([options.seed, 3])
        nets = {name: _network(part, Standing()) for name, part in parts.items()}
        self._heat = Joined(
            {
                name: (net, _full_w(net, parts[name], uneven, options.unevenness))
                for name, net in nets.items()
            },
            options.start_temp_c,
        )
        self._parts = parts
        self._standing = dict.fromkeys(parts, Standing())
        self._block_of = {
            tray: name for name, net in nets.items() for tray in net.trays
        }
        self._evaporation_mm = {
            tray.name: options.evaporation_by_tray.get(
                tray.name, options.evaporation_mm
            )
            for tray in all_trays(plan)
        }
        self._sun_w_m2 = dict.fromkeys(self._evaporation_mm, 0.0)
        self._minute, self._minute_ms, self._room_c = -1, options.start_ms, 0.0
        self.probes: list[Probe] = []
        self._take_up_steady_heat()
        self._enter_minute(0)
        self.probes = [
            self._probe(probe, number)
            for number, probe in enumerate(all_probes(replace(plan, witnesses=())))
        ]
        self._look()
        for probe in self.probes:
            probe.body_c, probe.heard_ms = self._seen_c(probe), self._start_ms
        self._due_ms = self._next_turn()

    # ------------------------------------------------------------------ asking

    def truth(self, tray: str, depth_mm: int | None = None) -> float:
        """Return a tray's true temperature [°C].

        Args:
            tray: The tray.
            depth_mm: How deep [mm]; None: where its probe is, or halfway down.
        """
        if depth_mm is None:
            return float(self._truths[tray] @ self._heat.modes)
        return float(self._at_depth(tray, depth_mm) @ self._heat.modes)

    def layers(self, tray: str) -> tuple[float, ...]:
        """Return the true temperatures of a tray's layers from the bottom up [°C]."""
        name, nodes = self._nodes(tray)
        return tuple(float(temp) for temp in self._heat.temps(name)[list(nodes.layers)])

    def surface(self, mat: str) -> float:
        """Return the true temperature of a mat under its middle tray [°C]."""
        node = self._heat.blocks[mat].net.surface
        return float(self._heat.temps(mat)[node])

    def room_c(self) -> float:
        """Return the room's temperature [°C]."""
        return self._room_c

    # ----------------------------------------------------------------- running

    def advance(self, to_ms: int, energised: Mapping[str, bool]) -> Arrivals:
        """Let time pass, each mat on or off as given; return what probes said.

        Raises:
            ValueError: to_ms lies in the past.
        """
        if to_ms < self.now_ms:
            message = f"the bench is at {self.now_ms} ms and cannot go to {to_ms} ms"
            raise ValueError(message)
        on = tuple([name for name, state in energised.items() if state])
        readings: list[Reading] = []
        while self.now_ms < to_ms:
            until_ms = min(to_ms, self._due_ms, self._minute_ms)
            self._heat.step(on, until_ms - self.now_ms)
            self.now_ms = until_ms
            if until_ms == self._minute_ms:
                self._enter_minute(self._minute + 1)
            if until_ms == self._due_ms:
                due = [p for p in self.probes if p.next_ms == until_ms]
                readings += [self._speak(probe) for probe in due]
                self._due_ms = self._next_turn()
        return Arrivals(tuple(readings))

    def _enter_minute(self, minute: int) -> None:
        self._minute = minute
        self._minute_ms = self._start_ms + (minute + 1) * MINUTE_MS
        self._room_c = self._room.at(minute) + self._room_shift_k
        self._heat.set_room(self._room_c)

    def _next_turn(self) -> int:
        return min([probe.next_ms for probe in self.probes], default=2**62)

    def _speak(self, probe: Probe) -> Reading:
        """Return what a probe says now, and set when it speaks again."""
        self._follow(probe)
        now_ms = self.now_ms
        probe.next_ms = now_ms + probe.plan.every_ms
        noise_k = self._options.noise_k * probe.noise.standard_normal()
        shown_c = probe.body_c - probe.plan.offset_mk / 1000 + noise_k
        steps = round(shown_c * STEPS_PER_K)
        return Reading(probe.plan.name, Millis(now_ms), steps * 1000 // STEPS_PER_K)

    def _follow(self, probe: Probe) -> None:
        """Let a probe's body follow, with a lag, what it has been in until now."""
        lag_s = probe.where.lag_s or self._options.lag_s
        lasting_s = (self.now_ms - probe.heard_ms) / 1000
        follow = -math.expm1(-lasting_s / lag_s) if lag_s > 0 else 1.0
        probe.body_c += (self._seen_c(probe) - probe.body_c) * follow
        probe.heard_ms = self.now_ms

    def _seen_c(self, probe: Probe) -> float:
        if probe.seen.weights is None:
            return self._room_c + probe.where.above_room_k
        return float(probe.seen.weights @ self._heat.modes)

    # --------------------------------------------------------------- happening

    def lift(self, tray: str) -> None:
        """Lift a tray off its mat, with its probes, and set it down beside it."""
        standing = self._standing[self._block_of[tray]]
        self._stand(tray, replace(standing, lifted=standing.lifted | {tray}))

    def put_back(self, tray: str) -> None:
        """Put a tray back on its mat."""
        standing = self._standing[self._block_of[tray]]
        self._stand(tray, replace(standing, lifted=standing.lifted - {tray}))

    def dry(self, tray: str, left: float) -> None:
        """Leave a medium only this share of its usual water; 1.0: all of it."""
        standing = self._standing[self._block_of[tray]]
        water_left = {**standing.water_left, tray: left}
        self._stand(tray, replace(standing, water_left=water_left))

    def pour(self, tray: str, mm: float, temp_c: float) -> None:
        """Pour water over a tray: it mixes with each layer on its way down.

        What a medium holds when drained stays the same: as much as was poured
        runs out below, as warm as the lowest layer is then.

        Args:
            tray: The tray.
            mm: How much [mm, which is litres per square metre].
            temp_c: How warm [°C].
        """
        name, nodes = self._nodes(tray)
        temps = self._heat.temps(name)
        capacity = self._heat.blocks[name].net.network.capacity
        water = nodes.area_m2 * mm / 1000 * WATER_J_M3K
        for node in reversed(nodes.layers):
            whole = capacity[node] * temps[node] + water * temp_c
            temps[node] = temp_c = whole / (capacity[node] + water)
        self._heat.set_temps(name, temps)

    def evaporate(self, tray: str, mm_per_day: float | None) -> None:
        """Let a tray lose so much water [mm/day]; None: as much as usual."""
        usual = self._options.evaporation_by_tray.get(tray)
        usual = self._options.evaporation_mm if usual is None else usual
        self._evaporation_mm[tray] = usual if mm_per_day is None else mm_per_day
        self._take_up_steady_heat()

    def shine(self, tray: str, w_m2: float) -> None:
        """Let sun or a lamp give so much to the top of a tray [W/m²]."""
        self._sun_w_m2[tray] = w_m2
        self._take_up_steady_heat()

    def shift_room(self, by_k: float) -> None:
        """Make the room so much warmer than its weather has it [K]."""
        self._room_shift_k = by_k
        self._enter_minute(self._minute)

    def move_probe(self, probe: str, where: Whereabouts) -> None:
        """Move a probe to another place; IN_PLACE is its own."""
        for known in self.probes:
            if known.plan.name == probe:
                self._follow(known)
                known.where = where
        self._look()

    # ---------------------------------------------------------------- building

    def _stand(self, tray: str, standing: Standing) -> None:
        name = self._block_of[tray]
        self._standing[name] = standing
        self._heat.exchange(name, _network(self._parts[name], standing))
        self._look()

    def _take_up_steady_heat(self) -> None:
        for block in self._heat.blocks.values():
            block.steady_w = np.zeros(len(block.full_w))
            for tray, nodes in block.net.trays.items():
                lost_w_m2 = evaporation_w_m2(self._evaporation_mm[tray])
                gain_w_m2 = self._sun_w_m2[tray] - lost_w_m2
                block.steady_w[nodes.layers[-1]] = nodes.area_m2 * gain_w_m2
        self._heat.join()

    def _look(self) -> None:
        """Work out anew where in the networks probes and truths look."""
        self._truths = {
            tray.name: self._at_depth(
                tray.name, tray.probes[0].depth_mm if tray.probes else None
            )
            for tray in all_trays(self._plan)
        }
        for probe in self.probes:
            probe.seen = Seen(self._place(probe.plan, probe.where))

    def _nodes(self, tray: str) -> tuple[str, TrayNodes]:
        name = self._block_of[tray]
        return name, self._heat.blocks[name].net.trays[tray]

    def _at_depth(self, tray: str, depth_mm: int | None) -> Vector:
        name, nodes = self._nodes(tray)
        count = len(self._heat.blocks[name].full_w)
        return self._heat.weights(name, probe_weights(nodes, depth_mm, count))

    def _node_weights(self, name: str, node: int) -> Vector:
        nodes = np.zeros(len(self._heat.blocks[name].full_w))
        nodes[node] = 1.0
        return self._heat.weights(name, nodes)

    def _probe(self, probe: ProbePlan, number: int) -> Probe:
        noise = np.random.default_rng([self._options.seed, 2, number])
        turns = max(1, probe.every_ms // TURN_MS)
        first_ms = self._start_ms + int(noise.integers(1, turns + 1)) * TURN_MS
        return Probe(probe, first_ms, noise)

    def _place(self, probe: ProbePlan, where: Whereabouts) -> Vector | None:
        """Return how a probe sees the modes; None: it is in the room's air."""
        if where.in_air:
            return None
        for mat in self._plan.mats:
            if probe in mat.surface:
                return self._node_weights(mat.name, self._heat.blocks[mat.name].net.surface)
        for tray in all_trays(self._plan):
            if probe not in tray.probes:
                continue
            if where.on_mat:
                name, nodes = self._nodes(tray.name)
                return self._node_weights(name, nodes.under)
            return self._at_depth(tray.name, probe.depth_mm)
        return None


def _parts(plan: Plan) -> Iterator[tuple[str, MatPlan | TrayPlan]]:
    """Yield every part of the bench that no heat joins to another."""
    for mat in plan.mats:
        yield mat.name, mat
    for tray in plan.trays:
        yield f"tray {tray.name}", tray


def _network(part: MatPlan | TrayPlan, standing: Standing) -> MatNetwork:
    if isinstance(part, MatPlan):
        return mat_network(part, standing)
    return tray_alone(part, standing)


def _full_w(
    net: MatNetwork,
    part: MatPlan | TrayPlan,
    noise: np.random.Generator,
    unevenness: float,
) -> Vector:
    """Return the heat into each node at full power [W], a little uneven."""
    power_w = part.power_mw / 1000 if isinstance(part, MatPlan) else 0.0
    uneven = noise.normal(1.0, unevenness, len(net.heat_share))
    shares: Vector = net.heat_share * uneven
    whole = float(shares.sum())
    return shares * (power_w / whole) if whole else shares
