"""The form of a network: how heat may go through materials that may change.

A form knows nodes, and ways between them of which a part leads through a
material. With what the materials are just now it gives a network: one by one
through a NetworkBuilder, or, as often as they change, by arrays. What may live
here: that. Nothing about benches.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from sim.thermal import Matrix, Network, NetworkBuilder, Vector


class Material(NamedTuple):
    """What a material is just now.

    Attributes:
        w_mk: Its conductivity [W/mK].
        j_m3k: Its volumetric heat capacity [J/m³K].
    """

    w_mk: float
    j_m3k: float


@dataclass(frozen=True, slots=True)
class Way:
    """A way for heat, partly through a material.

    Attributes:
        area_m2: How wide it is.
        material: The material, by name.
        metres: How far it leads through that [m].
        before_m2k_w: Resistance before it [m²K/W].
        after_m2k_w: Resistance after it [m²K/W].
    """

    area_m2: float
    material: str
    metres: float
    before_m2k_w: float = 0.0
    after_m2k_w: float = 0.0

    def conductance(self, w_mk: float) -> float:
        """Return the conductance [W/K] with the material's conductivity [W/mK]."""
        through = self.before_m2k_w + self.metres / w_mk + self.after_m2k_w
        return self.area_m2 / through


class Volume(NamedTuple):
    """So much of a material, by name [m³]."""

    m3: float
    material: str


@dataclass(slots=True)
class Form:
    """Collects nodes and what joins them.

    Attributes:
        nodes: Heat capacity of each [J/K], or what it is made of.
        links: Two nodes, and the conductance between them [W/K] or the way.
        grounds: A node, and the conductance from it to the surroundings [W/K]
            or the way.
        tops: For each material, the one of the grounds through its surface.
    """

    nodes: list[float | Volume] = field(default_factory=list)
    links: list[tuple[int, int, float | Way]] = field(default_factory=list)
    grounds: list[tuple[int, float | Way]] = field(default_factory=list)
    tops: dict[str, int] = field(default_factory=dict)

    def node(self, made_of: float | Volume) -> int:
        """Add a node; return its number."""
        self.nodes.append(made_of)
        return len(self.nodes) - 1

    def link(self, one: int, other: int, way: float | Way) -> None:
        """Join two nodes."""
        self.links.append((one, other, way))

    def ground(self, node: int, way: float | Way) -> None:
        """Join a node to the surroundings."""
        self.grounds.append((node, way))

    def top(self, node: int, way: Way) -> None:
        """Join a node to the surroundings through its material's surface."""
        self.tops[way.material] = len(self.grounds)
        self.grounds.append((node, way))

    def network(self, materials: Mapping[str, Material]) -> Network:
        """Return the network with materials as they are."""
        builder = NetworkBuilder()
        for made_of in self.nodes:
            if isinstance(made_of, Volume):
                builder.node(made_of.m3 * materials[made_of.material].j_m3k)
            else:
                builder.node(made_of)
        for one, other, way in self.links:
            builder.link(one, other, _conductance(way, materials))
        for node, way in self.grounds:
            builder.ground(node, _conductance(way, materials))
        return builder.build()


def _conductance(way: float | Way, materials: Mapping[str, Material]) -> float:
    if isinstance(way, Way):
        return way.conductance(materials[way.material].w_mk)
    return way


class Assembly:
    """Forms by arrays, without their tops, whose heat somebody else reckons.

    Args:
        forms: The forms; their nodes are counted through.
        materials: Names of all materials, in the order of arrays.
    """

    def __init__(self, forms: Sequence[Form], materials: Sequence[str]) -> None:
        place = {name: number for number, name in enumerate(materials)}
        made = [made_of for form in forms for made_of in form.nodes]
        self._fixed_j_k = np.array([0.0 if isinstance(m, Volume) else m for m in made])
        volumes = [(n, m) for n, m in enumerate(made) if isinstance(m, Volume)]
        self._filled = np.array([n for n, _ in volumes], dtype=np.intp)
        self._m3 = np.array([m.m3 for _, m in volumes])
        self._of = np.array([place[m.material] for _, m in volumes], dtype=np.intp)
        self._links = _Ways([way for form in forms for _, _, way in form.links], place)
        self._between = [_between(form) for form in forms]
        sides = list(_sides(forms))
        self._sides = _Ways([way for _, way in sides], place)
        self._at = np.array([node for node, _ in sides], dtype=np.intp)

    def capacity(self, j_m3k: Vector) -> Vector:
        """Return the heat capacity of each node [J/K]."""
        found: Vector = self._fixed_j_k.copy()
        found[self._filled] += self._m3 * j_m3k[self._of]
        return found

    def sides(self, w_mk: Vector) -> Vector:
        """Return each node's conductance to the surroundings but the top's [W/K]."""
        found = np.zeros(len(self._fixed_j_k))
        np.add.at(found, self._at, self._sides.conductances(w_mk))
        return found

    def inner(self, w_mk: Vector) -> Iterator[Matrix]:
        """Yield each form's matrix of conductances between its nodes [W/K]."""
        ways, first = self._links.conductances(w_mk)[:, np.newaxis], 0
        for between in self._between:
            ahead = first + len(between)
            yield between.T @ (ways[first:ahead] * between)
            first = ahead


def _between(form: Form) -> Matrix:
    """Return the differences that drive heat: links by nodes."""
    found: Matrix = np.zeros((len(form.links), len(form.nodes)))
    for number, (one, other, _) in enumerate(form.links):
        found[number, one], found[number, other] = 1.0, -1.0
    return found


def _sides(forms: Sequence[Form]) -> Iterator[tuple[int, float | Way]]:
    """Yield all grounds that are no tops, their nodes counted through."""
    first = 0
    for form in forms:
        tops = set(form.tops.values())
        for number, (node, way) in enumerate(form.grounds):
            if number not in tops:
                yield first + node, way
        first += len(form.nodes)


class _Ways:
    """Ways by arrays; a mere conductance has a resistance and no material."""

    def __init__(self, ways: Sequence[float | Way], place: Mapping[str, int]) -> None:
        rows = [
            (w.area_m2, w.before_m2k_w + w.after_m2k_w)
            if isinstance(w, Way)
            else (w, 1.0)
            for w in ways
        ]
        self._area, self._fixed = np.array(rows).reshape(-1, 2).T
        through = [(n, w) for n, w in enumerate(ways) if isinstance(w, Way)]
        self._through = np.array([n for n, _ in through], dtype=np.intp)
        self._metres = np.array([w.metres for _, w in through])
        self._of = np.array([place[w.material] for _, w in through], dtype=np.intp)

    def conductances(self, w_mk: Vector) -> Vector:
        resistances = self._fixed.copy()
        resistances[self._through] += self._metres / w_mk[self._of]
        found: Vector = self._area / resistances
        return found
