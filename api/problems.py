"""Errors as RFC 9457 application/problem+json, in one shape everywhere.

Members: type, title, status, detail, and errors where single places are at
fault: in a body by "pointer" (RFC 6901 as a URI fragment), in the address by
"parameter". What may live here: that shape, and how errors of the library
become it.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from http import HTTPStatus
from typing import NotRequired
from urllib.parse import quote

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from typing_extensions import TypedDict

MEDIA_TYPE = "application/problem+json"

_LONGEST = 200
"""Characters of somebody else's text that an answer repeats."""


class Fault(TypedDict):
    """One place that is at fault."""

    detail: str
    pointer: NotRequired[str]
    parameter: NotRequired[str]
    found: NotRequired[str]
    allowed: NotRequired[str]


class Problem(TypedDict):
    """An error (RFC 9457)."""

    type: str
    title: str
    status: int
    detail: str
    errors: NotRequired[list[Fault]]


class ProblemError(HTTPException):
    """A request that is not granted.

    Attributes:
        faults: Single places that are at fault; may be empty.
    """

    def __init__(
        self,
        status: int,
        detail: str,
        *,
        faults: Sequence[Fault] = (),
        headers: Mapping[str, str] | None = None,
    ) -> None:
        super().__init__(status, detail, headers)
        self.faults = tuple(faults)


NOT_JSON = "not_json"


@dataclass(frozen=True, slots=True)
class Unfit:
    """One place of a request that does not have the right shape.

    Attributes:
        where: "path", "query" or "body".
        place: Names and numbers that lead to it, from there.
        kind: NOT_JSON, or what pydantic calls it.
        detail: What would be right.
        found: What is there.
    """

    where: str
    place: tuple[str | int, ...]
    kind: str
    detail: str
    found: object = None


class UnfitError(Exception):
    """A request that does not have the right shape.

    Attributes:
        unfit: Each place.
    """

    def __init__(self, unfit: Sequence[Unfit]) -> None:
        super().__init__(*(one.detail for one in unfit))
        self.unfit = tuple(unfit)


def problem(
    status: int,
    detail: str,
    *,
    faults: Sequence[Fault] = (),
    headers: Mapping[str, str] | None = None,
) -> Response:
    """Return the answer to a request that is not granted."""
    body = Problem(
        type="about:blank",
        title=HTTPStatus(status).phrase,
        status=status,
        detail=detail,
    )
    if faults:
        body["errors"] = list(faults)
    # Plain ASCII, so that no half of a surrogate pair can break the encoding.
    text = json.dumps(body, ensure_ascii=True, allow_nan=False)
    return Response(text, status, headers, media_type=MEDIA_TYPE)


def answer_to(error: ProblemError) -> Response:
    """Return the answer to a request that is not granted, from what says so."""
    return problem(
        error.status_code, error.detail, faults=error.faults, headers=error.headers
    )


def quoted(value: object) -> str:
    """Return somebody else's value as short printable text."""
    text = repr(value) if not isinstance(value, str) else value
    shown = "".join(c if c.isprintable() else "�" for c in text[: _LONGEST + 1])
    return shown if len(shown) <= _LONGEST else shown[:_LONGEST] + "…"


async def on_http_error(request: Request, error: Exception) -> Response:
    """Answer an error of the library's or our own."""
    if not isinstance(error, HTTPException):
        raise error
    if isinstance(error, ProblemError):
        return answer_to(error)
    detail = error.detail
    if error.status_code in _DETAILS:
        place = quoted(request.url.path)
        detail = _DETAILS[error.status_code].format(place=place)
    return problem(error.status_code, detail, headers=error.headers)


_DETAILS = {
    400: "the body cannot be read: it is not JSON in UTF-8",
    404: "there is nothing at {place}; GET /openapi.json lists what there is",
}
"""Sentences for errors that the library raises by itself."""


async def on_unfit(_request: Request, error: Exception) -> Response:
    """Answer a body, a query or a path that does not have the right shape."""
    if not isinstance(error, UnfitError):
        raise error
    found = error.unfit
    faults = [_fault(one) for one in found]
    if any(one.where == "path" for one in found):
        return problem(404, "there is nothing under this name or number")
    if any(one.where == "query" for one in found):
        return problem(400, _summary("the query", faults), faults=faults)
    if any(one.kind == NOT_JSON for one in found):
        return problem(400, _summary("the body", faults), faults=faults)
    return problem(422, _summary("the body", faults), faults=faults)


async def on_any_error(_request: Request, _error: Exception) -> Response:
    """Answer a mistake of our own, without its inner parts."""
    return problem(500, "a mistake in this program; its own log says more")


def _summary(what: str, faults: Sequence[Fault]) -> str:
    places = ", ".join(
        f"{fault.get('parameter') or fault.get('pointer')}: {fault['detail']}"
        for fault in faults[:3]
    )
    return f"{what} is not right: {places}"


def _fault(one: Unfit) -> Fault:
    fault = Fault(detail=quoted(_plain(one.detail)))
    if one.where == "query":
        fault["parameter"] = quoted(".".join(map(str, one.place)))
    else:
        fault["pointer"] = quoted("#" + "".join(map(_token, one.place)))
    if one.kind not in {"missing", "extra_forbidden", NOT_JSON}:
        fault["found"] = quoted(one.found)
    return fault


def _plain(message: str) -> str:
    """Take pydantic's own words off a message that is ours already."""
    if message == "Extra inputs are not permitted":
        return "is not known here"
    return message.removeprefix("Value error, ")


def _token(part: object) -> str:
    """Return one token of a JSON Pointer in a URI fragment (RFC 6901, 3 and 6)."""
    token = str(part).replace("~", "~0").replace("/", "~1")
    return "/" + quote(token, safe="", errors="replace")
