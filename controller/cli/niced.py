"""Work that a running daemon hands to a child, which gives way to everything else.

What may live here: how a child limits itself, and how its parent runs it to its end.
What is worked out stands in the children's own modules.
"""

import asyncio
import os
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

NICENESS = 19

_ENDS_WORDS = 300


def give_way(memory_bytes: int, cpu_s: int) -> None:
    """Give way to everything else, and bear no more than so much.

    Args:
        memory_bytes: Of address space; more is a MemoryError.
        cpu_s: Of processor time [s]; more ends the process.
    """
    import resource

    os.nice(NICENESS)
    for what, most in (
        (resource.RLIMIT_AS, memory_bytes),
        (resource.RLIMIT_CPU, cpu_s),
    ):
        _, hard = resource.getrlimit(what)
        if hard == resource.RLIM_INFINITY or hard > most:
            resource.setrlimit(what, (most, hard))


@dataclass(frozen=True, slots=True)
class Ended:
    """How a child ended.

    Attributes:
        why: Why it failed; empty: it did not.
        said: What it printed.
        code: Its exit status; None: it was ended.
    """

    why: str
    said: bytes = b""
    code: int | None = None


async def in_a_child(words: Sequence[str], wall_s: float) -> Ended:
    """Run a child to its end; one that is no longer waited for is killed.

    Args:
        words: The program and its arguments.
        wall_s: So long it may take [s].
    """
    child = await asyncio.create_subprocess_exec(
        *words,
        stdin=asyncio.subprocess.DEVNULL,
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.PIPE,
        env=_environment(os.environ),
    )
    try:
        async with asyncio.timeout(wall_s):
            said, wrong = await child.communicate()
    except TimeoutError:
        return Ended(f"it took longer than {wall_s:g} s and was ended")
    finally:
        if child.returncode is None:
            child.kill()
            await child.wait()
    code = child.returncode
    if code == 0:
        return Ended("", said, code)
    if code is not None and code < 0:
        return Ended(f"it was ended by signal {-code}, of a limit or by hand")
    text = " ".join(wrong.decode(errors="replace").split())
    return Ended(text[-_ENDS_WORDS:] or f"it ended with exit status {code}", said, code)


def this_module(name: str) -> tuple[str, ...]:
    """Return the words that run a module of this package in a child."""
    return sys.executable, "-m", name


def _environment(environ: Mapping[str, str]) -> dict[str, str]:
    """Return an environment in which the child finds this very package."""
    here = str(Path(__file__).parents[2])
    known = environ.get("PYTHONPATH")
    return {**environ, "PYTHONPATH": f"{here}{os.pathsep}{known}" if known else here}
