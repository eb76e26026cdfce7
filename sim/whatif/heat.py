"""The model in the form in which both loops step it.

Everything is in thousandths of a degree, as the readings are, and each
operation in one order: the core's loop and the compiled one compute the same
bits. What may live here: the coefficients of a step, and one plain stepping of
them. No plan, no decisions.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from sim.thermal import Matrix, Vector
from sim.whatif.span import Counts, Span
from sim.zone_model import PARTS, MatModel, modes

MILLI = 1000.0


@dataclass(frozen=True, slots=True)
class Coefficients:
    """A mat's zones for steps of one length; the first axis is the zone.

    Three modes z each: after = decay * before + (by_heat if on) + by_room *
    (room + offset) + by_push * push; a push that is sudden adds by_near * push; a
    probe reads z @ shown. Of a zone of two parts the last is 0 throughout.

    Attributes:
        parts: Of each zone, which are its modes, shape (zones,).
        decay: Shape (zones, 3) [-].
        by_heat: Shape (zones, 3) [m°C].
        by_room: Shape (zones, 3) [m°C per °C].
        by_push: Shape (zones, 3) [m°C per K/s].
        by_near: Shape (zones, 3) [m°C per K/s].
        offset_c: Shape (zones,) [K].
        shown: Shape (zones, 3) [-].
        mat: The mat's temperature is z @ mat, shape (zones, 3) [-].
        outer: The same of the medium's outer half, or of the medium.
        start: Modes at the first scan, shape (zones, 3) [m°C].
    """

    parts: Counts
    decay: Matrix
    by_heat: Matrix
    by_room: Matrix
    by_push: Matrix
    by_near: Matrix
    offset_c: Vector
    shown: Matrix
    mat: Matrix
    outer: Matrix
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
    starts = zip(zones, modal, span.start_c, strict=True)
    return Coefficients(
        np.array([zone.parts for zone in zones]),
        _rows(m.decay for m in modal),
        _rows(m.by_heat for m in modal) * MILLI,
        _rows(m.by_room for m in modal) * MILLI,
        _rows(m.by_push for m in modal) * MILLI,
        _rows(m.by_near for m in modal) * MILLI,
        np.array([zone.offset_k for zone in zones]),
        _rows(
            m.mat if zone.at_mat else np.ones(zone.parts)
            for zone, m in zip(zones, modal, strict=True)
        ),
        _rows(m.mat for m in modal),
        _rows(m.outer for m in modal),
        _rows(m.of_state @ start[: zone.parts] for zone, m, start in starts) * MILLI,
    )


def _rows(vectors: Iterable[Vector]) -> Matrix:
    """Return vectors of two or three as rows of three, 0 behind two."""
    return np.array([np.pad(one, (0, PARTS - len(one))) for one in vectors])


class Zones:
    """The zones of a mat, stepped one by one."""

    def __init__(self, by: Coefficients, span: Span) -> None:
        self._z: list[list[float]] = by.start.tolist()
        self._shown: list[list[float]] = by.shown.tolist()
        self._room: list[float] = span.room_c.tolist()
        self._push: list[list[float]] = span.push.tolist()
        self._never = [False] * len(self._z)
        self._sudden: list[list[bool]] | None = None
        if span.sudden is not None:
            self._sudden = span.sudden.tolist()
        self._by = list(
            zip(
                by.parts.tolist(),
                by.decay.tolist(),
                by.by_heat.tolist(),
                by.by_room.tolist(),
                by.by_push.tolist(),
                by.by_near.tolist(),
                by.offset_c.tolist(),
                strict=True,
            )
        )

    def read_mc(self) -> list[int]:
        """Return what the probes read, rounded as the door does [m°C]."""
        return [
            round(shown[0] * z[0] + shown[1] * z[1] + shown[2] * z[2])
            for z, shown in zip(self._z, self._shown, strict=True)
        ]

    def advance(self, step: int, *, on: bool) -> None:
        """Let one step of the span pass."""
        room, pushes = self._room[step], self._push[step]
        sudden = self._never if self._sudden is None else self._sudden[step]
        for z, push, water, (
            parts,
            decay,
            heat,
            by_room,
            by_push,
            by_near,
            offset,
        ) in zip(self._z, pushes, sudden, self._by, strict=True):
            for mode in range(parts):
                drive = by_room[mode] * (room + offset) + by_push[mode] * push
                given = heat[mode] + drive if on else drive
                z[mode] = decay[mode] * z[mode] + given
                if water:
                    z[mode] += by_near[mode] * push
