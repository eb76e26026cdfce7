"""Another process of ours, in which half of the twin is compiled meanwhile.

What may live here: that process, what it is asked and what it answers. Nothing
about how code is made; who makes it there is handed over by name.
"""

import os
import pickle
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from types import FunctionType
from typing import IO, cast

import numpy as np

from sim.whatif.machine import SOURCES, Code

Aside = tuple[FunctionType, tuple[object, ...]]
"""A function that stands aside, and arguments such as it will be called with."""


def called(function: object, *args: object) -> Aside:
    """Return what stands aside and will be called so."""
    return cast("FunctionType", function), args


PATIENCE_S = 120.0
"""Chosen: so long it is waited for what another process makes in some seconds [s]."""

BEGIN = "import sys; sys.path[:] = {path!r}; from {module} import {name}; {name}({to})"

HELPS = "BOTTOMHEAT_HELPS"
"""What tells a process that it is such a one: it has no helper of its own."""


class Helper:
    """A process that makes code, and where it puts down what it made."""

    def __init__(self, process: "subprocess.Popen[bytes]", made: IO[bytes]) -> None:
        self._process, self._made = process, made

    def codes(self) -> list[Code]:
        """Return what it made; nothing, if it did not go well."""
        with suppress(subprocess.TimeoutExpired):
            if self._process.wait(PATIENCE_S) == 0:
                return _understood(self._made)
        return []

    def end(self) -> None:
        """End it, if it still works."""
        self._process.kill()
        self._process.wait()


def _understood(made: IO[bytes]) -> list[Code]:
    with suppress(Exception):  # of many kinds, if it is something else
        made.seek(0)
        found = pickle.load(made)  # noqa: S301 - of our own process
        return [one for one in found if isinstance(one, Code)]
    return []


@contextmanager
def helper(
    asked: Sequence[Aside], by: Callable[[int], None]
) -> Iterator[Helper | None]:
    """Keep a process that makes code of functions while this one does other things.

    Args:
        asked: The functions.
        by: What it calls, with the number of a file, to take them and to answer.

    Yields:
        It; None: it would not help, or cannot be started.
    """
    with ExitStack() as ends:
        found = None
        if _would_help(asked):
            with suppress(OSError):
                made = ends.enter_context(tempfile.TemporaryFile())
                found = _begun(asked, by, made)
        if found is not None:
            ends.callback(found.end)
        yield found


def _would_help(asked: Sequence[Aside]) -> bool:
    cores = len(os.sched_getaffinity(0))
    return bool(asked and sys.executable and cores > 1 and HELPS not in os.environ)


def _begun(
    asked: Sequence[Aside], by: Callable[[int], None], made: IO[bytes]
) -> Helper | None:
    maker, to = cast("FunctionType", by), made.fileno()
    names = {"module": maker.__module__, "name": maker.__qualname__}
    code = BEGIN.format(path=sys.path, to=to, **names)
    small = [(function, _small(args)) for function, args in asked]
    with tempfile.TemporaryFile() as question, suppress(Exception):
        pickle.dump((os.getpid(), SOURCES, small), question, protocol=5)
        question.seek(0)
        process = subprocess.Popen(  # noqa: S603 - of our own words
            [sys.executable, "-c", code],
            stdin=question,
            stdout=subprocess.DEVNULL,  # others may print as Python begins
            stderr=subprocess.DEVNULL,
            pass_fds=[to],
            env={**os.environ, HELPS: "1"},
        )
        return Helper(process, made)
    return None


def asked() -> Iterator[Aside]:
    """Yield what this process was asked, which is such a one, as long as it matters.

    Raises:
        SystemExit: Who asks is gone, or is made of other sources than this one.
    """
    parent, sources, found = pickle.load(sys.stdin.buffer)  # noqa: S301 - our own
    if sources != SOURCES:
        raise SystemExit(1)
    for one in found:
        if os.getppid() != parent:
            raise SystemExit(1)
        yield one


def answer(codes: list[Code], to: int) -> None:
    """Answer who asked, in a file of this number."""
    with os.fdopen(to, "wb") as made:
        pickle.dump(codes, made)


def _small(one: object) -> object:
    """Return arguments of the same kinds, with little in them."""
    if isinstance(one, np.ndarray):
        small = one[tuple(slice(0, 1) for _ in range(one.ndim))].copy(order="A")
        small.flags.writeable = one.flags.writeable
        return small
    if isinstance(one, tuple):
        parts = map(_small, one)
        make = getattr(type(one), "_make", tuple)
        return make(parts)
    return one
