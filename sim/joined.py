"""All networks of a bench side by side, as one vector of modes.

One block for each part of the bench that no heat joins to another: a mat with
its trays, or a tray alone. What may live here: how they are stepped together,
and how one gets another network of the same nodes. No weather, no probes.
"""

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from sim.bench import MatForm, MatNetwork
from sim.thermal import Decays, Matrix, Network, Vector


class Block:
    """One network, of a part of the bench.

    Attributes:
        made: The form that it has.
        network: The network.
        where: The places of its nodes, and of its modes, among all.
    """

    def __init__(self, net: MatNetwork, first: int) -> None:
        self.made: MatForm = net
        self.network: Network = net.network
        self.where = slice(first, first + len(net.heat_share))


class Stretch(NamedTuple):
    """What is at work in some steps of one length.

    Attributes:
        rooms_c: The room in each step [°C].
        amounts: Of each input: steps by inputs; None: nothing.
        duty: For each mat, the share of each step's power [-].
        each_ms: How long each step lasts [ms].
    """

    rooms_c: Vector
    amounts: Matrix | None
    duty: Mapping[str, Vector]
    each_ms: int

    def first(self, count: int) -> "Stretch":
        """Return its first steps."""
        amounts = None if self.amounts is None else self.amounts[:count]
        duty = {name: shares[:count] for name, shares in self.duty.items()}
        return Stretch(self.rooms_c[:count], amounts, duty, self.each_ms)


class Joined:
    """Steps blocks together, exactly.

    Args:
        nets: The networks by name, each with the heat into each of its nodes at
            full power [W].
        start_c: Temperature of everything [°C].
        inputs: How many there are besides; what they are is for those to know
            who set them.

    Attributes:
        blocks: By name.
        modes: How warm all is.
    """

    def __init__(
        self,
        nets: Mapping[str, tuple[MatNetwork, Vector]],
        start_c: float,
        inputs: int = 0,
    ) -> None:
        self.blocks: dict[str, Block] = {}
        count = 0
        for name, (net, _) in nets.items():
            self.blocks[name] = Block(net, count)
            count = self.blocks[name].where.stop
        # Of one array, so that all heats become drives of modes together: by the
        # room, by mats, steady ones, then inputs. Its parts are looked up each
        # time: of a copy, parts that were kept would be of another array.
        self._heats_w: Matrix = np.zeros((3 + inputs, count))
        for name, (_, full_w) in nets.items():
            self.full_w[self.blocks[name].where] = full_w
        self.modes = np.zeros(count)
        self._room_c = 0.0
        self._amounts: Vector | None = None
        self._driven = self._heats_w
        self._rates = self._room_part = self.modes
        self._decays = Decays(self.modes)
        self._drives: dict[tuple[str, ...], Vector] = {}
        self.join()
        for name, block in self.blocks.items():
            self.set_temps(name, np.full(len(block.made.heat_share), start_c))

    @property
    def full_w(self) -> Vector:
        """Heat into each node with its mat at full power [W]."""
        found: Vector = self._heats_w[1]
        return found

    @property
    def steady_w(self) -> Vector:
        """Heat into each node by sun and evaporation [W], to be set in place."""
        found: Vector = self._heats_w[2]
        return found

    @property
    def inputs_w(self) -> Matrix:
        """Heat into each node for one of each input [W]: inputs by nodes.

        To be set in place.
        """
        return self._heats_w[3:]

    def join(self) -> None:
        """Take up networks and heats as they are now."""
        self._rates = np.empty_like(self.modes)
        self._driven = np.empty_like(self._heats_w)
        for block in self.blocks.values():
            network, where = block.network, block.where
            self._rates[where] = network.rates
            self._heats_w[0, where] = network.ground
            self._driven[:, where] = network.drive(self._heats_w[:, where].T).T
        self._decays = Decays(self._rates)
        self.set_room(self._room_c, self._amounts)

    def exchange(self, name: str, net: MatNetwork) -> None:
        """Give a block another network of the same nodes; they stay as warm."""
        self.blocks[name].made = net
        self.renew({name: net.network})

    def renew(self, networks: Mapping[str, Network]) -> None:
        """Give blocks other networks of the same nodes; they stay as warm."""
        for name, network in networks.items():
            temps = self.temps(name)
            self.blocks[name].network = network
            self.set_temps(name, temps)
        self.join()

    def temps(self, name: str) -> Vector:
        """Return the temperatures of a block's nodes [°C]."""
        block = self.blocks[name]
        return block.network.temps_of(self.modes[block.where])

    def all_temps(self) -> Vector:
        """Return the temperatures of all nodes [°C]."""
        return self._temps_of(self.modes)

    def set_temps(self, name: str, temps: Vector) -> None:
        """Make a block's nodes as warm as that [°C]."""
        block = self.blocks[name]
        self.modes = self.modes.copy()
        self.modes[block.where] = block.network.modes_of(temps)

    def weights(self, name: str, of_nodes: Vector) -> Vector:
        """Return the weights of all modes that give a weighted node temperature."""
        block = self.blocks[name]
        weights = np.zeros(len(self.modes))
        weights[block.where] = block.network.output(of_nodes)
        return weights

    def looks(self, of_nodes: Matrix) -> Matrix:
        """Return the weights of all modes that give many weighted temperatures.

        Args:
            of_nodes: The weights of all nodes: nodes by places at which one
                looks.
        """
        found = np.empty_like(of_nodes)
        for block in self.blocks.values():
            found[block.where] = block.network.output(of_nodes[block.where])
        return found

    def set_room(self, room_c: float, amounts: Vector | None = None) -> None:
        """Let the room be as warm as that, and inputs as much, from now on.

        Args:
            room_c: The room [°C].
            amounts: Of each input; None: nothing.
        """
        self._room_c, self._amounts = room_c, amounts
        by_room, _, steady = self._driven[:3]
        self._room_part = steady + room_c * by_room
        if amounts is not None:
            self._room_part = self._room_part + amounts @ self._driven[3:]
        self._drives.clear()

    def step(self, on: tuple[str, ...], lasting_ms: int) -> None:
        """Let time pass with these mats on."""
        drive = self._drives.get(on)
        if drive is None:
            drive, (_, full, _) = self._room_part.copy(), self._driven[:3]
            for name in on:
                where = self.blocks[name].where
                drive[where] += full[where]
            self._drives[on] = drive
        self.modes = self._decays.step(self.modes, drive, lasting_ms)

    def foreseen(self, stretch: Stretch) -> Matrix:
        """Return the modes after each of many steps; none of them is taken."""
        by_room, full, steady = self._driven[:3]
        drives = steady + stretch.rooms_c[:, np.newaxis] * by_room
        for name, shares in stretch.duty.items():
            where = self.blocks[name].where
            drives[:, where] += shares[:, np.newaxis] * full[where]
        if stretch.amounts is not None:
            drives += stretch.amounts @ self._driven[3:]
        return self._decays.course(self.modes, drives, stretch.each_ms)

    def take(self, stretch: Stretch, foreseen: Matrix) -> None:
        """Let the steps of a stretch pass, as they were foreseen."""
        self.modes = foreseen[len(stretch.rooms_c) - 1].copy()

    def _temps_of(self, modes: Vector) -> Vector:
        found = np.empty_like(modes)
        for block in self.blocks.values():
            found[block.where] = block.network.temps_of(modes[block.where])
        return found
