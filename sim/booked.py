"""Joined networks that keep books: what went where, over any time.

What may live here: integrals over a time in which the networks stood still, by
what their modes were before and after. What they mean is for others to say.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from sim.bench import MatNetwork
from sim.joined import Joined, Stretch
from sim.thermal import Matrix, Vector


@dataclass(frozen=True, slots=True)
class Span:
    """What went on in a time in which the networks stood still: integrals.

    Attributes:
        lasting_s: How long it was [s].
        room_k_s: The room's temperature [°C s].
        amounts_s: Amounts of inputs.
        on_s: How long each mat was on [s].
        temps_k_s: Temperatures of all nodes [°C s].
    """

    lasting_s: float
    room_k_s: float
    amounts_s: Vector
    on_s: dict[str, float]
    temps_k_s: Vector


class Booked(Joined):
    """Steps blocks together, and books what goes on meanwhile."""

    def __init__(
        self,
        nets: Mapping[str, tuple[MatNetwork, Vector]],
        start_c: float,
        inputs: int = 0,
    ) -> None:
        self._span_s = self._lasting_s = self._room_k_s = 0.0
        self._on_s: dict[str, float] = {}
        self._amounts_s: Vector | None = None
        super().__init__(nets, start_c, inputs)
        self._from = self.modes

    def closed(self) -> Span:
        """Return what went on since this was asked last, and book anew."""
        self._book()
        by_room, full, steady = self._driven[:3]
        driven = self._lasting_s * steady + self._room_k_s * by_room
        for name, on_s in self._on_s.items():
            where = self.blocks[name].where
            driven[where] += on_s * full[where]
        amounts_s = self._amounts_s
        if amounts_s is None:
            amounts_s = np.zeros(len(self.inputs_w))
        driven += amounts_s @ self._driven[3:]
        gone = self._from - self.modes + driven
        temps_k_s = self._temps_of(gone / self._rates)
        span = Span(self._lasting_s, self._room_k_s, amounts_s, self._on_s, temps_k_s)
        self.open()
        return span

    def open(self) -> None:
        """Begin to book, from the modes as they are."""
        self._from = self.modes
        self._lasting_s = self._room_k_s = 0.0
        self._on_s, self._amounts_s = {}, None

    def set_room(self, room_c: float, amounts: Vector | None = None) -> None:
        """Let the room be as warm as that, and inputs as much, from now on."""
        self._book()
        super().set_room(room_c, amounts)

    def step(self, on: tuple[str, ...], lasting_ms: int) -> None:
        """Let time pass with these mats on."""
        super().step(on, lasting_ms)
        self._span_s += lasting_ms / 1000
        for name in on:
            self._on_s[name] = self._on_s.get(name, 0.0) + lasting_ms / 1000

    def take(self, stretch: Stretch, foreseen: Matrix) -> None:
        """Let the steps of a stretch pass, as they were foreseen."""
        self._book()
        each_s = stretch.each_ms / 1000
        self._lasting_s += each_s * len(stretch.rooms_c)
        self._room_k_s += each_s * float(stretch.rooms_c.sum())
        if stretch.amounts is not None:
            self._add(each_s * stretch.amounts.sum(axis=0))
        for name, shares in stretch.duty.items():
            on_s = each_s * float(shares.sum())
            self._on_s[name] = self._on_s.get(name, 0.0) + on_s
        super().take(stretch, foreseen)

    def _book(self) -> None:
        """Book the room and the inputs since they were last set."""
        lasting_s, self._span_s = self._span_s, 0.0
        if not lasting_s:
            return
        self._lasting_s += lasting_s
        self._room_k_s += lasting_s * self._room_c
        if self._amounts is not None:
            self._add(lasting_s * self._amounts)

    def _add(self, amounts_s: Vector) -> None:
        before = self._amounts_s
        self._amounts_s = amounts_s if before is None else before + amounts_s
