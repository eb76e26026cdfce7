"""Workers of a dask cluster on this machine: each that ends is replaced.

Dask's own keeper of a worker gives it up for good if it dies before the keeper
was told that it had started, or if it happens to be away when it is looked for
some seconds after an earlier death. With nobody left, work waits for ever. Here
a process that has ended is replaced, whatever it was doing.
"""

import asyncio
import logging
import multiprocessing
import threading
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from multiprocessing.connection import wait
from multiprocessing.process import BaseProcess
from tempfile import TemporaryDirectory
from urllib.parse import urlsplit

import dask.config
from distributed import Worker

from controller.adapters.fleet.manners import begin, cores

AGAIN_S = 1.0
"""Chosen: so long after it was tried in vain a process is started again [s]."""


@contextmanager
def workers(
    address: str, count: int, nice: int, config: Mapping[str, object]
) -> Iterator[None]:
    """Keep workers for as long as they are needed.

    Args:
        address: Of their scheduler.
        count: How many processes, of one thread each.
        nice: By how much others go before them.
        config: What dask does otherwise in them.

    Raises:
        ValueError: There is to be no worker.
    """
    if count < 1:
        raise ValueError(f"workers: found {count}, at least 1 is needed")
    mine = cores()
    with TemporaryDirectory(prefix="bottomheat-") as scratch:
        each = [
            _Post(address, mine[number % len(mine)], nice, scratch, config)
            for number in range(count)
        ]
        kept = _Kept(each)
        try:
            yield
        finally:
            kept.close()


@dataclass(frozen=True, slots=True)
class _Post:
    """What a worker and all its successors are told."""

    scheduler: str
    core: int
    nice: int
    scratch: str
    config: Mapping[str, object]

    def filled(self) -> BaseProcess:
        """Start a process at it."""
        # Spawned, not forked: this process has threads.
        process = multiprocessing.get_context("spawn").Process(target=self.serve)
        process.start()
        return process

    def serve(self) -> None:
        """Be a worker until the scheduler goes."""
        begin(self.core, self.nice)
        with dask.config.set(self.config):
            asyncio.run(self._serve())

    async def _serve(self) -> None:
        async with Worker(
            self.scheduler,
            host=urlsplit(self.scheduler).hostname,
            nthreads=1,
            local_directory=self.scratch,
            # None: dask would pause one that is large, and all might wait.
            memory_limit=0,
            silence_logs=logging.CRITICAL,
        ) as worker:
            await worker.finished()


class _Kept:
    """Processes, and a thread that replaces them."""

    def __init__(self, posts: Sequence[_Post]) -> None:
        self._told, self._tell = multiprocessing.Pipe(duplex=False)
        self._thread = threading.Thread(target=self._keep, args=(posts,))
        self._thread.start()

    def _keep(self, posts: Sequence[_Post]) -> None:
        running: dict[int, BaseProcess] = {}
        while not self._told.poll():
            for number, post in enumerate(posts):
                if number not in running:
                    with suppress(OSError):  # no room for it now: tried again
                        running[number] = post.filled()
            ends = [one.sentinel for one in running.values()]
            ended = wait([self._told, *ends], AGAIN_S)
            for number, one in list(running.items()):
                if one.sentinel in ended:
                    running.pop(number).join()
        for one in running.values():
            one.kill()
        for one in running.values():
            one.join()

    def close(self) -> None:
        """End the processes, whatever they have in hand."""
        self._tell.close()
        self._thread.join()
        self._told.close()
