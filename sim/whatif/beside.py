"""Another process of ours, in which half of the twin is compiled meanwhile.

What may live here: that process, what it is asked and what it answers. Nothing
about how code is made; who makes it there is handed over by name.
"""

import os
import pickle
import subprocess
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from types import FunctionType
from typing import cast

import numpy as np

from sim.whatif.machine import Code

Aside = tuple[FunctionType, tuple[object, ...]]
"""A function that stands aside, and arguments such as it will be called with."""


def called(function: object, *args: object) -> Aside:
    """Return what stands aside and will be called so."""
    return cast("FunctionType", function), args


PATIENCE_S = 120.0
"""Chosen: so long it is waited for what another process makes in some seconds [s]."""

BEGIN = "import sys; sys.path[:] = {path!r}; from {module} import {name}; {name}()"


class Helper:
    """A process that makes code; or none, where there is one processor."""

    def __init__(self, process: "subprocess.Popen[bytes] | None") -> None:
        self._process = process

    def codes(self) -> list[Code] | None:
        """Return what it made, once; None: it made nothing."""
        process, self._process = self._process, None
        if process is None:
            return None
        try:
            made, _ = process.communicate(timeout=PATIENCE_S)
        except (OSError, ValueError, subprocess.TimeoutExpired):
            made = b""
        finally:
            _end(process)
        if process.returncode != 0:
            return None
        with suppress(EOFError, pickle.UnpicklingError):
            found: list[Code] = pickle.loads(made)  # noqa: S301 - of our own process
            return found
        return None

    def end(self) -> None:
        """End it, if nobody asked what it made."""
        process, self._process = self._process, None
        if process is not None:
            _end(process)


def _end(process: "subprocess.Popen[bytes]") -> None:
    process.kill()
    process.communicate()


@contextmanager
def helper(asked: Sequence[Aside], by: Callable[[], None]) -> Iterator[Helper]:
    """Keep a process that makes code of functions while this one does other things.

    Args:
        asked: The functions.
        by: What it calls to take them and to answer: answer, at first hand.
    """
    made = Helper(_begun(asked, by) if asked and sys.executable else None)
    try:
        yield made
    finally:
        made.end()


def _begun(
    asked: Sequence[Aside], by: Callable[[], None]
) -> "subprocess.Popen[bytes] | None":
    if len(os.sched_getaffinity(0)) < 2:  # noqa: PLR2004 - it and this one
        return None
    question = pickle.dumps([(one, _small(args)) for one, args in asked])
    maker = cast("FunctionType", by)
    names = {"module": maker.__module__, "name": maker.__qualname__}
    code = BEGIN.format(path=sys.path, **names)
    pipe = subprocess.PIPE
    with suppress(OSError):
        process = subprocess.Popen(  # noqa: S603 - of our own words
            [sys.executable, "-c", code],
            stdin=pipe,
            stdout=pipe,
            stderr=subprocess.DEVNULL,
        )
        with suppress(OSError):
            if process.stdin is not None:
                process.stdin.write(question)
                process.stdin.flush()
        return process
    return None


def asked() -> list[Aside]:
    """Return what this process was asked, which is such a one."""
    found: list[Aside] = pickle.load(sys.stdin.buffer)  # noqa: S301 - of our own
    return found


def answer(codes: list[Code]) -> None:
    """Answer who asked."""
    sys.stdout.buffer.write(pickle.dumps(codes))
    sys.stdout.buffer.flush()


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
