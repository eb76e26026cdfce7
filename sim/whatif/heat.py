"""The model in the form in which both loops step it.

Everything is in thousandths of a degree, as the readings are, and each
operation in one order: the core's loop and the compiled one compute the same
bits. What may live here: the coefficients of a step, and one plain stepping of
them. No plan, no decisions.
"""

from dataclasses import dataclass

import numpy as np

from sim.thermal import Matrix, Vector
from sim.whatif.span import Span
from sim.zone_model import MatModel, modes

MILLI = 1000.0


@dataclass(frozen=True, slots=True)
class Coefficients:
    """A mat's zones for steps of one length; the first axis is the zone.

    Two modes z each: after = decay * before + (by_heat if on) + by_room *
    (room + offset) + by_push * push; a probe reads z @ shown.

    Attributes:
        decay: Shape (zones, 2) [-].
        by_heat: Shape (zones, 2) [m°C].
        by_room: Shape (zones, 2) [m°C per °C].
        by_push: Shape (zones, 2) [m°C per K/s].
        offset_c: Shape (zones,) [K].
        shown: Shape (zones, 2) [-].
        mat: The mat's temperature is z @ mat, shape (zones, 2) [-].
        start: Modes at the first scan, shape (zones, 2) [m°C].
    """

    decay: Matrix
    by_heat: Matrix
    by_room: Matrix
    by_push: Matrix
    offset_c: Vector
    shown: Matrix
    mat: Matrix
    start: Matrix


def coefficients(model: MatModel, span: Span) -> Coefficients:
    """Return a model's coefficients for the steps of a span.

    Raises:
        ValueError: The span has another number of zones.
    """
    zones = model.zones
    if len(zones) != len(span.start_c):
        raise ValueError(
            f"mat {model.mat}: {len(zones)} zones in the model, {len(span.start_c)} "
            "in the span: the same are needed"
        )
    modal = [modes(zone, span.step_s) for zone in zones]
    plain = np.ones(2)
    pairs = zip(modal, span.start_c, strict=True)
    return Coefficients(
        np.array([m.decay for m in modal]),
        np.array([m.by_heat for m in modal]) * MILLI,
        np.array([m.by_room for m in modal]) * MILLI,
        np.array([m.by_push for m in modal]) * MILLI,
        np.array([zone.offset_k for zone in zones]),
        np.array(
            [m.mat if z.at_mat else plain for z, m in zip(zones, modal, strict=True)]
        ),
        np.array([m.mat for m in modal]),
        np.array([m.of_state @ start for m, start in pairs]) * MILLI,
    )


class Zones:
    """The zones of a mat, stepped one by one."""

    def __init__(self, by: Coefficients, span: Span) -> None:
        self._z: list[list[float]] = by.start.tolist()
        self._shown: list[list[float]] = by.shown.tolist()
        self._room: list[float] = span.room_c.tolist()
        self._push: list[list[float]] = span.push.tolist()
        self._by = list(
            zip(
                by.decay.tolist(),
                by.by_heat.tolist(),
                by.by_room.tolist(),
                by.by_push.tolist(),
                by.offset_c.tolist(),
                strict=True,
            )
        )

    def read_mc(self) -> list[int]:
        """Return what the probes read, rounded as the door does [m°C]."""
        return [
            round(shown[0] * z[0] + shown[1] * z[1])
            for z, shown in zip(self._z, self._shown, strict=True)
        ]

    def advance(self, step: int, *, on: bool) -> None:
        """Let one step of the span pass."""
        room, pushes = self._room[step], self._push[step]
        for z, push, (decay, heat, by_room, by_push, offset) in zip(
            self._z, pushes, self._by, strict=True
        ):
            for mode in (0, 1):
                drive = by_room[mode] * (room + offset) + by_push[mode] * push
                given = heat[mode] + drive if on else drive
                z[mode] = decay[mode] * z[mode] + given
