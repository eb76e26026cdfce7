"""Work over many items on a dask cluster: of this machine, or a scheduler's.

Whoever reaches a dask scheduler can run code on its workers. A cluster of our
own therefore listens on the loopback interface alone, and has no dashboard.
"""

import asyncio
import concurrent.futures
import logging
from collections.abc import Callable, Collection, Iterator, Sequence
from contextlib import contextmanager, suppress
from threading import Event, Thread

import dask.config
from distributed import Client, Future, KilledWorker, LocalCluster, as_completed
from distributed.client import ClosedClientError
from distributed.utils import silence_logging_cmgr
from tornado.ioloop import IOLoop

from controller.adapters.clocks import run_clock_ns
from controller.adapters.fleet.dask_workers import workers as kept
from controller.adapters.fleet.manners import NICE
from controller.adapters.fleet.mapping import (
    TWICE,
    Came,
    Guarded,
    Item,
    Lost,
    Result,
    SchedulerError,
    failed,
    given_up,
    nobody,
)

LOOPBACK = "127.0.0.1"

_OURS = {
    # After its first death an item is taken up again by us, alone.
    "distributed.scheduler.allowed-failures": 0,
    "distributed.scheduler.http.routes": [],
    "distributed.worker.http.routes": [],
    "distributed.worker.profile.enabled": False,
    # So long a result is asked for where it died, before it is made again.
    "distributed.comm.timeouts.connect": "5 s",
}
"""How a cluster of our own differs from what dask does otherwise."""

_NO_DASHBOARD = {"dashboard": False, "dashboard_address": f"{LOOPBACK}:0"}
"""A scheduler asked for no dashboard still opens its port, and looks for 8787
first: let it take any."""

ANSWER_S = 10.0
"""Chosen: so long a scheduler may take to answer at first [s]."""

LOOK_S = 2.0
"""Chosen: so often it is asked whether there is a worker [s]."""

NOBODY_S = 120.0
"""Chosen: so long there may be none, such as while machines are started [s]."""


@contextmanager
def cluster(workers: int, *, nice: int = NICE) -> Iterator["OnDask"]:
    """Keep a dask cluster on this machine for as long as it is needed.

    Args:
        workers: How many processes, of one thread each.
        nice: By how much others go before them.

    Raises:
        ValueError: There is to be no worker.
    """
    quiet = silence_logging_cmgr(logging.CRITICAL)
    with quiet, dask.config.set(_OURS), _loop() as loop:
        own = LocalCluster(
            n_workers=0,  # see dask_workers
            host=LOOPBACK,
            scheduler_kwargs=_NO_DASHBOARD,
            loop=loop,
        )
        with (
            own,
            kept(own.scheduler_address, workers, nice, _OURS),
            Client(own, set_as_default=False) as client,
        ):
            with suppress(TimeoutError):  # the work begins with whoever is there
                client.wait_for_workers(workers, timeout=ANSWER_S)
            yield OnDask(client, "this machine's own")


@contextmanager
def scheduler(address: str) -> Iterator["OnDask"]:
    """Work for a scheduler that is there already.

    Args:
        address: Where it listens, such as "tcp://127.0.0.1:8786"; with "tls://"
            the certificates are those of dask's own configuration.

    Raises:
        SchedulerError: It cannot be reached, or went away.
    """
    try:
        client = Client(address, timeout=ANSWER_S, set_as_default=False)
    except (OSError, ValueError) as error:
        message = f"--scheduler {address}: {error}; write such as tcp://127.0.0.1:8786"
        raise SchedulerError(message) from error
    # What goes wrong with the scheduler is told by SchedulerError, and once.
    with silence_logging_cmgr(logging.CRITICAL), client:
        yield OnDask(client, address)


@contextmanager
def _loop() -> Iterator[IOLoop]:
    """Keep a loop in a thread of its own.

    Dask would, too, and give up one that has not begun within 10 s, which happens on
    a machine with much to do.
    """
    begun: concurrent.futures.Future[IOLoop] = concurrent.futures.Future()
    over = asyncio.Event()

    async def serve() -> None:
        begun.set_result(IOLoop.current())
        await over.wait()

    thread = Thread(target=asyncio.run, args=(serve(),), daemon=True)
    thread.start()
    loop = begun.result()
    try:
        yield loop
    finally:
        loop.add_callback(over.set)
        thread.join()


class OnDask:
    """Does it on a dask cluster."""

    def __init__(self, client: Client, name: str) -> None:
        """Work through a client.

        Args:
            client: It; closed by its owner.
            name: What the scheduler is called in messages.
        """
        self._client, self._name = client, name

    def map(
        self,
        function: Callable[[Item], Result],
        items: Sequence[Item],
        came: Came[Result] = nobody,
    ) -> list[Result | Lost]:
        """Return the results in the order of the items, as Mapper has it.

        Dask blames a worker's death on all that it was about to do. Those that
        it gives up are done again at the end, one by one, and only workers that
        die then are counted: then it is known whose fault it was.
        """
        results: dict[int, Result | Lost] = {}

        def take(number: int, result: Result | Lost) -> None:
            results[number] = result
            came(number, result)

        guarded, doubtful = Guarded(function), []
        for number, result in self._done(guarded, items, range(len(items))):
            if isinstance(result, KilledWorker):
                doubtful.append(number)
            else:
                take(number, result)
        for number in sorted(doubtful):
            take(number, self._alone(guarded, items, number))
        return [results[number] for number in range(len(items))]

    def _alone(
        self,
        function: Callable[[Item], Result | Lost],
        items: Sequence[Item],
        number: int,
    ) -> Result | Lost:
        """Do one item with nothing else about, until it or two workers are done."""
        deaths = 0
        while deaths < TWICE:
            ((_, result),) = self._done(function, items, [number])
            if not isinstance(result, KilledWorker):
                return result
            deaths += 1 + result.allowed_failures  # a scheduler tries again itself
        return given_up()

    def _done(
        self,
        function: Callable[[Item], Result | Lost],
        items: Sequence[Item],
        numbers: Sequence[int],
    ) -> Iterator[tuple[int, Result | Lost | KilledWorker]]:
        """Yield results as they come, or that workers died."""
        try:
            submitted = {
                self._client.submit(function, items[number], pure=False): number
                for number in numbers
            }
        except ClosedClientError as error:
            raise self._gone() from error
        with self._watched(submitted) as deserted:
            for future in as_completed(list(submitted), self._client.loop):
                result: Result | Lost | KilledWorker
                try:
                    result = future.result()
                except KilledWorker as error:
                    result = error
                except Exception as error:  # it never came to the function
                    if future.status != "error":
                        raise self._gone(deserted=deserted.is_set()) from error
                    result = failed(error)
                yield submitted.pop(future), result

    def _gone(self, *, deserted: bool = False) -> SchedulerError:
        nobody = f"has told of no worker for {NOBODY_S:g} s"
        why = nobody if deserted else "went away"
        return SchedulerError(f"the scheduler ({self._name}) {why}")

    @contextmanager
    def _watched(self, futures: Collection["Future[Result | Lost]"]) -> Iterator[Event]:
        """Cancel work once there has been no worker for long, and set the event.

        Dask waits for one for ever, and for a scheduler that does not answer.
        """
        over, deserted = Event(), Event()

        def watch() -> None:
            seen_ns = run_clock_ns()
            while not over.wait(LOOK_S):
                if self._has_worker():
                    seen_ns = run_clock_ns()
                elif run_clock_ns() - seen_ns >= NOBODY_S * 1e9:
                    deserted.set()
                    self._client.cancel(list(futures))
                    return

        watcher = Thread(target=watch, daemon=True)
        watcher.start()
        try:
            yield deserted
        finally:
            over.set()
            watcher.join()

    def _has_worker(self) -> bool:
        try:
            return bool(self._client.sync(self._sees_worker, callback_timeout=LOOK_S))
        except Exception:  # noqa: BLE001 (of many kinds, while a scheduler goes)
            return False

    async def _sees_worker(self) -> bool:
        """Whether there is one; it may be paused, or at its last item."""
        scheduler = self._client.scheduler
        found = None if scheduler is None else await scheduler.identity(n_workers=-1)
        return bool(found and found["workers"])
