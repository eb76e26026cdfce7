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
from sim.ledger import Ledger
from sim.making import room, warmth, waterings
from sim.moist_warmth import MoistWarmth
from sim.options import WorldOptions
from sim.thermal import Matrix, Vector
from sim.warmth import Warmth
from sim.watering import Watered, Watering

_AT_ONCE = 240
"""Chosen: minutes that are taken together at most; more is hardly faster."""


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
    hold = options.hold_ms // MINUTE_MS if options.changes else minutes + 1
    if options.changes and options.hold_ms % MINUTE_MS:
        message = f"hold_ms = {options.hold_ms}: must be whole minutes for a season"
        raise ValueError(message)
    course = _Course(plan, options)
    at = 0
    while at < minutes:
        ahead = min(minutes, at + _AT_ONCE, at + hold - at % hold, course.next_minute)
        part = {name: shares[at:ahead] for name, shares in duty.items()}
        course.go(at, ahead - at, part)
        if ahead % hold == 0:
            course.renew(ahead)
        at = ahead
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

    def __init__(self, plan: Plan, options: WorldOptions) -> None:
        self._plan, self._start_ms = plan, options.start_ms
        self._room, self._warmth = room(options), warmth(plan, options)
        self._moist = self._warmth if isinstance(self._warmth, MoistWarmth) else None
        self._waterings = waterings(plan, options)
        self._rooms_c: list[Vector] = []
        self._temps: list[Matrix] = []
        self._watered: list[Watered] = []
        self._places = _places(plan, self._warmth)
        self._looks: Matrix = np.zeros((0, 0))
        self._arrive(0)

    @property
    def next_minute(self) -> int:
        """The next minute at which something is done to it."""
        return self._waterings.next_minute

    def go(self, minute: int, count: int, duty: Mapping[str, Vector]) -> None:
        """Let so many minutes from one on pass."""
        rooms_c = self._room.over(minute, count)
        amounts = None
        if self._moist is not None:
            amounts = self._moist.amounts(minute, count)
        modes = self._warmth.heat.course(rooms_c, amounts, duty, MINUTE_MS)
        self._rooms_c.append(rooms_c)
        self._temps.append(modes @ self._looks)
        if minute + count == self._waterings.next_minute:
            self._arrive(minute + count)
            self._temps[-1][-1] = self._warmth.heat.modes @ self._looks

    def renew(self, minute: int) -> None:
        """Take up water and films as they are at a minute's beginning."""
        if self._moist is not None:
            self._moist.enter(self._room.at(minute), minute)
            self._moist.renew()
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
            for tray, watering in self._waterings.due(minute):
                self._watered.append(self._water(tray, watering, at_ms))
        self._look()

    def _water(self, tray: str, watering: Watering, at_ms: int) -> Watered:
        mm, temp_c, warm = watering.mm, watering.temp_c, self._warmth
        lacking_mm = warm.gone_mm(tray)
        out_c = warm.pour(tray, mm, temp_c)
        return Watered(at_ms, tray, mm, temp_c, lacking_mm - warm.gone_mm(tray), out_c)

    def _look(self) -> None:
        """Work out anew where in the networks one looks."""
        self._looks = self._warmth.heat.looks(self._places)


def _places(plan: Plan, warm: Warmth) -> dict[str, Matrix]:
    """Return where one looks, in each block: nodes by places."""
    found = []
    for tray in all_trays(plan):
        depth_mm = tray.probes[0].depth_mm if tray.probes else None
        found.append(warm.nodes_at_depth(tray.name, depth_mm))
    found += [warm.nodes_on_mat(mat.name) for mat in plan.mats]
    blocks = warm.heat.blocks
    places = {n: np.zeros((len(b.full_w), len(found))) for n, b in blocks.items()}
    for number, (name, of_nodes) in enumerate(found):
        places[name][:, number] = of_nodes
    return places
