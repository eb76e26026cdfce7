"""A bench, assembled anew as its media and tops change.

What may live here: where trays are in its arrays. No water, no time.
"""

from collections.abc import Mapping, Sequence

import numpy as np

from sim.bench import MatForm
from sim.form import Assembly
from sim.thermal import Matrix, Network, Vector


class Assembled:
    """All parts of a bench, their nodes counted through.

    Args:
        parts: Their forms, by name.
        trays: Names of all trays, in the order of arrays; each is in a part.

    Attributes:
        tops: Node of each tray's top layer.
        at_tops: The same as weights: nodes by trays.
        sides: Each node's conductance to the room but through tops [W/K].
        capacity: Each node's heat capacity [J/K].
    """

    def __init__(self, parts: Mapping[str, MatForm], trays: Sequence[str]) -> None:
        self._assembly = Assembly([made.form for made in parts.values()], trays)
        self._where: dict[str, slice[int, int, None]] = {}
        self._layers: dict[str, list[int]] = {}
        first = 0
        for name, made in parts.items():
            for tray, nodes in made.trays.items():
                self._layers[tray] = [first + node for node in nodes.layers]
            ahead = first + len(made.form.nodes)
            self._where[name], first = slice(first, ahead), ahead
        self._trays = list(trays)
        self.tops = np.array([self._layers[t][-1] for t in trays], dtype=np.intp)
        self.at_tops: Matrix = np.zeros((first, len(trays)))
        self.at_tops[self.tops, np.arange(len(trays))] = 1.0
        self.sides: Vector = np.zeros(first)
        self.capacity: Vector = np.zeros(first)

    def networks(
        self, w_mk: Vector, j_m3k: Vector, lost: Vector, warmed: Vector
    ) -> dict[str, Network]:
        """Return each part's network, and take up capacities and sides.

        Args:
            w_mk: Conductivity of each tray's medium.
            j_m3k: Its heat capacity.
            lost: By what each tray's top layer loses heat upwards [W/K].
            warmed: By what the room warms it from above [W/K].
        """
        self.sides = self._assembly.sides(w_mk)
        self.capacity = self._assembly.capacity(j_m3k)
        ground = self.sides + self.on_tops(warmed)
        outwards = self.sides + self.on_tops(lost)
        found = {}
        inner = self._assembly.inner(w_mk)
        for (name, where), matrix in zip(self._where.items(), inner, strict=True):
            matrix.reshape(-1)[:: len(matrix) + 1] += outwards[where]
            found[name] = Network(self.capacity[where], matrix, ground[where])
        return found

    def on_tops(self, by_tray: Vector) -> Vector:
        """Return what trays have, at the nodes of their tops."""
        found = np.zeros(len(self.sides))
        found[self.tops] = by_tray
        return found

    def in_layers(self) -> Matrix:
        """Return how heat into a tray is shared by its layers: trays by nodes."""
        found = np.zeros((len(self._trays), len(self.sides)))
        for number, tray in enumerate(self._trays):
            layers = self._layers[tray]
            found[number, layers] = 1.0 / len(layers)
        return found
