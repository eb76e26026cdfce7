"""An ear on the broker: who says what, and when.

For looking at a bench before it is run: what speaks there, how often, and whether
it hears. What may live here: listening, and waiting for a word. No opinion.
"""

import asyncio
from collections.abc import Callable
from dataclasses import dataclass

from controller.adapters.mqtt import Peer
from controller.ports import Clock

TWICE_MS = 200
"""A broker may hand a message over once for each subscription that fits: the very
same one so soon again is the same one [ms]."""

MOST = 50_000
"""Messages kept; a broker of a whole house says more than a bench does."""


@dataclass(frozen=True, slots=True)
class Heard:
    """A message.

    Attributes:
        topic: Where it was said.
        payload: What.
        kept: Whether the broker had kept it from some other time.
        at_ms: When it came; run clock [ms].
    """

    topic: str
    payload: bytes
    kept: bool
    at_ms: int


class Ear:
    """Listens to everything that its peer may hear.

    Args:
        peer: A connection.
        clock: Where time comes from.

    Attributes:
        heard: What was heard, in order.
    """

    def __init__(self, peer: Peer, clock: Clock) -> None:
        self.heard: list[Heard] = []
        self._peer = peer
        self._clock = clock
        self._news = asyncio.Event()

    async def listen(self, *topics: str) -> None:
        """Subscribe to topics, and to all else that may be heard."""
        for topic in (*topics, "#"):
            await self._peer.subscribe(topic)

    async def serve(self) -> None:
        """Listen until cancelled; raise ConnectionError when the broker is lost."""
        last: dict[tuple[str, bytes, bool], int] = {}
        async for topic, payload, kept in self._peer.messages():
            at_ms, key = self._clock.now().run_ms, (topic, payload, kept)
            again = at_ms - last.get(key, at_ms - TWICE_MS) < TWICE_MS
            if len(last) > MOST:
                last.clear()
            last[key] = at_ms
            if not again and len(self.heard) < MOST:
                self.heard.append(Heard(topic, payload, kept, at_ms))
                self._news.set()

    async def until(
        self, wanted: Callable[[Heard], bool], since: int, within_ms: int
    ) -> Heard | None:
        """Wait for a message; return it, or None if none came in time.

        Args:
            wanted: Whether it is the one.
            since: Number of the first message that may be.
            within_ms: How long to wait [ms].
        """
        until_ms = self._clock.now().run_ms + within_ms
        while True:
            self._news.clear()
            for one in self.heard[since:]:
                if wanted(one):
                    return one
            since = len(self.heard)
            if not await self._news_before(until_ms):
                return None

    async def _news_before(self, until_ms: int) -> bool:
        news = asyncio.ensure_future(self._news.wait())
        late = asyncio.ensure_future(self._clock.sleep_until(until_ms))
        try:
            await asyncio.wait({news, late}, return_when=asyncio.FIRST_COMPLETED)
        finally:
            news.cancel()
            late.cancel()
        return news.done() and not news.cancelled()
