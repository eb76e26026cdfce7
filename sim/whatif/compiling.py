"""How numba compiles the twin: each question asked once, each part built once.

Numba's way with a function suits any function: it looks for closures and for arrays
to be added up, finds the type of each sum anew, and makes a program of each part.
The twin is some eighty small functions of one kind that become one program. What may
live here: that, by the doors that numba has for it (who is to compile is handed
over). Where a numba's doors are elsewhere it goes its own way: that takes twice as
long, and decides the same.
"""

import gc
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from importlib import import_module
from types import FunctionType
from typing import ClassVar

from sim.whatif.arguments import Foreign, taken
from sim.whatif.machine import Code
from sim.whatif.outlying import itself, returned, symbol

UNTYPED = ("TranslateByteCode", "FixupArgs", "ReconstructSSA")
TYPED = (
    "NopythonTypeInference",
    "PreLowerStripPhis",
    "AnnotateTypes",
    "NativeLowering",
    "NoPythonBackend",
)
"""What makes a program of a function. The others would find nothing: closures,
with blocks, generators, loops over tuples, sums of whole arrays."""


USUAL = 3
"""How quick numba has code made if nobody says otherwise."""

SELDOM = 50_000
"""Chosen: objects made after which garbage is looked for; usually it is 700."""

Compiler = Callable[
    [Foreign, Foreign, Foreign, Foreign, Foreign, Foreign, Foreign], object
]
"""Makes a compiler of one function, as numba.core.compiler.CompilerBase does."""

OF_MACHINES = {"memset", "memcpy", "memmove", "fma", "fmaf"}
"""What code may call that is in every process."""


def part_compiler() -> Compiler | None:
    """Return who shall compile what becomes part of what calls it.

    None: numba's doors are elsewhere, and it does that as it always does.
    """
    try:
        return _part_compiler()
    except (ImportError, AttributeError):
        return None


def _part_compiler() -> Compiler:
    codegen = import_module("numba.core.codegen")
    flags = import_module("numba.core.compiler").Flags
    shared: type = type("Shared", (_Shared, flags), {"__slots__": ()})
    seen = _Seen(shared)
    unbuilt: type = type("Unbuilt", (_Unbuilt, codegen.JITCodeLibrary), {})
    plain = _pipeline()

    def part(
        typing: Foreign,
        target: Foreign,
        _: Foreign,
        args: Foreign,
        returned: Foreign,
        flags: Foreign,
        named: Foreign,
    ) -> object:
        library = unbuilt(target.codegen(), "part")
        own, context = seen.alike(flags, typing)
        return plain(context, target, library, args, returned, own, named)

    return part


def code_of(
    function: FunctionType,
    args: tuple[object, ...],
    options: dict[str, object],
    outside: Iterable[str] = (),
) -> Code:
    """Return what a function is made into that numba knows as a part.

    Args:
        function: It fills arrays that it is given, and answers nothing or a number.
        args: Such as it will be called with.
        options: What numba is told.
        outside: What it may call that is made by itself.

    Raises:
        ImportError, AttributeError: Numba's doors are elsewhere.
        RuntimeError: The code cannot do without others that only numba has.
    """
    compiler = import_module("numba.core.compiler")
    cpu = import_module("numba.core.registry").cpu_target
    types = import_module("numba.core.types")
    kinds = import_module("numba").typeof(args)
    arguments, part = taken(kinds), itself(function)

    def entry(row: object) -> object:
        return part(*arguments(row))

    flags = compiler.Flags()
    cpu.options.parse_as_flags(flags, options)
    setattr(flags, "no_compile", True)  # noqa: B010 - of no type known here
    codegen = cpu.target_context.codegen()
    library = _alone(frozenset(outside))(codegen, function.__qualname__)
    lock = import_module("numba.core.compiler_lock").global_compiler_lock
    with lock, _made_quick_enough():
        made = compiler.compile_extra(
            cpu.typing_context,
            cpu.target_context,
            entry,
            (types.CPointer(types.int64),),
            returned(function),
            flags,
            {},
            library,
            _pipeline(),
        )
        library.finalize()
        module, name = library._final_module, symbol(function, kinds.types)
        _called_by_name(module, made.fndesc.llvm_func_name, name)
        binary = _emitted(codegen, module)
    return Code(name, (binary,))


def _called_by_name(module: Foreign, entry: str, name: str) -> None:
    """Give the entry its name, and hide all else: others may be called the same."""
    for one in module.functions:
        if one.name == entry:
            one.name = name
        elif not one.is_declaration:
            one.linkage = "internal"


def _emitted(codegen: Foreign, module: Foreign) -> bytes:
    """Return an object file for numba's processor, put down without much ado.

    What makes code quick was done before: to put it down with more care takes up to a
    third longer, and runs no faster.
    """
    llvm = import_module("llvmlite.binding")
    told: dict[str, object] = {"opt": 1}
    codegen._customize_tm_options(told)
    target = llvm.Target.from_triple(llvm.get_process_triple())
    binary: bytes = target.create_target_machine(**told).emit_object(module)
    return binary


def _alone(outside: frozenset[str]) -> type:
    """Return a library of which an object file is made, and nothing else."""
    codegen = import_module("numba.core.codegen")

    def link_once(self: Foreign) -> None:
        """Link each part once, whoever calls it.

        Linked into each other all the way up, they would be copied at each stage.
        """
        known: list[Foreign] = self._linking_libraries
        for one in known:  # which grows meanwhile
            known += [other for other in one._linking_libraries if other not in known]
        codegen.JITCodeLibrary.finalize(self)

    def optimise(self: Foreign) -> None:
        """Leave out what numba does before: here are no references to be counted."""
        passes, timing = self._codegen._module_pass_manager()
        passes.run(self._final_module, timing)

    def end(self: Foreign) -> None:
        called = {f.name for f in self._final_module.functions if f.is_declaration}
        others = {name for name in called if not name.startswith("llvm.")}
        others -= OF_MACHINES | outside
        if others:
            raise RuntimeError(f"{self.name} calls {', '.join(sorted(others))}")
        setattr(self, "_finalized", True)  # noqa: B010 - of no type known here

    own = {
        "finalize": link_once,
        "_optimize_final_module": optimise,
        "_finalize_final_module": end,
    }
    return type("Alone", (codegen.JITCodeLibrary,), own)


def _pipeline() -> type:
    base = import_module("numba.core.compiler").CompilerBase
    return type("Pipeline", (base,), {"define_pipelines": _passes()})


def _passes() -> Callable[[Foreign], list[object]]:
    untyped = import_module("numba.core.untyped_passes")
    typed = import_module("numba.core.typed_passes")
    named = [(name, getattr(untyped, name)) for name in UNTYPED]
    named += [(name, getattr(typed, name)) for name in TYPED]
    manager = import_module("numba.core.compiler_machinery").PassManager

    def passes(_: Foreign) -> list[object]:
        made = manager("twin")
        for name, one in named:
            made.add_pass(one, name)
        made.finalize()
        return [made]

    return passes


class _Shared:
    """Flags that are equal where they are the same: compared thousands of times."""

    __slots__ = ()

    options: ClassVar[dict[str, object]] = {}
    """No more of them than flags have."""

    def copy(self) -> "_Shared":
        return self

    def __eq__(self, other: object) -> bool:
        return self is other

    def __hash__(self) -> int:
        return id(self)


class _Seen:
    """The flags there are, and what was found out about types under each."""

    def __init__(self, shared: type) -> None:
        self._shared = shared
        self._all: list[tuple[Foreign, dict[object, object]]] = []

    def alike(self, flags: Foreign, typing: Foreign) -> tuple[Foreign, object]:
        """Return the same flags, and who knows types under them.

        No function of the twin is handed the same array twice, so what it writes to
        one is not what it reads in another: otherwise each loop would have to prove
        that, each time.
        """
        setattr(flags, "noalias", True)  # noqa: B010 - of no type known here
        for own, found in self._all:
            if own.values() == flags.values():
                return own, _Remembering(typing, found)
        self._all.append((self._shared(flags), {}))
        own, found = self._all[-1]
        return own, _Remembering(typing, found)


class _Remembering:
    """Knows what it was asked before: what a function of such types returns.

    Numba asks until it learns nothing new, hence twice at least, and in each of the
    functions: what is a row's place and a lane's together?
    """

    def __init__(self, asked: Foreign, found: dict[object, object]) -> None:
        self._asked, self._found = asked, found

    def __getattr__(self, name: str) -> object:
        return getattr(self._asked, name)

    def refresh(self) -> None:
        """Look for nothing new: all is known before the first part is compiled."""

    def resolve_function_type(
        self, function: object, args: tuple[object, ...], named: dict[str, object]
    ) -> object:
        key = (function, tuple(args), tuple(named.items()))
        if key not in self._found:
            answer = self._asked.resolve_function_type(function, args, named)
            if answer is None:  # it may yet learn it
                return None
            self._found[key] = answer
        return self._found[key]


class _Unbuilt:
    """A part as what it is part of will take it: no program of its own.

    Compiled by itself it would be made quick and put into memory, and then again
    within each that calls it, since it is called from nowhere else.
    """

    _finalized = False

    @property
    def codegen(self) -> object:
        return self

    def _optimize_functions(self, module: object) -> None:
        """Leave it as it is: what it becomes part of is made quick as a whole."""

    def set_env(self, name: str, env: object) -> None:
        """Keep nothing: only what raises an exception looks for it."""

    def finalize(self) -> None:
        """Leave what it calls for those that it is part of to link."""
        self._finalized = True

    def get_pointer_to_function(self, name: str) -> int:  # noqa: ARG002
        return 0


@contextmanager
def _made_quick_enough() -> Iterator[None]:
    """Leave out the last stage of making code quick: it finds nothing more here.

    It takes a tenth of the time in which LLVM works. Who asks numba for less gets that.
    """
    config = import_module("numba.core.config")
    before = config.OPT
    setattr(config, "OPT", type(before)(2) if before == USUAL else before)  # noqa: B010
    try:
        yield
    finally:
        setattr(config, "OPT", before)  # noqa: B010


@contextmanager
def seldom_collected() -> Iterator[None]:
    """Let few searches for rings of garbage be made while numba works.

    They take a tenth of the time. With none at all memory has 60 MB more at its peak.
    """
    before = gc.get_threshold()
    gc.set_threshold(SELDOM, *before[1:])
    try:
        yield
    finally:
        gc.set_threshold(*before)
