"""Compiled where numba is installed, plain Python where it is not.

The same functions either way, with the same answers: strict IEEE arithmetic,
nothing contracted or reordered. What may live here: that one choice. Numba's
types do not know what it makes of a function, so no other module imports it.
"""

import hashlib
import os
import tempfile
from importlib import import_module
from pathlib import Path
from types import ModuleType
from typing import TypeVar

numba: ModuleType | None
try:
    numba = import_module("numba")
except ImportError:  # a board without numba: slow, and right
    numba = None

Function = TypeVar("Function")

_OPTIONS = {"error_model": "numpy", "_nrt": False}
"""No check of each division, which has a divisor above 0 wherever it counts; and
no counting of references at each call: compiled code makes no array of its own
and keeps none."""

HAS_NUMBA = numba is not None

__all__ = ["HAS_NUMBA", "compiled", "inlined"]


def inlined(function: Function) -> Function:
    """Let compiled code call a function; for Python it stays as it is."""
    if numba is None:
        return function
    extending = import_module("numba.extending")
    known: Function = extending.register_jitable(**_OPTIONS)(function)
    return known


def compiled(function: Function) -> Function:
    """Return a function compiled, and kept on disk for the next start.

    It runs without Python's lock, so that threads make use of all cores.

    The folder is named after the sources, so that what was compiled of others
    is never taken. Where nothing can be kept each process compiles anew.
    """
    if numba is None:
        return function
    before, folder = numba.config.CACHE_DIR, _folder()
    try:
        numba.config.CACHE_DIR = before or folder
        made: Function = numba.njit(
            nogil=True, cache=bool(before or folder), **_OPTIONS
        )(function)
    finally:
        numba.config.CACHE_DIR = before
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
