"""Machine code as a file: kept, fetched and called without what made it.

To load a compiler takes longer than all that a short search does. So code is kept as
LLVM writes it, and comes back into memory by llvmlite alone. It takes one argument:
the place of a row of words of 64 bits with all numbers in it, and of each array its
place, its shape and its strides. What may live here: that row, those files. Nothing
about how code is made.
"""

import ctypes
import hashlib
import os
import stat
import tempfile
from collections.abc import Callable, Hashable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from importlib import import_module
from pathlib import Path
from struct import pack, unpack
from types import FunctionType
from typing import TYPE_CHECKING, Protocol

import numpy as np

from controller.core import units

if TYPE_CHECKING:
    from types import ModuleType


def sources() -> str:
    """Return a word for all that compiled code may be made of, as it is on disk."""
    core, sim = Path(units.__file__).parent, Path(__file__).parents[1]
    paths = [*sorted(core.rglob("*.py")), *sorted(sim.rglob("*.py"))]
    found = b"\0".join(path.read_bytes() for path in paths)
    return hashlib.sha256(found).hexdigest()[:16]


SOURCES = sources()
"""The same as it was when this process began with it: a newer release may have come
since, and this process is not made of that."""


class Run(Protocol):
    """Runs code: it fills arrays that it is given, and returns nothing."""

    def __call__(self, *args: object) -> None:
        """Run it."""


_Native = Callable[[object, object, object], int]

FINE = (0, -2)
"""What compiled code tells if nothing went wrong: a result, or none."""

DIGEST = hashlib.sha256().digest_size

SIZE = 8
"""Bytes before each object file that tell how long it is."""


@dataclass(frozen=True, slots=True)
class Code:
    """What a function was made into.

    Attributes:
        symbol: What it is called there.
        binaries: Object files, its own and those of what it calls.
    """

    symbol: str
    binaries: tuple[bytes, ...]


# ------------------------------------------------------------------ arguments


def form(args: tuple[object, ...]) -> Hashable:
    """Return what code was made for: of which kind each argument is.

    Raises:
        TypeError: One is neither a number nor an array, nor a tuple of them.
    """
    return tuple(_form(one) for one in args)


def _form(one: object) -> Hashable:
    if isinstance(one, np.ndarray):
        flags = one.flags
        lies = "C" if flags.c_contiguous else "F" if flags.f_contiguous else "A"
        return one.dtype.str, one.ndim, lies, flags.writeable, flags.aligned
    if isinstance(one, tuple):
        return type(one).__qualname__, *(_form(part) for part in one)
    if isinstance(one, bool):
        return "truth"
    if isinstance(one, int):
        return "whole"
    if isinstance(one, float):
        return "float"
    raise TypeError(f"{one!r}: a number, an array or a tuple of such is needed")


def row(args: tuple[object, ...]) -> list[int]:
    """Return what code finds in its row of words."""
    return list(_words(args))


def _words(one: object) -> Iterator[int]:
    if isinstance(one, np.ndarray):
        yield one.__array_interface__["data"][0]
        yield from one.shape
        yield from one.strides
    elif isinstance(one, tuple):
        for part in one:
            yield from _words(part)
    elif isinstance(one, float):
        yield unpack("q", pack("d", one))[0]
    elif isinstance(one, int):
        yield int(one)


# ------------------------------------------------------------- into memory


def loaded(code: Code) -> Run:
    """Return what runs code, from any thread and without Python's lock.

    Raises:
        ImportError: There is no llvmlite that works.
        RuntimeError: The symbol is not in the file.
    """
    engine = _engine()
    for binary in code.binaries:
        engine.add_object_file(llvm().ObjectFileRef.from_data(binary))
    engine.finalize_object()
    address = engine.get_function_address(code.symbol)
    if address == 0:
        raise RuntimeError(f"machine code without {code.symbol}")
    _ENGINES.append(engine)
    kind = ctypes.CFUNCTYPE(ctypes.c_int32, *[ctypes.c_void_p] * 3)
    native: _Native = kind(address)

    def run(*args: object) -> None:
        words = np.array(row(args), np.int64)
        result, trouble = ctypes.c_void_p(), ctypes.c_void_p()
        told = native(
            ctypes.addressof(result), ctypes.addressof(trouble), words.ctypes.data
        )
        if told not in FINE:
            raise RuntimeError(f"{code.symbol} ended with {told}")

    return run


_ENGINES: "list[ModuleType]" = []
"""What holds code in memory, for good: one each, since names in them are alike."""


def _engine() -> "ModuleType":
    target = llvm().Target.from_default_triple().create_target_machine(jit=True)
    empty = llvm().parse_assembly("")
    engine: ModuleType = llvm().create_mcjit_compiler(empty, target)
    return engine


@cache
def llvm() -> "ModuleType":
    """Return llvmlite, ready for this processor.

    Raises:
        ImportError: It is not there, or does not work.
    """
    try:
        found = import_module("llvmlite.binding")
        found.initialize_native_target()
        found.initialize_native_asmprinter()
    except (AttributeError, OSError, RuntimeError) as error:
        raise ImportError(f"llvmlite does not work: {error}") from error
    return found


# ------------------------------------------------------------------- on disk


def fetched(path: Path) -> Code | None:
    """Return the code in a file; None: there is none that is whole, and its own."""
    try:
        found = path.read_bytes()
    except OSError:
        return None
    digest, said = found[:DIGEST], found[DIGEST:]
    if _digest(path, said) != digest:
        return None
    symbol, _, more = said.partition(b"\0")
    binaries = []
    while more:
        size = int.from_bytes(more[:SIZE])
        binaries.append(more[SIZE : SIZE + size])
        more = more[SIZE + size :]
    return Code(symbol.decode(), tuple(binaries))


def keep(code: Code, path: Path) -> None:
    """Write code into a file, whole or not at all; where none can be, do nothing."""
    sized = [len(one).to_bytes(SIZE) + one for one in code.binaries]
    said = code.symbol.encode() + b"\0" + b"".join(sized)
    own = path.with_name(f".{path.name}-{os.getpid()}")
    try:
        own.touch(mode=0o600)
        own.write_bytes(_digest(path, said) + said)
        own.replace(path)
    except OSError:
        with suppress(OSError):
            own.unlink(missing_ok=True)


def _digest(path: Path, said: bytes) -> bytes:
    return hashlib.sha256(path.name.encode() + b"\0" + said).digest()


def place(function: FunctionType, kinds: Hashable, more: str) -> Path | None:
    """Return where code may be kept; None: nowhere.

    Its name tells what it was made of, so that what was made of others is never
    taken: the sources of the simulator and of the core, from which compiled code has
    constants, and the function's own; the kinds of its arguments, the compiler, the
    processor, and what was said to the compiler.

    Raises:
        ImportError: There is no llvmlite that works.
    """
    own = folder()
    if not own:
        return None
    said = {k: v for k, v in os.environ.items() if k.startswith("NUMBA_")}
    try:
        source = Path(function.__code__.co_filename).read_bytes()
    except OSError:
        return None
    cpu = llvm().get_host_cpu_name(), llvm().get_host_cpu_features().flatten()
    told = kinds, more, llvm().get_process_triple(), cpu, sorted(said.items())
    digest = hashlib.sha256(source + repr(told).encode()).hexdigest()[:16]
    return Path(own) / f"{function.__module__}.{function.__qualname__}-{digest}"


def folder() -> str:
    """Return where compiled code may be kept; empty: nowhere."""
    name = f"whatif-{SOURCES}"
    homes = [Path(tempfile.gettempdir())]
    with suppress(RuntimeError):  # who has no home
        cache_home = os.environ.get("XDG_CACHE_HOME") or Path("~/.cache").expanduser()
        homes.insert(0, Path(cache_home) / "bottomheat")
    for home in homes:
        own = home / name
        try:
            own.mkdir(mode=0o700, parents=True, exist_ok=True)
        except OSError:
            continue
        if _ours(own):
            return str(own)
    return ""


def _ours(own: Path) -> bool:
    """Whether a folder is this user's alone to write: what is in it is run."""
    found = own.lstat()
    alone = found.st_uid == os.getuid() and not found.st_mode & 0o022
    return alone and stat.S_ISDIR(found.st_mode)
