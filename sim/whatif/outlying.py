"""Functions that compiled code calls where they were compiled, by themselves.

What calls such a function hands it a row of words, as machine does, and it answers
as numba's functions do. What may live here: what such a function is called, and how
it is called.
"""

import hashlib
import inspect
from collections.abc import Sequence
from functools import cache
from importlib import import_module
from types import FunctionType

from sim.whatif.arguments import Foreign, laid
from sim.whatif.machine import FINE


def symbol(function: FunctionType, kinds: Sequence[Foreign]) -> str:
    """Return what a function is called in machine code, for such arguments."""
    digest = hashlib.sha256(str(tuple(kinds)).encode()).hexdigest()[:16]
    return f"{function.__module__}.{function.__qualname__}-{digest}"


def returned(function: FunctionType) -> Foreign:
    """Return of which kind a function's answer is, as it says itself."""
    types = import_module("numba.core.types")
    kinds: dict[object, Foreign] = {int: types.int64, float: types.float64}
    nothing: Foreign = types.none
    return kinds.get(function.__annotations__.get("return"), nothing)


@cache
def itself(function: FunctionType) -> FunctionType:
    """Return a function that numba may be told of as a part; see tell_of."""
    return FunctionType(
        function.__code__,
        function.__globals__,
        function.__name__,
        closure=function.__closure__,
    )


def tell_of(function: FunctionType) -> None:
    """Tell numba, which is there, that a function is to be called elsewhere."""
    templates = import_module("numba.core.typing.templates")
    types = import_module("numba.core.types")

    def typed(_: Foreign, *kinds: Foreign) -> object:
        kind = returned(function)
        name = symbol(function, kinds)

        def made(
            context: Foreign, builder: Foreign, _: Foreign, args: Sequence[Foreign]
        ) -> object:
            return _called(
                context, builder, name, laid(context, builder, kinds, args), kind
            )

        return templates.signature(kind, *kinds), made

    own = inspect.signature(function).parameters.values()
    first = inspect.Parameter("_", inspect.Parameter.POSITIONAL_OR_KEYWORD)
    setattr(typed, "__signature__", inspect.Signature([first, *own]))  # noqa: B010
    known = templates.make_intrinsic_template(function, typed, function.__name__)
    templates.infer(known)
    templates.infer_global(function, types.Function(known))


def _called(
    context: Foreign, builder: Foreign, name: str, row: Foreign, kind: Foreign
) -> object:
    """Call a function, and end as it does if it does not end well."""
    ir = import_module("llvmlite.ir")
    tools = import_module("numba.core.cgutils")
    none = kind is import_module("numba.core.types").none
    told, place = ir.IntType(32), ir.IntType(8).as_pointer()
    answer = tools.alloca_once(builder, place if none else context.get_value_type(kind))
    trouble = tools.alloca_once(builder, place)
    places = [answer.type, trouble.type, row.type]
    outside = tools.get_or_insert_function(
        builder.module, ir.FunctionType(told, places), name
    )
    outside.attributes.add("nounwind")
    ended = builder.call(outside, [answer, trouble, row])
    fine = [builder.icmp_signed("==", ended, told(code)) for code in FINE]
    with builder.if_then(builder.not_(builder.or_(*fine)), likely=False):
        builder.ret(ended)
    return context.get_dummy_value() if none else builder.load(answer)
