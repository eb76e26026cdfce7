"""Routes that are made ready to check their answers when they are first asked.

pydantic builds for each shape of an answer what checks it and writes it: for all of
them together that is a tenth of the daemon's memory, and of its start. Most are asked
late or never on any one bench. What may live here: that delay.
"""

from collections.abc import Callable, Sequence
from typing import Any, get_type_hints

from fastapi import APIRouter
from fastapi.params import Depends
from fastapi.routing import APIRoute
from pydantic import ConfigDict, with_config
from typing_extensions import is_typeddict, override

_LATE = with_config(ConfigDict(defer_build=True))


class _LateRoute(APIRoute):
    """A route whose answer's shape is built when the first answer is sent."""

    @override
    def __init__(  # type: ignore[explicit-any]  # these are the library's
        self, path: str, endpoint: Callable[..., Any], **how: Any
    ) -> None:
        answer = get_type_hints(endpoint).get("return")
        if isinstance(answer, type) and is_typeddict(answer):
            _LATE(answer)
        super().__init__(path, endpoint, **how)


class Router(APIRouter):
    """A router of such routes."""

    @override
    def __init__(
        self, *, prefix: str = "", dependencies: Sequence[Depends] = ()
    ) -> None:
        super().__init__(
            prefix=prefix, dependencies=dependencies, route_class=_LateRoute
        )
