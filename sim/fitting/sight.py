"""One zone of a record, as a fit sees it: windows without gaps.

What may live here: which steps can be fitted and which count.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from sim.fitting.record import Record, Truths, Whole, gaps
from sim.thermal import Vector

ROOM_GAP_STEPS = 30
"""Chosen: across so many steps without a reading the room is drawn straight."""

SHORTEST_STEPS = 60
"""Chosen: a shorter window tells less than its two unknown beginnings ask."""


@dataclass(frozen=True, slots=True)
class Sight:
    """What one zone offers to a fit.

    Attributes:
        step_s: Length of a step [s].
        seen: 1: the probe sees the medium; 0: the mat.
        spans: First step, and the one after the last, of each window.
        temps_c: Readings on the grid, short gaps drawn straight [°C].
        on_share: Share of each step in which the mat was on.
        room_c: The room [°C].
        counts: Which predictions are compared with a reading.
        day: Local day of each step.
    """

    step_s: float
    seen: int
    spans: tuple[tuple[int, int], ...]
    temps_c: Vector
    on_share: Vector
    room_c: Vector
    counts: Truths
    day: Whole

    @property
    def counted(self) -> int:
        """How many predictions are compared."""
        return int(self.counts.sum())

    def steps(self) -> Whole:
        """Return the numbers of the steps within windows, one after the other."""
        parts = [np.arange(begin, end) for begin, end in self.spans]
        return np.concatenate(parts) if parts else np.empty(0, dtype=np.int64)


def sight(record: Record, index: int) -> Sight:
    """Return what a zone of a record offers to a fit.

    Raises:
        ValueError: The room was never measured.
    """
    temps = record.temps_c[:, index]
    room = record.room_everywhere_c()
    bare = gaps(temps) | gaps(record.room_c, ROOM_GAP_STEPS)
    spans = _spans(bare, record.starts_of(index))
    within = np.zeros(len(record), dtype=np.bool_)
    filled = temps.copy()
    for begin, end in spans:
        within[begin:end] = True
        at = np.arange(begin, end)
        known = np.isfinite(temps[begin:end])
        filled[begin:end] = np.interp(at, at[known], temps[begin:end][known])
    return Sight(
        step_s=record.step_s,
        seen=0 if record.at_mat[index] else 1,
        spans=spans,
        temps_c=filled,
        on_share=record.on_share,
        room_c=room,
        counts=within & np.isfinite(temps),
        day=record.local_day,
    )


def _spans(bare: Truths, starts: tuple[int, ...]) -> tuple[tuple[int, int], ...]:
    """Return the stretches between gaps and window starts that are long enough."""
    cut = np.zeros(len(bare) + 1, dtype=np.bool_)
    cut[list(starts)] = True
    cut[1:-1] |= bare[1:] != bare[:-1]
    cut[[0, -1]] = True
    edges = np.flatnonzero(cut).tolist()
    return tuple(
        (begin, end)
        for begin, end in pairwise(edges)
        if not bare[begin] and end - begin >= SHORTEST_STEPS
    )
