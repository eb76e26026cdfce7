"""Work over many items on a dask cluster: of this machine, or a scheduler's.

Whoever reaches a dask scheduler can run code on its workers. A cluster of our
own therefore listens on the loopback interface alone, and has no dashboard.
"""

import logging
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager

import dask.config
from distributed import Client, KilledWorker, LocalCluster, as_completed

from controller.adapters.fleet.mapping import (
    Came,
    Guarded,
    Item,
    Lost,
    Result,
    SchedulerError,
    given_up,
    nobody,
)

LOOPBACK = "127.0.0.1"

_OURS = {
    # After its first death an item is taken up again by us, alone.
    "distributed.scheduler.allowed-failures": 0,
    "distributed.scheduler.http.routes": [],
    "distributed.worker.http.routes": [],
}
"""How a cluster of our own differs from what dask does otherwise."""

_NO_DASHBOARD = {"dashboard": False, "dashboard_address": f"{LOOPBACK}:0"}
"""A scheduler asked for no dashboard still opens its port, and looks for 8787
first: let it take any."""

ANSWER_S = 10.0
"""Chosen: so long a scheduler may take to answer at first [s]."""


@contextmanager
def cluster(workers: int) -> Iterator["OnDask"]:
    """Keep a dask cluster on this machine for as long as it is needed.

    Args:
        workers: How many processes, of one thread each.
    """
    with (
        dask.config.set(_OURS),
        LocalCluster(
            n_workers=workers,
            threads_per_worker=1,
            processes=True,
            host=LOOPBACK,
            scheduler_kwargs=_NO_DASHBOARD,
            silence_logs=logging.CRITICAL,
        ) as here,
        Client(here) as client,
    ):
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
    with client:
        yield OnDask(client, address)


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
        it gives up are done again at the end, one by one: then it is known
        whose fault it was.
        """
        results: dict[int, Result | Lost] = {}

        def take(number: int, result: Result | Lost) -> None:
            results[number] = result
            came(number, result)

        guarded, doubtful = Guarded(function), []
        for number, result in self._done(guarded, items, range(len(items))):
            if result is None:
                doubtful.append(number)
            else:
                take(number, result)
        for one in sorted(doubtful):
            for number, result in self._done(guarded, items, [one]):
                take(number, given_up() if result is None else result)
        return [results[number] for number in range(len(items))]

    def _done(
        self,
        function: Callable[[Item], Result | Lost],
        items: Sequence[Item],
        numbers: Sequence[int],
    ) -> Iterator[tuple[int, Result | Lost | None]]:
        """Yield results as they come; None: too many workers died of it."""
        submitted = {
            self._client.submit(function, items[number], pure=False): number
            for number in numbers
        }
        for future in as_completed(list(submitted)):
            if future.status == "cancelled":
                message = f"the scheduler ({self._name}) went away"
                raise SchedulerError(message)
            result: Result | Lost | None
            try:
                result = future.result()
            except KilledWorker:
                result = None
            yield submitted.pop(future), result
