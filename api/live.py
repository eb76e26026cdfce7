"""The bench as it changes, sent to those who stay: server-sent events.

One event after each scan has all that a page shows. The last ones are kept, so
that whoever comes back with the id of the last that was seen gets each one after
it, once; whoever was away for longer gets the newest, which says everything. What
may live here: that memory, and the stream of one client. No HTTP.
"""

import asyncio
import json
from collections import deque
from collections.abc import AsyncGenerator, Callable
from dataclasses import dataclass, field
from functools import cached_property

from api.moment import Moment
from api.shapes import LiveView
from api.views import bench_view
from controller.core.units import Millis
from controller.ports import Bench, Snapshot

_PING = b": ping\n\n"
"""A comment, which nobody is shown (HTML Standard, server-sent events)."""

PING_S = 15.0
"""How long a stream is silent at most: a proxy would think it dead."""

KEPT = 32
"""Chosen: events that are kept; with scans of 5 s more than two minutes."""

MOST_STREAMS = 100
"""Chosen: far more than a household has pages open."""


class _Event:
    """The bench after one scan; made into text once, when somebody wants it."""

    def __init__(self, snapshot: Snapshot) -> None:
        self._snapshot = snapshot
        self.id = f"{snapshot.run}-{snapshot.scan.seq}"
        self.seq = snapshot.scan.seq

    @cached_property
    def text(self) -> bytes:
        """The event as it is sent."""
        view = live_view(self._snapshot)
        data = json.dumps(view, ensure_ascii=False, separators=(",", ":"))
        # JSON has no line breaks of its own, so one data line holds it.
        return f"event: bench\ndata: {data}\nid: {self.id}\n\n".encode()


def live_view(snapshot: Snapshot) -> LiveView:
    """Return the whole bench as it was when its last scan was finished."""
    bench = bench_view(Moment(snapshot, Millis(snapshot.scan.run_ms)))
    return LiveView(at=bench["at"], bench=bench)


@dataclass(eq=False, slots=True)
class Feed:
    """The last events, and who waits for the next.

    Attributes:
        streams: How many clients there are.
    """

    streams: int = 0
    _events: deque[_Event] = field(default_factory=lambda: deque(maxlen=KEPT))
    _news: asyncio.Event = field(default_factory=asyncio.Event)

    async def serve(self, bench: Bench) -> None:
        """Take up every scan of a bench, until cancelled."""
        async for snapshot in bench.subscribe():
            self.take(snapshot)

    def take(self, snapshot: Snapshot) -> None:
        """Take up a scan; one that is known already is none."""
        event = _Event(snapshot)
        if self._events and self._events[-1].id == event.id:
            return
        self._events.append(event)
        news, self._news = self._news, asyncio.Event()
        news.set()

    async def stream(
        self, last_id: str | None, stands: Callable[[], bool], ping_s: float = PING_S
    ) -> AsyncGenerator[bytes]:
        """Yield what one client gets, until the client may no longer have it.

        Args:
            last_id: Id of the last event that the client saw; None: of none.
            stands: Whether the client would still be let in.
            ping_s: A silence of this length is broken by a comment [s].
        """
        while stands():
            news = self._news
            for event in self._after(last_id):
                if not stands():
                    return
                yield event.text
                last_id = event.id
            if self._news is not news:
                continue  # while the client was slow, more has come
            try:
                async with asyncio.timeout(ping_s):
                    await news.wait()
            except TimeoutError:
                yield _PING

    def _after(self, last_id: str | None) -> list[_Event]:
        """Return the events after one; just the newest if it is not kept."""
        events = list(self._events)
        for at, event in enumerate(events):
            if event.id == last_id:
                return events[at + 1 :]
        return events[-1:]
