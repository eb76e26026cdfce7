"""Workers of a dask cluster on this machine: each that ends is replaced.

Dask's own keeper of a worker gives it up for good if it dies before the keeper
was told that it had started, or if it happens to be away when it is looked for
some seconds after an earlier death. With nobody left, work waits for ever. Here
a process that has ended is replaced, whatever it was doing.
"""

import asyncio
import logging
import multiprocessing
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess
from threading import Thread
from urllib.parse import urlsplit

from controller.adapters.clocks import run_clock_ns
from controller.adapters.fleet.manners import begin, cores

# Dask is imported by a worker that has manners by then: it has threads and takes
# a second to load.

AGAIN_NS = 1_000_000_000
"""Chosen: no post is filled twice within so long: there may be none that begins."""

LOOK_S = 0.25
"""Chosen: so often it is seen which posts are due [s]."""


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
    posts = [
        _Post(address, mine[number % len(mine)], nice, config)
        for number in range(count)
    ]
    told, tell = multiprocessing.Pipe(duplex=False)
    thread = Thread(target=_keep, args=(posts, told), daemon=True)
    thread.start()
    try:
        yield
    finally:
        tell.close()
        thread.join()
        told.close()


def _keep(posts: Sequence["_Post"], told: "Connection[object, object]") -> None:
    """Fill posts, and again those whose process ended, until told to end."""
    running: dict[int, BaseProcess] = {}
    due_ns = [run_clock_ns()] * len(posts)
    try:
        while not told.poll():
            for number, post in enumerate(posts):
                if number not in running and run_clock_ns() >= due_ns[number]:
                    due_ns[number] = run_clock_ns() + AGAIN_NS
                    with suppress(Exception):  # no room for it now: tried again
                        running[number] = post.filled()
            ends = [one.sentinel for one in running.values()]
            ended = wait([told, *ends], LOOK_S)
            for number, one in list(running.items()):
                if one.sentinel in ended:
                    running.pop(number).join()
    finally:
        for one in running.values():
            one.kill()
        for one in running.values():
            one.join()


@dataclass(frozen=True, slots=True)
class _Post:
    """What a worker and all its successors are told."""

    scheduler: str
    core: int
    nice: int
    config: Mapping[str, object]

    def filled(self) -> BaseProcess:
        """Start a process at it."""
        # Spawned, not forked: this process has threads.
        spawned = multiprocessing.get_context("spawn")
        process = spawned.Process(target=self.serve, daemon=True)
        process.start()
        return process

    def serve(self) -> None:
        """Be a worker until the scheduler goes."""
        begin(self.core, self.nice)
        import dask.config
        from distributed.utils import silence_logging_cmgr

        with dask.config.set(self.config), silence_logging_cmgr(logging.CRITICAL):
            asyncio.run(self._serve())

    async def _serve(self) -> None:
        from distributed import Worker

        async with Worker(
            self.scheduler,
            host=urlsplit(self.scheduler).hostname,
            nthreads=1,
            # None: dask would pause one that is large, and all might wait.
            memory_limit=0,
        ) as worker:
            await worker.finished()
