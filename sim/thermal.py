"""A linear network of heat capacities and conductances, stepped exactly.

C dT/dt = -K T + f. With K symmetric, scaling by the root of C gives a symmetric
matrix whose modes decay each by itself, so that a step of any length is exact
while the heat inputs stand still (zero-order hold). What may live here: that
mathematics. Nothing about benches.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Vector = NDArray[np.float64]
Matrix = NDArray[np.float64]


@dataclass(slots=True)
class NetworkBuilder:
    """Collects nodes and what joins them.

    Attributes:
        capacities: Heat capacity of each node [J/K].
        links: Two nodes and the conductance between them [W/K].
        grounds: A node and its conductance to the surroundings [W/K].
    """

    capacities: list[float] = field(default_factory=list)
    links: list[tuple[int, int, float]] = field(default_factory=list)
    grounds: list[tuple[int, float]] = field(default_factory=list)

    def node(self, capacity: float) -> int:
        """Add a node of some heat capacity [J/K]; return its number."""
        self.capacities.append(capacity)
        return len(self.capacities) - 1

    def link(self, one: int, other: int, conductance: float) -> None:
        """Join two nodes by a conductance [W/K]."""
        self.links.append((one, other, conductance))

    def ground(self, node: int, conductance: float) -> None:
        """Join a node to the surroundings by a conductance [W/K]."""
        self.grounds.append((node, conductance))

    def build(self) -> "Network":
        """Return the network, with its modes."""
        count = len(self.capacities)
        conductances = np.zeros((count, count))
        ground = np.zeros(count)
        for one, other, value in self.links:
            conductances[one, one] += value
            conductances[other, other] += value
            conductances[one, other] -= value
            conductances[other, one] -= value
        for node, value in self.grounds:
            conductances[node, node] += value
            ground[node] += value
        return Network(np.array(self.capacities), conductances, ground)


class Decays:
    """Modes that decay each by itself, stepped exactly.

    Args:
        rates: Decay rate of each mode [1/s], all above 0.
    """

    def __init__(self, rates: Vector) -> None:
        self._rates = rates
        self._steps: dict[int, tuple[Vector, Vector]] = {}

    def step(self, modes: Vector, drive: Vector, lasting_ms: int) -> Vector:
        """Return the modes after a time in which the drive stood still."""
        decay, gain = self._factors(lasting_ms)
        return decay * modes + gain * drive

    def course(self, modes: Vector, drives: Matrix, lasting_ms: int) -> Matrix:
        """Return the modes after each of many steps of one length.

        The same recurrence as step, by doubling: after n rounds each row has
        what the 2^n drives before it left.

        Args:
            modes: Before the first step.
            drives: What stands still in each step, one row for each.
            lasting_ms: How long each lasts [ms].
        """
        decay, gain = self._factors(lasting_ms)
        course = gain * drives
        course[0] += decay * modes
        span = 1
        while span < len(course):
            course[span:] += decay * course[:-span]
            decay, span = decay * decay, 2 * span
        return course

    def _factors(self, lasting_ms: int) -> tuple[Vector, Vector]:
        """Return what a step leaves of modes, and makes of drives."""
        found = self._steps.get(lasting_ms)
        if found is None:
            lasting_s = lasting_ms / 1000
            decay = np.exp(-self._rates * lasting_s)
            gain = -np.expm1(-self._rates * lasting_s) / self._rates
            found = self._steps[lasting_ms] = decay, gain
        return found


class Network:
    """Nodes with heat capacities, conductances between them and to a ground.

    Attributes:
        capacity: Heat capacity of each node [J/K].
        conductances: The symmetric matrix K [W/K], with the ground on its
            diagonal.
        ground: Conductance of each node to the surroundings [W/K].
        rates: Decay rate of each mode [1/s].
    """

    def __init__(self, capacity: Vector, conductances: Matrix, ground: Vector) -> None:
        self.capacity = capacity
        self.conductances = conductances
        self.ground = ground
        root = np.sqrt(capacity)
        rates, modes = np.linalg.eigh(conductances / (root[:, np.newaxis] * root))
        self.rates: Vector = rates
        self._to_temps: Matrix = modes / root[:, np.newaxis]
        self._to_modes: Matrix = modes.T * root
        self._decays = Decays(rates)

    def modes_of(self, temps: Vector) -> Vector:
        """Return the modal coordinates of node temperatures."""
        return self._to_modes @ temps

    def temps_of(self, modes: Vector) -> Vector:
        """Return the node temperatures of modal coordinates."""
        return self._to_temps @ modes

    def drive(self, heat: Vector) -> Vector:
        """Return what heat into each node [W] does to each mode."""
        return self._to_temps.T @ heat

    def output(self, weights: Vector) -> Vector:
        """Return the weights of modes that give a weighted node temperature."""
        return self._to_temps.T @ weights

    def step(self, modes: Vector, drive: Vector, lasting_ms: int) -> Vector:
        """Return the modes after a time in which the drive stood still."""
        return self._decays.step(modes, drive, lasting_ms)

    def mean_over(
        self, before: Vector, after: Vector, drive: Vector, lasting_s: float
    ) -> Vector:
        """Return the modes' exact mean over a step [modal coordinates]."""
        return ((before - after) / lasting_s + drive) / self.rates
