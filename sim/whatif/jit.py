"""Compiled where numba is installed, plain Python where it is not.

The same functions either way, with the same answers: strict IEEE arithmetic,
nothing contracted or reordered. What may live here: that one choice. Numba's
types do not know what it makes of a function, so no other modules but teaching and
compiling import it.
"""

import hashlib
import os
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from importlib import import_module
from pathlib import Path
from types import ModuleType
from typing import TypeVar, cast

import numpy as np

from sim.whatif.compiling import compilers
from sim.whatif.rows import LANES, WORD
from sim.whatif.shape import Readings
from sim.whatif.teaching import teach
from sim.whatif.words import flagged


def _numba() -> ModuleType | None:
    """Return numba, without the half second in which it would load others.

    It asks for scipy's linear algebra and does without, as far as nothing that
    is compiled multiplies matrices; nothing here does. And for coverage, to report
    to it what it compiles, which is of use to those who already have it running.
    """
    try:
        with _hidden("coverage", None):
            found = import_module("numba")
        with _hidden("scipy.linalg", ModuleType("scipy.linalg")):
            import_module("numba.np.arraymath")
    except ImportError:  # a board without numba: slow, and right
        return None
    _widen(found)
    return found


@contextmanager
def _hidden(name: str, instead: ModuleType | None) -> Iterator[None]:
    """Show something instead of a module meanwhile, unless it is loaded already.

    None is what makes an import of it fail.
    """
    if name in sys.modules:
        yield
        return
    loaded = cast("dict[str, ModuleType | None]", sys.modules)
    loaded[name] = instead
    try:
        yield
    finally:
        del loaded[name]


def _widen(numba: ModuleType) -> None:
    """Let a processor use the widest registers that it has.

    For some, compilers take half of them, since a little work in wide ones slows
    down all that comes after; here is nothing but such work.
    """
    if numba.config.CPU_FEATURES is None:
        known = import_module("numba.core.codegen").get_host_cpu_features()
        if "+avx512f" in known:
            numba.config.CPU_FEATURES = f"{known},-prefer-256-bit"


numba = _numba()

Function = TypeVar("Function")

_OPTIONS: dict[str, object] = {"error_model": "numpy", "_nrt": False}
"""No check of each division, which has a divisor above 0 wherever it counts; and
no counting of references at each call: compiled code makes no array of its own
and keeps none."""

_COMPILERS = None if numba is None else compilers()

_WHOLE = _OPTIONS | ({"pipeline_class": _COMPILERS.whole} if _COMPILERS else {})
"""For what Python calls."""

_INLINED = (
    _OPTIONS
    | {
        "forceinline": True,
        "no_cpython_wrapper": True,
        "no_cfunc_wrapper": True,
    }
    | ({"pipeline_class": _COMPILERS.part} if _COMPILERS else {})
)
"""Part of what calls them: never called by Python, nor from anywhere else."""

HAS_NUMBA = numba is not None

NOTHING = np.float32(0.0)


def inlined(function: Function) -> Function:
    """Let compiled code call a function; for Python it stays as it is."""
    if numba is None:
        return function
    extending = import_module("numba.extending")
    known: Function = extending.register_jitable(**_INLINED)(function)
    return known


@inlined
def unmasked(value: float) -> float:
    """Return a value that shall be put down whether it is a new one or the old.

    A compiler that sees that some lanes keep what they have writes only to the
    others; some processors take many times as long for that. It may not know
    that a sum with 0 is the same, since that of -0 is not: no lane tells the two
    apart.
    """
    return value + 0.0


@inlined
def unmasked_half(value: np.float32) -> np.float32:
    """Return the same of a value of half the width, at that width."""
    return value + NOTHING


@inlined
def any_flagged(rows: Readings, at: int) -> bool:
    """Whether any lane of the row at a place is not 0.

    Counting them while the row is filled would halve how many lanes are done at
    once: a count is twice as wide.
    """
    found = 0
    for first in range(0, LANES, WORD):
        found |= flagged(rows, at + first)
    return found != 0


if numba is not None:
    teach(_INLINED)


def compiled(function: Function) -> Function:
    """Return a function compiled, and kept on disk for the next start.

    It runs without Python's lock, so that threads make use of all cores. No two of the
    arrays that it takes, in tuples or not, may share memory: see compiling.alike.

    The folder is named after the sources, so that what was compiled of others
    is never taken. Where nothing can be kept each process compiles anew.
    """
    if numba is None:
        return function
    before, folder = numba.config.CACHE_DIR, _folder()
    try:
        numba.config.CACHE_DIR = before or folder
        made: Function = _kept(function, kept=bool(before or folder))
    finally:
        numba.config.CACHE_DIR = before
    return made


def _kept(function: Function, *, kept: bool) -> Function:
    if numba is None:
        return function
    try:
        made: Function = numba.njit(nogil=True, cache=kept, **_WHOLE)(function)
    except RuntimeError:  # numba found no folder that it may write to
        return _kept(function, kept=False)
    return made


def _folder() -> str:
    """Return where compiled code may be kept; empty: nowhere."""
    here = Path(__file__).parent
    sources = b"\0".join(path.read_bytes() for path in sorted(here.glob("*.py")))
    name = f"whatif-{hashlib.sha256(sources).hexdigest()[:16]}"
    cache = os.environ.get("XDG_CACHE_HOME") or Path("~/.cache").expanduser()
    for parent in (Path(cache) / "bottomheat", Path(tempfile.gettempdir())):
        folder = parent / name
        try:
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        except OSError:
            continue
        if _ours(folder):
            return str(folder)
    return ""


def _ours(folder: Path) -> bool:
    """Whether a folder is this user's alone to write: what is in it is run."""
    found = folder.stat()
    return found.st_uid == os.getuid() and not found.st_mode & 0o022
