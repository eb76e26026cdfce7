"""What a log can tell of a root zone: two lags between mat and probe.

The mat warms with its power and passes its heat to the medium, the medium
loses it to the room:

    dx1/dt = -(x1 - x2) / mat_s + heat_k / mat_s * u
    dx2/dt = coupling * (x1 - x2) / mat_s - (x2 - room - offset_k) / medium_s + push

with x1 the mat and x2 the medium [°C], u the share of full power, heat_k =
gain_k * mat_s / (coupling * medium_s), and push what no model knows: sun,
evaporation, water [K/s]. Capacities and conductances cannot be told apart by
temperatures; gain and times can. What may live here: this model and its exact
steps. No log, no fitting, no controller.
"""

from dataclasses import dataclass
from math import inf, sqrt

import numpy as np

from sim.thermal import Matrix, Vector


@dataclass(frozen=True, slots=True, kw_only=True)
class Zone:
    """A root zone, or the surface of a mat.

    Attributes:
        name: Of the tray, or of the surface probe.
        gain_k: Rise of the medium above room and offset at full power [K].
        mat_s: How fast the mat gives its heat to the medium [s].
        medium_s: How fast the medium loses its heat to the room [s].
        coupling: Heat capacity of the mat's part over that of the medium [-].
        offset_k: What the medium is warmer than the room without heat [K];
            evaporation makes it negative.
        at_mat: The probe is on the mat and shows x1, not in the medium.
    """

    name: str
    gain_k: float
    mat_s: float
    medium_s: float
    coupling: float
    offset_k: float = 0.0
    at_mat: bool = False

    def __post_init__(self) -> None:
        """Refuse what no bench can be.

        Raises:
            ValueError: Gain, a time or the coupling is not above 0 and finite.
        """
        for name in ("gain_k", "mat_s", "medium_s", "coupling"):
            value = getattr(self, name)
            if not 0 < value < inf:
                message = f"zone {self.name}: {name} = {value}: above 0 is needed"
                raise ValueError(message)

    @property
    def heat_k(self) -> float:
        """How much warmer than the medium the mat stays at full power [K]."""
        return self.gain_k * self.mat_s / (self.coupling * self.medium_s)

    @property
    def lags_s(self) -> tuple[float, float]:
        """The two time constants of the whole, the slow one first [s]."""
        slow, fast = 1 / _rates(self)
        return float(slow), float(fast)


@dataclass(frozen=True, slots=True)
class MatModel:
    """The zones that one mat heats, each by itself.

    Attributes:
        mat: Its name.
        zones: In the order of the plan; trays first, then surface probes.
    """

    mat: str
    zones: tuple[Zone, ...]


@dataclass(frozen=True, slots=True)
class Steps:
    """A zone's exact step of a fixed length, inputs standing still within it.

    State (x1, x2): after = carry @ before + by_heat * u
    + by_room * (room + offset) + by_push * push.

    Attributes:
        carry: Shape (2, 2).
        by_heat: Shape (2,) [K].
        by_room: Shape (2,) [-].
        by_push: Shape (2,) [s].
    """

    carry: Matrix
    by_heat: Vector
    by_room: Vector
    by_push: Vector


@dataclass(frozen=True, slots=True)
class Modes:
    """The same step with each of its two modes by itself.

    Mode z (shape 2): after = decay * before + by_heat * u
    + by_room * (room + offset) + by_push * push. The medium is z[0] + z[1].

    Attributes:
        decay: Shape (2,) [-], the slow mode first.
        by_heat: Shape (2,) [K].
        by_room: Shape (2,) [-].
        by_push: Shape (2,) [s].
        mat: Weights of the modes that give the mat's temperature, shape (2,).
        of_state: Turns (x1, x2) into modes, shape (2, 2).
    """

    decay: Vector
    by_heat: Vector
    by_room: Vector
    by_push: Vector
    mat: Vector
    of_state: Matrix


def modes(zone: Zone, step_s: float) -> Modes:
    """Return a zone's exact step of step_s [s] in modal form.

    Scaled by the roots of the two capacities the system is symmetric, so that
    its modes are real and decay (as sim.thermal does for whole benches). They
    are scaled here so that the medium is their plain sum.

    Raises:
        ValueError: The step is not above 0.
    """
    if not 0 < step_s < inf:
        raise ValueError(f"step_s = {step_s}: above 0 is needed")
    rates = _rates(zone)
    # From the second equation: a mode of rate r with medium 1 has its mat at
    # 1 + (1 / medium_s - r) * mat_s / coupling.
    mat = 1 + (1 / zone.medium_s - rates) * zone.mat_s / zone.coupling
    of_state = np.array([[1.0, -mat[1]], [-1.0, mat[0]]]) / (mat[0] - mat[1])
    gain = -np.expm1(-rates * step_s) / rates
    into = of_state @ np.array(
        [[zone.heat_k / zone.mat_s, 0.0, 0.0], [0.0, 1 / zone.medium_s, 1.0]]
    )
    by_heat, by_room, by_push = gain * into.T
    return Modes(np.exp(-rates * step_s), by_heat, by_room, by_push, mat, of_state)


def steps(zone: Zone, step_s: float) -> Steps:
    """Return a zone's exact step of step_s [s] in its two temperatures.

    Raises:
        ValueError: The step is not above 0.
    """
    modal = modes(zone, step_s)
    to_state = np.array([modal.mat, np.ones(2)])
    return Steps(
        to_state @ np.diag(modal.decay) @ modal.of_state,
        to_state @ modal.by_heat,
        to_state @ modal.by_room,
        to_state @ modal.by_push,
    )


def _rates(zone: Zone) -> Vector:
    """Return the decay rates of the two modes [1/s], the slow one first."""
    mat, medium = 1 / zone.mat_s, 1 / zone.medium_s
    half = (mat * (1 + zone.coupling) + medium) / 2
    fast = half + sqrt(half * half - mat * medium)
    return np.array([mat * medium / fast, fast])
