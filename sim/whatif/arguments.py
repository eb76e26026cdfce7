"""How compiled code finds what it was called with in a row of words, and lays one.

What may live here: machine.row and its counterpart, as numba wants to be told.
"""

from collections.abc import Callable, Iterable, Iterator
from importlib import import_module
from types import ModuleType

Foreign = ModuleType
"""Whatever numba hands over: it has no types to be named here."""


def taken(kind: Foreign) -> Callable[[object], tuple[object, ...]]:
    """Return a function for compiled code that makes arguments of a row's place.

    Args:
        kind: What numba calls the tuple of all arguments.
    """
    templates = import_module("numba.core.typing.templates")

    def typed(_: Foreign, row: Foreign) -> object:
        def made(
            context: Foreign, builder: Foreign, _: Foreign, args: list[Foreign]
        ) -> object:
            return _value(context, builder, kind, _words(builder, args[0]))

        return templates.signature(kind, row), made

    taking: Callable[[object], tuple[object, ...]]
    taking = import_module("numba.extending").intrinsic(typed)
    return taking


def _words(builder: Foreign, row: Foreign) -> Iterator[Foreign]:
    """Read one word after another."""
    number = import_module("llvmlite.ir").IntType(32)
    at = 0
    while True:
        yield builder.load(builder.gep(row, [number(at)]))
        at += 1


def _value(
    context: Foreign, builder: Foreign, kind: Foreign, words: Iterator[Foreign]
) -> object:
    """Make one argument of the words to come."""
    types = import_module("numba.core.types")
    if isinstance(kind, types.BaseTuple):
        parts = [_value(context, builder, part, words) for part in kind.types]
        return context.make_tuple(builder, kind, parts)
    if isinstance(kind, types.Array):
        arrays = import_module("numba.np.arrayobj")
        array = arrays.make_array(kind)(context, builder)
        size = context.get_abi_sizeof(context.get_data_type(kind.dtype))
        arrays.populate_array(
            array,
            data=builder.inttoptr(next(words), array.data.type),
            shape=[next(words) for _ in range(kind.ndim)],
            strides=[next(words) for _ in range(kind.ndim)],
            itemsize=size,
            meminfo=None,
        )
        return array._getvalue()  # noqa: SLF001 - numba's own way
    word = next(words)
    if isinstance(kind, types.Boolean):
        return builder.icmp_unsigned("!=", word, word.type(0))
    if isinstance(kind, types.Float):
        return builder.bitcast(word, context.get_value_type(kind))
    return word


def laid(
    context: Foreign,
    builder: Foreign,
    kinds: Iterable[Foreign],
    values: Iterable[Foreign],
) -> Foreign:
    """Lay values in a row, for code that is called; return its place."""
    word = import_module("llvmlite.ir").IntType(64)
    words: list[Foreign] = []
    for kind, value in zip(kinds, values, strict=True):
        words += _laid(context, builder, kind, value)
    tools = import_module("numba.core.cgutils")
    row: Foreign = tools.alloca_once(builder, word, len(words))
    for at, value in enumerate(words):
        builder.store(value, builder.gep(row, [word(at)]))
    return row


def _laid(
    context: Foreign, builder: Foreign, kind: Foreign, value: Foreign
) -> Iterator[Foreign]:
    types = import_module("numba.core.types")
    word = import_module("llvmlite.ir").IntType(64)
    if isinstance(kind, types.BaseTuple):
        for at, part in enumerate(kind.types):
            one = builder.extract_value(value, at)
            yield from _laid(context, builder, part, one)
    elif isinstance(kind, types.Array):
        arrays = import_module("numba.np.arrayobj")
        array = arrays.make_array(kind)(context, builder, value)
        yield builder.ptrtoint(array.data, word)
        for many in (array.shape, array.strides):
            yield from (builder.extract_value(many, at) for at in range(kind.ndim))
    elif isinstance(kind, types.Boolean):
        yield builder.zext(value, word)
    elif isinstance(kind, types.Float):
        yield builder.bitcast(value, word)
    else:
        yield value
