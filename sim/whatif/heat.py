"""The model in the form in which both loops step it.

Everything is in thousandths of a degree, as the readings are, and of half the
width, which goes through a processor twice as fast; each operation has one order:
the core's loop and the compiled one compute the same bits. What may live here: the
coefficients of a step, and one plain stepping of them. No plan, no decisions.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from sim.thermal import Matrix, Vector
from sim.whatif.shape import Heat, Readings
from sim.whatif.span import Counts, Span
from sim.whatif.words import fused
from sim.zone_model import PARTS, MatModel, Modes, modes

MILLI = 1000.0

AT_ONCE = 4096
"""Chosen: steps whose drives stay near the processor while they are found."""


@dataclass(frozen=True, slots=True)
class Coefficients:
    """A mat's zones for steps of one length; the first axis is the zone.

    Three modes z each: after = decay * before + (by_heat if on) + by_room *
    (room + offset) + by_push * push; a push that is sudden adds by_near * push; a
    probe reads z @ shown. Of a zone of two parts the last is 0 throughout.

    Decays are what half the width can hold; the other coefficients are such that
    each mode comes to rest where the model's does.

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
    held = [_held(m) for m in modal]
    starts = zip(zones, modal, span.start_c, strict=True)
    return Coefficients(
        np.array([zone.parts for zone in zones]),
        _rows(decay for decay, _ in held),
        _rows(m.by_heat * by for m, (_, by) in zip(modal, held, strict=True)) * MILLI,
        _rows(m.by_room * by for m, (_, by) in zip(modal, held, strict=True)) * MILLI,
        _rows(m.by_push * by for m, (_, by) in zip(modal, held, strict=True)) * MILLI,
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


def _held(modal: Modes) -> tuple[Vector, Vector]:
    """Return decays as half the width holds them, and what makes up for that.

    Off by 3e-8 at most, a mode of three hours stepped each second would come to
    rest three ten-thousandths of its rise away.
    """
    decay = modal.decay.astype(np.float32).astype(np.float64)
    return decay, (1 - decay) / (1 - modal.decay)


def _rows(vectors: Iterable[Vector]) -> Matrix:
    """Return vectors of two or three as rows of three, 0 behind two."""
    return np.array([np.pad(one, (0, PARTS - len(one))) for one in vectors])


def driven(by: Coefficients, span: Span) -> Readings:
    """Return what drives each mode in each step while the mat is off.

    Shape (steps, modes, zones) [m°C]; the third mode is there if a zone has one.
    """
    parts = int(by.parts.max())
    made = np.empty((span.steps, parts, len(by.parts)), np.float32)
    for begin in range(0, span.steps, AT_ONCE):
        some = slice(begin, begin + AT_ONCE)
        room_c = span.room_c[some, np.newaxis] + by.offset_c
        for mode in range(parts):
            by_room, by_push = by.by_room[:, mode], by.by_push[:, mode]
            made[some, mode] = by_room * room_c + by_push * span.push[some]
    return made


def heat_of(model: MatModel, span: Span) -> Heat:
    """Return a model and a span as the compiled loops read them.

    Raises:
        ValueError: As for coefficients.
    """
    by = coefficients(model, span)
    modal = [by.decay, by.by_heat, by.by_room, by.by_push, by.by_near]
    modal += [by.shown, by.mat, by.outer, by.start]
    rows = np.vstack([*(one.T for one in modal), by.offset_c, by.parts == PARTS])
    return Heat(
        span.room_c,
        np.rint(span.room_c * MILLI),
        span.push,
        np.ascontiguousarray(rows),
        np.ascontiguousarray(rows.astype(np.float32)),
        driven(by, span),
        np.zeros((0, 0), np.bool_) if span.sudden is None else span.sudden,
    )


class Zones:
    """The zones of a mat, stepped one by one."""

    def __init__(self, by: Coefficients, span: Span) -> None:
        self._driven = driven(by, span)
        modes = slice(self._driven.shape[1])
        self._z = by.start.T[modes].astype(np.float32)
        self._decay: list[list[float]] = by.decay.T[modes].tolist()
        self._heat = by.by_heat.T[modes].astype(np.float32)
        self._shown = by.shown.T[modes].astype(np.float32)
        self._near = by.by_near.T[modes]
        self._push, self._sudden = span.push, span.sudden

    def read_mc(self) -> list[int]:
        """Return what the probes read, rounded as the door does [m°C]."""
        read = self._shown * self._z
        total = read[0] + read[1]
        for more in read[2:]:
            total += more
        return [round(one) for one in total.tolist()]

    def advance(self, step: int, *, on: bool) -> None:
        """Let one step of the span pass."""
        given = self._driven[step]
        if on:
            given = given + self._heat
        modes = zip(self._decay, self._z.tolist(), given.tolist(), strict=True)
        self._z[:] = [list(map(fused, *mode)) for mode in modes]
        if self._sudden is not None and self._sudden[step].any():
            poured = np.where(self._sudden[step], self._near * self._push[step], 0.0)
            self._z += poured.astype(np.float32)
