"""Where a probe is: in its place, or where an accident put it. Data."""

from dataclasses import dataclass

from sim.thermal import Vector

AIR_LAG_S = 90.0
"""Chosen: a steel sleeve in still air follows within one to two minutes."""

MAT_LAG_S = 20.0
"""Chosen: the same sleeve pressed on a warm surface."""


@dataclass(frozen=True, slots=True)
class Whereabouts:
    """Where a probe is.

    Attributes:
        in_air: In the air over the bench.
        on_mat: On the mat under its tray.
        above_room_k: How much warmer that air is than the room [K].
        lag_s: Time constant of the probe there [s]; 0: as in its medium.
    """

    in_air: bool = False
    on_mat: bool = False
    above_room_k: float = 0.0
    lag_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Seen:
    """How a probe sees the modes; None: it sees the room."""

    weights: Vector | None = None


IN_PLACE = Whereabouts()
ON_MAT = Whereabouts(on_mat=True, lag_s=MAT_LAG_S)


def in_air(above_room_k: float) -> Whereabouts:
    """Return the whereabouts of a probe that slipped out of its medium."""
    return Whereabouts(in_air=True, above_room_k=above_room_k, lag_s=AIR_LAG_S)
