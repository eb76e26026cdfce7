"""One part of a bench, assembled anew as its media and tops change.

What may live here: where trays are in its arrays. No water, no time.
"""

from collections.abc import Sequence

import numpy as np

from sim.bench import MatForm
from sim.form import Assembly
from sim.thermal import Matrix, Network, Vector


class Assembled:
    """A part of the bench, its trays by their numbers.

    Args:
        made: Its form.
        names: Names of all trays, in the order of arrays.

    Attributes:
        made: Its form.
        trays: Numbers of its trays.
        tops: Nodes of their top layers.
        sides: Each node's conductance to the room but through tops [W/K].
    """

    def __init__(self, made: MatForm, names: Sequence[str]) -> None:
        self.made, self._assembly = made, Assembly(made.form, names)
        self.trays = np.array([names.index(t) for t in made.trays], dtype=np.intp)
        layers_of = [list(nodes.layers) for nodes in made.trays.values()]
        self.tops = np.array([layers[-1] for layers in layers_of], dtype=np.intp)
        self.sides: Vector = np.zeros(self._assembly.count)
        self._inputs_w = np.zeros((2 * len(names), self._assembly.count))
        for tray, layers in zip(self.trays, layers_of, strict=True):
            self._inputs_w[len(names) + tray, layers] = 1.0 / len(layers)

    def network(self, w_mk: Vector, j_m3k: Vector, seen: tuple[Vector, ...]) -> Network:
        """Return the network with media and tops as they are."""
        self.sides = self._assembly.sides(w_mk)
        matrix = self._assembly.inner(w_mk)
        lost, warmed = self.on_tops(seen[0]), self.on_tops(seen[1])
        matrix[np.diag_indices(len(matrix))] += self.sides + lost
        capacity = self._assembly.capacity(j_m3k)
        return Network(capacity, matrix, self.sides + warmed)

    def on_tops(self, by_tray: Vector) -> Vector:
        """Return what trays have, at the nodes of their tops."""
        found = np.zeros(self._assembly.count)
        found[self.tops] = by_tray[self.trays]
        return found

    def inputs_w(self, light_m2: Vector) -> Matrix:
        """Return the heat into each node by light on, and heat in, each tray."""
        self._inputs_w[self.trays, self.tops] = light_m2[self.trays]
        return self._inputs_w
