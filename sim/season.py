"""A season of a simulated bench without its probes, many minutes at once.

The same physics, from the same seed, as a world goes through: for those who
have a series of duty and want true temperatures, as a fit does. What may live
here: how minutes are taken together. No controller, no readings.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from controller.core.plan import Plan, all_trays
from controller.core.units import MINUTE_MS
from sim.joined import Stretch
from sim.ledger import Ledger
from sim.making import room, warmth, waterings
from sim.moist_warmth import MoistWarmth
from sim.options import WorldOptions
from sim.thermal import Matrix, Vector
from sim.warmth import Warmth
from sim.watering import Watered

_AT_ONCE = 240
"""Chosen: minutes that are taken together at most; more is hardly faster."""

_KNOWN = 1440
"""Chosen: minutes of which the weather is worked out together; heat that nobody
measures is known for two days."""

_NEVER = 2**62


@dataclass(frozen=True, slots=True)
class Season:
    """True temperatures after each minute, and after what is done at its end.

    Attributes:
        trays: Names of trays, in the order of columns.
        mats: Names of mats, in the order of columns.
        tray_c: Root zones at their first probes' depths, or halfway down [°C]:
            minutes by trays.
        mat_c: Mats under their middle trays [°C]: minutes by mats.
        room_c: The room in each minute [°C].
        watered: Waterings, in order.
        ledger: Where heat and water came from and went; None: not booked.
    """

    trays: tuple[str, ...]
    mats: tuple[str, ...]
    tray_c: Matrix
    mat_c: Matrix
    room_c: Vector
    watered: tuple[Watered, ...]
    ledger: Ledger | None


def season(plan: Plan, options: WorldOptions, duty: Mapping[str, Vector]) -> Season:
    """Let a bench pass through a season.

    Args:
        plan: The bench.
        options: Weather and physics; what is held is held for whole minutes.
        duty: For each mat, the share of full power in each minute, 0 to 1 [-];
            all of one length.

    Returns:
        What a world of these options is like after each minute, if each mat had
        been on for a minute with so much power.

    Raises:
        ValueError: The series are of no use, or the options are not.
    """
    minutes = _length(plan, duty)
    if options.changes and options.hold_ms % MINUTE_MS:
        message = f"hold_ms = {options.hold_ms}: must be whole minutes for a season"
        raise ValueError(message)
    course, at = _Course(plan, options, duty), 0
    while at < minutes:
        at = course.go(at, minutes)
    return course.end()


def _length(plan: Plan, duty: Mapping[str, Vector]) -> int:
    lengths = {len(shares) for shares in duty.values()}
    for name, shares in duty.items():
        if name not in {mat.name for mat in plan.mats}:
            message = f"duty of mat {name}: there is no such mat"
            raise ValueError(message)
        if not (np.isfinite(shares).all() and ((shares >= 0) & (shares <= 1)).all()):
            message = f"duty of mat {name}: must be from 0 to 1"
            raise ValueError(message)
    if len(lengths) != 1 or 0 in lengths:
        found = sorted(lengths) or "none"
        message = f"duty of lengths {found}: must be one length, at least a minute"
        raise ValueError(message)
    return lengths.pop()


class _Course:
    """A bench on its way."""

    def __init__(
        self, plan: Plan, options: WorldOptions, duty: Mapping[str, Vector]
    ) -> None:
        self._plan, self._start_ms, self._duty = plan, options.start_ms, duty
        self._room = room(options)
        self._warmth = warmth(plan, options, self._room.at(0))
        self._moist = self._warmth if isinstance(self._warmth, MoistWarmth) else None
        self._waterings = waterings(plan, options)
        self._hold = options.hold_ms // MINUTE_MS if options.changes else _NEVER
        self._at_once = _AT_ONCE
        if options.changes:
            self._at_once = options.longest_ms // MINUTE_MS
        self._known, self._known_from = self._weather(0), 0
        self._rooms_c: list[Vector] = []
        self._temps: list[Matrix] = []
        self._watered: list[Watered] = []
        self._places = _places(plan, self._warmth)
        self._looks: Matrix = np.zeros((0, 0))
        self._arrive(0)

    def go(self, minute: int, end: int) -> int:
        """Let minutes from one on pass, many at once; return the next one."""
        end = min(end, minute + self._at_once, self._waterings.next_minute)
        stretch, heat = self._ahead(minute, end), self._warmth.heat
        modes = heat.foreseen(stretch)
        lasting = self._lasting(minute, stretch, modes)
        stretch, modes, end = stretch.first(lasting), modes[:lasting], minute + lasting
        heat.take(stretch, modes)
        self._rooms_c.append(stretch.rooms_c)
        self._temps.append(modes @ self._looks)
        if end == self._waterings.next_minute:
            self._arrive(end)
            self._temps[-1][-1] = heat.modes @ self._looks
        if end % self._hold == 0:
            self._see_to(end)
        return end

    def _ahead(self, minute: int, end: int) -> Stretch:
        """Return what is at work from a minute to another."""
        if end > self._known_from + _KNOWN:
            self._known, self._known_from = self._weather(minute), minute
        rooms_c, amounts = self._known
        part = slice(minute - self._known_from, end - self._known_from)
        amounts = None if amounts is None else amounts[part]
        duty = {name: shares[minute:end] for name, shares in self._duty.items()}
        return Stretch(rooms_c[part], amounts, duty, MINUTE_MS)

    def _weather(self, minute: int) -> tuple[Vector, Matrix | None]:
        """Return room and what is given, of so many minutes as are known at once."""
        moist = self._moist
        amounts = None if moist is None else moist.amounts(minute, _KNOWN)
        return self._room.over(minute, _KNOWN), amounts

    def _lasting(self, minute: int, stretch: Stretch, modes: Matrix) -> int:
        """Return for how many minutes of a stretch its networks hold."""
        count = len(modes)
        if self._moist is None or stretch.amounts is None:
            return count
        ends = np.arange(self._hold - minute % self._hold, count, self._hold)
        passed = self._moist.let_pass(
            modes[ends - 1], stretch.rooms_c[ends], stretch.amounts[ends]
        )
        return int(ends[passed]) if passed < len(ends) else count

    def _see_to(self, minute: int) -> None:
        """Take up water and films at a minute's beginning, if they have changed."""
        if self._moist is not None:
            self._moist.enter(self._room.at(minute), minute)
            if self._moist.see_to():
                self._look()

    def end(self) -> Season:
        """Return what became of it."""
        trays = tuple(tray.name for tray in all_trays(self._plan))
        temps = np.concatenate(self._temps)
        return Season(
            trays,
            tuple(mat.name for mat in self._plan.mats),
            temps[:, : len(trays)],
            temps[:, len(trays) :],
            np.concatenate(self._rooms_c),
            tuple(self._watered),
            None if self._moist is None else self._moist.ledger(),
        )

    def _arrive(self, minute: int) -> None:
        """Begin a minute, and do what is to be done at it."""
        self._warmth.enter(self._room.at(minute), minute)
        if minute == self._waterings.next_minute:
            at_ms = self._start_ms + minute * MINUTE_MS
            self._watered += self._warmth.pour(self._waterings.due(minute), at_ms)
        self._look()

    def _look(self) -> None:
        """Work out anew where in the networks one looks."""
        self._looks = self._warmth.heat.looks(self._places)


def _places(plan: Plan, warm: Warmth) -> Matrix:
    """Return where one looks: nodes by places."""
    found = []
    for tray in all_trays(plan):
        depth_mm = tray.probes[0].depth_mm if tray.probes else None
        found.append(warm.nodes_at_depth(tray.name, depth_mm))
    found += [warm.nodes_on_mat(mat.name) for mat in plan.mats]
    places = np.zeros((len(warm.heat.full_w), len(found)))
    for number, (name, of_nodes) in enumerate(found):
        places[warm.heat.blocks[name].where, number] = of_nodes
    return places
