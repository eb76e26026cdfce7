"""All networks of a bench side by side, as one vector of modes.

One block for each part of the bench that no heat joins to another: a mat with
its trays, or a tray alone. What may live here: how they are stepped together,
and how one gets another network of the same nodes. No weather, no probes.
"""

from collections.abc import Mapping

import numpy as np

from sim.bench import MatNetwork
from sim.thermal import Decays, Matrix, Vector


class Block:
    """One network and what heats it.

    Attributes:
        net: The network.
        full_w: Heat into each node with its mat at full power [W].
        steady_w: Heat into each node by sun and evaporation [W].
        inputs_w: Heat into each node for one of each input [W], inputs by
            nodes; which they are is for those to know who set them.
        first: Where its modes begin.
    """

    def __init__(self, net: MatNetwork, full_w: Vector, first: int) -> None:
        self.net = net
        self.full_w = full_w
        self.steady_w: Vector = np.zeros(len(full_w))
        self.inputs_w: Matrix = np.zeros((0, len(full_w)))
        self.first = first

    @property
    def where(self) -> "slice[int, int, None]":
        """Its modes' places."""
        return slice(self.first, self.first + len(self.full_w))


class Joined:
    """Steps blocks together, exactly.

    Args:
        nets: The networks by name, each with the heat into each of its nodes at
            full power [W].
        start_c: Temperature of everything [°C].
    """

    def __init__(
        self, nets: Mapping[str, tuple[MatNetwork, Vector]], start_c: float
    ) -> None:
        self.blocks: dict[str, Block] = {}
        count = 0
        for name, (net, full_w) in nets.items():
            self.blocks[name] = Block(net, full_w, count)
            count += len(full_w)
        self.modes = np.zeros(count)
        self._room_c = 0.0
        self._amounts: Vector | None = None
        self._inputs: Matrix = np.zeros((0, count))
        self._by_room = self._steady = self._room_part = self.modes
        self._by_mat: dict[str, Vector] = {}
        self._decays = Decays(self.modes)
        self._drives: dict[tuple[str, ...], Vector] = {}
        self.join()
        for name, block in self.blocks.items():
            self.set_temps(name, np.full(len(block.full_w), start_c))

    def join(self) -> None:
        """Take up networks and steady heats as they are now."""
        count = len(self.modes)
        rates, self._by_room, self._steady = (np.zeros(count) for _ in range(3))
        for name, block in self.blocks.items():
            network, where = block.net.network, block.where
            rates[where] = network.rates
            self._by_room[where] = network.drive(network.ground)
            self._steady[where] = network.drive(block.steady_w)
            self._by_mat[name] = np.zeros(count)
            self._by_mat[name][where] = network.drive(block.full_w)
        most = max((len(block.inputs_w) for block in self.blocks.values()), default=0)
        self._inputs = np.zeros((most, count))
        for block in self.blocks.values():
            driven = block.net.network.drive(block.inputs_w.T)
            self._inputs[: len(block.inputs_w), block.where] = driven.T
        self._decays = Decays(rates)
        self.set_room(self._room_c, self._amounts)

    def exchange(self, name: str, net: MatNetwork) -> None:
        """Give a block another network of the same nodes; they stay as warm."""
        self.renew({name: net})

    def renew(self, nets: Mapping[str, MatNetwork]) -> None:
        """Give blocks other networks of the same nodes; they stay as warm."""
        for name, net in nets.items():
            temps = self.temps(name)
            self.blocks[name].net = net
            self.set_temps(name, temps)
        self.join()

    def temps(self, name: str) -> Vector:
        """Return the temperatures of a block's nodes [°C]."""
        block = self.blocks[name]
        return block.net.network.temps_of(self.modes[block.where])

    def set_temps(self, name: str, temps: Vector) -> None:
        """Make a block's nodes as warm as that [°C]."""
        block = self.blocks[name]
        self.modes = self.modes.copy()
        self.modes[block.where] = block.net.network.modes_of(temps)

    def weights(self, name: str, of_nodes: Vector) -> Vector:
        """Return the weights of all modes that give a weighted node temperature."""
        block = self.blocks[name]
        weights = np.zeros(len(self.modes))
        weights[block.where] = block.net.network.output(of_nodes)
        return weights

    def looks(self, of_nodes: Mapping[str, Matrix]) -> Matrix:
        """Return the weights of all modes that give many weighted temperatures.

        Args:
            of_nodes: For each block the weights of its nodes: nodes by places
                at which one looks, the same places for all blocks.
        """
        parts = [
            block.net.network.output(of_nodes[name])
            for name, block in self.blocks.items()
        ]
        return np.concatenate(parts)

    def set_room(self, room_c: float, amounts: Vector | None = None) -> None:
        """Let the room be as warm as that, and inputs as much, from now on.

        Args:
            room_c: The room [°C].
            amounts: Of each input; None: nothing.
        """
        self._room_c, self._amounts = room_c, amounts
        self._room_part = self._steady + room_c * self._by_room
        if amounts is not None:
            self._room_part = self._room_part + amounts @ self._inputs
        self._drives.clear()

    def step(self, on: tuple[str, ...], lasting_ms: int) -> None:
        """Let time pass with these mats on."""
        drive = self._drives.get(on)
        if drive is None:
            drive = self._room_part
            for name in on:
                drive = drive + self._by_mat[name]
            self._drives[on] = drive
        self.modes = self._decays.step(self.modes, drive, lasting_ms)

    def course(
        self,
        rooms_c: Vector,
        amounts: Matrix | None,
        duty: Mapping[str, Vector],
        lasting_ms: int,
    ) -> Matrix:
        """Let many steps pass at once; return the modes after each.

        Args:
            rooms_c: The room in each step [°C].
            amounts: Of each input: steps by inputs; None: nothing.
            duty: For each mat, the share of each step's power [-].
            lasting_ms: How long each step lasts [ms].
        """
        drives = self._steady + rooms_c[:, np.newaxis] * self._by_room
        for name, shares in duty.items():
            where = self.blocks[name].where
            drives[:, where] += shares[:, np.newaxis] * self._by_mat[name][where]
        if amounts is not None:
            drives += amounts @ self._inputs
        course = self._decays.course(self.modes, drives, lasting_ms)
        self.modes = course[-1].copy()
        return course
