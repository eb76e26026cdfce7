"""Work over many items in processes of this machine.

Each worker is a pool of one process. So it is known which item a worker had in
hand when it died, nobody else's is blamed for it, and the others work on while
it is replaced.
"""

import multiprocessing
from collections import Counter, deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, wait
from concurrent.futures.process import BrokenProcessPool, ProcessPoolExecutor
from contextlib import contextmanager

from controller.adapters.fleet.manners import NICE, begin, cores
from controller.adapters.fleet.mapping import (
    TWICE,
    Came,
    Guarded,
    Item,
    Lost,
    Result,
    given_up,
    nobody,
)


@contextmanager
def pool(workers: int | None = None, *, nice: int = NICE) -> Iterator["Pool"]:
    """Keep worker processes for as long as they are needed.

    Args:
        workers: How many; None: one for each core.
        nice: By how much others go before them.

    Raises:
        ValueError: There is to be no worker.
    """
    mine = cores()
    count = len(mine) if workers is None else workers
    if count < 1:
        raise ValueError(f"workers: found {count}, at least 1 is needed")
    made = Pool([mine[number % len(mine)] for number in range(count)], nice)
    try:
        yield made
    finally:
        made.close()


class Pool:
    """Worker processes, each on its own core."""

    def __init__(self, on: Sequence[int], nice: int) -> None:
        """Start none yet: a worker starts with its first item.

        Args:
            on: A core for each worker.
            nice: By how much others go before them.
        """
        self._workers = [_Worker(core, nice) for core in on]

    def map(
        self,
        function: Callable[[Item], Result],
        items: Sequence[Item],
        came: Came[Result] = nobody,
    ) -> list[Result | Lost]:
        """Return the results in the order of the items, as Mapper has it."""
        guarded = Guarded(function)
        waiting, idle = deque(range(len(items))), list(self._workers)
        in_hand: dict[Future[Result | Lost], tuple[_Worker, int]] = {}
        results: dict[int, Result | Lost] = {}
        deaths: Counter[int] = Counter()
        while waiting or in_hand:
            while waiting and idle:
                worker, number = idle.pop(), waiting.popleft()
                future = worker.submit(guarded, items[number])
                in_hand[future] = worker, number
            for future in wait(in_hand, return_when=FIRST_COMPLETED).done:
                worker, number = in_hand.pop(future)
                idle.append(worker)
                result = _result(future)
                if result is None:
                    worker.replace()
                    deaths[number] += 1
                    if deaths[number] < TWICE:
                        waiting.appendleft(number)
                        continue
                    result = given_up()
                results[number] = result
                came(number, result)
        return [results[number] for number in range(len(items))]

    def close(self) -> None:
        """End the workers."""
        for worker in self._workers:
            worker.close()


def _result(future: "Future[Result | Lost]") -> Result | Lost | None:
    """Return what came of an item; None: its worker died."""
    try:
        return future.result()
    except BrokenProcessPool:
        return None


class _Worker:
    """A process on one core, and its successors."""

    def __init__(self, core: int, nice: int) -> None:
        self._core, self._nice = core, nice
        self._process = self._fresh()

    def _fresh(self) -> ProcessPoolExecutor:
        # Spawned, not forked: this process may have threads.
        return ProcessPoolExecutor(
            1,
            mp_context=multiprocessing.get_context("spawn"),
            initializer=begin,
            initargs=(self._core, self._nice),
        )

    def submit(
        self, function: Callable[[Item], Result], item: Item
    ) -> "Future[Result]":
        """Give it an item; if it died since its last one, a new one gets it."""
        try:
            return self._process.submit(function, item)
        except BrokenProcessPool:
            self.replace()
            return self._process.submit(function, item)

    def replace(self) -> None:
        """Put a new process in the place of a dead one."""
        self.close()
        self._process = self._fresh()

    def close(self) -> None:
        """End the process once it is done with what it has in hand."""
        self._process.shutdown(cancel_futures=True)
