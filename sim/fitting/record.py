"""What a log tells of one mat, on an even grid of time.

What may live here: the shape of that, and what follows from it alone.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from sim.thermal import Matrix, Vector

Whole = NDArray[np.int64]
Truths = NDArray[np.bool_]

LONGEST_BRIDGED = 10
"""Chosen: steps without a reading across which the push is still smoothed. Over
more of them nothing is known of it: it is 0."""


@dataclass(frozen=True, slots=True)
class WindowStart:
    """Where something happened that no heat explains: a model begins anew there.

    Attributes:
        step: The first step of the window; its temperature is already the new
            one.
        why: What happened, in words.
        zone: Name of the zone it happened to; empty: to all of the mat.
    """

    step: int
    why: str
    zone: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """One mat, step by step. Step n lasts from start + n * step_s for step_s.

    Attributes:
        mat: Its name.
        start_run_ms: Where the first step begins, bench clock [ms].
        start_utc_ms: The same by the wall clock [ms].
        step_s: Length of a step [s].
        zones: Names of what has a temperature: trays, then surface probes.
        at_mat: Which of them are surface probes.
        on_share: Share of each step in which the mat was on, 0 to 1, shape (N,).
        room_c: Mean temperature of the room in each step [°C]; NaN where
            nobody measured it, shape (N,).
        temps_c: Temperature of each zone where each step begins [°C]; NaN
            where nobody measured it, shape (N, zones).
        local_day: Local day in which each step begins, since 1970-01-01,
            shape (N,).
        local_minute: Minute of that day, for night setpoints, shape (N,).
        windows: Where a model begins anew, in order; the beginning of the
            record is not among them.
    """

    mat: str
    start_run_ms: int
    start_utc_ms: int
    step_s: float
    zones: tuple[str, ...]
    at_mat: tuple[bool, ...]
    on_share: Vector
    room_c: Vector
    temps_c: Matrix
    local_day: Whole
    local_minute: Whole
    windows: tuple[WindowStart, ...] = ()

    def __len__(self) -> int:
        """Return how many steps it has."""
        return len(self.on_share)

    def starts_of(self, index: int) -> tuple[int, ...]:
        """Return the steps at which a zone's windows begin, the first one's too."""
        names = "", self.zones[index]
        steps = {window.step for window in self.windows if window.zone in names}
        return tuple(sorted({0, *steps}))

    def room_everywhere_c(self) -> Vector:
        """Return the room with what is missing drawn straight across [°C].

        Before the first and after the last measurement it stands still.

        Raises:
            ValueError: The room was never measured.
        """
        known = np.isfinite(self.room_c)
        if not known.any():
            message = f"mat {self.mat}: no room temperature was measured"
            raise ValueError(message)
        at = np.arange(len(self))
        return np.interp(at, at[known], self.room_c[known])


def gaps(temps: Vector, longest: int = LONGEST_BRIDGED) -> Truths:
    """Return which steps lie in stretches without a reading that are too long.

    Args:
        temps: One for each step; NaN where nothing was measured.
        longest: Steps from reading to reading that are not too long.
    """
    seen = np.flatnonzero(np.isfinite(temps))
    found = np.zeros(len(temps), dtype=np.bool_)
    for before, after in pairwise([-1, *seen.tolist(), len(temps)]):
        if after - before > longest:
            found[max(0, before) : after] = True
    return found
