"""What compiled code makes of the words.

What may live here: for each of them what a processor does, as numba wants to be told.
Values of half the width with EVEN in them are taken for whole numbers.
"""

from collections.abc import Callable, Sequence
from functools import cache
from importlib import import_module

import numpy as np

from sim.whatif.arguments import Foreign
from sim.whatif.rows import LANES
from sim.whatif.words import (
    EVEN,
    across,
    alike,
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

Doing = Callable[[Foreign, list[Foreign]], object]
"""Builds what is done with arguments."""

EVEN_BITS = int(np.asarray(EVEN).view(np.int32))


def teach() -> None:
    """Tell numba, which is there, what compiled code makes of these.

    None of them becomes a function of its own: each is a few instructions where it is
    called. To make functions of them takes a tenth of the time to compile.
    """
    templates = import_module("numba.core.typing.templates")
    types = import_module("numba.core.types")
    for word, made in (
        (across, _across),
        (flagged, _flagged),
        (under, _under),
        (within, _within),
        (alike, _alike),
        (reached, _reached),
        (counted, _counted),
        (lowest, _lowest),
        (but_lowest, _but_lowest),
        (rounded, _nearest),
        (rounded_half, _nearest),
        (divided, _divided),
        (fused, _fused),
        (larger, _larger),
        (smaller, _smaller),
        (higher, _higher),
        (lower, _lower),
        (plus, _plus),
        (minus, _minus),
        (plus_if, _plus_if),
    ):
        known = templates.make_intrinsic_template(word, made, word.__name__)
        templates.infer(known)
        templates.infer_global(word, types.Function(known))


@cache
def _ir() -> Foreign:
    return import_module("llvmlite.ir")


@cache
def _types() -> Foreign:
    return import_module("numba.core.types")


def _done(result: Foreign, kinds: Sequence[Foreign], doing: Doing) -> object:
    """Return what numba wants: the kinds of value, and who builds."""

    def made(_: Foreign, builder: Foreign, __: Foreign, args: list[Foreign]) -> object:
        return doing(builder, args)

    templates = import_module("numba.core.typing.templates")
    return templates.signature(result, *kinds), made


def _across(_: Foreign, lanes: Foreign) -> object:
    def doing(_: Foreign, args: list[Foreign]) -> object:
        return args[0].type(LANES)

    return _done(_types().int64, [lanes], doing)


# ------------------------------------------------------ bits of a block's lanes


def _flagged(_: Foreign, rows: Foreign, one: Foreign) -> object:
    return _bits("!=", rows, one)


def _under(_: Foreign, rows: Foreign, one: Foreign, other: Foreign) -> object:
    return _bits("<", rows, one, other)


def _within(_: Foreign, rows: Foreign, one: Foreign, other: Foreign) -> object:
    return _bits("<=", rows, one, other)


def _alike(_: Foreign, rows: Foreign, one: Foreign, other: Foreign) -> object:
    return _bits("==", rows, one, other)


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
            given = isinstance(value.type, _ir().FloatType)
            other = _spread(builder, value) if given else _read(builder, data, value)
        # Nothing here is not a number; so that 0 and what is none differ is as good.
        compare = builder.fcmp_unordered if how == "!=" else builder.fcmp_ordered
        return builder.bitcast(compare(how, one, other), _ir().IntType(LANES))

    templates = import_module("numba.core.typing.templates")
    return templates.signature(_types().int64, rows, *kinds), made


def _read(builder: Foreign, data: Foreign, place: Foreign) -> Foreign:
    """Read what LANES lanes have in the row at a place."""
    values = _ir().VectorType(_ir().FloatType(), LANES)
    begin = builder.bitcast(builder.gep(data, [place]), values.as_pointer())
    read = builder.load(begin)
    read.align = 4
    made: Foreign = read
    return made


def _spread(builder: Foreign, value: Foreign) -> Foreign:
    """Return LANES lanes that all have a value."""
    ir, number = _ir(), _ir().IntType(32)
    none = ir.Constant(ir.VectorType(value.type, LANES), ir.Undefined)
    first = builder.insert_element(none, value, ir.Constant(number, 0))
    places = ir.Constant(ir.VectorType(number, LANES), [ir.Constant(number, 0)] * LANES)
    made: Foreign = builder.shuffle_vector(first, none, places)
    return made


def _counted(_: Foreign, one: Foreign) -> object:
    """Count the bits that are set, which one instruction does."""

    def doing(builder: Foreign, args: list[Foreign]) -> object:
        return builder.ctpop(args[0])

    return _done(_types().int64, [one], doing)


def _lowest(_: Foreign, one: Foreign) -> object:
    """Count the zeros below the lowest bit, which one instruction does."""

    def doing(builder: Foreign, args: list[Foreign]) -> object:
        return builder.cttz(args[0], _ir().Constant(_ir().IntType(1), 0))

    return _done(_types().int64, [one], doing)


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


def _plus_if(
    _: Foreign, one: Foreign, other: Foreign, third: Foreign, more: Foreign
) -> object:
    """Without a sign what is below 0 is more than anything."""

    def doing(builder: Foreign, args: list[Foreign]) -> object:
        kept, kind = _whole(builder, args[0]), args[0].type
        number, most, by = (_less_even(builder, value) for value in args[1:])
        more = builder.add(kept, by)
        lies_within = builder.icmp_unsigned("<=", number, most)
        return builder.bitcast(builder.select(lies_within, more, kept), kind)

    return _done(one, [one, other, third, more], doing)
