"""What Python and a processor say each in its own way.

What may live here: functions that plain Python runs as they stand, and of which
teach tells numba how compiled code shall do the same.
"""

from collections.abc import Callable
from importlib import import_module
from types import ModuleType

import numpy as np
from numpy.typing import NDArray

from sim.whatif.rows import LANES, WORD

ROUND = 1.5 * 2.0**52

Foreign = ModuleType
"""Whatever numba hands over: it has no types to be named here."""


def across(lanes: int) -> int:
    """Return how many lanes a loop over all that are in use goes through.

    Compiled code goes through the whole row, idle ones too: a loop of a known
    length, over rows that lie a known way apart, is done many lanes at a time
    with nothing to be asked before and nothing left over behind.
    """
    return lanes


def flagged(rows: NDArray[np.float32], at: int) -> int:
    """Return a bit for each of WORD lanes from a place on that is not 0."""
    return sum(1 << v for v in range(WORD) if rows[at + v] != 0.0)


def lowest(bits: int) -> int:
    """Return the place of the lowest bit that is set, from 0 on."""
    return (bits & -bits).bit_length() - 1


def rounded(value: float) -> float:
    """Return the nearest whole number, of two the even one.

    Added and taken away again the constant does so for what is below 2**51, which
    all here is. Compiled code has an instruction for it.
    """
    return (value + ROUND) - ROUND


def teach() -> None:
    """Tell numba, which is there, what compiled code makes of these."""
    extending = import_module("numba.extending")
    packed = extending.intrinsic(_packed)
    first = extending.intrinsic(_first)
    nearest = extending.intrinsic(_nearest)

    # Both of a pair have the word's own signature, or numba does not take them.
    def whole_row(lanes: object) -> object:  # noqa: ARG001
        def said(lanes: object) -> int:  # noqa: ARG001
            return LANES

        return said

    def of_row(rows: object, at: object) -> object:  # noqa: ARG001
        def said(rows: object, at: object) -> object:
            return packed(rows, at)

        return said

    def of_bits(bits: object) -> object:  # noqa: ARG001
        def said(bits: object) -> object:
            return first(bits)

        return said

    def of_value(value: object) -> object:  # noqa: ARG001
        def said(value: object) -> object:
            return nearest(value)

        return said

    for word, said in (
        (rounded, of_value),
        (across, whole_row),
        (flagged, of_row),
        (lowest, of_bits),
    ):
        options = {"_nrt": False, "forceinline": True}
        extending.overload(word, jit_options=options)(said)


def _packed(_: Foreign, rows: Foreign, at: Foreign) -> object:
    """Compare so many lanes at once; the comparison is a word of bits."""
    cgutils, ir = import_module("numba.core.cgutils"), import_module("llvmlite.ir")

    def made(
        context: Foreign, builder: Foreign, signature: Foreign, args: list[Foreign]
    ) -> object:
        row = cgutils.create_struct_proxy(signature.args[0])(context, builder, args[0])
        values = ir.VectorType(ir.FloatType(), WORD)
        begin = builder.bitcast(builder.gep(row.data, [args[1]]), values.as_pointer())
        read = builder.load(begin)
        read.align = 4
        other = builder.fcmp_unordered("!=", read, ir.Constant(values, None))
        return builder.bitcast(other, ir.IntType(WORD))

    return import_module("numba.core.types").int64(rows, at), made


def _first(_: Foreign, bits: Foreign) -> object:
    """Count the zeros below the lowest bit, which one instruction does."""
    ir = import_module("llvmlite.ir")

    def made(_: Foreign, builder: Foreign, __: Foreign, args: list[Foreign]) -> object:
        return builder.cttz(args[0], ir.Constant(ir.IntType(1), 0))

    return import_module("numba.core.types").int64(bits), made


def _nearest(_: Foreign, value: Callable[[object], object]) -> object:
    """Round half to even, in as many lanes at once as there are."""

    def made(_: Foreign, builder: Foreign, __: Foreign, args: list[Foreign]) -> object:
        kind = args[0].type
        rint = builder.module.declare_intrinsic("llvm.rint", [kind])
        return builder.call(rint, args)

    return value(value), made
