"""Compiled where numba is installed, plain Python where it is not.

The same functions either way, with the same answers: strict IEEE arithmetic,
nothing contracted or reordered. What may live here: that one choice, and that a
function is fetched from where it is kept before it is compiled. Numba's types do not
know what it makes of a function, so no other modules but teaching, compiling and
arguments import it; nor does this one before something must be compiled.
"""

import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import cache
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from threading import Lock
from types import FunctionType, ModuleType
from typing import Protocol, TypeVar, cast

import numpy as np

from sim.thermal import Vector
from sim.whatif import machine
from sim.whatif.beside import Aside, Helper, answer, asked, helper
from sim.whatif.compiling import code_of, part_compiler, seldom_collected
from sim.whatif.machine import Run
from sim.whatif.outlying import itself, symbol, tell_of
from sim.whatif.teaching import teach

Function = TypeVar("Function")

NUMBA = None if os.environ.get("NUMBA_DISABLE_JIT", "0") != "0" else find_spec("numba")

HAS_NUMBA = NUMBA is not None

NOTHING = np.float32(0.0)

_OPTIONS: dict[str, object] = {"error_model": "numpy", "_nrt": False}
"""No check of each division, which has a divisor above 0 wherever it counts; and
no counting of references at each call: compiled code makes no array of its own
and keeps none."""

_ALONE: dict[str, object] = _OPTIONS | {
    "nopython": True,
    "no_cpython_wrapper": True,
    "no_cfunc_wrapper": True,
}
"""For what numba's own Python never calls."""

_PARTS: list[FunctionType] = []
"""What becomes part of what calls it, as far as numba has yet to be told."""

_WHOLES: set[FunctionType] = set()
"""What it was told of besides."""

_ASIDES: list[FunctionType] = []
"""What is called where it stands, as far as numba has yet to be told."""

_ONE_AT_A_TIME = Lock()


class Asides(Protocol):
    """Tells what a function calls that stands aside."""

    def __call__(self, *args: object) -> list[Aside]:
        """Return it, for what the function is called with."""
        ...


def nothing(*_: object) -> list[Aside]:
    """Return nothing that stands aside."""
    return []


@dataclass(frozen=True)
class Numba:
    """Numba, loaded.

    Attributes:
        numba: It.
        part: What it is told of what becomes part of others.
        ours: It has the doors that we go through.
    """

    numba: ModuleType
    part: dict[str, object]
    ours: bool


@cache
def _numba() -> Numba:
    """Return numba, without the half second in which it would load others.

    It asks for scipy's linear algebra and does without, as far as nothing that is
    compiled multiplies matrices; nothing here does. And for coverage, to report to it
    what it compiles, which is of use to those who already have it running.

    Raises:
        ImportError: It is there, and does not work.
    """
    try:
        with _hidden("coverage", None):
            found = import_module("numba")
        with _hidden("scipy.linalg", ModuleType("scipy.linalg")):
            import_module("numba.np.arraymath")
        _widen(found)
    except (AttributeError, OSError, RuntimeError, SystemError) as error:
        raise ImportError(f"numba does not work: {error}") from error
    teach()
    usual, compiler = _ALONE | {"forceinline": True}, part_compiler()
    ours = usual | {"pipeline_class": compiler}
    if compiler is not None and _comes_out_right(ours):
        return Numba(found, ours, ours=True)
    return Numba(found, usual, ours=False)


def _comes_out_right(options: dict[str, object]) -> bool:
    """Whether something small that is compiled in our way does what it shall.

    Where numba's doors are elsewhere its parts must not be made in our way: numba
    could not put them together.
    """

    def part(value: float) -> float:
        return 2 * value

    def whole(values: Vector) -> None:
        values[0] = part(values[0])

    jitable = import_module("numba.extending").register_jitable(**options)
    jitable(part)
    jitable(itself(cast("FunctionType", whole)))
    given = 1.5
    values = np.array([given])
    try:
        machine.loaded(code_of(cast("FunctionType", whole), (values,), _ALONE))(values)
    except Exception:  # noqa: BLE001 - whatever another numba says
        return False
    return bool(values[0] == part(given))


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


def inlined(function: Function) -> Function:
    """Let compiled code call a function; for Python it stays as it is."""
    _PARTS.append(cast("FunctionType", function))
    return function


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


def aside(function: Function) -> Function:
    """Let compiled code call a function that is compiled by itself, beside it.

    It is handed arrays, numbers and tuples of them, and answers a whole number, a
    float or nothing, as it says. A call takes some ten nanoseconds.
    """
    _ASIDES.append(cast("FunctionType", function))
    return function


def compiled(function: Function, asides: object = nothing) -> Function:
    """Return a function compiled, and kept on disk for the next start.

    It fills arrays that it is given, and returns nothing. It runs without Python's
    lock, so that threads make use of all cores. No two of the arrays that it takes, in
    tuples or not, may share memory: numba is told so.

    It is compiled at its first call, once for each kind of arguments. What is kept is
    taken where it was made of the same sources, by the same numba and for the same
    processor. Where nothing can be kept each process compiles anew.

    Args:
        function: It.
        asides: Returns, for its arguments, what it calls that stands by itself.
    """
    if not HAS_NUMBA:
        return function
    made = Compiled(cast("FunctionType", function), cast("Asides", asides))
    return cast("Function", made)


class Compiled:
    """A function that is compiled, or fetched, when it is called."""

    def __init__(self, function: FunctionType, asides: Asides) -> None:
        self._function, self._asides = function, asides
        self._made: dict[object, Run] = {}

    def __call__(self, *args: object) -> None:
        """Call it, in the form for such arguments.

        Raises:
            TypeError: One is neither a number nor an array, nor a tuple of them.
        """
        kinds = machine.form(args)
        if kinds not in self._made:
            with _ONE_AT_A_TIME:
                if kinds not in self._made:
                    self._made[kinds] = _made(
                        self._function, kinds, args, self._asides(*args)
                    )
        self._made[kinds](*args)

    @property
    def ready(self) -> bool:
        """Whether it is in memory."""
        return bool(self._made)


def _made(
    function: FunctionType,
    kinds: object,
    args: tuple[object, ...],
    others: Sequence[Aside],
) -> Run:
    """Return a function in the form for arguments such as these."""
    try:
        path = machine.place(function, kinds, _version())
        code = None if path is None else machine.fetched(path)
        if code is not None:
            with suppress(RuntimeError):
                return machine.loaded(code)
        with helper(others, by=make_beside) as meanwhile, seldom_collected():
            if not _introduced(function).ours:
                return _in_numbas_way(function)
            codes = [code_of(function, args, _ALONE, map(_symbol, others))]
            codes += _beside(others, meanwhile)
        binaries = tuple(one for code in codes for one in code.binaries)
        code = machine.Code(codes[0].symbol, binaries)
        if path is not None:
            machine.keep(code, path)
        return machine.loaded(code)
    except ImportError:  # a board on which numba does not work: slow, and right
        return function


def _beside(others: Sequence[Aside], meanwhile: Helper | None) -> list[machine.Code]:
    """Return the code of others; what a helper did not make is made here."""
    symbols = [_symbol(one) for one in others]
    codes = [] if meanwhile is None else meanwhile.codes()
    made = {code.symbol: code for code in codes}
    for name, (function, args) in zip(symbols, others, strict=True):
        if name not in made:
            _introduced(function)
            made[name] = code_of(function, args, _ALONE)
    return [made[name] for name in symbols]


def make_beside(to: int) -> None:
    """Make what another process asks for, and answer: this one is its helper.

    Args:
        to: The number of the file that takes the answer.
    """
    with seldom_collected():
        codes = []
        for function, args in asked():
            _introduced(function)
            codes.append(code_of(function, args, _ALONE))
    answer(codes, to)


def _symbol(one: Aside) -> str:
    function, args = one
    return symbol(function, import_module("numba").typeof(args).types)


def _introduced(function: FunctionType) -> Numba:
    """Return numba, which knows all parts, what stands aside, and a whole."""
    numba = _numba()
    jitable = import_module("numba.extending").register_jitable(**numba.part)
    while _PARTS:
        jitable(_PARTS.pop())
    while _ASIDES:
        one = _ASIDES.pop()
        if numba.ours:
            tell_of(one)
        else:
            jitable(one)
    if function not in _WHOLES:
        jitable(itself(function) if numba.ours else function)
        _WHOLES.add(function)
    return numba


def _in_numbas_way(function: FunctionType) -> Run:
    """Let numba itself call what it compiles, and keep it."""
    numba, folder = _numba().numba, machine.folder()
    before = numba.config.CACHE_DIR
    try:
        numba.config.CACHE_DIR = before or folder
        made: Run = numba.njit(nogil=True, cache=bool(folder), **_OPTIONS)(function)
    finally:
        numba.config.CACHE_DIR = before
    return made


def _version() -> str:
    """Return which numba there is, without loading it."""
    if NUMBA is None or NUMBA.origin is None:
        return ""
    origin = Path(NUMBA.origin)
    names = sorted(p.name for p in origin.parents[1].glob("numba-*.dist-info"))
    return " ".join(names) or str(origin.stat().st_mtime_ns)
