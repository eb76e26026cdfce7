"""The warmth of a bench: its mats and trays as they stand, sun and water too.

What may live here: what happens to trays, and where in the networks one looks.
No time of its own, no weather, no probes.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace

import numpy as np

from controller.core.plan import MatPlan, Plan, TrayPlan, all_trays
from sim.bench import (
    LAYERS,
    MatNetwork,
    Standing,
    TrayNodes,
    evaporation_w_m2,
    mat_network,
    probe_weights,
    tray_alone,
)
from sim.joined import Joined
from sim.media import WATER_J_M3K
from sim.thermal import Vector
from sim.watering import Pour, Watered


class Warmth:
    """All that holds and passes on heat.

    Args:
        plan: The bench.
        start_c: Temperature of everything [°C].
        unevenness: Standard deviation of the heat per area between the parts
            of a mat, as a share.
        noise: What it is drawn from.
        evaporation_mm: From each tray, by name [mm/day].
        layers: How many each tray's medium has.
    """

    def __init__(
        self,
        plan: Plan,
        start_c: float,
        unevenness: float,
        noise: np.random.Generator,
        evaporation_mm: Mapping[str, float],
        layers: int = LAYERS,
    ) -> None:
        self._parts, self._layers = dict(_parts(plan)), layers
        self._standing = dict.fromkeys(self._parts, Standing())
        nets = {name: self._network(name) for name in self._parts}
        heated = {
            name: (net, _full_w(net, self._parts[name], noise, unevenness))
            for name, net in nets.items()
        }
        self.heat = self._join(heated, start_c)
        self._block_of = {
            tray: name for name, net in nets.items() for tray in net.trays
        }
        self._depths: dict[tuple[str, int | None], Vector] = {}
        self._usual_mm = dict(evaporation_mm)
        self._evaporation_mm = dict(evaporation_mm)
        self._sun_w_m2 = dict.fromkeys(evaporation_mm, 0.0)
        self._take_up()

    # ----------------------------------------------------------------- looking

    def at_depth(self, tray: str, depth_mm: int | None) -> Vector:
        """Return the modes' weights at a depth; None: halfway down."""
        return self.heat.weights(*self.nodes_at_depth(tray, depth_mm))

    def nodes_at_depth(self, tray: str, depth_mm: int | None) -> tuple[str, Vector]:
        """Return a tray's block, and the weights of its nodes at a depth."""
        name = self._block_of[tray]
        found = self._depths.get((tray, depth_mm))
        if found is None:
            count = len(self.heat.blocks[name].made.heat_share)
            found = probe_weights(self._nodes(tray)[1], depth_mm, count)
            self._depths[tray, depth_mm] = found
        return name, found

    def under(self, tray: str) -> Vector:
        """Return the modes' weights of what a tray stands on in its place."""
        name, nodes = self._nodes(tray)
        return self.heat.weights(name, self._one_node(name, nodes.under))

    def on_mat(self, mat: str) -> Vector:
        """Return the modes' weights where a surface probe lies."""
        return self.heat.weights(*self.nodes_on_mat(mat))

    def nodes_on_mat(self, mat: str) -> tuple[str, Vector]:
        """Return a mat's block, and the weights of its nodes at its surface."""
        return mat, self._one_node(mat, self.heat.blocks[mat].made.surface)

    def layers(self, tray: str) -> tuple[float, ...]:
        """Return the temperatures of a tray's layers from the bottom up [°C]."""
        name, nodes = self._nodes(tray)
        temps = self.heat.temps(name)
        return tuple(float(temps[node]) for node in nodes.layers)

    def gone_mm(self, tray: str) -> float:  # noqa: ARG002 - for media that dry
        """Return how much water a tray lacks of what it holds when drained [mm]."""
        return 0.0

    # --------------------------------------------------------------- happening

    def enter(
        self,
        room_c: float,
        minute: int,  # noqa: ARG002 - for those who have more than a room
    ) -> None:
        """Let a minute begin, with the room as warm as that [°C]."""
        self.heat.set_room(room_c)

    def lift(self, tray: str) -> None:
        """Lift a tray off its mat and set it down beside it."""
        standing = self._standing[self._block_of[tray]]
        self._stand(tray, replace(standing, lifted=standing.lifted | {tray}))

    def put_back(self, tray: str) -> None:
        """Put a tray back on its mat."""
        standing = self._standing[self._block_of[tray]]
        self._stand(tray, replace(standing, lifted=standing.lifted - {tray}))

    def dry(self, tray: str, left: float) -> None:
        """Leave a medium only this share of its usual water; 1.0: all of it."""
        standing = self._standing[self._block_of[tray]]
        water_left = {**standing.water_left, tray: left}
        self._stand(tray, replace(standing, water_left=water_left))

    def pour(self, pours: Iterable[Pour], at_ms: int) -> list[Watered]:
        """Pour water over trays: it mixes with each layer on its way down.

        What a medium holds when drained stays the same: what it lacks of that
        it keeps, the same in each layer; the rest runs out below, as warm as
        the lowest layer is then.

        Args:
            pours: What is poured, one after the other.
            at_ms: When it is [ms].

        Returns:
            What became of each.
        """
        found = []
        for pour in pours:
            kept_mm, out_c = self._poured(*pour)
            found.append(Watered(at_ms, *pour, kept_mm, out_c))
        return found

    def evaporate(self, tray: str, mm_per_day: float | None) -> None:
        """Let a tray lose so much water [mm/day]; None: as much as usual."""
        usual = self._usual_mm[tray]
        self._evaporation_mm[tray] = usual if mm_per_day is None else mm_per_day
        self._take_up()

    def shine(self, tray: str, w_m2: float) -> None:
        """Let sun or a lamp give so much to the top of a tray [W/m²]."""
        self._sun_w_m2[tray] = w_m2
        self._take_up()

    # ------------------------------------------------------------------- inner

    def _poured(self, tray: str, mm: float, temp_c: float) -> tuple[float, float]:
        """Return how much is kept [mm], and how warm the rest runs out [°C].

        Media that do not dry lack nothing.
        """
        name, nodes = self._nodes(tray)
        temps = self.heat.temps(name)
        capacity = self.heat.blocks[name].network.capacity
        water = nodes.area_m2 * mm / 1000 * WATER_J_M3K
        for node in reversed(nodes.layers):
            whole = capacity[node] * temps[node] + water * temp_c
            temps[node] = temp_c = whole / (capacity[node] + water)
        self.heat.set_temps(name, temps)
        return 0.0, float(temp_c)

    def _stand(self, tray: str, standing: Standing) -> None:
        name = self._block_of[tray]
        self._standing[name] = standing
        self.heat.exchange(name, self._network(name))

    def _join(
        self, heated: Mapping[str, tuple[MatNetwork, Vector]], start_c: float
    ) -> Joined:
        return Joined(heated, start_c)

    def _network(self, name: str) -> MatNetwork:
        part, standing = self._parts[name], self._standing[name]
        if isinstance(part, MatPlan):
            return mat_network(part, standing, self._layers)
        return tray_alone(part, standing, self._layers)

    def _take_up(self) -> None:
        for block in self.heat.blocks.values():
            for tray, nodes in block.made.trays.items():
                lost_w_m2 = evaporation_w_m2(self._evaporation_mm[tray])
                gain_w_m2 = self._sun_w_m2[tray] - lost_w_m2
                top = block.where.start + nodes.layers[-1]
                self.heat.steady_w[top] = nodes.area_m2 * gain_w_m2
        self.heat.join()

    def _nodes(self, tray: str) -> tuple[str, TrayNodes]:
        name = self._block_of[tray]
        return name, self.heat.blocks[name].made.trays[tray]

    def _one_node(self, name: str, node: int) -> Vector:
        nodes = np.zeros(len(self.heat.blocks[name].made.heat_share))
        nodes[node] = 1.0
        return nodes


def evaporation_mm(
    plan: Plan, usual: float, by_tray: Mapping[str, float]
) -> dict[str, float]:
    """Return the evaporation of every tray [mm/day].

    Raises:
        ValueError: A tray is named that the bench does not have.
    """
    names = [tray.name for tray in all_trays(plan)]
    for name in by_tray:
        if name not in names:
            message = f"evaporation of tray {name}: there is no such tray"
            raise ValueError(message)
    return {name: by_tray.get(name, usual) for name in names}


def _parts(plan: Plan) -> Iterator[tuple[str, MatPlan | TrayPlan]]:
    """Yield every part of the bench that no heat joins to another."""
    for mat in plan.mats:
        yield mat.name, mat
    for tray in plan.trays:
        yield f"tray {tray.name}", tray


def _full_w(
    net: MatNetwork,
    part: MatPlan | TrayPlan,
    noise: np.random.Generator,
    unevenness: float,
) -> Vector:
    """Return the heat into each node at full power [W], a little uneven."""
    power_w = part.power_mw / 1000 if isinstance(part, MatPlan) else 0.0
    uneven = noise.normal(1.0, unevenness, len(net.heat_share))
    shares: Vector = net.heat_share * uneven
    whole = float(shares.sum())
    return shares * (power_w / whole) if whole else shares
