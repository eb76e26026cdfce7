"""What compiled code makes of the words.

What may live here: for each of them what a processor does, as numba wants to be told.
Values of half the width with EVEN in them are taken for whole numbers.
"""

from collections.abc import Callable, Sequence
from importlib import import_module
from types import ModuleType

import numpy as np

from sim.whatif.rows import LANES, WORD
from sim.whatif.words import (
    EVEN,
    across,
    but_lowest,
    counted,
    divided,
    flagged,
    fused,
    higher,
    larger,
    lower,
    lowest,
    minus,
    plus,
    plus_if,
    reached,
    rounded,
    rounded_half,
    smaller,
    under,
    within,
)

Foreign = ModuleType
"""Whatever numba hands over: it has no types to be named here."""

Doing = Callable[[Foreign, list[Foreign]], object]
"""Builds what is done with arguments."""

EVEN_BITS = int(np.asarray(EVEN).view(np.int32))


def teach(options: dict[str, object]) -> None:
    """Tell numba, which is there, what compiled code makes of these, and how."""
    extending = import_module("numba.extending")

    def whole_row(lanes: object) -> object:  # noqa: ARG001
        def said(lanes: object) -> int:  # noqa: ARG001
            return LANES

        return said

    extending.overload(across, jit_options=options)(whole_row)
    taken = extending.intrinsic
    for word, said in (
        (flagged, _of_row(taken(_flagged))),
        (under, _of_rows(taken(_under))),
        (within, _of_rows(taken(_within))),
        (reached, _of_rows(taken(_reached))),
        (counted, _of_one(taken(_counted))),
        (lowest, _of_one(taken(_lowest))),
        (but_lowest, _of_one(taken(_but_lowest))),
        (rounded, _of_one(taken(_nearest))),
        (rounded_half, _of_one(taken(_nearest))),
        (divided, _of_two(taken(_divided))),
        (fused, _of_three(taken(_fused))),
        (larger, _of_two(taken(_larger))),
        (smaller, _of_two(taken(_smaller))),
        (higher, _of_two(taken(_higher))),
        (lower, _of_two(taken(_lower))),
        (plus, _of_two(taken(_plus))),
        (minus, _of_two(taken(_minus))),
        (plus_if, _of_three(taken(_plus_if))),
    ):
        extending.overload(word, jit_options=options)(said)


def _of_row(
    made: Callable[[object, object], object],
) -> Callable[[object, object], object]:
    def typed(rows: object, one: object) -> object:  # noqa: ARG001
        def said(rows: object, one: object) -> object:
            return made(rows, one)

        return said

    return typed


def _of_rows(
    made: Callable[[object, object, object], object],
) -> Callable[[object, object, object], object]:
    def typed(rows: object, one: object, other: object) -> object:  # noqa: ARG001
        def said(rows: object, one: object, other: object) -> object:
            return made(rows, one, other)

        return said

    return typed


def _of_one(
    made: Callable[[object], object],
) -> Callable[[object], object]:
    def typed(one: object) -> object:  # noqa: ARG001
        def said(one: object) -> object:
            return made(one)

        return said

    return typed


def _of_two(
    made: Callable[[object, object], object],
) -> Callable[[object, object], object]:
    def typed(one: object, other: object) -> object:  # noqa: ARG001
        def said(one: object, other: object) -> object:
            return made(one, other)

        return said

    return typed


def _of_three(
    made: Callable[[object, object, object], object],
) -> Callable[[object, object, object], object]:
    def typed(one: object, other: object, third: object) -> object:  # noqa: ARG001
        def said(one: object, other: object, third: object) -> object:
            return made(one, other, third)

        return said

    return typed


def _ir() -> ModuleType:
    return import_module("llvmlite.ir")


def _done(result: Foreign, kinds: Sequence[Foreign], doing: Doing) -> object:
    """Return what numba wants: the kinds of value, and who builds."""

    def made(_: Foreign, builder: Foreign, __: Foreign, args: list[Foreign]) -> object:
        return doing(builder, args)

    templates = import_module("numba.core.typing.templates")
    return templates.signature(result, *kinds), made


# ------------------------------------------------------ bits of WORD lanes


def _flagged(_: Foreign, rows: Foreign, one: Foreign) -> object:
    return _bits("!=", rows, one)


def _under(_: Foreign, rows: Foreign, one: Foreign, other: Foreign) -> object:
    return _bits("<", rows, one, other)


def _within(_: Foreign, rows: Foreign, one: Foreign, other: Foreign) -> object:
    return _bits("<=", rows, one, other)


def _reached(_: Foreign, rows: Foreign, one: Foreign, other: Foreign) -> object:
    return _bits("<=", rows, one, other)


def _bits(how: str, rows: Foreign, *kinds: Foreign) -> object:
    """Compare so many lanes at once; the comparison is a word of bits."""

    def made(
        context: Foreign, builder: Foreign, _: Foreign, args: list[Foreign]
    ) -> object:
        proxy = import_module("numba.core.cgutils").create_struct_proxy(rows)
        data = proxy(context, builder, args[0]).data
        one = _read(builder, data, args[1])
        other = _ir().Constant(one.type, None)
        for value in args[2:]:
            alike = isinstance(value.type, _ir().FloatType)
            other = _alike(builder, value) if alike else _read(builder, data, value)
        # Nothing here is not a number; so that 0 and what is none differ is as good.
        compare = builder.fcmp_unordered if how == "!=" else builder.fcmp_ordered
        return builder.bitcast(compare(how, one, other), _ir().IntType(WORD))

    types = import_module("numba.core.types")
    templates = import_module("numba.core.typing.templates")
    return templates.signature(types.int64, rows, *kinds), made


def _read(builder: Foreign, data: Foreign, place: Foreign) -> Foreign:
    """Read what WORD lanes have in the row at a place."""
    values = _ir().VectorType(_ir().FloatType(), WORD)
    begin = builder.bitcast(builder.gep(data, [place]), values.as_pointer())
    read = builder.load(begin)
    read.align = 4
    made: Foreign = read
    return made


def _alike(builder: Foreign, value: Foreign) -> Foreign:
    """Return WORD lanes that all have a value."""
    ir, number = _ir(), _ir().IntType(32)
    none = ir.Constant(ir.VectorType(value.type, WORD), ir.Undefined)
    first = builder.insert_element(none, value, ir.Constant(number, 0))
    places = ir.Constant(ir.VectorType(number, WORD), [ir.Constant(number, 0)] * WORD)
    made: Foreign = builder.shuffle_vector(first, none, places)
    return made


def _counted(_: Foreign, one: Foreign) -> object:
    """Count the bits that are set, which one instruction does."""

    def doing(builder: Foreign, args: list[Foreign]) -> object:
        return builder.ctpop(args[0])

    return _done(import_module("numba.core.types").int64, [one], doing)


def _lowest(_: Foreign, one: Foreign) -> object:
    """Count the zeros below the lowest bit, which one instruction does."""

    def doing(builder: Foreign, args: list[Foreign]) -> object:
        return builder.cttz(args[0], _ir().Constant(_ir().IntType(1), 0))

    return _done(import_module("numba.core.types").int64, [one], doing)


def _but_lowest(_: Foreign, one: Foreign) -> object:
    def doing(builder: Foreign, args: list[Foreign]) -> object:
        less = builder.sub(args[0], _ir().Constant(args[0].type, 1))
        return builder.and_(args[0], less)

    return _done(one, [one], doing)


# --------------------------------------------------------------- any values


def _nearest(_: Foreign, one: Foreign) -> object:
    """Round half to even, in as many lanes at once as there are."""

    def doing(builder: Foreign, args: list[Foreign]) -> object:
        rint = builder.module.declare_intrinsic("llvm.rint", [args[0].type])
        return builder.call(rint, args)

    return _done(one, [one], doing)


def _multiplied(
    builder: Foreign, one: Foreign, other: Foreign, third: Foreign
) -> Foreign:
    """Return one * other + third, rounded once."""
    kind = one.type
    taking = _ir().FunctionType(kind, [kind, kind, kind])
    word = builder.module.declare_intrinsic("llvm.fma", [kind], taking)
    made: Foreign = builder.call(word, [one, other, third])
    return made


def _divided(_: Foreign, one: Foreign, other: Foreign) -> object:
    def doing(builder: Foreign, args: list[Foreign]) -> object:
        above, below = args
        share = builder.fdiv(_ir().Constant(above.type, 1.0), below)
        about = builder.fmul(above, share)
        rest = _multiplied(builder, builder.fneg(about), below, above)
        return _multiplied(builder, rest, share, about)

    return _done(one, [one, other], doing)


def _fused(_: Foreign, one: Foreign, other: Foreign, third: Foreign) -> object:
    def doing(builder: Foreign, args: list[Foreign]) -> object:
        return _multiplied(builder, *args)

    return _done(one, [one, other, third], doing)


def _chosen(how: str, one: Foreign, other: Foreign) -> object:
    def doing(builder: Foreign, args: list[Foreign]) -> object:
        first, second = args
        return builder.select(builder.fcmp_ordered(how, second, first), second, first)

    kind = one if one.bitwidth >= other.bitwidth else other
    return _done(kind, [kind, kind], doing)


def _larger(_: Foreign, one: Foreign, other: Foreign) -> object:
    return _chosen(">", one, other)


def _smaller(_: Foreign, one: Foreign, other: Foreign) -> object:
    return _chosen("<", one, other)


# ----------------------------------------------- whole numbers with EVEN


def _whole(builder: Foreign, value: Foreign) -> Foreign:
    made: Foreign = builder.bitcast(value, _ir().IntType(32))
    return made


def _less_even(builder: Foreign, value: Foreign) -> Foreign:
    """Return the whole number of which this has EVEN in it."""
    even = _ir().Constant(_ir().IntType(32), EVEN_BITS)
    made: Foreign = builder.sub(_whole(builder, value), even)
    return made


def _picked(how: str, one: Foreign, other: Foreign) -> object:
    def doing(builder: Foreign, args: list[Foreign]) -> object:
        numbers = [_whole(builder, value) for value in args]
        picked = builder.select(builder.icmp_signed(how, *numbers), *numbers)
        return builder.bitcast(picked, args[0].type)

    return _done(one, [one, other], doing)


def _higher(_: Foreign, one: Foreign, other: Foreign) -> object:
    return _picked(">", one, other)


def _lower(_: Foreign, one: Foreign, other: Foreign) -> object:
    return _picked("<", one, other)


def _plus(_: Foreign, one: Foreign, other: Foreign) -> object:
    def doing(builder: Foreign, args: list[Foreign]) -> object:
        total = builder.add(_whole(builder, args[0]), _less_even(builder, args[1]))
        return builder.bitcast(total, args[0].type)

    return _done(one, [one, other], doing)


def _minus(_: Foreign, one: Foreign, other: Foreign) -> object:
    def doing(builder: Foreign, args: list[Foreign]) -> object:
        rest = builder.sub(_whole(builder, args[0]), _less_even(builder, args[1]))
        return builder.bitcast(rest, args[0].type)

    return _done(one, [one, other], doing)


def _plus_if(_: Foreign, one: Foreign, other: Foreign, third: Foreign) -> object:
    """Without a sign what is below 0 is more than anything."""

    def doing(builder: Foreign, args: list[Foreign]) -> object:
        kept, kind = _whole(builder, args[0]), args[0].type
        number, most = (_less_even(builder, value) for value in args[1:])
        more = builder.add(kept, _ir().Constant(_ir().IntType(32), 1))
        lies_within = builder.icmp_unsigned("<=", number, most)
        return builder.bitcast(builder.select(lies_within, more, kept), kind)

    return _done(one, [one, other, third], doing)
