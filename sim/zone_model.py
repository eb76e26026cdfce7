"""What a log can tell of a root zone: two or three lags between mat and room.

The mat warms with its power and passes its heat to the medium, the medium
loses it to the room:

    dx1/dt = -(x1 - x2) / mat_s + heat * u
    dx2/dt = coupling * (x1 - x2) / mat_s - (x2 - room - offset_k) / medium_s + push

with x1 the mat and x2 the medium [°C], u the share of full power, heat such that
the medium comes to gain_k at full power, and push what no model knows: sun,
evaporation, water [K/s]. A medium may be of two halves, x2 the near one, in which
the probe is, and x3 the outer:

    dx2/dt = 2 coupling * (x1 - x2) / mat_s - (x2 - x3) / between_s
    dx3/dt = (x2 - x3) / between_s - (x3 - room - offset_k) / medium_s + push

Past such a medium the mat may leak heat to the room, leak times what it would
give to a medium as warm as the room:

    dx1/dt = -(x1 - x2) / mat_s - leak * (x1 - room - offset_k) / mat_s + heat * u

Water, which sinks in, pushes both halves alike. Capacities and conductances
cannot be told apart by temperatures; gain and times can. What may live here:
this model and its exact steps. No log, no fitting, no controller.
"""

from dataclasses import dataclass
from math import inf, sqrt

import numpy as np

from sim.thermal import Matrix, Vector

PARTS = 3
"""Temperatures of a zone at most: mat, medium or its near half, outer half."""

_NONE_AT_ALL = 1e-100
"""A mode in which the near half stands still has this share in it, so that the
other shares can be told by it; as good as none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Zone:
    """A root zone, or the surface of a mat.

    Attributes:
        name: Of the tray, or of the surface probe.
        gain_k: Rise of the medium, where it is of halves of the near one, above
            room and offset at full power [K].
        mat_s: How fast the mat gives its heat to the medium [s].
        medium_s: How fast the medium, or its outer half, loses its heat to the
            room [s].
        coupling: Heat capacity of the mat's part over that of the medium [-].
        offset_k: What the medium is warmer than the room without heat [K];
            evaporation makes it negative.
        at_mat: The probe is on the mat and shows x1, not in the medium.
        between_s: How fast the halves of the medium exchange heat [s]; None: it
            is one.
        leak: What the mat loses to the room past the medium, for 1 that it gives
            to the medium at the same difference [-]; 0 of a medium in one.
    """

    name: str
    gain_k: float
    mat_s: float
    medium_s: float
    coupling: float
    offset_k: float = 0.0
    at_mat: bool = False
    between_s: float | None = None
    leak: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what no bench can be.

        Raises:
            ValueError: Gain, a time or the coupling is not above 0 and finite, or
                the leak below 0 or, of a medium in one, above.
        """
        for name in ("gain_k", "mat_s", "medium_s", "coupling", "between_s"):
            value = getattr(self, name)
            if value is not None and not 0 < value < inf:
                message = f"zone {self.name}: {name} = {value}: above 0 is needed"
                raise ValueError(message)
        most = 0.0 if self.between_s is None else inf
        if self.leak != 0 and not 0 < self.leak < most:
            message = f"zone {self.name}: leak = {self.leak}: from 0 is needed"
            raise ValueError(message + ", and 0 where the medium is one")

    @property
    def parts(self) -> int:
        """How many temperatures it has, and so many lags: 2, with halves 3."""
        return 2 if self.between_s is None else PARTS

    @property
    def heat_k(self) -> float:
        """How much warmer than the medium the mat stays at full power [K]."""
        if self.between_s is None:
            return self.gain_k * self.mat_s / (self.coupling * self.medium_s)
        return self.gain_k * self.mat_s / (2 * self.coupling * self.sheds_s)

    @property
    def heats_k_s(self) -> float:
        """How fast full power warms the mat by itself [K/s]."""
        leaks_k = self.leak * (self.heat_k + self.gain_k)
        return (self.heat_k + leaks_k) / self.mat_s

    @property
    def sheds_s(self) -> float:
        """What the heated medium is above the room, over what it loses [K per K/s]."""
        return self.medium_s + (self.between_s or 0.0)

    @property
    def lags_s(self) -> tuple[float, ...]:
        """The time constants of the whole, the slow one first [s]."""
        if self.between_s is None:
            slow, fast = 1 / _rates(self)
            return float(slow), float(fast)
        return tuple((1 / _halved(self, self.between_s)[0]).tolist())


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

    State (x1, x2) or (x1, x2, x3): after = carry @ before + by_heat * u
    + by_room * (room + offset) + by_push * push + by_near * near.

    Attributes:
        carry: Shape (parts, parts).
        by_heat: Shape (parts,) [K].
        by_room: Shape (parts,) [-].
        by_push: Shape (parts,) [s].
        by_near: Of a push of the near half, shape (parts,) [s]; 0 with two parts.
    """

    carry: Matrix
    by_heat: Vector
    by_room: Vector
    by_push: Vector
    by_near: Vector


@dataclass(frozen=True, slots=True)
class Modes:
    """The same step with each of its modes by itself.

    Mode z (shape parts): after = decay * before + by_heat * u
    + by_room * (room + offset) + by_push * push + by_near * near. The medium, or
    its near half, is the sum of them.

    Attributes:
        decay: Shape (parts,) [-], the slow mode first.
        by_heat: Shape (parts,) [K].
        by_room: Shape (parts,) [-].
        by_push: Shape (parts,) [s].
        by_near: Shape (parts,) [s]; 0 with two parts.
        mat: Weights of the modes that give the mat's temperature, shape (parts,).
        outer: The same of the outer half; of the medium with two parts.
        of_state: Turns temperatures into modes, shape (parts, parts).
    """

    decay: Vector
    by_heat: Vector
    by_room: Vector
    by_push: Vector
    by_near: Vector
    mat: Vector
    outer: Vector
    of_state: Matrix


def modes(zone: Zone, step_s: float) -> Modes:
    """Return a zone's exact step of step_s [s] in modal form.

    Scaled by the roots of the capacities the system is symmetric, so that its
    modes are real and decay (as sim.thermal does for whole benches). They are
    scaled here so that the medium is their plain sum.

    Raises:
        ValueError: The step is not above 0.
    """
    if not 0 < step_s < inf:
        raise ValueError(f"step_s = {step_s}: above 0 is needed")
    if zone.between_s is not None:
        return _modes_of_halves(zone, zone.between_s, step_s)
    rates = _rates(zone)
    # From the second equation: a mode of rate r with medium 1 has its mat at
    # 1 + (1 / medium_s - r) * mat_s / coupling.
    mat = 1 + (1 / zone.medium_s - rates) * zone.mat_s / zone.coupling
    of_state = np.array([[1.0, -mat[1]], [-1.0, mat[0]]]) / (mat[0] - mat[1])
    gain = -np.expm1(-rates * step_s) / rates
    into = of_state @ np.array(
        [[zone.heats_k_s, 0.0, 0.0], [0.0, 1 / zone.medium_s, 1.0]]
    )
    by_heat, by_room, by_push = gain * into.T
    decay, plain = np.exp(-rates * step_s), np.ones(2)
    return Modes(decay, by_heat, by_room, by_push, np.zeros(2), mat, plain, of_state)


def _modes_of_halves(zone: Zone, between_s: float, step_s: float) -> Modes:
    """Return the step of a zone of three parts in modal form."""
    rates, parts = _halved(zone, between_s)
    near = np.where(parts[1] == 0.0, _NONE_AT_ALL, parts[1])
    capacities = np.array([2 * zone.coupling, 1.0, 1.0])
    of_state = near[:, np.newaxis] * (parts * np.sqrt(capacities)[:, np.newaxis]).T
    mat, _, outer = parts / np.sqrt(capacities)[:, np.newaxis] / near
    inputs = np.zeros((3, 4))
    inputs[0, 0] = zone.heats_k_s
    inputs[0, 1], inputs[2, 1] = zone.leak / zone.mat_s, 1 / zone.medium_s
    inputs[2, 2], inputs[1, 3] = 1.0, 1.0
    gain = -np.expm1(-rates * step_s) / rates
    by_heat, by_room, by_push, by_near = gain * (of_state @ inputs).T
    decay = np.exp(-rates * step_s)
    return Modes(decay, by_heat, by_room, by_push, by_near, mat, outer, of_state)


def steps(zone: Zone, step_s: float) -> Steps:
    """Return a zone's exact step of step_s [s] in its temperatures.

    Raises:
        ValueError: The step is not above 0.
    """
    modal = modes(zone, step_s)
    to_state = np.array([modal.mat, np.ones(zone.parts), modal.outer])[: zone.parts]
    return Steps(
        to_state @ np.diag(modal.decay) @ modal.of_state,
        to_state @ modal.by_heat,
        to_state @ modal.by_room,
        to_state @ modal.by_push,
        to_state @ modal.by_near,
    )


def in_three(temps_c: Vector) -> Vector:
    """Return a zone's temperatures as three: of a medium in one its own twice."""
    return np.append(temps_c, temps_c[-1])[:PARTS]


def _rates(zone: Zone) -> Vector:
    """Return the decay rates of two modes [1/s], the slow one first."""
    mat, medium = 1 / zone.mat_s, 1 / zone.medium_s
    half = (mat * (1 + zone.coupling) + medium) / 2
    fast = half + sqrt(half * half - mat * medium)
    return np.array([mat * medium / fast, fast])


def _halved(zone: Zone, between_s: float) -> tuple[Vector, Matrix]:
    """Return rates [1/s] and shapes of the modes of three parts, slow first.

    Shapes are columns of length 1, of temperatures times roots of capacities.
    """
    up, across, out = 1 / zone.mat_s, 1 / between_s, 1 / zone.medium_s
    into = 2 * zone.coupling * up
    middle = sqrt(up * into)
    rates, parts = np.linalg.eigh(
        [
            [up + zone.leak * up, -middle, 0.0],
            [-middle, into + across, -across],
            [0.0, -across, across + out],
        ]
    )
    return rates, parts
