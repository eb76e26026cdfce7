"""What a plain relay hears when the controller is gone: its off word.

A relay that only knows two words stays on when nobody speaks to it any more. So
a small connection beside the link has each one's off word as its last will: when
the daemon dies or hangs, the broker says it. No help when the broker is what is
lost: only the relay's own auto-off timer is.
"""

import asyncio
from collections.abc import Callable

from controller.adapters.lasting import connected_for_ever
from controller.adapters.mqtt import (
    PEER_KEEPALIVE_S,
    Door,
    LastWill,
    Peer,
    connected_peer,
)
from controller.core.plan import RelayKind
from controller.ports import Clock
from controller.wiring import RelayWire, Wiring


class LastWords:
    """One connection for each plain relay, since a connection has one last will.

    On an orderly stop each is taken back in good order: the daemon has said
    "off" itself.

    Args:
        wiring: The bench's connections.
        clock: Where time comes from.
        say: Told in words when a connection ended.

    Raises:
        WiringError: The password or the certificates cannot be read.
    """

    def __init__(
        self, wiring: Wiring, clock: Clock, say: Callable[[str], None]
    ) -> None:
        self._bench = wiring.bench
        self._relays = [w for w in wiring.relays if w.kind is RelayKind.PLAIN]
        self._door = Door(wiring.broker, PEER_KEEPALIVE_S)
        self._clock = clock
        self._say = say

    async def serve(self) -> None:
        """Keep the connections, until cancelled."""
        async with asyncio.TaskGroup() as group:
            for wire in self._relays:
                group.create_task(self._keep(wire))
            await asyncio.Event().wait()  # without plain relays: nothing to do

    async def _keep(self, wire: RelayWire) -> None:
        # The same name in every run: a daemon that hangs, and whose place another
        # one takes, has its last will said at once.
        name = f"bottomheat-{self._bench}-{wire.mat}-off"
        will = LastWill(str(wire.topic), wire.off_word)
        await connected_for_ever(
            lambda: connected_peer(self._door, name, will),
            Peer.until_lost,
            self._clock,
            lambda why: self._say(f"last word of mat {wire.mat}: {why}"),
        )
