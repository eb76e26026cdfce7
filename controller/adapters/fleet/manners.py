"""How a process of ours that works for others behaves on a board it shares."""

import multiprocessing
import os
import signal
import threading
from multiprocessing.process import BaseProcess

NICE = 10
"""Chosen: a controller on the same board goes first."""


def cores() -> list[int]:
    """Return the cores that this process may use."""
    return sorted(os.sched_getaffinity(0))


def begin(core: int, nice: int) -> None:
    """Make a new process a polite worker, before it imports what is heavy.

    On one core libraries take one thread each, so that two workers are not
    four threads.

    Args:
        core: Where it works.
        nice: By how much others go before it.
    """
    signal.signal(signal.SIGINT, signal.SIG_DFL)  # Ctrl-C ends it, without a word
    os.nice(nice)
    os.sched_setaffinity(0, {core})
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_end_with, args=(parent,), daemon=True).start()


def _end_with(parent: BaseProcess) -> None:
    """End with the parent: a worker would wait for the next item for ever."""
    parent.join()
    os._exit(1)
