"""What the function of a route wants of a request, read off its signature.

By its annotation a parameter is: the request itself, or the answer that is being
made (its headers); what another function gives, which may want something itself
(Depends); all of the query as one model (Query); the body as a model, which may be
left out where the annotation says so (Body); a header (Header); else the part of the
path that has its name. What may live here: these marks, and the reading of
signatures, once when an app is made. No requests.
"""

import inspect
from collections.abc import Awaitable, Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from types import NoneType, UnionType
from typing import Annotated, Union, get_args, get_origin, get_type_hints

from pydantic import BaseModel
from starlette.requests import Request
from starlette.responses import Response

Giver = Callable[..., Awaitable[object]]  # type: ignore[explicit-any]  # any wants
"""A coroutine function that gives something for a request."""


@dataclass(frozen=True, slots=True)
class Depends:
    """What another function gives; asked once for each request."""

    call: Giver


@dataclass(frozen=True, slots=True)
class Query:
    """All of the query, as one model."""


@dataclass(frozen=True, slots=True)
class Body:
    """The body, as a model or, where that is in the annotation, None."""


@dataclass(frozen=True, slots=True)
class Header:
    """The header of the parameter's name, with - for _; None: there is none."""


@dataclass(frozen=True, slots=True)
class InPath:
    """A part of the path, with a word about it for the document."""

    description: str


@dataclass(frozen=True, slots=True)
class PathPart:
    """A part of the path.

    Attributes:
        name: Its name, also the parameter's.
        whole: Whether it is a whole number, else text.
        description: A word about it; may be empty.
    """

    name: str
    whole: bool
    description: str = ""


@dataclass(frozen=True, slots=True)
class Shaped:
    """A query or a body.

    Attributes:
        name: The parameter's name.
        model: What it must be.
        needed: Whether it must be there.
    """

    name: str
    model: type[BaseModel]
    needed: bool = True


@dataclass(frozen=True, slots=True)
class Wants:
    """What a function wants of a request.

    Attributes:
        call: The function.
        first: What must be given before it is called, in this order; the name of
            the parameter that gets it, None: it is asked for its refusals alone.
        parts: Parts of the path.
        query: The query.
        body: The body; wanted by a route's own function alone.
        headers: Names of parameters and of their headers.
        request: Name of the parameter for the request itself.
        answer: Name of the parameter for the answer.
    """

    call: Giver
    first: tuple[tuple[str | None, "Wants"], ...] = ()
    parts: tuple[PathPart, ...] = ()
    query: Shaped | None = None
    body: Shaped | None = None
    headers: tuple[tuple[str, str], ...] = ()
    request: str | None = None
    answer: str | None = None

    def all(self) -> Iterator["Wants"]:
        """Yield this, and what must be given before it."""
        yield self
        for _, needed in self.first:
            yield from needed.all()


def wants_of(call: Giver, before: Iterable[Depends] = ()) -> Wants:
    """Return what a function wants.

    Args:
        call: The function.
        before: What is asked before it, for its refusals.

    Raises:
        TypeError: It is no coroutine function (others would be run in threads), or
            a parameter cannot be given.
    """
    if not inspect.iscoroutinefunction(call):
        msg = f"{call}: a coroutine function is needed (async def)"
        raise TypeError(msg)
    found = Wants(call, tuple((None, wants_of(one.call)) for one in before))
    hints = get_type_hints(call, include_extras=True)
    for name in inspect.signature(call).parameters:
        found = _with(found, name, hints.get(name))
    return found


def _with(found: Wants, name: str, hint: object) -> Wants:
    """Return what is wanted with one parameter more."""
    kind, mark = _parted(hint)
    if kind is Request:
        return replace(found, request=name)
    if kind is Response:
        return replace(found, answer=name)
    if isinstance(mark, Depends):
        return replace(found, first=(*found.first, (name, wants_of(mark.call))))
    if isinstance(mark, Header):
        header = name.replace("_", "-")
        return replace(found, headers=(*found.headers, (name, header)))
    return _with_text(found, name, kind, mark)


def _with_text(found: Wants, name: str, kind: object, mark: object) -> Wants:
    """Return what is wanted with something more that is read from text."""
    model = _model_in(kind)
    if model is not None:
        shaped = Shaped(name, model, needed=kind is model)
        if isinstance(mark, Query):
            return replace(found, query=shaped)
        return replace(found, body=shaped)
    if kind in {str, int}:
        word = mark.description if isinstance(mark, InPath) else ""
        part = PathPart(name, kind is int, word)
        return replace(found, parts=(*found.parts, part))
    msg = f"{found.call}: nothing is known to give as {name}: {kind}"
    raise TypeError(msg)


def _parted(hint: object) -> tuple[object, object]:
    """Return a type and the mark upon it, if any."""
    if get_origin(hint) is not Annotated:
        return hint, None
    kind, *marks = get_args(hint)
    return kind, marks[0]


def _model_in(kind: object) -> type[BaseModel] | None:
    """Return the model that something is, or is if it is not None."""
    if get_origin(kind) in {Union, UnionType}:
        kinds = [one for one in get_args(kind) if one is not NoneType]
        kind = kinds[0] if len(kinds) == 1 else None
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        return kind
    return None
