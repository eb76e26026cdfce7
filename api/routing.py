"""Routes: functions under a method and a path, and what the document says of them.

What may live here: the making of routes, and how what a function returns becomes an
answer. What it wants of a request is read by wants and gathered by given.
"""

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypedDict, TypeVar, get_args, get_type_hints

from pydantic import BaseModel
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route
from typing_extensions import Unpack, is_typeddict

from api.given import given
from api.wants import Depends, Giver, wants_of

JSON = "application/json"

_OK = 200
_NO_CONTENT = 204

Content = Mapping[str, object]
"""What the document says of a body or an answer, by media type (OpenAPI 3.1)."""

Checked = Callable[[type, object], None]
"""Holds what is sent to its shape; raises where it does not agree."""

_Call = TypeVar("_Call", bound=Giver)


@dataclass(frozen=True, slots=True)
class Told:
    """What the document says of an answer.

    Attributes:
        content: By media type; or the shape of what is sent.
        description: Words.
        media_type: Of a shape.
    """

    content: Content | type
    description: str = "Successful Response"
    media_type: str = JSON


class How(TypedDict, total=False):
    """How a route answers; each of it may be left out.

    Attributes:
        status_code: Of its success; 200.
        dependencies: What is asked before it, for its refusals.
        answers: What the document says of answers besides its function's own.
        takes: What the document says of a body that its function reads by itself.
    """

    status_code: int
    dependencies: Sequence[Depends]
    answers: Mapping[int, Told]
    takes: Content


@dataclass(frozen=True, slots=True)
class Operation:
    """A function under a method and a path.

    Attributes:
        method: GET, and so on.
        path: With the names of its parts in braces.
        call: The function.
        status: Of its success.
        before: What is asked before it, for its refusals.
        answers: What the document says of answers besides its function's own.
        takes: What the document says of a body that it reads by itself.
    """

    method: str
    path: str
    call: Giver
    status: int = _OK
    before: tuple[Depends, ...] = ()
    answers: Mapping[int, Told] | None = None
    takes: Content | None = None

    def shape(self) -> type | None:
        """Return the shape of what it sends as JSON; None: it sends none."""
        returned: object = get_type_hints(self.call).get("return")
        for one in (returned, *get_args(returned)):
            if isinstance(one, type) and is_typeddict(one):
                return one
        return None


class Router:
    """Routes under a prefix, that are asked the same before."""

    def __init__(
        self, *, prefix: str = "", dependencies: Sequence[Depends] = ()
    ) -> None:
        self._prefix, self._before = prefix, tuple(dependencies)
        self.operations: list[Operation] = []

    def get(self, path: str, **how: Unpack[How]) -> Callable[[_Call], _Call]:
        """Return what makes a function answer to GET, and HEAD."""
        return self._route("GET", path, how)

    def post(self, path: str, **how: Unpack[How]) -> Callable[[_Call], _Call]:
        """Return what makes a function answer to POST."""
        return self._route("POST", path, how)

    def put(self, path: str, **how: Unpack[How]) -> Callable[[_Call], _Call]:
        """Return what makes a function answer to PUT."""
        return self._route("PUT", path, how)

    def patch(self, path: str, **how: Unpack[How]) -> Callable[[_Call], _Call]:
        """Return what makes a function answer to PATCH."""
        return self._route("PATCH", path, how)

    def delete(self, path: str, **how: Unpack[How]) -> Callable[[_Call], _Call]:
        """Return what makes a function answer to DELETE."""
        return self._route("DELETE", path, how)

    def _route(self, method: str, path: str, how: How) -> Callable[[_Call], _Call]:
        def put_down(call: _Call) -> _Call:
            self.operations.append(
                Operation(
                    method,
                    self._prefix + path,
                    call,
                    how.get("status_code", _OK),
                    (*self._before, *how.get("dependencies", ())),
                    how.get("answers"),
                    how.get("takes"),
                )
            )
            return call

        return put_down

    def include_router(
        self, router: "Router", *, dependencies: Sequence[Depends] = ()
    ) -> None:
        """Take up what another router has now, under the prefix of this one."""
        before = (*self._before, *dependencies)
        self.operations += [
            replace(one, path=self._prefix + one.path, before=(*before, *one.before))
            for one in router.operations
        ]


def as_route(operation: Operation, checked: Callable[[], Checked | None]) -> Route:
    """Return what serves an operation.

    Args:
        operation: The operation.
        checked: Tells what holds answers to their shapes, asked at each of them;
            it tells None where that is left to the types of the sources.

    Raises:
        TypeError: What a function wants cannot be given.
    """
    wants = wants_of(operation.call, operation.before)
    shape = operation.shape()

    async def answer(request: Request) -> Response:
        headed = Response()
        found = await operation.call(**await given(wants, request, headed))
        if isinstance(found, Response):
            return found
        check = checked()
        if check is not None and shape is not None:
            check(shape, found)
        return _answered(found, operation.status, headed)

    route = Route(operation.path, answer, methods=[operation.method])
    parts = {part.name for one in wants.all() for part in one.parts}
    if not parts <= route.param_convertors.keys():
        msg = f"{operation.path} has not all of {', '.join(sorted(parts))}"
        raise TypeError(msg)
    return route


def _answered(found: object, status: int, headed: Response) -> Response:
    if status == _NO_CONTENT:
        made = Response(status_code=status)
    else:
        made = Response(as_json(found), status, media_type=JSON)
    del headed.headers["content-length"]
    made.raw_headers += headed.raw_headers
    return made


def as_json(found: object) -> bytes:
    """Return JSON in UTF-8, which has no number that is none (RFC 8259)."""
    text = json.dumps(
        found,
        ensure_ascii=False,
        allow_nan=False,
        separators=(",", ":"),
        default=_plain,
    )
    return text.encode()


def _plain(value: object) -> object:
    """Return a model as what JSON knows."""
    if isinstance(value, BaseModel):
        return value.model_dump(mode="json", by_alias=True)
    msg = f"{type(value).__name__} cannot be sent as JSON"
    raise TypeError(msg)
