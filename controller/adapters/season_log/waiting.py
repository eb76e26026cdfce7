"""What waits to be written, and who waits for it: the writer's shared part.

Not thread-safe by itself: the writer holds its lock around every call.
"""

import asyncio
from collections import deque
from dataclasses import dataclass
from typing import TypeGuard

from controller.adapters.season_log.memory import Taken
from controller.adapters.season_log.rows import Ending, HeaderRow


@dataclass(frozen=True, slots=True)
class Lost:
    """Scans of the present run that could not be kept."""

    first_seq: int
    last_seq: int


Item = HeaderRow | Lost | Ending | Taken


class Ring:
    """Headers, scans and endings in order, bounded: the oldest scans make room.

    Only scans are ever dropped, and a loss leaves its mark in the order.

    Attributes:
        dropped: Scans lost so far.
    """

    def __init__(self, capacity: int) -> None:
        self._capacity = capacity
        self._items: deque[Item] = deque()
        self._scans = 0
        self.dropped = 0

    def __len__(self) -> int:
        return len(self._items)

    def put(self, item: Item) -> bool:
        """Add one at the end; return whether an older one was lost for it."""
        self._items.append(item)
        self._scans += is_scan(item)
        return self._trim()

    def take(self, most: int) -> list[Item]:
        """Take the oldest ones out; a header only as the first of them."""
        batch: list[Item] = []
        while self._items and len(batch) < most:
            if batch and isinstance(self._items[0], HeaderRow):
                break
            batch.append(self._items.popleft())
        self._scans -= sum(map(is_scan, batch))
        return batch

    def put_back(self, batch: list[Item]) -> None:
        """Put those that were taken last in front again."""
        self._items.extendleft(reversed(batch))
        self._scans += sum(map(is_scan, batch))
        self._trim()

    def put_back_lost(self, scan: Item) -> None:
        """Put the mark of a loss in front, for a scan that cannot be stored."""
        self._items.appendleft(Lost(seq_of(scan), seq_of(scan)))
        self.dropped += 1

    def _trim(self) -> bool:
        before = self.dropped
        while self._scans > self._capacity:
            place = next(n for n, item in enumerate(self._items) if is_scan(item))
            self._lose(place)
            self._scans -= 1
            self.dropped += 1
        return self.dropped > before

    def _lose(self, place: int) -> None:
        """Put the mark of a loss in a scan's place, or lengthen the one before."""
        seq = seq_of(self._items[place])
        before = self._items[place - 1] if place else None
        if isinstance(before, Lost):
            self._items[place - 1] = Lost(before.first_seq, seq)
            del self._items[place]
        else:
            self._items[place] = Lost(seq, seq)


def is_scan(item: Item) -> TypeGuard[Taken]:
    """Whether it is a scan, not a header, an ending or the mark of a loss."""
    return not isinstance(item, HeaderRow | Lost | Ending)


def seq_of(item: Item) -> int:
    """Return a scan's sequence number; only scans have one."""
    if isinstance(item, HeaderRow | Lost | Ending):
        raise TypeError(f"{item!r} is no scan")
    return item[0].seq


class Waiters:
    """Coroutines that wait for a scan to be on the disk."""

    def __init__(self) -> None:
        self._waiting: dict[asyncio.Future[bool], int] = {}

    def add(self, seq: int) -> asyncio.Future[bool]:
        """Return a future of the running loop for a scan."""
        future: asyncio.Future[bool] = asyncio.get_running_loop().create_future()
        self._waiting[future] = seq
        return future

    def forget(self, future: asyncio.Future[bool]) -> None:
        """Its coroutine waits no longer."""
        self._waiting.pop(future, None)

    def reached(self, seq: int) -> None:
        """Tell those who wait for scans up to seq that they are on the disk."""
        for future in [one for one, wanted in self._waiting.items() if wanted <= seq]:
            self._tell(future, on_disk=True)

    def failed(self) -> None:
        """Tell everybody that writing failed."""
        for future in list(self._waiting):
            self._tell(future, on_disk=False)

    def _tell(self, future: asyncio.Future[bool], *, on_disk: bool) -> None:
        del self._waiting[future]
        try:
            future.get_loop().call_soon_threadsafe(_settle, future, on_disk)
        except RuntimeError:  # its loop has been closed: nobody waits any more
            return


def _settle(future: asyncio.Future[bool], on_disk: bool) -> None:  # noqa: FBT001
    if not future.done():
        future.set_result(on_disk)
