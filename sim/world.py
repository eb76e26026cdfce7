"""The simulated bench: mats, trays, a room and probes, in virtual time.

Deterministic from its seed, however its time is cut into steps: rooms change
at whole minutes, probes speak at their own times, and between those the
network is stepped exactly. What happens to a bench (a tray lifted, water, sun)
happens at the moment at which its method is called. No I/O; nothing here waits.
"""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from controller.core.plan import Plan, ProbePlan, all_probes, all_trays
from controller.core.scan import Reading
from controller.core.units import MINUTE_MS
from controller.ports import Arrivals
from sim.drying import COVERED_MM, DRY_CRUST_MM, FRESHLY_WET_MM
from sim.ledger import Ledger
from sim.making import room, warmth, waterings
from sim.moist_warmth import MoistWarmth
from sim.options import MOST_MM, WorldOptions, full_world
from sim.probes import Probe, Whereabouts, follow, shown
from sim.thermal import Vector
from sim.watering import Pour, Watered

TURN_MS = 5_000
"""Chosen: probes first speak at whole multiples of this, each at its own; the
fewer stops the network makes, the faster a season passes."""

__all__ = [
    "COVERED_MM",
    "DRY_CRUST_MM",
    "FRESHLY_WET_MM",
    "World",
    "WorldOptions",
    "full_world",
]

_NEVER = 2**62
_MOST_POURED_MM = 100_000.0


class World:
    """Implements ports.Plant by physics.

    Args:
        plan: The bench.
        options: Weather, instruments and physics.

    Attributes:
        now_ms: Its clock [ms].
        watered: What was poured over trays until now, by schedule or by hand.

    Raises:
        ValueError: The room's table, a tray's medium or its place is of no use,
            or a tray is named that is not there.
    """

    def __init__(self, plan: Plan, options: WorldOptions) -> None:
        self._plan, self._options = plan, options
        self._start_ms = self.now_ms = options.start_ms
        self._room = room(options)
        self._warmth = warmth(plan, options, self._room.at(0))
        self._moist = self._warmth if isinstance(self._warmth, MoistWarmth) else None
        self._waterings = waterings(plan, options)
        self._heat = self._warmth.heat
        self._room_shift_k = self._room_c = 0.0
        self._minute, self._minute_ms = -1, options.start_ms
        self._hold_ms = (
            options.start_ms + options.hold_ms if options.changes else _NEVER
        )
        self.watered: list[Watered] = []
        self._truths: dict[str, Vector] = {}
        self._probes: list[Probe] = []
        self._begin_minute(0)
        self._probes = [
            self._probe(probe, number)
            for number, probe in enumerate(all_probes(replace(plan, witnesses=())))
        ]
        self._look()
        for probe in self._probes:
            probe.body_c = self._seen_c(probe)
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
        return float(self._warmth.at_depth(tray, depth_mm) @ self._heat.modes)

    def layers(self, tray: str) -> tuple[float, ...]:
        """Return the true temperatures of a tray's layers from the bottom up [°C]."""
        return self._warmth.layers(tray)

    def surface(self, mat: str) -> float:
        """Return the true temperature of a mat under its middle tray [°C]."""
        return float(self._warmth.on_mat(mat) @ self._heat.modes)

    def room_c(self) -> float:
        """Return the room's temperature [°C]."""
        return self._room_c

    def gone_mm(self, tray: str) -> float:
        """Return how much water a tray lacks of what it holds when drained [mm]."""
        return self._warmth.gone_mm(tray)

    def ledger(self) -> Ledger | None:
        """Return where heat and water came from and went; None: nothing is booked."""
        return None if self._moist is None else self._moist.ledger()

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
            until_ms = min(to_ms, self._due_ms, self._minute_ms, self._hold_ms)
            self._heat.step(on, until_ms - self.now_ms)
            self.now_ms = until_ms
            if until_ms == self._minute_ms:
                self._begin_minute(self._minute + 1)
            if until_ms == self._hold_ms:
                self._see_to()
            if until_ms == self._due_ms:
                due = [p for p in self._probes if p.next_ms == until_ms]
                readings += [self._speak(probe) for probe in due]
                self._due_ms = self._next_turn()
        return Arrivals(tuple(readings))

    def _begin_minute(self, minute: int) -> None:
        self._enter_minute(minute)
        if minute < self._waterings.next_minute:
            return
        self._water(*self._waterings.due(minute))

    def _see_to(self) -> None:
        """At the end of a hold, take up water and films if they have changed."""
        self._hold_ms += self._options.hold_ms
        if self._moist is not None and self._moist.see_to():
            self._look()

    def _enter_minute(self, minute: int) -> None:
        self._minute = minute
        self._minute_ms = self._start_ms + (minute + 1) * MINUTE_MS
        self._room_c = self._room.at(minute) + self._room_shift_k
        self._warmth.enter(self._room_c, minute)

    def _next_turn(self) -> int:
        return min([probe.next_ms for probe in self._probes], default=2**62)

    def _speak(self, probe: Probe) -> Reading:
        """Return what a probe says now, and set when it speaks again."""
        follow(probe, self._seen_c(probe), self.now_ms, self._options.lag_s)
        return shown(probe, self._options.noise_k)

    def _seen_c(self, probe: Probe) -> float:
        if probe.weights is None:
            return self._room_c + probe.where.above_room_k
        return float(probe.weights @ self._heat.modes)

    # --------------------------------------------------------------- happening
    # What is out of its range, or NaN, is refused with a ValueError: it would stay.

    def lift(self, tray: str) -> None:
        """Lift a tray off its mat, with its probes, and set it down beside it."""
        self._warmth.lift(tray)
        self._look()

    def put_back(self, tray: str) -> None:
        """Put a tray back on its mat."""
        self._warmth.put_back(tray)
        self._look()

    def dry(self, tray: str, left: float) -> None:
        """Leave a medium only this share of its usual water; 1.0: all of it."""
        _refuse("share of water", left, (0, 1))
        self._warmth.dry(tray, left)
        self._look()

    def pour(self, tray: str, mm: float, temp_c: float) -> float:
        """Pour so much water [mm] over a tray; return how warm it runs out [°C]."""
        _refuse("water in mm", mm, (0, _MOST_POURED_MM))
        _refuse("water in °C", temp_c, (0, 100))
        self._water(Pour(tray, mm, temp_c))
        return self.watered[-1].out_c

    def _water(self, *pours: Pour) -> None:
        self.watered += self._warmth.pour(pours, self.now_ms)
        self._look()

    def evaporate(self, tray: str, mm_per_day: float | None) -> None:
        """Let a tray lose so much water [mm/day]; None: as much as usual."""
        _refuse("evaporation in mm a day", mm_per_day or 0.0, (0, MOST_MM))
        self._warmth.evaporate(tray, mm_per_day)
        self._look()

    def shine(self, tray: str, w_m2: float) -> None:
        """Let sun or a lamp give so much to the top of a tray [W/m²]."""
        _refuse("light in W/m²", w_m2, (0, 2_000))
        self._warmth.shine(tray, w_m2)
        self._look()

    def shift_room(self, by_k: float) -> None:
        """Make the room so much warmer than its weather has it [K]."""
        _refuse("shift of the room in K", by_k, (-100, 100))
        self._room_shift_k = by_k
        self._enter_minute(self._minute)

    def move_probe(self, name: str, where: Whereabouts) -> None:
        """Move a probe to another place; IN_PLACE is its own."""
        for probe in self._probes:
            if probe.plan.name == name:
                follow(probe, self._seen_c(probe), self.now_ms, self._options.lag_s)
                probe.where = where
        self._look()

    # ---------------------------------------------------------------- building

    def _look(self) -> None:
        """Work out anew where in the networks probes and truths look."""
        for tray in all_trays(self._plan):
            depth_mm = tray.probes[0].depth_mm if tray.probes else None
            self._truths[tray.name] = self._warmth.at_depth(tray.name, depth_mm)
        for probe in self._probes:
            probe.weights = self._place(probe.plan, probe.where)

    def _probe(self, plan: ProbePlan, number: int) -> Probe:
        noise = np.random.default_rng([self._options.seed, 2, number])
        turns = max(1, plan.every_ms // TURN_MS)
        first_ms = self._start_ms + int(noise.integers(1, turns + 1)) * TURN_MS
        return Probe(plan, first_ms, noise, self._start_ms)

    def _place(self, plan: ProbePlan, where: Whereabouts) -> Vector | None:
        """Return how a probe sees the modes; None: it is in the room's air."""
        if where.in_air:
            return None
        for mat in self._plan.mats:
            if plan in mat.surface:
                return self._warmth.on_mat(mat.name)
        for tray in all_trays(self._plan):
            if plan in tray.probes:
                if where.on_mat:
                    return self._warmth.under(tray.name)
                return self._warmth.at_depth(tray.name, plan.depth_mm)
        return None


def _refuse(what: str, value: float, bounds: tuple[float, float]) -> None:
    low, high = bounds
    if not low <= value <= high:
        message = f"{what} = {value!r}: must be from {low:g} to {high:g}"
        raise ValueError(message)
